#include "model/reml.h"

#include "model/qr.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_roots.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A residual sum of squares below this part of y's is rounding. */
#define EXACT 1e-26
/* Largest lambda looked at, times the mean group weight. */
#define FAR_END 1e10

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
	size_t n, p, q;      /* rows, columns kept, of which vary inside groups */
	int *from;           /* [p]: original column of each ordered one */
	int *within_map;     /* [q + 1]: place of the deviations' columns */
	struct tri within;   /* q + 1 columns */
	size_t n_classes;
	struct wclass *classes;
	struct tri work;     /* p + 1 columns, rebuilt by each evaluation */
	double *inv, *b;     /* [p * p], [p] */
	double log_w, yy;    /* sum of log weights; weighted sum of y^2 */
	bool exact_within;   /* rows of a group leave no residual: sigma is 0 */
};

struct point {
	double lambda, criterion, score, rss, log_det_v, log_det_a;
};

/* What is known of the rows before any column is left out. */
struct prepared {
	const struct reml_data *d;
	double *W;      /* [groups] */
	double *mean;   /* [groups * (p + 1)], original column order, y last */
	bool *within;   /* [p] */
	size_t *order;  /* groups by W */
};

static double row_weight(const struct reml_data *d, size_t i)
{
	return d->w ? d->w[i] : 1;
}

static double cell(const struct reml_data *d, size_t i, size_t j)
{
	if (j < d->shared)
		return d->xg[(size_t)d->group[i] * d->shared + j];
	return j < d->p ? d->x[i * (d->p - d->shared) + j - d->shared] : d->y[i];
}

/* First row of each group, its weight, and the size of each column. */
static bool first_rows(struct prepared *u, size_t *first, double *big)
{
	const struct reml_data *d = u->d;
	const size_t rest = d->p - d->shared;
	for (size_t g = 0; g < d->groups; g++)
		first[g] = d->n;
	for (size_t i = 0; i < d->n; i++) {
		const size_t g = (size_t)d->group[i];
		if (first[g] == d->n)
			first[g] = i;
		u->W[g] += row_weight(d, i);
		for (size_t j = 0; j < rest; j++)
			big[j] = fmax(big[j], fabs(d->x[i * rest + j]));
	}
	for (size_t g = 0; g < d->groups; g++)
		if (first[g] == d->n)
			return false;
	return true;
}

/* Means as first value plus mean deviation: exact where a column does not vary. */
static void add_deviations(struct prepared *u, const size_t *first, const double *big)
{
	const struct reml_data *d = u->d;
	const size_t p1 = d->p + 1, rest = d->p - d->shared;
	for (size_t i = 0; i < d->n; i++) {
		const size_t g = (size_t)d->group[i], f = first[g];
		const double w = row_weight(d, i);
		double *mean = u->mean + g * p1 + d->shared;
		for (size_t j = 0; j < rest; j++) {
			const double dev = d->x[i * rest + j] - d->x[f * rest + j];
			if (dev == 0)
				continue;
			if (fabs(dev) > REML_RANK_TOL * big[j])
				u->within[d->shared + j] = true;
			mean[j] += w * dev;
		}
		mean[rest] += w * (d->y[i] - d->y[f]);
	}
}

static bool group_means(struct prepared *u)
{
	const struct reml_data *d = u->d;
	const size_t p1 = d->p + 1;
	size_t *first = malloc(d->groups * sizeof *first);
	double *big = calloc(d->p + 1, sizeof *big);
	const bool ok = first && big && first_rows(u, first, big);
	if (ok) {
		add_deviations(u, first, big);
		for (size_t g = 0; g < d->groups; g++)
			for (size_t j = 0; j < p1; j++)
				u->mean[g * p1 + j] = cell(d, first[g], j) +
					u->mean[g * p1 + j] / u->W[g];
	}
	free(first);
	free(big);
	return ok;
}

static int compare_w(const void *a, const void *b, void *ctx)
{
	const double *W = ctx;
	const double x = W[*(const size_t *)a], y = W[*(const size_t *)b];
	return x < y ? -1 : x > y;
}

static void prepared_free(struct prepared *u)
{
	free(u->W);
	free(u->mean);
	free(u->within);
	free(u->order);
}

