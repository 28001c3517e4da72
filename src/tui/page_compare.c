/*
 * The Compare page: another sheet (A, the reference unless chosen) beside the one
 * under work (B): values, what each difference contributes to lap time and wear,
 * the sum, wear at A's pace, and the stint in one sentence.
 */
#include "tui/app.h"

#include "balance/balance_text.h"
#include "compare/compare.h"
#include "model/verdict.h"
#include "model/words.h"
#include "stint/stint.h"
#include "tui/fmt.h"
#include "tui/session.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct compare_page {
	char other[ID_SIZE]; /* A; "" while it follows the reference */
	bool changed_first;
	int cursor, top, screenful;
	bool stale, ready;      /* ready: `compare` holds figures */
	struct compare compare; /* owned */
	size_t n_rows;
	struct group *groups; /* owned, the car's order */
	size_t *order;        /* owned [n_rows] */
	char stint[400];
	bool stint_waits; /* its intervals take many draws: computed when no key waits */
	char why[300];    /* why there are no figures */
};

static struct compare_page *state_of(struct app *app)
{
	return app_page_state(app, PAGE_COMPARE);
}

static const struct sheet *other_sheet(const struct app *app, const struct compare_page *s)
{
	const char *id = s->other[0] ? s->other : app->book.reference;
	int i = book_find_sheet(&app->book, id);
	return i < 0 ? NULL : &app->book.sheets[i];
}

static void compare_close(void *state)
{
	struct compare_page *s = state;
	compare_free(&s->compare);
	free(s->groups);
	free(s->order);
	free(s);
}

static void *compare_open(struct app *app)
{
	size_t n = app->book.car.n_adjustables + 1;
	struct compare_page *s = calloc(1, sizeof *s);
	if (!s)
		return NULL;
	s->groups = calloc(n, sizeof *s->groups);
	s->order = calloc(n, sizeof *s->order);
	if (!s->groups || !s->order) {
		compare_close(s);
		return NULL;
	}
	s->n_rows = car_groups(&app->book.car, s->groups);
	s->stale = true;
	return s;
}

static void compare_changed(struct app *app, unsigned what)
{
	(void)what;
	if (state_of(app))
		state_of(app)->stale = true;
}

static bool group_differs(const struct car *car, const struct group *g, const fix *a, const fix *b)
{
	int front = g->pair < 0 ? g->adjustable : car->pairs[g->pair].front;
	int rear = g->pair < 0 ? g->adjustable : car->pairs[g->pair].rear;
	return a[front] != b[front] || a[rear] != b[rear];
}

static void make_order(struct app *app, struct compare_page *s, const struct sheet *a)
{
	const fix *b = app_sheet(app)->values;
	size_t n = 0;
	for (int pass = 0; pass < 2; pass++)
		for (size_t i = 0; i < s->n_rows; i++) {
			bool first =
				!s->changed_first ||
				(a && group_differs(&app->book.car, &s->groups[i], a->values, b));
			if (first == (pass == 0))
				s->order[n++] = i;
		}
}

/* Bring the figures up to date; they are kept until something changes. */
static void update(struct app *app, struct compare_page *s)
{
	struct err err;
	err_clear(&err);
	if (!s->stale)
		return;
	s->stale = false;
	compare_free(&s->compare);
	s->ready = false;
	s->stint[0] = s->why[0] = '\0';
	const struct sheet *a = other_sheet(app, s);
	make_order(app, s, a);
	if (!a || !app->model || app->model_why[0]) {
		if (a)
			app_nothing_told(app, s->why, sizeof s->why);
		else
			snprintf(s->why, sizeof s->why,
				"the sheet to compare with is gone; c chooses one");
		return;
	}
	const struct sheet *b = app_sheet(app);
	s->ready = compare_make(&s->compare, app->model, a->values, b->values, &err);
	if (!s->ready)
		snprintf(s->why, sizeof s->why, "%.250s", err.text);
	s->stint_waits = true;
}

static unsigned compare_idle(struct app *app)
{
	struct compare_page *s = state_of(app);
	const struct sheet *a = other_sheet(app, s), *b = app_sheet(app);
	struct err err;
	err_clear(&err);
	if (s->stale || !s->stint_waits || !s->ready || !a)
		return UI_NONE;
	s->stint_waits = false;
	struct stint_options o = {.laps = 0, .draws = STINT_DRAWS};
	struct stint *st =
		stint_new(app->model, b->values, a->values, app_sheet_name(app), a->id, &o, &err);
	if (!st && !app->book.stint.laps.has)
		snprintf(s->stint, sizeof s->stint,
			"no stint: page 6 asks for its laps; stint: {laps: N} in book.yaml keeps "
			"them");
	else
		snprintf(s->stint, sizeof s->stint, "%s%.380s",
			st ? "" : "no stint: ", st ? st->sentence : err.text);
	stint_free(st);
	return UI_BODY;
}

