/* From the fits of borrowed books to a prior on the relative scale; doc/borrow.md. */
#include "model/borrow.h"
#include "model/internal.h"
#include "model/meta.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Singular values below this part of the largest are nothing told. */
#define TOLD_TOL 1e-8

/* What one book tells of one response, over the prior's terms. */
struct told {
	size_t n;                     /* contrasts */
	double *row, *value, *cov;    /* owned [n * terms], [n], [n * n]: shares of the base */
	const struct response *r;
	double base, trust;
	const struct borrow *from;
};
struct source {
	const struct model *m;
	const struct borrow *from;
};

static bool is_setup(enum term_kind k)
{
	return k == TERM_LINEAR || k == TERM_SQUARE || k == TERM_PRODUCT;
}

const struct response *borrow_response(const struct model *m, size_t slot)
{
	if (slot < RESPONSES_MAX)
		return slot < m->n_responses ? &m->responses[slot] : NULL;
	const size_t c = (slot - RESPONSES_MAX) % CHANNELS_MAX;
	if (c >= m->book->n_channels)
		return NULL;
	return slot < RESPONSES_MAX + CHANNELS_MAX ? &m->like[c] : &m->like_time[c];
}

/* Lap time for slots of time, wear of the channel for the others. */
static size_t base_response(size_t slot)
{
	if (slot < RESPONSES_MAX)
		return slot;
	return slot < RESPONSES_MAX + CHANNELS_MAX ? 1 + slot - RESPONSES_MAX : RESPONSE_TIME;
}

/* The reference's figure, where the runs can tell it; else the mean of all readings. */
static double base_of(const struct model *m, size_t slot)
{
	const size_t k = base_response(slot);
	const struct response *r = &m->responses[k];
	const struct sheet *ref = book_reference(m->book);
	const struct estimate e = ref && r->fitted ? model_value(m, k, ref->values) :
		(struct estimate){0};
	const double v = e.known ? e.value : r->fitted ? r->mean : 0;
	return v > 0 && isfinite(v) ? v : 0;
}

/* The slot of an old book that means the same channel; false without one. */
static bool old_slot(const struct model *m, const struct model *old, size_t slot, size_t *out)
{
	*out = slot;
	if (slot == RESPONSE_TIME)
		return true;
	const size_t c = slot < RESPONSES_MAX ? slot - 1 : (slot - RESPONSES_MAX) % CHANNELS_MAX;
	if (c >= m->book->n_channels || old->book->n_channels != m->book->n_channels)
		return false;
	const int k = book_find_channel(old->book, m->book->channels[c]);
	*out = slot - c + (size_t)(k < 0 ? 0 : k);
	return k >= 0;
}

int prior_term(const struct prior *p, enum term_kind kind, int a, int b)
{
	for (size_t t = 0; t < p->n; t++)
		if (p->terms[t].kind == kind && p->terms[t].a == a &&
			(kind != TERM_PRODUCT || p->terms[t].b == b))
			return (int)t;
	return -1;
}

static bool has_term(const struct response *r, enum term_kind kind, int a)
{
	for (size_t t = 0; t < r->n_terms; t++)
		if (r->terms[t].kind == kind && r->terms[t].a == a)
			return true;
	return false;
}

bool prior_map(const struct model *m, const struct prior *p, const struct response *r, size_t t,
	double *row)
{
	const struct term *k = &r->terms[t];
	const int at = prior_term(p, k->kind, k->a, k->b);
	memset(row, 0, p->n * sizeof *row);
	if (at < 0)
		return false;
	row[at] = 1;
	if (k->kind != TERM_LINEAR)
		return true;
	const int square = prior_term(p, TERM_SQUARE, k->a, 0);
	if (square >= 0 && !has_term(r, TERM_SQUARE, k->a))
		row[square] = r->lo[k->a] + r->hi[k->a];
	if (m->coords[k->a].kind == COORD_SINGLE)
		return true;
	const bool common = m->coords[k->a].kind == COORD_COMMON;
	const int twin = common ? k->a + 1 : k->a - 1, first = common ? k->a : twin;
	const int product = prior_term(p, TERM_PRODUCT, first, first + 1);
	if (product >= 0 && !has_term(r, TERM_PRODUCT, first))
		row[product] = 0.5 * (r->lo[twin] + r->hi[twin]);
	return true;
}