static bool prepare(struct prepared *u, const struct reml_data *d)
{
	memset(u, 0, sizeof *u);
	u->d = d;
	u->W = calloc(d->groups, sizeof *u->W);
	u->mean = calloc(d->groups * (d->p + 1), sizeof *u->mean);
	u->within = calloc(d->p + 1, sizeof *u->within);
	u->order = malloc(d->groups * sizeof *u->order);
	if (!u->W || !u->mean || !u->within || !u->order || !group_means(u))
		return false;
	for (size_t g = 0; g < d->groups; g++)
		u->order[g] = g;
	qsort_r(u->order, d->groups, sizeof *u->order, compare_w, u->W);
	return true;
}

static void reduced_free(struct reduced *r)
{
	for (size_t k = 0; k < r->n_classes; k++)
		tri_free(&r->classes[k].tri);
	free(r->classes);
	tri_free(&r->within);
	tri_free(&r->work);
	free(r->from);
	free(r->within_map);
	free(r->inv);
	free(r->b);
	memset(r, 0, sizeof *r);
}

static size_t count_classes(const struct prepared *u)
{
	size_t k = 0;
	for (size_t i = 0; i < u->d->groups; i++)
		if (i == 0 || u->W[u->order[i]] > u->W[u->order[i - 1]])
			k++;
	return k;
}

static bool reduced_alloc(struct reduced *r, const struct prepared *u)
{
	const size_t p = u->d->p, classes = count_classes(u);
	memset(r, 0, sizeof *r);
	r->from = malloc((p + 1) * sizeof *r->from);
	r->within_map = malloc((p + 1) * sizeof *r->within_map);
	r->inv = malloc((p * p + 1) * sizeof *r->inv);
	r->b = calloc(p + 1, sizeof *r->b);
	r->classes = calloc(classes + 1, sizeof *r->classes);
	return r->from && r->within_map && r->inv && r->b && r->classes;
}

/* Kept columns in order; `dropped` may be NULL. */
static void order_columns(struct reduced *r, const struct prepared *u, const bool *dropped)
{
	for (int within = 0; within < 2; within++)
		for (size_t j = 0; j < u->d->p; j++) {
			if (u->within[j] != (within == 1) || (dropped && dropped[j]))
				continue;
			if (within)
				r->within_map[r->q++] = (int)r->p;
			r->from[r->p++] = (int)j;
		}
	r->from[r->p] = (int)u->d->p;
	r->within_map[r->q] = (int)r->p;
}

static bool reduce_within(struct reduced *r, const struct prepared *u, double *row)
{
	const struct reml_data *d = u->d;
	if (!tri_init(&r->within, r->q + 1))
		return false;
	for (size_t i = 0; i < d->n; i++) {
		const size_t g = (size_t)d->group[i];
		const double root = sqrt(row_weight(d, i));
		for (size_t j = 0; j <= r->q; j++) {
			const size_t c = (size_t)r->from[r->within_map[j]];
			row[j] = root * (cell(d, i, c) - u->mean[g * (d->p + 1) + c]);
		}
		tri_push(&r->within, row);
		if (root > 1 || root < 1)
			r->log_w += log(row_weight(d, i));
		r->yy += row_weight(d, i) * d->y[i] * d->y[i];
	}
	tri_finish(&r->within);
	const double last = r->within.t[(r->q + 1) * (r->q + 1) - 1];
	r->exact_within = d->n > d->groups + r->q && last * last <= EXACT * r->yy;
	return true;
}

static bool reduce_means(struct reduced *r, const struct prepared *u, double *row)
{
	for (size_t i = 0; i < u->d->groups; i++) {
		const size_t g = u->order[i];
		if (i == 0 || u->W[g] > u->W[u->order[i - 1]]) {
			struct wclass *c = &r->classes[r->n_classes];
			c->W = u->W[g];
			if (!tri_init(&c->tri, r->p + 1))
				return false;
			r->n_classes++;
		}
		for (size_t j = 0; j <= r->p; j++)
			row[j] = u->mean[g * (u->d->p + 1) + (size_t)r->from[j]];
		struct wclass *c = &r->classes[r->n_classes - 1];
		c->count++;
		tri_push(&c->tri, row);
	}
	for (size_t k = 0; k < r->n_classes; k++)
		tri_finish(&r->classes[k].tri);
	return true;
}

