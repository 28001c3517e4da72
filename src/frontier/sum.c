#include "frontier/sum_own.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What a level costs to be sorted in, and a group of a combination to be told, base/patience.h. */
enum { SORT_STEPS = 20, DECODE_STEPS = 4 };

static void *take(size_t n, size_t size)
{
	return calloc(n ? n : 1, size);
}

/* Levels of a group, sorted by cost, then time, then wear, then index. */
static int level_compare(const void *pa, const void *pb, void *arg)
{
	const struct front_level *levels = *(const struct front_level *const *)arg;
	uint32_t ia = *(const uint32_t *)pa, ib = *(const uint32_t *)pb;
	const struct front_level *a = &levels[ia], *b = &levels[ib];
	if (a->changes != b->changes)
		return a->changes < b->changes ? -1 : 1;
	if (a->minutes != b->minutes)
		return a->minutes < b->minutes ? -1 : 1;
	if (a->time != b->time)
		return a->time < b->time ? -1 : 1;
	if (a->wear != b->wear)
		return a->wear < b->wear ? -1 : 1;
	return ia < ib ? -1 : ia > ib;
}

/* Prune one class: kept indices are moved to the front of idx; returns their number. */
static size_t prune_class(
	const struct sum *s, const struct front_level *levels, uint32_t *idx, size_t n)
{
	size_t kept = 0;
	for (size_t i = 0; i < n; i++) {
		const struct front_level *c = &levels[idx[i]];
		bool drop = false;
		while (kept && !drop) {
			const struct front_level *last = &levels[idx[kept - 1]];
			bool wear_less = c->wear < last->wear - s->tol_wear;
			bool time_same = c->time <= last->time + s->tol_time;
			if (wear_less && !time_same)
				break;
			if (wear_less)
				kept--;
			else {
				drop = true;
				if (c->wear <= last->wear + s->tol_wear && time_same &&
					idx[i] < idx[kept - 1])
					idx[kept - 1] = idx[i];
			}
		}
		if (!drop)
			idx[kept++] = idx[i];
	}
	return kept;
}

/* Does level a make level b of a costlier class useless? */
static bool level_beats(
	const struct sum *s, const struct front_level *a, const struct front_level *b)
{
	return a->time <= b->time + s->tol_time && a->wear <= b->wear + s->tol_wear;
}

/* Drop the levels that a class costing no more in both budgets makes useless. */
static bool prune_across(const struct sum *s, struct stage *st)
{
	for (size_t k = 1; k < st->n_classes; k++) {
		struct level_class *cl = &st->classes[k];
		size_t kept = 0;
		for (size_t i = 0; i < cl->n; i++) {
			uint32_t index = st->order[cl->first + i];
			bool beaten = false;
			for (size_t o = 0; o < k && !beaten; o++) {
				const struct level_class *other = &st->classes[o];
				if (other->changes > cl->changes || other->minutes > cl->minutes)
					continue;
				size_t j = 0;
				while (j < other->n && !beaten)
					beaten = level_beats(s,
						&st->levels[st->order[other->first + j++]],
						&st->levels[index]);
				if (!patience_spend(s->patience, j))
					return false;
			}
			if (!beaten)
				st->order[cl->first + kept++] = index;
		}
		cl->n = kept;
	}
	return true;
}

static bool stage_classes(struct sum *s, struct stage *st, const struct front_group *g)
{
	st->levels = g->levels;
	st->order = take(g->n, sizeof *st->order);
	st->class_of = take(g->n, sizeof *st->class_of);
	st->classes = take(g->n, sizeof *st->classes);
	if (!st->order || !st->class_of || !st->classes ||
		!patience_spend(s->patience, SORT_STEPS * g->n))
		return false;
	for (size_t i = 0; i < g->n; i++)
		st->order[i] = (uint32_t)i;
	qsort_r(st->order, g->n, sizeof *st->order, level_compare, &st->levels);
	for (size_t i = 0; i < g->n;) {
		const struct front_level *first = &g->levels[st->order[i]];
		size_t j = i;
		while (j < g->n && g->levels[st->order[j]].changes == first->changes &&
			g->levels[st->order[j]].minutes == first->minutes)
			st->class_of[st->order[j++]] = (uint32_t)st->n_classes;
		st->classes[st->n_classes++] = (struct level_class){.changes = first->changes,
			.minutes = first->minutes,
			.n = prune_class(s, g->levels, st->order + i, j - i),
			.first = i};
		i = j;
	}
	if (!prune_across(s, st))
		return false;
	for (size_t k = 0; k < st->n_classes; k++)
		st->n_levels += st->classes[k].n;
	return true;
}

