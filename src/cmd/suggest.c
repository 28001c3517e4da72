/* suggest: the exact trade-off frontier. */
#include "balance/balance.h"
#include "cmd/answers.h"
#include "cmd/borrowed.h"
#include "cmd/commands.h"
#include "cmd/fitted.h"
#include "cmd/sheet_told.h"
#include "frontier/frontier.h"
#include "model/words.h"

#include <math.h>
#include <string.h>

const struct cmd_option suggest_options[] = {{"save", 0, "CHANNEL|mean|like-for-like", false,
						     "the wear to save; default: the channel that "
						     "limits the reference"},
	{"max-changes", 0, "K", false, "at most K changes; a pair counts once"},
	{"minutes", 0, "M", false, "at most M minutes of garage time"},
	{"beyond", 0, NULL, false, "leave the range that was driven"},
	{"hold-share", 0, "X", false,
		"keep the load-transfer front share within X percentage points of "
		"the reference's"},
	{"hold-aero", 0, "Y", false,
		"keep the aero front share within Y percentage points of the "
		"reference's"},
	{"borrowed", 0, NULL, false, "move what only borrowed books tell, too"}, BORROWED_OPTIONS,
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
		.borrowed = cmd_has(args, "borrowed"),
		.has_max_changes = cmd_value(args, "max-changes") != NULL,
		.has_max_minutes = cmd_value(args, "minutes") != NULL,
		.has_hold_share = cmd_value(args, "hold-share") != NULL,
		.has_hold_aero = cmd_value(args, "hold-aero") != NULL,
		.lenient = true};
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
	if (e.cls != ERR_INPUT) {
		s->o.save.channel = 0; /* no wear read anywhere: the frontier says so */
		return true;
	}
	*status = cmd_fail(&e);
	return false;
}

static json_t *share_json(struct opt_num v)
{
	return cmd_json_number(v.has ? v.v : NAN);
}

/* The point's lap time, wear and wear at equal pace with their intervals. No interval is known
 * of a mean over channels. */
struct spans {
	struct estimate time, wear, like;
};

static struct spans point_spans(const struct suggestion *s, const struct frontier_point *p)
{
	const struct model *m = s->a->model;
	const fix *against = s->f->against->values;
	struct spans k = {.time = model_delta(m, RESPONSE_TIME, p->values, against)};
	const int c = s->o.save.channel;
	if (s->o.save.kind == SAVE_MEAN || c < 0)
		return k;
	k.wear = model_delta(m, 1 + (size_t)c, p->values, against);
	k.like = model_like(m, (size_t)c, p->values, against).delta;
	return k;
}

static void set_span(json_t *o, const char *low, const char *high, const struct estimate *e)
{
	const bool has = e->known && e->has_interval;
	json_object_set_new(o, low, cmd_json_number(has ? e->low : NAN));
	json_object_set_new(o, high, cmd_json_number(has ? e->high : NAN));
}

static void set_share(json_t *o, const char *key, const struct estimate *e)
{
	json_object_set_new(o, key, cmd_json_number(e->known ? e->borrowed : NAN));
}

static json_t *point_json(const struct suggestion *s, const struct frontier_point *p)
{
	const struct car *car = &s->a->book.car;
	const struct spans k = point_spans(s, p);
	json_t *values = json_object();
	for (size_t i = 0; i < car->n_adjustables; i++)
		json_object_set_new(
			values, car->adjustables[i].id, json_real(fix_to_double(p->values[i])));
	const struct balance b = balance_of(car, p->values);
	json_t *o = json_pack("{s:o, s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "values", values,
		"changes", (json_int_t)p->changes, "minutes", cmd_json_number(p->minutes),
		"time-delta", cmd_json_number(p->time_delta), "wear-delta",
		cmd_json_number(p->has_wear ? p->wear_delta : NAN), "like-for-like-delta",
		cmd_json_number(p->has_like ? p->like_delta : NAN), "stint-delta",
		cmd_json_number(p->has_stint ? p->stint_delta : NAN), "load-transfer-front-share",
		share_json(b.transfer_front_share), "aero-front-share",
		share_json(b.aero_front_share));
	if (!o)
		return NULL;
	set_span(o, "time-low", "time-high", &k.time);
	set_span(o, "wear-low", "wear-high", &k.wear);
	set_span(o, "like-for-like-low", "like-for-like-high", &k.like);
	if (s->a->model->borrowing) {
		json_object_set_new(o, "borrowed", json_boolean(p->borrowed));
		set_share(o, "time-borrowed-share", &k.time);
		set_share(o, "wear-borrowed-share", &k.wear);
		set_share(o, "like-for-like-borrowed-share", &k.like);
	}
	return o;
}

