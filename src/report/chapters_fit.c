/* The chapters about the fit: effects, noise, what was not tested, track, plan, cautions. */
#include "report/parts.h"

#include "book/caution.h"
#include "model/borrow.h"
#include "model/effects.h"
#include "model/verify.h"
#include "model/words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *effect_name(
	const struct model *m, const struct effect *e, char *buf, size_t size)
{
	const struct coord *k = &m->coords[e->coord];
	snprintf(buf, size, "%.100s%s", m->book->car.adjustables[k->adjustable].label,
		k->kind == COORD_DIFFERENCE ? ", front against rear" : "");
	return buf;
}

/* "time 62 %, wear 40 %" */
static const char *borrowed_cell(
	const struct estimate *time, const struct estimate *wear, char *buf)
{
	const struct estimate *of[] = {time, wear};
	static const char *const name[] = {"time", "wear"};
	size_t n = 0;
	buf[0] = '\0';
	for (int k = 0; k < 2; k++)
		if (of[k] && of[k]->known && words_source_of(of[k]) != SOURCE_DRIVEN)
			n += (size_t)snprintf(buf + n, CELL - n, "%s%s %.0f %%", n ? ", " : "",
				name[k], 100 * of[k]->borrowed);
	return buf;
}

static void effect_row(struct report_work *w, struct table *t, const struct effects *all, size_t i)
{
	const struct model *m = w->in->model;
	const struct effect *e = &all->v[i];
	char name[CELL], unit[CELL], time[2 * CELL], wear[2 * CELL], d[CELL], span[CELL],
		use[40] = "", source[CELL];
	const struct estimate *z = all->channel >= 0 ? &e->like[all->channel].delta : NULL;
	snprintf(unit, sizeof unit, "%g %.40s", effects_unit(m, e->coord),
		m->book->car.adjustables[m->coords[e->coord].adjustable].unit);
	snprintf(time, sizeof time, "%s (%s)", cell_delta(&e->by[RESPONSE_TIME], d),
		cell_interval(&e->by[RESPONSE_TIME], span));
	if (z)
		snprintf(wear, sizeof wear, "%s (%s)", cell_delta(z, d), cell_interval(z, span));
	if (e->has_use && e->clear && !e->cost_told)
		snprintf(use, sizeof use, "cost can't be told");
	else if (e->has_use && e->clear && isfinite(e->use))
		snprintf(use, sizeof use, "%.2f", e->use);
	else if (e->has_use && e->clear)
		snprintf(use, sizeof use, "costs no time");
	const char *cells[] = {effect_name(m, e, name, sizeof name), unit,
		e->by[RESPONSE_TIME].known ? time : "not tested",
		z && z->known ? wear : "not tested", use, z ? words_verdict(z) : "no wear",
		borrowed_cell(&e->by[RESPONSE_TIME], z, source)};
	table_row(w->out, t, cells);
}

bool chapter_effects(struct report_work *w, struct err *err)
{
	const struct model *m = w->in->model;
	struct effects all;
	char caption[2 * CELL];
	block_add(w->out, BLOCK_HEADING, "What each adjustment does");
	if (!m->responses[RESPONSE_TIME].fitted) {
		block_add(w->out, BLOCK_TEXT, "Nothing was fitted: %s.",
			m->responses[RESPONSE_TIME].why);
		return true;
	}
	if (!effects_make(&all, m, w->in->reference->values, err))
		return false;
	snprintf(caption, sizeof caption, "Near %.100s, for so much more; wear %s at equal pace",
		w->reference_name, all.channel >= 0 ? w->in->book->channels[all.channel] : "");
	struct table *t = block_table(w->out, m->borrowing ? "lrrrrll" : "lrrrrl", caption);
	const char *head[] = {"", "more", "lap time, s", "wear at equal pace, %/lap",
		"saved per 0.1 s lost", "wear: verdict", "borrowed"};
	table_row(w->out, t, head);
	for (size_t i = 0; i < all.n; i++)
		if (all.v[i].by[RESPONSE_TIME].known)
			effect_row(w, t, &all, i);
	effects_free(&all);
	return true;
}

static void figure_or_dash(char *buf, size_t size, double v, int decimals)
{
	if (isfinite(v))
		snprintf(buf, size, "%.*f", decimals, v);
	else
		snprintf(buf, size, "cannot be told");
}

