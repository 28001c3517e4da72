/* The runs here and the borrowed prior on top of each other; doc/borrow.md. */
#include "model/borrow.h"
#include "model/internal.h"
#include "model/qr.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Own figures alone weigh the runs from here on; old books' count for no more than POOL_MAX. */
enum { OWN_ENOUGH = 8, POOL_MAX = 20 };

void posterior_free(struct posterior *q)
{
	free(q->b);
	free(q->cov);
	free(q->part);
	free(q->scale);
	free(q->null_basis);
	memset(q, 0, sizeof *q);
}

static void push_all(struct tri *all, const struct tri *own, const double *prior, size_t n_prior,
	size_t p, const int *map, double *row)
{
	tri_clear(all);
	tri_push_tri(all, own, 1, map);
	for (size_t i = 0; i < n_prior; i++) {
		memset(row, 0, all->m * sizeof *row);
		for (size_t j = 0; j <= p; j++)
			if (map[j] >= 0)
				row[map[j]] = prior[i * (p + 1) + j];
		tri_push(all, row);
	}
	tri_finish(all);
}

/* C = R^-1 R^-T, and the part of it that the prior's scatter makes: C L'L C. */
static void fill(struct posterior *q, const int *from, size_t kept, const double *inv,
	const double *x, const double *prior, size_t n_prior, double *one)
{
	const size_t p = q->p;
	for (size_t i = 0; i < kept; i++) {
		q->b[from[i]] = x[i];
		for (size_t j = 0; j < kept; j++) {
			double s = 0;
			for (size_t k = i > j ? i : j; k < kept; k++)
				s += inv[i * kept + k] * inv[j * kept + k];
			q->cov[(size_t)from[i] * p + (size_t)from[j]] = s;
		}
	}
	for (size_t i = 0; i < n_prior; i++) {
		const double *l = prior + i * (p + 1);
		for (size_t j = 0; j < p; j++) {
			one[j] = 0;
			for (size_t k = 0; k < p; k++)
				one[j] += l[k] * q->cov[k * p + j];
		}
		for (size_t j = 0; j < p; j++)
			for (size_t k = 0; k < p; k++)
				q->part[j * p + k] += one[j] * one[k];
	}
}

bool posterior_solve(
	const struct tri *own, const double *prior, size_t n_prior, size_t p, struct posterior *out)
{
	const size_t m = p + 1;
	struct tri all = {0}, less = {0};
	bool *dropped = calloc(m, sizeof *dropped);
	int *map = malloc(m * sizeof *map), *from = malloc(m * sizeof *from);
	double *row = malloc(m * sizeof *row), *inv = malloc((p * p + 1) * sizeof *inv);
	*out = (struct posterior){.p = p,
		.b = calloc(m, sizeof(double)),
		.cov = calloc(p * p + 1, sizeof(double)),
		.part = calloc(p * p + 1, sizeof(double)),
		.scale = calloc(m, sizeof(double))};
	bool ok = dropped && map && from && row && inv && out->b && out->cov && out->part &&
		  out->scale && tri_init(&all, m);
	size_t kept = 0;
	for (size_t j = 0; ok && j < m; j++)
		map[j] = (int)j;
	if (ok) {
		push_all(&all, own, prior, n_prior, p, map, row);
		ok = rank_test(all.t, p, p, m, REML_RANK_TOL, &out->rank, dropped, out->scale,
			&out->n_null, &out->null_basis);
	}
	for (size_t j = 0; ok && j < p; j++) {
		map[j] = dropped[j] ? -1 : (int)kept;
		if (!dropped[j])
			from[kept++] = (int)j;
	}
	ok = ok && tri_init(&less, kept + 1);
	if (ok) {
		map[p] = (int)kept;
		push_all(&less, own, prior, n_prior, p, map, row);
		tri_solve(less.t, kept + 1, kept, less.t + kept, kept + 1, row);
		tri_invert(less.t, kept + 1, kept, inv);
		double *one = malloc(m * sizeof *one);
		ok = one != NULL;
		if (ok)
			fill(out, from, kept, inv, row, prior, n_prior, one);
		free(one);
	}
	tri_free(&all);
	tri_free(&less);
	free(dropped);
	free(map);
	free(from);
	free(row);
	free(inv);
	if (!ok)
		posterior_free(out);
	return ok;
}

