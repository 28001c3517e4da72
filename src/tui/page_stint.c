/*
 * The Stint page: the sheet under work against the reference over a number of laps,
 * with the two other answers (lift, or stop), the crossover, and two pictures. The
 * intervals take many draws, so they come a moment after the figures.
 */
#include "tui/app.h"

#include "model/words.h"
#include "stint/stint.h"
#include "tui/fmt.h"
#include "tui/plot.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct stint_page {
	size_t laps; /* 0: the book's */
	bool stale, draws_wait;
	struct stint *stint; /* owned; NULL: why */
	char why[300];
};

static struct stint_page *state_of(struct app *app)
{
	return app_page_state(app, PAGE_STINT);
}

static void *stint_open(struct app *app)
{
	(void)app;
	struct stint_page *s = calloc(1, sizeof *s);
	if (s)
		s->stale = true;
	return s;
}

static void stint_close(void *state)
{
	struct stint_page *s = state;
	stint_free(s->stint);
	free(s);
}

static void stint_changed(struct app *app, unsigned what)
{
	(void)what;
	if (state_of(app))
		state_of(app)->stale = true;
}

static void project(struct app *app, struct stint_page *s, size_t draws)
{
	struct err err;
	err_clear(&err);
	stint_free(s->stint);
	s->stint = NULL;
	if (!app->model || app->model_why[0] || !app->against.values) {
		app_nothing_told(app, s->why, sizeof s->why);
		return;
	}
	struct stint_options o = {.laps = s->laps, .draws = draws};
	s->stint = stint_new(app->model, app_sheet(app)->values, app->against.values,
		app_sheet_name(app), app->book.reference, &o, &err);
	if (!s->stint && !s->laps && !app->book.stint.laps.has)
		snprintf(s->why, sizeof s->why,
			"How many laps has the stint? Enter types the number, + begins with 21. "
			"stint: {laps: N} in book.yaml keeps it, with pit-loss and fuel-per-lap.");
	else if (!s->stint)
		snprintf(s->why, sizeof s->why, "%.290s", err.text);
}

static void update(struct app *app, struct stint_page *s)
{
	if (!s->stale)
		return;
	s->stale = false;
	project(app, s, 0);
	s->draws_wait = s->stint != NULL;
}

static unsigned stint_idle(struct app *app)
{
	struct stint_page *s = state_of(app);
	if (s->stale || !s->draws_wait)
		return UI_NONE;
	s->draws_wait = false;
	project(app, s, STINT_DRAWS);
	return UI_BODY;
}

/* --- keys ----------------------------------------------------------------- */

static unsigned set_laps(struct app *app, long laps)
{
	struct stint_page *s = state_of(app);
	if (laps < 1 || laps > STINT_LAPS_MAX)
		return app_warn(app, "a stint has 1 to %d laps", STINT_LAPS_MAX);
	s->laps = (size_t)laps;
	s->stale = true;
	return UI_BODY;
}

static long laps_now(struct app *app)
{
	struct stint_page *s = state_of(app);
	/* the number asked for first: the stint may not be computed anew yet */
	return s->laps ? (long)s->laps : s->stint ? (long)s->stint->laps : 20;
}

unsigned act_longer(struct app *app)
{
	return set_laps(app, laps_now(app) + 1);
}

unsigned act_shorter(struct app *app)
{
	return set_laps(app, laps_now(app) - 1);
}

static unsigned laps_typed(struct app *app, const char *text)
{
	char *end;
	long n = strtol(text, &end, 10);
	if (end == text || *end) {
		field_keep(app);
		return app_warn(app, "a number of laps is wanted, 1 to %d", STINT_LAPS_MAX);
	}
	if (n < 1 || n > STINT_LAPS_MAX)
		field_keep(app);
	return set_laps(app, n);
}

unsigned act_laps(struct app *app)
{
	return field_open(app, laps_typed, "", "Laps of the stint, now %ld", laps_now(app));
}

/* --- painting ------------------------------------------------------------- */

