#include "model/prior_parts.h"

#include "model/meta.h"

#include <math.h>
#include <stdlib.h>

/* Effects of one term as the books tell them singly, and its size. */
struct single {
	size_t k;
	double y[64], v[64];
	struct meta meta;
	double size;
};

static void take_single(
	const struct told *t, const struct term *k, const struct model *m, struct single *s)
{
	const struct response *r = t->e;
	for (size_t i = 0; t->n && i < r->n_terms && s->k < 64; i++) {
		const double v = r->cov[i * r->n_terms + i] / (t->unit * t->unit);
		if (r->terms[i].kind != k->kind || r->terms[i].a != k->a || !r->estimable[i] ||
			!(v > 0) || borrow_leaves_out(m, t->from, k))
			continue;
		s->y[s->k] = r->b[i] / t->unit;
		s->v[s->k++] = v;
	}
}

static double stated_spread(const struct told *t, size_t books, bool *any)
{
	double sum = 0, n = 0;
	*any = false;
	for (size_t i = 0; i < books; i++) {
		if (!t[i].n)
			continue;
		const double one = t[i].from->spread.has ? t[i].from->spread.v : SPREAD_USUAL;
		*any = *any || t[i].from->spread.has;
		sum += one * one;
		n++;
	}
	return n > 0 ? sqrt(sum / n) : SPREAD_USUAL;
}

/*
 * The spread of one kind of terms as a share of an effect's size, pooled over the terms by
 * moments: E(Q_t) = k_t - 1 + (spread size_t)^2 C_t. SPREAD_BESIDE stands beside it with the
 * weight of SPREAD_WEIGHT degrees of freedom. Returns the degrees of freedom, 0: not estimated.
 */
static double pooled_spread(const struct single *s, size_t n, double given, double *spread)
{
	double d = 0, over = 0, under = 0;
	for (size_t t = 0; t < n; t++) {
		if (s[t].k < 2)
			continue;
		d += (double)s[t].k - 1;
		over += s[t].meta.q - ((double)s[t].k - 1);
		under += s[t].meta.c * s[t].size * s[t].size;
	}
	*spread = given;
	if (d < 2 || !(under > 0))
		return 0;
	*spread = sqrt((d * fmax(0, over / under) + SPREAD_WEIGHT * SPREAD_BESIDE * SPREAD_BESIDE) /
		       (d + SPREAD_WEIGHT));
	return d + SPREAD_WEIGHT;
}

bool prior_find_spread(const struct model *m, struct prior *p, const struct told *told,
	size_t books, enum term_kind kind)
{
	size_t n = 0, at = (size_t)(kind - TERM_LINEAR);
	struct single *s = calloc(p->n + 1, sizeof *s);
	double squares = 0, weight = 0;
	bool stated;
	if (!s)
		return false;
	for (size_t t = 0; t < p->n; t++) {
		if (p->terms[t].kind != kind)
			continue;
		for (size_t i = 0; i < books; i++)
			take_single(&told[i], &p->terms[t], m, &s[n]);
		s[n].meta = meta_analyse(s[n].y, s[n].v, s[n].k);
		squares += s[n].k ? s[n].meta.fixed * s[n].meta.fixed : 0;
		weight += s[n].k > 0;
		n++;
	}
	for (size_t t = 0; weight == 0 && t < books; t++) /* nothing told singly: what is told */
		for (size_t i = 0; i < told[t].n; i++)
			squares += told[t].value[i] * told[t].value[i] / (double)(p->n + 1);
	const double typical = sqrt(squares / fmax(weight, 1));
	for (size_t t = 0; t < n; t++)
		s[t].size = fmax(typical, s[t].k ? fabs(s[t].meta.fixed) : 0);
	const double given = stated_spread(told, books, &stated);
	double df = p->n_books >= 3 ? pooled_spread(s, n, given, &p->spread[at]) : 0;
	if (df == 0)
		p->spread[at] = given;
	else if (stated)
		p->spread[at] = fmax(p->spread[at], given);
	p->from[at] = df > 0 ? SPREAD_ESTIMATED : stated ? SPREAD_STATED : SPREAD_DEFAULT;
	if (df > 0)
		p->df = fmin(p->df, df);
	n = 0;
	for (size_t t = 0; t < p->n; t++) {
		if (p->terms[t].kind != kind)
			continue;
		p->size[t] = s[n].size;
		p->tau[t] = p->spread[at] * s[n].size;
		if (df > 0 && s[n].k >= 3)
			p->tau[t] = fmax(p->tau[t], sqrt(s[n].meta.tau2));
		n++;
	}
	free(s);
	return true;
}

void prior_pool_noise(struct prior *p, const struct told *told, size_t books)
{
	double df = 0;
	for (size_t i = 0; i < books; i++) {
		const struct response *r = told[i].r;
		if (!told[i].n)
			continue;
		const double unit = told[i].base * told[i].base;
		df += told[i].e->df_run;
		if (isfinite(r->sigma_run)) {
			p->run += r->df_run * r->sigma_run * r->sigma_run / unit;
			p->df_run += r->df_run;
		}
		if (!r->one_obs_a_run && isfinite(r->sigma_lap) && r->df_lap > 0) {
			p->lap += r->df_lap * r->sigma_lap * r->sigma_lap / unit;
			p->df_lap += r->df_lap;
		}
	}
	p->run = p->df_run > 0 ? p->run / p->df_run : 0;
	p->lap = p->df_lap > 0 ? p->lap / p->df_lap : 0;
	p->df = df;
}
