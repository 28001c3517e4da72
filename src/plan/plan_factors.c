/*
 * Which factors a plan moves, and between which levels.
 *
 * Named: an adjustable by itself, or a pair for its `common` (both members move by as
 * much, so their difference stays). Not named: every pair that the base locks, and every
 * other adjustable by itself; what is frozen stays, and a locked pair stays with it.
 * Levels are the soft limits of the car profile, or the limits given, snapped inwards to
 * what steps reach from the base.
 */
#include "plan/plan_line.h"
#include "plan/plan_own.h"

#include <stdlib.h>
#include <string.h>

static bool is_named(const struct plan_options *o, const char *id)
{
	for (size_t i = 0; i < o->n_factors; i++)
		if (strcmp(o->factors[i], id) == 0)
			return true;
	return false;
}

static void add_pair(struct plan *p, const struct car *c, int pair)
{
	const struct pair *q = &c->pairs[pair];
	struct plan_factor *f = &p->factors[p->n_factors++];
	*f = (struct plan_factor){.adjustable = q->front, .partner = q->rear, .pair = pair};
	memcpy(f->id, q->id, sizeof f->id);
	f->step = fix_lcm(c->adjustables[q->front].step, c->adjustables[q->rear].step);
}

static void add_single(struct plan *p, const struct car *c, int a)
{
	struct plan_factor *f = &p->factors[p->n_factors++];
	*f = (struct plan_factor){.adjustable = a, .partner = -1, .pair = c->adjustables[a].pair};
	memcpy(f->id, c->adjustables[a].id, sizeof f->id);
	f->step = c->adjustables[a].step;
}

static bool pair_is_frozen(const struct sheet *s, const struct pair *q)
{
	return s->frozen[q->front] || s->frozen[q->rear];
}

/* A pair stands at the place of its first member. */
static bool is_first_member(const struct car *c, int a)
{
	int other = car_partner(c, a);
	return other < 0 || a < other;
}

static void choose_all(struct plan *p, const struct car *c, const struct sheet *s)
{
	for (int a = 0; a < (int)c->n_adjustables; a++) {
		int pair = c->adjustables[a].pair;
		if (pair >= 0 && s->locked[pair]) {
			if (is_first_member(c, a) && !pair_is_frozen(s, &c->pairs[pair]))
				add_pair(p, c, pair);
		} else if (!s->frozen[a]) {
			add_single(p, c, a);
		}
	}
}

static bool refuse_frozen(const struct sheet *s, const char *id, struct err *err)
{
	return err_input(err,
		"factor '%s' is frozen in sheet '%s'; unfreeze it there, or leave it out", id,
		s->id);
}

static bool check_name(const struct car *c, const struct plan_options *o, size_t i, struct err *err)
{
	const char *id = o->factors[i];
	int a = car_find_adjustable(c, id), pair = car_find_pair(c, id);
	for (size_t j = 0; j < i; j++)
		if (strcmp(o->factors[j], id) == 0)
			return err_input(err, "factor '%s' is named twice", id);
	if (a < 0 && pair < 0) {
		char ids[400];
		return err_input(err, "no factor '%s'; allowed: %s, or one end of a pair", id,
			plan_factor_ids(c, ids, sizeof ids));
	}
	if (a < 0)
		return !pair_is_frozen(o->base, &c->pairs[pair]) || refuse_frozen(o->base, id, err);
	if (o->base->frozen[a])
		return refuse_frozen(o->base, id, err);
	pair = c->adjustables[a].pair;
	if (pair >= 0 && is_named(o, c->pairs[pair].id))
		return err_input(err,
			"factor '%s' moves with pair '%s', which is named too; allowed: "
			"the pair, or its members",
			id, c->pairs[pair].id);
	return true;
}