/* --- keys ----------------------------------------------------------------- */

static unsigned compare_move(struct app *app, enum move how)
{
	struct compare_page *s = state_of(app);
	update(app, s); /* a key may come before the first painting */
	s->cursor = list_move(s->cursor, (int)s->n_rows, s->screenful, how);
	return UI_BODY;
}

static unsigned other_picked(struct app *app, int item)
{
	struct compare_page *s = state_of(app);
	if (item < 0 || (size_t)item >= app->book.n_sheets)
		return UI_ALL;
	snprintf(s->other, sizeof s->other, "%s", app->book.sheets[item].id);
	s->stale = true;
	return UI_ALL;
}

unsigned act_compare_with(struct app *app)
{
	struct buf items;
	const struct sheet *now = other_sheet(app, state_of(app));
	int at = 0;
	buf_init(&items);
	for (size_t i = 0; i < app->book.n_sheets; i++) {
		const char *id = app->book.sheets[i].id;
		buf_addf(&items, "%s%s%s", i ? "\n" : "", id,
			strcmp(id, app->book.reference) == 0 ? "   (reference)" : "");
		if (now && strcmp(id, now->id) == 0)
			at = (int)i;
	}
	unsigned flags =
		list_open(app, other_picked, modal_text(app, &items), at, "Compare with, as saved");
	buf_free(&items);
	return flags;
}

unsigned act_differing_first(struct app *app)
{
	struct compare_page *s = state_of(app);
	s->changed_first = !s->changed_first;
	s->stale = true;
	return UI_BODY | app_say(app, s->changed_first ? "rows that differ come first"
						       : "rows are in the car's order");
}

unsigned compare_take(struct app *app)
{
	struct compare_page *s = state_of(app);
	const struct sheet *a = other_sheet(app, s), *b = app_sheet(app);
	struct edit_change c;
	struct err err;
	err_clear(&err);
	update(app, s);
	if (!a || s->n_rows == 0)
		return app_say(app, "no sheet to take from");
	const struct group *g = &s->groups[s->order[s->cursor]];
	const struct car *car = &app->book.car;
	fix *values = malloc(b->n_values * sizeof *values);
	if (!values)
		return app_warn(app, "out of memory");
	memcpy(values, b->values, b->n_values * sizeof *values);
	int front = g->pair < 0 ? g->adjustable : car->pairs[g->pair].front;
	int rear = g->pair < 0 ? g->adjustable : car->pairs[g->pair].rear;
	values[front] = a->values[front];
	values[rear] = a->values[rear];
	bool ok = edit_apply(app->edit, values, false, &c, &err);
	free(values);
	if (!ok)
		return app_warn(app, "%s", err.text);
	if (c.n == 0)
		return app_say(app, "both sheets have the same here");
	return app_say(app, "taken from %s; u goes back", a->id) | session_edited(app, &c);
}

/* --- painting ------------------------------------------------------------- */

enum { LABEL_X = 3, LABEL_W = 13, VALUE_W = 8, FIGURE_W = 9 };

struct places {
	int a, b, difference, figures;
	size_t n_figures; /* lap time, then channels */
};

static struct places places_for(const struct app *app, int width)
{
	struct places p;
	p.a = LABEL_X + LABEL_W;
	p.b = p.a + 2 * VALUE_W + 1;
	p.difference =
		width >= 100 + 9 * (int)app->book.n_channels - 18 ? p.b + 2 * VALUE_W + 3 : -1;
	p.figures = p.difference >= 0 ? p.difference + 2 * VALUE_W + 1 : p.b + 2 * VALUE_W + 2;
	int room = (width - p.figures) / FIGURE_W;
	p.n_figures = 1 + app->book.n_channels;
	if (room < 0)
		room = 0;
	if ((size_t)room < p.n_figures)
		p.n_figures = (size_t)room;
	return p;
}

