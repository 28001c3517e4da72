#include "tui/sheet.h"

#include "tui/fmt.h"
#include "tui/session.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

struct sheet_page *sheet_page_of(struct app *app)
{
	return app_page_state(app, PAGE_SHEET);
}

/* --- rows ----------------------------------------------------------------- */

static bool holds(const char *text, const char *what)
{
	size_t n = strlen(what);
	for (; *text; text++)
		if (strncasecmp(text, what, n) == 0)
			return true;
	return n == 0;
}

static bool row_passes(const struct car *car, const struct sheet_row *r, const char *filter)
{
	int members[2] = {r->front, r->rear};
	for (int i = 0; i < 2; i++) {
		if (members[i] < 0)
			continue;
		const struct adjustable *a = &car->adjustables[members[i]];
		if (holds(a->label, filter) || holds(a->id, filter))
			return true;
	}
	return false;
}

static void apply_filter(struct app *app, struct sheet_page *s)
{
	s->n_shown = 0;
	for (size_t i = 0; i < s->n_rows; i++)
		if (row_passes(&app->book.car, &s->rows[i], s->filter))
			s->shown[s->n_shown++] = (int)i;
	s->cursor = list_move(s->cursor, (int)s->n_shown, 1, MOVE_LEFT);
}

static void make_rows(struct sheet_page *s, const struct car *car)
{
	for (size_t i = 0; i < car->n_adjustables; i++) {
		const struct adjustable *a = &car->adjustables[i];
		struct sheet_row *r = &s->rows[s->n_rows];
		if (a->pair >= 0) {
			const struct pair *p = &car->pairs[a->pair];
			if ((size_t)(p->front < p->rear ? p->front : p->rear) != i)
				continue;
			*r = (struct sheet_row){a->pair, p->front, p->rear};
		} else {
			*r = (struct sheet_row){-1, a->axle == AXLE_REAR ? -1 : (int)i,
				a->axle == AXLE_REAR ? (int)i : -1};
		}
		s->n_rows++;
	}
}

static void sheet_close(void *state)
{
	struct sheet_page *s = state;
	for (size_t i = 0; s->lines && i < s->n_rows; i++)
		scr_kept_drop(&s->lines[i].kept);
	free(s->lines);
	free(s->rows);
	free(s->shown);
	free(s->driven);
	frontier_free(s->frontier);
	plot_free(&s->plot);
	scr_kept_drop(&s->still);
	free(s);
}

static void *sheet_open(struct app *app)
{
	size_t n = app->book.car.n_adjustables + 1;
	struct sheet_page *s = calloc(1, sizeof *s);
	if (!s)
		return NULL;
	s->rows = calloc(n, sizeof *s->rows);
	s->lines = calloc(n, sizeof *s->lines);
	s->shown = calloc(n, sizeof *s->shown);
	if (!s->rows || !s->lines || !s->shown || !sheet_collect_driven(app, s)) {
		sheet_close(s);
		return NULL;
	}
	make_rows(s, &app->book.car);
	s->widths = fmt_widths(&app->book.car);
	apply_filter(app, s);
	s->frontier_stale = s->scale_stale = true;
	s->point = -1;
	int limiting = app->model && app->against.values
			       ? model_limiting_channel(app->model, app->against.values)
			       : -1;
	s->channel = limiting > 0 ? (size_t)limiting : 0;
	return s;
}

static void sheet_changed(struct app *app, unsigned what)
{
	struct sheet_page *s = sheet_page_of(app);
	if (!s)
		return;
	if (what & (CHANGED_REFERENCE | CHANGED_MODEL))
		s->frontier_stale = s->scale_stale = true;
	if ((what & CHANGED_MODEL) && !sheet_collect_driven(app, s))
		app_warn(app, "out of memory: the picture lacks the driven set-ups");
}

const struct sheet_row *sheet_current_row(struct app *app)
{
	struct sheet_page *s = sheet_page_of(app);
	return s->n_shown ? &s->rows[s->shown[s->cursor]] : NULL;
}

int sheet_current(struct app *app)
{
	const struct sheet_row *r = sheet_current_row(app);
	if (!r)
		return -1;
	int want = sheet_page_of(app)->rear ? r->rear : r->front;
	return want >= 0 ? want : r->front >= 0 ? r->front : r->rear;
}

static unsigned sheet_move(struct app *app, enum move how)
{
	struct sheet_page *s = sheet_page_of(app);
	if (how == MOVE_LEFT || how == MOVE_RIGHT)
		s->rear = how == MOVE_RIGHT;
	else
		s->cursor = list_move(s->cursor, (int)s->n_shown, s->screenful, how);
	return UI_BODY;
}

/* --- edits ---------------------------------------------------------------- */

static unsigned no_row(struct app *app)
{
	return app_say(app, "no row holds \"%s\"; / and an empty text shows all",
		sheet_page_of(app)->filter);
}

