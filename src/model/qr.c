#include "model/qr.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

bool tri_init(struct tri *q, size_t m)
{
	q->m = m;
	q->n = 0;
	q->empty = true;
	q->stairs = false;
	q->t = calloc(m * m, sizeof *q->t);
	q->rows = malloc(TRI_BLOCK * m * sizeof *q->rows);
	if (q->t && q->rows)
		return true;
	tri_free(q);
	return false;
}

void tri_free(struct tri *q)
{
	free(q->t);
	free(q->rows);
	memset(q, 0, sizeof *q);
}

void tri_clear(struct tri *q)
{
	memset(q->t, 0, q->m * q->m * sizeof *q->t);
	q->n = 0;
	q->empty = true;
	q->stairs = false;
}

/* Four doubles side by side: gcc and clang turn these into what the machine has. */
typedef double four __attribute__((vector_size(32), aligned(8), may_alias));

/*
 * The inner loops once more for AVX2, chosen when the program starts. Lanes and their order
 * are the same and nothing is fused, so that the figures are the same to the last bit.
 */
#if defined __x86_64__ && defined __gnu_linux__ && defined __GLIBC__ && defined __has_attribute && \
	!defined __SANITIZE_ADDRESS__ && !defined __SANITIZE_THREAD__ && !defined __clang__
#if __has_attribute(target_clones)
#define CLONES __attribute__((target_clones("avx2", "default")))
#endif
#endif
#ifndef CLONES
#define CLONES
#endif

static inline __attribute__((always_inline)) double dot(const double *a, const double *b, size_t n)
{
	four s0 = {0}, s1 = {0};
	double s = 0;
	size_t i = 0;
	for (; i + 8 <= n; i += 8) {
		s0 += *(const four *)(a + i) * *(const four *)(b + i);
		s1 += *(const four *)(a + i + 4) * *(const four *)(b + i + 4);
	}
	for (; i < n; i++)
		s += a[i] * b[i];
	s0 += s1;
	return s + ((s0[0] + s0[1]) + (s0[2] + s0[3]));
}

/* c -= f v */
static inline __attribute__((always_inline)) void subtract(
	double *c, double f, const double *v, size_t n)
{
	size_t i = 0;
	for (; i + 4 <= n; i += 4)
		*(four *)(c + i) -= f * *(const four *)(v + i);
	for (; i < n; i++)
		c[i] -= f * v[i];
}

/* The reflection that clears column k of the waiting rows against t[k][k]. */
CLONES static void reflect(struct tri *q, size_t k)
{
	const size_t m = q->m, n = q->stairs && k + 1 < q->n ? k + 1 : q->n;
	double *v = q->rows + k * TRI_BLOCK, *top = q->t + k * m;
	const double below = dot(v, v, n);
	if (!(below > 0))
		return;
	const double norm = sqrt(top[k] * top[k] + below);
	const double alpha = top[k] > 0 ? -norm : norm;
	const double v0 = top[k] - alpha;
	const double beta = 2 / (v0 * v0 + below);
	top[k] = alpha;
	for (size_t j = k + 1; j < m; j++) {
		double *c = q->rows + j * TRI_BLOCK;
		const double f = beta * (v0 * top[j] + dot(v, c, n));
		top[j] -= f * v0;
		subtract(c, f, v, n);
	}
}

void tri_finish(struct tri *q)
{
	if (q->n == 0)
		return;
	for (size_t k = 0; k < q->m; k++)
		reflect(q, k);
	q->n = 0;
	q->stairs = false;
}

void tri_push(struct tri *q, const double *row)
{
	for (size_t c = 0; c < q->m; c++)
		q->rows[c * TRI_BLOCK + q->n] = row[c];
	q->empty = false;
	if (++q->n == TRI_BLOCK)
		tri_finish(q);
}

void tri_push_tri(struct tri *q, const struct tri *from, double scale, const int *map)
{
	if (q->empty && !map && from->m == q->m) {
		for (size_t i = 0; i < q->m * q->m; i++)
			q->t[i] = scale * from->t[i];
		q->empty = false;
		return;
	}
	const bool stairs = !map && from->m <= TRI_BLOCK;
	if (stairs)
		tri_finish(q);
	q->empty = false;
	for (size_t r = 0; r < from->m; r++) {
		for (size_t c = 0; c < q->m; c++)
			q->rows[c * TRI_BLOCK + q->n] = 0;
		for (size_t c = r; c < from->m; c++) {
			const int to = map ? map[c] : (int)c;
			if (to >= 0)
				q->rows[(size_t)to * TRI_BLOCK + q->n] =
					scale * from->t[r * from->m + c];
		}
		q->stairs = stairs;
		if (++q->n == TRI_BLOCK)
			tri_finish(q);
	}
	if (stairs)
		tri_finish(q);
}

void tri_solve(const double *t, size_t m, size_t p, const double *rhs, size_t stride, double *x)
{
	for (size_t i = p; i-- > 0;) {
		double s = rhs[i * stride];
		for (size_t j = i + 1; j < p; j++)
			s -= t[i * m + j] * x[j];
		x[i] = s / t[i * m + i];
	}
}

/* Row i of the inverse follows from the rows below it. */
void tri_invert(const double *t, size_t m, size_t p, double *inv)
{
	memset(inv, 0, p * p * sizeof *inv);
	for (size_t i = p; i-- > 0;) {
		double *row = inv + i * p;
		const double d = 1 / t[i * m + i];
		for (size_t k = i + 1; k < p; k++) {
			const double f = -t[i * m + k] * d;
			const double *below = inv + k * p;
			for (size_t j = k; j < p; j++)
				row[j] += f * below[j];
		}
		row[i] = d;
	}
}