/*
 * Orthonormal x with k x = 0 for the rows k [rows * n], by singular values; all of the space
 * without rows. *out owned by the caller [*found * n].
 */
static bool null_rows(const double *k, size_t rows, size_t n, double **out, size_t *found)
{
	const size_t tall = rows > n ? rows : n;
	gsl_matrix *a = gsl_matrix_calloc(tall, n ? n : 1), *v = gsl_matrix_alloc(n ? n : 1, n ? n : 1);
	gsl_vector *s = gsl_vector_alloc(n ? n : 1), *scratch = gsl_vector_alloc(n ? n : 1);
	*found = 0;
	*out = malloc((n * n + 1) * sizeof **out);
	bool ok = a && v && s && scratch && *out;
	for (size_t i = 0; ok && i < rows; i++)
		for (size_t j = 0; j < n; j++)
			gsl_matrix_set(a, i, j, k[i * n + j]);
	ok = ok && (n == 0 || gsl_linalg_SV_decomp(a, v, s, scratch) == GSL_SUCCESS);
	for (size_t j = 0; ok && j < n; j++) {
		if (gsl_vector_get(s, j) > TOLD_TOL * fmax(1, gsl_vector_get(s, 0)))
			continue;
		for (size_t i = 0; i < n; i++)
			(*out)[*found * n + i] = gsl_matrix_get(v, i, j);
		++*found;
	}
	gsl_matrix_free(a);
	gsl_matrix_free(v);
	gsl_vector_free(s);
	gsl_vector_free(scratch);
	if (!ok) {
		free(*out);
		*out = NULL;
	}
	return ok;
}

bool told_contrasts(const struct response *r, const bool *use, double **rows, size_t *n)
{
	const size_t p = r->n_terms;
	size_t *at = malloc((p + 1) * sizeof *at), kept = 0;
	double *k = calloc(r->n_null * p + 1, sizeof *k), *free_rows = NULL;
	bool ok = at && k;
	for (size_t t = 0; ok && t < p; t++)
		if (use[t])
			at[kept++] = t;
	/* In scaled columns l / scale meets the null space nowhere. */
	for (size_t i = 0; ok && i < r->n_null; i++)
		for (size_t j = 0; j < kept; j++)
			k[i * kept + j] = r->null_basis[i * p + at[j]];
	ok = ok && null_rows(k, r->n_null, kept, &free_rows, n);
	*rows = ok ? calloc(*n * p + 1, sizeof **rows) : NULL;
	ok = *rows != NULL;
	for (size_t i = 0; ok && i < *n; i++) {
		double len = 0;
		for (size_t j = 0; j < kept; j++) {
			double *cell = &(*rows)[i * p + at[j]];
			*cell = free_rows[i * kept + j] * r->scale[at[j]];
			len += *cell * *cell;
		}
		for (size_t j = 0; j < kept; j++)
			(*rows)[i * p + at[j]] /= sqrt(len);
	}
	free(at);
	free(k);
	free(free_rows);
	return ok;
}

static bool left_out(const struct model *m, const struct borrow *from, const struct term *t)
{
	const struct car *car = &m->book->car;
	const struct group *g = &m->groups[m->coords[t->a].group];
	for (size_t i = 0; i < from->n_without; i++) {
		const int a = car_find_adjustable(car, from->without[i]);
		if (!strcmp(from->without[i], car_group_id(car, g)) ||
			(a >= 0 && car->adjustables[a].pair >= 0 && car->adjustables[a].pair == g->pair))
			return true;
	}
	return false;
}

static void told_free(struct told *t)
{
	free(t->row);
	free(t->value);
	free(t->cov);
	memset(t, 0, sizeof *t);
}