static json_t *notes_json(const struct frontier *f)
{
	json_t *notes = json_array();
	for (size_t i = 0; i < f->n_notes; i++)
		json_array_append_new(notes, cmd_json_text(f->notes[i]));
	return notes;
}

/* Point by point: a front may be long, and the whole document need not be in memory. */
static int print_json(const struct suggestion *s)
{
	const size_t flags = JSON_REAL_PRECISION(17);
	char save[SAVE_SIZE];
	double n = s->f->candidates;
	json_t *head = json_pack("{s:s, s:s, s:b, s:o}", "reference", s->f->against->id, "save",
		save_print(s->a->model, &s->o.save, save, sizeof save), "exact", true, "candidates",
		n < 9e15 ? json_integer((json_int_t)n) : cmd_json_number(n));
	bool ok = head != NULL;
	if (ok) {
		fputc('{', stdout);
		ok = cmd_put_json(head, JSON_EMBED | flags);
		fputs(",\n \"frontier\": [", stdout);
	}
	for (size_t i = 0; ok && i < s->f->n; i++) {
		json_t *p = point_json(s, &s->f->points[i]);
		fputs(i ? ",\n  " : "\n  ", stdout);
		ok = cmd_put_json(p, flags);
		json_decref(p);
	}
	json_decref(head);
	json_t *notes = ok ? notes_json(s->f) : NULL;
	if (ok)
		fputs("],\n \"notes\": ", stdout);
	ok = ok && cmd_put_json(notes, flags);
	json_decref(notes);
	if (!ok) {
		struct err e;
		err_memory(&e);
		return cmd_fail(&e);
	}
	fputs("}\n", stdout);
	return cmd_finish();
}

static void print_optional(bool has, double v, int width, int decimals)
{
	if (has)
		printf("%+*.*f", width, decimals, v);
	else
		printf("%*s", width, "-");
}

/* "lap time 62 %, wear 40 %" of the point's changes are borrowed; "" where it is all driven here.
 */
static const char *borrowed_words(
	const struct suggestion *s, const struct spans *k, char *buf, size_t size)
{
	const struct estimate *of[] = {&k->time, s->o.save.kind == SAVE_LIKE ? &k->like : &k->wear};
	static const char *const name[] = {"lap time", "wear"};
	size_t n = 0;
	buf[0] = '\0';
	for (int i = 0; i < 2; i++)
		if (of[i]->known && words_source_of(of[i]) != SOURCE_DRIVEN)
			n += (size_t)snprintf(buf + n, size - n, "%s%s %.0f %%", n ? ", " : "",
				name[i], 100 * of[i]->borrowed);
	return buf;
}

static void print_moves(
	const struct suggestion *s, const struct frontier_point *p, const struct spans *k)
{
	const struct car *car = &s->a->book.car;
	char value[32], borrowed[64];
	bool any = false;
	for (size_t i = 0; i < car->n_adjustables; i++) {
		if (p->values[i] == s->start->values[i])
			continue;
		fix_print_min(
			p->values[i], fix_decimals(car->adjustables[i].step), value, sizeof value);
		printf("%s%s %s", any ? ", " : "", car->adjustables[i].id, value);
		any = true;
	}
	printf("%s", any ? "" : "as it is");
	if (borrowed_words(s, k, borrowed, sizeof borrowed)[0])
		printf("  (borrowed: %s%s)", borrowed, p->borrowed ? "; not driven here" : "");
	putchar('\n');
}

/* "-0.12 to +0.03", to the decimals of the figures. */
static void print_span(const struct estimate *e)
{
	char low[32], high[32], span[72] = "-";
	if (e->known && e->has_interval) {
		answer_signed(low, sizeof low, e->low, 2);
		answer_signed(high, sizeof high, e->high, 2);
		snprintf(span, sizeof span, "%s to %s", low, high);
	}
	cmd_pad(stdout, span, 18);
}

static void print_point(const struct suggestion *s, const struct frontier_point *p)
{
	const struct spans k = point_spans(s, p);
	const bool like = s->o.save.kind == SAVE_LIKE;
	printf("%+9.3f  ", p->time_delta);
	print_span(&k.time);
	print_optional(p->has_wear, p->wear_delta, 7, 3);
	fputs("  ", stdout);
	if (!like)
		print_span(&k.wear);
	print_optional(p->has_like, p->like_delta, 7, 3);
	fputs("  ", stdout);
	if (like)
		print_span(&k.like);
	print_optional(p->has_stint, p->stint_delta, 7, 1);
	printf(" %8zu %8.0f  ", p->changes, p->minutes);
	print_moves(s, p, &k);
}