static const char *plan_name(const struct app *app, enum stint_kind k, char *buf, size_t size)
{
	const char *ref = app->book.reference;
	switch (k) {
	case STINT_SHEET:
		snprintf(buf, size, "%s", app_sheet_name(app));
		break;
	case STINT_LIFTING:
		snprintf(buf, size, "%s, lifting", ref);
		break;
	case STINT_STOPPING:
		snprintf(buf, size, "%s, stopping", ref);
		break;
	default:
		snprintf(buf, size, "%s", ref);
		break;
	}
	return buf;
}

/* "1:32:10.4" */
static const char *total_text(double s, char *buf)
{
	if (s >= 3600)
		snprintf(buf, FMT_SIZE, "%d:%02d:%04.1f", (int)(s / 3600), (int)fmod(s / 60, 60),
			fmod(s, 60));
	else
		laptime_tell(s, 1, buf, FMT_SIZE);
	return buf;
}

enum { NAME_W = 23, NAME_LEAST = 14, TOTAL_W = 10, DELTA_W = 9, INTERVAL_W = 16 };

/* Columns of the table; 0: no room. */
struct columns {
	int name_w, total, delta, interval, note;
};

static struct columns columns_for(int w)
{
	struct columns c = {.name_w = NAME_W};
	const int with = TOTAL_W + DELTA_W + INTERVAL_W + 2, without = with - INTERVAL_W;
	const int room = w - (w >= with + NAME_LEAST ? with : without);
	if (c.name_w > room)
		c.name_w = room;
	c.total = 1 + c.name_w + (w >= with + NAME_W);
	c.delta = c.total + TOTAL_W;
	if (w >= with + NAME_LEAST)
		c.interval = c.delta + DELTA_W;
	if (c.interval && w - c.interval - INTERVAL_W - 1 >= NAME_LEAST)
		c.note = c.interval + INTERVAL_W + 1;
	return c;
}

/* Up to `lines`; returns those used. */
static int draw_plan(const struct app *app, const struct stint *st, enum stint_kind k,
	const struct columns *c, struct area a)
{
	const struct stint_row *r = &st->rows[k];
	const int y = a.y;
	char name[160], text[FMT_SIZE], note[96] = "";
	scr_text(y, 1, c->name_w, k == STINT_SHEET ? BOLD : PLAIN,
		plan_name(app, k, name, sizeof name));
	if (!r->known) {
		const int x = c->total + 2;
		return scr_wrap(y, x, a.w - x - 1, a.h < 2 ? a.h : 2, DIM, r->why);
	}
	struct estimate e = {.known = true,
		.has_interval = r->has_interval,
		.value = r->delta,
		.low = r->low,
		.high = r->high};
	int d = fmt_estimate_decimals(&e, 1);
	scr_right(y, c->total, TOTAL_W, PLAIN, total_text(r->total, text));
	if (k != STINT_REFERENCE) {
		scr_right(y, c->delta, DELTA_W, PLAIN, fmt_signed(r->delta, d, text));
		if (r->has_interval && c->interval)
			scr_right(y, c->interval, INTERVAL_W, PLAIN, fmt_interval(&e, d, text));
	}
	if (r->limit_lap)
		snprintf(note, sizeof note, "past limit: lap %zu", r->limit_lap);
	else if (k == STINT_LIFTING)
		snprintf(note, sizeof note, "%.2f s a lap", r->lift);
	else if (r->stops)
		snprintf(note, sizeof note, "%zu stop%s", r->stops, r->stops == 1 ? "" : "s");
	if (c->note)
		scr_text(y, c->note, a.w - c->note, r->limit_lap ? WARN : PLAIN, note);
	return 1;
}

/* As much of it as the area has lines for; returns those used. */
static int draw_table(const struct app *app, const struct stint *st, struct area a)
{
	const struct columns c = columns_for(a.w);
	char over[64];
	int used = 1;
	if (a.h < 1)
		return 0;
	snprintf(over, sizeof over, "over %zu laps, a fresh set", st->laps);
	if (scr_width(over) > c.total)
		snprintf(over, sizeof over, "over %zu laps", st->laps);
	scr_text(a.y, 1, c.total, DIM, over);
	scr_right(a.y, c.total, TOTAL_W, DIM, "total");
	scr_right(a.y, c.delta, DELTA_W, DIM, "against");
	if (c.interval)
		scr_right(a.y, c.interval, INTERVAL_W, DIM, "95% interval");
	for (int k = 0; k < STINT_PLANS && used < a.h; k++)
		used += draw_plan(app, st, (enum stint_kind)k, &c,
			(struct area){a.y + used, 0, a.h - used, a.w});
	return used;
}

