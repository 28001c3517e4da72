#include "frontier/moves.h"

#include "balance/hold.h"
#include "model/borrow.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The driven range is compared in coordinates, whose last digits depend on rounding. */
#define RANGE_SLACK 1e-9
/* More combinations of one group than this are refused rather than tried. */
#define TRIES_MAX 20e6
/* What a try costs, base/patience.h. */
enum { TRY_STEPS = 100 };

const struct response *moves_response(const struct model *m, size_t effect)
{
	const struct response *r;
	if (effect >= EFFECT_LIKE) {
		size_t c = effect - EFFECT_LIKE;
		if (c >= m->book->n_channels)
			return NULL;
		r = &m->like[c];
	} else {
		if (effect >= m->n_responses)
			return NULL;
		r = &m->responses[effect];
	}
	return r->fitted ? r : NULL;
}

size_t moves_objective(const struct model *m, const struct save_target *t, size_t *list)
{
	if (t->kind == SAVE_CHANNEL)
		list[0] = EFFECT_WEAR + (size_t)t->channel;
	else if (t->kind == SAVE_LIKE)
		list[0] = EFFECT_LIKE + (size_t)t->channel;
	if (t->kind != SAVE_MEAN)
		return 1;
	for (size_t c = 0; c < m->book->n_channels; c++)
		list[c] = EFFECT_WEAR + c;
	return m->book->n_channels;
}

/* Everything needed while the values of one group are gone through. */
struct walk {
	const struct model *m;
	const struct sheet *start;
	const struct frontier_options *o;
	struct moves *mv;
	fix *values;    /* the start sheet with the group's values put in */
	double *x, *x0; /* coordinates of values and of the start sheet */
	double *row;    /* a contrast */
	size_t n_needed;
	size_t needed[EFFECTS_MAX]; /* effects that must be known: time first */
	bool all_estimable[EFFECTS_MAX];
};

static bool in_group(const struct model *m, const struct term *t, size_t group)
{
	return term_is_setup(t->kind) && (size_t)m->coords[t->a].group == group;
}

/* The contrast of one group's move, its value summed on the way. */
static double group_row(const struct model *m, const struct response *r, size_t group,
	const double *x, const double *x0, double *row)
{
	double sum = 0;
	for (size_t t = 0; t < r->n_terms; t++) {
		double l = in_group(m, &r->terms[t], group)
				   ? model_term_value(&r->terms[t], x) -
					     model_term_value(&r->terms[t], x0)
				   : 0;
		if (row)
			row[t] = l;
		sum += l * r->b[t];
	}
	return sum;
}

static bool terms_estimable(const struct model *m, const struct response *r, size_t group)
{
	for (size_t t = 0; t < r->n_terms; t++)
		if (in_group(m, &r->terms[t], group) && !r->estimable[t])
			return false;
	return true;
}

static bool passes_caution(const struct walk *w, size_t member, fix v)
{
	int a = w->mv->member[member];
	return v != w->start->values[a] && car_caution(&w->m->book->car.adjustables[a], v) != 0;
}

static bool in_range(const struct walk *w)
{
	for (size_t c = 0; c < w->m->n_coords; c++) {
		const struct coord *k = &w->m->coords[c];
		double lo = k->lo, hi = k->hi;
		if (w->o->borrowed)
			borrow_range(w->m, c, &lo, &hi);
		if ((size_t)k->group == w->mv->group &&
			!(w->x[c] >= lo - RANGE_SLACK && w->x[c] <= hi + RANGE_SLACK))
			return false;
	}
	return true;
}

/* Time and objective of the move in w->values; false where they cannot be told by themselves. */
static bool objective_of(struct walk *w, struct front_level *l)
{
	double sum = 0;
	for (size_t i = 0; i < w->n_needed; i++) {
		const struct response *r = moves_response(w->m, w->needed[i]);
		if (!r)
			return false;
		double v = group_row(w->m, r, w->mv->group, w->x, w->x0, w->row);
		if (!w->all_estimable[i] && !(w->o->borrowed ? model_estimable(r, w->row)
							     : model_driven_estimable(r, w->row)))
			return false;
		if (i == 0)
			l->time = v;
		else
			sum += v;
	}
	l->wear = sum / (double)(w->n_needed - 1);
	return isfinite(l->time) && isfinite(l->wear);
}

static bool moves_add(struct moves *mv, const struct front_level *l, const fix v[2])
{
	if (mv->n == mv->cap) {
		size_t cap = mv->cap ? 2 * mv->cap : 64;
		struct front_level *levels = realloc(mv->levels, cap * sizeof *levels);
		if (!levels)
			return false;
		mv->levels = levels;
		fix(*values)[2] = realloc(mv->values, cap * sizeof *values);
		if (!values)
			return false;
		mv->values = values;
		mv->cap = cap;
	}
	mv->levels[mv->n] = *l;
	memcpy(mv->values[mv->n], v, sizeof mv->values[0]);
	mv->n++;
	return true;
}