/* Variances that weigh the runs: from run to run, from lap to lap. */
struct noise {
	double run, lap, df_run, df_lap;
};

static double pool(double own, double df_own, double old, double df_old, double *df)
{
	if (!(df_own > 0) || !isfinite(own))
		own = df_own = 0;
	if (df_own >= OWN_ENOUGH || !(df_old > 0))
		df_old = old = 0;
	df_old = fmin(df_old, POOL_MAX);
	*df = df_own + df_old;
	return *df > 0 ? (df_own * own + df_old * old) / *df : 0;
}

static struct noise find_noise(const struct prior *pr, const struct response *r)
{
	const double unit = pr->base * pr->base, laps = (double)r->n_laps / (double)r->n_obs;
	struct noise v = {0};
	double run = pr->run;
	if (r->one_obs_a_run) /* one reading holds both */
		run += pr->lap / laps;
	else
		v.lap = pool(r->sigma_lap * r->sigma_lap, r->df_lap, pr->lap * unit, pr->df_lap,
			&v.df_lap);
	v.run = pool(r->sigma_run * r->sigma_run, r->df_run, run * unit, pr->df_run, &v.df_run);
	const double least = 1e-18 * unit; /* of noiseless runs: rounding */
	v.run = fmax(v.run, least);
	if (!r->one_obs_a_run)
		v.lap = fmax(v.lap, least);
	return v;
}

/* Terms of the posterior: the fit here's, with the prior's squares and products put among them. */
static bool lay_terms(const struct prior *pr, const struct response *own, struct response *r)
{
	r->terms = calloc(own->n_terms + pr->n + 1, sizeof *r->terms);
	if (!r->terms)
		return false;
	r->n_terms = 0;
	for (size_t t = 0; t < own->n_terms && own->terms[t].kind == TERM_INTERCEPT; t++)
		r->terms[r->n_terms++] = own->terms[t];
	for (size_t t = 0; t < pr->n; t++)
		r->terms[r->n_terms++] = pr->terms[t];
	for (size_t t = 0; t < own->n_terms; t++)
		if (own->terms[t].kind == TERM_COVARIATE || own->terms[t].kind == TERM_FACTOR)
			r->terms[r->n_terms++] = own->terms[t];
	return true;
}

static void fill_row(const struct model *m, const struct response *r, const struct obs *o,
	const double *x, double *row)
{
	for (size_t t = 0; t < r->n_terms; t++) {
		const struct term *k = &r->terms[t];
		if (k->kind == TERM_COVARIATE)
			row[t] = o->cov[k->a] - m->condition[k->a];
		else if (k->kind == TERM_FACTOR)
			row[t] = run_has_level(&m->book->runs[o->run], k);
		else
			row[t] = model_term_value(k, x);
	}
}

/* The rows of one run: deviations from its mean, and the mean. `at` holds its rows with y last. */
static void push_run(struct tri *q, const struct obs *o, size_t n, const double *at, size_t m,
	const struct noise *v, bool one_obs, double *row, double *mean)
{
	double W = 0;
	memset(mean, 0, m * sizeof *mean);
	for (size_t i = 0; i < n; i++) {
		W += (double)o[i].n;
		for (size_t j = 0; j < m; j++)
			mean[j] += (double)o[i].n * (at[i * m + j] - at[j]);
	}
	for (size_t j = 0; j < m; j++)
		mean[j] = at[j] + mean[j] / W;
	for (size_t i = 0; i < n && !one_obs; i++) {
		for (size_t j = 0; j < m; j++)
			row[j] = sqrt((double)o[i].n / v->lap) * (at[i * m + j] - mean[j]);
		tri_push(q, row);
	}
	const double root = 1 / sqrt(v->run + (one_obs ? 0 : v->lap / W));
	for (size_t j = 0; j < m; j++)
		row[j] = root * mean[j];
	tri_push(q, row);
}

