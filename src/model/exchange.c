/*
 * What a second per lap of lifting saves in wear, on the same set-up: given, from the
 * effort that was logged (Fieller 1954), or from how wear and lap time go together
 * inside runs.
 */
#include "model/internal.h"

#include "model/qr.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const exchange_method_names[] = {NULL, "given", "effort", "within-run"};

static int find_term(const struct response *r, enum covariate c)
{
	for (size_t t = 0; r->fitted && t < r->n_terms; t++)
		if (r->terms[t].kind == TERM_COVARIATE && r->terms[t].a == (int)c)
			return (int)t;
	return -1;
}

struct slope {
	double value, se, df;
};

static bool find_slope(const struct response *r, enum covariate c, struct slope *s)
{
	const int t = find_term(r, c);
	if (t < 0 || !r->estimable[t] || r->unsure[t])
		return false;
	s->value = r->b[t];
	s->se = sqrt(r->cov[(size_t)t * r->n_terms + (size_t)t]);
	s->df = r->within[t] ? r->df_lap : r->df_run;
	return s->df > 0;
}

struct pair_sum {
	size_t n;
	double a0, b0, a, b, aa, bb, ab;
};

/* Sums of one run, as distances from its first lap, become deviations from its mean. */
static void close_run(const struct pair_sum *s, double *aa, double *bb, double *ab)
{
	if (s->n == 0)
		return;
	const double n = (double)s->n;
	*aa += s->aa - s->a * s->a / n;
	*bb += s->bb - s->b * s->b / n;
	*ab += s->ab - s->a * s->b / n;
}

/* Correlation of the two fits' residuals over laps read singly in both, run means removed. */
static double residual_correlation(const struct obs_list *time, const double *tr,
	const struct obs_list *wear, const double *wr)
{
	double aa = 0, bb = 0, ab = 0;
	struct pair_sum s = {0};
	int run = -1;
	for (size_t i = 0, k = 0; k < wear->n; k++) {
		const struct obs *o = &wear->v[k];
		while (i < time->n && (time->v[i].run < o->run || (time->v[i].run == o->run &&
									  time->v[i].lap < o->lap)))
			i++;
		if (i == time->n || o->n != 1 || o->whole_run || time->v[i].run != o->run ||
			time->v[i].lap != o->lap)
			continue;
		if (o->run != run) {
			close_run(&s, &aa, &bb, &ab);
			s = (struct pair_sum){.a0 = tr[i], .b0 = wr[k]};
			run = o->run;
		}
		const double a = tr[i] - s.a0, b = wr[k] - s.b0;
		s.n++;
		s.a += a;
		s.b += b;
		s.aa += a * a;
		s.bb += b * b;
		s.ab += a * b;
	}
	close_run(&s, &aa, &bb, &ab);
	return aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : 0;
}

/* Mean residual of a run, weighted by laps; *i goes past it. NAN where it has none. */
static double run_mean(const struct obs_list *o, const double *res, int run, size_t *i)
{
	double sum = 0, laps = 0;
	while (*i < o->n && o->v[*i].run < run)
		(*i)++;
	for (; *i < o->n && o->v[*i].run == run; (*i)++) {
		sum += res[*i] * (double)o->v[*i].n;
		laps += (double)o->v[*i].n;
	}
	return laps > 0 ? sum / laps : NAN;
}

/* Correlation of the two fits' residuals, each averaged over its run. */
static double run_correlation(const struct obs_list *time, const double *tr,
	const struct obs_list *wear, const double *wr)
{
	double aa = 0, bb = 0, ab = 0;
	for (size_t i = 0, k = 0; k < wear->n;) {
		const int run = wear->v[k].run;
		const double b = run_mean(wear, wr, run, &k), a = run_mean(time, tr, run, &i);
		if (!isfinite(a) || !isfinite(b))
			continue;
		aa += a * a;
		bb += b * b;
		ab += a * b;
	}
	return aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : 0;
}

