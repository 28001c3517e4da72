/*
 * The Plan page: the book's test plan, or one just made; what each run changes, what the
 * plan finds, and ticking off.
 */
#include "tui/app.h"

#include "book/caution.h"
#include "plan/plan_line.h"
#include "store/plan_file.h"
#include "tui/fmt.h"
#include "tui/session.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct plan_page {
	struct plan *plan; /* owned; NULL: none */
	bool draft;        /* made here and not kept yet */
	bool stale;        /* the file or the figures are to be read again */
	bool effects;      /* the effects found in place of the runs */
	int cursor, top, screenful;
	enum plan_kind kind; /* being asked for */
	char why[300];
};

static struct plan_page *state_of(struct app *app)
{
	return app_page_state(app, PAGE_PLAN);
}

static void plan_close(void *state)
{
	struct plan_page *s = state;
	plan_free(s->plan);
	free(s);
}

static void *plan_open(struct app *app)
{
	struct plan_page *s = calloc(1, sizeof *s);
	(void)app;
	if (s)
		s->stale = true;
	return s;
}

static void plan_changed(struct app *app, unsigned what)
{
	if (state_of(app) && (what & CHANGED_MODEL))
		state_of(app)->stale = true;
}

static void take_noise(struct app *app, struct plan_noise *noise)
{
	memset(noise, 0, RESPONSES_MAX * sizeof *noise);
	if (app->model)
		plan_book_noise(app->model, noise);
}

/* The stored plan, read again: runs may have been ticked off since. Where it cannot be had whole,
 * that is said, over anything that was said before. */
static void refresh(struct app *app)
{
	struct plan_page *s = state_of(app);
	struct plan_noise noise[RESPONSES_MAX];
	struct faults faults;
	struct err err;
	if (!s->stale)
		return;
	s->stale = false;
	s->why[0] = '\0';
	if (s->draft)
		return;
	const size_t kept = s->plan ? s->plan->n_runs : 0;
	plan_free(s->plan);
	s->plan = NULL;
	faults_init(&faults);
	err_clear(&err);
	take_noise(app, noise);
	if (!store_load_plan(&s->plan, &app->book, &faults))
		err = faults.n ? faults.list[0] : faults.oom;
	else if (s->plan)
		plan_complete(s->plan, &app->book, noise, &err);
	if (err.cls != ERR_NONE)
		err_format(&err, s->why, sizeof s->why);
	if (err_is_memory(&err))
		app_warn(app, "the plan is not told whole: %s", err.text);
	faults_free(&faults);
	int next = s->plan ? plan_next_run(s->plan) : -1;
	if (s->plan && s->cursor > 0 && s->cursor < (int)s->plan->n_runs && kept)
		return; /* the place on the page stays */
	s->cursor = next >= 0 ? next : 0;
}

/* Another hand may have changed the file meanwhile. */
static void plan_enter(struct app *app)
{
	state_of(app)->stale = true;
	refresh(app);
}

static unsigned plan_idle(struct app *app)
{
	if (!state_of(app)->stale || app->modal.kind != MODAL_NONE)
		return UI_NONE;
	refresh(app);
	return UI_BODY | UI_FOOT;
}

static unsigned plan_move(struct app *app, enum move how)
{
	struct plan_page *s = state_of(app);
	refresh(app); /* a key may come before the first painting */
	int n = s->plan ? (int)(s->effects ? s->plan->n_detect : s->plan->n_runs) : 0;
	s->cursor = list_move(s->cursor, n, s->screenful, how);
	return UI_BODY;
}

/* --- making one ---------------------------------------------------------------- */

static unsigned take_plan(struct app *app, struct plan *p)
{
	struct plan_page *s = state_of(app);
	plan_free(s->plan);
	s->plan = p;
	s->draft = true;
	s->effects = false;
	s->cursor = 0;
	s->why[0] = '\0';
	return UI_BODY | app_say(app, "m makes another, e tells what it finds");
}

static unsigned options_typed(struct app *app, const char *text)
{
	struct plan_options o = {
		.kind = state_of(app)->kind, .base = app_sheet(app), .borrowing = app->model};
	struct plan_line *line = malloc(sizeof *line);
	struct plan *p = NULL;
	struct err err;
	err_clear(&err);
	if (!line)
		return app_warn(app, "out of memory");
	take_noise(app, o.noise);
	if (plan_parse_line(&app->book, &o, line, text, &err))
		p = plan_new(&app->book, &o, &err);
	free(line);
	if (p)
		return take_plan(app, p);
	field_keep(app);
	return app_warn(app, "%s", err.text);
}

