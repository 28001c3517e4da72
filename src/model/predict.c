/* Questions to a fitted model. Nothing here allocates but a footing: it runs at every key. */
#include "model/internal.h"

#include "model/qr.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Rows up to this length live on the stack; longer ones make the answer "not known". */
enum { ROW_MAX = 1024 };

bool model_estimable(const struct response *r, const double *l)
{
	return r->fitted &&
	       row_space_has(l, r->n_terms, r->scale, r->null_basis, r->n_null, REML_RANK_TOL);
}

const struct response *model_driven(const struct response *r)
{
	return r->own ? r->own : r;
}

int model_driven_term(const struct response *r, size_t t)
{
	const struct term *k = &r->terms[t];
	if (!r->own)
		return (int)t;
	for (size_t u = 0; u < r->own->n_terms; u++) {
		const struct term *v = &r->own->terms[u];
		if (v->kind == k->kind && v->a == k->a && v->b == k->b)
			return (int)u;
	}
	return -1;
}

bool model_driven_estimable(const struct response *r, const double *l)
{
	double mine[ROW_MAX] = {0};
	if (!r->own)
		return model_estimable(r, l);
	if (r->own->n_terms > ROW_MAX)
		return false;
	for (size_t t = 0; t < r->n_terms; t++) {
		const int u = l[t] != 0 ? model_driven_term(r, t) : -1;
		if (u >= 0)
			mine[u] = l[t];
	}
	return model_estimable(r->own, mine);
}

static double quadratic(const struct response *r, const double *cov, const double *l)
{
	const size_t p = r->n_terms;
	double v = 0;
	for (size_t i = 0; i < p; i++) {
		if (l[i] == 0)
			continue;
		const double *c = cov + i * p;
		double s = 0.5 * l[i] * c[i];
		for (size_t k = i + 1; k < p; k++)
			s += l[k] * c[k];
		v += 2 * l[i] * s;
	}
	return fmax(v, 0);
}

static double variance(const struct response *r, const double *l)
{
	return quadratic(r, r->cov, l);
}

/* The least degrees of freedom among the terms that a contrast involves; false where these
 * give no interval. */
static bool contrast_df(const struct response *r, const double *l, double *df, double *quantile)
{
	bool run = false, lap = false, unsure = false;
	for (size_t t = 0; t < r->n_terms; t++)
		if (l[t] != 0) {
			*(r->within[t] ? &lap : &run) = true;
			unsure = unsure || r->unsure[t];
		}
	const bool by_run = (run || !lap) && (!lap || r->df_run <= r->df_lap);
	*df = by_run ? r->df_run : r->df_lap;
	*quantile = by_run ? r->t_run : r->t_lap;
	return !unsure && *df > 0;
}

/*
 * With borrowed effects the variance has two parts, the runs' here and the old books', each
 * with degrees of freedom of its own: Satterthwaite (1946) for the sum.
 */
static bool shared_df(
	const struct response *r, const double *l, struct estimate *e, double *quantile)
{
	const double all = variance(r, l), prior = fmin(all, quadratic(r, r->prior_part, l));
	const double here = all - prior;
	if (!contrast_df(r, l, &e->df, quantile))
		return false;
	e->borrowed = all > 0 ? prior / all : 0;
	if (all > 0 && e->borrowed > 0) {
		e->df = all * all / (here * here / e->df + prior * prior / r->df_prior);
		*quantile = gsl_cdf_tdist_Pinv(0.975, e->df);
	}
	return true;
}

static void set_interval(struct estimate *e, double quantile)
{
	e->low = e->value - quantile * e->se;
	e->high = e->value + quantile * e->se;
}

struct estimate model_contrast(const struct response *r, const double *l)
{
	struct estimate e = {.se = NAN, .low = NAN, .high = NAN};
	double quantile;
	if (!model_estimable(r, l))
		return e;
	e.known = true;
	for (size_t t = 0; t < r->n_terms; t++)
		e.value += l[t] * r->b[t];
	e.has_interval =
		r->own ? shared_df(r, l, &e, &quantile) : contrast_df(r, l, &e.df, &quantile);
	if (!e.has_interval)
		return e;
	e.se = sqrt(variance(r, l));
	set_interval(&e, quantile);
	return e;
}

static const struct estimate not_known = {.se = NAN, .low = NAN, .high = NAN};

/* Two sets of values as coordinates, what is told of and what it is told against. */
struct places {
	double x[ROW_MAX], x0[ROW_MAX];
};

