/*
 * Logging runs. Every lap is in its file before the next is asked for, so a
 * dropped link loses the line under the fingers at most.
 */
#include "tui/runs.h"

#include "store/plan_file.h"
#include "store/store.h"
#include "tui/fmt.h"
#include "tui/saving.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* --- saving ------------------------------------------------------------------ */

/* A new run's id has no file, another program's neither, which may log into the same book. */
static void count_up(const struct book *b, char id[ID_SIZE])
{
	char last[ID_SIZE];
	while (store_run_is_there(b, id)) {
		memcpy(last, id, sizeof last);
		entry_id_after(b, last, id);
	}
}

/* Where the id was taken while the run was typed, the next one is: s->taken says so. Not after
 * a failure of another kind, for then the file that is there by now may be this run's. */
static bool save_new(struct app *app, struct err *err)
{
	struct runs_page *s = runs_page_of(app);
	char id[ID_SIZE];
	memcpy(id, s->draft.id, sizeof id);
	bool ok = store_new_run(&app->book, &s->draft, err);
	while (!ok && err->taken && !s->tried) {
		count_up(&app->book, s->draft.id);
		err_clear(err);
		ok = store_new_run(&app->book, &s->draft, err);
	}
	s->tried = !ok;
	if (strcmp(id, s->draft.id) != 0)
		memcpy(s->taken, id, sizeof s->taken);
	return ok;
}

/* The draft becomes the run's file. The book's own copy is what the file held before. */
static bool save_draft(struct app *app, struct err *err)
{
	struct runs_page *s = runs_page_of(app);
	s->taken[0] = '\0';
	if (s->is_new)
		return save_new(app, err);
	int at = book_find_run(&app->book, s->draft.id);
	if (at < 0)
		return err_failed(err, "run %s is gone", s->draft.id);
	return store_save_run(&app->book, &app->book.runs[at], &s->draft, err);
}

/* Of a run that the book still holds as it was; for u. */
static bool note_change(struct runs_page *s, const struct book *b)
{
	int at = book_find_run(b, s->draft.id);
	return at >= 0 && runs_note(&s->history, &b->runs[at], &s->draft);
}

/*
 * Ticks the plan off at the first lap of a run that is driven for it, at the next one where that
 * fails, and at the end. True, and what there is to say; false: not as the user may think, *said
 * says how. `later`: what is to be done where it fails.
 */
static bool tick_plan(struct app *app, const char *later, char *said, size_t size)
{
	struct runs_page *s = runs_page_of(app);
	const int meant = s->plan_index;
	struct plan_tick t;
	struct err err;
	size_t left;
	said[0] = '\0';
	err_clear(&err);
	if (meant < 0)
		return true;
	if (!store_tick_runs(&app->book, &s->draft, 1, &t, &left, &err)) {
		snprintf(said, size, "plan not ticked off, %s: %s %s", later,
			err.file[0] ? "plan.yaml" : "", err.text);
		return false;
	}
	s->plan_index = -1;
	if (t.at < 0)
		snprintf(said, size,
			"nothing ticked off in the plan: its run %d was driven meanwhile or is "
			"gone, "
			"and none alike is open",
			meant + 1);
	else if (err.cls != ERR_NONE)
		snprintf(said, size, "run %d of the plan ticked off, but plan.yaml %s", t.at + 1,
			err.text);
	else if (t.at != meant)
		snprintf(said, size,
			"run %d of the plan was driven meanwhile; run %d, alike, is "
			"ticked off",
			meant + 1, t.at + 1);
	else
		snprintf(said, size, "run %d of the plan ticked off", t.at + 1);
	return t.at == meant && err.cls == ERR_NONE;
}

/* "saved", and how far, and as what. */
static const char *saved_words(
	const struct runs_page *s, const struct err *err, char *buf, size_t size)
{
	snprintf(buf, size, "%s%s%s%s%s%s", s->taken, s->taken[0] ? " was logged meanwhile; " : "",
		err->cls == ERR_NONE ? "saved" : "saved, but ",
		err->cls == ERR_NONE ? "" : app_doubt(err), s->taken[0] ? " as " : "",
		s->taken[0] ? s->draft.id : "");
	return buf;
}