static unsigned make_next(struct app *app)
{
	struct plan_options o = {.kind = PLAN_NEXT, .base = app_sheet(app)};
	struct err err;
	err_clear(&err);
	if (!app->model)
		return app_warn(app, "no run can be chosen: %s", app->model_why);
	struct plan *p = plan_next(app->model, &o, &err);
	return p ? take_plan(app, p) : app_warn(app, "%s", err.text);
}

static const char *first_factor(const struct app *app)
{
	const struct car *c = &app->book.car;
	return c->n_pairs ? c->pairs[0].id : c->adjustables[0].id;
}

static unsigned kind_picked(struct app *app, int item)
{
	if (item < 0 || item >= PLAN_KINDS)
		return UI_ALL;
	state_of(app)->kind = (enum plan_kind)item;
	if (item == PLAN_NEXT)
		return make_next(app);
	struct plan_noise noise[RESPONSES_MAX];
	char ids[90];
	take_noise(app, noise);
	plan_factor_ids(&app->book.car, ids, sizeof ids);
	app_say(app, "factors: %s%s (none: all), levels as %s=LOW:HIGH%s; laps of the whole plan",
		ids, strlen(ids) == sizeof ids - 1 ? "..." : "", first_factor(app),
		app->book.car.n_pairs ? ", of a pair moves" : "");
	return field_open(app, options_typed,
		noise[RESPONSE_TIME].has
			? "laps= minutes= order=random factors="
			: "laps= minutes= sigma-run= sigma-lap= order=random factors=",
		"%s", plan_kind_names[item]);
}

unsigned act_plan_make(struct app *app)
{
	static const char kinds[] =
		"one at a time: each factor low and high, the rest at the base\n"
		"screening: many factors on two levels in few runs\n"
		"definitive: three levels, effects clear of curvature\n"
		"the one run that teaches most now";
	if (app_dirty(app))
		return app_say(app,
			"a plan starts from a sheet as its file has it: s saves this one first");
	return list_open(app, kind_picked, kinds, 1, "Make a plan from the sheet under work");
}

/* --- keeping, ticking, taking ---------------------------------------------------- */

static unsigned keep(struct app *app, bool replace, struct err *err)
{
	struct plan_page *s = state_of(app);
	if (!store_save_plan(&app->book, s->plan, replace, err))
		return UI_NONE;
	s->draft = false;
	s->stale = true;
	app_say(app, "kept as plan.yaml; n logs its next run");
	refresh(app);
	return UI_ALL;
}

static unsigned keep_answered(struct app *app, int choice)
{
	struct err err;
	err_clear(&err);
	if (choice != 1)
		return app_say(app, "the plan in the book stays");
	unsigned flags = keep(app, true, &err);
	return flags ? flags : app_warn(app, "not kept: %s", err.text);
}

unsigned act_plan_keep(struct app *app)
{
	static const struct choice choices[] = {
		{'n', "leave the plan that is in the book"}, {'r', "put this one in its place"}};
	struct plan_page *s = state_of(app);
	struct err err;
	err_clear(&err);
	if (!s->plan || !s->draft)
		return app_say(app,
			s->plan ? "this plan is in the book already" : "no plan yet: m makes one");
	unsigned flags = keep(app, false, &err);
	if (flags)
		return flags;
	if (err.cls == ERR_INPUT)
		return question_open(
			app, keep_answered, choices, 2, err.text, "Replace plan.yaml?");
	return app_warn(app, "not kept: %s", err.text);
}

static const struct plan_run *run_at(const struct plan_page *s)
{
	return s->plan && !s->effects && s->cursor < (int)s->plan->n_runs
		       ? &s->plan->runs[s->cursor]
		       : NULL;
}

static unsigned done_typed(struct app *app, const char *text)
{
	struct plan_page *s = state_of(app);
	struct err err;
	char id[ID_SIZE];
	err_clear(&err);
	if (!text_is_id(text, strlen(text)) || book_find_run(&app->book, text) < 0) {
		field_keep(app);
		return app_warn(app, "the book has no run of that id; the last one is %s",
			app->book.n_runs ? app->book.runs[app->book.n_runs - 1].id
					 : "not there yet");
	}
	snprintf(id, sizeof id, "%s", text);
	int at = s->cursor;
	if (!store_tick_plan(&app->book, (size_t)at, id, &err))
		return app_warn(app, "not ticked off: %s", err.text);
	s->stale = true;
	app_say(app, "run %d of the plan was driven as %s", at + 1, id);
	refresh(app);
	return UI_ALL;
}