static unsigned nudge(struct app *app, int steps)
{
	struct edit_change c;
	struct err err;
	int a = sheet_current(app);
	err_clear(&err);
	if (a < 0)
		return no_row(app);
	sheet_page_of(app)->nudged = steps;
	if (!edit_nudge(app->edit, a, steps, &c, &err))
		return app_warn(app, "%s", err.text);
	return c.n ? session_edited(app, &c) : UI_NONE;
}

unsigned act_more(struct app *app)
{
	return nudge(app, 1);
}

unsigned act_less(struct app *app)
{
	return nudge(app, -1);
}

unsigned act_more5(struct app *app)
{
	return nudge(app, 5);
}

unsigned act_less5(struct app *app)
{
	return nudge(app, -5);
}

static unsigned value_typed(struct app *app, const char *text)
{
	struct edit_change c;
	struct err err;
	fix v;
	err_clear(&err);
	while (*text == ' ')
		text++;
	size_t n = strlen(text);
	while (n > 0 && text[n - 1] == ' ')
		n--;
	if (n == 0)
		return app_say(app, "nothing typed: the value is as it was");
	enum num_result r = fix_parse(text, n, &v);
	if (r == NUM_OK && edit_set(app->edit, sheet_current(app), v, &c, &err))
		return c.n ? session_edited(app, &c) : UI_ALL;
	field_keep(app);
	if (r == NUM_OK)
		return app_warn(app, "%s", err.text);
	char safe[64];
	text_safe(safe, sizeof safe, text, n);
	return app_warn(app, "\"%s%s\" %s", safe, n > 60 ? "..." : "", num_explain(r));
}

unsigned act_type(struct app *app)
{
	int a = sheet_current(app);
	if (a < 0)
		return no_row(app);
	const struct adjustable *ad = &app->book.car.adjustables[a];
	char title[CAR_TITLE_SIZE], low[32], high[32], step[32];
	fix_print(ad->min, low, sizeof low);
	fix_print(ad->max, high, sizeof high);
	fix_print(ad->step, step, sizeof step);
	return field_open(app, value_typed, "", "%s, %s to %s by %s",
		car_title(ad, title, sizeof title), low, high, step);
}

unsigned act_hold(struct app *app)
{
	struct err err;
	const struct sheet_row *r = sheet_current_row(app);
	err_clear(&err);
	if (!r)
		return no_row(app);
	if (r->pair < 0)
		return app_say(app, "this adjustable has no front and rear to hold together");
	bool on = !app_sheet(app)->locked[r->pair];
	if (!edit_lock(app->edit, r->pair, on, &err))
		return app_warn(app, "%s", err.text);
	sheet_page_of(app)->frontier_stale = true;
	return app_say(app, on ? "held: front minus rear stays as it is, both move together"
			       : "let go: front and rear move by themselves") |
	       session_edited(app, NULL);
}

unsigned act_hold_share(struct app *app)
{
	struct err err;
	const struct sheet_row *r = sheet_current_row(app);
	err_clear(&err);
	if (!r)
		return no_row(app);
	bool on = r->pair < 0 || !app_sheet(app)->share_held[r->pair];
	if (!edit_hold_share(app->edit, r->pair, on, &err))
		return app_warn(app, "%s", err.text);
	sheet_page_of(app)->frontier_stale = true;
	return app_say(app, on ? "the load-transfer share is held: the other end follows to the "
				 "nearest step"
			       : "let go: front and rear move by themselves") |
	       session_edited(app, NULL);
}

unsigned act_freeze(struct app *app)
{
	struct err err;
	char title[CAR_TITLE_SIZE];
	int a = sheet_current(app);
	err_clear(&err);
	if (a < 0)
		return no_row(app);
	bool on = !app_sheet(app)->frozen[a];
	if (!edit_freeze(app->edit, a, on, &err))
		return app_warn(app, "%s", err.text);
	car_title(&app->book.car.adjustables[a], title, sizeof title);
	sheet_page_of(app)->frontier_stale = true;
	return app_say(app,
		       on ? "%s is frozen: suggestions leave it alone"
			  : "%s is free: suggestions may move it",
		       title) |
	       session_edited(app, NULL);
}

unsigned act_undo(struct app *app)
{
	struct edit_change c;
	if (!edit_undo(app->edit, &c))
		return app_say(app, "nothing to undo");
	c.caution = -1; /* back to what was there before: no question */
	sheet_page_of(app)->frontier_stale = true;
	unsigned flags = session_edited(app, &c);
	app->last_was_undo = true;
	return flags;
}

unsigned act_redo(struct app *app)
{
	struct edit_change c;
	if (!edit_redo(app->edit, &c))
		return app_say(app, "nothing to redo");
	sheet_page_of(app)->frontier_stale = true;
	return session_edited(app, &c);
}

static unsigned filter_typed(struct app *app, const char *text)
{
	struct sheet_page *s = sheet_page_of(app);
	snprintf(s->filter, sizeof s->filter, "%s", text);
	apply_filter(app, s);
	if (s->filter[0] && s->n_shown == 0)
		return UI_BODY | no_row(app);
	return UI_BODY;
}

unsigned act_filter(struct app *app)
{
	return field_open(app, filter_typed, sheet_page_of(app)->filter, "Show rows that hold");
}