/* False: no room. against may be NULL. */
static bool find_places(
	const struct model *m, const fix *values, const fix *against, struct places *p)
{
	if (m->n_coords > ROW_MAX)
		return false;
	model_coords(m, values, p->x);
	if (against)
		model_coords(m, against, p->x0);
	return true;
}

/* Row of a difference; group >= 0: only that group's terms. False: no room. */
static bool delta_row(const struct model *m, const struct response *r, int group,
	const struct places *p, double *l)
{
	if (!r->fitted || r->n_terms > ROW_MAX)
		return false;
	for (size_t t = 0; t < r->n_terms; t++) {
		const struct term *k = &r->terms[t];
		const bool mine =
			term_is_setup(k->kind) && (group < 0 || m->coords[k->a].group == group);
		l[t] = mine ? model_term_value(k, p->x) - model_term_value(k, p->x0) : 0;
	}
	return true;
}

static struct estimate value_at(const struct response *r, const double *x)
{
	double l[ROW_MAX];
	if (!r->fitted || r->n_terms > ROW_MAX)
		return not_known;
	for (size_t t = 0; t < r->n_terms; t++)
		l[t] = model_term_value(&r->terms[t], x);
	return model_contrast(r, l);
}

static struct estimate delta_at(
	const struct model *m, const struct response *r, int group, const struct places *p)
{
	double l[ROW_MAX];
	return delta_row(m, r, group, p, l) ? model_contrast(r, l) : not_known;
}

struct estimate model_response_value(
	const struct model *m, const struct response *r, const fix *values)
{
	struct places p;
	return find_places(m, values, NULL, &p) ? value_at(r, p.x) : not_known;
}

struct estimate model_value(const struct model *m, size_t response, const fix *values)
{
	return model_response_value(m, &m->responses[response], values);
}

static struct estimate delta(
	const struct model *m, size_t response, int group, const fix *values, const fix *against)
{
	struct places p;
	return find_places(m, values, against, &p) ? delta_at(m, &m->responses[response], group, &p)
						   : not_known;
}

struct estimate model_delta(
	const struct model *m, size_t response, const fix *values, const fix *against)
{
	return delta(m, response, -1, values, against);
}

struct estimate model_group_delta(
	const struct model *m, size_t response, size_t group, const fix *values, const fix *against)
{
	return delta(m, response, (int)group, values, against);
}

static bool outside(
	const struct model *m, const double *x, const double *lo, const double *hi, bool *out)
{
	bool any = false;
	for (size_t c = 0; c < m->n_coords; c++) {
		const double low = lo ? lo[c] : m->coords[c].lo,
			     high = hi ? hi[c] : m->coords[c].hi;
		const bool off = low > high || x[c] < low - 1e-12 || x[c] > high + 1e-12;
		any = any || off;
		if (out)
			out[c] = off;
	}
	return any;
}

bool model_extrapolated(const struct model *m, const fix *values, bool *out)
{
	struct places p;
	return find_places(m, values, NULL, &p) && outside(m, p.x, NULL, NULL, out);
}

bool model_response_extrapolated(
	const struct model *m, const struct response *r, const fix *values, bool *out)
{
	struct places p;
	return find_places(m, values, NULL, &p) && outside(m, p.x, r->lo, r->hi, out);
}

/* A larger exchange rate would turn the sign of like-for-like wear. */
static bool larger_turns(double like, double time)
{
	return (like < 0 && time > 0) || (like > 0 && time < 0);
}

/* Would another rate in its interval turn the sign? Of one that is only known to be at least so
 * large, any larger one has to be reckoned with. */
static bool leans(const struct exchange *x, bool bound, double like, double time)
{
	if (bound || !x->has_interval)
		return bound;
	const double other =
		like + time * ((larger_turns(like, time) ? x->high : x->low) - x->value);
	return like < 0 ? other >= 0 : other <= 0;
}

/*
 * P(T <= t). Abramowitz & Stegun (1964), 26.7.3 and 26.7.4, for few and whole degrees of
 * freedom: at a key GSL's way costs a tenth of the whole answer.
 */
static double t_below(double t, double df)
{
	if (!(df >= 1 && df <= 200) || df != floor(df))
		return gsl_cdf_tdist_P(t, df);
	const int n = (int)df;
	const bool odd = n % 2 == 1;
	const double c2 = df / (df + t * t), sine = t / sqrt(df + t * t);
	double sum = n > 1 ? 1 : 0, term = 1;
	for (int k = odd ? 2 : 1; k <= n - 3; k += 2) {
		term *= c2 * k / (k + 1);
		sum += term;
	}
	const double within =
		odd ? M_2_PI * (atan(t / sqrt(df)) + sine * sqrt(c2) * sum) : sine * sum;
	return (1 + within) / 2;
}