static void scale_columns(
	const double *a, size_t n, size_t p, size_t lda, double *scale, gsl_matrix *out)
{
	for (size_t j = 0; j < p; j++) {
		double big = 0, s = 0;
		for (size_t i = 0; i < n; i++)
			big = fmax(big, fabs(a[i * lda + j]));
		for (size_t i = 0; big > 0 && i < n; i++)
			s += (a[i * lda + j] / big) * (a[i * lda + j] / big);
		scale[j] = big > 0 ? big * sqrt(s) : 1;
		for (size_t i = 0; i < n; i++)
			gsl_matrix_set(out, i, j, a[i * lda + j] / scale[j]);
	}
}

/* Orthonormal by Gram-Schmidt, done twice. */
static void orthonormalise(double *v, size_t n, size_t p)
{
	for (size_t i = 0; i < n; i++) {
		double *a = v + i * p;
		for (int pass = 0; pass < 2; pass++)
			for (size_t k = 0; k < i; k++) {
				const double f = dot(a, v + k * p, p);
				for (size_t j = 0; j < p; j++)
					a[j] -= f * v[k * p + j];
			}
		const double len = sqrt(dot(a, a, p));
		for (size_t j = 0; j < p; j++)
			a[j] /= len;
	}
}

/* For each dropped column, the combination of kept ones that it equals. */
static void null_space(
	const gsl_matrix *r, const gsl_permutation *perm, size_t p, size_t rank, double *basis)
{
	for (size_t k = 0; k < p - rank; k++) {
		double *v = basis + k * p;
		memset(v, 0, p * sizeof *v);
		v[gsl_permutation_get(perm, rank + k)] = 1;
		for (size_t i = rank; i-- > 0;) {
			double s = gsl_matrix_get(r, i, rank + k);
			for (size_t j = i + 1; j < rank; j++)
				s += gsl_matrix_get(r, i, j) * v[gsl_permutation_get(perm, j)];
			v[gsl_permutation_get(perm, i)] = -s / gsl_matrix_get(r, i, i);
		}
	}
	orthonormalise(basis, p - rank, p);
}

static size_t count_rank(const gsl_matrix *r, size_t n, size_t p, double tol)
{
	size_t rank = 0;
	const size_t most = n < p ? n : p;
	const double first = most ? fabs(gsl_matrix_get(r, 0, 0)) : 0;
	while (rank < most && first > 0 && fabs(gsl_matrix_get(r, rank, rank)) > tol * first)
		rank++;
	return rank;
}

static bool rank_few(const double *a, size_t n, size_t p, size_t lda, double tol, size_t *rank,
	bool *dropped, double *scale, size_t *n_null, double **null_basis)
{
	const size_t rows = n > p ? n : p; /* padded with zero rows: GSL then gives p diagonals */
	*null_basis = NULL;
	*n_null = 0;
	*rank = 0;
	if (p == 0)
		return true;
	gsl_matrix *r = gsl_matrix_calloc(rows, p);
	gsl_vector *tau = gsl_vector_alloc(p), *norm = gsl_vector_alloc(p);
	gsl_permutation *perm = gsl_permutation_alloc(p);
	bool ok = r && tau && norm && perm;
	int sign;
	if (ok) {
		scale_columns(a, n, p, lda, scale, r);
		ok = gsl_linalg_QRPT_decomp(r, tau, perm, &sign, norm) == GSL_SUCCESS;
	}
	if (ok) {
		*rank = count_rank(r, rows, p, tol);
		*n_null = p - *rank;
		for (size_t j = 0; j < p; j++)
			dropped[gsl_permutation_get(perm, j)] = j >= *rank;
		if (*n_null && !(*null_basis = malloc(*n_null * p * sizeof **null_basis)))
			ok = false;
		else if (*n_null)
			null_space(r, perm, p, *rank, *null_basis);
	}
	gsl_matrix_free(r);
	gsl_vector_free(tau);
	gsl_vector_free(norm);
	gsl_permutation_free(perm);
	return ok;
}

/* Many rows are first reduced to their triangle, which has the same columns to a rotation. */
bool rank_test(const double *a, size_t n, size_t p, size_t lda, double tol, size_t *rank,
	bool *dropped, double *scale, size_t *n_null, double **null_basis)
{
	struct tri q;
	if (n <= 2 * p || p == 0)
		return rank_few(a, n, p, lda, tol, rank, dropped, scale, n_null, null_basis);
	*null_basis = NULL;
	if (!tri_init(&q, p))
		return false;
	for (size_t i = 0; i < n; i++)
		tri_push(&q, a + i * lda);
	tri_finish(&q);
	const bool ok = rank_few(q.t, p, p, p, tol, rank, dropped, scale, n_null, null_basis);
	tri_free(&q);
	return ok;
}

bool row_space_has(const double *l, size_t p, const double *scale, const double *null_basis,
	size_t n_null, double tol)
{
	enum { AT_ONCE = 16 }; /* so that l is scaled once for all of them */
	double len = 0;
	for (size_t j = 0; n_null > 0 && j < p; j++)
		len += (l[j] / scale[j]) * (l[j] / scale[j]);
	const double limit = tol * sqrt(len);
	for (size_t k0 = 0; k0 < n_null; k0 += AT_ONCE) {
		const size_t n = n_null - k0 < AT_ONCE ? n_null - k0 : AT_ONCE;
		double s[AT_ONCE] = {0};
		for (size_t j = 0; j < p; j++) {
			const double scaled = l[j] / scale[j];
			for (size_t k = 0; scaled != 0 && k < n; k++)
				s[k] += null_basis[(k0 + k) * p + j] * scaled;
		}
		for (size_t k = 0; k < n; k++)
			if (fabs(s[k]) > limit)
				return false;
	}
	return true;
}
