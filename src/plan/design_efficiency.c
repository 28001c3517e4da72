/* D-efficiency of a design's main effects with the intercept. */
#include "plan/design.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>

/* Column 0 is the intercept. */
static long gram_with_ones(const struct design *d, size_t runs, size_t a, size_t b)
{
	long sum = 0;
	for (size_t r = 0; r < runs; r++) {
		int left = a ? design_at(d, r, a - 1) : 1;
		int right = b ? design_at(d, r, b - 1) : 1;
		sum += left * right;
	}
	return sum;
}

/* log det of the positive definite [p * p] matrix a, which is overwritten; -INFINITY if it
 * is not of full rank. */
static double log_det(double *a, size_t p)
{
	gsl_matrix_view view = gsl_matrix_view_array(a, p, p);
	if (gsl_linalg_cholesky_decomp1(&view.matrix) != GSL_SUCCESS)
		return -INFINITY;
	double sum = 0;
	for (size_t i = 0; i < p; i++) {
		double pivot = a[i * p + i];
		if (!(pivot > 1e-9))
			return -INFINITY;
		sum += 2 * log(pivot);
	}
	return sum;
}

double design_d_efficiency(const struct design *d, size_t runs)
{
	size_t p = d->factors + 1;
	double *gram = malloc(p * p * sizeof *gram);
	if (!gram)
		return -1;
	for (size_t a = 0; a < p; a++)
		for (size_t b = 0; b < p; b++)
			gram[a * p + b] = (double)gram_with_ones(d, runs, a, b);
	double det = log_det(gram, p);
	free(gram);
	return isinf(det) ? 0 : 100 * exp(det / (double)p) / (double)runs;
}
