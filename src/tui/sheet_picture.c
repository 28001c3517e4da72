#include "tui/sheet.h"

#include "tui/fmt.h"
#include "tui/long_work.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Where the model puts the set-ups that were driven. */
bool sheet_collect_driven(struct app *app, struct sheet_page *s)
{
	const struct book *b = &app->book;
	free(s->driven);
	s->driven = NULL;
	s->n_driven = 0;
	if (!app->model || b->n_runs == 0)
		return true;
	s->driven = calloc(b->n_runs, sizeof *s->driven);
	if (!s->driven)
		return false;
	for (size_t i = 0; i < b->n_runs; i++) {
		struct sheet_driven *d = &s->driven[s->n_driven];
		bool again = false; /* repeats of one set-up fall on one dot */
		for (size_t j = 0; j < i && !again; j++)
			again = memcmp(b->runs[i].values, b->runs[j].values,
					b->runs[i].n_values * sizeof(fix)) == 0;
		if (again || run_fitted_laps(&b->runs[i]) == 0)
			continue;
		struct estimate t = model_value(app->model, RESPONSE_TIME, b->runs[i].values);
		if (!t.known)
			continue;
		d->run = (int)i;
		d->time = t.value;
		for (size_t c = 0; c < b->n_channels; c++) {
			struct estimate w = model_value(app->model, 1 + c, b->runs[i].values);
			d->known[c] = w.known;
			d->wear[c] = w.value;
		}
		s->n_driven++;
	}
	return true;
}

/* Stopped by a key it is begun again when none waits; given up, it stays away. */
static void say_stopped(struct sheet_page *s, const struct patience *p)
{
	s->frontier_stale = p->stopped;
	snprintf(s->frontier_why, sizeof s->frontier_why, "%s",
		p->stopped ? "not reckoned to the end yet, as keys came"
			   : "too many steps to try them here; treadlight suggest does");
}

/*
 * From the sheet as it was opened or saved, with the holds and freezes of now. A
 * nudge does not move the frontier, so it is not computed again for one.
 */
unsigned sheet_update_frontier(struct app *app, struct sheet_page *s)
{
	if (!s->frontier_stale)
		return UI_NONE;
	s->frontier_stale = false;
	s->scale_stale = true;
	s->point = -1;
	frontier_free(s->frontier);
	s->frontier = NULL;
	s->frontier_why[0] = '\0';
	const struct sheet *ref = book_reference(&app->book);
	if (!app->model || !ref) {
		snprintf(s->frontier_why, sizeof s->frontier_why, "nothing can be predicted yet");
		return UI_NONE;
	}
	struct sheet start;
	struct err err;
	err_clear(&err);
	sheet_init(&start);
	if (!sheet_copy(&start, &app->saved)) {
		snprintf(s->frontier_why, sizeof s->frontier_why, "out of memory");
		return app_warn(app, "no frontier: %s", s->frontier_why);
	}
	const struct sheet *now = app_sheet(app);
	memcpy(start.locked, now->locked, now->n_pairs * sizeof *now->locked);
	memcpy(start.share_held, now->share_held, now->n_pairs * sizeof *now->share_held);
	memcpy(start.frozen, now->frozen, now->n_values * sizeof *now->frozen);
	struct long_work work;
	long_work_begin(&work, app, "reckoning the frontier", "keys go first");
	struct frontier_options o = s->bounds;
	o.save = (struct save_target){.kind = SAVE_CHANNEL, .channel = (int)s->channel};
	o.patience = &work.patience;
	s->frontier = frontier_new(app->model, &start, ref, &o, &err);
	const unsigned flags = long_work_end(&work);
	if (!s->frontier && patience_ended(&work.patience))
		say_stopped(s, &work.patience);
	else if (!s->frontier)
		snprintf(s->frontier_why, sizeof s->frontier_why, "%.190s", err.text);
	sheet_free(&start);
	const bool short_of = !s->frontier && err_is_memory(&err);
	return flags | (short_of ? app_warn(app, "no frontier: %s", s->frontier_why) : UI_NONE);
}

struct scale {
	double x0, x1, y0, y1;
	bool any;
};