/* The runs here, whitened, as a triangle over r's terms and y. */
static bool stack_own(const struct model *m, const struct response *r, const struct obs_list *o,
	const double *y, const struct noise *v, bool one_obs, struct tri *q)
{
	const size_t w = r->n_terms + 1;
	size_t most = 0, at = 0;
	for (size_t i = 0; i < o->n; i++) {
		at = i > 0 && o->v[i].run == o->v[i - 1].run ? at + 1 : 1;
		most = at > most ? at : most;
	}
	double *rows = malloc((most + 2) * w * sizeof *rows),
	       *x = malloc((m->n_coords + 1) * sizeof *x);
	const bool ok = rows && x && tri_init(q, w);
	for (size_t i = 0, n; ok && i < o->n; i += n) {
		model_coords(m, m->book->runs[o->v[i].run].values, x);
		for (n = 0; i + n < o->n && o->v[i + n].run == o->v[i].run; n++) {
			fill_row(m, r, &o->v[i + n], x, rows + (n + 2) * w);
			rows[(n + 2) * w + w - 1] = y[i + n];
		}
		push_run(q, &o->v[i], n, rows + 2 * w, w, v, one_obs, rows, rows + w);
	}
	if (ok)
		tri_finish(q);
	free(rows);
	free(x);
	return ok;
}

/* The prior's rows over r's terms in units of the response: L u b = L base mean, L'L cov = 1. */
static double *prior_rows(const struct prior *pr, const struct response *r)
{
	const size_t k = pr->rank, w = r->n_terms + 1;
	double *l = malloc((k * k + 1) * sizeof *l), *out = calloc(k * w + 1, sizeof *out);
	bool ok = l && out;
	if (ok) {
		memcpy(l, pr->cov, k * k * sizeof *l);
		gsl_matrix_view v = gsl_matrix_view_array(l, k, k);
		ok = gsl_linalg_cholesky_decomp1(&v.matrix) == 0;
	}
	for (size_t i = 0; ok && i < k; i++) {
		for (size_t j = 0; j < pr->n; j++)
			out[i * w + 1 + j] = pr->u[i * pr->n + j] / pr->base;
		out[i * w + w - 1] = pr->mean[i];
		for (size_t c = 0; c < w; c++) {
			for (size_t e = 0; e < i; e++)
				out[i * w + c] -= l[i * k + e] * out[e * w + c];
			out[i * w + c] /= l[i * k + i];
		}
	}
	free(l);
	if (ok)
		return out;
	free(out);
	return NULL;
}

static bool copy_ranges(const struct model *m, const struct response *own, struct response *r)
{
	r->lo = malloc((m->n_coords + 1) * sizeof *r->lo);
	r->hi = malloc((m->n_coords + 1) * sizeof *r->hi);
	r->within = calloc(r->n_terms + 1, sizeof *r->within);
	r->unsure = calloc(r->n_terms + 1, sizeof *r->unsure);
	if (!r->lo || !r->hi || !r->within || !r->unsure)
		return false;
	memcpy(r->lo, own->lo, m->n_coords * sizeof *r->lo);
	memcpy(r->hi, own->hi, m->n_coords * sizeof *r->hi);
	for (size_t t = 0; t < r->n_terms; t++) {
		const int u = model_driven_term(r, t);
		r->within[t] = u >= 0 && own->within[u];
	}
	return true;
}

static void set_noise(struct response *r, const struct noise *v, double df_prior)
{
	r->sigma_run = sqrt(v->run);
	r->sigma_lap = r->one_obs_a_run ? NAN : sqrt(v->lap);
	r->lambda = v->lap > 0 ? v->run / v->lap : 0;
	r->df_run = v->df_run;
	r->df_lap = r->one_obs_a_run ? 0 : v->df_lap;
	r->t_run = r->df_run > 0 ? gsl_cdf_tdist_Pinv(0.975, r->df_run) : 0;
	r->t_lap = r->df_lap > 0 ? gsl_cdf_tdist_Pinv(0.975, r->df_lap) : 0;
	r->df_prior = df_prior;
}

