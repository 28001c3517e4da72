/* suggest: the exact trade-off frontier. */
#include "balance/balance.h"
#include "cmd/commands.h"
#include "cmd/fitted.h"
#include "cmd/sheet_told.h"
#include "frontier/frontier.h"

#include <math.h>
#include <string.h>

const struct cmd_option suggest_options[] = {
	{"save", 0, "CHANNEL|mean|like-for-like", false, "the wear to save; default: the channel that "
		"limits the reference"},
	{"max-changes", 0, "K", false, "at most K changes; a pair counts once"},
	{"minutes", 0, "M", false, "at most M minutes of garage time"},
	{"beyond", 0, NULL, false, "leave the range that was driven"},
	{"hold-share", 0, "X", false, "keep the load-transfer front share within X percentage points of "
		"the reference's"},
	{"hold-aero", 0, "Y", false, "keep the aero front share within Y percentage points of the "
		"reference's"},
	{"points", 0, "N", false, "thin to N points, both ends kept; the table shows 20 without"},
	CMD_OPTION_JSON, CMD_OPTION_END};

enum { TABLE_POINTS = 20, POINTS_MAX = 1000000 };

struct suggestion {
	const struct fitted_book *a;
	const struct sheet *start;
	struct frontier_options o;
	const struct frontier *f;
};

static bool read_options(const struct cmd_args *args, struct suggestion *s, int *status)
{
	struct err e;
	long changes = 0, points = cmd_has(args, "json") ? 0 : TABLE_POINTS;
	err_clear(&e);
	s->o = (struct frontier_options){.beyond = cmd_has(args, "beyond"),
		.has_max_changes = cmd_value(args, "max-changes") != NULL,
		.has_max_minutes = cmd_value(args, "minutes") != NULL,
		.has_hold_share = cmd_value(args, "hold-share") != NULL,
		.has_hold_aero = cmd_value(args, "hold-aero") != NULL};
	*status = CMD_USAGE;
	if (!cmd_whole(args, "max-changes", 0, 1000, &changes) ||
		!cmd_number(args, "minutes", 0, 1e6, &s->o.max_minutes) ||
		!cmd_number(args, "hold-share", 0, 100, &s->o.hold_share) ||
		!cmd_number(args, "hold-aero", 0, 100, &s->o.hold_aero) ||
		!cmd_whole(args, "points", 2, POINTS_MAX, &points))
		return false;
	s->o.max_changes = (size_t)changes;
	s->o.points = (size_t)points;
	if (save_parse(s->a->model, cmd_value(args, "save"), &s->o.save, &e))
		return true;
	*status = cmd_fail(&e);
	return false;
}

static json_t *share_json(struct opt_num v)
{
	return cmd_json_number(v.has ? v.v : NAN);
}

static json_t *point_json(const struct car *car, const struct frontier_point *p)
{
	json_t *values = json_object();
	for (size_t i = 0; i < car->n_adjustables; i++)
		json_object_set_new(values, car->adjustables[i].id,
			json_real(fix_to_double(p->values[i])));
	const struct balance b = balance_of(car, p->values);
	return json_pack("{s:o, s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "values", values,
		"changes", (json_int_t)p->changes,
		"minutes", cmd_json_number(p->minutes),
		"time-delta", cmd_json_number(p->time_delta),
		"wear-delta", cmd_json_number(p->has_wear ? p->wear_delta : NAN),
		"like-for-like-delta", cmd_json_number(p->has_like ? p->like_delta : NAN),
		"stint-delta", cmd_json_number(p->has_stint ? p->stint_delta : NAN),
		"load-transfer-front-share", share_json(b.transfer_front_share),
		"aero-front-share", share_json(b.aero_front_share));
}