static int stage_compare(const void *pa, const void *pb)
{
	const struct stage *a = pa, *b = pb;
	if (a->n_levels != b->n_levels)
		return a->n_levels < b->n_levels ? -1 : 1;
	return a->group < b->group ? -1 : a->group > b->group;
}

/* The most that stages 1..stage can spend. */
static struct budget most(const struct sum *s, size_t stage)
{
	struct budget all = {0, 0};
	for (size_t i = 1; i <= stage; i++) {
		struct budget m = {0, 0};
		for (size_t k = 0; k < s->stages[i].n_classes; k++) {
			const struct level_class *c = &s->stages[i].classes[k];
			if (c->changes > m.changes)
				m.changes = c->changes;
			if (c->minutes > m.minutes)
				m.minutes = c->minutes;
		}
		all.changes += m.changes;
		all.minutes += m.minutes;
	}
	return all;
}

/* Index of a budget of a stage, added when new; NONE when out of memory. */
static uint32_t budget_index(struct stage *st, struct budget b, size_t *cap)
{
	for (size_t i = 0; i < st->n_budgets; i++)
		if (st->budgets[i].changes == b.changes && st->budgets[i].minutes == b.minutes)
			return (uint32_t)i;
	if (st->n_budgets == *cap) {
		size_t grown = *cap ? *cap * 2 : 8;
		struct budget *p = realloc(st->budgets, grown * sizeof *p);
		if (!p)
			return NONE;
		st->budgets = p;
		*cap = grown;
	}
	st->budgets[st->n_budgets] = b;
	return (uint32_t)st->n_budgets++;
}

static struct budget budget_cut(struct budget b, struct budget cap)
{
	if (b.changes > cap.changes)
		b.changes = cap.changes;
	if (b.minutes > cap.minutes)
		b.minutes = cap.minutes;
	return b;
}

/* From the last stage back: which budgets each stage must answer for. */
static bool lay_budgets(struct sum *s, const struct front_bounds *bounds)
{
	struct budget cap = most(s, s->n_stages - 1), all = cap;
	if (bounds && bounds->has_changes)
		all.changes = bounds->changes;
	if (bounds && bounds->has_minutes)
		all.minutes = bounds->minutes;
	size_t room = 0;
	if (budget_index(&s->stages[s->n_stages - 1], budget_cut(all, cap), &room) == NONE)
		return false;
	for (size_t i = s->n_stages - 1; i > 0; i--) {
		struct stage *st = &s->stages[i];
		cap = most(s, i - 1);
		room = 0;
		st->before = take(st->n_budgets * st->n_classes, sizeof *st->before);
		if (!st->before)
			return false;
		for (size_t b = 0; b < st->n_budgets; b++)
			for (size_t k = 0; k < st->n_classes; k++) {
				const struct level_class *cl = &st->classes[k];
				uint32_t *to = &st->before[b * st->n_classes + k];
				*to = NONE;
				if (cl->changes > st->budgets[b].changes ||
					cl->minutes > st->budgets[b].minutes)
					continue;
				struct budget left = {st->budgets[b].changes - cl->changes,
					st->budgets[b].minutes - cl->minutes};
				*to = budget_index(&s->stages[i - 1], budget_cut(left, cap), &room);
				if (*to == NONE)
					return false;
			}
	}
	return true;
}

static bool run_stages(struct sum *s)
{
	struct workspace w = {0};
	for (size_t i = 0; i < s->n_stages; i++)
		if (s->stages[i].n_levels > w.cap_lists)
			w.cap_lists = s->stages[i].n_levels;
	w.lists = take(w.cap_lists, sizeof *w.lists);
	bool ok = w.lists != NULL;
	for (size_t i = 0; i < s->n_stages && ok; i++) {
		struct stage *st = &s->stages[i];
		st->fronts = take(st->n_budgets, sizeof *st->fronts);
		ok = st->fronts != NULL;
		for (size_t b = 0; b < st->n_budgets && ok; b++) {
			if (i > 0) {
				ok = front_build(s, i, b, &w);
			} else if ((st->fronts[b].p = take(1, sizeof *st->fronts[b].p))) {
				st->fronts[b].n = st->fronts[b].cap = 1; /* the empty sum */
			} else {
				ok = false;
			}
		}
	}
	free(w.local.p);
	free(w.spare.p);
	free(w.grown.p);
	free(w.lists);
	free(w.edges);
	return ok;
}

