/*
 * The Compare page: another sheet (A, the reference unless chosen) beside the one
 * under work (B): values, what each difference contributes to lap time and wear,
 * the sum, wear at A's pace, and the stint in one sentence.
 */
#include "tui/compare_page.h"

#include "model/verdict.h"
#include "stint/stint.h"
#include "tui/session.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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
	s->widths = fmt_widths(&app->book.car);
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

enum { LABEL_X = COMPARE_X, LABEL_W = 13, LABEL_LEAST = 8, VALUE_W = 8, FIGURE_W = 9 };

/* A value's column has a place for '!' and a blank before it. */
struct places {
	int label_w, value_w;
	int a, b;       /* two values each; behind b two places for '<' */
	int difference; /* below 0: no room */
	int figures;
	size_t n_figures; /* lap time, then channels */
	int needed;       /* columns that all figures take */
};

static void lay_places(struct places *p, int label_w)
{
	p->label_w = label_w;
	p->a = LABEL_X + label_w;
	p->b = p->a + 2 * p->value_w + 1;
	p->figures = p->b + 2 * p->value_w + 2;
	if (p->difference >= 0) {
		p->difference = p->figures + 1;
		p->figures = p->difference + 2 * p->value_w + 1;
	}
	p->needed = p->figures + (int)p->n_figures * FIGURE_W;
}

/* All figures of what the differences do, as many as have room beside labels of this width. */
static size_t figures_beside(struct places *p, size_t all, int label_w, int width)
{
	p->n_figures = all;
	lay_places(p, label_w);
	while (p->n_figures > 0 && p->figures + (int)p->n_figures * FIGURE_W > width)
		p->n_figures--;
	return p->n_figures;
}

static struct places places_for(const struct app *app, const struct fmt_widths *w, int width)
{
	struct places p = {.difference = -1};
	const size_t all = 1 + app->book.n_channels;
	const int label_w = w->label > LABEL_W ? w->label : LABEL_W;
	const int wide = w->value > w->difference ? w->value : w->difference;
	const int tight = (w->value > w->single ? w->value : w->single) + 2;
	p.value_w = wide + 2 > VALUE_W ? wide + 2 : VALUE_W;
	p.n_figures = all;
	p.difference = 0;
	lay_places(&p, label_w);
	if (p.needed + 4 <= width)
		return p;
	p.difference = -1;
	p.value_w = tight > VALUE_W ? tight : VALUE_W;
	const size_t most = figures_beside(&p, all, LABEL_LEAST, width);
	for (int l = label_w; l > LABEL_LEAST; l--)
		if (figures_beside(&p, all, l, width) == most && p.figures <= width)
			return p;
	p.value_w = tight < VALUE_W ? tight : p.value_w;
	lay_places(&p, LABEL_LEAST);
	if (p.figures > width) /* values are cut */
		p.value_w -= (p.figures - width + 3) / 4;
	figures_beside(&p, 0, LABEL_LEAST, width);
	return p;
}

/* What of the figures is not shown is said, as shortly as the room asks for. */
static const char *figures_heading(const struct places *p, size_t all, char *buf, size_t size)
{
	const char *const forms[] = {"does (%zu more at %d columns)", "%zu more at %d columns",
		"%zu more at %d", "+%zu at %d"};
	const int width = (int)p->n_figures * FIGURE_W;
	if (p->n_figures == all)
		return p->n_figures > 1 ? "what the difference does" : "does";
	for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++)
		if (snprintf(buf, size, forms[i], all - p->n_figures,
			    p->figures + (int)all * FIGURE_W) <= width)
			break;
	return buf;
}

static void draw_heading(
	const struct app *app, const struct places *p, int y, const char *a, const char *b)
{
	char name[64];
	const int w = p->value_w;
	scr_right(y, p->a + 1, 2 * w - 1, DIM, a);
	scr_right(y, p->b + 1, 2 * w - 1, DIM, b);
	if (p->difference >= 0)
		scr_right(y, p->difference, 2 * w, DIM, "front - rear");
	if (p->n_figures)
		scr_right(y, p->figures, (int)p->n_figures * FIGURE_W, DIM,
			figures_heading(p, 1 + app->book.n_channels, name, sizeof name));
	y++;
	scr_text(y, LABEL_X, p->label_w, DIM, "adjustable");
	for (int i = 0; i < 2; i++) {
		scr_right(y, (i ? p->b : p->a) + 1, w - 1, DIM, "front");
		scr_right(y, (i ? p->b : p->a) + w + 1, w - 1, DIM, "rear");
	}
	if (p->difference >= 0) {
		scr_right(y, p->difference, w, DIM, "then");
		scr_right(y, p->difference + w, w, DIM, "now");
	}
	for (size_t r = 0; r < p->n_figures; r++) {
		if (r == RESPONSE_TIME)
			snprintf(name, sizeof name, "lap s");
		else
			snprintf(name, sizeof name, "%s %%", app->book.channels[r - 1]);
		scr_right(y, p->figures + (int)r * FIGURE_W, FIGURE_W, DIM, name);
	}
}

/* One value, '!' before it past a soft limit; the first column of its width stays blank. */
static void draw_value(const struct adjustable *a, fix v, int y, int x, int width)
{
	const bool past = car_caution(a, v) != 0;
	char text[FMT_SIZE + 1] = "!";
	fmt_value(a, v, text + past);
	scr_right(y, x + 1, width - 1, past ? WARN : PLAIN, text);
}

