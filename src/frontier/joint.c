#include "frontier/joint.h"

#include "balance/hold.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* More combinations of joint groups than this are refused rather than tried: they are kept in
 * memory, some 50 bytes each. */
#define JOINT_TRIES_MAX 3e6
/* A share this little beyond its band is rounding. */
#define SHARE_SLACK 1e-12
/* What a combination costs to be tried, base/patience.h. */
enum { TRY_STEPS = 50 };

struct work {
	const struct model *m;
	const struct sheet *start;
	const struct moves *moves;
	const struct frontier_options *o;
	bool bound[JOINT_SHARES]; /* bounded, and some group bears on it */
	double want[JOINT_SHARES], band[JOINT_SHARES];
	fix *values; /* owned: scratch, the start sheet's values */
	size_t cap;  /* of the joint in hand */
};

static struct opt_num share_of(const struct car *car, const fix *values, int share)
{
	return share == 0 ? balance_share(car, values) : balance_of(car, values).aero_front_share;
}

static bool keeps(const struct work *w, int share)
{
	const struct opt_num s = share_of(&w->m->book->car, w->values, share);
	return s.has && fabs(s.v - w->want[share]) <= w->band[share] + SHARE_SLACK;
}

static bool bears(const struct work *w, size_t group, int share)
{
	const struct car *car = &w->m->book->car;
	const struct moves *mv = &w->moves[group];
	for (size_t i = 0; i < 2; i++)
		if (mv->member[i] >= 0 &&
			(share == 0 ? balance_bears_on_transfer(car, mv->member[i])
				    : balance_bears_on_aero(car, mv->member[i])))
			return true;
	return false;
}

/* The shares that are bounded, told at the reference. */
static bool take_bounds(struct work *w, const struct sheet *reference, struct err *err)
{
	static const char *const option[JOINT_SHARES] = {"hold-share", "hold-aero"};
	static const char *const name[JOINT_SHARES] = {"load-transfer", "aero"};
	static const enum balance_figure figure[JOINT_SHARES] = {FIGURE_TRANSFER, FIGURE_AERO};
	const struct car *car = &w->m->book->car;
	char lacks[160];
	w->bound[0] = w->o->has_hold_share;
	w->bound[1] = w->o->has_hold_aero;
	w->band[0] = w->o->hold_share / 100;
	w->band[1] = w->o->hold_aero / 100;
	for (int s = 0; s < JOINT_SHARES; s++) {
		if (!w->bound[s])
			continue;
		const struct opt_num at = share_of(car, reference->values, s);
		if (!at.has)
			return err_input(err,
				"the %s share cannot be told, so --%s cannot be kept: the "
				"car profile lacks %s",
				name[s], option[s],
				balance_lacks(car, figure[s], lacks, sizeof lacks));
		w->want[s] = at.v;
	}
	return true;
}

/* Put the levels of one combination into values. */
static void put(const struct work *w, const struct joint *j, const unsigned *at)
{
	for (size_t p = 0; p < j->n_parts; p++) {
		const struct moves *mv = &w->moves[j->part[p]];
		for (size_t i = 0; i < 2; i++)
			if (mv->member[i] >= 0)
				w->values[mv->member[i]] = mv->values[at[p]][i];
	}
}

static bool keep_combination(struct work *w, struct joint *j, const unsigned *at)
{
	if (j->n == w->cap) {
		const size_t cap = w->cap ? 2 * w->cap : 256;
		struct front_level *own = realloc(j->own, cap * sizeof *own);
		if (!own)
			return false;
		j->own = own;
		unsigned *choice = realloc(j->choice, cap * j->n_parts * sizeof *choice);
		if (!choice)
			return false;
		j->choice = choice;
		w->cap = cap;
	}
	struct front_level l = {0};
	for (size_t p = 0; p < j->n_parts; p++) {
		const struct front_level *part = &w->moves[j->part[p]].levels[at[p]];
		l.time += part->time;
		l.wear += part->wear;
		l.changes += part->changes;
		l.minutes += part->minutes;
	}
	j->own[j->n] = l;
	memcpy(j->choice + j->n * j->n_parts, at, j->n_parts * sizeof *at);
	j->n++;
	return true;
}

/* The next combination, the last part turning fastest; false after the last. */
static bool turn(const struct work *w, const struct joint *j, unsigned *at)
{
	for (size_t p = j->n_parts; p-- > 0;) {
		if (++at[p] < w->moves[j->part[p]].n)
			return true;
		at[p] = 0;
	}
	return false;
}