static void draw_heading(
	const struct app *app, const struct places *p, int y, const char *a, const char *b)
{
	char name[64];
	scr_right(y, p->a, 2 * VALUE_W, DIM, a);
	scr_right(y, p->b, 2 * VALUE_W, DIM, b);
	if (p->difference >= 0)
		scr_right(y, p->difference, 2 * VALUE_W, DIM, "front - rear");
	const size_t all = 1 + app->book.n_channels;
	snprintf(name, sizeof name, p->n_figures > 1 ? "what the difference does" : "does");
	if (p->n_figures < all) /* what is not shown is said */
		snprintf(name, sizeof name, "does (%zu more at %d columns)", all - p->n_figures,
			p->figures + (int)all * FIGURE_W);
	if (p->n_figures)
		scr_right(y, p->figures, (int)p->n_figures * FIGURE_W, DIM, name);
	y++;
	scr_text(y, LABEL_X, LABEL_W, DIM, "adjustable");
	for (int i = 0; i < 2; i++) {
		scr_right(y, i ? p->b : p->a, VALUE_W, DIM, "front");
		scr_right(y, (i ? p->b : p->a) + VALUE_W, VALUE_W, DIM, "rear");
	}
	if (p->difference >= 0) {
		scr_right(y, p->difference, VALUE_W, DIM, "then");
		scr_right(y, p->difference + VALUE_W, VALUE_W, DIM, "now");
	}
	for (size_t r = 0; r < p->n_figures; r++) {
		if (r == RESPONSE_TIME)
			snprintf(name, sizeof name, "lap s");
		else
			snprintf(name, sizeof name, "%s %%", app->book.channels[r - 1]);
		scr_right(y, p->figures + (int)r * FIGURE_W, FIGURE_W, DIM, name);
	}
}

/* One value, '!' before it past a soft limit. */
static void draw_value(const struct adjustable *a, fix v, int y, int x)
{
	const bool past = car_caution(a, v) != 0;
	char text[34] = "!";
	fix_print_min(v, fix_decimals(a->step), text + past, sizeof text - past);
	scr_right(y, x, VALUE_W, past ? WARN : PLAIN, text);
}

static void draw_values(const struct car *car, const struct group *g, const fix *v, int y, int x)
{
	if (g->pair < 0) {
		const struct adjustable *a = &car->adjustables[g->adjustable];
		int at = a->axle == AXLE_FRONT  ? x
			 : a->axle == AXLE_REAR ? x + VALUE_W
						: x + VALUE_W / 2;
		draw_value(a, v[g->adjustable], y, at);
		return;
	}
	int members[2] = {car->pairs[g->pair].front, car->pairs[g->pair].rear};
	for (int i = 0; i < 2; i++)
		draw_value(&car->adjustables[members[i]], v[members[i]], y, x + i * VALUE_W);
}

static void draw_differences(
	const struct car *car, const struct group *g, const fix *a, const fix *b, int y, int x)
{
	char text[32];
	if (g->pair < 0 || x < 0)
		return;
	int front = car->pairs[g->pair].front, rear = car->pairs[g->pair].rear;
	int d = fix_decimals(car->adjustables[front].step);
	bool same = a[front] - a[rear] == b[front] - b[rear];
	fix_print_min(a[front] - a[rear], d, text, sizeof text);
	scr_right(y, x, VALUE_W, DIM, text);
	fix_print_min(b[front] - b[rear], d, text, sizeof text);
	scr_right(y, x + VALUE_W, VALUE_W, same ? DIM : PLAIN, text);
}

/* A contribution, '?' behind it where its interval covers nothing at all. */
static void draw_figure(const struct estimate *e, int y, int x, int most)
{
	char text[FMT_SIZE];
	enum verdict v = verdict_wear(e);
	if (v == VERDICT_NOT_TESTED) {
		scr_right(y, x, FIGURE_W, WARN, "not told");
		return;
	}
	fmt_signed(e->value, fmt_estimate_decimals(e, most), text);
	scr_right(y, x, FIGURE_W - 1, v == VERDICT_CANT_TELL ? DIM : PLAIN, text);
	if (v == VERDICT_CANT_TELL)
		scr_text(y, x + FIGURE_W - 1, 1, DIM, "?");
}

