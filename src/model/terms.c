#include "model/internal.h"

#include "model/qr.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Coordinates that a row is made from on the stack; no car has so many. */
enum { COORDS_ROOM = 1024 };

/* Twice the distance from the middle of the limits, in millionths: whole numbers, so
 * that a locked move leaves the difference exactly as it was. */
static fix twice_off_middle(const struct adjustable *a, fix v)
{
	return 2 * v - a->min - a->max;
}

static double coord_value(const struct car *car, const struct coord *c, const fix *values)
{
	if (c->kind == COORD_SINGLE) {
		const struct adjustable *a = &car->adjustables[c->adjustable];
		const fix range = a->max - a->min;
		return range ? (double)twice_off_middle(a, values[c->adjustable]) / (double)range
			     : 0;
	}
	const struct pair *p = &car->pairs[c->pair];
	const struct adjustable *f = &car->adjustables[p->front], *r = &car->adjustables[p->rear];
	const fix df = twice_off_middle(f, values[p->front]),
		  dr = twice_off_middle(r, values[p->rear]);
	const fix rf = f->max - f->min, rr = r->max - r->min, range = rf > rr ? rf : rr;
	const fix sum = c->kind == COORD_COMMON ? df + dr : df - dr;
	return range ? (double)sum / (2 * (double)range) : 0;
}

void model_coords(const struct model *m, const fix *values, double *x)
{
	for (size_t i = 0; i < m->n_coords; i++)
		x[i] = coord_value(&m->book->car, &m->coords[i], values);
}

double model_term_value(const struct term *t, const double *x)
{
	switch (t->kind) {
	case TERM_INTERCEPT:
		return 1;
	case TERM_LINEAR:
		return x[t->a];
	case TERM_SQUARE:
		return x[t->a] * x[t->a];
	case TERM_PRODUCT:
		return x[t->a] * x[t->b];
	case TERM_COVARIATE:
	case TERM_FACTOR:
		break;
	}
	return 0; /* at the book's conditions and the factors' base levels */
}

void model_row(const struct model *m, const struct response *r, const fix *values, double *row)
{
	double x[COORDS_ROOM];
	const bool room = m->n_coords <= COORDS_ROOM;
	if (room)
		model_coords(m, values, x);
	for (size_t t = 0; t < r->n_terms; t++)
		row[t] = room ? model_term_value(&r->terms[t], x) : NAN;
}

static void add_coord(struct model *m, enum coord_kind kind, size_t group)
{
	struct coord *c = &m->coords[m->n_coords++];
	*c = (struct coord){.kind = kind,
		.group = (int)group,
		.pair = m->groups[group].pair,
		.adjustable = m->groups[group].adjustable,
		.lo = 1,
		.hi = -1};
}

static int compare_doubles(const void *a, const void *b)
{
	const double x = *(const double *)a, y = *(const double *)b;
	return x < y ? -1 : x > y;
}

/* Range and distinct values of each coordinate over the runs with a fitted lap. */
static bool drive_coords(struct model *m, const struct obs_list *time)
{
	double *x = malloc((m->n_coords + 1) * sizeof *x), *v = malloc((time->n + 1) * sizeof *v);
	for (size_t c = 0; x && v && c < m->n_coords; c++) {
		struct coord *k = &m->coords[c];
		size_t n = 0;
		for (size_t i = 0; i < time->n; i++)
			if (i == 0 || time->v[i].run != time->v[i - 1].run)
				v[n++] = coord_value(
					&m->book->car, k, m->book->runs[time->v[i].run].values);
		if (n == 0)
			continue;
		qsort(v, n, sizeof *v, compare_doubles);
		k->lo = v[0];
		k->hi = v[n - 1];
		k->levels = 1;
		for (size_t i = 1; i < n; i++)
			k->levels += v[i] > v[i - 1];
	}
	const bool ok = x && v;
	free(x);
	free(v);
	return ok;
}

bool terms_coords(struct model *m, const struct obs_list *time)
{
	const struct car *car = &m->book->car;
	m->groups = malloc((car->n_adjustables + 1) * sizeof *m->groups);
	m->coords = malloc((2 * car->n_adjustables + 1) * sizeof *m->coords);
	if (!m->groups || !m->coords)
		return false;
	m->n_groups = car_groups(car, m->groups);
	for (size_t g = 0; g < m->n_groups; g++) {
		if (m->groups[g].pair < 0) {
			add_coord(m, COORD_SINGLE, g);
			continue;
		}
		add_coord(m, COORD_COMMON, g);
		add_coord(m, COORD_DIFFERENCE, g);
	}
	return drive_coords(m, time);
}