unsigned act_plan_done(struct app *app)
{
	struct plan_page *s = state_of(app);
	const struct plan_run *r = run_at(s);
	if (!r || s->draft)
		return app_say(app, !s->plan   ? "no plan yet: m makes one"
				    : s->draft ? "K keeps the plan first"
					       : "e goes back to the runs first");
	const char *last = app->book.n_runs ? app->book.runs[app->book.n_runs - 1].id : "";
	return field_open(app, done_typed, r->done[0] ? r->done : last,
		"Run %d of the plan was driven as", s->cursor + 1);
}

static unsigned strike_answered(struct app *app, int choice)
{
	struct plan_page *s = state_of(app);
	const struct plan_run *r = run_at(s);
	struct err err;
	err_clear(&err);
	if (choice != 1 || !r)
		return app_say(app, "the run stays in the plan");
	const int at = s->cursor;
	const bool ok = store_strike_plan(&app->book, (size_t)at, r->values, &err);
	s->stale = true;
	if (ok)
		app_say(app, "run %d is struck out of plan.yaml", at + 1);
	else
		app_warn(app, "%s", err.text);
	refresh(app);
	return UI_ALL;
}

unsigned act_plan_strike(struct app *app)
{
	static const struct choice choices[] = {
		{'n', "keep it in the plan"}, {'d', "strike it out of plan.yaml"}};
	struct plan_page *s = state_of(app);
	const struct plan_run *r = run_at(s);
	if (!r || s->draft)
		return app_say(app, !s->plan   ? "no plan yet: m makes one"
				    : s->draft ? "K keeps the plan first"
					       : "e goes back to the runs first");
	if (s->cursor == 0 || r->done[0])
		return app_say(app,
			r->done[0] ? "this run was driven as %s; it stays in the plan"
				   : "run 1 is what the moves are told from; it stays%s",
			r->done);
	return question_open(app, strike_answered, choices, 2,
		r->baseline ? "It is a baseline: its repeats are what every interval lives on.\n"
			      "The numbers of the later runs go down by one."
			    : "What the plan finds gets less: e tells how much.\n"
			      "The numbers of the later runs go down by one.",
		"Strike run %d out of the plan?", s->cursor + 1);
}

unsigned act_plan_take(struct app *app)
{
	const struct plan_run *r = run_at(state_of(app));
	struct edit_change c;
	struct err err;
	err_clear(&err);
	if (!r)
		return app_say(app, "no run of a plan stands under the marker");
	if (!edit_apply(app->edit, r->values, false, &c, &err))
		return app_warn(app, "%s", err.text);
	if (c.n == 0)
		return app_say(app, "the sheet has these values already");
	return app_say(app, "taken into %s; u goes back", app_sheet(app)->id) |
	       session_edited(app, &c);
}

unsigned act_plan_effects(struct app *app)
{
	struct plan_page *s = state_of(app);
	s->effects = !s->effects;
	s->cursor = s->top = 0;
	return UI_BODY;
}

/* --- painting ------------------------------------------------------------------- */

enum { MARKS_X = 30, MARK_W = 3, FIGURE_W = 11, DETAIL_LINES = 4, CAUTION_LINES = 2 };
enum { SIDE_FROM = 110, SIDE_W = 34 }; /* columns from which factors and remarks stand beside */

static size_t count_done(const struct plan *p)
{
	size_t n = 0;
	for (size_t i = 0; i < p->n_runs; i++)
		n += p->runs[i].done[0] != '\0';
	return n;
}

