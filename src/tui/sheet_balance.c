/* The balance below the predictions: figure, change, what goes beyond the band, what is not told.
 */
#include "tui/sheet.h"

#include "balance/balance_text.h"
#include "tui/fmt.h"

#include <stdio.h>
#include <string.h>

/* The lines that the panel shows: all but the roll stiffness, which the load transfer says. */
static size_t lines_of(const struct app *app, struct balance_line out[BALANCE_LINES])
{
	struct balance_line all[BALANCE_LINES];
	size_t n = 0, total = balance_figures(
			      &app->book, app_sheet(app)->values, app->against.values, all);
	for (size_t i = 0; i < total; i++)
		if (all[i].kind != BALANCE_STIFFNESS)
			out[n++] = all[i];
	return n;
}

static const char *short_name(enum balance_kind k, bool narrow)
{
	static const char *const names[][2] = {[BALANCE_STIFFNESS] = {"stiffness", "stiff"},
		[BALANCE_TRANSFER] = {"load transfer", "load"},
		[BALANCE_AERO] = {"aero", "aero"},
		[BALANCE_BRAKES] = {"brakes", "brake"},
		[BALANCE_PRESSURE_FRONT] = {"hot front", "hot f"},
		[BALANCE_PRESSURE_REAR] = {"hot rear", "hot r"}};
	return names[k][narrow];
}

/* "beyond 0.5" of a band, or the cold pressure for the hot target. */
static void aside(const struct app *app, const struct balance_line *l, char *buf, size_t size)
{
	const bool pressure = l->kind >= BALANCE_PRESSURE_FRONT;
	const int axle = l->kind == BALANCE_PRESSURE_REAR;
	const struct opt_num set = balance_cold_for_target(&app->book, axle);
	buf[0] = '\0';
	if (pressure && set.has)
		snprintf(buf, size, "set %.1f cold", set.v);
	else if (l->beyond)
		snprintf(buf, size, "beyond %g", l->band);
}

static void draw_line(const struct app *app, const struct told_columns *c, int y, int x,
	const struct balance_line *l)
{
	char text[FMT_SIZE], said[64];
	const enum style style = l->beyond ? WARN : PLAIN;
	scr_text(y, x, c->name_w + 1 + !c->narrow, PLAIN, short_name(l->kind, c->narrow));
	if (!l->figure.has) { /* "lacks front aero: base" is what the room takes */
		const char *lacks = strstr(l->words, "lacks ");
		const int at = c->value + 2 + !c->narrow;
		scr_text(
			y, x + at, c->interval + c->interval_w - at, DIM, lacks ? lacks : l->words);
		return;
	}
	num_fixed(l->figure.v, 1, text, sizeof text - 2);
	if (l->kind < BALANCE_PRESSURE_FRONT)
		strcat(text, " %");
	scr_right(y, x + c->value, c->value_w - c->narrow, PLAIN, text);
	if (l->change.has)
		scr_point(y, x + c->change, c->change_w, style, fmt_signed(l->change.v, 1, text), 1,
			c->narrow ? 2 : 3);
	aside(app, l, said, sizeof said);
	if (said[0])
		scr_printf(y, x + c->interval + 1, c->interval_w + 6, style, "%s%s",
			l->beyond ? "! " : "", said);
}

int sheet_draw_balance(const struct app *app, const struct told_columns *c, int y, int x)
{
	struct balance_line l[BALANCE_LINES];
	const size_t n = lines_of(app, l);
	if (n == 0)
		return 0;
	scr_text(y, x, 24, DIM, "balance, front share");
	for (size_t i = 0; i < n; i++)
		draw_line(app, c, y + 1 + (int)i, x, &l[i]);
	return 1 + (int)n;
}

int sheet_balance_height(const struct app *app)
{
	const struct balance_plan *p = &app->book.balance;
	return !app->book.car.has_chassis ? 0 : 1 + 3 + (p->cold.has && p->hot.has ? 2 : 0);
}
