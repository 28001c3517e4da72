/*
 * The Plan page: the book's test plan, or one just made; what each run changes, what the
 * plan finds, and ticking off.
 */
#include "tui/plan_page.h"

#include "plan/plan_line.h"
#include "store/plan_file.h"
#include "tui/long_work.h"
#include "tui/saving.h"
#include "tui/session.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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
	struct long_work work;
	struct plan_options o = {
		.kind = PLAN_NEXT, .base = app_sheet(app), .patience = &work.patience};
	struct err err;
	err_clear(&err);
	if (!app->model)
		return app_warn(app, "no run can be chosen: %s", app->model_why);
	long_work_begin(&work, app, "choosing the run", "a key stops it");
	struct plan *p = plan_next(app->model, &o, &err);
	long_work_end(&work);
	if (p)
		return take_plan(app, p);
	app->message_stays = work.patience.stopped;
	if (work.patience.stopped)
		return app_warn(app, "no run chosen: a key stopped it; m begins again");
	if (patience_ended(&work.patience))
		return app_warn(app,
			"no run chosen: too many steps to try them here; treadlight plan --kind "
			"next does");
	return app_warn(app, "%s", err.text);
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
	if (err->cls != ERR_NONE)
		app_warn(app, "plan.yaml %s", err->text);
	else
		app_say(app, "kept as plan.yaml; n logs its next run");
	refresh(app);
	return UI_ALL;
}

static unsigned replace_plan(struct app *app)
{
	struct err err;
	err_clear(&err);
	unsigned flags = keep(app, true, &err);
	if (flags || held_ask(app, &err, "", "plan", replace_plan, &flags))
		return flags;
	return app_warn(app, "not kept: %s", err.text);
}

static unsigned keep_answered(struct app *app, int choice)
{
	return choice == 1 ? replace_plan(app) : app_say(app, "the plan in the book stays");
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
	if (flags || held_ask(app, &err, "", "plan", act_plan_keep, &flags))
		return flags;
	if (err.cls == ERR_INPUT)
		return question_open(
			app, keep_answered, choices, 2, err.text, "Replace plan.yaml?");
	return app_warn(app, "not kept: %s", err.text);
}

const struct plan_run *plan_run_at(const struct plan_page *s)
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
	const int at = s->cursor;
	const struct plan_run *seen = plan_run_at(s);
	const bool ok = seen && store_tick_plan(&app->book, (size_t)at, seen, id, &err);
	unsigned flags;
	if (!ok && held_ask(app, &err, "", "plan", NULL, &flags))
		return flags;
	s->stale = true;
	if (!ok)
		app_warn(app, "not ticked off: %s", err.text);
	else if (err.cls != ERR_NONE)
		app_warn(app, "run %d is noted as %s, but plan.yaml %s", at + 1, id, err.text);
	else
		app_say(app, "run %d of the plan was driven as %s", at + 1, id);
	refresh(app);
	return UI_ALL;
}

unsigned act_plan_done(struct app *app)
{
	struct plan_page *s = state_of(app);
	const struct plan_run *r = plan_run_at(s);
	if (!r || s->draft)
		return app_say(app, !s->plan   ? "no plan yet: m makes one"
				    : s->draft ? "K keeps the plan first"
					       : "e goes back to the runs first");
	const char *last = app->book.n_runs ? app->book.runs[app->book.n_runs - 1].id : "";
	return field_open(app, done_typed, r->done[0] ? r->done : last,
		"Run %d of the plan was driven as", s->cursor + 1);
}

static unsigned strike(struct app *app)
{
	struct plan_page *s = state_of(app);
	const struct plan_run *r = plan_run_at(s);
	struct err err;
	unsigned flags;
	err_clear(&err);
	if (!r)
		return app_say(app, "the run stays in the plan");
	const int at = s->cursor;
	const bool ok = store_strike_plan(&app->book, (size_t)at, r->values, &err);
	if (!ok && held_ask(app, &err, "", "plan", strike, &flags))
		return flags;
	s->stale = true;
	if (ok && err.cls != ERR_NONE)
		app_warn(app, "run %d is struck out, but plan.yaml %s", at + 1, err.text);
	else if (ok)
		app_say(app, "run %d is struck out of plan.yaml", at + 1);
	else
		app_warn(app, "%s", err.text);
	refresh(app);
	return UI_ALL;
}

static unsigned strike_answered(struct app *app, int choice)
{
	return choice == 1 ? strike(app) : app_say(app, "the run stays in the plan");
}

unsigned act_plan_strike(struct app *app)
{
	static const struct choice choices[] = {
		{'n', "keep it in the plan"}, {'d', "strike it out of plan.yaml"}};
	struct plan_page *s = state_of(app);
	const struct plan_run *r = plan_run_at(s);
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
	const struct plan_run *r = plan_run_at(state_of(app));
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

const struct page_ops page_plan = {
	.open = plan_open,
	.close = plan_close,
	.enter = plan_enter,
	.changed = plan_changed,
	.draw = plan_draw,
	.move = plan_move,
	.idle = plan_idle,
};