static void draw_title(const struct plan_page *s, struct area a)
{
	const struct plan *p = s->plan;
	if (p->kind == PLAN_NEXT && p->has_gain[RESPONSE_TIME])
		scr_printf(a.y, 1, a.w - 2, PLAIN,
			"teaches most now: standard error of lap time %.2g s, was %.2g; %g min",
			p->se_after[RESPONSE_TIME], p->se_now[RESPONSE_TIME], p->minutes);
	else
		scr_printf(a.y, 1, a.w - 2, PLAIN,
			"%s from %s: %zu %s of %zu laps, %g min of changes",
			plan_kind_names[p->kind], p->base, p->n_runs,
			p->n_runs == 1 ? "run" : "runs", p->laps, p->minutes);
	char notes[64] = "";
	if (p->n_notes)
		snprintf(notes, sizeof notes, "; %zu %s, e shows %s", p->n_notes,
			p->n_notes == 1 ? "remark" : "remarks", p->n_notes == 1 ? "it" : "them");
	if (s->draft)
		scr_printf(
			a.y + 1, 1, a.w - 2, WARN, "not kept yet: K keeps it in the book%s", notes);
	else
		scr_printf(a.y + 1, 1, a.w - 2, PLAIN, "%zu of %zu runs driven%s", count_done(p),
			p->n_runs, notes);
}

static char mark_of(const struct plan *p, const struct plan_factor *f, const struct plan_run *r)
{
	fix move = r->values[f->adjustable] - p->runs[0].values[f->adjustable];
	if (r->baseline || p->kind == PLAN_NEXT)
		return '.';
	return move == f->low               ? '-'
	       : move == f->high            ? '+'
	       : p->kind == PLAN_DEFINITIVE ? '0'
					    : '.';
}

/* Marks take what the done column leaves. */
static int marks_for(const struct plan *p, int width)
{
	int room = (width - MARKS_X - 10) / MARK_W;
	return room < (int)p->n_factors ? (room < 0 ? 0 : room) : (int)p->n_factors;
}

static void draw_run(const struct app *app, const struct plan_page *s, int index, int y, int width)
{
	const struct plan *p = s->plan;
	const struct plan_run *r = &p->runs[index];
	int n = marks_for(p, width);
	enum style style = r->done[0] ? DIM : PLAIN;
	if (index == s->cursor)
		scr_text(y, 1, 1, ACCENT, ">");
	scr_printf(y, 3, MARKS_X - 3, style, "%3d  %-9s%7zu%6g", index + 1,
		r->baseline ? "baseline" : "test", r->changes, r->minutes);
	if (caution_list(&app->book.car, r->values, NULL)) /* told below the runs */
		scr_text(y, 6, 1, WARN, "!");
	for (int f = 0; f < n; f++)
		scr_printf(y, MARKS_X + f * MARK_W, MARK_W, style, "%2c",
			mark_of(p, &p->factors[f], r));
	if (r->done[0])
		scr_printf(y, MARKS_X + n * MARK_W + 1, width - MARKS_X - n * MARK_W - 2, PLAIN,
			"done %s", r->done);
}

/* "4/10" of an adjustable, "-0.6/+0.6" of a pair, whose levels are moves. */
static const char *factor_levels(const struct plan *p, const struct plan_factor *f,
	const struct car *car, char *buf, size_t size)
{
	const int d = fix_decimals(car->adjustables[f->adjustable].step);
	const fix from = f->partner < 0 ? p->runs[0].values[f->adjustable] : 0;
	char low[32], high[32];
	fix_print_min(f->low + from, d, low, sizeof low);
	fix_print_min(f->high + from, d, high, sizeof high);
	snprintf(buf, size, "%s/%s%s", low, f->partner >= 0 && f->high > 0 ? "+" : "", high);
	return buf;
}

/* Which factor stands in which column, and what - and + of it are. */
static void draw_legend(const struct plan *p, const struct car *car, struct area a)
{
	struct buf text;
	int marks = p->kind == PLAN_NEXT ? 0 : marks_for(p, a.w);
	buf_init(&text);
	for (int f = 0; f < marks; f++) {
		char levels[80];
		buf_addf(&text, "%s%d: %s %s", f ? ", " : "", f + 1, p->factors[f].id,
			factor_levels(p, &p->factors[f], car, levels, sizeof levels));
	}
	if (text.data)
		scr_wrap(a.y, 1, a.w - 2, a.h, DIM, text.data);
	buf_free(&text);
}

static size_t count_cautioned(const struct plan *p, const struct car *car)
{
	size_t n = 0;
	for (size_t i = 0; i < p->n_runs; i++)
		n += caution_list(car, p->runs[i].values, NULL) > 0;
	return n;
}

/* The first remark, where all of them have no room beside the runs. Lines used. */
static int draw_remark(const struct plan *p, struct area a)
{
	if (p->n_notes == 0 || scr_cols() >= SIDE_FROM || a.h < 1)
		return 0;
	scr_cut(a.y, 1, a.w - 2, WARN, p->notes[0]);
	return 1;
}