const char *model_coord_id(const struct model *m, size_t coord, char *buf, size_t size)
{
	static const char *const tail[] = {"", ".common", ".difference"};
	const struct coord *k = &m->coords[coord];
	snprintf(buf, size, "%s%s", car_group_id(&m->book->car, &m->groups[k->group]),
		tail[k->kind]);
	return buf;
}

static void add_term(const struct model *m, struct setup *s, enum term_kind kind, int a, int b)
{
	struct term *t = &s->terms[s->n++];
	char one[ID_SIZE + 12], two[ID_SIZE + 12];
	*t = (struct term){.kind = kind, .a = a, .b = b};
	if (kind == TERM_INTERCEPT) {
		snprintf(t->id, sizeof t->id, "intercept");
		return;
	}
	model_coord_id(m, (size_t)a, one, sizeof one);
	if (kind == TERM_PRODUCT)
		model_coord_id(m, (size_t)b, two, sizeof two);
	snprintf(t->id, sizeof t->id, "%s%s%s", one,
		kind == TERM_SQUARE    ? "^2"
		: kind == TERM_PRODUCT ? "*"
				       : "",
		kind == TERM_PRODUCT ? two : "");
}

static bool fill_rows(const struct model *m, struct setup *s)
{
	const struct book *b = m->book;
	double *x = malloc((m->n_coords + 1) * sizeof *x);
	free(s->rows);
	s->rows = malloc((b->n_runs * s->n + 1) * sizeof *s->rows);
	for (size_t i = 0; x && s->rows && i < b->n_runs; i++) {
		model_coords(m, b->runs[i].values, x);
		for (size_t t = 0; t < s->n; t++)
			s->rows[i * s->n + t] = model_term_value(&s->terms[t], x);
	}
	free(x);
	return x && s->rows;
}

/* Rows of the runs that were fitted for lap time; returns their number. */
static size_t fitted_rows(const struct setup *s, const struct obs_list *time, double *out)
{
	size_t n = 0;
	for (size_t i = 0; i < time->n; i++)
		if (i == 0 || time->v[i].run != time->v[i - 1].run)
			memcpy(out + s->n * n++, s->rows + s->n * (size_t)time->v[i].run,
				s->n * sizeof *out);
	return n;
}

/* Drops products that the other set-up columns already tell; counts runs and rank. */
static bool judge_setup(
	struct model *m, const struct obs_list *time, struct setup *s, size_t *runs, size_t *rank)
{
	const size_t p = s->n;
	double *rows = malloc((m->book->n_runs * p + 1) * sizeof *rows),
	       *scale = malloc(p * sizeof *scale);
	double *e = calloc(p, sizeof *e), *basis = NULL;
	bool *dropped = calloc(p, sizeof *dropped), *out = calloc(p, sizeof *out);
	size_t n_null = 0;
	bool ok = rows && scale && e && dropped && out;
	if (ok) {
		*runs = fitted_rows(s, time, rows);
		ok = rank_test(
			rows, *runs, p, p, REML_RANK_TOL, rank, dropped, scale, &n_null, &basis);
	}
	size_t kept = 0;
	for (size_t t = 0; ok && t < p; t++) {
		e[t] = 1;
		out[t] = s->terms[t].kind == TERM_PRODUCT &&
			 !row_space_has(e, p, scale, basis, n_null, REML_RANK_TOL);
		e[t] = 0;
	}
	for (size_t t = 0; ok && t < p; t++)
		if (!out[t])
			s->terms[kept++] = s->terms[t];
	if (ok && kept < p) {
		s->n = kept;
		free(basis);
		basis = NULL;
		ok = fill_rows(m, s);
		if (ok) {
			*runs = fitted_rows(s, time, rows);
			ok = rank_test(rows, *runs, kept, kept, REML_RANK_TOL, rank, dropped, scale,
				&n_null, &basis);
		}
	}
	free(rows);
	free(scale);
	free(e);
	free(basis);
	free(dropped);
	free(out);
	return ok;
}

static void add_curvature(const struct model *m, struct setup *s)
{
	for (size_t c = 0; c < m->n_coords; c++)
		if (m->coords[c].levels >= 3)
			add_term(m, s, TERM_SQUARE, (int)c, 0);
	for (size_t c = 0; c + 1 < m->n_coords; c++)
		if (m->coords[c].kind == COORD_COMMON && m->coords[c].levels > 1 &&
			m->coords[c + 1].levels > 1)
			add_term(m, s, TERM_PRODUCT, (int)c, (int)c + 1);
}

