/* stint: a sheet against the reference over a stint, and whether to tune or to lift. */
#include "stint/stint.h"
#include "cmd/commands.h"
#include "cmd/fitted.h"
#include "cmd/sheet_told.h"
#include "model/words.h"

#include <math.h>
#include <string.h>

const struct cmd_option stint_options[] = {
	{"laps", 0, "N", false, "laps of the stint; default: the book's"}, CMD_OPTION_JSON,
	CMD_OPTION_END};

static json_t *count_or_null(size_t n)
{
	return n ? json_integer((json_int_t)n) : json_null();
}

static json_t *row_json(const struct stint *s, size_t k)
{
	const struct stint_row *r = &s->rows[k];
	bool span = r->known && r->has_interval;
	/* Without a lift there is none to tell; a plan that cannot be told has no stops either. */
	bool lift = r->known || k != STINT_LIFTING,
	     stops = r->known || k != STINT_STOPPING || r->stops;
	return json_pack("{s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "plan", stint_kind_names[k],
		"total", cmd_json_number(r->known ? r->total : NAN), "delta",
		cmd_json_number(r->known && s->rows[STINT_REFERENCE].known ? r->delta : NAN),
		"delta-low", cmd_json_number(span ? r->low : NAN), "delta-high",
		cmd_json_number(span ? r->high : NAN), "lift",
		lift ? json_real(r->lift) : json_null(), "stops",
		stops ? json_integer((json_int_t)r->stops) : json_null(), "limit-lap",
		count_or_null(r->known ? r->limit_lap : 0));
}

static json_t *lap_json(const struct model *m, const struct stint_lap *l)
{
	json_t *wear = json_object(), *worn = json_object();
	if (!l) {
		json_decref(wear);
		json_decref(worn);
		return json_null();
	}
	for (size_t c = 0; c < m->book->n_channels; c++) {
		bool has = m->responses[1 + c].fitted;
		json_object_set_new(
			wear, m->book->channels[c], cmd_json_number(has ? l->wear[c] : NAN));
		json_object_set_new(
			worn, m->book->channels[c], cmd_json_number(has ? l->worn[c] : NAN));
	}
	return json_pack("{s:o, s:o, s:o, s:o, s:b}", "time", cmd_json_number(l->time),
		"cumulative-time", cmd_json_number(l->cumulative), "wear", wear, "worn", worn,
		"beyond-limit", l->beyond);
}

static int print_json(const struct model *m, const struct stint *s)
{
	json_t *rows = json_array(), *curve = json_array(), *notes = json_array();
	for (size_t k = 0; k < STINT_PLANS; k++)
		json_array_append_new(rows, row_json(s, k));
	for (size_t i = 0; i < s->laps; i++) {
		const struct stint_lap *a = s->curve[STINT_SHEET], *b = s->curve[STINT_REFERENCE];
		json_array_append_new(curve, json_pack("{s:I, s:o, s:o}", "lap", (json_int_t)i + 1,
						     "sheet", lap_json(m, a ? a + i : NULL),
						     "reference", lap_json(m, b ? b + i : NULL)));
	}
	for (size_t i = 0; i < s->n_notes; i++)
		json_array_append_new(notes, cmd_json_text(s->notes[i]));
	return cmd_print_json(json_pack("{s:I, s:o, s:o, s:o, s:o, s:o}", "laps",
		(json_int_t)s->laps, "rows", rows, "crossover-lap", count_or_null(s->crossover_lap),
		"curve", curve, "sentence", cmd_json_text(s->sentence), "notes", notes));
}

static const char *plan_words(
	size_t k, const char *sheet, const char *reference, char *buf, size_t size)
{
	const char *name = k == STINT_SHEET ? sheet : reference;
	const char *how = k == STINT_LIFTING    ? ", lifting"
			  : k == STINT_STOPPING ? ", stopping"
						: "";
	snprintf(buf, size, "%.60s%s", name, how);
	return text_mend(buf);
}