/* A response that shares no memory with `own` and has none of its arrays yet. */
static struct response bare(const struct response *own)
{
	struct response r = *own;
	r.terms = NULL;
	r.b = r.cov = r.null_basis = r.scale = r.lo = r.hi = r.prior_part = NULL;
	r.within = r.unsure = r.estimable = NULL;
	r.component = NULL;
	r.own = NULL;
	return r;
}

/* Effects told by both. `own` are the runs alone, under the same noise. */
struct meeting {
	const struct model *m;
	struct borrowing *b;
	size_t slot;
	const struct prior *pr;
	const struct response *own;
	const struct posterior *alone;
	double df_here;
};

static double satterthwaite(double a, double df_a, double b, double df_b)
{
	return (a + b) * (a + b) / (a * a / df_a + b * b / df_b);
}

static bool add_conflict(const struct meeting *k, size_t t, double *row)
{
	struct borrowing *b = k->b;
	const size_t p = k->own->n_terms;
	double mean, variance;
	if (!k->own->estimable[t] || !prior_map(k->m, k->pr, k->own, t, row) ||
		!prior_contrast(k->pr, row, &mean, &variance))
		return true;
	struct conflict *grown = realloc(b->conflicts, (b->n_conflicts + 1) * sizeof *grown);
	if (!grown)
		return false;
	b->conflicts = grown;
	const double here = k->alone->cov[t * p + t], unit = k->pr->base,
		     old = unit * unit * variance;
	struct conflict c = {.slot = k->slot,
		.term = t,
		.here = k->alone->b[t],
		.here_se = sqrt(here),
		.borrowed = unit * mean,
		.borrowed_se = sqrt(old)};
	c.df = satterthwaite(here, k->df_here, old, k->pr->df);
	c.z = (c.here - c.borrowed) / sqrt(here + old);
	c.p = 2 * gsl_cdf_tdist_Q(fabs(c.z), c.df);
	grown[b->n_conflicts++] = c;
	return true;
}

/* Holm (1979): the smallest p against 5 % / n, the next against 5 % / (n - 1)... */
static void judge(struct conflict *c, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		size_t best = n;
		for (size_t k = 0; k < n; k++)
			if (!c[k].beyond && (best == n || c[k].p < c[best].p))
				best = k;
		if (!(c[best].p <= 0.05 / (double)(n - i)))
			return;
		c[best].beyond = true;
	}
}

/* Contrasts that the runs here and the prior both tell. */
struct both {
	size_t n;
	double *row, *over; /* owned: over the response's terms, over the prior's */
	double *d, *cov;    /* owned [n], [n * n]: differences, and their covariance */
	double *sum;        /* inside over: room for one more */
	double here, old;   /* traces of the two parts of cov */
};

static void both_free(struct both *c)
{
	free(c->row);
	free(c->over);
	free(c->d);
	free(c->cov);
}

/* Keeps of all contrasts of the response those that the prior tells too. */
static bool both_find(const struct meeting *k, const bool *use, const double *map, struct both *c)
{
	const size_t p = k->own->n_terms, n = k->pr->n;
	size_t all = 0;
	*c = (struct both){0};
	if (!told_contrasts(k->own, use, &c->row, &all))
		return false;
	c->d = malloc((all + 1) * sizeof *c->d);
	c->cov = malloc((all * all + 1) * sizeof *c->cov);
	c->over = calloc(all * n + n + 1, sizeof *c->over);
	if (!c->d || !c->cov || !c->over)
		return false;
	c->sum = c->over + all * n;
	for (size_t i = 0; i < all; i++) {
		double mean, variance;
		double *to = c->over + c->n * n, *row = c->row + c->n * p;
		memset(to, 0, n * sizeof *to);
		for (size_t t = 0; t < p; t++)
			for (size_t j = 0; use[t] && j < n; j++)
				to[j] += c->row[i * p + t] * map[t * n + j];
		if (!prior_contrast(k->pr, to, &mean, &variance))
			continue;
		memmove(row, c->row + i * p, p * sizeof *row);
		c->d[c->n] = -k->pr->base * mean;
		for (size_t t = 0; t < p; t++)
			c->d[c->n] += row[t] * k->alone->b[t];
		c->n++;
	}
	return true;
}