static bool reduce(struct reduced *r, const struct prepared *u, const bool *dropped)
{
	double *row = malloc((u->d->p + 1) * sizeof *row);
	bool ok = row && reduced_alloc(r, u);
	if (ok) {
		r->n = u->d->n;
		order_columns(r, u, dropped);
		ok = reduce_within(r, u, row) && reduce_means(r, u, row) &&
			tri_init(&r->work, r->p + 1);
	}
	free(row);
	return ok;
}

/* The triangle of all rows at this lambda; lambda < 0: of the group means alone. */
static void stack(struct reduced *r, double lambda)
{
	tri_clear(&r->work);
	for (size_t k = 0; k < r->n_classes; k++) {
		const double W = r->classes[k].W;
		tri_push_tri(&r->work, &r->classes[k].tri, sqrt(W / (1 + fmax(lambda, 0) * W)), NULL);
	}
	if (lambda >= 0)
		tri_push_tri(&r->work, &r->within, 1, r->within_map);
	tri_finish(&r->work);
}

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

/*
 * Minus twice the restricted log-likelihood, profiled over b and sigma, and its slope in
 * lambda (Pinheiro & Bates 2000, 2.2.5; the slope by the envelope theorem):
 *   (n - p) log rss + log|V| + log|X' V^-1 X|
 */
