/*
 * What the files of the mixed model share and nobody else needs: reml_reduce.c makes
 * triangles of the rows, reml_rank.c tells what the columns can tell, reml_search.c looks
 * for lambda, reml.c does all that in order and fills the answer.
 *
 * Functions that return bool return false when memory is short; what was made by then is
 * freed by the caller.
 */
#ifndef MODEL_REML_PARTS_H
#define MODEL_REML_PARTS_H

#include "model/qr.h"
#include "model/reml.h"

/* A residual sum of squares below this part of y's is rounding. */
#define REML_EXACT 1e-26

/*
 * With W the sum of a group's weights, the inverse covariance of its rows splits: the
 * weighted deviations from the group's mean keep their weights, and the mean itself
 * counts W / (1 + lambda W). Only columns that vary inside groups have deviations, and
 * means of groups with the same W share one triangle. Columns are ordered: first those
 * that do not vary inside a group, then those that do, then y.
 */
struct wclass {
	double W;
	size_t count;
	struct tri tri;
};

struct reduced {
	size_t n, p, q;    /* rows, columns kept, of which vary inside groups */
	int *from;         /* [p]: original column of each ordered one */
	int *within_map;   /* [q + 1]: place of the deviations' columns */
	struct tri within; /* q + 1 columns */
	size_t n_classes;
	struct wclass *classes;
	struct tri work;   /* p + 1 columns, rebuilt by each evaluation */
	double *inv, *b;   /* [p * p], [p] */
	double log_w, yy;  /* sum of log weights; weighted sum of y^2 */
	bool exact_within; /* rows of a group leave no residual: sigma is 0 */
};

/* What is known of the rows before any column is left out. */
struct prepared {
	const struct reml_data *d; /* not owned; all else is */
	double *W;                 /* [groups] */
	double *mean;              /* [groups * (p + 1)], original column order, y last */
	bool *within;              /* [p] */
	size_t *order;             /* groups by W */
};

/* The criterion at one lambda. */
struct point {
	double lambda, criterion, score, rss, log_det_v, log_det_a;
};

bool reml_prepare(struct prepared *u, const struct reml_data *d);
void reml_prepared_free(struct prepared *u);
/* Columns marked in `dropped` are left out; it may be NULL. */
bool reml_reduce(struct reduced *r, const struct prepared *u, const bool *dropped);
void reml_reduced_free(struct reduced *r);
/* The triangle of all rows at this lambda; lambda < 0: of the group means alone. */
void reml_stack(struct reduced *r, double lambda);

/*
 * Ranks in the ordered columns, brought back to the original order. Shared columns never vary
 * inside a group, so that they stand first.
 */
bool reml_find_ranks(struct reduced *r, size_t shared, struct reml_fit *out);
/*
 * Do the columns fit every group's mean? What they tell beyond the deviations inside groups
 * is the rank of all less the rank of the deviations: combinations of columns that vary
 * inside may well not vary themselves.
 */
bool reml_find_saturated(const struct reduced *r, struct reml_fit *out, size_t groups);

/*
 * Minus twice the restricted log-likelihood, profiled over b and sigma, and its slope in
 * lambda (Pinheiro & Bates 2000, 2.2.5; the slope by the envelope theorem):
 *   (n - p) log rss + log|V| + log|X' V^-1 X|
 */
struct point reml_evaluate(struct reduced *r, double lambda);
/*
 * Lambda at the smallest criterion: the boundary 0, every inner minimum that the
 * grid brackets, and the far end where the rows of a group hardly differ. *flat: the
 * criterion does not care, as with a single contrast left over. Negative: out of memory.
 */
double reml_find_lambda(struct reduced *r, bool *flat);

#endif