/* Words for curvature left out for want of runs. */
static void too_few(struct model *m, size_t runs, size_t rank)
{
	snprintf(m->curvature_note, sizeof m->curvature_note,
		"squares left out: %zu runs would have to tell %zu set-up terms apart, with fewer "
		"than 3 to spare",
		runs, rank);
}

bool terms_setup(struct model *m, const struct obs_list *time, bool curved, struct setup *s)
{
	memset(s, 0, sizeof *s);
	s->terms = malloc((3 * m->n_coords + 2) * sizeof *s->terms);
	if (!s->terms)
		return false;
	add_term(m, s, TERM_INTERCEPT, 0, 0);
	for (size_t c = 0; c < m->n_coords; c++)
		add_term(m, s, TERM_LINEAR, (int)c, 0);
	const size_t plain = s->n;
	if (curved)
		add_curvature(m, s);
	if (!fill_rows(m, s))
		return false;
	if (s->n == plain)
		return true;
	size_t runs = 0, rank = 0;
	if (!judge_setup(m, time, s, &runs, &rank))
		return false;
	s->curvature = s->n > plain;
	if (s->curvature && runs < rank + 3) {
		too_few(m, runs, rank);
		s->n = plain;
		s->curvature = false;
		return fill_rows(m, s);
	}
	return true;
}

void setup_free(struct setup *s)
{
	free(s->terms);
	free(s->rows);
	memset(s, 0, sizeof *s);
}

static const char *run_level(const struct run *r, int factor)
{
	return factor == FAC_DRIVER ? r->driver : factor == FAC_SESSION ? r->session : r->compound;
}

static int compare_levels(const void *a, const void *b)
{
	return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Distinct levels in the order of the alphabet, the one with most fitted laps moved first. */
static bool order_levels(const struct book *b, int factor, const bool *used,
	const struct obs_list *time, struct levels *out)
{
	size_t n = 0, *laps;
	out->level = malloc((b->n_runs + 1) * sizeof *out->level);
	laps = calloc(b->n_runs + 1, sizeof *laps);
	if (!out->level || !laps) {
		free(laps);
		return false;
	}
	for (size_t i = 0; i < b->n_runs; i++)
		if (used[i])
			out->level[n++] = run_level(&b->runs[i], factor);
	qsort(out->level, n, sizeof *out->level, compare_levels);
	for (size_t i = 0; i < n; i++)
		if (i == 0 || strcmp(out->level[i], out->level[i - 1]) != 0)
			out->level[out->n++] = out->level[i];
	size_t base = 0, most = 0;
	for (size_t i = 0; i < time->n; i++)
		laps[time->v[i].run]++;
	for (size_t k = 0; k < out->n; k++) {
		size_t here = 0;
		for (size_t i = 0; i < b->n_runs; i++)
			if (laps[i] && !strcmp(run_level(&b->runs[i], factor), out->level[k]))
				here += laps[i];
		if (here > most) {
			most = here;
			base = k;
		}
	}
	const char *first = out->n ? out->level[base] : NULL;
	memmove(out->level + 1, out->level, base * sizeof *out->level);
	if (out->n)
		out->level[0] = first;
	free(laps);
	return true;
}

bool terms_levels(
	struct model *m, const struct obs_list *all, size_t n_all, struct levels out[FAC_N])
{
	const struct book *b = m->book;
	bool *used = calloc(b->n_runs + 1, sizeof *used);
	if (!used)
		return false;
	for (size_t k = 0; k < n_all; k++)
		for (size_t i = 0; i < all[k].n; i++)
			used[all[k].v[i].run] = true;
	bool ok = true;
	for (int f = 0; ok && f < FAC_N; f++) {
		const struct run *without = NULL;
		size_t with = 0;
		for (size_t i = 0; i < b->n_runs; i++) {
			if (used[i] && run_level(&b->runs[i], f)[0])
				with++;
			else if (used[i] && !without)
				without = &b->runs[i];
		}
		if (with && without)
			model_note(m, "%s left out: run %s does not name one", factor_names[f],
				without->id);
		if (with && !without)
			ok = order_levels(b, f, used, &all[0], &out[f]);
		if (out[f].n < 2)
			out[f].n = 0;
	}
	free(used);
	return ok;
}