/* The lap is in its file, and perhaps in the plan: says so. `how`: of the file, where the disk did
 * not confirm it. */
static void lap_saved(struct app *app, const struct err *how)
{
	enum { TWO_ROWS = 150 };
	struct runs_page *s = runs_page_of(app);
	char line[400], planned[700], saved[700], said[1900];
	const bool noted = s->is_new || note_change(s, &app->book);
	const bool ticked = tick_plan(app, "the next lap tries again", planned, sizeof planned);
	const bool sure = how->cls == ERR_NONE;
	const char *undo = noted ? "" : "; out of memory: u cannot undo it";
	const char *join = planned[0] ? "; " : "";
	struct err said_here;
	err_clear(&said_here);
	s->is_new = false;
	saved_words(s, how, saved, sizeof saved);
	snprintf(said, sizeof said, "%s: %s%s%s%s", saved,
		runs_lap_words(app, &s->draft, s->draft.n_laps - 1, line, sizeof line), undo, join,
		planned);
	if (strlen(said) > TWO_ROWS)
		snprintf(said, sizeof said, "%s: lap %zu%s%s%s", saved, s->draft.n_laps, undo, join,
			planned);
	const bool fine = ticked && noted && sure && !s->taken[0];
	runs_take(app, &s->draft, &said_here, said);
	if (!fine && !app->message_warns)
		app_warn(app, "%s", said);
}

/* A copy of the run under the cursor to change. */
bool runs_draft_of(struct app *app, const struct run *r)
{
	struct runs_page *s = runs_page_of(app);
	s->is_new = false;
	s->plan_index = -1;
	return run_copy(&s->draft, r);
}

static unsigned save_again(struct app *app)
{
	char said[sizeof runs_page_of(app)->said];
	memcpy(said, runs_page_of(app)->said, sizeof said);
	return runs_save_change(app, said);
}

unsigned runs_save_change(struct app *app, const char *said)
{
	struct err err;
	err_clear(&err);
	struct runs_page *s = runs_page_of(app);
	unsigned flags;
	if (!save_draft(app, &err)) {
		if (held_ask(app, &err, "runs", s->draft.id, save_again, &flags)) {
			snprintf(s->said, sizeof s->said, "%s", said);
			return flags;
		}
		field_keep(app);
		return app_not_saved(app, s->draft.id, &err);
	}
	char line[512];
	snprintf(line, sizeof line, "%s%s", said,
		note_change(s, &app->book) ? "; u goes back" : "; out of memory: u cannot undo it");
	return runs_take(app, &s->draft, &err, line);
}

/* --- laps ---------------------------------------------------------------------- */

/* "131243 241 266 97": the short form of a lap, for this book. */
static const char *example(size_t n_channels, int decimals, char *buf, size_t size)
{
	static const char *const figures[] = {"241", "266", "242", "265"};
	static const char *const short_ones[] = {"24", "26", "24", "26"};
	snprintf(buf, size, "131243");
	for (size_t c = 0; c < n_channels; c++) {
		size_t len = strlen(buf);
		snprintf(buf + len, size - len, " %s", decimals == 1 ? short_ones[c] : figures[c]);
	}
	size_t len = strlen(buf);
	snprintf(buf + len, size - len, " 97");
	return buf;
}

/* "time, wear front rear, effort; ...": what stands for what. */
unsigned runs_say_form(struct app *app)
{
	char channels[CHANNELS_MAX * ID_SIZE] = "";
	for (size_t c = 0; c < app->book.n_channels; c++) {
		size_t len = strlen(channels);
		snprintf(channels + len, sizeof channels - len, " %s", app->book.channels[c]);
	}
	return app_say(
		app, "time, wear%s, effort; points may be left out; an empty line ends", channels);
}

