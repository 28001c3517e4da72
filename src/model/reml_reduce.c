#include "model/reml_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static double row_weight(const struct reml_data *d, size_t i)
{
	return d->w ? d->w[i] : 1;
}

static double cell(const struct reml_data *d, size_t i, size_t j)
{
	if (j < d->shared)
		return d->xg[(size_t)d->group[i] * d->shared + j];
	return j < d->p ? d->x[i * (d->p - d->shared) + j - d->shared] : d->y[i];
}

/* First row of each group, its weight, and the size of each column. */
static bool first_rows(struct prepared *u, size_t *first, double *big)
{
	const struct reml_data *d = u->d;
	const size_t rest = d->p - d->shared;
	for (size_t g = 0; g < d->groups; g++)
		first[g] = d->n;
	for (size_t i = 0; i < d->n; i++) {
		const size_t g = (size_t)d->group[i];
		if (first[g] == d->n)
			first[g] = i;
		u->W[g] += row_weight(d, i);
		for (size_t j = 0; j < rest; j++)
			big[j] = fmax(big[j], fabs(d->x[i * rest + j]));
	}
	for (size_t g = 0; g < d->groups; g++)
		if (first[g] == d->n)
			return false;
	return true;
}

/* Means as first value plus mean deviation: exact where a column does not vary. */
static void add_deviations(struct prepared *u, const size_t *first, const double *big)
{
	const struct reml_data *d = u->d;
	const size_t p1 = d->p + 1, rest = d->p - d->shared;
	for (size_t i = 0; i < d->n; i++) {
		const size_t g = (size_t)d->group[i], f = first[g];
		const double w = row_weight(d, i);
		double *mean = u->mean + g * p1 + d->shared;
		for (size_t j = 0; j < rest; j++) {
			const double dev = d->x[i * rest + j] - d->x[f * rest + j];
			if (dev == 0)
				continue;
			if (fabs(dev) > REML_RANK_TOL * big[j])
				u->within[d->shared + j] = true;
			mean[j] += w * dev;
		}
		mean[rest] += w * (d->y[i] - d->y[f]);
	}
}

static bool group_means(struct prepared *u)
{
	const struct reml_data *d = u->d;
	const size_t p1 = d->p + 1;
	size_t *first = malloc(d->groups * sizeof *first);
	double *big = calloc(d->p + 1, sizeof *big);
	const bool ok = first && big && first_rows(u, first, big);
	if (ok) {
		add_deviations(u, first, big);
		for (size_t g = 0; g < d->groups; g++)
			for (size_t j = 0; j < p1; j++)
				u->mean[g * p1 + j] =
					cell(d, first[g], j) + u->mean[g * p1 + j] / u->W[g];
	}
	free(first);
	free(big);
	return ok;
}

static int compare_w(const void *a, const void *b, void *ctx)
{
	const double *W = ctx;
	const double x = W[*(const size_t *)a], y = W[*(const size_t *)b];
	return x < y ? -1 : x > y;
}

void reml_prepared_free(struct prepared *u)
{
	free(u->W);
	free(u->mean);
	free(u->within);
	free(u->order);
}

bool reml_prepare(struct prepared *u, const struct reml_data *d)
{
	memset(u, 0, sizeof *u);
	u->d = d;
	u->W = calloc(d->groups, sizeof *u->W);
	u->mean = calloc(d->groups * (d->p + 1), sizeof *u->mean);
	u->within = calloc(d->p + 1, sizeof *u->within);
	u->order = malloc(d->groups * sizeof *u->order);
	if (!u->W || !u->mean || !u->within || !u->order || !group_means(u))
		return false;
	for (size_t g = 0; g < d->groups; g++)
		u->order[g] = g;
	qsort_r(u->order, d->groups, sizeof *u->order, compare_w, u->W);
	return true;
}

void reml_reduced_free(struct reduced *r)
{
	for (size_t k = 0; k < r->n_classes; k++)
		tri_free(&r->classes[k].tri);
	free(r->classes);
	tri_free(&r->within);
	tri_free(&r->work);
	free(r->from);
	free(r->within_map);
	free(r->inv);
	free(r->b);
	memset(r, 0, sizeof *r);
}