/* Soft limits that the run under the marker passes, else how many runs pass one. Lines used. */
static int draw_caution(const struct plan_page *s, const struct car *car, struct area a)
{
	const fix *values = run_at(s)->values;
	char words[CAUTION_SIZE], line[CAUTION_SIZE + 40];
	size_t runs = count_cautioned(s->plan, car), i = 0;
	size_t here = caution_list(car, values, NULL);
	if (runs == 0)
		return draw_remark(s->plan, a);
	while (here && !car_caution(&car->adjustables[i], values[i]))
		i++;
	if (here > 1)
		snprintf(line, sizeof line, "! %zu soft limits passed: %s", here,
			caution_words(car, i, values[i], words, sizeof words));
	else if (here)
		snprintf(line, sizeof line, "! %s",
			caution_words(car, i, values[i], words, sizeof words));
	else
		snprintf(line, sizeof line,
			"! %zu %s past a soft limit (!): go there to read which", runs,
			runs == 1 ? "run goes" : "runs go");
	return scr_wrap(a.y, 1, a.w - 2, CAUTION_LINES, WARN, line);
}

/* What the run under the marker changes, for the one with the spanner. */
static void draw_detail(struct app *app, const struct plan_page *s, struct area a)
{
	const struct plan_run *r = run_at(s);
	const struct car *car = &app->book.car;
	struct buf text;
	if (!r)
		return;
	int sheet = book_find_sheet(&app->book, s->plan->base);
	const fix *from = s->cursor    ? s->plan->runs[s->cursor - 1].values
			  : sheet >= 0 ? app->book.sheets[sheet].values
				       : r->values;
	buf_init(&text);
	for (size_t i = 0; i < car->n_adjustables; i++) {
		const struct adjustable *ad = &car->adjustables[i];
		char was[32], now[32];
		if (from[i] == r->values[i])
			continue;
		fix_print_min(from[i], fix_decimals(ad->step), was, sizeof was);
		fix_print_min(r->values[i], fix_decimals(ad->step), now, sizeof now);
		buf_addf(&text, "%s%s %s -> %s", text.len ? ", " : "change ", ad->id, was, now);
	}
	if (!text.data)
		buf_adds(&text,
			s->cursor ? "nothing to change from the run before" : "the base as it is");
	int used = draw_caution(s, car, a);
	if (text.data)
		used += scr_wrap(a.y + used, 1, a.w - 2, a.h - used, PLAIN, text.data);
	buf_free(&text);
	if (scr_cols() < SIDE_FROM)
		draw_legend(s->plan, car, (struct area){a.y + used, a.x, a.h - used, a.w});
}

static void draw_runs(struct app *app, struct plan_page *s, struct area a)
{
	const struct plan *p = s->plan;
	int n = (int)p->n_runs, marks = marks_for(p, a.w);
	int told = count_cautioned(p, &app->book.car) ? CAUTION_LINES : p->n_notes > 0;
	int rows = a.h - 3 - DETAIL_LINES - told;
	s->screenful = rows > 0 ? rows : 1;
	s->cursor = list_move(s->cursor, n, 1, MOVE_LEFT);
	s->top = list_scroll(s->top, s->cursor, n, s->screenful);
	scr_printf(a.y + 2, 3, MARKS_X - 3, DIM, "run  %-9s%7s%6s", "role", "changes", "min");
	for (int f = 0; f < marks; f++)
		scr_printf(a.y + 2, MARKS_X + f * MARK_W, MARK_W, DIM, "%2d", f + 1);
	int shown = s->screenful < n - s->top ? s->screenful : n - s->top;
	for (int i = 0; i < shown; i++)
		draw_run(app, s, s->top + i, a.y + 3 + i, a.w);
	draw_detail(app, s, (struct area){a.y + 3 + shown, 0, a.h - 3 - shown, a.w});
}

static void draw_heading(const struct app *app, int y, int x, size_t n)
{
	char id[32];
	for (size_t r = 0; r < n; r++)
		scr_right(y, x + (int)r * FIGURE_W, FIGURE_W, DIM,
			book_response_id(&app->book, r, id, sizeof id));
}

static void draw_effect(bool known, double v, int y, int x)
{
	char text[FMT_SIZE];
	scr_right(y, x, FIGURE_W, known ? PLAIN : DIM,
		known ? fmt_plain(v, v < 0.1 ? 3 : 2, text) : "not known");
}