static unsigned lap_typed(struct app *app, const char *text);

static unsigned ask_lap(struct app *app)
{
	struct runs_page *s = runs_page_of(app);
	char form[64];
	size_t n = app->book.n_channels;
	example(n, entry_decimals_of(&s->draft, n), form, sizeof form);
	if (s->draft.n_laps == 0)
		runs_say_form(app);
	return field_open(app, lap_typed, "", "%s lap %zu (%s%s)", s->draft.id, s->draft.n_laps + 1,
		form, entry_mode_of(&s->draft) == ENTRY_WORN ? ", totals" : "");
}

bool runs_is_blank(const char *text)
{
	return text[strspn(text, " \t")] == '\0';
}

/* The last line of a run: what it came to, against what was predicted. */
static unsigned finish(struct app *app)
{
	struct runs_page *s = runs_page_of(app);
	struct err err;
	char line[400], planned[700];
	err_clear(&err);
	if (s->is_new)
		return app_say(app, "no lap was typed: nothing was logged");
	const bool ticked = tick_plan(app, "x on the Plan page does it", planned, sizeof planned);
	s->plan_index = -1;
	if (!ticked)
		return UI_ALL | app_warn(app, "%s: %s", s->draft.id, planned);
	int at = book_find_run(&app->book, s->draft.id);
	if (s->stale) {
		s->stale = false;
		s->verify = verify_start(&app->book, RUNS_VERIFIED, &err);
		if (!s->verify)
			return UI_ALL | runs_stop_verify(app, &err);
	}
	while (s->verify &&
		s->verify->steps_left > s->verify->n_runs + (size_t)(at - s->verify->runs[0].run))
		if (!verify_step(s->verify, &err))
			return UI_ALL | runs_stop_verify(app, &err);
	const struct verified_run *v = at >= 0 ? runs_verified(s, at) : NULL;
	if (v && planned[0])
		return UI_ALL |
		       app_say(app, "%s; %s", runs_outcome(app, v, line, sizeof line), planned);
	return UI_ALL | (v ? app_say(app, "%s", runs_outcome(app, v, line, sizeof line)) : UI_NONE);
}

/* Appends to the draft, which takes what the lap owns; false: memory. */
static bool add_lap(struct run *r, const struct lap *l)
{
	struct lap *laps = realloc(r->laps, (r->n_laps + 1) * sizeof *laps);
	if (!laps)
		return false;
	r->laps = laps;
	r->laps[r->n_laps++] = *l;
	return true;
}

static bool is_near(double a, double b)
{
	return fabs(a / b - 1) < 0.2;
}

/* A lap before that is nothing like this one, where none of the run is; 0: no doubt. */
static double unlike(const struct app *app, const struct run *r, double time)
{
	for (size_t i = 0; i < r->n_laps; i++)
		if (is_near(time, r->laps[i].time))
			return 0;
	if (r->n_laps)
		return r->laps[r->n_laps - 1].time;
	for (size_t i = app->book.n_runs; i > 0; i--) {
		const struct run *other = &app->book.runs[i - 1];
		if (other->n_laps && strcmp(other->id, r->id) != 0)
			return is_near(time, other->laps[0].time) ? 0 : other->laps[0].time;
	}
	return 0;
}

/* Asks once about a time that is a fifth off all before, a slip as a rule; the same line again
 * is taken. */
static bool ask_twice(struct app *app, const struct lap *l, const char *text, unsigned *flags)
{
	struct runs_page *s = runs_page_of(app);
	const double before = l->skip ? 0 : unlike(app, &s->draft, l->time);
	char time[FMT_SIZE], was[FMT_SIZE];
	if (before <= 0 || strcmp(s->doubt, text) == 0)
		return false;
	snprintf(s->doubt, sizeof s->doubt, "%s", text);
	field_keep(app);
	*flags = app_warn(app, "%s, and %s before it? Enter again to keep, or mend it",
		fmt_lap(l->time, 3, time), fmt_lap(before, 3, was));
	return true;
}