/* Contrasts, values and covariance of one book's response. n stays 0 where it tells nothing. */
static bool told_make(const struct model *m, const struct prior *p, const struct source *s,
	size_t slot, struct told *out)
{
	size_t theirs, n = 0;
	memset(out, 0, sizeof *out);
	if (!old_slot(m, s->m, slot, &theirs))
		return true;
	const struct response *r = borrow_response(s->m, theirs);
	const double base = base_of(s->m, theirs);
	if (!r || !r->fitted || !(r->df_run >= 1) || !(base > 0))
		return true;
	const size_t q = r->n_terms;
	bool *use = calloc(q + 1, sizeof *use);
	double *rows = NULL, *map = calloc(q * p->n + 1, sizeof *map);
	bool ok = use && map;
	for (size_t t = 0; ok && t < q; t++)
		use[t] = is_setup(r->terms[t].kind) && !left_out(m, s->from, &r->terms[t]) &&
			prior_map(m, p, r, t, map + t * p->n);
	ok = ok && told_contrasts(r, use, &rows, &n);
	*out = (struct told){.n = ok ? n : 0, .r = r, .base = base, .trust = s->from->trust,
		.from = s->from, .row = calloc(n * p->n + 1, sizeof(double)),
		.value = calloc(n + 1, sizeof(double)), .cov = calloc(n * n + 1, sizeof(double))};
	ok = ok && out->row && out->value && out->cov;
	for (size_t i = 0; ok && i < n; i++) {
		const double *l = rows + i * q;
		for (size_t t = 0; t < q; t++) {
			if (!use[t])
				continue;
			out->value[i] += l[t] * r->b[t] / base;
			for (size_t j = 0; j < p->n; j++)
				out->row[i * p->n + j] += l[t] * map[t * p->n + j];
			for (size_t k = 0; k < n; k++)
				for (size_t v = 0; v < q; v++)
					out->cov[i * n + k] += l[t] * r->cov[t * q + v] * rows[k * q + v] /
						(base * base);
		}
	}
	free(use);
	free(map);
	free(rows);
	return ok;
}

/* Effects of one term as the books tell them singly, and its size. */
struct single {
	size_t k;
	double y[64], v[64];
	struct meta meta;
	double size;
};

static void take_single(const struct told *t, const struct term *k, const struct model *m,
	struct single *s)
{
	const struct response *r = t->r;
	for (size_t i = 0; t->n && i < r->n_terms && s->k < 64; i++) {
		const double v = r->cov[i * r->n_terms + i] / (t->base * t->base);
		if (r->terms[i].kind != k->kind || r->terms[i].a != k->a || !r->estimable[i] ||
			!(v > 0) || left_out(m, t->from, k))
			continue;
		s->y[s->k] = r->b[i] / t->base;
		s->v[s->k++] = v;
	}
}

static double stated_spread(const struct told *t, size_t books, bool *any)
{
	double sum = 0, n = 0;
	*any = false;
	for (size_t i = 0; i < books; i++) {
		if (!t[i].n)
			continue;
		const double one = t[i].from->spread.has ? t[i].from->spread.v : SPREAD_USUAL;
		*any = *any || t[i].from->spread.has;
		sum += one * one;
		n++;
	}
	return n > 0 ? sqrt(sum / n) : SPREAD_USUAL;
}

/*
 * The spread of one kind of terms as a share of an effect's size, pooled over the terms by
 * moments: E(Q_t) = k_t - 1 + (spread size_t)^2 C_t. SPREAD_BESIDE stands beside it with the
 * weight of SPREAD_WEIGHT degrees of freedom. Returns the degrees of freedom, 0: not estimated.
 */
static double pooled_spread(const struct single *s, size_t n, double given, double *spread)
{
	double d = 0, over = 0, under = 0;
	for (size_t t = 0; t < n; t++) {
		if (s[t].k < 2)
			continue;
		d += (double)s[t].k - 1;
		over += s[t].meta.q - ((double)s[t].k - 1);
		under += s[t].meta.c * s[t].size * s[t].size;
	}
	*spread = given;
	if (d < 2 || !(under > 0))
		return 0;
	*spread = sqrt((d * fmax(0, over / under) + SPREAD_WEIGHT * SPREAD_BESIDE * SPREAD_BESIDE) /
		(d + SPREAD_WEIGHT));
	return d + SPREAD_WEIGHT;
}

