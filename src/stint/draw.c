/* Intervals of a stint's deltas by draws. */
#include "stint/figures.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SEED 20260314u
/* Laps times draws are kept below this, so that a long stint answers as fast as a short one. */
#define WORK_MAX 2000000u
#define PLANS_MAX 200000000u

/* What one draw yields, told against the reference's total. */
enum { OUT_SHEET, OUT_LIFTING, OUT_STOPPING, OUT_VERDICT, OUTS };

struct draws {
	const struct stint_figures *f;
	const struct stint *s;
	gsl_rng *rng;
	double *out[OUTS]; /* owned [n] */
	size_t n;
	size_t *stop_after; /* owned [laps]: room for one draw's stops */
	bool no_memory;
};

/*
 * Chi-squared / df of a response, told by the one uniform deviate behind all of them: the
 * responses come from the same runs, so that a sum of their figures is t as each of them is.
 */
static double draw_scale(const struct draws *d, double df, double *first, double *first_df)
{
	if (df == *first_df)
		return *first / df;
	if (*first_df > 0) {
		double u = gsl_cdf_chisq_P(*first, *first_df);
		return gsl_cdf_chisq_Pinv(fmin(fmax(u, 1e-12), 1 - 1e-12), df) / df;
	}
	*first = gsl_ran_chisq(d->rng, df);
	*first_df = df;
	return *first / df;
}

/* Figures of all responses: mean + root u, u correlated with lap time's as the errors of runs
 * are found to be, over the square root of chi-squared / df. */
static void draw_figures(const struct draws *d, double v[RESPONSES_MAX][FIGURES])
{
	double time_u[FIGURES] = {0}, chi = 0, chi_df = 0;
	for (size_t r = 0; r <= d->f->rules.n_channels; r++) {
		const struct figures *g = &d->f->response[r];
		double u[FIGURES], rho = r > 0 ? d->f->correlation[r - 1] : 0;
		double scale = g->has_spread ? 1 / sqrt(draw_scale(d, g->df, &chi, &chi_df)) : 0;
		for (size_t i = 0; i < FIGURES; i++) {
			u[i] = gsl_ran_gaussian_ziggurat(d->rng, 1);
			if (r > 0)
				u[i] = rho * time_u[i] + sqrt(fmax(0, 1 - rho * rho)) * u[i];
		}
		if (r == 0)
			memcpy(time_u, u, sizeof u);
		for (size_t i = 0; i < FIGURES; i++) {
			double move = 0;
			for (size_t j = 0; j < FIGURES; j++)
				move += g->root[i][j] * u[j];
			v[r][i] = g->value[i] + scale * move;
		}
		if (d->f->same) /* to the last digit, so that its difference is nought */
			v[r][FIG_SHEET] = v[r][FIG_REFERENCE];
	}
}

/* A rate at or below nought saves nothing however much one lifts. */
static double lifting(const struct draws *d, const struct stint_rules *rules,
	struct stint_pace reference, struct stint_pace sheet, const double *kappa)
{
	int c = d->s->limiting;
	if (c < 0 || !d->f->kappa[c].known)
		return NAN;
	double more = reference.wear[c] - sheet.wear[c];
	if (more > 0 && kappa[c] <= 0)
		return INFINITY;
	double lift = more > 0 ? more / kappa[c] : 0;
	struct stint_pace slowed = figures_lifted(d->f, reference, kappa, lift);
	return stint_project(rules, &slowed, NULL);
}

/* Another draw of the wear may need another number of stops, at other laps. */
static double stopping(struct draws *d, const struct stint_rules *rules, const struct stint_pace *p)
{
	if (stint_evenly(rules))
		return stint_least_total(rules, p);
	const long stops = stint_plan_stops(rules, p, d->stop_after);
	d->no_memory = d->no_memory || stops == -2;
	if (stops < 0 || (stops > 0 && !rules->has_pit_loss))
		return INFINITY;
	return stint_project_stops(rules, p, d->stop_after, (size_t)stops, NULL);
}