/*
 * Fieller's limits of rho = a / b: the roots of (a - rho b)^2 = q^2 var(a - rho b), here with
 * a = -wear slope, b = time slope, and q the t quantile. Finite only where b stands clear of
 * zero, q^2 var(b) < b^2.
 */
static bool by_effort(
	struct exchange *e, const struct slope *wear, const struct slope *time, double correlation)
{
	const double q = gsl_cdf_tdist_Pinv(0.975, fmin(wear->df, time->df));
	const double a = -wear->value, b = time->value, va = wear->se * wear->se;
	const double vb = time->se * time->se, vab = -correlation * wear->se * time->se;
	if (!(b * b > q * q * vb)) {
		snprintf(e->note, sizeof e->note,
			"effort's effect on lap time does not stand clear of zero");
		return false;
	}
	e->method = EXCHANGE_EFFORT;
	e->value = a / b;
	e->se = sqrt(fmax(va - 2 * e->value * vab + e->value * e->value * vb, 0)) / fabs(b);
	const double A = b * b - q * q * vb, B = a * b - q * q * vab, C = a * a - q * q * va;
	const double root = sqrt(fmax(B * B - A * C, 0));
	e->low = (B - root) / A;
	e->high = (B + root) / A;
	e->has_interval = true;
	e->note[0] = '\0';
	return true;
}

/* What the regression inside runs is made of, for one channel. */
enum { WITHIN_COLS = 4 }; /* tyre age, fuel, time, wear */
static const enum covariate adjusts[] = {COV_TYRE_AGE, COV_FUEL};
struct inside {
	const struct obs_list *o;
	bool use[WITHIN_COLS];
	double known_time[2], known_wear[2]; /* slopes that the book gives, 0 if none */
};

static void inside_values(const struct inside *s, const struct obs *o, double *v)
{
	v[2] = o->time;
	v[3] = o->y;
	for (int c = 0; c < 2; c++) {
		v[c] = o->cov[adjusts[c]];
		v[2] -= s->known_time[c] * v[c];
		v[3] -= s->known_wear[c] * v[c];
	}
}

/* Deviations from the run means of the columns in use, times sqrt(n), into the triangle. */
static void push_inside(const struct inside *s, const bool *use, struct tri *q)
{
	const struct obs_list *o = s->o;
	for (size_t i = 0, end; i < o->n; i = end) {
		double first[WITHIN_COLS], mean[WITHIN_COLS] = {0}, v[WITHIN_COLS], w = 0;
		inside_values(s, &o->v[i], first);
		for (end = i; end < o->n && o->v[end].run == o->v[i].run; end++) {
			inside_values(s, &o->v[end], v);
			w += (double)o->v[end].n;
			for (int c = 0; c < WITHIN_COLS; c++)
				mean[c] += (double)o->v[end].n * (v[c] - first[c]);
		}
		for (size_t k = i; k < end; k++) {
			double row[WITHIN_COLS];
			size_t p = 0;
			inside_values(s, &o->v[k], v);
			for (int c = 0; c < WITHIN_COLS; c++)
				if (use[c])
					row[p++] = sqrt((double)o->v[k].n) *
						   (v[c] - first[c] - mean[c] / w);
			tri_push(q, row);
		}
	}
	tri_finish(q);
}

/*
 * An adjustment enters where it is known on every reading, varies inside runs and is not
 * told by those in use. Slopes that the book gives are taken off; with both given there is
 * nothing left to adjust.
 */