/* What more would buy, below the effects. */
static void draw_offers(const struct plan *p, int y, int end, size_t n)
{
	if (y < end)
		scr_text(y++, 3, 50, DIM, "what more would buy (the middle one of these)");
	for (size_t i = 0; i < p->n_offers && y < end; i++, y++) {
		const struct plan_offer *o = &p->offers[i];
		scr_printf(y, 3, 35, PLAIN, "%s (%zu x %zu)", o->what, o->runs, o->laps);
		for (size_t r = 0; r < n; r++)
			draw_effect(o->known[r], o->effect[r], y, 38 + (int)r * FIGURE_W);
	}
}

/* The plan's remarks, behind the meaning of the marks where asked for. */
static void draw_notes(const struct plan *p, const struct car *car, bool marks, struct area a)
{
	char levels[80];
	int y = a.y, end = a.y + a.h;
	for (size_t f = 0; marks && f < p->n_factors && y < end; f++, y++)
		scr_printf(y, a.x, a.w, DIM, "%2zu %s %s", f + 1, p->factors[f].id,
			factor_levels(p, &p->factors[f], car, levels, sizeof levels));
	y += marks;
	for (size_t i = 0; i < p->n_notes && y < end; i++)
		y += scr_wrap(y, a.x, a.w, end - y, WARN, p->notes[i]);
}

static void draw_effects(struct app *app, struct plan_page *s, struct area a)
{
	const struct plan *p = s->plan;
	size_t room = a.w > 38 ? (size_t)(a.w - 38) / FIGURE_W : 0;
	size_t each = p->n_responses ? p->n_responses : 1, n = each < room ? each : room;
	int terms = (int)(p->n_detect / each), offers = p->n_offers ? (int)p->n_offers + 1 : 0;
	int remarks = 2 * (int)(p->n_notes < 4 ? p->n_notes : 4);
	int rows = a.h - 3 - offers - remarks;
	s->screenful = rows > 0 ? rows : 1;
	s->cursor = list_move(s->cursor, terms, 1, MOVE_LEFT);
	s->top = list_scroll(s->top, s->cursor, terms, s->screenful);
	bool known = false;
	for (size_t i = 0; i < p->n_detect; i++)
		known = known || p->detect[i].known;
	scr_text(a.y + 1, 1, a.w - 2, PLAIN,
		known                  ? "smallest effect found 80 times in 100, end to end of the "
					 "range (s; %/lap)"
		: p->kind == PLAN_NEXT ? "what one run more teaches is told when it is asked for: m"
				       : "what it finds is not known before some set-up was driven "
					 "twice");
	draw_heading(app, a.y + 2, 38, n);
	int y = a.y + 3;
	for (int i = 0; i < s->screenful && s->top + i < terms; i++, y++) {
		const struct plan_detect *d = &p->detect[(size_t)(s->top + i) * each];
		if (s->top + i == s->cursor)
			scr_text(y, 1, 1, ACCENT, ">");
		scr_text(y, 3, 34, PLAIN, d->term);
		for (size_t r = 0; r < n; r++)
			draw_effect(d[r].known, d[r].effect, y, 38 + (int)r * FIGURE_W);
	}
	draw_offers(p, y, a.y + a.h - remarks, n);
	draw_notes(
		p, &app->book.car, false, (struct area){a.y + a.h - remarks, 1, remarks, a.w - 2});
}

static void plan_draw(struct app *app, struct area a)
{
	struct plan_page *s = state_of(app);
	if (!s->plan) {
		scr_wrap(a.y + 1, 1, a.w - 2, 4, s->why[0] ? WARN : PLAIN,
			s->why[0] ? s->why
				  : "No plan in this book yet: m makes one from the sheet under "
				    "work.");
		return;
	}
	draw_title(s, a);
	if (s->effects) {
		draw_effects(app, s, a);
		return;
	}
	int side = a.w >= SIDE_FROM ? SIDE_W : 0;
	draw_runs(app, s, (struct area){a.y, a.x, a.h, a.w - side});
	if (side)
		draw_notes(s->plan, &app->book.car, true,
			(struct area){a.y + 2, a.w - side + 1, a.h - 2, side - 2});
}

const struct page_ops page_plan = {
	.open = plan_open,
	.close = plan_close,
	.enter = plan_enter,
	.changed = plan_changed,
	.draw = plan_draw,
	.move = plan_move,
	.idle = plan_idle,
};