/* Covariance of two contrasts by the prior, by polarisation. */
static double prior_covariance(const struct meeting *k, const struct both *c, size_t i, size_t e)
{
	const size_t n = k->pr->n;
	double mean, vi, ve, plus;
	for (size_t j = 0; j < n; j++)
		c->sum[j] = c->over[i * n + j] + c->over[e * n + j];
	prior_contrast(k->pr, c->over + i * n, &mean, &vi);
	prior_contrast(k->pr, c->over + e * n, &mean, &ve);
	prior_contrast(k->pr, c->sum, &mean, &plus);
	return k->pr->base * k->pr->base * 0.5 * (plus - vi - ve);
}

static void both_covariance(const struct meeting *k, struct both *c)
{
	const size_t p = k->own->n_terms;
	for (size_t i = 0; i < c->n; i++)
		for (size_t e = 0; e < c->n; e++) {
			double here = 0;
			for (size_t t = 0; t < p; t++)
				for (size_t u = 0; u < p; u++)
					here += c->row[i * p + t] * k->alone->cov[t * p + u] *
						c->row[e * p + u];
			const double old = prior_covariance(k, c, i, e);
			c->cov[i * c->n + e] = here + old;
			c->here += i == e ? here : 0;
			c->old += i == e ? old : 0;
		}
}

/* All contrasts that both tell, by an F on their differences. */
static bool agree(const struct meeting *k, bool *use, double *map)
{
	struct both c;
	for (size_t t = 0; t < k->own->n_terms; t++) {
		const enum term_kind kind = k->own->terms[t].kind;
		use[t] = term_is_setup(kind) &&
			 prior_map(k->m, k->pr, k->own, t, map + t * k->pr->n);
	}
	const bool ok = both_find(k, use, map, &c);
	if (ok && c.n) {
		both_covariance(k, &c);
		gsl_matrix_view v = gsl_matrix_view_array(c.cov, c.n, c.n);
		if (gsl_linalg_cholesky_decomp1(&v.matrix) == 0) {
			struct agreement *g = &k->b->agreement[k->slot];
			double sum = 0;
			for (size_t i = 0; i < c.n; i++) {
				for (size_t e = 0; e < i; e++)
					c.d[i] -= c.cov[i * c.n + e] * c.d[e];
				c.d[i] /= c.cov[i * c.n + i];
				sum += c.d[i] * c.d[i];
			}
			*g = (struct agreement){true, sum / (double)c.n, (double)c.n,
				satterthwaite(c.here, k->df_here, c.old, k->pr->df), 0};
			g->p = gsl_cdf_fdist_Q(g->f, g->df1, g->df2);
		}
	}
	both_free(&c);
	return ok;
}

static bool meet(const struct meeting *k)
{
	const size_t first = k->b->n_conflicts, p = k->own->n_terms;
	double *map = calloc((p + 1) * (k->pr->n + 1), sizeof *map);
	bool *use = calloc(p + 1, sizeof *use);
	bool ok = map && use;
	for (size_t t = 0; ok && t < p; t++) {
		const enum term_kind kind = k->own->terms[t].kind;
		if (term_is_setup(kind))
			ok = add_conflict(k, t, map);
	}
	if (ok)
		judge(k->b->conflicts + first, k->b->n_conflicts - first);
	ok = ok && agree(k, use, map);
	free(map);
	free(use);
	return ok;
}