static void draw_row(const struct app *app, const struct compare_page *s, const struct places *p,
	const struct sheet *a, size_t row, int y, bool marked)
{
	const struct car *car = &app->book.car;
	const struct group *g = &s->groups[row];
	const fix *b = app_sheet(app)->values;
	bool differs = group_differs(car, g, a->values, b);
	scr_text(y, 1, 1, ACCENT, marked ? ">" : " ");
	scr_text(y, LABEL_X, LABEL_W, PLAIN, car->adjustables[g->adjustable].label);
	draw_values(car, g, a->values, y, p->a);
	draw_values(car, g, b, y, p->b);
	if (differs)
		scr_text(y, p->b + 2 * VALUE_W + 1, 1, PLAIN, "<");
	draw_differences(car, g, a->values, b, y, p->difference);
	for (size_t r = 0; s->ready && differs && r < p->n_figures; r++)
		draw_figure(&s->compare.groups[row].by[r], y, p->figures + (int)r * FIGURE_W,
			r == RESPONSE_TIME ? 3 : 2);
}

/* An estimate and its interval, 8 and 16 columns wide, then " ?" in doubt. */
static void draw_estimate(const struct estimate *e, int y, int x, int most)
{
	char text[FMT_SIZE];
	int d = fmt_estimate_decimals(e, most);
	bool doubt = verdict_wear(e) == VERDICT_CANT_TELL;
	if (!e->known)
		return;
	scr_point(y, x, 7, doubt ? DIM : PLAIN, fmt_signed(e->value, d, text), d, 3);
	scr_right(y, x + 8, 16, doubt ? DIM : PLAIN, fmt_interval(e, d, text));
	if (doubt)
		scr_text(y, x + 25, 1, DIM, "?");
}

/* "lap time  +0.19  0.06 to 0.31  slower": as driven, then wear at A's pace. */
static void draw_total(const struct app *app, const struct compare *c, size_t r, int y)
{
	char name[48], chance[FMT_SIZE];
	const struct estimate *e = &c->delta[r];
	int x = LABEL_X + LABEL_W;
	snprintf(name, sizeof name, r ? "wear %s" : "lap time", r ? app->book.channels[r - 1] : "");
	scr_text(y, LABEL_X, LABEL_W, PLAIN, name);
	if (!e->known) {
		scr_text(y, x + 2, 20, WARN, "not tested");
		return;
	}
	draw_estimate(e, y, x, r ? 2 : 3);
	x += 26;
	if (r == RESPONSE_TIME) {
		scr_text(y, x + 1, 12, BOLD, verdict_word(verdict_time(e)));
		return;
	}
	const struct like_delta *l = &c->like[r - 1];
	draw_estimate(&l->delta, y, x, 2);
	x += 27;
	x += scr_text(y, x, scr_cols() - x, BOLD, verdict_word(verdict_like(l, e)));
	if (l->bound)
		scr_text(y, x, scr_cols() - x, PLAIN, ", rate?");
	else if (l->has_chance && scr_cols() - x > 18)
		scr_printf(y, x, scr_cols() - x, PLAIN, ", %s%s",
			verdict_like(l, e) == VERDICT_KINDER ? "" : "kinder ",
			fmt_chance(l->chance_better, false, chance));
}

/* "balance, % front: load 49.0 (+0.2), aero 41.8 (+0.8 !), brakes not told". */
static void draw_balance(const struct app *app, const fix *a, int y, int width)
{
	static const char *const names[] = {[BALANCE_TRANSFER] = ": load",
		[BALANCE_AERO] = ", aero",
		[BALANCE_BRAKES] = ", brakes"};
	struct balance_line l[BALANCE_LINES];
	char text[400];
	const size_t lines = balance_lines(&app->book, app_sheet(app)->values, a, l);
	size_t n = (size_t)snprintf(text, sizeof text, "balance, %% front");
	bool beyond = false;
	for (size_t i = 0; i < lines && n < sizeof text; i++) {
		if (l[i].kind == BALANCE_STIFFNESS || l[i].kind > BALANCE_BRAKES)
			continue;
		beyond = beyond || l[i].beyond;
		if (l[i].figure.has)
			n += (size_t)snprintf(text + n, sizeof text - n, "%s %.1f (%s%s)",
				names[l[i].kind], l[i].figure.v, l[i].delta,
				l[i].beyond ? " !" : "");
		else
			n += (size_t)snprintf(
				text + n, sizeof text - n, "%s not told", names[l[i].kind]);
	}
	if (lines)
		scr_text(y, LABEL_X, width - LABEL_X, beyond ? WARN : PLAIN, text);
}