static bool find_kind(const struct model *m, struct prior *p, const struct told *told, size_t books,
	enum term_kind kind)
{
	size_t n = 0, at = (size_t)(kind - TERM_LINEAR);
	struct single *s = calloc(p->n + 1, sizeof *s);
	double squares = 0, weight = 0;
	bool stated;
	if (!s)
		return false;
	for (size_t t = 0; t < p->n; t++) {
		if (p->terms[t].kind != kind)
			continue;
		for (size_t i = 0; i < books; i++)
			take_single(&told[i], &p->terms[t], m, &s[n]);
		s[n].meta = meta_analyse(s[n].y, s[n].v, s[n].k);
		squares += s[n].k ? s[n].meta.fixed * s[n].meta.fixed : 0;
		weight += s[n].k > 0;
		n++;
	}
	for (size_t t = 0; weight == 0 && t < books; t++) /* nothing told singly: what is told */
		for (size_t i = 0; i < told[t].n; i++)
			squares += told[t].value[i] * told[t].value[i] / (double)(p->n + 1);
	const double typical = sqrt(squares / fmax(weight, 1));
	for (size_t t = 0; t < n; t++)
		s[t].size = fmax(typical, s[t].k ? fabs(s[t].meta.fixed) : 0);
	const double given = stated_spread(told, books, &stated);
	double df = p->n_books >= 3 ? pooled_spread(s, n, given, &p->spread[at]) : 0;
	if (df == 0)
		p->spread[at] = given;
	else if (stated)
		p->spread[at] = fmax(p->spread[at], given);
	p->from[at] = df > 0 ? SPREAD_ESTIMATED : stated ? SPREAD_STATED : SPREAD_DEFAULT;
	if (df > 0)
		p->df = fmin(p->df, df);
	n = 0;
	for (size_t t = 0; t < p->n; t++) {
		if (p->terms[t].kind != kind)
			continue;
		p->tau[t] = p->spread[at] * s[n].size;
		if (df > 0 && s[n].k >= 3)
			p->tau[t] = fmax(p->tau[t], sqrt(s[n].meta.tau2));
		n++;
	}
	free(s);
	return true;
}

/* Lower triangle of a symmetric matrix, in place; false where it is not positive. */
static bool cholesky(double *a, size_t n)
{
	if (n == 0)
		return true;
	gsl_matrix_view v = gsl_matrix_view_array(a, n, n);
	return gsl_linalg_cholesky_decomp1(&v.matrix) == GSL_SUCCESS;
}

/* x = L^-1 x for columns of a row-major matrix with `width` columns. */
static void forward(const double *l, size_t n, double *x, size_t width)
{
	for (size_t i = 0; i < n; i++)
		for (size_t c = 0; c < width; c++) {
			double s = x[i * width + c];
			for (size_t k = 0; k < i; k++)
				s -= l[i * n + k] * x[k * width + c];
			x[i * width + c] = s / l[i * n + i];
		}
}

/* One book's rows [row | value], whitened by its own and the circuits' scatter. False where that
 * is nil. */
static bool whiten(const struct prior *p, const struct told *t, double *out)
{
	const size_t n = t->n, w = p->n + 1;
	double *v = malloc((n * n + 1) * sizeof *v);
	if (!v)
		return false;
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < n; k++) {
			double s = t->cov[i * n + k];
			for (size_t j = 0; j < p->n; j++)
				s += t->row[i * p->n + j] * p->tau[j] * p->tau[j] * t->row[k * p->n + j];
			v[i * n + k] = s / t->trust;
		}
	const bool ok = cholesky(v, n);
	for (size_t i = 0; i < n; i++) {
		memcpy(out + i * w, t->row + i * p->n, p->n * sizeof *out);
		out[i * w + p->n] = t->value[i];
	}
	if (ok)
		forward(v, n, out, w);
	free(v);
	return ok;
}

/* A column that nothing tells must be nought, not 1e-17: the rank test scales columns. */
static double without_rounding(double v)
{
	return fabs(v) < 1e-11 ? 0 : v;
}