static size_t count_classes(const struct prepared *u)
{
	size_t k = 0;
	for (size_t i = 0; i < u->d->groups; i++)
		if (i == 0 || u->W[u->order[i]] > u->W[u->order[i - 1]])
			k++;
	return k;
}

static bool reduced_alloc(struct reduced *r, const struct prepared *u)
{
	const size_t p = u->d->p, classes = count_classes(u);
	memset(r, 0, sizeof *r);
	r->from = malloc((p + 1) * sizeof *r->from);
	r->within_map = malloc((p + 1) * sizeof *r->within_map);
	r->inv = malloc((p * p + 1) * sizeof *r->inv);
	r->b = calloc(p + 1, sizeof *r->b);
	r->classes = calloc(classes + 1, sizeof *r->classes);
	return r->from && r->within_map && r->inv && r->b && r->classes;
}

/* Kept columns in order; `dropped` may be NULL. */
static void order_columns(struct reduced *r, const struct prepared *u, const bool *dropped)
{
	for (int within = 0; within < 2; within++)
		for (size_t j = 0; j < u->d->p; j++) {
			if (u->within[j] != (within == 1) || (dropped && dropped[j]))
				continue;
			if (within)
				r->within_map[r->q++] = (int)r->p;
			r->from[r->p++] = (int)j;
		}
	r->from[r->p] = (int)u->d->p;
	r->within_map[r->q] = (int)r->p;
}

static bool reduce_within(struct reduced *r, const struct prepared *u, double *row)
{
	const struct reml_data *d = u->d;
	if (!tri_init(&r->within, r->q + 1))
		return false;
	for (size_t i = 0; i < d->n; i++) {
		const size_t g = (size_t)d->group[i];
		const double root = sqrt(row_weight(d, i));
		for (size_t j = 0; j <= r->q; j++) {
			const size_t c = (size_t)r->from[r->within_map[j]];
			row[j] = root * (cell(d, i, c) - u->mean[g * (d->p + 1) + c]);
		}
		tri_push(&r->within, row);
		if (root > 1 || root < 1)
			r->log_w += log(row_weight(d, i));
		r->yy += row_weight(d, i) * d->y[i] * d->y[i];
	}
	tri_finish(&r->within);
	const double last = r->within.t[(r->q + 1) * (r->q + 1) - 1];
	r->exact_within = d->n > d->groups + r->q && last * last <= REML_EXACT * r->yy;
	return true;
}

static bool reduce_means(struct reduced *r, const struct prepared *u, double *row)
{
	for (size_t i = 0; i < u->d->groups; i++) {
		const size_t g = u->order[i];
		if (i == 0 || u->W[g] > u->W[u->order[i - 1]]) {
			struct wclass *c = &r->classes[r->n_classes];
			c->W = u->W[g];
			if (!tri_init(&c->tri, r->p + 1))
				return false;
			r->n_classes++;
		}
		for (size_t j = 0; j <= r->p; j++)
			row[j] = u->mean[g * (u->d->p + 1) + (size_t)r->from[j]];
		struct wclass *c = &r->classes[r->n_classes - 1];
		c->count++;
		tri_push(&c->tri, row);
	}
	for (size_t k = 0; k < r->n_classes; k++)
		tri_finish(&r->classes[k].tri);
	return true;
}

bool reml_reduce(struct reduced *r, const struct prepared *u, const bool *dropped)
{
	double *row = malloc((u->d->p + 1) * sizeof *row);
	bool ok = row && reduced_alloc(r, u);
	if (ok) {
		r->n = u->d->n;
		order_columns(r, u, dropped);
		ok = reduce_within(r, u, row) && reduce_means(r, u, row) &&
		     tri_init(&r->work, r->p + 1);
	}
	free(row);
	return ok;
}

void reml_stack(struct reduced *r, double lambda)
{
	tri_clear(&r->work);
	for (size_t k = 0; k < r->n_classes; k++) {
		const double W = r->classes[k].W;
		tri_push_tri(
			&r->work, &r->classes[k].tri, sqrt(W / (1 + fmax(lambda, 0) * W)), NULL);
	}
	if (lambda >= 0)
		tri_push_tri(&r->work, &r->within, 1, r->within_map);
	tri_finish(&r->work);
}
