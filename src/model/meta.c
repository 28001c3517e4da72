#include "model/meta.h"

#include <math.h>

static double weighted_mean(const double *y, const double *v, size_t k, double tau2, double *sum)
{
	double s = 0;
	*sum = 0;
	for (size_t i = 0; i < k; i++) {
		*sum += 1 / (v[i] + tau2);
		s += y[i] / (v[i] + tau2);
	}
	return k ? s / *sum : 0;
}

struct meta meta_analyse(const double *y, const double *v, size_t k)
{
	struct meta m = {.k = k};
	double sum, squares = 0;
	if (k == 0)
		return m;
	m.fixed = weighted_mean(y, v, k, 0, &sum);
	for (size_t i = 0; i < k; i++) {
		m.q += (y[i] - m.fixed) * (y[i] - m.fixed) / v[i];
		squares += 1 / (v[i] * v[i]);
	}
	m.c = sum - squares / sum;
	if (k > 1 && m.c > 0)
		m.tau2 = fmax(0, (m.q - (double)(k - 1)) / m.c);
	m.mean = weighted_mean(y, v, k, m.tau2, &sum);
	m.se = sqrt(1 / sum);
	return m;
}