/* In the car's order whatever the order of naming, so that a plan depends on what is moved only. */
static bool choose_named(
	struct plan *p, const struct car *c, const struct plan_options *o, struct err *err)
{
	for (size_t i = 0; i < o->n_factors; i++)
		if (!check_name(c, o, i, err))
			return false;
	for (int a = 0; a < (int)c->n_adjustables; a++) {
		int pair = c->adjustables[a].pair;
		if (pair >= 0 && is_first_member(c, a) && is_named(o, c->pairs[pair].id))
			add_pair(p, c, pair);
		if (!is_named(o, c->adjustables[a].id))
			continue;
		if (pair >= 0 && o->base->locked[pair] &&
			!plan_note(p,
				"sheet '%s' locks pair '%s'; "
				"this plan moves %s by itself",
				o->base->id, c->pairs[pair].id, c->adjustables[a].id))
			return err_memory(err);
		add_single(p, c, a);
	}
	return true;
}

static fix round_up(fix v, fix step)
{
	fix q = v / step;
	return (v % step > 0 ? q + 1 : q) * step;
}

static fix round_down(fix v, fix step)
{
	return -round_up(-v, step);
}

static const struct plan_range *find_range(const struct plan_options *o, const char *id)
{
	for (size_t i = 0; i < o->n_ranges; i++)
		if (strcmp(o->ranges[i].id, id) == 0)
			return &o->ranges[i];
	return NULL;
}

/* Moves of one adjustable from its base value that stay inside its limits. */
static void room_of(const struct adjustable *a, fix base, bool soft, fix *low, fix *high)
{
	fix min = a->min, max = a->max;
	if (soft && a->has_caution && a->caution.has_min && a->caution.min > min)
		min = a->caution.min;
	if (soft && a->has_caution && a->caution.has_max && a->caution.max < max)
		max = a->caution.max;
	if (min - base > *low)
		*low = min - base;
	if (max - base < *high)
		*high = max - base;
}

static void room_of_factor(const struct car *c, const struct plan_factor *f, const fix *base,
	bool soft, fix *low, fix *high)
{
	*low = -2 * FIX_LIMIT;
	*high = 2 * FIX_LIMIT;
	room_of(&c->adjustables[f->adjustable], base[f->adjustable], soft, low, high);
	if (f->partner >= 0)
		room_of(&c->adjustables[f->partner], base[f->partner], soft, low, high);
}

static bool note_cautions(
	struct plan *p, const struct car *c, const struct plan_factor *f, const fix *base)
{
	int members[] = {f->adjustable, f->partner};
	for (size_t i = 0; i < 2 && members[i] >= 0; i++) {
		const struct adjustable *a = &c->adjustables[members[i]];
		fix v = base[members[i]];
		if (!car_caution(a, v + f->low) && !car_caution(a, v + f->high))
			continue;
		if (!plan_note(p, "caution: %s goes past its soft limit%s%s", a->id,
			    a->caution.note ? ": " : "", a->caution.note ? a->caution.note : ""))
			return false;
	}
	return true;
}

static bool take_range(struct plan_factor *f, const struct car *c, const struct plan_range *r,
	const fix *base, struct err *err)
{
	fix min, max, from = f->partner < 0 ? base[f->adjustable] : 0;
	room_of_factor(c, f, base, false, &min, &max);
	f->low = r->low - from;
	f->high = r->high - from;
	if (f->low < f->high && f->low >= min && f->high <= max && f->low % f->step == 0 &&
		f->high % f->step == 0)
		return true;
	char low[32], high[32], step[32];
	fix_print(round_up(min, f->step) + from, low, sizeof low);
	fix_print(round_down(max, f->step) + from, high, sizeof high);
	fix_print(f->step, step, sizeof step);
	return err_input(err,
		"range of factor '%s'; allowed: LOW below HIGH, %s %s to %s in steps of %s", f->id,
		f->partner < 0 ? "from" : "moves from", low, high, step);
}

/* The middle of three levels lies on a step: an odd number of steps gives up one, at the end
 * that is farther from the base. */
static void make_middle(struct plan_factor *f)
{
	if ((f->high - f->low) / f->step % 2) {
		if (f->high > -f->low)
			f->high -= f->step;
		else
			f->low += f->step;
	}
	f->middle = f->low + (f->high - f->low) / f->step / 2 * f->step;
}

