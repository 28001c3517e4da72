#include "tui/sheet.h"

#include "book/caution.h"
#include "tui/fmt.h"

#include <stdio.h>
#include <string.h>

/*
 * Columns of the table. A value's column has one place for the marker before it and two for its
 * marks: '!' past a caution or '=' frozen, '<' changed.
 */
struct columns {
	int label, label_w;
	int unit, unit_w, was_front, was_rear, minutes; /* below 0: no room */
	int front, rear, value_w;
	int difference, difference_w; /* no width: no room */
	int held;
	int end; /* the column behind all */
};

enum { VALUE_W = 7, LABEL_W = 13, LABEL_W_LEAST = 24, LABEL_W_MIN = 6 };
enum { UNIT_FROM = 52, WAS_FROM = 70 }; /* widths from which these have room */

/* What is left out, more and more of it, where values are wide: text first. */
enum { DROP_NONE, DROP_MINUTES, DROP_WAS, DROP_UNIT, DROP_DIFFERENCE, DROPS };

static int more_of(int a, int b)
{
	return a > b ? a : b;
}

static struct columns lay_columns(int width, int drop, int label_w, int value_w, int difference)
{
	struct columns c = {.label = 1,
		.label_w = label_w,
		.unit = -1,
		.unit_w = 5,
		.was_front = -1,
		.was_rear = -1,
		.minutes = -1,
		.value_w = value_w};
	int x = c.label + c.label_w;
	if (width >= UNIT_FROM && drop < DROP_UNIT) {
		c.unit = x + 1;
		x = c.unit + c.unit_w;
	}
	if (width >= WAS_FROM && drop < DROP_WAS) {
		c.was_front = x + 1;
		c.was_rear = c.was_front + value_w + 1;
		x = c.was_rear + value_w + (value_w > VALUE_W);
	}
	c.front = x;
	c.rear = c.front + c.value_w + 2;
	c.difference = c.rear + c.value_w + 2;
	if (drop < DROP_DIFFERENCE)
		c.difference_w = more_of(difference, width >= UNIT_FROM ? 8 : 7);
	c.held = c.difference + c.difference_w + 1;
	c.end = c.held + 4;
	if (width >= WAS_FROM && drop < DROP_MINUTES) {
		c.minutes = c.held + 5;
		c.end = c.minutes + 5;
	}
	return c;
}

/* The marker's place is one of them. A value of the whole car has half as much again. */
static int value_places(const struct fmt_widths *w)
{
	return more_of(more_of(VALUE_W, w->value + 1), (2 * w->single + 2) / 3);
}

static struct columns columns_for(int width, const struct fmt_widths *w)
{
	const int most = more_of(LABEL_W, w->label), values = value_places(w);
	for (int drop = 0; drop < DROPS; drop++) {
		const int wanted = most < LABEL_W_LEAST ? most : LABEL_W_LEAST;
		const int least = drop < DROP_UNIT ? wanted : LABEL_W_MIN;
		const int room = width - lay_columns(width, drop, 0, values, w->difference).end;
		if (room >= least)
			return lay_columns(
				width, drop, room < most ? room : most, values, w->difference);
	}
	struct columns c = lay_columns(width, DROP_DIFFERENCE, LABEL_W_MIN, values, 0);
	if (c.end > width) /* values are cut */
		c = lay_columns(
			width, DROP_DIFFERENCE, LABEL_W_MIN, values - (c.end - width + 1) / 2, 0);
	return c;
}

int sheet_rows_width(const struct fmt_widths *w, int least, int most, int most_figures)
{
	const struct columns all = lay_columns(least, DROP_NONE, 0, value_places(w), w->difference);
	const int whole = all.end + more_of(LABEL_W, w->label), figures = all.end + LABEL_W_MIN;
	int width = whole < most ? whole : most;
	if (width < figures)
		width = figures < most_figures ? figures : most_figures;
	if (width <= least)
		return least;
	const int used = columns_for(width, w).end; /* without what has no room even there */
	return used < width ? more_of(used, least) : width;
}

static void draw_heading(const struct app *app, const struct columns *c, int y)
{
	scr_text(y, c->label, c->label_w, DIM, "adjustable");
	if (c->unit >= 0)
		scr_text(y, c->unit, c->unit_w, DIM, "unit");
	if (c->was_front >= 0) {
		char was[ID_SIZE + 4];
		snprintf(was, sizeof was, "in %s", app->book.reference);
		scr_right(y, c->unit + c->unit_w, c->was_rear + c->value_w - c->unit - c->unit_w,
			DIM, was);
	}
	scr_right(y, c->front, c->value_w, DIM, "front");
	scr_right(y, c->rear, c->value_w, DIM, "rear");
	if (c->difference_w)
		scr_right(y, c->difference - 2, c->difference_w + 2, DIM,
			c->difference_w > 7 ? "fr - rear" : "fr-rear");
	if (c->minutes >= 0)
		scr_right(y, c->minutes, 5, DIM, "min");
}

