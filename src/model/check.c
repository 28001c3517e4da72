/* Is the model enough for the runs, and which laps stand far off? */
#include "model/internal.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

static int compare_values(const void *a, const void *b, void *ctx)
{
	const struct book *book = *(const struct book *const *)ctx;
	const int i = *(const int *)a, j = *(const int *)b;
	const struct run *x = &book->runs[i], *y = &book->runs[j];
	for (size_t k = 0; k < x->n_values && k < y->n_values; k++)
		if (x->values[k] != y->values[k])
			return x->values[k] < y->values[k] ? -1 : 1;
	return 0;
}

void runs_settings(const struct book *b, int *set)
{
	const int n = (int)b->n_runs;
	int *order = malloc((b->n_runs + 1) * sizeof *order);
	for (int i = 0; i < n; i++)
		set[i] = i; /* all apart, should there be no memory to compare them */
	if (!order)
		return;
	for (int i = 0; i < n; i++)
		order[i] = i;
	qsort_r(order, b->n_runs, sizeof *order, compare_values, &b);
	for (int i = 1; i < n; i++)
		if (compare_values(&order[i], &order[i - 1], &b) == 0)
			set[order[i]] = set[order[i - 1]];
	free(order);
}

/* One run at the level of its mean: what is left after the fitted covariates. */
struct run_mean {
	int set;
	double n, y, residual, weight; /* y: before the set-up's own part is taken off */
};

static size_t run_means(const struct fit_job *j, const struct reml_data *d, const double *res,
	const struct reml_fit *f, const struct response *r, const int *set, struct run_mean *out)
{
	size_t n = 0;
	for (size_t i = 0; i < d->n; i++) {
		const struct obs *o = &j->obs->v[i];
		if (i == 0 || o->run != o[-1].run)
			out[n++] = (struct run_mean){.set = set[o->run]};
		out[n - 1].n += (double)o->n;
		out[n - 1].residual += (double)o->n * res[i];
	}
	for (size_t i = 0; i < n; i++) {
		out[i].residual /= out[i].n;
		out[i].y = out[i].residual;
		for (size_t t = 0; t < d->shared; t++)
			out[i].y += d->xg[i * d->shared + t] * r->b[t];
		out[i].weight = f->one_row_a_group ? 1 : 1 / (f->lambda + 1 / out[i].n);
	}
	return n;
}

/* Sum of squares of runs about the mean of their set, and the number of sets; negative:
 * out of memory. */
static double pure_error(const struct run_mean *v, size_t n, size_t n_runs, size_t *sets)
{
	double *w = calloc(2 * n_runs + 1, sizeof *w), *sum = w + n_runs, ss = 0;
	*sets = 0;
	if (!w)
		return -1;
	for (size_t i = 0; i < n; i++) {
		*sets += w[v[i].set] > 0 ? 0 : 1;
		w[v[i].set] += v[i].weight;
		sum[v[i].set] += v[i].weight * (v[i].y - v[0].y);
	}
	for (size_t i = 0; i < n; i++) {
		const double e = v[i].y - v[0].y - sum[v[i].set] / w[v[i].set];
		ss += v[i].weight * e * e;
	}
	free(w);
	return ss;
}

bool check_lack_of_fit(const struct fit_job *j, const struct reml_data *d, const double *res,
	const struct reml_fit *f, struct response *r)
{
	struct run_mean *v = malloc(r->n_runs * sizeof *v);
	if (!v)
		return false;
	const size_t n = run_means(j, d, res, f, r, j->set, v);
	size_t sets;
	const double pure = pure_error(v, n, j->m->book->n_runs, &sets);
	double all = 0, rounding = 0;
	for (size_t i = 0; i < n; i++)
		rounding += 1e-24 * v[i].weight * v[i].y * v[i].y;
	for (size_t i = 0; i < n; i++)
		all += v[i].weight * v[i].residual * v[i].residual;
	r->lof_df2 = (double)(n - sets);
	r->lof_df1 = (double)sets - (double)f->rank_shared;
	/* Without more freedom than the repeats', covariates of whole runs may take up all that
	 * a lack of fit would show; repeats that agree to rounding are no measure. */
	const bool room = r->df_run > r->lof_df2 && r->lof_df1 > 0 && r->lof_df2 > 0;
	if (room && !f->flat && pure > rounding) {
		r->lof_f = fmax(all - pure, 0) / r->lof_df1 / (pure / r->lof_df2);
		r->has_lack_of_fit = isfinite(r->lof_f);
		r->lof_p = gsl_cdf_fdist_Q(r->lof_f, r->lof_df1, r->lof_df2);
	}
	free(v);
	return pure >= 0;
}

static bool suspect_add(struct suspect_list *l, const struct obs *o, size_t response, double z)
{
	struct suspect *v = realloc(l->v, (l->n + 1) * sizeof *v);
	if (!v)
		return false;
	l->v = v;
	v[l->n++] = (struct suspect){.run = o->run, .lap = o->lap, .response = response, .z = z};
	return true;
}

/*
 * Conditional residuals, the run's own offset taken off. Iglewicz & Hoaglin (1993), How to
 * Detect and Handle Outliers: |0.6745 (r - median) / MAD| > 3.5. Means over n laps are put
 * on one lap's footing by sqrt(n).
 */
bool check_suspects(const struct fit_job *j, const struct reml_data *d, const double *res,
	const struct reml_fit *f)
{
	const size_t n = d->n;
	double *e = malloc(n * sizeof *e), *sorted = malloc(n * sizeof *sorted), big = 0;
	bool ok = e && sorted;
	for (size_t i = 0; ok && i < n; i++) {
		e[i] = (res[i] - f->blup[d->group[i]]) * sqrt((double)j->obs->v[i].n);
		sorted[i] = e[i];
		big = fmax(big, fabs(j->y[i]));
	}
	if (ok) {
		const double middle = gsl_stats_median(sorted, 1, n);
		for (size_t i = 0; i < n; i++)
			sorted[i] = fabs(e[i] - middle);
		const double mad = gsl_stats_median(sorted, 1, n);
		for (size_t i = 0; ok && i < n && mad > 1e-10 * big; i++) {
			const double z = 0.6745 * (e[i] - middle) / mad;
			if (fabs(z) > 3.5 && !j->obs->v[i].whole_run)
				ok = suspect_add(j->suspects, &j->obs->v[i], j->response, z);
		}
	}
	free(e);
	free(sorted);
	return ok;
}