static unsigned lap_typed(struct app *app, const char *text)
{
	struct runs_page *s = runs_page_of(app);
	unsigned flags = UI_NONE;
	struct lap l;
	struct err err;
	size_t n = app->book.n_channels;
	err_clear(&err);
	if (runs_is_blank(text))
		return finish(app);
	bool ok = entry_parse_lap(
		&l, text, n, entry_mode_of(&s->draft), entry_decimals_of(&s->draft, n), &err);
	if (ok && ask_twice(app, &l, text, &flags)) /* no skip reason: nothing to free */
		return flags;
	s->doubt[0] = '\0';
	if (ok && !add_lap(&s->draft, &l)) {
		free(l.skip);
		ok = err_memory(&err);
	}
	if (!ok) {
		field_keep(app);
		return app_warn(app, "%s", err.text);
	}
	if (!save_draft(app, &err)) {
		free(s->draft.laps[--s->draft.n_laps].skip);
		if (held_ask(app, &err, "runs", s->draft.id, NULL, &flags))
			return flags;
		field_keep(app);
		return app_not_saved(app, s->draft.id, &err);
	}
	lap_saved(app, &err);
	return ask_lap(app);
}

/* --- a new run ------------------------------------------------------------------- */

/* The typed conditions into the draft. False: the field stays open, *flags is to be returned. */
bool runs_take_conditions(struct app *app, const char *text, unsigned *flags)
{
	struct err err;
	err_clear(&err);
	if (entry_parse_conditions(&runs_page_of(app)->draft, text, app->book.n_channels, &err))
		return true;
	field_keep(app);
	*flags = app_warn(app, "%s", err.text);
	return false;
}

static unsigned conditions_typed(struct app *app, const char *text)
{
	unsigned flags;
	return runs_take_conditions(app, text, &flags) ? ask_lap(app) : flags;
}

/* Where the last run's readings stopped. */
static void carry_totals(struct run *r, const struct run *last, size_t n_channels)
{
	for (size_t c = 0; c < n_channels; c++) {
		r->has_worn_at_start[c] = last->has_worn_at_start[c];
		r->worn_at_start[c] = last->worn_at_start[c];
		for (size_t i = 0; i < last->n_laps; i++)
			if (last->laps[i].has_worn[c]) {
				r->has_worn_at_start[c] = true;
				r->worn_at_start[c] = last->laps[i].worn[c];
			}
	}
}

/* The conditions of the run before, to be mended. */
static void carry_conditions(struct run *r, const struct book *b)
{
	if (b->n_runs == 0)
		return;
	const struct run *last = &b->runs[b->n_runs - 1];
	r->fuel = last->fuel;
	r->fuel_per_lap = last->fuel_per_lap;
	r->track_temp = last->track_temp;
	r->tyre_age = last->tyre_age;
	memcpy(r->driver, last->driver, sizeof r->driver);
	memcpy(r->session, last->session, sizeof r->session);
	memcpy(r->compound, last->compound, sizeof r->compound);
	if (entry_mode_of(last) == ENTRY_WORN) { /* the set goes on: its totals and its age */
		carry_totals(r, last, b->n_channels);
		r->tyre_age.v += r->tyre_age.has ? (double)last->n_laps : 0;
	}
}

static void stamp_date(struct run *r)
{
	time_t now = time(NULL);
	struct tm tm;
	if (localtime_r(&now, &tm))
		strftime(r->date, sizeof r->date, "%Y-%m-%dT%H:%M", &tm);
}

/* What to fill in; a set that stays on the car has the last run's laps behind it. */
static void say_conditions(struct app *app)
{
	const struct book *b = &app->book;
	const struct run *last = b->n_runs ? &b->runs[b->n_runs - 1] : NULL;
	char same[80] = "";
	if (last && last->tyre_age.has && entry_mode_of(last) != ENTRY_WORN)
		snprintf(same, sizeof same, "; same tyres: tyre-age=%g",
			last->tyre_age.v + (double)last->n_laps);
	app_say(app,
		"fill in what is known (Tab: next), Enter%s; also: driver= session= compound= "
		"worn=",
		same);
}

