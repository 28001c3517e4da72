/* What several books tell, joined into one prior on the relative scale; doc/borrow.md. */
#include "model/prior_parts.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

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

/* What a book tells of row i and another of row k, by variances of the prior's terms. */
static double over_terms(
	const struct told *a, size_t i, const struct told *b, size_t k, const double *sd, size_t n)
{
	double s = 0;
	for (size_t j = 0; j < n; j++)
		s += a->row[i * n + j] * sd[j] * sd[j] * b->row[k * n + j];
	return s;
}

/* Scatter that stands for classes which neither of two books tells of: one and the same unknown of
 * this circuit for both, its size alike. */
static double scatter_unseen(
	const struct prior *p, const struct told *a, size_t i, const struct told *b, size_t k)
{
	double both = 0;
	for (int c = 0; c < SEG_CLASSES; c++)
		both += a->lesson->untold[c] * b->lesson->untold[c];
	return both > 0 ? both * pow(SPREAD_UNSEEN / p->seen, 2) *
				  over_terms(a, i, b, k, p->size, p->n)
			: 0;
}

/* Scatter of row i of one book and row k of another; trust divides a book's own. */
static double scatter(
	const struct prior *p, const struct told *a, size_t i, const struct told *b, size_t k)
{
	const double unseen = scatter_unseen(p, a, i, b, k);
	if (a != b)
		return unseen;
	return (a->cov[i * a->n + k] + over_terms(a, i, a, k, p->tau, p->n) + unseen) / a->trust;
}

/* Row i of books, one below the other, of their scatter. */
static void scatter_row(const struct prior *p, const struct told *t, size_t books,
	const struct told *a, size_t i, double *row)
{
	for (size_t b = 0; b < books; row += t[b++].n)
		for (size_t k = 0; k < t[b].n; k++)
			row[k] = scatter(p, a, i, &t[b], k);
}

/* Rows [row | value] of books, one below the other, whitened by their scatter; *told is false
 * where that is nil. False: out of memory. */
static bool whiten(
	const struct prior *p, const struct told *t, size_t books, double *out, bool *told)
{
	size_t n = 0, at = 0;
	const size_t w = p->n + 1;
	for (size_t b = 0; b < books; b++)
		n += t[b].n;
	double *v = malloc((n * n + 1) * sizeof *v);
	if (!v)
		return false;
	for (size_t b = 0; b < books; b++)
		for (size_t i = 0; i < t[b].n; i++, at++) {
			scatter_row(p, t, books, &t[b], i, v + at * n);
			memcpy(out + at * w, t[b].row + i * p->n, p->n * sizeof *out);
			out[at * w + p->n] = t[b].value[i];
		}
	*told = cholesky(v, n);
	if (*told)
		forward(v, n, out, w);
	free(v);
	return true;
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
	gsl_vector *s = gsl_vector_alloc(n);
	bool ok = a && v && s;
	for (size_t i = 0; ok && i < n_rows; i++)
		for (size_t j = 0; j < n; j++)
			gsl_matrix_set(a, i, j, rows[i * w + j]);
	ok = ok && gsl_linalg_SV_decomp_jacobi(a, v, s) == GSL_SUCCESS;
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
	return ok;
}

/* The least share of a lap here that a book tells of. */
static double least_seen(const struct told *t, size_t books)
{
	double seen = 1;
	for (size_t i = 0; i < books; i++)
		if (t[i].n)
			seen = fmin(seen, t[i].lesson->seen);
	return seen;
}

/* Whitened rows of all books; those whose scatter is nil are left out. Books that lack a class have
 * that in common and come together, others each by itself. */
static bool whiten_all(const struct prior *p, const struct told *told, size_t books, double *rows,
	size_t *n, double *trust)
{
	bool together = false, good = true, ok = true;
	double count = 0;
	*n = 0;
	*trust = 0;
	if (p->seen < 1)
		ok = whiten(p, told, books, rows, &together);
	for (size_t i = 0; ok && i < books; i++) {
		if (told[i].n && !together)
			ok = whiten(p, &told[i], 1, rows + *n * (p->n + 1), &good);
		if (!told[i].n || !good)
			continue;
		*n += told[i].n;
		*trust += told[i].trust;
		count++;
	}
	*trust /= fmax(count, 1);
	return ok;
}

bool prior_join(struct prior *p, const struct told *told, size_t books)
{
	size_t total = 0, n;
	double trust;
	for (size_t i = 0; i < books; i++)
		total += told[i].n;
	double *rows = malloc((total * (p->n + 1) + 1) * sizeof *rows);
	if (!rows)
		return false;
	p->seen = least_seen(told, books);
	const bool ok = whiten_all(p, told, books, rows, &n, &trust) &&
			(n == 0 || settle(p, rows, n, trust));
	free(rows);
	return ok;
}