/* The runs alone under the noise that is used: r's columns less those that only the prior has. */
static bool solve_alone(const struct response *r, const struct response *own, const struct tri *q,
	struct posterior *alone)
{
	struct tri less = {0};
	int *map = malloc((r->n_terms + 1) * sizeof *map);
	bool ok = map && tri_init(&less, own->n_terms + 1);
	if (ok) {
		for (size_t t = 0; t < r->n_terms; t++)
			map[t] = model_driven_term(r, t);
		map[r->n_terms] = (int)own->n_terms;
		tri_push_tri(&less, q, 1, map);
		tri_finish(&less);
		ok = posterior_solve(&less, NULL, 0, own->n_terms, alone);
	}
	tri_free(&less);
	free(map);
	return ok;
}

static bool take(struct posterior *q, struct response *r)
{
	r->rank = q->rank;
	r->n_null = q->n_null;
	r->b = q->b;
	r->cov = q->cov;
	r->prior_part = q->part;
	r->scale = q->scale;
	r->null_basis = q->null_basis;
	memset(q, 0, sizeof *q);
	return response_aliases(r);
}

static bool build(struct model *m, struct borrowing *b, size_t slot, const struct obs_list *o,
	const double *y, const struct response *own, bool judged, struct response *r)
{
	const struct prior *pr = &b->prior[slot];
	const struct noise v = find_noise(pr, own);
	struct tri q = {0};
	struct posterior post = {0}, alone = {0};
	double *rows = NULL;
	bool ok = lay_terms(pr, own, r) && copy_ranges(m, own, r) &&
		  stack_own(m, r, o, y, &v, own->one_obs_a_run, &q) && (rows = prior_rows(pr, r)) &&
		  posterior_solve(&q, rows, pr->rank, r->n_terms, &post) &&
		  solve_alone(r, own, &q, &alone);
	if (ok) {
		const struct meeting k = {m, b, slot, pr, own, &alone, fmax(v.df_run, 1)};
		set_noise(r, &v, pr->df);
		ok = take(&post, r) && (judged || meet(&k));
	}
	tri_free(&q);
	free(rows);
	posterior_free(&post);
	posterior_free(&alone);
	return ok;
}

/* To the variance of each term in conflict, the square of what the two sides differ by. True where
 * there was one. */
static bool widen(struct borrowing *b, size_t slot, const struct response *own)
{
	struct prior *p = &b->prior[slot];
	bool any = false;
	for (size_t i = 0; i < b->n_conflicts; i++) {
		const struct conflict *c = &b->conflicts[i];
		const struct term *k = &own->terms[c->term];
		if (c->slot != slot || !c->beyond)
			continue;
		const size_t t = (size_t)prior_term(p, k->kind, k->a, k->b);
		const double more = pow((c->here - c->borrowed) / p->base, 2);
		for (size_t j = 0; j < p->rank; j++)
			for (size_t l = 0; l < p->rank; l++)
				p->cov[j * p->rank + l] +=
					p->u[j * p->n + t] * more * p->u[l * p->n + t];
		p->tau[t] = sqrt(p->tau[t] * p->tau[t] + more);
		any = true;
	}
	return any;
}

bool posterior_fit(struct model *m, struct borrowing *b, size_t slot, const struct obs_list *o,
	const double *y, struct response *r, struct err *err)
{
	const struct prior *pr = &b->prior[slot];
	if (!r->fitted || !pr->rank || !(pr->base > 0) || !(pr->df >= 1))
		return true;
	struct response *own = malloc(sizeof *own), with = bare(r);
	if (!own)
		return err_memory(err);
	*own = *r;
	with.own = own;
	bool ok = build(m, b, slot, o, y, own, false, &with);
	if (ok && !m->book->borrow_keep && widen(b, slot, own)) {
		with.own = NULL;
		response_free(&with);
		with = bare(own);
		with.own = own;
		ok = build(m, b, slot, o, y, own, true, &with);
	}
	if (!ok) {
		with.own = NULL;
		response_free(&with);
		free(own);
		return err_memory(err);
	}
	*r = with;
	return true;
}