static struct point evaluate(struct reduced *r, double lambda)
{
	struct point at = {.lambda = lambda};
	const size_t p = r->p, m = p + 1;
	const double dof = (double)r->n - (double)p;
	stack(r, lambda);
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
static const double grid[] = {1e-6, 1e-4, 1e-3, 1e-2, 1e-1, 1, 1e1, 1e2, 1e3, 1e4, 1e6, 1e8, FAR_END};

struct search {
	struct reduced *r;
	bool logarithmic;
};

static double score_at(double u, void *params)
{
	const struct search *s = params;
	const double lambda = s->logarithmic ? exp(u) : u;
	const double score = evaluate(s->r, lambda).score;
	return s->logarithmic ? lambda * score : score;
}

/* The root of the score between two lambdas where it changes from - to +. */
static double polish(struct reduced *r, double lo, double hi)
{
	struct search s = {r, lo > 0};
	gsl_function f = {score_at, &s};
	double a = s.logarithmic ? log(lo) : lo, b = s.logarithmic ? log(hi) : hi, x = 0.5 * (a + b);
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

/*
 * Lambda at the smallest criterion: the boundary 0, every inner minimum that the
 * grid brackets, and the far end where the rows of a group hardly differ. *flat: the
 * criterion does not care, as with a single contrast left over. Negative: out of memory.
 */
static double find_lambda(struct reduced *r, bool *flat)
{
	double mean_w = 0, count = 0;
	for (size_t k = 0; k < r->n_classes; k++) {
		mean_w += r->classes[k].W * (double)r->classes[k].count;
		count += (double)r->classes[k].count;
	}
	mean_w /= count;
	struct point last = evaluate(r, 0), best = last;
	double least = last.criterion, most = last.criterion;
	if (last.rss <= EXACT * r->yy)
		return 0; /* an exact fit: what is left is rounding */
	if (r->exact_within)
		return FAR_END / mean_w;
	for (size_t i = 0; i < sizeof grid / sizeof *grid; i++) {
		const struct point at = evaluate(r, grid[i] / mean_w);
		least = fmin(least, at.criterion);
		most = fmax(most, at.criterion);
		if (last.score < 0 && at.score >= 0) {
			const double root = polish(r, last.lambda, at.lambda);
			if (root < 0)
				return -1;
			const struct point found = evaluate(r, root);
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

/*
 * Ranks in the ordered columns, brought back to the original order. Shared columns never vary
 * inside a group, so that they stand first.
 */
static bool find_ranks(struct reduced *r, size_t shared, struct reml_fit *out)
{
	const size_t p = r->p, between = p - r->q;
	bool *dropped = calloc(p + 1, sizeof *dropped);
	double *scale = calloc(p + 1, sizeof *scale), *basis = NULL;
	size_t none;
	bool ok = dropped && scale;
	if (ok) {
		stack(r, -1);
		ok = rank_test(r->work.t, between, between, p + 1, REML_RANK_TOL, &out->rank_between,
			dropped, scale, &none, &basis);
		free(basis);
		basis = NULL;
		out->rank_shared = out->rank_between;
	}
	if (ok && shared < between) {
		ok = rank_test(r->work.t, shared, shared, p + 1, REML_RANK_TOL, &out->rank_shared, dropped,
			scale, &none, &basis);
		free(basis);
		basis = NULL;
	}
	if (ok) {
		stack(r, 0);
		ok = rank_test(r->work.t, p, p, p + 1, REML_RANK_TOL, &out->rank, dropped, scale,
			&out->n_null, &basis);
	}
	if (ok && out->n_null) {
		out->null_basis = malloc(out->n_null * p * sizeof *out->null_basis);
		ok = out->null_basis != NULL;
	}
	for (size_t j = 0; ok && j < p; j++) {
		const size_t c = (size_t)r->from[j];
		out->dropped[c] = dropped[j];
		out->scale[c] = scale[j];
		for (size_t k = 0; k < out->n_null; k++)
			out->null_basis[k * p + c] = basis[k * p + j];
	}
	free(basis);
	free(dropped);
	free(scale);
	return ok;
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
	const struct point at = evaluate(r, out->lambda);
	/* Without residuals inside groups the likelihood has no bound; the group means alone
	 * then tell sigma_group. */
	const double left = r->exact_within && out->lambda > 0 ?
		(double)u->d->groups - (double)out->rank_between : dof;
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
		out->log_reml = -0.5 * (dof * (log(2 * M_PI * s2) + 1) + at.log_det_v + at.log_det_a -
			r->log_w);
	}
}

/*
 * Do the columns fit every group's mean? What they tell beyond the deviations inside groups
 * is the rank of all less the rank of the deviations: combinations of columns that vary
 * inside may well not vary themselves.
 */
static bool find_saturated(const struct reduced *r, struct reml_fit *out, size_t groups)
{
	const size_t q = r->q;
	bool *dropped = malloc((q + 1) * sizeof *dropped);
	double *scale = malloc((q + 1) * sizeof *scale), *basis = NULL;
	size_t rank, none;
	const bool ok = dropped && scale && rank_test(r->within.t, q, q, q + 1, REML_RANK_TOL, &rank,
		dropped, scale, &none, &basis);
	if (ok)
		out->saturated = out->rank - rank >= groups;
	free(dropped);
	free(scale);
	free(basis);
	return ok;
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
	const double s0 = residual_variance(r, evaluate(r, 0).rss);
	for (size_t j = 0; j < r->p; j++)
		at_zero[r->from[j]] = s0 * inverse_square(r, j);
	const double s1 = residual_variance(r, evaluate(r, 1e6 / r->classes[0].W).rss);
	out->sigma_unsure = fabs(s1 - s0) > 0.01 * s0;
	for (size_t j = 0; j < r->p; j++) {
		const double v = s1 * inverse_square(r, j), v0 = at_zero[r->from[j]];
		out->unsure[r->from[j]] = r->n <= r->p || fabs(v - v0) > 0.01 * v0;
		at_zero[r->from[j]] = 0;
	}
}

static bool fit(struct prepared *u, struct reduced *r, struct reml_fit *out)
{
	if (!reduce(r, u, NULL) || !find_ranks(r, u->d->shared, out))
		return false;
	memcpy(out->within, u->within, u->d->p * sizeof *out->within);
	if (out->n_null) {
		reduced_free(r);
		if (!reduce(r, u, out->dropped))
			return false;
	}
	if (!find_saturated(r, out, u->d->groups))
		return false;
	if (!out->one_row_a_group && !out->saturated)
		out->lambda = find_lambda(r, &out->flat);
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
	ok = ok && prepare(&u, &data) && fit(&u, &r, out);
	prepared_free(&u);
	reduced_free(&r);
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