static bool hand_over(
	const struct sum *s, const struct front_group *groups, struct front_result *out)
{
	const struct stage *last = &s->stages[s->n_stages - 1];
	const struct front *f = &last->fronts[0];
	out->totals = take(f->n, sizeof *out->totals);
	out->choice = take(f->n * s->n_groups, sizeof *out->choice);
	if (!out->totals || !out->choice)
		return false;
	out->n = f->n;
	for (size_t i = 0; i < f->n; i++) {
		struct front_total *t = &out->totals[i];
		unsigned *choice = out->choice + i * s->n_groups;
		if (!patience_spend(s->patience, DECODE_STEPS * s->n_groups))
			return false;
		partial_decode(s, (struct partial){s->n_stages - 1, 0, f->p[i]}, choice,
			&t->changes, &t->minutes);
		for (size_t g = 0; g < s->n_groups; g++) {
			t->time += groups[g].levels[choice[g]].time;
			t->wear += groups[g].levels[choice[g]].wear;
		}
	}
	return true;
}

static void sum_free(struct sum *s)
{
	for (size_t i = 0; s->stages && i < s->n_stages; i++) {
		struct stage *st = &s->stages[i];
		for (size_t b = 0; st->fronts && b < st->n_budgets; b++)
			free(st->fronts[b].p);
		free(st->fronts);
		for (size_t k = 0; st->classes && k < st->n_classes; k++)
			free(st->classes[k].front.p);
		free(st->order);
		free(st->class_of);
		free(st->classes);
		free(st->budgets);
		free(st->before);
	}
	free(s->stages);
	free(s->choice_a);
	free(s->choice_b);
}

/* The largest sums that can occur set the scale of what counts as equal. */
static void set_tolerance(struct sum *s, const struct front_group *groups)
{
	for (size_t g = 0; g < s->n_groups; g++) {
		double t = 0, w = 0;
		for (size_t i = 0; i < groups[g].n; i++) {
			t = fmax(t, fabs(groups[g].levels[i].time));
			w = fmax(w, fabs(groups[g].levels[i].wear));
		}
		s->tol_time += FRONT_TOL * t;
		s->tol_wear += FRONT_TOL * w;
	}
}

bool front_sum(const struct front_group *groups, size_t n_groups, const struct front_bounds *bounds,
	struct front_result *out, struct err *err)
{
	memset(out, 0, sizeof *out);
	out->n_groups = n_groups;
	out->candidates = 1;
	for (size_t g = 0; g < n_groups; g++)
		out->candidates *= (double)groups[g].n;
	struct sum s = {.n_stages = n_groups + 1, .n_groups = n_groups};
	s.patience = bounds ? bounds->patience : NULL;
	s.stages = take(s.n_stages, sizeof *s.stages);
	s.choice_a = take(n_groups, sizeof *s.choice_a);
	s.choice_b = take(n_groups, sizeof *s.choice_b);
	bool ok = s.stages && s.choice_a && s.choice_b;
	if (ok)
		set_tolerance(&s, groups);
	for (size_t g = 0; g < n_groups && ok; g++) {
		s.stages[g + 1].group = g;
		ok = stage_classes(&s, &s.stages[g + 1], &groups[g]);
	}
	if (ok) {
		qsort(s.stages + 1, n_groups, sizeof *s.stages, stage_compare);
		ok = lay_budgets(&s, bounds) && run_stages(&s) && hand_over(&s, groups, out);
	}
	sum_free(&s);
	if (ok)
		return true;
	front_free(out);
	return patience_end(s.patience, "the frontier", err);
}

void front_free(struct front_result *r)
{
	free(r->totals);
	free(r->choice);
	memset(r, 0, sizeof *r);
}