static void put(const struct walk *w, const fix v[2])
{
	for (size_t i = 0; i < 2; i++)
		if (w->mv->member[i] >= 0)
			w->values[w->mv->member[i]] = v[i];
}

/* Try one pair of values. False: out of memory, or the end of patience. */
static bool try_values(struct walk *w, fix front, fix rear)
{
	const struct car *car = &w->m->book->car;
	const fix v[2] = {front, rear};
	struct front_level l = {.changes = 1};
	if (!patience_spend(w->o->patience, TRY_STEPS))
		return false;
	for (size_t i = 0; i < 2; i++) {
		int a = w->mv->member[i];
		if (a < 0 || v[i] == w->start->values[a])
			continue;
		if (passes_caution(w, i, v[i])) {
			w->mv->out.caution++;
			return true;
		}
		if (car->adjustables[a].has_minutes)
			l.minutes += fix_from_double(car->adjustables[a].minutes);
	}
	put(w, v);
	model_coords(w->m, w->values, w->x);
	if (!w->o->beyond && !in_range(w)) {
		w->mv->out.range++;
		return true;
	}
	if (!objective_of(w, &l)) {
		w->mv->out.untested++;
		return true;
	}
	return moves_add(w->mv, &l, v);
}

static bool walk_locked(struct walk *w, struct err *err)
{
	const struct car *car = &w->m->book->car;
	const struct adjustable *f = &car->adjustables[w->mv->member[0]];
	const struct adjustable *r = &car->adjustables[w->mv->member[1]];
	const fix f0 = w->start->values[w->mv->member[0]], r0 = w->start->values[w->mv->member[1]];
	const fix q = fix_lcm(f->step, r->step);
	if (q <= 0)
		return true;
	/* The lowest place that both reach, then up. */
	fix down_f = (f0 - f->min) / q, down_r = (r0 - r->min) / q;
	fix down = down_f < down_r ? down_f : down_r, up_f = (f->max - f0) / q,
	    up_r = (r->max - r0) / q;
	fix up = up_f < up_r ? up_f : up_r;
	if ((double)down + (double)up > TRIES_MAX)
		return err_failed(err, "%s has too many steps for the frontier", f->label);
	for (fix k = -down; k <= up; k++)
		if (k != 0 && !try_values(w, f0 + k * q, r0 + k * q))
			return patience_end(w->o->patience, "the frontier", err);
	return true;
}

/* Where the other end goes when member i is set to v; false where a limit is in the way. */
static bool held_other(struct walk *w, size_t i, fix v, double anchor, fix *other)
{
	const struct car *car = &w->m->book->car;
	const int a = w->mv->member[i], b = w->mv->member[1 - i];
	memcpy(w->values, w->start->values, car->n_adjustables * sizeof *w->values);
	w->values[a] = v;
	*other = balance_hold_step(car, w->values, b, anchor);
	return *other >= car->adjustables[b].min && *other <= car->adjustables[b].max;
}

/* Every step of either end with the other following; what both ways give is tried once. */
static bool walk_held(struct walk *w, struct err *err)
{
	const struct car *car = &w->m->book->car;
	const double anchor = balance_share(car, w->start->values).v;
	if ((double)car_levels(&car->adjustables[w->mv->member[0]]) > TRIES_MAX ||
		(double)car_levels(&car->adjustables[w->mv->member[1]]) > TRIES_MAX)
		return err_failed(err, "%s has too many steps for the frontier",
			car->adjustables[w->mv->member[0]].label);
	for (size_t i = 0; i < 2; i++) {
		const struct adjustable *k = &car->adjustables[w->mv->member[i]];
		const fix at = w->start->values[w->mv->member[i]];
		const fix stay = w->start->values[w->mv->member[1 - i]];
		for (fix v = k->min; v <= k->max; v += k->step) {
			fix other, back;
			if (v == at || !held_other(w, i, v, anchor, &other))
				continue;
			/* The first end comes to this place by itself? */
			if (i == 1 && other != stay && held_other(w, 0, other, anchor, &back) &&
				back == v)
				continue;
			if (!try_values(w, i == 0 ? v : other, i == 0 ? other : v))
				return patience_end(w->o->patience, "the frontier", err);
		}
	}
	return true;
}

