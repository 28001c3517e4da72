#include "report/parts.h"

#include "model/words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const char *const report_mark = "treadlight debrief";

static const char *name_of(const struct sheet *s)
{
	return s->name ? s->name : s->id;
}

/* What would be printed as -0.00 is nought. */
static double unsigned_nought(double v, int decimals)
{
	return fabs(v) < 0.5 * pow(10, -decimals) ? 0 : v;
}

const char *cell_delta(const struct estimate *e, char *buf)
{
	int decimals = 3;
	buf[0] = '\0';
	if (!e->known)
		return buf;
	if (e->has_interval) {
		double half = (e->high - e->low) / 2;
		decimals = half >= 1 ? 1 : half >= 0.03 ? 2 : 3;
	}
	snprintf(buf, CELL, "%+.*f", decimals, unsigned_nought(e->value, decimals));
	return buf;
}

const char *cell_interval(const struct estimate *e, char *buf)
{
	if (!e->known) {
		snprintf(buf, CELL, "not tested");
	} else if (!e->has_interval) {
		snprintf(buf, CELL, "no interval: nothing was driven twice");
	} else {
		double half = (e->high - e->low) / 2;
		int decimals = half >= 1 ? 1 : half >= 0.03 ? 2 : 3;
		snprintf(buf, CELL, "%+.*f to %+.*f", decimals, unsigned_nought(e->low, decimals),
			decimals, unsigned_nought(e->high, decimals));
	}
	return buf;
}

const char *cell_verdict(const char *verdict, const struct estimate *e, char *buf)
{
	char source[32];
	words_source(e, source, sizeof source);
	snprintf(buf, CELL, "%.100s%s%s", verdict, source[0] ? ", " : "", source);
	return buf;
}

const char *cell_value(size_t response, const struct estimate *e, char *buf)
{
	if (!e->known)
		snprintf(buf, CELL, "not tested");
	else if (response == RESPONSE_TIME)
		laptime_tell(e->value, 3, buf, CELL);
	else
		snprintf(buf, CELL, "%.2f", e->value);
	return buf;
}

static void chapter_title(struct report_work *w)
{
	const struct book *b = w->in->book;
	const struct model *m = w->in->model;
	block_add(w->out, BLOCK_TEXT, "%s", report_mark);
	block_add(w->out, BLOCK_TITLE, "%s", b->name ? b->name : b->id);
	block_add(w->out, BLOCK_TEXT, "%s at %s. %zu runs, %zu laps fitted, %zu skipped%s%s%s%s.",
		b->car.name ? b->car.name : b->car_id,
		b->circuit.name ? b->circuit.name : b->circuit_id, b->n_runs, m->n_fitted_laps,
		m->n_skipped, b->n_runs && b->runs[b->n_runs - 1].date[0] ? ", the last on " : "",
		b->n_runs ? b->runs[b->n_runs - 1].date : "", w->in->today ? "; written " : "",
		w->in->today ? w->in->today : "");
	if (w->in->why_sheet && w->in->why_sheet[0])
		block_add(w->out, BLOCK_TEXT, "%s", w->in->why_sheet);
}

static void prepare(struct report_work *w)
{
	const struct report_input *in = w->in;
	const struct stint_options so = {.draws = STINT_DRAWS};
	struct frontier_options fo = {0};
	struct err e;
	err_clear(&e);
	if (!in->book->stint.laps.has)
		snprintf(w->stint_why, sizeof w->stint_why,
			"The book has no stint: add `stint: {laps: N, …}` to book.yaml.");
	else if (!(w->stint = stint_new(in->model, in->sheet->values, in->reference->values,
			   w->sheet_name, w->reference_name, &so, &e)))
		snprintf(w->stint_why, sizeof w->stint_why, "%.500s.", e.text);
	err_clear(&e);
	if (!save_parse(in->model, NULL, &fo.save, &e) ||
		!(w->frontier = frontier_new(in->model, in->reference, in->reference, &fo, &e)))
		snprintf(w->frontier_why, sizeof w->frontier_why, "%.500s.", e.text);
}

static bool write_chapters(struct report_work *w, struct err *err)
{
	chapter_title(w);
	chapter_answer(w);
	chapter_cautions(w);
	chapter_tradeoff(w);
	chapter_sheets(w);
	chapter_stint(w);
	if (!chapter_effects(w, err))
		return false;
	chapter_borrowed(w);
	chapter_noise(w);
	chapter_untested(w);
	if (!chapter_track(w, err))
		return false;
	chapter_plan(w);
	return true;
}

bool report_make(const struct report_input *in, bool plain, struct buf *out, struct err *err)
{
	struct blocks blocks;
	struct report_work w = {.in = in,
		.out = &blocks,
		.sheet_name = name_of(in->sheet),
		.reference_name = name_of(in->reference),
		.same = in->sheet == in->reference};
	blocks_init(&blocks);
	prepare(&w);
	bool ok = write_chapters(&w, err);
	if (ok && plain)
		blocks_plain(&blocks, out);
	else if (ok)
		blocks_html(&blocks, in->book->name ? in->book->name : in->book->id, out);
	frontier_free(w.frontier);
	stint_free(w.stint);
	blocks_free(&blocks);
	if (ok && out->failed)
		return err_memory(err);
	return ok;
}

/* What a sheet costs over the stint, and whether it spares the limiting channel. */
struct candidate {
	double cost; /* s against the reference; NAN where it cannot be told */
	bool spares;
};

static struct candidate weigh(
	const struct model *m, const struct stint_quick *q, const fix *values, const fix *reference)
{
	const int limiting = model_limiting_channel(m, reference);
	struct candidate k = {.cost = NAN};
	double wear[CHANNELS_MAX] = {0};
	struct estimate t = model_delta(m, RESPONSE_TIME, values, reference);
	bool known = t.known;
	for (size_t c = 0; c < m->book->n_channels; c++) {
		struct estimate e = model_delta(m, 1 + c, values, reference);
		known = known && e.known;
		wear[c] = e.value;
		k.spares = k.spares || ((int)c == limiting && e.known && e.value < 0);
	}
	if (known && q->usable)
		k.cost = stint_quick_delta(q, t.value, wear);
	return k;
}

static bool better(const struct candidate *a, const struct candidate *b)
{
	if (a->spares != b->spares)
		return a->spares;
	return isfinite(a->cost) && !(b->cost <= a->cost);
}

const struct sheet *report_choose(const struct book *b, const struct model *m,
	const struct sheet *reference, char *why, size_t size)
{
	const struct sheet *best = NULL;
	struct candidate least = {0};
	struct stint_quick q;
	struct err unused;
	err_clear(&unused);
	stint_quick_prepare(&q, m, reference->values, &unused); /* not usable: no cost weighed */
	for (size_t i = 0; i < b->n_sheets; i++) {
		if (&b->sheets[i] == reference)
			continue;
		const struct candidate k = weigh(m, &q, b->sheets[i].values, reference->values);
		if (best && !better(&k, &least))
			continue;
		least = k;
		best = &b->sheets[i];
	}
	if (!best)
		snprintf(why, size, "The book has no sheet but its reference.");
	else
		snprintf(why, size,
			"Told for %.100s, of the book's other sheets the one that %s%s%s.",
			name_of(best), least.spares ? "spares the limiting tyres" : "comes first",
			least.spares && isfinite(least.cost) ? " and "
			: isfinite(least.cost)               ? ", "
							     : "",
			isfinite(least.cost) ? "costs least over the stint" : "");
	return best ? best : reference;
}
