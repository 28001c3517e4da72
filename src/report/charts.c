/* The report's pictures. */
#include "report/parts.h"
#include "report/svg.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const struct svg_plane picture = {
	.width = 720, .height = 340, .left = 62, .right = 700, .top = 28, .bottom = 290};

/* The frontier's wear for any values: the channel's, or the mean of all; NAN if not told. */
static double wear_of(const struct report_work *w, const fix *values)
{
	const struct model *m = w->in->model;
	const struct save_target *s = &w->frontier->save;
	double sum = 0;
	if (s->kind != SAVE_MEAN) {
		struct estimate e = model_value(m, 1 + (size_t)s->channel, values);
		return e.known ? e.value : NAN;
	}
	for (size_t c = 0; c < m->book->n_channels; c++) {
		struct estimate e = model_value(m, 1 + c, values);
		sum += e.known ? e.value : NAN;
	}
	return sum / (double)m->book->n_channels;
}

static double time_of(const struct report_work *w, const fix *values)
{
	struct estimate e = model_value(w->in->model, RESPONSE_TIME, values);
	return e.known ? e.value : NAN;
}

/* Means of a run's fitted laps, as driven; NAN where it has none. */
static void driven(const struct report_work *w, const struct run *r, double *time, double *wear)
{
	const struct save_target *s = &w->frontier->save;
	const size_t n_ch = w->in->book->n_channels;
	double t = 0, v = 0;
	size_t n = 0;
	*time = *wear = NAN;
	for (size_t j = 0; j < r->n_laps; j++) {
		const struct lap *l = &r->laps[j];
		double x = 0;
		bool has = !l->skip;
		for (size_t c = 0; c < n_ch; c++) {
			if (s->kind != SAVE_MEAN && (int)c != s->channel)
				continue;
			has = has && l->has_wear[c];
			x += l->wear[c] / (s->kind == SAVE_MEAN ? (double)n_ch : 1);
		}
		if (!has)
			continue;
		t += l->time;
		v += x;
		n++;
	}
	if (n == 0)
		return;
	*time = t / (double)n;
	*wear = v / (double)n;
}

static void widen(struct svg_plane *p, double x, double y)
{
	if (!isfinite(x) || !isfinite(y))
		return;
	p->x_lo = fmin(p->x_lo, x);
	p->x_hi = fmax(p->x_hi, x);
	p->y_lo = fmin(p->y_lo, y);
	p->y_hi = fmax(p->y_hi, y);
}

struct cloud {
	size_t n;
	double *x, *y; /* owned: wear, time */
};

static bool cloud_make(struct cloud *c, size_t n)
{
	c->n = n;
	c->x = calloc(n + 1, sizeof *c->x);
	c->y = calloc(n + 1, sizeof *c->y);
	return c->x && c->y;
}

static void cloud_free(struct cloud *c)
{
	free(c->x);
	free(c->y);
}

static void draw_tradeoff(const struct report_work *w, struct svg_plane *p,
	const struct cloud *front, const struct cloud *runs, struct buf *svg)
{
	const fix *ref = w->in->reference->values, *at = w->in->sheet->values;
	char title[200];
	svg_open(svg, p->width, p->height, "Lap time against wear");
	svg_axes(svg, p, "wear, % per lap", "lap time");
	for (size_t i = 0; i < runs->n; i++)
		if (isfinite(runs->x[i]))
			svg_mark(svg, p, runs->x[i], runs->y[i], MARK_CROSS, "--dim",
				w->in->book->runs[i].id);
	svg_line(svg, p, front->x, front->y, front->n, "--accent", false);
	if (isfinite(wear_of(w, ref))) {
		snprintf(title, sizeof title, "reference: %.150s", w->reference_name);
		svg_mark(svg, p, wear_of(w, ref), time_of(w, ref), MARK_CIRCLE, "--ink", title);
		svg_text(svg, svg_x(p, wear_of(w, ref)) + 9, svg_y(p, time_of(w, ref)) - 7, "start",
			"--ink", w->reference_name);
	}
	if (!w->same && isfinite(wear_of(w, at))) {
		svg_mark(svg, p, wear_of(w, at), time_of(w, at), MARK_DISC, "--ink", w->sheet_name);
		svg_text(svg, svg_x(p, wear_of(w, at)) - 9, svg_y(p, time_of(w, at)) - 7, "end",
			"--ink", w->sheet_name);
	}
	svg_close(svg);
}