struct like_delta model_like_contrast(const struct model *m, size_t channel, const double *l)
{
	const struct response *r = &m->like[channel];
	const struct exchange *x = &m->exchange[channel];
	struct like_delta d = {.delta = model_contrast(r, l)};
	const struct estimate time = model_contrast(&m->like_time[channel], l);
	struct estimate *e = &d.delta;
	if (!e->known || !time.known)
		return d;
	d.stretched = fabs(time.value) > m->time_spread;
	d.bound = x->method == EXCHANGE_WITHIN_RUN && larger_turns(e->value, time.value);
	d.leans = leans(x, d.bound, e->value, time.value);
	if (!e->has_interval)
		return d;
	const double drift = time.value * x->se;
	e->se = sqrt(e->se * e->se + drift * drift);
	set_interval(e, e->df == r->df_run              ? r->t_run
			: !r->own || e->df == r->df_lap ? r->t_lap
							: gsl_cdf_tdist_Pinv(0.975, e->df));
	d.has_chance = e->se > 0;
	d.chance_better = d.has_chance ? t_below(-e->value / e->se, e->df) : 0;
	return d;
}

static struct like_delta like_at(const struct model *m, size_t c, int group, const struct places *p)
{
	double l[ROW_MAX];
	return delta_row(m, &m->like[c], group, p, l) ? model_like_contrast(m, c, l)
						      : (struct like_delta){.delta = not_known};
}

static struct like_delta like(
	const struct model *m, size_t c, int group, const fix *values, const fix *against)
{
	struct places p;
	return find_places(m, values, against, &p) ? like_at(m, c, group, &p)
						   : (struct like_delta){.delta = not_known};
}

struct like_delta model_like(
	const struct model *m, size_t channel, const fix *values, const fix *against)
{
	return like(m, channel, -1, values, against);
}

struct like_delta model_like_group(
	const struct model *m, size_t channel, size_t group, const fix *values, const fix *against)
{
	return like(m, channel, (int)group, values, against);
}

bool model_delta_driven(
	const struct model *m, size_t response, const fix *values, const fix *against)
{
	double l[ROW_MAX];
	const struct response *r = &m->responses[response];
	struct places p;
	return find_places(m, values, against, &p) && delta_row(m, r, -1, &p, l) &&
	       model_driven_estimable(r, l);
}

/* The part of l that lies in one component of aliased terms has an answer by itself. */
static bool component_told(const struct response *r, const double *l, int component)
{
	double part[ROW_MAX];
	for (size_t t = 0; t < r->n_terms; t++)
		part[t] = r->component[t] == component ? l[t] : 0;
	return model_estimable(r, part);
}

/* Where r has term t of model_driven(r). */
static int term_of(const struct response *r, int t)
{
	for (size_t u = 0; u < r->n_terms; u++)
		if (model_driven_term(r, u) == t)
			return (int)u;
	return t;
}

size_t model_untested(
	const struct model *m, size_t response, const fix *values, const fix *against, int *terms)
{
	double l[ROW_MAX];
	const struct response *r = model_driven(&m->responses[response]);
	struct places p;
	size_t n = 0;
	if (!find_places(m, values, against, &p) || !delta_row(m, r, -1, &p, l) ||
		model_estimable(r, l))
		return 0;
	for (size_t t = 0; t < r->n_terms; t++)
		if (l[t] != 0 && !r->estimable[t] && !component_told(r, l, r->component[t]))
			terms[n++] = term_of(&m->responses[response], (int)t);
	return n;
}

/*
 * Of one response at the values told against: its row l0, C l0 and l0'C l0. With l = l0 + d,
 * l'C l = l0'C l0 + d'(2 C l0) + d'C d, and d is mostly zeros.
 */
struct foot {
	double *row, *cov_row; /* owned [n_terms]; NULL where the values cannot be told */
	double variance;
};

struct footing {
	struct foot foot[RESPONSES_MAX];
};