static unsigned start_run(struct app *app, const fix *values, const char *sheet, int plan_index)
{
	struct runs_page *s = runs_page_of(app);
	struct run *r = &s->draft;
	char text[ENTRY_SIZE];
	size_t n = app->book.car.n_adjustables;
	run_free(r);
	r->values = malloc((n + 1) * sizeof *r->values);
	if (!r->values)
		return app_warn(app, "out of memory");
	memcpy(r->values, values, n * sizeof *values);
	r->n_values = n;
	entry_next_id(&app->book, r->id);
	count_up(&app->book, r->id);
	snprintf(r->sheet, sizeof r->sheet, "%s", sheet);
	stamp_date(r);
	carry_conditions(r, &app->book);
	s->is_new = true;
	s->tried = false;
	s->plan_index = plan_index;
	entry_print_conditions(r, app->book.n_channels, text, sizeof text);
	say_conditions(app);
	return field_open(app, conditions_typed, text, "%s", r->id);
}

/* The stored plan; NULL where there is none that can be read. */
static struct plan *open_plan(struct app *app)
{
	struct faults faults;
	struct plan *p = NULL;
	faults_init(&faults);
	store_load_plan(&p, &app->book, &faults);
	faults_free(&faults);
	return p;
}

enum { FROM_SHEET, FROM_LAST, FROM_PLAN };

static unsigned source_picked(struct app *app, int item)
{
	const struct book *b = &app->book;
	if (item < 0)
		return UI_ALL;
	if (item == FROM_LAST && b->n_runs)
		return start_run(
			app, b->runs[b->n_runs - 1].values, b->runs[b->n_runs - 1].sheet, -1);
	if (item == FROM_SHEET)
		return start_run(app, app_sheet(app)->values, app_sheet(app)->id, -1);
	struct plan *p = open_plan(app);
	int next = p ? plan_next_run(p) : -1;
	unsigned flags = next >= 0 ? start_run(app, p->runs[next].values, p->base, next)
				   : app_say(app, "no run of the plan is still to be driven");
	plan_free(p);
	return flags;
}

unsigned act_new_run(struct app *app)
{
	const struct book *b = &app->book;
	struct buf items;
	struct plan *p = open_plan(app);
	int next = p ? plan_next_run(p) : -1;
	app->page = PAGE_RUNS; /* from the Plan page too: the laps are seen there */
	buf_init(&items);
	buf_addf(&items, "the sheet as it stands here: %s, %zu %s against %s\n", app_sheet(app)->id,
		app->n_changes, app->n_changes == 1 ? "change" : "changes", b->reference);
	if (b->n_runs)
		buf_addf(&items, "the set-up of %s once more", b->runs[b->n_runs - 1].id);
	else
		buf_adds(&items, "the run before: there is none yet");
	if (next >= 0) {
		double minutes = 0;
		const fix *from = next ? p->runs[next - 1].values : p->runs[0].values;
		size_t changes = plan_count_changes(&b->car, from, p->runs[next].values, &minutes);
		buf_addf(&items, "\nrun %d of the plan: %s, %zu %s, %g min", next + 1,
			p->runs[next].baseline ? "baseline" : "test", changes,
			changes == 1 ? "change" : "changes", minutes);
	}
	unsigned flags = list_open(app, source_picked, modal_text(app, &items),
		next >= 0 ? FROM_PLAN : FROM_SHEET, "Log a run driven on");
	buf_free(&items);
	plan_free(p);
	return flags;
}

unsigned act_add_laps(struct app *app)
{
	const struct run *r = runs_current(app);
	if (!r)
		return app_say(app, "no run yet: n logs one");
	if (!runs_draft_of(app, r))
		return app_warn(app, "out of memory");
	return ask_lap(app);
}
