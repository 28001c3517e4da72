/* One response from its readings: columns, fit, and what the fit can and cannot tell. */
#include "model/internal.h"

#include "model/qr.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void response_free(struct response *r)
{
	free(r->terms);
	free(r->b);
	free(r->cov);
	free(r->within);
	free(r->unsure);
	free(r->estimable);
	free(r->null_basis);
	free(r->scale);
	free(r->component);
	free(r->lo);
	free(r->hi);
	free(r->prior_part);
	if (r->own)
		response_free(r->own);
	free(r->own);
	memset(r, 0, sizeof *r);
}

static bool make_terms(const struct fit_job *j, struct response *r)
{
	size_t n = j->setup->n + COV_N;
	for (int f = 0; f < FAC_N; f++)
		n += j->levels[f].n;
	r->terms = calloc(n, sizeof *r->terms);
	if (!r->terms)
		return false;
	memcpy(r->terms, j->setup->terms, j->setup->n * sizeof *r->terms);
	r->n_terms = j->setup->n;
	for (int c = 0; c < COV_N; c++) {
		if (!j->covariate[c])
			continue;
		struct term *t = &r->terms[r->n_terms++];
		t->kind = TERM_COVARIATE;
		t->a = c;
		snprintf(t->id, sizeof t->id, "%s", covariate_names[c]);
	}
	for (int f = 0; f < FAC_N; f++)
		for (size_t k = 1; k < j->levels[f].n; k++) {
			struct term *t = &r->terms[r->n_terms++];
			t->kind = TERM_FACTOR;
			t->a = f;
			t->b = (int)k;
			snprintf(t->id, sizeof t->id, "%s.%s", factor_names[f],
				j->levels[f].level[k]);
		}
	return true;
}

static double factor_value(const struct fit_job *j, const struct term *t, const struct run *r)
{
	const char *level = t->a == FAC_DRIVER    ? r->driver
			    : t->a == FAC_SESSION ? r->session
						  : r->compound;
	return strcmp(level, j->levels[t->a].level[t->b]) == 0 ? 1 : 0;
}

/* The columns after the set-up's: covariates lap by lap, factors the same all through a run. */
static double *make_rows(const struct fit_job *j, const struct response *r)
{
	const size_t base = j->setup->n, p = r->n_terms - base;
	double *x = malloc((j->obs->n * p + 1) * sizeof *x);
	for (size_t i = 0; x && i < j->obs->n; i++) {
		const struct obs *o = &j->obs->v[i];
		double *row = x + i * p;
		const bool same = i > 0 && o->run == o[-1].run;
		for (size_t t = 0; t < p; t++) {
			const struct term *term = &r->terms[base + t];
			if (term->kind == TERM_COVARIATE)
				row[t] = o->cov[term->a] - j->m->condition[term->a];
			else
				row[t] = same ? row[(ptrdiff_t)t - (ptrdiff_t)p]
					      : factor_value(j, term, &j->m->book->runs[o->run]);
		}
	}
	return x;
}

/* The set-up's columns, once a run that has a reading. */
static double *make_shared(const struct fit_job *j)
{
	const size_t base = j->setup->n;
	double *x = malloc((j->m->book->n_runs * base + 1) * sizeof *x);
	size_t n = 0;
	for (size_t i = 0; x && i < j->obs->n; i++) {
		const struct obs *o = &j->obs->v[i];
		if (i == 0 || o->run != o[-1].run)
			memcpy(x + base * n++, j->setup->rows + base * (size_t)o->run,
				base * sizeof *x);
	}
	return x;
}

static size_t make_groups(const struct obs_list *o, int *group)
{
	int n = -1;
	for (size_t i = 0; i < o->n; i++) {
		if (i == 0 || o->v[i].run != o->v[i - 1].run)
			n++;
		group[i] = n;
	}
	return (size_t)n + 1;
}

/*
 * Terms that always moved together: the null space is a direct sum over the finest
 * blocks of columns, and those are the connected parts of its projection N N'.
 */
static void find_component(struct response *r, size_t t, int id)
{
	const size_t p = r->n_terms;
	r->component[t] = id;
	for (size_t u = 0; u < p; u++) {
		double s = 0;
		for (size_t k = 0; k < r->n_null; k++)
			s += r->null_basis[k * p + t] * r->null_basis[k * p + u];
		if (r->component[u] < 0 && !r->estimable[u] && fabs(s) > 1e-8)
			find_component(r, u, id);
	}
}

bool response_aliases(struct response *r)
{
	const size_t p = r->n_terms;
	double *e = calloc(p, sizeof *e);
	r->estimable = calloc(p, sizeof *r->estimable);
	r->component = malloc(p * sizeof *r->component);
	const bool ok = e && r->estimable && r->component;
	int n = 0;
	for (size_t t = 0; ok && t < p; t++) {
		e[t] = 1;
		r->estimable[t] =
			row_space_has(e, p, r->scale, r->null_basis, r->n_null, REML_RANK_TOL);
		r->component[t] = -1;
		e[t] = 0;
	}
	for (size_t t = 0; ok && t < p; t++)
		if (!r->estimable[t] && r->component[t] < 0)
			find_component(r, t, n++);
	free(e);
	return ok;
}