static void print_row(const struct stint *s, size_t k, const char *plan)
{
	const struct stint_row *r = &s->rows[k];
	char total[32], span[48] = "", lift[32] = "-", limit[32] = "-";
	cmd_pad(stdout, plan, 28);
	if (!r->known) {
		cmd_line("  %s", r->why);
		return;
	}
	laptime_tell(r->total, 1, total, sizeof total);
	if (k == STINT_LIFTING)
		snprintf(lift, sizeof lift, "%.3f", r->lift);
	if (r->limit_lap)
		snprintf(limit, sizeof limit, "%zu", r->limit_lap);
	if (k != STINT_REFERENCE)
		snprintf(span, sizeof span, r->has_interval ? "%+.1f to %+.1f" : "no interval",
			r->low, r->high);
	printf("  %9s  %+8.1f  %-18s %6s %6zu %10s\n", total, r->delta, span, lift, r->stops,
		limit);
}

static int print_table(const struct fitted_book *a, const struct sheet *on, const struct stint *s,
	const char *sheet, const char *reference)
{
	const struct model *m = a->model;
	char plan[120], line[WORDS_SIZE];
	printf("%zu laps on a fresh set, limit %g %% of tread%s%s\n\n", s->laps,
		s->rules.wear_limit, s->limiting >= 0 ? "; the reference is limited by wear " : "",
		s->limiting >= 0 ? m->book->channels[s->limiting] : "");
	cmd_pad(stdout, "plan", 28);
	printf("  %9s  %8s  %-18s %6s %6s %10s\n", "total", "against", "95%", "lift", "stops",
		"past limit");
	for (size_t k = 0; k < STINT_PLANS; k++)
		print_row(s, k, plan_words(k, sheet, reference, plan, sizeof plan));
	const size_t stops = s->rows[STINT_STOPPING].known ? s->rows[STINT_STOPPING].stops : 0;
	for (size_t i = 0; i < stops; i++)
		printf(i ? ", %zu" : "\nstops after lap %zu", s->stop_after[i]);
	if (stops)
		putchar('\n');
	if (s->crossover_lap)
		printf("\n%s is ahead from lap %zu%s\n", sheet, s->crossover_lap, stint_doubt(s));
	putchar('\n');
	cmd_line("%s", s->sentence);
	if (words_borrowed_delta(m, on->values, a->reference->values, line, sizeof line)[0])
		cmd_line("%s", line);
	for (size_t i = 0; i < s->n_notes; i++)
		cmd_line("%s", s->notes[i]);
	told_cautions_of(&a->book, on, a->reference);
	return cmd_finish();
}

int stint_run(const struct cmd_args *args)
{
	struct fitted_book a;
	struct err e;
	int status;
	long laps = 0;
	char name[200], reference[200];
	err_clear(&e);
	if (!cmd_whole(args, "laps", 1, STINT_LAPS_MAX, &laps))
		return CMD_USAGE;
	if (!fitted_open(&a, args->word[0], &status))
		return status;
	const struct sheet *sheet = cmd_sheet(&a.book, args->word[1]);
	status = CMD_USAGE;
	if (sheet && cmd_say_empty(&a.book, stderr))
		status = CMD_FAILED;
	else if (sheet && !laps && !a.book.stint.laps.has)
		cmd_bad("the book says no length of a stint; give --laps N, "
			"or add `stint: {laps: N}` to book.yaml");
	else if (sheet) {
		const struct stint_options o = {.laps = (size_t)laps, .draws = STINT_DRAWS};
		fitted_sheet_name(sheet, name, sizeof name);
		fitted_sheet_name(a.reference, reference, sizeof reference);
		struct stint *s = stint_new(
			a.model, sheet->values, a.reference->values, name, reference, &o, &e);
		if (!s)
			status = cmd_fail(&e);
		else
			status = cmd_has(args, "json") ? print_json(a.model, s)
						       : print_table(&a, sheet, s, name, reference);
		stint_free(s);
	}
	fitted_close(&a);
	return status;
}