static void noise_row(struct report_work *w, struct table *t, size_t r)
{
	const struct model *m = w->in->model;
	const struct response *k = &m->responses[r];
	char name[CELL], label[2 * CELL], run[40], lap[40], effort[2 * CELL] = "not in the fit",
								       d[CELL], span[CELL], n[40];
	snprintf(label, sizeof label, "%s, %s%s", words_response(m, r, name, sizeof name),
		words_unit(r), words_noise_source(k));
	figure_or_dash(run, sizeof run, k->sigma_run, 3);
	figure_or_dash(lap, sizeof lap, k->one_obs_a_run ? NAN : k->sigma_lap, 3);
	snprintf(n, sizeof n, "%zu", k->n_obs);
	for (size_t i = 0; i < k->n_terms; i++) {
		double l[1024] = {0};
		if (k->terms[i].kind != TERM_COVARIATE || k->terms[i].a != COV_EFFORT ||
			k->n_terms > sizeof l / sizeof l[0])
			continue;
		l[i] = 1;
		struct estimate e = model_contrast(k, l);
		snprintf(effort, sizeof effort, "%s (%s)", cell_delta(&e, d),
			cell_interval(&e, span));
	}
	const char *cells[] = {label, n, run, lap, effort};
	table_row(w->out, t, cells);
}

static void exchange_items(struct report_work *w)
{
	const struct model *m = w->in->model;
	for (size_t c = 0; c < w->in->book->n_channels; c++) {
		const struct exchange *e = &m->exchange[c];
		if (e->method == EXCHANGE_NONE) {
			block_add(w->out, BLOCK_ITEM,
				"Wear %s: what lifting saves is not known: %s.",
				w->in->book->channels[c], e->note);
			continue;
		}
		char rate[40], span[80];
		block_add(w->out, BLOCK_ITEM,
			"Wear %s: a second per lap of lifting saves %s %% per lap%s, "
			"%s%s%s.",
			w->in->book->channels[c], words_rate(e, 2, rate, sizeof rate),
			words_rate_interval(e, 2, span, sizeof span), words_rate_origin(e),
			e->note[0] ? "; " : "", e->note);
	}
}

void chapter_borrowed(struct report_work *w)
{
	const struct model *m = w->in->model;
	const struct borrowing *b = m->borrowing;
	char words[2 * WORDS_SIZE];
	if (!b)
		return;
	block_add(w->out, BLOCK_HEADING, "Borrowed from other books of this car");
	for (size_t i = 0; i < b->n_books; i++)
		block_add(w->out, BLOCK_ITEM, "%s%s%s", b->from[i]->path,
			b->from[i]->book->name ? ": " : "",
			b->from[i]->book->name ? b->from[i]->book->name : "");
	block_add(w->out, BLOCK_TEXT,
		"What they tell counts as not tested here, and gives way as runs are driven.");
	for (size_t i = 0; i < b->n_notes; i++)
		block_add(w->out, BLOCK_ITEM, "%s.", b->notes[i]);
	for (size_t i = 0; i < b->n_conflicts; i++)
		if (b->conflicts[i].beyond && b->conflicts[i].slot < RESPONSES_MAX + CHANNELS_MAX)
			block_add(w->out, BLOCK_CAUTION, "%s: %s.",
				words_conflict(m, &b->conflicts[i], words, sizeof words),
				m->book->borrow_keep ? "the figure is disputed"
						     : "what was borrowed is widened");
}

void chapter_noise(struct report_work *w)
{
	const struct model *m = w->in->model;
	char words[WORDS_SIZE];
	if (!m->responses[RESPONSE_TIME].fitted)
		return;
	block_add(w->out, BLOCK_HEADING, "Noise, and the driver's part");
	struct table *t = block_table(w->out, "lrrrr", NULL);
	const char *head[] = {
		"", "readings", "from run to run", "from lap to lap", "each 1 of effort"};
	table_row(w->out, t, head);
	for (size_t r = 0; r < m->n_responses; r++)
		if (m->responses[r].fitted)
			noise_row(w, t, r);
	exchange_items(w);
	for (size_t r = 0; r < m->n_responses; r++) {
		char name[CELL];
		if (m->responses[r].fitted &&
			words_lack_of_fit(&m->responses[r], words, sizeof words)[0])
			block_add(w->out, BLOCK_ITEM, "%s: %s.",
				words_response(m, r, name, sizeof name), words);
	}
	for (size_t i = 0; i < m->n_suspects && i < 12; i++) {
		const struct suspect *s = &m->suspects[i];
		char name[CELL];
		block_add(w->out, BLOCK_ITEM,
			"Look at run %s, lap %zu: its %s stands %.1f robust deviations "
			"off. It was fitted as it is.",
			w->in->book->runs[s->run].id, s->lap + 1,
			words_response(m, s->response, name, sizeof name), fabs(s->z));
	}
}