static void print_heads(bool like)
{
	printf("%9s  %-18s%7s  ", "lap time", "95%", "wear");
	if (!like)
		printf("%-18s", "95%");
	printf("%7s  ", "at pace");
	if (like)
		printf("%-18s", "95%");
	printf("%7s %8s %8s  %s\n", "stint", "changes", "minutes", "set-up");
}

/* Where the intervals are that the table has no room for. */
static void print_elsewhere(const struct suggestion *s)
{
	bool stint = false;
	for (size_t i = 0; i < s->f->n; i++)
		stint = stint || s->f->points[i].has_stint;
	if (s->f->n && s->o.save.kind != SAVE_MEAN)
		printf("95%% of `%s`: suggest --json, or compare once a set-up is a sheet\n",
			s->o.save.kind == SAVE_LIKE ? "wear" : "at pace");
	if (stint)
		puts("95% of `stint`: the command stint, once a set-up is a sheet");
}

static int print_table(const struct suggestion *s)
{
	const struct frontier *f = s->f;
	char save[SAVE_SIZE], name[200], start[200];
	char words[64];
	bool borrowed = false;
	save_print(s->a->model, &s->o.save, save, sizeof save);
	printf("Best trade-offs of lap time and wear (%s), against %s\n", save,
		fitted_sheet_name(f->against, name, sizeof name));
	if (s->start != s->a->reference)
		printf("from %s: its locks hold, its frozen values stay\n",
			fitted_sheet_name(s->start, start, sizeof start));
	if (s->o.has_hold_share)
		printf("load-transfer share within %g points of %s's\n", s->o.hold_share,
			s->a->reference->id);
	if (s->o.has_hold_aero)
		printf("aero share within %g points of %s's\n", s->o.hold_aero,
			s->a->reference->id);
	printf("%zu of %.0f combinations; none beats them in both", f->n_found, f->candidates);
	printf(f->n < f->n_found ? "; %zu shown\n\n" : "\n\n", f->n);
	if (f->n == 0)
		puts("nothing keeps to these bounds");
	else
		print_heads(s->o.save.kind == SAVE_LIKE);
	for (size_t i = 0; i < f->n; i++)
		print_point(s, &f->points[i]);
	for (size_t i = 0; i < f->n; i++) {
		const struct spans k = point_spans(s, &f->points[i]);
		borrowed = borrowed || borrowed_words(s, &k, words, sizeof words)[0];
	}
	if (borrowed)
		puts("\nborrowed: how much of a change rests on what other books tell");
	printf("\nlap time in s, wear and wear at the reference's pace in %% per lap%s\n",
		s->a->book.stint.laps.has ? ", stint in s"
					  : "; stint: book.yaml says no stint: {laps: ...}");
	print_elsewhere(s);
	if (f->n > 0 && s->o.save.kind == SAVE_MEAN)
		puts("wear is the mean of the channels, of which no interval is known (-); --save "
		     "CHANNEL gives one");
	if (f->n_found > 1)
		puts("each is the best of many estimates: expect less on track, verify before "
		     "trusting it");
	for (size_t i = 0; i < f->n_notes; i++)
		cmd_line("%s", f->notes[i]);
	if (words_tangled(s->a->model)[0])
		puts(words_tangled(s->a->model));
	told_cautions_of(&s->a->book, s->start, s->a->reference);
	return cmd_finish();
}

static int suggest(const struct cmd_args *args, struct suggestion *s)
{
	struct err e;
	err_clear(&e);
	struct frontier *f = frontier_new(s->a->model, s->start, s->a->reference, &s->o, &e);
	s->f = f;
	int status = !f ? cmd_fail(&e) : cmd_has(args, "json") ? print_json(s) : print_table(s);
	frontier_free(f);
	return status;
}

int suggest_run(const struct cmd_args *args)
{
	struct fitted_book a;
	int status;
	if (!fitted_open_with(&a, args, &status))
		return status;
	struct suggestion s = {.a = &a, .start = a.reference};
	if (args->n > 1)
		s.start = cmd_sheet(&a.book, args->word[1]);
	status = CMD_USAGE;
	if (s.start && read_options(args, &s, &status))
		status = cmd_say_empty(&a.book, stderr) ? CMD_FAILED : suggest(args, &s);
	fitted_close(&a);
	return status;
}
