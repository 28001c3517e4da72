/* The Compare page below its rows: what all differences come to, at whose pace, and the stint. */
#include "tui/compare_page.h"

#include "balance/balance_text.h"
#include "model/verdict.h"
#include "model/words.h"

#include <stdio.h>

enum { LABEL_X = COMPARE_X, LABEL_W = 13 };

/* Where the totals stand: figures of 7 columns, intervals of 16 behind them, '?' in doubt. */
struct total_places {
	int name, name_w, driven, like, word;
	bool driven_interval, like_interval;
};

/* What has no room: first the interval of wear as driven, then all of them. */
static struct total_places total_places(int width)
{
	enum { WHOLE_FROM = 80, LIKE_FROM = 60, WITH = 26, WITHOUT = 9 };
	struct total_places t = {.name = width < LIKE_FROM ? 1 : LABEL_X,
		.name_w = width < WHOLE_FROM ? 10 : LABEL_W,
		.driven_interval = width >= WHOLE_FROM,
		.like_interval = width >= LIKE_FROM};
	t.driven = t.name + t.name_w;
	t.like = t.driven + (t.driven_interval ? WITH : WITHOUT);
	t.word = t.like + (t.like_interval ? WITH + 1 : WITHOUT);
	return t;
}

static void draw_estimate(const struct estimate *e, int y, int x, int most, bool interval)
{
	char text[FMT_SIZE];
	int d = fmt_estimate_decimals(e, most);
	bool doubt = verdict_wear(e) == VERDICT_CANT_TELL;
	if (!e->known)
		return;
	scr_point(y, x, 7, doubt ? DIM : PLAIN, fmt_signed(e->value, d, text), d, 3);
	if (interval)
		scr_right(y, x + 8, 16, doubt ? DIM : PLAIN, fmt_interval(e, d, text));
	if (doubt)
		scr_text(y, x + (interval ? 25 : 7), 1, DIM, "?");
}

/* "lap time  +0.19  0.06 to 0.31  slower": as driven, then wear at A's pace. */
static void draw_total(const struct app *app, const struct compare *c, size_t r, int y)
{
	const struct total_places t = total_places(scr_cols());
	char name[ID_SIZE + 8], chance[FMT_SIZE];
	const struct estimate *e = &c->delta[r];
	snprintf(name, sizeof name, r ? "wear %s" : "lap time", r ? app->book.channels[r - 1] : "");
	scr_text(y, t.name, t.name_w, PLAIN, name);
	if (!e->known) {
		scr_text(y, t.driven + 2, 20, WARN, "not tested");
		return;
	}
	if (r == RESPONSE_TIME) { /* it has the room of wear at A's pace, too */
		draw_estimate(e, y, t.driven, 3, t.like_interval);
		scr_text(y, t.like_interval ? t.driven + 27 : t.like, 12, BOLD,
			verdict_word(verdict_time(e)));
		return;
	}
	const struct like_delta *l = &c->like[r - 1];
	draw_estimate(e, y, t.driven, 2, t.driven_interval);
	draw_estimate(&l->delta, y, t.like, 2, t.like_interval);
	const int x = t.word + scr_text(y, t.word, scr_cols() - t.word, BOLD,
				       verdict_word(verdict_like(l, e)));
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

void compare_draw_totals(const struct app *app, const struct compare_page *s,
	const struct sheet *other, struct area a)
{
	int y = a.y, end = a.y + a.h;
	if (!s->ready) {
		scr_wrap(y, LABEL_X, a.w - LABEL_X - 1, a.h, PLAIN, s->why);
		return;
	}
	char pace[160];
	const struct total_places t = total_places(a.w);
	const bool whole = t.driven_interval;
	snprintf(pace, sizeof pace, "at %s's pace", other->id);
	if (a.h > 1 + (int)app->book.n_channels) {
		scr_right(y, t.driven, whole ? 24 : 7, DIM, whole ? "in all, as driven" : "in all");
		scr_right(y, t.like, t.like_interval ? 24 : 16, DIM, pace);
		y++;
	}
	for (size_t r = 0; r <= app->book.n_channels && y < end; r++)
		draw_total(app, &s->compare, r, y++);
	if (app->book.car.has_chassis && y < end)
		draw_balance(app, other->values, y++, a.w);
	if (s->compare.extrapolated[0] || s->compare.extrapolated[1])
		if (y < end)
			scr_text(y++, LABEL_X, a.w - LABEL_X, WARN,
				"extrapolated: a sheet lies outside what was driven");
	char borrowed[WORDS_SIZE] = "";
	words_borrowed_delta(
		app->model, app_sheet(app)->values, other->values, borrowed, sizeof borrowed);
	if (borrowed[0] && y < end)
		y += scr_wrap(
			y, LABEL_X, a.w - LABEL_X - 1, end - y < 2 ? end - y : 2, WARN, borrowed);
	if (y < end)
		scr_wrap(y, LABEL_X, a.w - LABEL_X - 1, end - y < 3 ? end - y : 3, PLAIN, s->stint);
}
