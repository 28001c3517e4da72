/*
 * Linear model with one random intercept per group by REML, and ordinary least
 * squares where every group has one row. Knows nothing of cars.
 *
 *   y_ij = x_ij' b + u_i + e_ij / sqrt(w_ij),  u_i ~ N(0, sigma_group^2),  e_ij ~ N(0, sigma^2)
 *
 * One pass over the rows reduces them to triangles (QR of the deviations from the
 * weighted group means, and one more for each distinct group weight), after which a
 * likelihood evaluation costs the same however many rows there were.
 */
#ifndef MODEL_REML_H
#define MODEL_REML_H

#include "base/err.h"

struct reml_data {
	size_t n, p, groups;
	/* Columns that are the same for all rows of a group may be given once a group: the
	 * first `shared` columns in xg [groups * shared], the others in x [n * (p - shared)],
	 * row-major. shared = 0: all in x. */
	size_t shared;
	const double *xg;
	const double *x;
	const double *y;  /* [n] */
	const double *w;  /* [n]: laps behind the row; NULL: all 1 */
	const int *group; /* [n]: 0..groups-1, each with a row; rows need not be together */
};

struct reml_fit {
	size_t p, rank;
	bool one_row_a_group;
	/* NaN: sigma when one_row_a_group or sigma_unsure; sigma_group when flat. */
	double lambda, sigma_group, sigma;
	bool saturated;    /* the columns use up all that differs between groups */
	bool flat;         /* the likelihood does not depend on lambda, which is then 0 */
	bool sigma_unsure; /* flat, and sigma is another at another lambda */
	double rss;        /* weighted residual sum of squares at the optimum */
	double *b, *cov;   /* owned; [p], [p * p], 0 where dropped */
	bool *dropped;     /* owned [p]: left out by the pivoted rank test */
	double *scale;     /* owned [p]: column norms (1 for a zero column) */
	size_t n_null;
	double *null_basis;  /* owned [n_null * p], orthonormal, in scaled columns */
	bool *within;        /* owned [p]: varies inside a group */
	bool *unsure;        /* owned [p]: flat, and its variance is another elsewhere */
	size_t rank_shared;  /* rank of the shared columns over the groups */
	size_t rank_between; /* rank of the columns that do not vary inside a group */
	size_t rank_inside;  /* rank of what varies inside groups, group means taken off */
	bool has_log_reml;   /* full rank only; formula as nlme's */
	double log_reml;
	double *blup; /* owned [groups]: predicted group effects; 0 for OLS */
};

/* Tolerance of the rank test on columns scaled to unit length. */
#define REML_RANK_TOL 1e-9

bool reml_fit(const struct reml_data *d, struct reml_fit *out, struct err *err);
void reml_free(struct reml_fit *f);

#endif