/* The books' mean effects in the directions told, and what that says of another circuit. */
static bool settle(struct prior *p, const double *rows, size_t n_rows, double trust)
{
	const size_t n = p->n, w = n + 1, tall = n_rows > n ? n_rows : n;
	gsl_matrix *a = gsl_matrix_calloc(tall, n), *v = gsl_matrix_alloc(n, n);
	gsl_vector *s = gsl_vector_alloc(n), *scratch = gsl_vector_alloc(n);
	bool ok = a && v && s && scratch;
	for (size_t i = 0; ok && i < n_rows; i++)
		for (size_t j = 0; j < n; j++)
			gsl_matrix_set(a, i, j, rows[i * w + j]);
	ok = ok && gsl_linalg_SV_decomp(a, v, s, scratch) == GSL_SUCCESS;
	p->rank = 0;
	while (ok && p->rank < n && gsl_vector_get(s, p->rank) > TOLD_TOL * gsl_vector_get(s, 0))
		p->rank++;
	p->u = calloc(p->rank * n + 1, sizeof *p->u);
	p->mean = calloc(p->rank + 1, sizeof *p->mean);
	p->cov = calloc(p->rank * p->rank + 1, sizeof *p->cov);
	ok = ok && p->u && p->mean && p->cov;
	for (size_t k = 0; ok && k < p->rank; k++) {
		const double one = gsl_vector_get(s, k);
		for (size_t j = 0; j < n; j++)
			p->u[k * n + j] = without_rounding(gsl_matrix_get(v, j, k));
		for (size_t i = 0; i < n_rows; i++)
			p->mean[k] += gsl_matrix_get(a, i, k) * rows[i * w + n] / one;
		p->cov[k * p->rank + k] = 1 / (one * one);
	}
	for (size_t k = 0; ok && k < p->rank; k++)
		for (size_t l = 0; l < p->rank; l++)
			for (size_t j = 0; j < n; j++)
				p->cov[k * p->rank + l] += p->u[k * n + j] * p->tau[j] * p->tau[j] *
					p->u[l * n + j] / trust;
	gsl_matrix_free(a);
	gsl_matrix_free(v);
	gsl_vector_free(s);
	gsl_vector_free(scratch);
	return ok;
}

static bool combine(struct prior *p, const struct told *told, size_t books)
{
	size_t total = 0, n = 0;
	double trust = 0, count = 0;
	for (size_t i = 0; i < books; i++)
		total += told[i].n;
	double *rows = malloc((total * (p->n + 1) + 1) * sizeof *rows);
	if (!rows)
		return false;
	for (size_t i = 0; i < books; i++) {
		if (!told[i].n || !whiten(p, &told[i], rows + n * (p->n + 1)))
			continue;
		n += told[i].n;
		trust += told[i].trust;
		count++;
	}
	const bool ok = n == 0 || settle(p, rows, n, trust / count);
	free(rows);
	return ok;
}

/* Noise of the books, pooled by degrees of freedom. */
static void pool_noise(struct prior *p, const struct told *told, size_t books)
{
	double df = 0;
	for (size_t i = 0; i < books; i++) {
		const struct response *r = told[i].r;
		if (!told[i].n)
			continue;
		const double unit = told[i].base * told[i].base;
		df += r->df_run;
		if (isfinite(r->sigma_run)) {
			p->run += r->df_run * r->sigma_run * r->sigma_run / unit;
			p->df_run += r->df_run;
		}
		if (!r->one_obs_a_run && isfinite(r->sigma_lap) && r->df_lap > 0) {
			p->lap += r->df_lap * r->sigma_lap * r->sigma_lap / unit;
			p->df_lap += r->df_lap;
		}
	}
	p->run = p->df_run > 0 ? p->run / p->df_run : 0;
	p->lap = p->df_lap > 0 ? p->lap / p->df_lap : 0;
	p->df = df;
}

void prior_free(struct prior *p)
{
	free(p->terms);
	free(p->u);
	free(p->mean);
	free(p->cov);
	free(p->tau);
	memset(p, 0, sizeof *p);
}

static void add_term(struct prior *p, const struct term *t)
{
	if (prior_term(p, t->kind, t->a, t->b) < 0)
		p->terms[p->n++] = *t;
}

/* All linear terms, squares and products of the fit here, and of the old books' less those marked
 * in `without`. */