void chapter_untested(struct report_work *w)
{
	const struct model *m = w->in->model;
	const struct response *r = &m->responses[RESPONSE_TIME];
	char words[WORDS_SIZE], last[WORDS_SIZE] = "";
	size_t n = 0;
	block_add(w->out, BLOCK_HEADING, "Not tested");
	for (size_t i = 0; r->fitted && i < r->n_terms; i++) {
		if (r->estimable[i] || r->terms[i].kind == TERM_INTERCEPT)
			continue;
		words_untested(m, r, i, words, sizeof words);
		if (!strcmp(words, last))
			continue;
		memcpy(last, words, sizeof last);
		block_add(w->out, BLOCK_ITEM, "%s", words);
		n++;
	}
	if (m->curvature_note[0])
		block_add(w->out, BLOCK_ITEM, "%s", m->curvature_note);
	for (size_t i = 0; i < m->n_notes; i++)
		block_add(w->out, BLOCK_ITEM, "%s", m->notes[i]);
	if (n == 0)
		block_add(w->out, BLOCK_TEXT,
			r->fitted ? "Every adjustable's effect on lap time can be told."
				  : "Nothing was driven yet.");
}

static void track_row(struct report_work *w, struct table *t, const struct verify *v, size_t i)
{
	const struct verified_run *k = &v->runs[i];
	char measured[CELL], range[2 * CELL], a[CELL], b[CELL];
	const char *id = w->in->book->runs[k->run].id;
	for (size_t r = 0; r < v->n_responses; r++) {
		const struct verified *x = &k->by[r];
		char name[CELL];
		struct estimate mean = {.known = x->measured, .value = x->mean};
		struct estimate low = {.known = true, .value = x->ahead.low}, high = low;
		low.borrowed = x->ahead.borrowed;
		high.value = x->ahead.high;
		if (!x->measured)
			continue;
		snprintf(range, sizeof range, "%s to %s", cell_value(r, &low, a),
			cell_value(r, &high, b));
		const char *cells[] = {r == 0 ? id : "",
			words_response(w->in->model, r, name, sizeof name),
			x->ahead.known ? range : x->ahead.why, cell_value(r, &mean, measured),
			x->ahead.known ? cell_verdict(verify_word(r, &x->ahead, x->mean), &low, b)
				       : ""};
		table_row(w->out, t, cells);
	}
}

bool chapter_track(struct report_work *w, struct err *err)
{
	if (!w->in->model->responses[RESPONSE_TIME].fitted || w->in->book->n_runs < 2)
		return true;
	struct verify *v = verify_new(w->in->book, REPORT_VERIFIED, err);
	if (!v)
		return false;
	block_add(w->out, BLOCK_HEADING, "Prediction against the track");
	struct table *t = block_table(w->out, "llrrl",
		"The latest runs, each predicted from the runs before it (95 % interval of the "
		"run's mean)");
	const char *head[] = {"run", "", "predicted", "measured", ""};
	table_row(w->out, t, head);
	for (size_t i = 0; i < v->n_runs; i++)
		track_row(w, t, v, i);
	for (size_t r = 0; r < v->n_responses; r++)
		if (v->ahead[r].too_often)
			block_add(w->out, BLOCK_CAUTION,
				"predictions miss more often than they should (%zu of "
				"%zu); the runs that missed: %s",
				v->ahead[r].missed, v->ahead[r].predicted, v->ahead[r].names);
	verify_free(v);
	return true;
}

void chapter_plan(struct report_work *w)
{
	const struct plan *p = w->in->plan;
	size_t done = 0;
	block_add(w->out, BLOCK_HEADING, "Test plan");
	if (!p) {
		block_add(w->out, BLOCK_TEXT, "No plan is stored in this book.");
		return;
	}
	for (size_t i = 0; i < p->n_runs; i++)
		done += p->runs[i].done[0] != '\0';
	block_add(w->out, BLOCK_TEXT, "Plan %s from %s: %zu of %zu runs driven, %zu laps each.",
		plan_kind_names[p->kind], p->base, done, p->n_runs, p->laps);
	for (size_t i = 0; i < p->n_notes; i++)
		block_add(w->out, BLOCK_ITEM, "%s", p->notes[i]);
}

static size_t cautions_of(struct report_work *w, const struct sheet *s, const char *name)
{
	const struct car *car = &w->in->book->car;
	char words[CAUTION_SIZE];
	size_t n = 0;
	for (size_t i = 0; i < car->n_adjustables; i++)
		if (caution_words(car, i, s->values[i], words, sizeof words)[0]) {
			block_add(w->out, BLOCK_CAUTION, "%s: %s.", name, words);
			n++;
		}
	return n;
}

void chapter_cautions(struct report_work *w)
{
	if (!w->same)
		cautions_of(w, w->in->reference, w->reference_name);
	cautions_of(w, w->in->sheet, w->sheet_name);
	block_add(w->out, BLOCK_TEXT,
		"These are estimates from the runs of this book%s; they clear nothing. "
		"%s Test only at licensed venues, under their terms.",
		w->in->model->borrowing ? " and of those that it borrows from" : "",
		caution_reminder);
}