static bool driven_range(const struct fit_job *j, struct response *r)
{
	const struct model *m = j->m;
	double *x = malloc((m->n_coords + 1) * sizeof *x);
	r->lo = malloc((m->n_coords + 1) * sizeof *r->lo);
	r->hi = malloc((m->n_coords + 1) * sizeof *r->hi);
	const bool ok = x && r->lo && r->hi;
	for (size_t i = 0; ok && i < j->obs->n; i++) {
		if (i > 0 && j->obs->v[i].run == j->obs->v[i - 1].run)
			continue;
		model_coords(m, m->book->runs[j->obs->v[i].run].values, x);
		for (size_t c = 0; c < m->n_coords; c++) {
			r->lo[c] = i == 0 ? x[c] : fmin(r->lo[c], x[c]);
			r->hi[c] = i == 0 ? x[c] : fmax(r->hi[c], x[c]);
		}
	}
	free(x);
	return ok;
}

/* Containment (Pinheiro & Bates 2000, 2.4.2). */
static void degrees_of_freedom(const struct reml_fit *f, struct response *r)
{
	const double inside = (double)(f->rank - f->rank_between);
	r->df_run = (double)r->n_runs - (double)f->rank_between;
	r->df_lap = f->one_row_a_group ? 0 : (double)r->n_obs - (double)r->n_runs - inside;
	r->df_lap = fmax(r->df_lap, 0);
	r->t_run = r->df_run > 0 ? gsl_cdf_tdist_Pinv(0.975, r->df_run) : 0;
	r->t_lap = r->df_lap > 0 ? gsl_cdf_tdist_Pinv(0.975, r->df_lap) : 0;
}

/* The fit's arrays become the response's. */
static void take_fit(struct reml_fit *f, struct response *r)
{
	r->rank = f->rank;
	r->one_obs_a_run = f->one_row_a_group;
	r->sigma_run = f->sigma_group;
	r->sigma_lap = f->sigma;
	r->lambda = f->lambda;
	r->has_log_reml = f->has_log_reml;
	r->log_reml = f->log_reml;
	r->n_null = f->n_null;
	r->b = f->b;
	r->cov = f->cov;
	r->within = f->within;
	r->unsure = f->unsure;
	r->scale = f->scale;
	r->null_basis = f->null_basis;
	f->b = f->cov = f->scale = f->null_basis = NULL;
	f->within = f->unsure = NULL;
	degrees_of_freedom(f, r);
}

/* y - Xb, the set-up's part once a run. */
static void residuals(
	const struct fit_job *j, const struct reml_data *d, const double *b, double *res)
{
	const size_t rest = d->p - d->shared;
	double setup = 0;
	for (size_t i = 0; i < d->n; i++) {
		if (i == 0 || d->group[i] != d->group[i - 1]) {
			setup = 0;
			for (size_t t = 0; t < d->shared; t++)
				setup += d->xg[(size_t)d->group[i] * d->shared + t] * b[t];
		}
		res[i] = j->y[i] - setup;
		for (size_t t = 0; t < rest; t++)
			res[i] -= d->x[i * rest + t] * b[d->shared + t];
	}
}

static bool fit_matrix(const struct fit_job *j, struct reml_data *d, int *group, double *w,
	double *res, struct response *r, struct err *err)
{
	struct reml_fit f;
	for (size_t i = 0; i < j->obs->n; i++)
		w[i] = (double)j->obs->v[i].n;
	r->n_runs = d->groups = make_groups(j->obs, group);
	d->w = w;
	d->group = group;
	if (!reml_fit(d, &f, err))
		return false;
	take_fit(&f, r);
	residuals(j, d, r->b, res);
	bool ok = response_aliases(r) && driven_range(j, r);
	if (ok && j->judge)
		ok = check_lack_of_fit(j, d, res, &f, r) && check_suspects(j, d, res, &f);
	reml_free(&f);
	return ok || err_memory(err);
}

bool fit_response(const struct fit_job *j, struct response *r, struct err *err)
{
	r->n_obs = j->obs->n;
	r->n_laps = j->obs->laps;
	for (size_t i = 0; i < j->obs->n; i++)
		r->mean += j->obs->v[i].y * (double)j->obs->v[i].n / (double)r->n_laps;
	r->curvature = j->setup->curvature;
	if (j->obs->n == 0) {
		snprintf(r->why, sizeof r->why, "no reading to fit");
		return true;
	}
	const bool named = make_terms(j, r);
	double *x = named ? make_rows(j, r) : NULL, *xg = make_shared(j);
	int *group = malloc(j->obs->n * sizeof *group);
	double *w = malloc(2 * j->obs->n * sizeof *w);
	struct reml_data d = {.n = j->obs->n,
		.p = r->n_terms,
		.shared = j->setup->n,
		.xg = xg,
		.x = x,
		.y = j->y};
	bool ok = x && xg && group && w;
	if (!ok)
		err_memory(err);
	ok = ok && fit_matrix(j, &d, group, w, j->residual ? j->residual : w + d.n, r, err);
	free(x);
	free(xg);
	free(group);
	free(w);
	if (ok)
		r->fitted = true;
	else
		response_free(r);
	return ok;
}