static bool lay_terms(const struct model *m, const struct source *s, size_t books, size_t slot,
	const bool *without, struct prior *p)
{
	p->n = 0;
	free(p->terms);
	p->terms = calloc(3 * m->n_coords + 1, sizeof *p->terms);
	if (!p->terms)
		return false;
	for (size_t c = 0; c < m->n_coords; c++) {
		struct term *t = &p->terms[p->n++];
		*t = (struct term){.kind = TERM_LINEAR, .a = (int)c};
		model_coord_id(m, c, t->id, sizeof t->id);
	}
	for (enum term_kind kind = TERM_SQUARE; kind <= TERM_PRODUCT; kind++)
		for (size_t c = 0; c < m->n_coords; c++)
			for (size_t i = 0; i <= books; i++) {
				size_t theirs = slot;
				if (i > 0 && !old_slot(m, s[i - 1].m, slot, &theirs))
					continue;
				const struct response *r = borrow_response(i ? s[i - 1].m : m, theirs);
				for (size_t t = 0; r && t < r->n_terms; t++)
					if (r->terms[t].kind == kind && r->terms[t].a == (int)c &&
						(i == 0 || !without[(size_t)(kind - TERM_SQUARE) * m->n_coords + c]))
						add_term(p, &r->terms[t]);
			}
	return true;
}

bool prior_contrast(const struct prior *p, const double *c, double *mean, double *variance)
{
	double len = 0, told = 0;
	double a[1024];
	*mean = *variance = 0;
	if (p->rank > 1024)
		return false;
	for (size_t j = 0; j < p->n; j++)
		len += c[j] * c[j];
	for (size_t k = 0; k < p->rank; k++) {
		a[k] = 0;
		for (size_t j = 0; j < p->n; j++)
			a[k] += p->u[k * p->n + j] * c[j];
		told += a[k] * a[k];
		*mean += a[k] * p->mean[k];
	}
	for (size_t k = 0; k < p->rank; k++)
		for (size_t l = 0; l < p->rank; l++)
			*variance += a[k] * p->cov[k * p->rank + l] * a[l];
	return len > 0 && len - told <= 1e-9 * len;
}

struct estimate borrow_term(const struct prior *p, enum term_kind kind, int a, int b)
{
	struct estimate e = {.se = NAN, .low = NAN, .high = NAN, .borrowed = 1};
	const double unit = p->base > 0 ? p->base : 1;
	const int at = p->rank ? prior_term(p, kind, a, b) : -1;
	double c[1024] = {0}, variance;
	if (at < 0 || p->n > 1024)
		return e;
	c[at] = 1;
	e.known = prior_contrast(p, c, &e.value, &variance);
	e.has_interval = e.known && p->df >= 1;
	e.value *= unit;
	e.se = unit * sqrt(variance);
	e.df = p->df;
	return e;
}

bool borrow_delta(const struct model *m, const struct prior *p, const fix *values,
	const fix *against, double *mean, double *se)
{
	double x[1024], x0[1024], c[1024], variance;
	if (m->n_coords > 1024 || p->n > 1024 || !p->rank)
		return false;
	model_coords(m, values, x);
	model_coords(m, against, x0);
	for (size_t t = 0; t < p->n; t++)
		c[t] = term_value(&p->terms[t], x) - term_value(&p->terms[t], x0);
	const bool told = prior_contrast(p, c, mean, &variance);
	*se = sqrt(variance);
	return told;
}

/* Squares and products that are neither fitted here nor told by themselves would only take
 * answers away: out with them. True where one went. */
static bool drop_untold(const struct model *m, const struct prior *p, size_t slot, bool *without)
{
	bool any = false;
	const struct response *own = borrow_response(m, slot);
	for (size_t t = m->n_coords; t < p->n; t++) {
		const struct term *k = &p->terms[t];
		if (has_term(own, k->kind, k->a) || borrow_term(p, k->kind, k->a, k->b).known)
			continue;
		without[(size_t)(k->kind - TERM_SQUARE) * m->n_coords + (size_t)k->a] = true;
		any = true;
	}
	return any;
}