/* Go through all combinations of a joint and keep those inside the bands it bears on. */
static bool combine(struct work *w, struct joint *j, const bool *shares, struct err *err)
{
	double tries = 1;
	for (size_t p = 0; p < j->n_parts; p++)
		tries *= (double)w->moves[j->part[p]].n;
	if (tries > JOINT_TRIES_MAX)
		return err_failed(err,
			"%.0f combinations bear on the share to be held, too many to try: "
			"lock pairs or freeze some of them",
			tries);
	unsigned *at = calloc(j->n_parts, sizeof *at);
	bool ok = at != NULL, more = ok;
	w->cap = 0;
	while (ok && more) {
		bool inside = patience_spend(w->o->patience, TRY_STEPS);
		ok = inside;
		put(w, j, at);
		for (int s = 0; s < JOINT_SHARES && inside; s++)
			inside = !shares[s] || keeps(w, s);
		ok = ok && (!inside || keep_combination(w, j, at));
		more = turn(w, j, at);
	}
	if (ok) {
		memset(at, 0, j->n_parts * sizeof *at);
		put(w, j, at); /* as on the start sheet again */
	}
	free(at);
	j->levels = j->own;
	return ok || patience_end(w->o->patience, "the frontier", err);
}

/*
 * Which joint each group goes into: 0 none, 1 or 2 of a share; 1 for both shares where
 * a group bears on both.
 */
static void choose(
	const struct work *w, size_t n_groups, unsigned *into, bool shares[3][JOINT_SHARES])
{
	bool common = false;
	memset(shares, 0, 3 * sizeof *shares);
	for (size_t g = 0; g < n_groups; g++) {
		bool on[JOINT_SHARES];
		for (int s = 0; s < JOINT_SHARES; s++)
			on[s] = w->bound[s] && bears(w, g, s);
		into[g] = on[0] ? 1 : on[1] ? 2 : 0;
		common = common || (on[0] && on[1]);
	}
	shares[1][0] = w->bound[0];
	shares[common ? 1 : 2][1] = w->bound[1];
	for (size_t g = 0; g < n_groups && common; g++)
		into[g] = into[g] ? 1 : 0;
}

static bool add_joint(struct joints *out, const size_t *part, size_t n)
{
	struct joint *j = &out->v[out->n++];
	*j = (struct joint){.n_parts = n, .part = malloc(n * sizeof *j->part)};
	if (!j->part)
		return false;
	memcpy(j->part, part, n * sizeof *j->part);
	return true;
}

/* A bounded share on which nothing bears is what it is; nothing goes where it is outside. */
static bool steady_inside(struct work *w, size_t n_groups)
{
	for (int s = 0; s < JOINT_SHARES; s++) {
		bool any = false;
		for (size_t g = 0; g < n_groups; g++)
			any = any || bears(w, g, s);
		if (w->bound[s] && !any && !keeps(w, s))
			return false;
	}
	return true;
}

static bool lay_out(struct work *w, struct joints *out, size_t n_groups, unsigned *into,
	size_t *list, struct err *err)
{
	bool shares[3][JOINT_SHARES];
	choose(w, n_groups, into, shares);
	for (size_t g = 0; g < n_groups; g++) {
		size_t n = 0;
		if (into[g] == 3)
			continue; /* taken */
		for (size_t k = g; k < n_groups; k++)
			if (k == g || (into[g] && into[k] == into[g]))
				list[n++] = k;
		const unsigned kind = into[g];
		for (size_t i = 0; i < n; i++)
			into[list[i]] = 3;
		if (!add_joint(out, list, n))
			return err_memory(err);
		struct joint *j = &out->v[out->n - 1];
		if (kind && !combine(w, j, shares[kind], err))
			return false;
		if (!kind) {
			j->n = w->moves[g].n;
			j->levels = w->moves[g].levels;
		}
	}
	return true;
}

bool joints_make(struct joints *out, const struct model *m, const struct sheet *start,
	const struct sheet *reference, const struct moves *moves, size_t n_groups,
	const struct frontier_options *o, struct err *err)
{
	struct work w = {.m = m, .start = start, .moves = moves, .o = o};
	const size_t n = m->book->car.n_adjustables;
	memset(out, 0, sizeof *out);
	if (!take_bounds(&w, reference, err))
		return false;
	out->v = calloc(n_groups + 1, sizeof *out->v);
	w.values = malloc((n + 1) * sizeof *w.values);
	unsigned *into = calloc(n_groups + 1, sizeof *into);
	size_t *list = calloc(n_groups + 1, sizeof *list);
	bool ok = (out->v && w.values && into && list) || err_memory(err);
	if (ok) {
		memcpy(w.values, start->values, n * sizeof *w.values);
		ok = lay_out(&w, out, n_groups, into, list, err);
	}
	if (ok && out->n > 0 && !steady_inside(&w, n_groups))
		out->v[0].n = 0;
	free(w.values);
	free(into);
	free(list);
	if (!ok)
		joints_free(out);
	return ok;
}

void joints_free(struct joints *j)
{
	for (size_t i = 0; j->v && i < j->n; i++) {
		free(j->v[i].part);
		free(j->v[i].own);
		free(j->v[i].choice);
	}
	free(j->v);
	memset(j, 0, sizeof *j);
}

void joints_expand(const struct joints *j, const unsigned *choice, unsigned *levels)
{
	for (size_t i = 0; i < j->n; i++) {
		const struct joint *k = &j->v[i];
		for (size_t p = 0; p < k->n_parts; p++)
			levels[k->part[p]] =
				k->choice ? k->choice[choice[i] * k->n_parts + p] : choice[i];
	}
}
