/*
 * Do predictions miss more often than they should, and what have the missed runs in common?
 * One prediction ahead misses 5 times in 100, each by itself, so misses are binomial. Left-out
 * predictions share runs, so there the figure is near enough only.
 *
 * What is named: a group moved from the reference, a set-up outside what had been driven, a
 * driver, session or compound, that more missed than other runs have, by the hypergeometric
 * tail (Fisher's exact test) below 0.1, the surest first.
 */
#include "model/internal.h"
#include "model/verify.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct forecast *forecast_of(const struct verified_run *r, size_t response, bool ahead)
{
	return ahead ? &r->by[response].ahead : &r->by[response].left_out;
}

/* Something that a run has or lacks. */
typedef bool (*has_fn)(
	const struct verify *v, size_t i, size_t response, bool ahead, const void *what);

static bool has_group(
	const struct verify *v, size_t i, size_t response, bool ahead, const void *what)
{
	const struct group *g = what;
	const struct car *c = &v->book->car;
	const struct sheet *ref = book_reference(v->book);
	const struct run *r = &v->book->runs[v->runs[i].run];
	int other = car_partner(c, g->adjustable);
	(void)response;
	(void)ahead;
	return ref && (r->values[g->adjustable] != ref->values[g->adjustable] ||
			      (other >= 0 && r->values[other] != ref->values[other]));
}

static bool has_outside(
	const struct verify *v, size_t i, size_t response, bool ahead, const void *what)
{
	(void)what;
	return forecast_of(&v->runs[i], response, ahead)->extrapolated;
}

struct level {
	int factor;
	const char *text;
};

static const char *level_text(const struct run *r, int factor)
{
	return factor == FAC_DRIVER ? r->driver : factor == FAC_SESSION ? r->session : r->compound;
}

static bool has_level(
	const struct verify *v, size_t i, size_t response, bool ahead, const void *what)
{
	const struct level *l = what;
	(void)response;
	(void)ahead;
	return strcmp(level_text(&v->book->runs[v->runs[i].run], l->factor), l->text) == 0;
}

struct naming {
	const struct verify *v;
	size_t response;
	bool ahead;
	struct tally *tally;
	double best;
};

/* Tail of the hypergeometric: as many of the missed runs have it, or more. */
static void consider(struct naming *n, const char *name, has_fn has, const void *what)
{
	unsigned missed = 0, missed_has = 0, all_has = 0, all = 0;
	for (size_t i = 0; i < n->v->n_runs; i++) {
		const struct forecast *d = forecast_of(&n->v->runs[i], n->response, n->ahead);
		if (!d->known)
			continue;
		bool it = has(n->v, i, n->response, n->ahead, what);
		all++;
		all_has += it;
		missed += d->missed;
		missed_has += d->missed && it;
	}
	if (missed_has == 0 || all_has == all)
		return;
	double p = gsl_cdf_hypergeometric_Q(missed_has - 1, all_has, all - all_has, missed);
	if (!(p < 0.1))
		return;
	char text[2 * ID_SIZE + 60], old[sizeof n->tally->names];
	snprintf(text, sizeof text, "%s (%u of %u misses, %u of %u others)", name, missed_has,
		missed, all_has - missed_has, all - missed);
	memcpy(old, n->tally->names, sizeof old);
	bool first = p < n->best;
	n->best = first ? p : n->best;
	snprintf(n->tally->names, sizeof n->tally->names, "%.180s%s%.180s", first ? text : old,
		old[0] ? "; " : "", first ? old : text);
}

static bool name_groups(struct naming *n)
{
	const struct car *c = &n->v->book->car;
	struct group *groups = calloc(c->n_adjustables + 1, sizeof *groups);
	if (!groups)
		return false;
	size_t count = car_groups(c, groups);
	for (size_t g = 0; g < count; g++)
		consider(n, car_group_id(c, &groups[g]), has_group, &groups[g]);
	free(groups);
	return true;
}

/* Each level once, at the first run that has it. */
static void name_levels(struct naming *n, int factor)
{
	const struct book *b = n->v->book;
	for (size_t i = 0; i < n->v->n_runs; i++) {
		struct level l = {factor, level_text(&b->runs[n->v->runs[i].run], factor)};
		bool seen = !l.text[0];
		for (size_t j = 0; j < i && !seen; j++)
			seen = has_level(n->v, j, n->response, n->ahead, &l);
		if (seen)
			continue;
		char name[ID_SIZE + 20];
		snprintf(name, sizeof name, "%s %s", factor_names[factor], l.text);
		consider(n, name, has_level, &l);
	}
}

static bool tally_one(struct verify *v, size_t response, bool ahead, struct tally *t)
{
	for (size_t i = 0; i < v->n_runs; i++) {
		const struct forecast *d = forecast_of(&v->runs[i], response, ahead);
		t->predicted += d->known;
		t->missed += d->known && d->missed;
	}
	t->p = t->missed ? gsl_cdf_binomial_Q((unsigned)t->missed - 1, 0.05, (unsigned)t->predicted)
			 : 1;
	t->too_often = t->p < 0.05;
	if (!t->too_often)
		return true;
	struct naming n = {v, response, ahead, t, 1};
	if (!name_groups(&n))
		return false;
	consider(&n, "a set-up outside what had been driven", has_outside, NULL);
	for (int f = 0; f < FAC_N; f++)
		name_levels(&n, f);
	return true;
}

bool verify_tally(struct verify *v, struct err *err)
{
	for (size_t y = 0; y < v->n_responses; y++)
		if (!tally_one(v, y, true, &v->ahead[y]) ||
			!tally_one(v, y, false, &v->left_out[y]))
			return err_memory(err);
	return true;
}
