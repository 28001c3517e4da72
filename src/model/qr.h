/*
 * Orthogonal reduction of rows to an upper triangle, a block of rows at a time,
 * and what is read off triangles: solutions, rank and null space. Householder
 * reflections as in Golub & Van Loan (2013), Matrix Computations, 5.1 and 5.2.
 */
#ifndef MODEL_QR_H
#define MODEL_QR_H

#include <stdbool.h>
#include <stddef.h>

enum { TRI_BLOCK = 64 }; /* rows gathered before a reduction */

/* The triangle T of a QR of all rows pushed so far: T'T = sum of row' row. */
struct tri {
	size_t m;     /* columns */
	double *t;    /* owned [m * m], row-major, upper */
	double *rows; /* owned [TRI_BLOCK * m], column-major */
	size_t n;     /* rows waiting */
	bool empty;   /* nothing was ever pushed */
	bool stairs;  /* the waiting rows are a triangle: column c ends at row c */
};

/* False when out of memory; the triangle is zero. */
bool tri_init(struct tri *q, size_t m);
void tri_free(struct tri *q);
/* Back to no rows at all. */
void tri_clear(struct tri *q);
/* Add one row of m numbers. */
void tri_push(struct tri *q, const double *row);
/* Add all rows of a finished triangle times `scale`, its column c as column map[c]
 * (map NULL: as they are; a negative entry leaves that column out). */
void tri_push_tri(struct tri *q, const struct tri *from, double scale, const int *map);
/* Reduce what waits: t is then current. */
void tri_finish(struct tri *q);

/* Solve the leading p x p part of t (row length m) for x: t x = rhs; rhs[i * stride]. */
void tri_solve(const double *t, size_t m, size_t p, const double *rhs, size_t stride, double *x);
/* Inverse of the leading p x p part into inv [p * p], row-major, upper. */
void tri_invert(const double *t, size_t m, size_t p, double *inv);

/*
 * Rank of the n x p matrix a (row-major, row length lda) by column-pivoted QR on
 * columns scaled to unit length: diagonal elements above tol times the first one.
 * dropped[p]: columns that the pivoting left out. scale[p]: column norms, 1 for a
 * zero column. *null_basis, owned by the caller, [*n_null * p]: orthonormal basis of
 * the null space of the scaled columns; NULL at full rank. False: out of memory.
 */
bool rank_test(const double *a, size_t n, size_t p, size_t lda, double tol, size_t *rank,
	bool *dropped, double *scale, size_t *n_null, double **null_basis);

/* Is l in the row space: the null space of the scaled columns meets l / scale nowhere,
 * to within tol of its length? */
bool row_space_has(const double *l, size_t p, const double *scale, const double *null_basis,
	size_t n_null, double tol);

#endif
