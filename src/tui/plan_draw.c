/* The Plan page on the screen. */
#include "tui/plan_page.h"

#include "book/caution.h"
#include "tui/fmt.h"

#include <stdio.h>
#include <string.h>
enum {
	MARKS_X = 30,
	MARK_W = 3,
	FIGURE_W = 11,
	DETAIL_LINES = 4,
	CAUTION_LINES = 2,
	ROWS_LEAST = 2
};
enum { TERM_X = 3, TERM_W = 34 };      /* of the effects */
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
	scr_text(a.y, 1, a.w - 2, WARN, p->notes[0]);
	return 1;
}

/* Soft limits that the run under the marker passes, else how many runs pass one. Lines used. */
static int draw_caution(const struct plan_page *s, const struct car *car, struct area a)
{
	const fix *values = plan_run_at(s)->values;
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
	return scr_wrap(a.y, 1, a.w - 2, a.h < CAUTION_LINES ? a.h : CAUTION_LINES, WARN, line);
}

/* What the run under the marker changes, for the one with the spanner. */
static void draw_detail(struct app *app, const struct plan_page *s, struct area a)
{
	const struct plan_run *r = plan_run_at(s);
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
	if (rows < ROWS_LEAST) /* what the run changes is told on fewer lines then */
		rows = a.h - 3 - told < ROWS_LEAST ? a.h - 3 - told : ROWS_LEAST;
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
		scr_right(y, x + (int)r * FIGURE_W + 1, FIGURE_W - 1, DIM,
			book_response_id(&app->book, r, id, sizeof id));
}

static void draw_effect(bool known, double v, int y, int x)
{
	char text[FMT_SIZE];
	scr_right(y, x, FIGURE_W, known ? PLAIN : DIM,
		known ? fmt_plain(v, v < 0.1 ? 3 : 2, text) : "not known");
}

/* What more would buy, below the effects. */
static void draw_offers(const struct plan *p, int y, int end, int figures, size_t n)
{
	if (y < end)
		scr_text(y++, 3, 50, DIM, "what more would buy (the middle one of these)");
	for (size_t i = 0; i < p->n_offers && y < end; i++, y++) {
		const struct plan_offer *o = &p->offers[i];
		scr_printf(y, TERM_X, figures - TERM_X, PLAIN, "%s (%zu x %zu)", o->what, o->runs,
			o->laps);
		for (size_t r = 0; r < n; r++)
			draw_effect(o->known[r], o->effect[r], y, figures + (int)r * FIGURE_W);
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
	const int term_w =
		a.w >= TERM_X + TERM_W + 1 + FIGURE_W ? TERM_W : a.w - TERM_X - 1 - FIGURE_W;
	const int figures = TERM_X + term_w + 1;
	size_t room = (size_t)(a.w - figures) / FIGURE_W;
	size_t each = p->n_responses ? p->n_responses : 1, n = each < room ? each : room;
	int terms = (int)(p->n_detect / each), offers = p->n_offers ? (int)p->n_offers + 1 : 0;
	int remarks = 2 * (int)(p->n_notes < 4 ? p->n_notes : 4), left = a.h - 3 - ROWS_LEAST;
	offers = offers < left ? offers
		 : left > 0    ? left
			       : 0;          /* rows first, then what is offered */
	offers = offers > 1 ? offers : 0; /* a heading alone offers nothing */
	left -= offers;
	remarks = remarks < left ? remarks : left > 0 ? left : 0;
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
	draw_heading(app, a.y + 2, figures, n);
	int y = a.y + 3;
	for (int i = 0; i < s->screenful && s->top + i < terms; i++, y++) {
		const struct plan_detect *d = &p->detect[(size_t)(s->top + i) * each];
		if (s->top + i == s->cursor)
			scr_text(y, 1, 1, ACCENT, ">");
		scr_text(y, TERM_X, term_w, PLAIN, d->term);
		for (size_t r = 0; r < n; r++)
			draw_effect(d[r].known, d[r].effect, y, figures + (int)r * FIGURE_W);
	}
	draw_offers(p, y, a.y + a.h - remarks, figures, n);
	draw_notes(
		p, &app->book.car, false, (struct area){a.y + a.h - remarks, 1, remarks, a.w - 2});
}

void plan_draw(struct app *app, struct area a)
{
	struct plan_page *s = app_page_state(app, PAGE_PLAN);
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
