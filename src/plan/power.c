#include "plan/power.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>
#include <stdbool.h>

/* Which Poisson-like weights: exp(-h) h^j / Gamma(j + 1 + shift). */
struct series {
	double h;     /* half the noncentrality of F; ncp^2 / 2 of t */
	double shift; /* 0, or 1/2 for the odd part of the one-sided t */
	double a, b;  /* the beta tail is that of (j + a, b) */
	double x;     /* at x */
};

static double series_term(const struct series *s, double j)
{
	double log_weight = -gsl_sf_lngamma(j + 1 + s->shift) - s->h;
	if (s->h > 0)
		log_weight += (j + s->shift) * log(s->h);
	else if (j + s->shift > 0)
		return 0;
	return exp(log_weight) * gsl_cdf_beta_Q(s->x, j + s->a, s->b);
}

/* Sums outwards over the window that holds all but 1e-16 of the weights. */
static double series_sum(const struct series *s)
{
	double spread = 10 * sqrt(s->h) + 50;
	double first = floor(fmax(0, s->h - spread)), last = ceil(s->h + spread);
	double sum = 0;
	const long terms = lround(last - first);
	for (long j = 0; j <= terms; j++)
		sum += series_term(s, first + (double)j);
	return sum;
}

/* Noncentralities beyond this are certain to be found; keeps the sums short. */
static const double ncp_max = 1e3;

static bool bad_level(double alpha)
{
	return !(alpha > 0 && alpha < 1);
}

double power_f(double df1, double df2, double lambda, double alpha)
{
	if (!(df1 > 0) || !(df2 > 0) || !(lambda >= 0) || bad_level(alpha))
		return NAN;
	if (lambda > ncp_max * ncp_max)
		return 1;
	double f = gsl_cdf_fdist_Qinv(alpha, df1, df2);
	struct series s = {lambda / 2, 0, df1 / 2, df2 / 2, df1 * f / (df1 * f + df2)};
	return fmin(1, series_sum(&s));
}

double power_t_two_sided(double df, double ncp, double alpha)
{
	if (!(df >= 1) || bad_level(alpha))
		return NAN;
	if (fabs(ncp) > ncp_max)
		return 1;
	double t = gsl_cdf_tdist_Qinv(alpha / 2, df);
	struct series s = {ncp * ncp / 2, 0, 0.5, df / 2, t * t / (t * t + df)};
	return fmin(1, series_sum(&s));
}

double power_t_one_sided(double df, double ncp, double alpha)
{
	if (!(df >= 1) || !(ncp >= 0) || !(alpha > 0 && alpha < 0.5))
		return NAN;
	if (ncp > ncp_max)
		return 1;
	double t = gsl_cdf_tdist_Qinv(alpha, df);
	double x = t * t / (t * t + df);
	struct series even = {ncp * ncp / 2, 0, 0.5, df / 2, x};
	struct series odd = {ncp * ncp / 2, 0.5, 1, df / 2, x};
	return fmin(1, (series_sum(&even) + series_sum(&odd)) / 2);
}

double power_detectable(double df, double alpha, double power)
{
	if (!(df >= 1) || bad_level(alpha) || !(power > alpha && power < 1))
		return NAN;
	double low = 0, high = 4;
	while (power_t_two_sided(df, high, alpha) < power) {
		low = high;
		high *= 2;
	}
	/* Power grows with the noncentrality: halving keeps the bracket, and stops by itself. */
	while (high - low > 1e-12 * high) {
		double middle = (low + high) / 2;
		if (power_t_two_sided(df, middle, alpha) < power)
			low = middle;
		else
			high = middle;
	}
	return (low + high) / 2;
}