unsigned act_picture(struct app *app)
{
	struct sheet_page *s = sheet_page_of(app);
	s->picture = !s->picture;
	return UI_BODY;
}

/* --- the frontier --------------------------------------------------------- */

unsigned act_take(struct app *app)
{
	struct sheet_page *s = sheet_page_of(app);
	struct edit_change c;
	struct err err;
	err_clear(&err);
	if (app->page != PAGE_SHEET)
		return compare_take(app);
	if (!s->frontier || s->point < 0)
		return app_say(app, "no point of the frontier is chosen: n and b walk along it");
	if (!edit_apply(app->edit, s->frontier->points[s->point].values, false, &c, &err))
		return app_warn(app, "%s", err.text);
	if (c.n == 0)
		return app_say(app, "the sheet has these values already");
	return app_say(app, "taken, %zu value%s changed; u goes back", c.n, c.n == 1 ? "" : "s") |
	       session_edited(app, &c);
}

unsigned act_channel(struct app *app)
{
	if (app->page == PAGE_EFFECTS)
		return effects_next_response(app);
	struct sheet_page *s = sheet_page_of(app);
	s->channel = (s->channel + 1) % app->book.n_channels;
	s->frontier_stale = s->scale_stale = true;
	s->point = -1;
	return UI_BODY;
}

/* The last nudge once more; held pairs move together, as edit_nudge() has it. What is guessed
 * wrongly, at a limit or with a held share, is never asked for. */
static void foretell_nudge(struct app *app)
{
	const struct sheet *s = app_sheet(app);
	const int a = sheet_current(app);
	fix *values = a >= 0 ? malloc(s->n_values * sizeof *values) : NULL;
	if (!values)
		return;
	const int partner = edit_locked_partner(app->edit, a);
	const fix by = edit_nudge_step(app->edit, a) * sheet_page_of(app)->nudged;
	memcpy(values, s->values, s->n_values * sizeof *values);
	values[a] += by;
	if (partner >= 0)
		values[partner] += by;
	answer_foretell(&app->told, app->model, values, app->against.values);
	free(values);
}

/* The frontier of many adjustables takes some milliseconds: not before the first painting. */
static unsigned sheet_idle(struct app *app)
{
	struct sheet_page *s = sheet_page_of(app);
	if (!app->model)
		return UI_NONE;
	foretell_nudge(app);
	if (!s->frontier_stale)
		return UI_NONE;
	unsigned flags = sheet_update_frontier(app, s);
	return s->frontier_stale ? flags : UI_BODY | flags;
}

/* --- painting ------------------------------------------------------------- */

enum {
	SPLIT_COLS = 80,
	LEFT_80 = 44,
	LEFT_100 = 52,
	LEFT_130 = 76,
	ROOM_130 = 130,
	TOLD_LEAST = 35, /* the panel beside the rows, and what it likes to have */
	TOLD_W = 47,
	PICTURE_LEAST = 7,
	APART_FROM = 10 /* lines from which a blank one stands above */
};

static void draw_split(struct app *app, struct sheet_page *s, struct area a)
{
	int left = a.w >= ROOM_130 ? LEFT_130 : a.w >= 100 ? LEFT_100 : LEFT_80;
	left = sheet_rows_width(&s->widths, left, a.w - 1 - TOLD_W, a.w - 1 - TOLD_LEAST);
	const int apart = a.h >= APART_FROM;
	struct area rows = {a.y + apart, 0, a.h - apart, left};
	struct area right = {a.y + apart, left + 1, a.h - apart, a.w - left - 1};
	int y = sheet_draw_rows(app, rows) + 1;
	if (a.w >= ROOM_130)
		sheet_draw_changes(app, (struct area){y, 1, rows.y + rows.h - 1 - y, left - 2});
	int need = sheet_told_height(app, right.w);
	int room = right.h - need - 1;
	if (room >= PICTURE_LEAST) { /* both fit: p hides the picture */
		right.h = need;
		sheet_draw_told(app, right);
		if (!s->picture)
			sheet_draw_picture(
				app, (struct area){right.y + need + 1, right.x, room, right.w});
	} else if (s->picture) {
		sheet_draw_picture(app, right);
	} else {
		sheet_draw_told(app, right);
	}
}

static void sheet_draw(struct app *app, struct area a)
{
	struct sheet_page *s = sheet_page_of(app);
	if (a.w >= SPLIT_COLS) {
		draw_split(app, s, a);
		return;
	}
	int brief = a.h >= 12 ? 3 : 1;
	if (s->picture) {
		sheet_draw_picture(app, a);
		return;
	}
	sheet_draw_rows(app, (struct area){a.y, 0, a.h - brief, a.w});
	sheet_draw_brief(app, (struct area){a.y + a.h - brief, 1, brief, a.w - 2});
}

const struct page_ops page_sheet = {
	.open = sheet_open,
	.close = sheet_close,
	.changed = sheet_changed,
	.draw = sheet_draw,
	.move = sheet_move,
	.idle = sheet_idle,
};