static void draw_values(
	const struct car *car, const struct group *g, const fix *v, int y, int x, int width)
{
	if (g->pair < 0) {
		const struct adjustable *a = &car->adjustables[g->adjustable];
		int at = a->axle == AXLE_FRONT  ? x
			 : a->axle == AXLE_REAR ? x + width
						: x + width / 2;
		draw_value(a, v[g->adjustable], y, at, width);
		return;
	}
	int members[2] = {car->pairs[g->pair].front, car->pairs[g->pair].rear};
	for (int i = 0; i < 2; i++)
		draw_value(&car->adjustables[members[i]], v[members[i]], y, x + i * width, width);
}

static void draw_differences(const struct car *car, const struct group *g, const fix *a,
	const fix *b, const struct places *p, int y)
{
	char text[FMT_SIZE];
	if (g->pair < 0 || p->difference < 0)
		return;
	const struct pair *pair = &car->pairs[g->pair];
	bool same = a[pair->front] - a[pair->rear] == b[pair->front] - b[pair->rear];
	scr_right(y, p->difference + 1, p->value_w - 1, DIM, fmt_difference(car, pair, a, text));
	scr_right(y, p->difference + p->value_w + 1, p->value_w - 1, same ? DIM : PLAIN,
		fmt_difference(car, pair, b, text));
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
	const int d = fmt_estimate_decimals(e, most);
	fmt_signed(e->value, d, text);
	scr_point(y, x + 1, FIGURE_W - 2, v == VERDICT_CANT_TELL ? DIM : PLAIN, text, d, most);
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
	scr_text(y, LABEL_X, p->label_w, PLAIN, car->adjustables[g->adjustable].label);
	draw_values(car, g, a->values, y, p->a, p->value_w);
	draw_values(car, g, b, y, p->b, p->value_w);
	if (differs)
		scr_text(y, p->b + 2 * p->value_w + 1, 1, PLAIN, "<");
	draw_differences(car, g, a->values, b, p, y);
	for (size_t r = 0; s->ready && differs && r < p->n_figures; r++)
		draw_figure(&s->compare.groups[row].by[r], y, p->figures + (int)r * FIGURE_W,
			r == RESPONSE_TIME ? 3 : 2);
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
	const struct pair *pair = &car->pairs[g->pair];
	char then[FMT_SIZE], now[FMT_SIZE];
	scr_printf(y, LABEL_X, width - LABEL_X, DIM, "front - rear %s (%s) and %s (%s)",
		fmt_difference(car, pair, a->values, then), hold_word(a, g->pair),
		fmt_difference(car, pair, b->values, now), hold_word(b, g->pair));
}

/* The line below the rows: the one under the cursor, and which rows these are. */
static void draw_below(const struct app *app, const struct compare_page *s, const struct sheet *a,
	int y, int width, int rows)
{
	char part[64] = "";
	if (rows < (int)s->n_rows)
		snprintf(part, sizeof part, "rows %d to %d of %zu", s->top + 1, s->top + rows,
			s->n_rows);
	scr_right(y, width - 24, 23, DIM, part);
	draw_hold(app, s, a, y, width - (part[0] ? 24 : 0));
}

static void compare_draw(struct app *app, struct area a)
{
	enum { ROOMY = 10, ROWS_LEAST = 4 };
	struct compare_page *s = state_of(app);
	update(app, s);
	const struct sheet *other = other_sheet(app, s);
	if (!other) {
		scr_text(a.y + 1, LABEL_X, a.w - LABEL_X, PLAIN, s->why);
		return;
	}
	const struct places p = places_for(app, &s->widths, a.w);
	const int blank = a.h >= ROOMY; /* above the table */
	int foot = s->ready ? 2 + 1 + (int)app->book.n_channels + 3 + app->book.car.has_chassis : 4;
	int rows = a.h - 2 - blank - foot;
	if (rows < ROWS_LEAST) { /* the last words below them give way */
		rows = (a.h - 2 - blank) / 2;
		rows = rows > ROWS_LEAST ? ROWS_LEAST : rows;
	}
	rows = rows < 1 ? 1 : rows > (int)s->n_rows ? (int)s->n_rows : rows;
	s->screenful = rows;
	s->cursor = list_move(s->cursor, (int)s->n_rows, rows, MOVE_LEFT);
	s->top = list_scroll(s->top, s->cursor, (int)s->n_rows, rows);
	int y = a.y + blank;
	draw_heading(app, &p, y, other->id, app_sheet_name(app));
	y += 2;
	for (int i = 0; i < rows && s->top + i < (int)s->n_rows; i++, y++)
		draw_row(app, s, &p, other, s->order[s->top + i], y, s->top + i == s->cursor);
	if (a.h >= ROOMY)
		draw_below(app, s, other, y++, a.w, rows);
	if (a.y + a.h - y > foot - 1)
		y++;
	compare_draw_totals(app, s, other, (struct area){y, 0, a.y + a.h - y, a.w});
}

const struct page_ops page_compare = {
	.open = compare_open,
	.close = compare_close,
	.changed = compare_changed,
	.draw = compare_draw,
	.move = compare_move,
	.idle = compare_idle,
};