static bool set_levels(struct plan *p, struct plan_factor *f, const struct car *c,
	const struct plan_options *o, struct err *err)
{
	const fix *base = o->base->values;
	const struct plan_range *r = find_range(o, f->id);
	if (f->step <= 0)
		return err_input(
			err, "pair '%s' has no common step; move its members by themselves", f->id);
	if (r && !take_range(f, c, r, base, err))
		return false;
	if (!r) {
		room_of_factor(c, f, base, true, &f->low, &f->high);
		f->low = round_up(f->low, f->step);
		f->high = round_down(f->high, f->step);
	}
	if (f->low < f->high && p->kind == PLAN_DEFINITIVE)
		make_middle(f);
	if (f->low >= f->high && !o->n_factors)
		return plan_note(p,
			       "%s stays: it has no room to move from sheet '%s' inside its soft "
			       "limits",
			       f->id, o->base->id) ||
		       err_memory(err);
	if (f->low >= f->high)
		return err_input(err,
			"factor '%s' has no room to move from sheet '%s' inside its soft "
			"limits%s; leave it out, or give it a --range",
			f->id, o->base->id, p->kind == PLAN_DEFINITIVE ? " on three levels" : "");
	return note_cautions(p, c, f, base) || err_memory(err);
}

static bool check_ranges(const struct plan *p, const struct plan_options *o, struct err *err)
{
	for (size_t i = 0; i < o->n_ranges; i++) {
		bool found = false;
		for (size_t f = 0; f < p->n_factors; f++)
			found = found || strcmp(p->factors[f].id, o->ranges[i].id) == 0;
		if (!found)
			return err_input(err, "a range for '%s', which is no factor of this plan",
				o->ranges[i].id);
	}
	return true;
}

/* Of factors chosen without naming, those without room. */
static void drop_still(struct plan *p)
{
	size_t n = 0;
	for (size_t f = 0; f < p->n_factors; f++)
		if (p->factors[f].low < p->factors[f].high)
			p->factors[n++] = p->factors[f];
	p->n_factors = n;
}

bool plan_choose_factors(
	struct plan *p, const struct book *b, const struct plan_options *o, struct err *err)
{
	const struct car *c = &b->car;
	p->factors = calloc(c->n_adjustables + 1, sizeof *p->factors);
	if (!p->factors)
		return err_memory(err);
	if (!o->n_factors)
		choose_all(p, c, o->base);
	else if (!choose_named(p, c, o, err))
		return false;
	if (!p->n_factors)
		return err_input(err,
			"everything is frozen in sheet '%s': there is nothing to test",
			o->base->id);
	for (size_t f = 0; f < p->n_factors; f++)
		if (!set_levels(p, &p->factors[f], c, o, err))
			return false;
	drop_still(p);
	if (!p->n_factors)
		return err_input(err,
			"nothing has room to move from sheet '%s' inside its soft limits",
			o->base->id);
	return check_ranges(p, o, err);
}

bool plan_take_factor(struct plan *p, const struct car *c, const char *id)
{
	int a = car_find_adjustable(c, id), pair = car_find_pair(c, id);
	if (a >= 0)
		add_single(p, c, a);
	else if (pair >= 0)
		add_pair(p, c, pair);
	return a >= 0 || pair >= 0;
}

void plan_take_levels(struct plan *p)
{
	for (size_t f = 0; f < p->n_factors; f++) {
		struct plan_factor *one = &p->factors[f];
		one->low = one->high = 0;
		for (size_t i = 0; i < p->n_runs; i++) {
			fix move = p->runs[i].values[one->adjustable] -
				   p->runs[0].values[one->adjustable];
			one->low = move < one->low ? move : one->low;
			one->high = move > one->high ? move : one->high;
		}
		one->middle = p->kind == PLAN_DEFINITIVE ? (one->low + one->high) / 2 : 0;
	}
}

void plan_set_values(const struct plan *p, const fix *base, const signed char *level, fix *out)
{
	memcpy(out, base, p->n_adjustables * sizeof *out);
	for (size_t i = 0; i < p->n_factors; i++) {
		const struct plan_factor *f = &p->factors[i];
		fix move = level[i] < 0 ? f->low : level[i] > 0 ? f->high : f->middle;
		out[f->adjustable] += move;
		if (f->partner >= 0)
			out[f->partner] += move;
	}
}
