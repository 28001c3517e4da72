#include "model/prior_parts.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

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

double response_base(const struct model *m, const struct response *r)
{
	const struct sheet *ref = book_reference(m->book);
	const struct estimate e =
		ref ? model_response_value(m, r, ref->values) : (struct estimate){0};
	const double v = e.known ? e.value : r->fitted ? r->mean : 0;
	return v > 0 && isfinite(v) ? v : 0;
}

double prior_base(const struct model *m, size_t slot)
{
	return response_base(m, &m->responses[base_response(slot)]);
}

bool prior_old_slot(const struct book *here, const struct model *old, size_t slot, size_t *out)
{
	*out = slot;
	if (slot == RESPONSE_TIME)
		return true;
	const size_t c = slot < RESPONSES_MAX ? slot - 1 : (slot - RESPONSES_MAX) % CHANNELS_MAX;
	if (c >= here->n_channels || old->book->n_channels != here->n_channels)
		return false;
	const int k = book_find_channel(old->book, here->channels[c]);
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

bool response_has_term(const struct response *r, enum term_kind kind, int a)
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
	if (square >= 0 && !response_has_term(r, TERM_SQUARE, k->a))
		row[square] = r->lo[k->a] + r->hi[k->a];
	if (m->coords[k->a].kind == COORD_SINGLE)
		return true;
	const bool common = m->coords[k->a].kind == COORD_COMMON;
	const int twin = common ? k->a + 1 : k->a - 1, first = common ? k->a : twin;
	const int product = prior_term(p, TERM_PRODUCT, first, first + 1);
	if (product >= 0 && !response_has_term(r, TERM_PRODUCT, first))
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
	gsl_matrix *a = gsl_matrix_calloc(tall, n ? n : 1),
		   *v = gsl_matrix_alloc(n ? n : 1, n ? n : 1);
	gsl_vector *s = gsl_vector_alloc(n ? n : 1);
	*found = 0;
	*out = malloc((n * n + 1) * sizeof **out);
	bool ok = a && v && s && *out;
	for (size_t i = 0; ok && i < rows; i++)
		for (size_t j = 0; j < n; j++)
			gsl_matrix_set(a, i, j, k[i * n + j]);
	ok = ok && (n == 0 || gsl_linalg_SV_decomp_jacobi(a, v, s) == GSL_SUCCESS);
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

bool borrow_leaves_out(const struct model *m, const struct borrow *from, const struct term *t)
{
	const struct car *car = &m->book->car;
	const struct group *g = &m->groups[m->coords[t->a].group];
	for (size_t i = 0; i < from->n_without; i++) {
		const int a = car_find_adjustable(car, from->without[i]);
		if (!strcmp(from->without[i], car_group_id(car, g)) ||
			(a >= 0 && car->adjustables[a].pair >= 0 &&
				car->adjustables[a].pair == g->pair))
			return true;
	}
	return false;
}

void told_free(struct told *t)
{
	free(t->row);
	free(t->value);
	free(t->cov);
	memset(t, 0, sizeof *t);
}

/* Values, rows over the prior's terms and covariance of the contrasts `rows` over e's terms. */
static void fill(struct told *t, const struct prior *p, const double *rows, const double *map)
{
	const size_t q = t->e->n_terms;
	for (size_t i = 0; i < t->n; i++)
		for (size_t k = 0; k < q; k++) {
			const double l = rows[i * q + k];
			if (l == 0)
				continue;
			t->value[i] += l * t->e->b[k] / t->unit;
			for (size_t j = 0; j < p->n; j++)
				t->row[i * p->n + j] += l * map[k * p->n + j];
			for (size_t j = 0; j < t->n; j++)
				for (size_t v = 0; v < q; v++)
					t->cov[i * t->n + j] += l * t->e->cov[k * q + v] *
								rows[j * q + v] /
								(t->unit * t->unit);
		}
}

/* The contrasts that the effects of t->e can tell. */
static bool contrasts(const struct model *m, const struct prior *p, struct told *t)
{
	const size_t q = t->e->n_terms;
	bool *use = calloc(q + 1, sizeof *use);
	double *rows = NULL, *map = calloc(q * p->n + 1, sizeof *map);
	size_t n = 0;
	bool ok = use && map;
	for (size_t k = 0; ok && k < q; k++)
		use[k] = term_is_setup(t->e->terms[k].kind) &&
			 !borrow_leaves_out(m, t->from, &t->e->terms[k]) &&
			 prior_map(m, p, t->e, k, map + k * p->n);
	ok = ok && told_contrasts(t->e, use, &rows, &n);
	t->row = calloc(n * p->n + 1, sizeof *t->row);
	t->value = calloc(n + 1, sizeof *t->value);
	t->cov = calloc(n * n + 1, sizeof *t->cov);
	ok = ok && t->row && t->value && t->cov;
	if (ok) {
		t->n = n;
		fill(t, p, rows, map);
	}
	free(use);
	free(map);
	free(rows);
	return ok;
}

bool told_make(const struct model *m, const struct prior *p, const struct lender *s, size_t slot,
	struct told *out)
{
	size_t theirs;
	memset(out, 0, sizeof *out);
	if (!prior_old_slot(m->book, s->m, slot, &theirs))
		return true;
	const struct lesson *l = &s->lesson[slot];
	const struct response *r = borrow_response(s->m, theirs);
	const double base = prior_base(s->m, theirs);
	const bool classes = l->how == LESSON_CLASSES;
	if (!classes && l->how != LESSON_LAPS)
		return true;
	*out = (struct told){.r = r,
		.e = classes ? &s->fit[slot] : r,
		.base = base,
		.unit = classes ? 1 : base,
		.trust = s->from->trust,
		.lesson = l,
		.from = s->from};
	return contrasts(m, p, out);
}