static void widen(struct scale *s, double x, double y)
{
	if (!isfinite(x) || !isfinite(y))
		return;
	if (!s->any) {
		*s = (struct scale){x, x, y, y, true};
		return;
	}
	s->x0 = fmin(s->x0, x);
	s->x1 = fmax(s->x1, x);
	s->y0 = fmin(s->y0, y);
	s->y1 = fmax(s->y1, y);
}

static void set_scale(struct sheet_page *s, const struct scale *all)
{
	double mx = 0.06 * (all->x1 - all->x0), my = 0.06 * (all->y1 - all->y0);
	mx = mx > 0 ? mx : 0.05;
	my = my > 0 ? my : 0.05;
	s->x0 = all->x0 - mx;
	s->x1 = all->x1 + mx;
	s->y0 = all->y0 - my;
	s->y1 = all->y1 + my;
	s->scale_stale = false;
	plot_free(&s->plot);
}

static void frontier_xy(const struct sheet_page *s, const struct estimate *rt,
	const struct estimate *rw, size_t i, double *x, double *y)
{
	const struct frontier_point *p = &s->frontier->points[i];
	*x = p->has_wear ? rw->value + p->wear_delta : NAN;
	*y = rt->value + p->time_delta;
}

static void draw_dots(const struct sheet_page *s, struct plot *p, const struct estimate *rt,
	const struct estimate *rw)
{
	double ox = NAN, oy = NAN;
	for (size_t i = 0; s->frontier && i < s->frontier->n; i++) {
		double x, y;
		frontier_xy(s, rt, rw, i, &x, &y);
		if (isfinite(ox))
			plot_line(p, ox, oy, x, y);
		ox = x;
		oy = y;
	}
}

static struct scale scale_of(
	const struct sheet_page *s, const struct estimate *rt, const struct estimate *rw)
{
	struct scale all = {.any = false};
	if (rt->known && rw->known)
		widen(&all, rw->value, rt->value);
	for (size_t i = 0; i < s->n_driven; i++)
		if (s->driven[i].known[s->channel])
			widen(&all, s->driven[i].wear[s->channel], s->driven[i].time);
	for (size_t i = 0; s->frontier && rt->known && rw->known && i < s->frontier->n; i++) {
		double x, y;
		frontier_xy(s, rt, rw, i, &x, &y);
		widen(&all, x, y);
	}
	return all;
}

static void draw_labels(const struct app *app, const struct sheet_page *s, struct area a)
{
	char low[FMT_SIZE], high[FMT_SIZE];
	int bottom = a.y + a.h - 1;
	scr_printf(a.y, a.x, a.w, DIM, "lap time %s", fmt_lap(s->y1, 2, high));
	const int used = scr_text(bottom, a.x, a.w, DIM, fmt_lap(s->y0, 2, low)) + 1;
	char label[ID_SIZE + 2 * FMT_SIZE + 16];
	snprintf(label, sizeof label, "wear %s %s to %s", app->book.channels[s->channel],
		fmt_plain(s->x0, 2, low), fmt_plain(s->x1, 2, high));
	scr_right(bottom, a.x + used, a.w - used, DIM, label);
}

static void draw_legend(const struct sheet_page *s, const char *channel, struct area a)
{
	if (s->point >= 0 && s->frontier) {
		const struct frontier_point *p = &s->frontier->points[s->point];
		char t[FMT_SIZE], w[FMT_SIZE];
		scr_printf(a.y, a.x, a.w, ACCENT, "f: %d of %zu, %s s, %s %s %%; t takes it",
			s->point + 1, s->frontier->n, fmt_signed(p->time_delta, 2, t), channel,
			p->has_wear ? fmt_signed(p->wear_delta, 2, w) : "not known");
		return;
	}
	scr_text(a.y, a.x, a.w, DIM,
		s->frontier ? "o reference  x this  + driven  ... frontier"
			    : "o reference  x this  + driven");
}

/*
 * The scale stays while the sheet is inside it, so that a nudge moves one mark only.
 * False if there is nothing to show.
 */
