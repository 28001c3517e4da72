#include "model/reml_parts.h"

#include <gsl/gsl_math.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool out_alloc(struct reml_fit *out, const struct reml_data *d)
{
	memset(out, 0, sizeof *out);
	out->p = d->p;
	out->b = calloc(d->p + 1, sizeof *out->b);
	out->cov = calloc(d->p * d->p + 1, sizeof *out->cov);
	out->dropped = calloc(d->p + 1, sizeof *out->dropped);
	out->scale = calloc(d->p + 1, sizeof *out->scale);
	out->within = calloc(d->p + 1, sizeof *out->within);
	out->unsure = calloc(d->p + 1, sizeof *out->unsure);
	out->blup = calloc(d->groups + 1, sizeof *out->blup);
	return out->b && out->cov && out->dropped && out->scale && out->within && out->unsure &&
	       out->blup;
}

static void fill_cov(const struct reduced *r, double s2, struct reml_fit *out)
{
	const size_t p = r->p;
	for (size_t i = 0; i < p; i++)
		for (size_t j = i; j < p; j++) {
			double s = 0;
			for (size_t k = j; k < p; k++)
				s += r->inv[i * p + k] * r->inv[j * p + k];
			const size_t a = (size_t)r->from[i], b = (size_t)r->from[j];
			out->cov[a * out->p + b] = out->cov[b * out->p + a] = s * s2;
		}
}

static void fill_blup(const struct reduced *r, const struct prepared *u, struct reml_fit *out)
{
	const size_t p1 = u->d->p + 1;
	for (size_t g = 0; g < u->d->groups; g++) {
		double res = u->mean[g * p1 + u->d->p];
		for (size_t j = 0; j < r->p; j++)
			res -= u->mean[g * p1 + (size_t)r->from[j]] * r->b[j];
		out->blup[g] = out->lambda * u->W[g] / (1 + out->lambda * u->W[g]) * res;
	}
}

static void fill(struct reduced *r, const struct prepared *u, struct reml_fit *out)
{
	const double dof = (double)r->n - (double)r->p;
	const struct point at = reml_evaluate(r, out->lambda);
	/* Without residuals inside groups the likelihood has no bound; the group means alone
	 * then tell sigma_group. */
	const double left = r->exact_within && out->lambda > 0
				    ? (double)u->d->groups - (double)out->rank_between
				    : dof;
	const double s2 = left > 0 ? at.rss / left : 0;
	out->rss = at.rss > 1e-300 ? at.rss : 0;
	out->sigma = out->one_row_a_group || out->sigma_unsure || !(dof > 0) ? NAN : sqrt(s2);
	if (out->flat)
		out->sigma_group = NAN;
	else
		out->sigma_group = out->one_row_a_group ? sqrt(s2) : sqrt(s2 * out->lambda);
	for (size_t j = 0; j < r->p; j++)
		out->b[r->from[j]] = r->b[j];
	fill_cov(r, s2, out);
	if (!out->one_row_a_group)
		fill_blup(r, u, out);
	if (out->rank == out->p && dof > 0 && s2 > 0) {
		out->has_log_reml = true;
		out->log_reml = -0.5 * (dof * (log(2 * M_PI * s2) + 1) + at.log_det_v +
					       at.log_det_a - r->log_w);
	}
}

static double inverse_square(const struct reduced *r, size_t j)
{
	double s = 0;
	for (size_t k = j; k < r->p; k++)
		s += r->inv[j * r->p + k] * r->inv[j * r->p + k];
	return s;
}

static double residual_variance(const struct reduced *r, double rss)
{
	return r->n > r->p ? rss / (double)(r->n - r->p) : 0;
}

/* Where the likelihood is flat: what would have come out otherwise at another lambda? */
static void find_unsure(struct reduced *r, struct reml_fit *out)
{
	double *at_zero = out->cov; /* scratch, filled later */
	const double s0 = residual_variance(r, reml_evaluate(r, 0).rss);
	for (size_t j = 0; j < r->p; j++)
		at_zero[r->from[j]] = s0 * inverse_square(r, j);
	const double s1 = residual_variance(r, reml_evaluate(r, 1e6 / r->classes[0].W).rss);
	out->sigma_unsure = fabs(s1 - s0) > 0.01 * s0;
	for (size_t j = 0; j < r->p; j++) {
		const double v = s1 * inverse_square(r, j), v0 = at_zero[r->from[j]];
		out->unsure[r->from[j]] = r->n <= r->p || fabs(v - v0) > 0.01 * v0;
		at_zero[r->from[j]] = 0;
	}
}

static bool fit(struct prepared *u, struct reduced *r, struct reml_fit *out)
{
	if (!reml_reduce(r, u, NULL) || !reml_find_ranks(r, u->d->shared, out))
		return false;
	memcpy(out->within, u->within, u->d->p * sizeof *out->within);
	if (out->n_null) {
		reml_reduced_free(r);
		if (!reml_reduce(r, u, out->dropped))
			return false;
	}
	if (!reml_find_saturated(r, out, u->d->groups))
		return false;
	if (!out->one_row_a_group && !out->saturated)
		out->lambda = reml_find_lambda(r, &out->flat);
	if (out->lambda < 0)
		return false;
	out->flat = out->flat || out->saturated;
	out->flat = out->flat || r->n <= r->p;
	if (out->flat && (!out->one_row_a_group || r->n <= r->p))
		find_unsure(r, out);
	fill(r, u, out);
	return true;
}

bool reml_fit(const struct reml_data *d, struct reml_fit *out, struct err *err)
{
	struct prepared u = {0};
	struct reduced r = {0};
	struct reml_data data = *d;
	memset(out, 0, sizeof *out);
	if (d->n == 0 || d->p == 0 || d->groups == 0)
		return err_failed(err, "nothing to fit: %zu rows, %zu columns", d->n, d->p);
	if (d->n == d->groups)
		data.w = NULL; /* one row a group: ordinary least squares */
	bool ok = out_alloc(out, &data);
	out->one_row_a_group = data.n == data.groups;
	ok = ok && reml_prepare(&u, &data) && fit(&u, &r, out);
	reml_prepared_free(&u);
	reml_reduced_free(&r);
	if (ok)
		return true;
	reml_free(out);
	return err_memory(err);
}

void reml_free(struct reml_fit *f)
{
	free(f->b);
	free(f->cov);
	free(f->dropped);
	free(f->scale);
	free(f->null_basis);
	free(f->within);
	free(f->unsure);
	free(f->blup);
	memset(f, 0, sizeof *f);
}
