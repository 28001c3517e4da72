/* The chapters that answer the question: prediction, trade-off, sheets, stint. */
#include "report/parts.h"

#include "balance/balance_text.h"
#include "book/caution.h"
#include "compare/compare.h"
#include "model/verdict.h"
#include "model/words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void prediction_row(struct report_work *w, struct table *t, size_t r)
{
	const struct report_input *in = w->in;
	char name[CELL], a[CELL], b[CELL], d[CELL], span[CELL];
	struct estimate at = model_value(in->model, r, in->sheet->values);
	struct estimate ref = model_value(in->model, r, in->reference->values);
	struct estimate delta = model_delta(in->model, r, in->sheet->values, in->reference->values);
	enum verdict v = r == RESPONSE_TIME ? verdict_time(&delta) : verdict_wear(&delta);
	char label[2 * CELL], words[CELL];
	snprintf(label, sizeof label, "%s, %s", words_response(in->model, r, name, sizeof name),
		words_unit(r));
	const char *cells[] = {label, cell_value(r, &ref, a), cell_value(r, &at, b),
		cell_delta(&delta, d), cell_interval(&delta, span),
		cell_verdict(verdict_word(v), &delta, words)};
	table_row(w->out, t, cells);
}

static void like_row(struct report_work *w, struct table *t, size_t c)
{
	const struct report_input *in = w->in;
	char label[CELL], d[CELL], span[CELL], words[2 * CELL], said[CELL], chance[40] = "",
									    in_100[CHANCE_SIZE];
	struct like_delta l = model_like(in->model, c, in->sheet->values, in->reference->values);
	struct estimate raw =
		model_delta(in->model, 1 + c, in->sheet->values, in->reference->values);
	snprintf(label, sizeof label, "wear %s at equal pace, %%/lap", in->book->channels[c]);
	const enum verdict v = verdict_like(&l, &raw);
	if (l.delta.known && l.bound)
		snprintf(chance, sizeof chance, ": the rate is at least so large");
	else if (l.delta.known && l.has_chance)
		snprintf(chance, sizeof chance, v == VERDICT_KINDER ? " (%s)" : " (kinder: %s)",
			verdict_chance(l.chance_better, in_100));
	snprintf(words, sizeof words, "%s%s%s", verdict_word(v), chance,
		l.stretched ? ", exchange rate stretched" : "");
	const char *cells[] = {label, "", "", cell_delta(&l.delta, d),
		in->model->like[c].fitted ? cell_interval(&l.delta, span) : in->model->like[c].why,
		cell_verdict(words, &l.delta, said)};
	table_row(w->out, t, cells);
}

static void prediction_table(struct report_work *w)
{
	const struct report_input *in = w->in;
	char where[WORDS_SIZE], beyond[WORDS_SIZE], caption[2 * WORDS_SIZE + 80];
	words_beyond(in->model, beyond, sizeof beyond);
	snprintf(caption, sizeof caption, "Expected at %s%s%s%s",
		words_conditions(in->model, where, sizeof where), beyond[0] ? " (" : "", beyond,
		beyond[0] ? ": the values lean on that, the changes do not)" : "");
	struct table *t = block_table(w->out, "lrrrrl", where[0] ? caption : NULL);
	const char *head[] = {
		"", w->reference_name, w->sheet_name, "change", "95 % interval", "verdict"};
	table_row(w->out, t, head);
	for (size_t r = 0; r < in->model->n_responses; r++)
		if (in->model->responses[r].fitted)
			prediction_row(w, t, r);
	for (size_t c = 0; !w->same && c < in->book->n_channels; c++)
		like_row(w, t, c);
}

/* How much of the change rests on other books. */
static void borrowed_text(struct report_work *w)
{
	char words[WORDS_SIZE];
	if (words_borrowed_delta(w->in->model, w->in->sheet->values, w->in->reference->values,
		    words, sizeof words)[0])
		block_add(w->out, BLOCK_TEXT, "Of the change, borrowed from other books: %s.",
			words + strlen("borrowed: "));
}

void chapter_answer(struct report_work *w)
{
	const struct report_input *in = w->in;
	if (w->same)
		block_add(w->out, BLOCK_HEADING, "What %s does", w->reference_name);
	else
		block_add(w->out, BLOCK_HEADING,
			"Does %s spare the tyres against %s, and does it pay?", w->sheet_name,
			w->reference_name);
	if (!in->model->responses[RESPONSE_TIME].fitted)
		block_add(w->out, BLOCK_ANSWER, "Nothing can be said yet: %s.",
			in->model->responses[RESPONSE_TIME].why);
	else if (w->stint && w->stint->sentence[0] && !w->same)
		block_add(w->out, BLOCK_ANSWER, "%c%s.",
			w->stint->sentence[0] >= 'a' && w->stint->sentence[0] <= 'z'
				? w->stint->sentence[0] - 'a' + 'A'
				: w->stint->sentence[0],
			w->stint->sentence + 1);
	else if (!w->same)
		block_add(w->out, BLOCK_ANSWER, "Over a stint it cannot be told. %s", w->stint_why);
	if (in->model->responses[RESPONSE_TIME].fitted)
		prediction_table(w);
	borrowed_text(w);
	if (model_extrapolated(in->model, in->sheet->values, NULL))
		block_add(w->out, BLOCK_TEXT,
			"Extrapolated: %s lies outside what was driven. "
			"Build up to it on track.",
			w->sheet_name);
}

