#include "model/reml_parts.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_roots.h>
#include <math.h>

/* Largest lambda looked at, times the mean group weight. */
#define FAR_END 1e10

/* Sums of squares of the class's residual means, and of its rows times the inverse. */
static void class_sums(const struct reduced *r, const struct tri *t, double *res, double *trace)
{
	const size_t p = r->p, m = p + 1;
	*res = *trace = 0;
	for (size_t i = 0; i < m; i++) {
		double s = -t->t[i * m + p];
		for (size_t j = i; j < p; j++)
			s += t->t[i * m + j] * r->b[j];
		*res += s * s;
	}
	for (size_t i = 0; i < p; i++)
		for (size_t j = i; j < p; j++) {
			double s = 0;
			for (size_t k = i; k <= j; k++)
				s += t->t[i * m + k] * r->inv[k * p + j];
			*trace += s * s;
		}
}

struct point reml_evaluate(struct reduced *r, double lambda)
{
	struct point at = {.lambda = lambda};
	const size_t p = r->p, m = p + 1;
	const double dof = (double)r->n - (double)p;
	reml_stack(r, lambda);
	const double *t = r->work.t;
	tri_solve(t, m, p, t + p, m, r->b);
	tri_invert(t, m, p, r->inv);
	at.rss = fmax(t[p * m + p] * t[p * m + p], 1e-300);
	for (size_t j = 0; j < p; j++)
		at.log_det_a += 2 * log(fabs(t[j * m + j]));
	double slope_rss = 0;
	for (size_t k = 0; k < r->n_classes; k++) {
		const double W = r->classes[k].W, c = W / (1 + lambda * W);
		double res, trace;
		class_sums(r, &r->classes[k].tri, &res, &trace);
		at.log_det_v += (double)r->classes[k].count * log1p(lambda * W);
		slope_rss -= c * c * res;
		at.score += (double)r->classes[k].count * c - c * c * trace;
	}
	at.score += dof * slope_rss / at.rss;
	at.criterion = dof * log(at.rss) + at.log_det_v + at.log_det_a;
	return at;
}

/* Lambdas to look at, times the mean group weight: close together where both the rows and
 * the means of a group count. */
static const double grid[] = {
	1e-6, 1e-4, 1e-3, 1e-2, 1e-1, 1, 1e1, 1e2, 1e3, 1e4, 1e6, 1e8, FAR_END};

struct search {
	struct reduced *r;
	bool logarithmic;
};

static double score_at(double u, void *params)
{
	const struct search *s = params;
	const double lambda = s->logarithmic ? exp(u) : u;
	const double score = reml_evaluate(s->r, lambda).score;
	return s->logarithmic ? lambda * score : score;
}

/* The root of the score between two lambdas where it changes from - to +. */
static double polish(struct reduced *r, double lo, double hi)
{
	struct search s = {r, lo > 0};
	gsl_function f = {score_at, &s};
	double a = s.logarithmic ? log(lo) : lo, b = s.logarithmic ? log(hi) : hi,
	       x = 0.5 * (a + b);
	gsl_root_fsolver *solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
	if (!solver)
		return -1;
	if (gsl_root_fsolver_set(solver, &f, a, b) == GSL_SUCCESS)
		for (int i = 0; i < 80; i++) {
			if (gsl_root_fsolver_iterate(solver) != GSL_SUCCESS)
				break;
			x = gsl_root_fsolver_root(solver);
			a = gsl_root_fsolver_x_lower(solver);
			b = gsl_root_fsolver_x_upper(solver);
			if (b - a <= 1e-14 * (1 + fabs(x)))
				break;
		}
	gsl_root_fsolver_free(solver);
	return s.logarithmic ? exp(x) : x;
}

double reml_find_lambda(struct reduced *r, bool *flat)
{
	double mean_w = 0, count = 0;
	for (size_t k = 0; k < r->n_classes; k++) {
		mean_w += r->classes[k].W * (double)r->classes[k].count;
		count += (double)r->classes[k].count;
	}
	mean_w /= count;
	struct point last = reml_evaluate(r, 0), best = last;
	double least = last.criterion, most = last.criterion;
	if (last.rss <= REML_EXACT * r->yy)
		return 0; /* an exact fit: what is left is rounding */
	if (r->exact_within)
		return FAR_END / mean_w;
	for (size_t i = 0; i < sizeof grid / sizeof *grid; i++) {
		const struct point at = reml_evaluate(r, grid[i] / mean_w);
		least = fmin(least, at.criterion);
		most = fmax(most, at.criterion);
		if (last.score < 0 && at.score >= 0) {
			const double root = polish(r, last.lambda, at.lambda);
			if (root < 0)
				return -1;
			const struct point found = reml_evaluate(r, root);
			if (found.criterion < best.criterion)
				best = found;
		}
		last = at;
	}
	if (last.score < 0 && last.criterion < best.criterion)
		best = last;
	*flat = most - least < 1e-8;
	return *flat ? 0 : best.lambda;
}