/* Point by point: a front may be long, and the whole document need not be in memory. */
static int print_json(const struct suggestion *s)
{
	const size_t flags = JSON_REAL_PRECISION(17);
	char save[SAVE_SIZE];
	double n = s->f->candidates;
	json_t *head = json_pack("{s:s, s:s, s:b, s:o}", "reference", s->a->reference->id, "save",
		save_print(s->a->model, &s->o.save, save, sizeof save), "exact", true, "candidates",
		n < 9e15 ? json_integer((json_int_t)n) : cmd_json_number(n));
	bool ok = head != NULL;
	if (ok) {
		fputc('{', stdout);
		json_dumpf(head, stdout, JSON_EMBED | flags);
		fputs(",\n \"frontier\": [", stdout);
	}
	for (size_t i = 0; ok && i < s->f->n; i++) {
		json_t *p = point_json(&s->a->book.car, &s->f->points[i]);
		fputs(i ? ",\n  " : "\n  ", stdout);
		ok = p && json_dumpf(p, stdout, flags) == 0;
		json_decref(p);
	}
	json_decref(head);
	if (!ok && !ferror(stdout)) {
		struct err e;
		err_memory(&e);
		return cmd_fail(&e);
	}
	fputs("]}\n", stdout);
	return cmd_finish();
}

static void print_optional(bool has, double v, int width, int decimals)
{
	if (has)
		printf("%+*.*f", width, decimals, v);
	else
		printf("%*s", width, "-");
}

static void print_moves(const struct suggestion *s, const struct frontier_point *p)
{
	const struct car *car = &s->a->book.car;
	char value[32];
	bool any = false;
	for (size_t i = 0; i < car->n_adjustables; i++) {
		if (p->values[i] == s->start->values[i])
			continue;
		fix_print_min(p->values[i], fix_decimals(car->adjustables[i].step), value, sizeof value);
		printf("%s%s %s", any ? ", " : "", car->adjustables[i].id, value);
		any = true;
	}
	puts(any ? "" : "as it is");
}

static int print_table(const struct suggestion *s)
{
	const struct frontier *f = s->f;
	char save[SAVE_SIZE], name[200], start[200], line[800];
	save_print(s->a->model, &s->o.save, save, sizeof save);
	printf("Best trade-offs of lap time and wear (%s), against %s\n", save,
		fitted_sheet_name(s->a->reference, name, sizeof name));
	if (s->start != s->a->reference)
		printf("from %s: its locks hold, its frozen values stay\n",
			fitted_sheet_name(s->start, start, sizeof start));
	if (s->o.has_hold_share)
		printf("load-transfer share within %g points of %s's\n", s->o.hold_share,
			s->a->reference->id);
	if (s->o.has_hold_aero)
		printf("aero share within %g points of %s's\n", s->o.hold_aero, s->a->reference->id);
	printf("%zu of %.0f combinations; none beats them in both", f->n_found, f->candidates);
	printf(f->n < f->n_found ? "; %zu shown\n\n" : "\n\n", f->n);
	if (f->n == 0)
		puts("nothing keeps to these bounds");
	else
		printf("%9s %9s %9s %8s %8s %8s  %s\n", "lap time", "wear", "at pace", "stint",
			"changes", "minutes", "set-up");
	for (size_t i = 0; i < f->n; i++) {
		const struct frontier_point *p = &f->points[i];
		printf("%+9.3f ", p->time_delta);
		print_optional(p->has_wear, p->wear_delta, 9, 3);
		putchar(' ');
		print_optional(p->has_like, p->like_delta, 9, 3);
		putchar(' ');
		print_optional(p->has_stint, p->stint_delta, 8, 1);
		printf(" %8zu %8.0f  ", p->changes, p->minutes);
		print_moves(s, p);
	}
	puts("\nlap time in s, wear and wear at the reference's pace in % per lap, stint in s");
	for (size_t i = 0; i < f->n_notes; i++)
		puts(cmd_safe(f->notes[i], line, sizeof line));
	told_cautions_of(&s->a->book, s->start, s->a->reference);
	return cmd_finish();
}

int suggest_run(const struct cmd_args *args)
{
	struct fitted_book a;
	struct err e;
	int status;
	err_clear(&e);
	if (!fitted_open(&a, args->word[0], &status))
		return status;
	struct suggestion s = {.a = &a, .start = a.reference};
	if (args->n > 1)
		s.start = cmd_sheet(&a.book, args->word[1]);
	status = CMD_USAGE;
	if (s.start && read_options(args, &s, &status)) {
		struct frontier *f = frontier_new(a.model, s.start, a.reference, &s.o, &e);
		s.f = f;
		if (!f)
			status = cmd_fail(&e);
		else
			status = cmd_has(args, "json") ? print_json(&s) : print_table(&s);
		frontier_free(f);
	}
	fitted_close(&a);
	return status;
}