/* One value with marker and marks, its right edge at x + value_w. */
static void draw_value(
	const struct app *app, const struct columns *c, int y, int x, int a, bool marked)
{
	const struct adjustable *ad = &app->book.car.adjustables[a];
	const struct sheet *s = app_sheet(app);
	fix v = s->values[a];
	char text[FMT_SIZE], marks[3] = "  ";
	fmt_value(ad, v, text);
	bool caution = car_caution(ad, v) != 0;
	bool changed = app->against.values && app->against.values[a] != v;
	marks[0] = caution ? '!' : s->frozen[a] ? '=' : ' ';
	marks[1] = changed ? '<' : ' ';
	/* one of the whole car has the room of both; the first place is the marker's */
	const int from = ad->axle == AXLE_CAR ? c->front : x, end = x + c->value_w;
	scr_right(y, from + 1, end - from - 1, caution ? WARN : PLAIN, text);
	scr_text(y, end, 2, caution ? WARN : PLAIN, marks);
	if (marked)
		scr_text(y, more_of(from, end - (int)strlen(text) - 1), 1, PLAIN, ">");
}

static void draw_was(
	const struct app *app, const struct columns *c, int y, const struct sheet_row *r)
{
	char text[FMT_SIZE];
	const struct adjustable *ads = app->book.car.adjustables;
	if (c->was_front < 0 || !app->against.values)
		return;
	if (r->front >= 0)
		scr_right(y, c->was_front, c->value_w, DIM,
			fmt_value(&ads[r->front], app->against.values[r->front], text));
	if (r->rear >= 0)
		scr_right(y, c->was_rear, c->value_w, DIM,
			fmt_value(&ads[r->rear], app->against.values[r->rear], text));
}

static void draw_minutes(
	const struct app *app, const struct columns *c, int y, const struct sheet_row *r)
{
	double minutes = 0;
	bool has = false;
	int members[2] = {r->front, r->rear};
	if (c->minutes < 0)
		return;
	for (int i = 0; i < 2; i++)
		if (members[i] >= 0 && app->book.car.adjustables[members[i]].has_minutes) {
			minutes += app->book.car.adjustables[members[i]].minutes;
			has = true;
		}
	char text[32];
	snprintf(text, sizeof text, "%.3g", minutes);
	if (has)
		scr_right(y, c->minutes, 5, DIM, text);
}

static void draw_pair(const struct app *app, const struct columns *c, int y,
	const struct sheet_row *r, int current)
{
	const struct sheet *s = app_sheet(app);
	char text[FMT_SIZE];
	draw_value(app, c, y, c->front, r->front, r->front == current);
	draw_value(app, c, y, c->rear, r->rear, r->rear == current);
	if (c->difference_w)
		scr_right(y, c->difference, c->difference_w, PLAIN,
			fmt_difference(
				&app->book.car, &app->book.car.pairs[r->pair], s->values, text));
	if (s->locked[r->pair])
		scr_text(y, c->held, 4, PLAIN, "held");
	else if (s->share_held[r->pair])
		scr_text(y, c->held, 4, PLAIN, "load");
}

static void draw_row(const struct app *app, const struct columns *c, int y,
	const struct sheet_row *r, int current)
{
	const struct adjustable *a = &app->book.car.adjustables[r->front >= 0 ? r->front : r->rear];
	scr_text(y, c->label, c->label_w, PLAIN, a->label);
	if (c->unit >= 0)
		scr_text(y, c->unit, c->unit_w, DIM, a->unit);
	draw_was(app, c, y, r);
	draw_minutes(app, c, y, r);
	if (r->pair >= 0) {
		draw_pair(app, c, y, r, current);
		return;
	}
	int one = r->front >= 0 ? r->front : r->rear;
	int x = a->axle == AXLE_CAR ? (c->front + c->rear) / 2 : r->front >= 0 ? c->front : c->rear;
	draw_value(app, c, y, x, one, one == current);
}

/* All that can change in the line of a row, and where it stands. */
static void what_row_says(const struct app *app, const struct sheet_row *r, int y, int width,
	int current, fix says[ROW_SAYS])
{
	const int members[2] = {r->front, r->rear};
	const struct sheet *s = app_sheet(app);
	const fix *was = app->against.values;
	fix marks = was != NULL;
	memset(says, 0, ROW_SAYS * sizeof *says);
	for (int i = 0; i < 2; i++) {
		const int a = members[i];
		if (a < 0)
			continue;
		says[i] = s->values[a];
		says[2 + i] = was ? was[a] : 0;
		marks |= (a == current ? 2 : 0) << i | (s->frozen[a] ? 8 : 0) << i;
	}
	if (r->pair >= 0)
		marks |= (s->locked[r->pair] ? 32 : 0) | (s->share_held[r->pair] ? 64 : 0);
	says[4] = marks;
	says[5] = y;
	says[6] = width;
}