void chapter_tradeoff(struct report_work *w)
{
	struct buf svg;
	char target[SAVE_SIZE];
	block_add(w->out, BLOCK_HEADING, "Trade-off of lap time and wear");
	if (!w->frontier) {
		block_add(w->out, BLOCK_TEXT, "No frontier: %s", w->frontier_why);
		return;
	}
	save_print(w->in->model, &w->frontier->save, target, sizeof target);
	buf_init(&svg);
	if (chart_tradeoff(w, &svg))
		block_figure(w->out, &svg,
			"Ring: reference. Disc: the sheet. Crosses: driven runs, as they "
			"were driven. Line: the sheets that no other beats in both, with the "
			"reference's locks and freezes held.");
	buf_free(&svg);
	block_add(w->out, BLOCK_TEXT,
		"Wear told: %s. %zu of %.0f combinations of steps stand on the "
		"frontier. They are the best of many estimates, so on track they will as a rule "
		"give less than is drawn: drive a point before trusting it.",
		target, w->frontier->n_found, w->frontier->candidates);
	if (w->in->model->borrowing)
		block_add(w->out, BLOCK_TEXT,
			"Their figures rest in part on other books; `suggest` says how much of "
			"each.");
}

static const char *held(const struct sheet *s, const struct adjustable *a, size_t i)
{
	static const char *const words[] = {"", "held", "frozen", "held, frozen"};
	return words[(a->pair >= 0 && s->locked[a->pair] ? 1 : 0) + (s->frozen[i] ? 2 : 0)];
}

static void sheet_row(struct report_work *w, struct table *t, size_t i)
{
	static const char *const axle[] = {" front", " rear", ""};
	const struct sheet *a = w->in->reference, *b = w->in->sheet;
	const struct adjustable *k = &w->in->book->car.adjustables[i];
	const int decimals = fix_decimals(k->step);
	char label[2 * CELL], va[48], vb[48], d[48] = "";
	snprintf(label, sizeof label, "%.200s%s, %.60s", k->label,
		k->pair >= 0 ? axle[k->axle] : "", k->unit);
	fix_print_min(a->values[i], decimals, va, 40);
	fix_print_min(b->values[i], decimals, vb, 40);
	if (car_caution(k, a->values[i]))
		strcat(va, " !");
	if (car_caution(k, b->values[i]))
		strcat(vb, " !");
	const fix diff = b->values[i] - a->values[i];
	if (diff) {
		d[0] = diff > 0 ? '+' : '-';
		fix_print_min(diff > 0 ? diff : -diff, decimals, d + 1, 40);
	}
	const char *both[] = {label, va, vb, d, held(b, k, i)};
	const char *one[] = {label, va, held(a, k, i)};
	table_row(w->out, t, w->same ? one : both);
}

static void contributions(struct report_work *w)
{
	const struct report_input *in = w->in;
	const struct model *m = in->model;
	struct compare c;
	struct err e;
	char label[RESPONSES_MAX][CELL], cell[RESPONSES_MAX][2 * CELL], d[CELL], span[CELL];
	const char *cells[TABLE_COLUMNS] = {"change"};
	err_clear(&e);
	if (!compare_make(&c, m, in->reference->values, in->sheet->values, &e)) {
		w->out->failed = true;
		return;
	}
	struct table *t = block_table(w->out,
		m->n_responses == 2   ? "lrr"
		: m->n_responses == 3 ? "lrrr"
				      : "lrrrrr",
		"What each change does, 95 % interval in brackets; the parts add up");
	for (size_t r = 0; r < m->n_responses; r++)
		cells[1 + r] = words_response(m, r, label[r], CELL);
	table_row(w->out, t, cells);
	for (size_t g = 0; g <= c.n_groups; g++) {
		const bool all = g == c.n_groups;
		if (!all && !c.groups[g].changed)
			continue;
		cells[0] = all ? "together"
			       : in->book->car.adjustables[m->groups[c.groups[g].group].adjustable]
					   .label;
		for (size_t r = 0; r < m->n_responses; r++) {
			const struct estimate *x = all ? &c.delta[r] : &c.groups[g].by[r];
			snprintf(cell[r], sizeof cell[r], "%s (%s)", cell_delta(x, d),
				cell_interval(x, span));
			cells[1 + r] = x->known ? cell[r] : "not tested";
		}
		table_row(w->out, t, cells);
	}
	compare_free(&c);
	borrowed_text(w);
}