static bool choose_column(const struct model *m, size_t channel, int c, struct inside *s)
{
	const struct covariate_rule *rule = &m->book->covariates[adjusts[c]];
	const struct opt_num *time = &rule->known[RESPONSE_TIME], *wear = &rule->known[1 + channel];
	struct tri q;
	for (size_t i = 0; i < s->o->n; i++)
		if (!s->o->v[i].has[adjusts[c]])
			return true;
	if (rule->off)
		return true;
	s->known_time[c] = time->has ? time->v : 0;
	s->known_wear[c] = wear->has ? wear->v : 0;
	if (time->has && wear->has)
		return true;
	bool with[WITHIN_COLS] = {s->use[0], s->use[1], false, false};
	with[c] = true;
	const size_t p = (size_t)with[0] + (size_t)with[1];
	if (!tri_init(&q, p))
		return false;
	push_inside(s, with, &q);
	double norm = 0;
	for (size_t i = 0; i < p; i++)
		norm += q.t[i * p + p - 1] * q.t[i * p + p - 1];
	s->use[c] = norm > 1e-18 && fabs(q.t[p * p - 1]) > REML_RANK_TOL * sqrt(norm);
	tri_free(&q);
	return true;
}

static size_t count_runs(const struct obs_list *o)
{
	size_t n = 0;
	for (size_t i = 0; i < o->n; i++)
		n += i == 0 || o->v[i].run != o->v[i - 1].run;
	return n;
}

/* Noise in lap time pulls this slope towards zero: at least so much is saved. */
static bool by_runs(
	const struct model *m, size_t channel, const struct obs_list *o, struct exchange *e)
{
	struct inside s = {.o = o, .use = {false, false, true, true}};
	if (!choose_column(m, channel, 0, &s) || !choose_column(m, channel, 1, &s))
		return false;
	const size_t adjusted = (size_t)s.use[0] + (size_t)s.use[1], p = adjusted + 2;
	struct tri q;
	if (!tri_init(&q, p))
		return false;
	push_inside(&s, s.use, &q);
	const size_t k = adjusted; /* the column of lap time */
	double norm = 0;
	for (size_t i = 0; i <= k; i++)
		norm += q.t[i * p + k] * q.t[i * p + k];
	const double d = q.t[k * p + k], rest = q.t[(k + 1) * p + k + 1];
	const double df = (double)o->n - (double)count_runs(o) - (double)adjusted - 1;
	if (df > 0 && norm > 0 && fabs(d) > REML_RANK_TOL * sqrt(norm)) {
		const double quantile = gsl_cdf_tdist_Pinv(0.975, df);
		e->method = EXCHANGE_WITHIN_RUN;
		e->value = -q.t[k * p + k + 1] / d;
		e->se = sqrt(rest * rest / df) / fabs(d);
		e->low = e->value - quantile * e->se;
		e->high = e->value + quantile * e->se;
		e->has_interval = true;
	}
	tri_free(&q);
	return true;
}

static void add_words(struct exchange *e, const char *words)
{
	const size_t len = strlen(e->note);
	snprintf(e->note + len, sizeof e->note - len, "%s%s", len ? "; " : "", words);
}

bool exchange_find(struct model *m, size_t channel, const struct obs_list *time,
	const double *time_res, const struct obs_list *wear, const double *wear_res)
{
	struct exchange *e = &m->exchange[channel];
	const struct response *t = &m->responses[RESPONSE_TIME], *w = &m->responses[1 + channel];
	struct slope ts, ws;
	memset(e, 0, sizeof *e);
	if (t->fitted && w->fitted) {
		e->correlation = residual_correlation(time, time_res, wear, wear_res);
		e->run_correlation = run_correlation(time, time_res, wear, wear_res);
	}
	if (m->book->exchange[channel].has) {
		e->method = EXCHANGE_GIVEN;
		e->value = m->book->exchange[channel].v;
		return true;
	}
	if (wear->n == 0) {
		add_words(e, "no wear readings");
		return true;
	}
	if (!find_slope(t, COV_EFFORT, &ts) || !find_slope(w, COV_EFFORT, &ws))
		snprintf(e->note, sizeof e->note,
			"effort is not logged on every lap, does not vary, or cannot be told");
	else if (by_effort(e, &ws, &ts, e->correlation))
		return true;
	if (!by_runs(m, channel, wear, e))
		return false;
	if (e->method == EXCHANGE_WITHIN_RUN)
		add_words(e, "at least: noise in lap time pulls the figure towards zero");
	else
		add_words(e, "and lap time inside runs does not tell it");
	return true;
}