static void draw_one(struct draws *d, size_t i)
{
	double v[RESPONSES_MAX][FIGURES], kappa[CHANNELS_MAX] = {0};
	struct stint_rules rules = d->f->rules;
	draw_figures(d, v);
	for (size_t c = 0; c < rules.n_channels; c++)
		kappa[c] = d->f->kappa[c].value +
			   d->f->kappa[c].se * gsl_ran_gaussian_ziggurat(d->rng, 1);
	if (d->f->auto_loss)
		rules.pace_loss = figures_pace_loss(d->f, v[RESPONSE_TIME][FIG_AGE]);
	struct stint_pace reference = figures_pace(d->f, v, FIG_REFERENCE);
	struct stint_pace sheet = figures_pace(d->f, v, FIG_SHEET);
	double base = stint_project(&rules, &reference, NULL);
	double tuned = stint_project(&rules, &sheet, NULL);
	double lifted = lifting(d, &rules, reference, sheet, kappa);
	double stopped = stopping(d, &rules, &reference);
	d->out[OUT_SHEET][i] = tuned - base;
	d->out[OUT_LIFTING][i] = lifted - base;
	d->out[OUT_STOPPING][i] = stopped - base;
	d->out[OUT_VERDICT][i] = tuned - lifted;
}

static int ascending(const void *pa, const void *pb)
{
	double a = *(const double *)pa, b = *(const double *)pb;
	return a < b ? -1 : a > b;
}

/* Sample quantile, linear between neighbours; infinite where either is. */
static double quantile(const double *sorted, size_t n, double p)
{
	double at = p * (double)(n - 1);
	size_t i = (size_t)at;
	if (i + 1 >= n || !isfinite(sorted[i]) || !isfinite(sorted[i + 1]))
		return sorted[i + 1 < n ? i + 1 : n - 1];
	return sorted[i] + (at - (double)i) * (sorted[i + 1] - sorted[i]);
}

static bool interval(double *v, size_t n, double *low, double *high)
{
	for (size_t i = 0; i < n; i++)
		if (isnan(v[i]))
			return false;
	qsort(v, n, sizeof *v, ascending);
	*low = quantile(v, n, 0.025);
	*high = quantile(v, n, 0.975);
	return isfinite(*low) && isfinite(*high);
}

static bool any_without_spread(const struct stint_figures *f)
{
	for (size_t r = 0; r <= f->rules.n_channels; r++)
		if (f->response[r].fitted && !f->response[r].has_spread)
			return true;
	return false;
}

static void set_intervals(struct draws *d, struct stint *s)
{
	static const enum stint_kind plan[] = {STINT_SHEET, STINT_LIFTING, STINT_STOPPING};
	for (size_t k = 0; k < 3; k++) {
		struct stint_row *row = &s->rows[plan[k]];
		if (row->known)
			row->has_interval = interval(d->out[k], d->n, &row->low, &row->high);
	}
	if (s->has_verdict)
		s->has_verdict_interval =
			interval(d->out[OUT_VERDICT], d->n, &s->verdict_low, &s->verdict_high);
}

bool figures_draw(const struct stint_figures *f, struct stint *s, size_t draws)
{
	if (draws == 0 || any_without_spread(f) || !s->rows[STINT_SHEET].known)
		return true;
	if (draws > WORK_MAX / f->rules.laps)
		draws = WORK_MAX / f->rules.laps;
	/* Stops that are planned anew in each draw take time by the square of the laps. */
	const size_t few = PLANS_MAX / f->rules.laps / f->rules.laps + 500;
	if ((f->auto_loss || !stint_evenly(&f->rules)) && draws > few)
		draws = few;
	struct draws d = {.f = f, .s = s, .n = draws};
	double *room = calloc(draws * OUTS, sizeof *room);
	d.rng = gsl_rng_alloc(gsl_rng_taus2);
	d.stop_after = calloc(f->rules.laps + 1, sizeof *d.stop_after);
	bool ok = room && d.rng && d.stop_after;
	if (ok) {
		gsl_rng_set(d.rng, SEED);
		for (size_t k = 0; k < OUTS; k++)
			d.out[k] = room + k * draws;
		for (size_t i = 0; i < draws; i++)
			draw_one(&d, i);
		set_intervals(&d, s);
		ok = !d.no_memory;
	}
	if (d.rng)
		gsl_rng_free(d.rng);
	free(d.stop_after);
	free(room);
	return ok;
}