bool chart_tradeoff(const struct report_work *w, struct buf *svg)
{
	const struct frontier *f = w->frontier;
	const struct book *b = w->in->book;
	const double t0 = time_of(w, w->in->reference->values),
		     w0 = wear_of(w, w->in->reference->values);
	struct svg_plane p = picture;
	struct cloud front = {0}, runs = {0};
	bool ok = isfinite(t0) && isfinite(w0) && f->save.kind != SAVE_LIKE &&
		  cloud_make(&front, f->n) && cloud_make(&runs, b->n_runs);
	if (ok) {
		p.x_lo = p.x_hi = w0;
		p.y_lo = p.y_hi = t0;
		p.y_lap_time = true;
		widen(&p, wear_of(w, w->in->sheet->values), time_of(w, w->in->sheet->values));
		for (size_t i = 0; i < f->n; i++) {
			front.x[i] = w0 + f->points[i].wear_delta;
			front.y[i] = t0 + f->points[i].time_delta;
			widen(&p, front.x[i], front.y[i]);
		}
		for (size_t i = 0; i < b->n_runs; i++) {
			driven(w, &b->runs[i], &runs.y[i], &runs.x[i]);
			widen(&p, runs.x[i], runs.y[i]);
		}
		svg_range(&p.x_lo, &p.x_hi);
		svg_range(&p.y_lo, &p.y_hi);
		draw_tradeoff(w, &p, &front, &runs, svg);
	}
	cloud_free(&front);
	cloud_free(&runs);
	return ok;
}

bool chart_stint_time(const struct report_work *w, struct buf *svg)
{
	static const struct {
		enum stint_kind kind;
		const char *css, *words;
		bool dashed;
	} lines[] = {{STINT_SHEET, "--accent", "the sheet", false},
		{STINT_LIFTING, "--warn", "reference lifting", true}};
	const struct stint *s = w->stint;
	const struct stint_lap *ref = s->curve[STINT_REFERENCE];
	struct svg_plane p = picture;
	struct cloud c[2] = {{0}, {0}};
	p.height = 260;
	p.bottom = 210;
	bool ok = ref && s->curve[STINT_SHEET] && cloud_make(&c[0], s->laps) &&
		  cloud_make(&c[1], s->laps);
	for (size_t k = 0; ok && k < 2; k++)
		for (size_t i = 0; s->curve[lines[k].kind] && i < s->laps; i++) {
			c[k].x[i] = (double)i + 1;
			c[k].y[i] = s->curve[lines[k].kind][i].cumulative - ref[i].cumulative;
			widen(&p, c[k].x[i], c[k].y[i]);
		}
	if (ok) {
		svg_range(&p.y_lo, &p.y_hi);
		p.x_lo = 0;
		p.x_hi = (double)s->laps + (double)s->laps * 0.22;
		svg_open(svg, p.width, p.height, "Time against the reference over the stint");
		svg_axes(svg, &p, "lap", "s against the reference");
		const double zx[] = {0, (double)s->laps}, zy[] = {0, 0};
		svg_line(svg, &p, zx, zy, 2, "--line", false);
		for (size_t k = 0; k < 2; k++) {
			if (!s->curve[lines[k].kind])
				continue;
			svg_line(svg, &p, c[k].x, c[k].y, s->laps, lines[k].css, lines[k].dashed);
			svg_text(svg, svg_x(&p, (double)s->laps) + 6,
				svg_y(&p, c[k].y[s->laps - 1]) + 4, "start", lines[k].css,
				lines[k].words);
		}
		svg_close(svg);
	}
	cloud_free(&c[0]);
	cloud_free(&c[1]);
	return ok;
}

static double most_worn(const struct stint_lap *l, size_t channels)
{
	double most = 0;
	for (size_t c = 0; c < channels; c++)
		most = fmax(most, l->worn[c]);
	return most;
}

bool chart_stint_wear(const struct report_work *w, struct buf *svg)
{
	const struct stint *s = w->stint;
	struct svg_plane p = picture;
	struct cloud c[2] = {{0}, {0}};
	const size_t kind[2] = {STINT_SHEET, STINT_REFERENCE};
	p.height = 260;
	p.bottom = 210;
	p.y_hi = s->rules.wear_limit;
	bool ok = s->limiting >= 0 && s->curve[STINT_REFERENCE] && cloud_make(&c[0], s->laps + 1) &&
		  cloud_make(&c[1], s->laps + 1);
	for (size_t k = 0; ok && k < 2; k++)
		for (size_t i = 0; s->curve[kind[k]] && i < s->laps; i++) {
			c[k].x[i + 1] = (double)i + 1;
			c[k].y[i + 1] = most_worn(&s->curve[kind[k]][i], w->in->book->n_channels);
			widen(&p, c[k].x[i + 1], c[k].y[i + 1]);
		}
	if (ok) {
		const double lx[] = {0, (double)s->laps},
			     ly[] = {s->rules.wear_limit, s->rules.wear_limit};
		p.x_hi = (double)s->laps * 1.22;
		p.y_hi *= 1.08;
		svg_open(svg, p.width, p.height, "Tread used over the stint");
		svg_axes(svg, &p, "lap", "% of tread used, most worn channel");
		svg_line(svg, &p, lx, ly, 2, "--warn", false);
		svg_text(svg, svg_x(&p, (double)s->laps) + 6, svg_y(&p, ly[0]) + 4, "start",
			"--warn", "limit");
		svg_line(svg, &p, c[1].x, c[1].y, s->laps + 1, "--ink", true);
		if (s->curve[STINT_SHEET] && !w->same)
			svg_line(svg, &p, c[0].x, c[0].y, s->laps + 1, "--accent", false);
		svg_close(svg);
	}
	cloud_free(&c[0]);
	cloud_free(&c[1]);
	return ok;
}