/* As it was drawn before, where it says the same in the same place. */
static void draw_line(const struct app *app, const struct columns *c, struct area a, int y,
	const struct sheet_row *r, struct sheet_line *line, int current)
{
	fix says[ROW_SAYS];
	what_row_says(app, r, y, a.w, current, says);
	if (memcmp(says, line->says, sizeof says) == 0 && scr_again(&line->kept))
		return;
	memcpy(line->says, says, sizeof says);
	scr_keep(&line->kept);
	draw_row(app, c, y, r, current);
	scr_keep_end();
}

/* Limits, step and what it was: in fixed places, so that a move sends few bytes. */
static int draw_limits(struct app *app, const struct columns *c, int y, int width, int lines)
{
	int a = sheet_current(app);
	if (a < 0 || lines < 1)
		return 0;
	const struct adjustable *ad = &app->book.car.adjustables[a];
	const struct sheet *s = app_sheet(app);
	char low[FMT_SIZE], high[FMT_SIZE], step[32], was[FMT_SIZE] = "";
	fmt_value(ad, ad->min, low);
	fmt_value(ad, ad->max, high);
	fix_print(edit_nudge_step(app->edit, a), step, sizeof step);
	if (app->against.values && app->against.values[a] != s->values[a])
		fmt_value(ad, app->against.values[a], was);
	char unit[24] = "";
	if (c->unit < 0)
		text_safe(unit, sizeof unit, ad->unit, strlen(ad->unit));
	char text[CAUTION_SIZE + 200], words[CAUTION_SIZE];
	snprintf(text, sizeof text,
		c->unit < 0 ? "%5s to %5s %s by %s%s%s%s" : "limits %5s to %5s %sby %4s%s%s%s", low,
		high, unit, step, was[0] ? ", was " : "", was, s->frozen[a] ? ", frozen" : "");
	int used = 1;
	if (scr_width(text) < width)
		scr_text(y, 1, width - 1, PLAIN, text);
	else
		used = scr_wrap(y, 1, width - 1, lines < 2 ? lines : 2, PLAIN, text);
	if (edit_held_words(app->edit, ad->pair, words, sizeof words)[0] && lines > used)
		scr_text(y + used++, 1, width - 1, PLAIN, words);
	if (lines <= used ||
		!caution_words(&app->book.car, (size_t)a, s->values[a], words, sizeof words)[0])
		return used;
	snprintf(text, sizeof text,
		"caution: %s. The tyre maker's and the series' limits stand above it.", words);
	return used + scr_wrap(y + used, 1, width - 1, lines - used, WARN, text);
}

int sheet_draw_rows(struct app *app, struct area a)
{
	struct sheet_page *s = sheet_page_of(app);
	struct columns c = columns_for(a.w, &s->widths);
	int near = a.h >= 14 ? 5 : a.h >= 8 ? 2 : 1; /* lines for limits and caution */
	int rows = a.h - 1 - near;
	rows = rows < 1 ? 1 : rows;
	if (rows > (int)s->n_shown)
		rows = (int)s->n_shown;
	s->screenful = rows;
	s->top = list_scroll(s->top, s->cursor, (int)s->n_shown, rows);
	int current = sheet_current(app);
	draw_heading(app, &c, a.y);
	for (int i = 0; i < rows && s->top + i < (int)s->n_shown; i++) {
		const int row = s->shown[s->top + i];
		draw_line(app, &c, a, a.y + 1 + i, &s->rows[row], &s->lines[row], current);
	}
	int y = a.y + 1 + rows;
	int left = a.y + a.h - y;
	if ((int)s->n_shown > rows || s->filter[0]) {
		char more[128];
		snprintf(more, sizeof more, "rows %d to %d of %d%s%.40s",
			s->n_shown ? s->top + 1 : 0, s->top + rows, (int)s->n_shown,
			s->filter[0] ? " that hold " : "", s->filter);
		if (left > 1) {
			scr_text(y, 1, a.w - 1, DIM, more);
			y++;
			left--;
		}
	} else if (left >= 4) {
		y++; /* a blank line where there is room */
		left--;
	}
	y += draw_limits(app, &c, y, a.w, left);
	if (a.y + a.h - y >= 2)
		scr_text(a.y + a.h - 1, 1, a.w - 1, DIM, "< changed  ! past a caution  = frozen");
	return y;
}