static bool put_foot(
	const struct model *m, const struct response *r, const fix *against, struct foot *f)
{
	const size_t p = r->n_terms;
	if (!r->fitted || r->own || p > ROW_MAX)
		return true; /* told the long way */
	f->row = calloc(p + 1, sizeof *f->row);
	f->cov_row = calloc(p + 1, sizeof *f->cov_row);
	if (!f->row || !f->cov_row)
		return false;
	model_row(m, r, against, f->row);
	f->variance = variance(r, f->row);
	for (size_t i = 0; i < p; i++)
		for (size_t k = 0; k < p; k++)
			f->cov_row[i] += r->cov[i * p + k] * f->row[k];
	if (model_estimable(r, f->row))
		return true;
	free(f->row);
	f->row = NULL;
	return true;
}

struct footing *footing_new(const struct model *m, const fix *against)
{
	struct footing *f = calloc(1, sizeof *f);
	for (size_t r = 0; f && r < m->n_responses; r++)
		if (!put_foot(m, &m->responses[r], against, &f->foot[r])) {
			footing_free(f);
			return NULL;
		}
	return f;
}

void footing_free(struct footing *f)
{
	for (size_t r = 0; f && r < RESPONSES_MAX; r++) {
		free(f->foot[r].row);
		free(f->foot[r].cov_row);
	}
	free(f);
}

/* The value a step d from the foot; d can be told. */
static struct estimate value_near(const struct response *r, const struct foot *f, const double *d)
{
	struct estimate e = {.known = true, .se = NAN, .low = NAN, .high = NAN};
	double l[ROW_MAX], quantile, v = f->variance + variance(r, d);
	for (size_t t = 0; t < r->n_terms; t++) {
		l[t] = f->row[t] + d[t];
		e.value += l[t] * r->b[t];
		v += 2 * d[t] * f->cov_row[t];
	}
	e.has_interval = contrast_df(r, l, &e.df, &quantile);
	if (e.has_interval) {
		e.se = sqrt(fmax(v, 0));
		set_interval(&e, quantile);
	}
	return e;
}

void model_predict(const struct model *m, const fix *values, const fix *against,
	const struct footing *f, struct prediction *out)
{
	struct places p;
	double d[ROW_MAX];
	const bool room = find_places(m, values, against, &p);
	out->extrapolated = room && outside(m, p.x, NULL, NULL, NULL);
	for (size_t i = 0; i < m->n_responses; i++) {
		const struct response *r = &m->responses[i];
		const bool step = room && against && delta_row(m, r, -1, &p, d);
		out->delta[i] = step ? model_contrast(r, d) : not_known;
		if (out->delta[i].known && f && f->foot[i].row)
			out->value[i] = value_near(r, &f->foot[i], d);
		else
			out->value[i] = room ? value_at(r, p.x) : not_known;
	}
	for (size_t c = 0; c + 1 < m->n_responses; c++)
		out->like[c] = room && against ? like_at(m, c, -1, &p)
					       : (struct like_delta){.delta = not_known};
}

/* Slope of a response on tyre age per lap, fitted or known; 0 without one. */
static double age_slope(const struct model *m, size_t response)
{
	const struct response *r = &m->responses[response];
	const struct covariate_rule *rule = &m->book->covariates[COV_TYRE_AGE];
	for (size_t t = 0; t < r->n_terms; t++)
		if (r->terms[t].kind == TERM_COVARIATE && r->terms[t].a == COV_TYRE_AGE &&
			r->estimable[t])
			return r->b[t];
	return !rule->off && rule->known[response].has ? rule->known[response].v : 0;
}

/* Laps on a fresh set until the limit, parts of a lap counted; INFINITY if never. *worn: how
 * far it came. A tyre does not grow back, whatever the slope on its age. */
static double laps_to_limit(const struct model *m, size_t response, double wear, double *worn)
{
	const double slope = age_slope(m, response);
	*worn = 0;
	for (int lap = 0; lap < 2000; lap++) {
		const double w = fmax(0, wear + slope * (lap - m->condition[COV_TYRE_AGE]));
		if (w > 0 && *worn + w >= m->book->wear_limit)
			return lap + (m->book->wear_limit - *worn) / w;
		*worn += w;
	}
	return INFINITY;
}

int model_limiting_channel(const struct model *m, const fix *values)
{
	int best = -1;
	double least = INFINITY, most = -INFINITY;
	for (size_t c = 0; c < m->book->n_channels; c++) {
		const struct estimate e = model_value(m, 1 + c, values);
		if (!e.known)
			continue;
		double worn;
		const double laps = laps_to_limit(m, 1 + c, e.value, &worn);
		if (laps < least || (!isfinite(least) && !isfinite(laps) && worn > most)) {
			best = (int)c;
			least = laps;
			most = worn;
		}
	}
	return best;
}