/* The greatest and least of what a picture shows. */
static void range_of(const struct stint *st, bool wear, double *lo, double *hi)
{
	*lo = 0;
	*hi = wear ? st->rules.wear_limit : 0;
	for (int k = STINT_SHEET; k <= STINT_LIFTING; k++)
		for (size_t i = 0; st->curve[k] && st->curve[STINT_REFERENCE] && i < st->laps;
			i++) {
			int c = st->limiting < 0 ? 0 : st->limiting;
			double v = wear ? st->curve[k][i].worn[c]
					: st->curve[k][i].cumulative -
						   st->curve[STINT_REFERENCE][i].cumulative;
			*lo = fmin(*lo, v);
			*hi = fmax(*hi, v);
		}
}

static double at_lap(const struct stint *st, int k, size_t i, bool wear)
{
	int c = st->limiting < 0 ? 0 : st->limiting;
	if (wear)
		return st->curve[k][i].worn[c];
	return st->curve[k][i].cumulative - st->curve[STINT_REFERENCE][i].cumulative;
}

static const char curve_marks[STINT_PLANS] = {'r', 'x', 'l', 's'};

/* A curve in dots, or in its own letter where there are none finer than a character. */
static void draw_line(struct plot *p, const struct stint *st, int k, bool wear)
{
	for (size_t i = 0; p->braille && i + 1 < st->laps; i++)
		plot_line(p, (double)i + 1, at_lap(st, k, i, wear), (double)i + 2,
			at_lap(st, k, i + 1, wear));
	for (int c = 0; !p->braille && c < p->in.w; c++) {
		double at = p->in.w > 1 ? (double)(st->laps - 1) * c / (p->in.w - 1) : 0;
		size_t i = (size_t)at, next = i + 1 < st->laps ? i + 1 : i;
		double v = at_lap(st, k, i, wear);
		v += (at - (double)i) * (at_lap(st, k, next, wear) - v);
		plot_mark(p, at + 1, v, curve_marks[k], PLAIN);
	}
}

/* The letter on its curve, each some laps before the one before: none hides another. */
static void draw_letter(const struct plot *p, const struct stint *st, int k, bool wear, int place)
{
	size_t back = (size_t)place * (st->laps / 8 + (st->laps < 8 && st->laps > 3));
	size_t i = st->laps - 1 - (back < st->laps ? back : 0);
	plot_mark(p, (double)i + 1, at_lap(st, k, i, wear), curve_marks[k], BOLD);
}

static void draw_curve(const struct stint *st, struct area a, bool wear)
{
	struct plot p;
	double lo, hi;
	char text[160], low[FMT_SIZE], high[FMT_SIZE];
	range_of(st, wear, &lo, &hi);
	double margin = 0.05 * (hi - lo > 0 ? hi - lo : 1);
	lo -= wear ? 0 : margin;
	hi += margin;
	if (wear)
		snprintf(text, sizeof text, "%% used, up to %s; flat: limit %g",
			fmt_plain(hi, 1, high), st->rules.wear_limit);
	else
		snprintf(text, sizeof text, "s behind r (flat line), up to %s",
			fmt_plain(hi, 1, high));
	scr_text(a.y, a.x, a.w, DIM, text);
	struct area inner = {a.y + 1, a.x, a.h - 2, a.w};
	if (!plot_begin(&p, inner, 1, (double)st->laps, lo, hi)) {
		plot_free(&p);
		return;
	}
	if (wear)
		plot_line(&p, 1, st->rules.wear_limit, (double)st->laps, st->rules.wear_limit);
	else
		plot_line(&p, 1, 0, (double)st->laps, 0);
	for (int k = wear ? STINT_REFERENCE : STINT_SHEET; k <= STINT_LIFTING; k++)
		if (p.braille && st->curve[k] && st->curve[STINT_REFERENCE])
			draw_line(&p, st, k, wear);
	plot_end(&p, PLAIN);
	for (int k = wear ? STINT_REFERENCE : STINT_SHEET; k <= STINT_LIFTING; k++)
		if (!p.braille && st->curve[k] && st->curve[STINT_REFERENCE])
			draw_line(&p, st, k, wear);
	for (int k = STINT_LIFTING, n = 0; k >= (wear ? STINT_REFERENCE : STINT_SHEET); k--)
		if (st->curve[k] && st->curve[STINT_REFERENCE])
			draw_letter(&p, st, k, wear, n++);
	plot_free(&p);
	snprintf(text, sizeof text, "lap 1 to %zu", st->laps);
	scr_right(a.y + a.h - 1, a.x, a.w, DIM, text);
	scr_text(a.y + a.h - 1, a.x, a.w, DIM, fmt_signed(lo, 1, low));
}

