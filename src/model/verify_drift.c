/*
 * Drift of the set-up that was driven most often: each visit's mean brought to the book's
 * conditions by the fit of all runs, and a straight line over the hours of the day, days
 * having levels of their own. The line's test is least squares on the visits.
 */
#include "model/internal.h"
#include "model/verdict.h"
#include "model/verify.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A run on the set-up with the most runs; -1 where none came twice. */
static int find_base(const struct book *b, int *set)
{
	int best = -1;
	size_t most = 1;
	runs_settings(b, set);
	for (size_t i = 0; i < b->n_runs; i++) {
		size_t n = 0;
		for (size_t j = 0; j < b->n_runs; j++)
			n += set[j] == set[i];
		if (n > most) {
			most = n;
			best = (int)i;
		}
	}
	return best;
}

/* Hours since midnight of "YYYY-MM-DDTHH:MM"; below 0 without a time. */
static double hour_of(const char *date)
{
	if (strlen(date) < 16)
		return -1;
	return 10 * (date[11] - '0') + (date[12] - '0') +
	       (10 * (date[14] - '0') + (date[15] - '0')) / 60.0;
}

/* What the fit and known slopes say between the book's conditions and one reading's. */
static double away_from_conditions(
	const struct model *m, size_t response, const struct run *run, const struct obs *o)
{
	const struct response *r = &m->responses[response];
	double sum = 0;
	for (int c = 0; c < COV_N; c++)
		if (m->subtracted[response][c])
			sum += m->book->covariates[c].known[response].v *
			       (o->cov[c] - m->condition[c]);
	for (size_t t = 0; t < r->n_terms; t++) {
		const struct term *k = &r->terms[t];
		if (k->kind == TERM_COVARIATE)
			sum += r->b[t] * (o->cov[k->a] - m->condition[k->a]);
		if (k->kind == TERM_FACTOR)
			sum += r->b[t] * run_has_level(run, k);
	}
	return sum;
}

/* One visit's mean at the book's conditions; *laps is 0 without readings. False: memory. */
static bool visit_value(
	const struct model *m, size_t response, int run, double *value, double *laps)
{
	struct book one = *m->book;
	struct obs_list list = {0};
	one.runs = m->book->runs + run;
	one.n_runs = 1;
	bool ok = response == RESPONSE_TIME ? observe_time(&one, &list)
					    : observe_wear(&one, response - 1, &list);
	double sum = 0;
	*laps = 0;
	for (size_t i = 0; ok && i < list.n; i++) {
		const struct obs *o = &list.v[i];
		sum += (o->y - away_from_conditions(m, response, one.runs, o)) * (double)o->n;
		*laps += (double)o->n;
	}
	obs_free(&list);
	*value = *laps > 0 ? sum / *laps : 0;
	return ok;
}

/* Slope over the hours with a level for each day. */
static void fit_line(struct drift *d)
{
	double sxx = 0, sxy = 0, syy = 0;
	for (int day = 0; day < (int)d->days; day++) {
		double n = 0, mx = 0, my = 0;
		for (size_t i = 0; i < d->n; i++)
			if (d->points[i].day == day) {
				n++;
				mx += d->points[i].hours;
				my += d->points[i].value;
			}
		for (size_t i = 0; i < d->n; i++)
			if (d->points[i].day == day) {
				double x = d->points[i].hours - mx / n,
				       y = d->points[i].value - my / n;
				sxx += x * x;
				sxy += x * y;
				syy += y * y;
			}
	}
	d->df = (double)d->n - (double)d->days - 1;
	if (!(d->df >= 1) || !(sxx > 0))
		return;
	d->has_slope = true;
	d->slope = sxy / sxx;
	d->se = sqrt(fmax(0, syy - d->slope * sxy) / d->df / sxx);
	d->p = fabs(d->slope) < VERDICT_FINEST ? 1
	       : d->se > 0                     ? 2 * gsl_cdf_tdist_Q(fabs(d->slope) / d->se, d->df)
					       : 0;
}

/* Days are counted as dates change; hours from the first visit of each. */
static bool place_in_time(const struct book *b, struct drift *d)
{
	double first = 0;
	for (size_t i = 0; i < d->n; i++) {
		const char *date = b->runs[d->points[i].run].date;
		double hour = hour_of(date);
		if (hour < 0)
			return false;
		if (i == 0 || strncmp(date, b->runs[d->points[i - 1].run].date, 10) != 0) {
			first = hour;
			d->points[i].day = (int)d->days++;
		} else {
			d->points[i].day = (int)d->days - 1;
		}
		d->points[i].hours = hour - first;
	}
	return true;
}

static bool drift_of(struct verify *v, const struct model *m, size_t response, const int *set)
{
	const struct book *b = v->book;
	struct drift *d = &v->drift[response];
	if (!m->responses[response].fitted)
		return true;
	d->points = calloc(b->n_runs + 1, sizeof *d->points);
	if (!d->points)
		return false;
	for (size_t i = 0; i < b->n_runs; i++) {
		double laps = 0;
		struct drift_point *p = &d->points[d->n];
		if (set[i] != set[v->base_run])
			continue;
		p->run = (int)i;
		if (!visit_value(m, response, (int)i, &p->value, &laps))
			return false;
		d->n += laps > 0;
	}
	if (d->n >= 2 && place_in_time(b, d))
		fit_line(d);
	return true;
}

bool verify_drift(struct verify *v, struct err *err)
{
	const struct book *b = v->book;
	int *set = calloc(b->n_runs + 1, sizeof *set);
	if (!set)
		return err_memory(err);
	v->base_run = find_base(b, set);
	if (v->base_run < 0) {
		free(set);
		return true;
	}
	struct model *m = model_new(b, err);
	bool ok = m != NULL, memory = true;
	for (size_t y = 0; ok && memory && y < v->n_responses; y++)
		memory = drift_of(v, m, y, set);
	model_free(m);
	free(set);
	return ok && (memory || err_memory(err));
}

void drift_span(const struct drift *d, double *low, double *high)
{
	const double half = gsl_cdf_tdist_Pinv(0.975, d->df) * d->se;
	*low = d->slope - half;
	*high = d->slope + half;
}