static bool update_scale(
	struct app *app, struct sheet_page *s, const struct estimate *t, const struct estimate *w)
{
	bool here = t->known && w->known;
	bool inside = !here || (w->value >= s->x0 && w->value <= s->x1 && t->value >= s->y0 &&
				       t->value <= s->y1);
	if (!s->scale_stale && inside)
		return true;
	struct estimate none = {.known = false};
	s->at_time = s->at_wear = none;
	if (app->against.values) {
		s->at_time = model_value(app->model, RESPONSE_TIME, app->against.values);
		s->at_wear = model_value(app->model, 1 + s->channel, app->against.values);
	}
	struct scale all = scale_of(s, &s->at_time, &s->at_wear);
	if (here)
		widen(&all, w->value, t->value);
	if (all.any)
		set_scale(s, &all);
	return all.any;
}

static bool same_area(struct area a, struct area b)
{
	return a.y == b.y && a.x == b.x && a.h == b.h && a.w == b.w;
}

/* Beside the crosses the runs' ids, where there is room and nothing else stands there. */
static void draw_ids(const struct app *app, const struct sheet_page *s)
{
	enum { LEAST_W = 56, LEAST_H = 12 };
	const struct plot *p = &s->plot;
	if (p->in.w < LEAST_W || p->in.h < LEAST_H)
		return;
	bool *taken = plot_taken(p);
	for (size_t i = 0; taken && i < s->n_driven; i++)
		if (s->driven[i].known[s->channel])
			plot_take(p, s->driven[i].wear[s->channel], s->driven[i].time, taken);
	for (size_t i = 0; taken && i < s->n_driven; i++)
		if (s->driven[i].known[s->channel])
			plot_label(p, s->driven[i].wear[s->channel], s->driven[i].time,
				app->book.runs[s->driven[i].run].id, DIM, taken);
	free(taken);
}

/* What stays while scale and room do: axes, frontier, driven set-ups, the reference. */
static bool draw_still(const struct app *app, struct sheet_page *s, struct area a)
{
	plot_free(&s->plot);
	if (!plot_begin(&s->plot, a, s->x0, s->x1, s->y0, s->y1)) {
		plot_free(&s->plot);
		return false;
	}
	draw_dots(s, &s->plot, &s->at_time, &s->at_wear);
	plot_end(&s->plot, PLAIN);
	draw_ids(app, s);
	for (size_t i = 0; i < s->n_driven; i++)
		if (s->driven[i].known[s->channel])
			plot_mark(&s->plot, s->driven[i].wear[s->channel], s->driven[i].time, '+',
				DIM);
	if (s->at_time.known && s->at_wear.known)
		plot_mark(&s->plot, s->at_wear.value, s->at_time.value, 'o', BOLD);
	return true;
}

/* As kept where it still holds. False: no room, or no memory. */
static bool draw_plot(const struct app *app, struct sheet_page *s, struct area a)
{
	struct area in = {a.y, a.x + 1, a.h - 1, a.w - 1};
	if (s->plot.dots && same_area(s->plot.in, in) && scr_again(&s->still))
		return true;
	scr_keep(&s->still);
	const bool drawn = draw_still(app, s, a);
	scr_keep_end();
	return drawn;
}

static void draw_marks(
	const struct sheet_page *s, const struct estimate *t, const struct estimate *w)
{
	const struct plot *p = &s->plot;
	if (s->point >= 0 && s->frontier) {
		double x, y;
		frontier_xy(s, &s->at_time, &s->at_wear, (size_t)s->point, &x, &y);
		plot_mark(p, x, y, 'f', ACCENT);
	}
	if (t->known && w->known)
		plot_mark(p, w->value, t->value, 'x', PLAIN);
}

void sheet_draw_picture(struct app *app, struct area a)
{
	struct sheet_page *s = sheet_page_of(app);
	if (!app->told.known || a.h < 4) {
		scr_text(a.y, a.x, a.w, DIM, "no picture: nothing can be predicted yet");
		return;
	}
	const struct estimate *t = &app->told.p.value[RESPONSE_TIME];
	const struct estimate *w = &app->told.p.value[1 + s->channel];
	if (!update_scale(app, s, t, w)) {
		scr_text(a.y, a.x, a.w, DIM, "no picture: no wear of this channel is known");
		return;
	}
	draw_legend(s, app->book.channels[s->channel], (struct area){a.y, a.x, 1, a.w});
	if (draw_plot(app, s, (struct area){a.y + 2, a.x, a.h - 3, a.w}))
		draw_marks(s, t, w);
	draw_labels(app, s, (struct area){a.y + 1, a.x, a.h - 1, a.w});
}