static bool walk_free(struct walk *w, struct err *err)
{
	const struct car *car = &w->m->book->car;
	fix lo[2] = {0, 0}, hi[2] = {0, 0}, step[2] = {1, 1}, at[2] = {0, 0};
	double tries = 1;
	for (size_t i = 0; i < 2; i++) {
		int a = w->mv->member[i];
		if (a < 0)
			continue;
		const struct adjustable *k = &car->adjustables[a];
		bool frozen = w->start->frozen[a];
		at[i] = w->start->values[a];
		lo[i] = frozen ? at[i] : k->min;
		hi[i] = frozen ? at[i] : k->max;
		step[i] = k->step;
		const fix steps = (hi[i] - lo[i]) / step[i];
		tries *= (double)steps + 1;
	}
	if (tries > TRIES_MAX)
		return err_failed(err, "%s has %.0f combinations, too many for the frontier: %s",
			car->adjustables[w->mv->member[0]].label, tries,
			w->mv->member[1] >= 0
				? "lock the pair or freeze one end"
				: "freeze it, or widen its step in the car's profile");
	for (fix f = lo[0]; f <= hi[0]; f += step[0])
		for (fix r = lo[1]; r <= hi[1]; r += step[1])
			if ((f != at[0] || r != at[1]) && !try_values(w, f, r))
				return patience_end(w->o->patience, "the frontier", err);
	return true;
}

static bool walk_ready(struct walk *w)
{
	const struct model *m = w->m;
	size_t n = m->book->car.n_adjustables, terms = 1;
	w->needed[0] = EFFECT_TIME;
	w->n_needed = 1 + moves_objective(m, &w->o->save, w->needed + 1);
	for (size_t i = 0; i < w->n_needed; i++) {
		const struct response *r = moves_response(m, w->needed[i]);
		if (!r)
			continue;
		w->all_estimable[i] =
			terms_estimable(m, w->o->borrowed ? r : model_driven(r), w->mv->group);
		terms = r->n_terms > terms ? r->n_terms : terms;
	}
	w->values = calloc(n + 1, sizeof *w->values);
	w->x = calloc(m->n_coords + 1, sizeof *w->x);
	w->x0 = calloc(m->n_coords + 1, sizeof *w->x0);
	w->row = calloc(terms, sizeof *w->row);
	if (!w->values || !w->x || !w->x0 || !w->row)
		return false;
	memcpy(w->values, w->start->values, n * sizeof *w->values);
	model_coords(m, w->values, w->x0);
	return true;
}

bool moves_make(struct moves *out, const struct model *m, const struct sheet *start, size_t group,
	const struct frontier_options *o, struct err *err)
{
	const struct car *car = &m->book->car;
	const struct group *g = &m->groups[group];
	*out = (struct moves){.group = group, .member = {g->adjustable, -1}};
	if (g->pair >= 0) {
		out->member[0] = car->pairs[g->pair].front;
		out->member[1] = car->pairs[g->pair].rear;
	}
	struct walk w = {.m = m, .start = start, .o = o, .mv = out};
	bool locked = g->pair >= 0 && start->locked[g->pair];
	bool held = g->pair >= 0 && start->share_held[g->pair];
	bool frozen = start->frozen[out->member[0]];
	bool other = out->member[1] >= 0 && start->frozen[out->member[1]];
	out->out.frozen =
		locked || held ? frozen || other : frozen && (out->member[1] < 0 || other);
	fix v[2] = {start->values[out->member[0]],
		out->member[1] >= 0 ? start->values[out->member[1]] : 0};
	bool ok = walk_ready(&w) && moves_add(out, &(struct front_level){0}, v);
	if (!ok)
		err_memory(err);
	else if (!out->out.frozen)
		ok = locked ? walk_locked(&w, err) : held ? walk_held(&w, err) : walk_free(&w, err);
	free(w.values);
	free(w.x);
	free(w.x0);
	free(w.row);
	if (!ok)
		moves_free(out);
	return ok;
}

void moves_free(struct moves *mv)
{
	free(mv->levels);
	free(mv->values);
	memset(mv, 0, sizeof *mv);
}

bool moves_effects(const struct model *m, const struct moves *mv, size_t level, fix *scratch,
	struct effects *out)
{
	const size_t n = m->n_coords;
	size_t terms = 0;
	for (size_t i = 0; i < EFFECTS_MAX; i++) {
		const struct response *r = moves_response(m, i);
		if (r && r->n_terms > terms)
			terms = r->n_terms;
	}
	double *x = calloc(2 * n + terms + 1, sizeof *x);
	memset(out, 0, sizeof *out);
	if (!x)
		return false;
	double *x0 = x + n, *row = x0 + n;
	model_coords(m, scratch, x0);
	for (size_t i = 0; i < 2; i++)
		if (mv->member[i] >= 0)
			scratch[mv->member[i]] = mv->values[level][i];
	model_coords(m, scratch, x);
	for (size_t i = 0; i < 2; i++)
		if (mv->member[i] >= 0)
			scratch[mv->member[i]] = mv->values[0][i];
	for (size_t i = 0; i < EFFECTS_MAX; i++) {
		const struct response *r = moves_response(m, i);
		if (!r)
			continue;
		out->v[i] = group_row(m, r, mv->group, x, x0, row);
		out->known[i] = terms_estimable(m, r, mv->group) || model_estimable(r, row);
	}
	free(x);
	return true;
}