static void draw_pictures(const struct stint *st, struct area a)
{
	bool wear = st->limiting >= 0;
	if (a.h < 7) /* two rows of dots tell nothing */
		return;
	scr_text(a.y, a.x, a.w, DIM, "x this sheet  l reference lifting  r reference");
	a.y++;
	a.h--;
	int half = wear ? a.w / 2 - 1 : a.w;
	draw_curve(st, (struct area){a.y, a.x, a.h, half}, false);
	if (wear)
		draw_curve(st, (struct area){a.y, a.x + half + 2, a.h, a.w - half - 2}, true);
}

/* From where on the sheet stays ahead; returns the lines used. */
static int draw_crossover(const struct app *app, const struct stint *st, struct area a)
{
	char text[400] = "";
	if (st->crossover_lap)
		snprintf(text, sizeof text, "%s stays ahead from lap %zu on%s", app_sheet_name(app),
			st->crossover_lap, stint_doubt(st));
	else if (app->n_changes > 0)
		snprintf(text, sizeof text, "%s does not come to stay ahead within %zu laps%s",
			app_sheet_name(app), st->laps, stint_doubt(st));
	return scr_wrap(a.y, a.x, a.w, a.h, PLAIN, text);
}

static void stint_draw(struct app *app, struct area a)
{
	struct stint_page *s = state_of(app);
	update(app, s);
	const struct stint *st = s->stint;
	if (!st) {
		scr_wrap(a.y + 1, 1, a.w - 2, 4, PLAIN, s->why);
		return;
	}
	/* few lines: a blank one is a figure less */
	const int apart = a.h >= 12, lines = a.h >= 9 ? 3 : a.h >= 7 ? 2 : 1;
	int y = a.y + (a.h >= 24), end = a.y + a.h;
	/* without its interval the sentence would say less than is known */
	y += scr_wrap(y, 1, a.w - 2, lines, BOLD, s->draws_wait ? "..." : st->sentence) + apart;
	y += draw_table(app, st, (struct area){y, 0, end - y, a.w});
	if (y >= end)
		return;
	y += draw_crossover(app, st, (struct area){y, 1, end - y < 2 ? end - y : 2, a.w - 2});
	char borrowed[WORDS_SIZE] = "";
	words_borrowed_delta(
		app->model, app_sheet(app)->values, app->against.values, borrowed, sizeof borrowed);
	if (borrowed[0] && y < end)
		y += scr_wrap(y, 1, a.w - 2, 2, WARN, borrowed);
	for (size_t i = 0; i < st->n_notes && y < end; i++)
		y += scr_wrap(y, 1, a.w - 2, end - y < 3 ? end - y : 3,
			strncmp(st->notes[i], "extrapolated", 12) == 0 ? WARN : DIM, st->notes[i]);
	draw_pictures(st, (struct area){y + 1, 1, end - y - 1, a.w - 2});
}

const struct page_ops page_stint = {
	.open = stint_open,
	.close = stint_close,
	.changed = stint_changed,
	.draw = stint_draw,
	.idle = stint_idle,
};