static int draw_totals(const struct app *app, const struct compare_page *s, struct area a)
{
	int y = a.y, end = a.y + a.h;
	if (!s->ready) {
		scr_wrap(y, LABEL_X, a.w - LABEL_X - 1, a.h, PLAIN, s->why);
		return end;
	}
	char pace[160];
	const struct sheet *other = other_sheet(app, s);
	snprintf(pace, sizeof pace, "at %s's pace", other ? other->id : "");
	scr_right(y, LABEL_X + LABEL_W, 24, DIM, "in all, as driven");
	scr_right(y, LABEL_X + LABEL_W + 26, 24, DIM, pace);
	y++;
	for (size_t r = 0; r <= app->book.n_channels && y < end; r++)
		draw_total(app, &s->compare, r, y++);
	if (other && app->book.car.has_chassis && y < end)
		draw_balance(app, other->values, y++, a.w);
	if (s->compare.extrapolated[0] || s->compare.extrapolated[1])
		if (y < end)
			scr_text(y++, LABEL_X, a.w - LABEL_X, WARN,
				"extrapolated: a sheet lies outside what was driven");
	char borrowed[WORDS_SIZE] = "";
	if (other)
		words_borrowed_delta(app->model, app_sheet(app)->values, other->values, borrowed,
			sizeof borrowed);
	if (borrowed[0] && y < end)
		y += scr_wrap(
			y, LABEL_X, a.w - LABEL_X - 1, end - y < 2 ? end - y : 2, WARN, borrowed);
	if (y < end)
		y += scr_wrap(
			y, LABEL_X, a.w - LABEL_X - 1, end - y < 3 ? end - y : 3, PLAIN, s->stint);
	return y;
}

static const char *hold_word(const struct sheet *s, int pair)
{
	return s->locked[pair] ? "held" : s->share_held[pair] ? "share held" : "free";
}

/* Front minus rear of the row under the cursor, in both, and whether it is held. */
static void draw_hold(const struct app *app, const struct compare_page *s, const struct sheet *a,
	int y, int width)
{
	const struct car *car = &app->book.car;
	const struct sheet *b = app_sheet(app);
	const struct group *g = &s->groups[s->order[s->cursor]];
	if (g->pair < 0)
		return;
	int front = car->pairs[g->pair].front, rear = car->pairs[g->pair].rear;
	char then[32], now[32];
	int d = fix_decimals(car->adjustables[front].step);
	fix_print_min(a->values[front] - a->values[rear], d, then, sizeof then);
	fix_print_min(b->values[front] - b->values[rear], d, now, sizeof now);
	scr_printf(y, LABEL_X, width - LABEL_X, DIM, "front - rear %s (%s) and %s (%s)", then,
		hold_word(a, g->pair), now, hold_word(b, g->pair));
}

static void compare_draw(struct app *app, struct area a)
{
	struct compare_page *s = state_of(app);
	update(app, s);
	const struct sheet *other = other_sheet(app, s);
	if (!other) {
		scr_text(a.y + 1, LABEL_X, a.w - LABEL_X, PLAIN, s->why);
		return;
	}
	struct places p = places_for(app, a.w);
	int foot = s->ready ? 2 + 1 + (int)app->book.n_channels + 3 + app->book.car.has_chassis : 4;
	int rows = a.h - 3 - foot;
	rows = rows < 1 ? 1 : rows > (int)s->n_rows ? (int)s->n_rows : rows;
	s->screenful = rows;
	s->cursor = list_move(s->cursor, (int)s->n_rows, rows, MOVE_LEFT);
	s->top = list_scroll(s->top, s->cursor, (int)s->n_rows, rows);
	draw_heading(app, &p, a.y + 1, other->id, app_sheet_name(app));
	for (int i = 0; i < rows && s->top + i < (int)s->n_rows; i++)
		draw_row(app, s, &p, other, s->order[s->top + i], a.y + 3 + i,
			s->top + i == s->cursor);
	int y = a.y + 3 + rows;
	if (y < a.y + a.h && rows < (int)s->n_rows) {
		char part[64];
		snprintf(part, sizeof part, "rows %d to %d of %zu", s->top + 1, s->top + rows,
			s->n_rows);
		scr_right(y, a.w - 24, 23, DIM, part);
	}
	if (y < a.y + a.h)
		draw_hold(app, s, other, y++, a.w - (rows < (int)s->n_rows ? 24 : 0));
	if (a.y + a.h - y > foot - 1)
		y++;
	draw_totals(app, s, (struct area){y, 0, a.y + a.h - y, a.w});
}

const struct page_ops page_compare = {
	.open = compare_open,
	.close = compare_close,
	.changed = compare_changed,
	.draw = compare_draw,
	.move = compare_move,
	.idle = compare_idle,
};
