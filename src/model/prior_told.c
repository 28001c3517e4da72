#include "model/prior_parts.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

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

double prior_base(const struct model *m, size_t slot)
{
	const size_t k = base_response(slot);
	const struct response *r = &m->responses[k];
	const struct sheet *ref = book_reference(m->book);
	const struct estimate e =
		ref && r->fitted ? model_value(m, k, ref->values) : (struct estimate){0};
	const double v = e.known ? e.value : r->fitted ? r->mean : 0;
	return v > 0 && isfinite(v) ? v : 0;
}

bool prior_old_slot(const struct model *m, const struct model *old, size_t slot, size_t *out)
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

bool told_make(const struct model *m, const struct prior *p, const struct source *s, size_t slot,
	struct told *out)
{
	size_t theirs, n = 0;
	memset(out, 0, sizeof *out);
	if (!prior_old_slot(m, s->m, slot, &theirs))
		return true;
	const struct response *r = borrow_response(s->m, theirs);
	const double base = prior_base(s->m, theirs);
	if (!r || !r->fitted || !(r->df_run >= 1) || !(base > 0))
		return true;
	const size_t q = r->n_terms;
	bool *use = calloc(q + 1, sizeof *use);
	double *rows = NULL, *map = calloc(q * p->n + 1, sizeof *map);
	bool ok = use && map;
	for (size_t t = 0; ok && t < q; t++)
		use[t] = is_setup(r->terms[t].kind) &&
			 !borrow_leaves_out(m, s->from, &r->terms[t]) &&
			 prior_map(m, p, r, t, map + t * p->n);
	ok = ok && told_contrasts(r, use, &rows, &n);
	*out = (struct told){.n = ok ? n : 0,
		.r = r,
		.base = base,
		.trust = s->from->trust,
		.from = s->from,
		.row = calloc(n * p->n + 1, sizeof(double)),
		.value = calloc(n + 1, sizeof(double)),
		.cov = calloc(n * n + 1, sizeof(double))};
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
					out->cov[i * n + k] += l[t] * r->cov[t * q + v] *
							       rows[k * q + v] / (base * base);
		}
	}
	free(use);
	free(map);
	free(rows);
	return ok;
}