static void balance_table(struct report_work *w)
{
	struct balance_line lines[BALANCE_LINES];
	const size_t n =
		balance_lines(w->in->book, w->in->sheet->values, w->in->reference->values, lines);
	char beyond[120], words[400];
	if (n == 0)
		return;
	struct table *t = block_table(w->out, "lrrl", "Balance");
	const char *head[] = {"", w->sheet_name, "change", ""};
	table_row(w->out, t, head);
	for (size_t i = 0; i < n; i++) {
		balance_beyond_words(&lines[i], beyond, sizeof beyond);
		snprintf(words, sizeof words, "%s%s%s", lines[i].words,
			beyond[0] && lines[i].words[0] ? "; " : "", beyond);
		const char *cells[] = {lines[i].name, lines[i].value, lines[i].delta, words};
		table_row(w->out, t, cells);
	}
}

void chapter_sheets(struct report_work *w)
{
	block_add(w->out, BLOCK_HEADING, "Set-up sheet");
	struct table *t = block_table(w->out, w->same ? "lrl" : "lrrrl", NULL);
	const char *both[] = {"", w->reference_name, w->sheet_name, "change", ""};
	const char *one[] = {"", w->reference_name, ""};
	table_row(w->out, t, w->same ? one : both);
	for (size_t i = 0; i < w->in->book->car.n_adjustables; i++)
		sheet_row(w, t, i);
	if (caution_list(&w->in->book->car, w->in->sheet->values, NULL) ||
		caution_list(&w->in->book->car, w->in->reference->values, NULL))
		block_add(w->out, BLOCK_TEXT, "! past a soft limit, see the cautions above");
	if (!w->same && w->in->model->responses[RESPONSE_TIME].fitted)
		contributions(w);
	balance_table(w);
}

static void stint_row_cells(struct report_work *w, struct table *t, size_t k)
{
	const struct stint_row *r = &w->stint->rows[k];
	char plan[2 * CELL], total[CELL], delta[48], span[64] = "", lift[32] = "", stops[32],
						     limit[32] = "";
	snprintf(plan, sizeof plan, "%.200s%s",
		k == STINT_SHEET ? w->sheet_name : w->reference_name,
		k == STINT_LIFTING    ? ", lifting"
		: k == STINT_STOPPING ? ", stopping"
				      : "");
	if (!r->known) {
		const char *cells[] = {plan, "", "", r->why, "", "", ""};
		table_row(w->out, t, cells);
		return;
	}
	laptime_tell(r->total, 1, total, sizeof total);
	snprintf(delta, sizeof delta, "%+.1f", r->delta);
	if (k != STINT_REFERENCE && r->has_interval)
		snprintf(span, sizeof span, "%+.1f to %+.1f", r->low, r->high);
	else if (k != STINT_REFERENCE)
		snprintf(span, sizeof span, "no interval");
	if (k == STINT_LIFTING)
		snprintf(lift, sizeof lift, "%.3f", r->lift);
	snprintf(stops, sizeof stops, "%zu", r->stops);
	if (r->limit_lap)
		snprintf(limit, sizeof limit, "%zu", r->limit_lap);
	const char *cells[] = {plan, total, delta, span, lift, stops, limit};
	table_row(w->out, t, cells);
}

void chapter_stint(struct report_work *w)
{
	struct buf svg;
	block_add(w->out, BLOCK_HEADING, "Over the stint");
	if (!w->stint) {
		block_add(w->out, BLOCK_TEXT, "%s", w->stint_why);
		return;
	}
	block_add(w->out, BLOCK_TEXT, "%zu laps on a fresh set, limit %g %% of tread.",
		w->stint->laps, w->stint->rules.wear_limit);
	struct table *t = block_table(w->out, "lrrrrrr", NULL);
	const char *head[] = {"plan", "total", "against, s", "95 % interval", "lift, s/lap",
		"stops", "past limit on lap"};
	table_row(w->out, t, head);
	for (size_t k = 0; k < STINT_PLANS; k++)
		if (!w->same || (k != STINT_SHEET && k != STINT_LIFTING))
			stint_row_cells(w, t, k);
	buf_init(&svg);
	if (!w->same && chart_stint_time(w, &svg))
		block_figure(w->out, &svg,
			"Time lost (above) or gained (below) on the reference, added up over the "
			"laps.");
	buf_free(&svg);
	buf_init(&svg);
	if (chart_stint_wear(w, &svg))
		block_figure(w->out, &svg,
			"Tread used of the most worn channel: the sheet whole, the "
			"reference dashed; the limit across.");
	buf_free(&svg);
	if (w->stint->crossover_lap && !w->same)
		block_add(w->out, BLOCK_TEXT, "%s is ahead from lap %zu to the end%s.",
			w->sheet_name, w->stint->crossover_lap, stint_doubt(w->stint));
	borrowed_text(w);
	for (size_t i = 0; i < w->stint->n_notes; i++)
		block_add(w->out, BLOCK_ITEM, "%s", w->stint->notes[i]);
}
