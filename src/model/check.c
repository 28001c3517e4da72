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

/*
 * The repeats' freedom less what covariates took of it that tell runs apart: those that stand still
 * in each run, and those that inside runs go together (fuel and tyre age both run with the lap).
 * Three base runs under a rising track temperature are hardly repeats: without this 14 to 21 of 100
 * books without any lack of fit were told to have one.
 */
static void find_sure(const struct reml_data *d, const struct reml_fit *f, struct response *r)
{
	const double left =
		(double)d->groups - (double)f->rank + (double)f->rank_inside - r->lof_df1;
	r->lof_df_sure = fmin(left, r->lof_df2);
	r->lof_p_sure = left > 0 ? gsl_cdf_fdist_Q(r->lof_f * r->lof_df_sure / r->lof_df2,
					   r->lof_df1, r->lof_df_sure)
				 : 1;
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
		if (r->has_lack_of_fit)
			find_sure(d, f, r);
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

/* Residuals under judgement; rows of one run stand together. */
struct judged {
	const struct fit_job *j;
	const double *res; /* y - Xb, for each row */
	double lambda;
	double middle, mad; /* of all conditional residuals */
	double *e;          /* owned [n]: conditional residual, on one lap's footing */
	double *z;          /* owned [n]: robust deviation */
	bool *far;          /* owned [n] */
};

/* The run's offset as its rows from..to that are not struck out predict it (Henderson 1975). */
static double offset(const struct judged *w, size_t from, size_t to, double all_in)
{
	double sum = 0, laps = 0;
	bool struck = false;
	for (size_t i = from; i < to; i++) {
		const double n = (double)w->j->obs->v[i].n;
		struck = struck || w->far[i];
		sum += w->far[i] ? 0 : n * w->res[i];
		laps += w->far[i] ? 0 : n;
	}
	return struck ? w->lambda * sum / (1 + w->lambda * laps) : all_in;
}

/* The row that stands farthest off past 3.5 among those not struck out; `to` where none does. */
static size_t farthest(struct judged *w, size_t from, size_t to, double run_offset)
{
	size_t worst = to;
	for (size_t i = from; i < to; i++) {
		const struct obs *o = &w->j->obs->v[i];
		if (w->far[i] || o->whole_run)
			continue;
		w->e[i] = (w->res[i] - run_offset) * sqrt((double)o->n);
		w->z[i] = 0.6745 * (w->e[i] - w->middle) / w->mad;
		if (fabs(w->z[i]) > 3.5 && (worst == to || fabs(w->z[i]) > fabs(w->z[worst])))
			worst = i;
	}
	return worst;
}

/*
 * One far lap moves its run's offset and with it the laps beside it: the farthest is struck out
 * first and the others are judged anew. Of two laps nobody can say which is the odd one: both are.
 */
static void judge_run(struct judged *w, size_t from, size_t to, double all_in)
{
	size_t left = to - from, worst;
	double run_offset = all_in;
	while ((worst = farthest(w, from, to, run_offset)) < to) {
		w->far[worst] = true;
		if (--left >= 2)
			run_offset = offset(w, from, to, all_in);
	}
}

/* Middle and median absolute deviation of the conditional residuals; false: nothing to judge by. */
static bool judged_spread(struct judged *w, const struct reml_data *d, const struct reml_fit *f)
{
	double big = 0;
	for (size_t i = 0; i < d->n; i++) {
		w->e[i] = (w->res[i] - f->blup[d->group[i]]) * sqrt((double)w->j->obs->v[i].n);
		w->z[i] = w->e[i];
		big = fmax(big, fabs(w->j->y[i]));
	}
	w->middle = gsl_stats_median(w->z, 1, d->n);
	for (size_t i = 0; i < d->n; i++)
		w->z[i] = fabs(w->e[i] - w->middle);
	w->mad = gsl_stats_median(w->z, 1, d->n);
	return w->mad > 1e-10 * big;
}

static void judge(struct judged *w, const struct reml_data *d, const struct reml_fit *f)
{
	if (!judged_spread(w, d, f))
		return;
	for (size_t i = 0, end; i < d->n; i = end) {
		for (end = i; end < d->n && d->group[end] == d->group[i]; end++)
			;
		judge_run(w, i, end, f->blup[d->group[i]]);
	}
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
	struct judged w = {.j = j, .res = res, .lambda = f->lambda};
	w.e = malloc(n * sizeof *w.e);
	w.z = malloc(n * sizeof *w.z);
	w.far = calloc(n, sizeof *w.far);
	bool ok = w.e && w.z && w.far;
	if (ok)
		judge(&w, d, f);
	for (size_t i = 0; ok && i < n; i++)
		if (w.far[i])
			ok = suspect_add(j->suspects, &j->obs->v[i], j->response, w.z[i]);
	free(w.e);
	free(w.z);
	free(w.far);
	return ok;
}