static bool prior_try(struct model *m, const struct source *s, size_t books, size_t slot,
	const bool *without, struct prior *p)
{
	struct told *told = calloc(books + 1, sizeof *told);
	prior_free(p);
	bool ok = told && lay_terms(m, s, books, slot, without, p);
	for (size_t i = 0; ok && i < books; i++) {
		ok = told_make(m, p, &s[i], slot, &told[i]);
		p->n_books += told[i].n > 0;
	}
	p->tau = ok ? calloc(p->n + 1, sizeof *p->tau) : NULL;
	ok = p->tau != NULL;
	if (ok) {
		pool_noise(p, told, books);
		p->base = base_of(m, slot);
		for (enum term_kind k = TERM_LINEAR; ok && k <= TERM_PRODUCT; k++)
			ok = find_kind(m, p, told, books, k);
		ok = ok && combine(p, told, books);
	}
	for (size_t i = 0; told && i < books; i++)
		told_free(&told[i]);
	free(told);
	return ok;
}

static bool prior_make(struct model *m, const struct source *s, size_t books, size_t slot,
	struct prior *p)
{
	bool *without = calloc(2 * m->n_coords + 1, sizeof *without);
	bool ok = without && prior_try(m, s, books, slot, without, p);
	while (ok && p->rank && drop_untold(m, p, slot, without))
		ok = prior_try(m, s, books, slot, without, p);
	free(without);
	return ok;
}

static void say_book(const struct model *m, const struct source *s, struct borrowing *b)
{
	const struct response *time = &s->m->responses[RESPONSE_TIME];
	size_t ignored;
	if (!time->fitted)
		borrow_note(b, "nothing borrowed from %.80s: %.80s", s->from->path, time->why);
	else if (!(time->df_run >= 1))
		borrow_note(b, "nothing borrowed from %.80s: its effects have no interval", s->from->path);
	if (m->n_responses > 1 && !old_slot(m, s->m, 1, &ignored))
		borrow_note(b, "no wear borrowed from %.80s: it has other wear channels", s->from->path);
	for (size_t i = 0; i < s->m->book->n_borrow; i++)
		borrow_note(b, "what %.70s borrows itself is not followed", s->from->path);
}

static bool find_range(const struct model *m, const struct source *s, size_t n, struct borrowing *b)
{
	b->lo = malloc((m->n_coords + 1) * sizeof *b->lo);
	b->hi = malloc((m->n_coords + 1) * sizeof *b->hi);
	if (!b->lo || !b->hi)
		return false;
	for (size_t c = 0; c < m->n_coords; c++) {
		b->lo[c] = 1;
		b->hi[c] = -1;
		for (size_t i = 0; i < n; i++) {
			const struct coord *k = &s[i].m->coords[c];
			if (k->lo > k->hi)
				continue;
			const bool none = b->lo[c] > b->hi[c];
			b->lo[c] = none ? k->lo : fmin(b->lo[c], k->lo);
			b->hi[c] = none ? k->hi : fmax(b->hi[c], k->hi);
		}
	}
	return true;
}

static void sources_free(struct source *s, size_t n)
{
	for (size_t i = 0; s && i < n; i++)
		model_free((struct model *)s[i].m);
	free(s);
}

bool priors_make(struct model *m, struct borrowing *b, struct err *err)
{
	const struct book *book = m->book;
	struct source *s = calloc(book->n_borrow + 1, sizeof *s);
	size_t n = 0;
	bool ok = s || err_memory(err);
	for (size_t i = 0; ok && i < book->n_borrow; i++) {
		if (!book->borrow[i].book)
			continue;
		s[n] = (struct source){model_new(book->borrow[i].book, err), &book->borrow[i]};
		ok = s[n].m != NULL;
		if (ok)
			say_book(m, &s[n++], b);
	}
	for (size_t slot = 0; ok && slot < PRIOR_SLOTS; slot++)
		if (borrow_response(m, slot))
			ok = prior_make(m, s, n, slot, &b->prior[slot]) || err_memory(err);
	b->n_books = n;
	ok = ok && (find_range(m, s, n, b) || err_memory(err));
	sources_free(s, n);
	return ok;
}
