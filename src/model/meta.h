/*
 * Random-effects meta-analysis on plain arrays: one effect told by several studies, by the
 * moment estimator of DerSimonian & Laird (1986), Controlled Clinical Trials 7, 177-188.
 */
#ifndef MODEL_META_H
#define MODEL_META_H

#include <stddef.h>

struct meta {
	size_t k;
	double fixed;    /* mean with weights 1 / v */
	double q;        /* sum of w (y - fixed)^2, k - 1 degrees of freedom */
	double c;        /* sum w - sum w^2 / sum w: E(q) = k - 1 + tau2 c */
	double tau2;     /* max(0, (q - (k - 1)) / c); 0 with less than two */
	double mean, se; /* with weights 1 / (v + tau2) */
};

/* y and v (above 0) of k studies. */
struct meta meta_analyse(const double *y, const double *v, size_t k);

#endif
