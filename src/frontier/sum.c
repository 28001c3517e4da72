#include "frontier/sum.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/*
 * Groups are taken in one after the other. After stage s there is one front for each
 * pair of budgets (changes, minutes) that later groups may leave over; a front under
 * budgets holds the best partial sums that keep to them. A budget larger than all that
 * the groups so far could spend is cut to that, so without bounds there is one front
 * a stage.
 */
struct point {
	double time, wear;
	uint32_t from;  /* index into the front of the stage before */
	uint32_t level; /* index into the group's levels */
};
struct front {
	struct point *p; /* owned */
	size_t n, cap;
};
struct budget {
	unsigned changes;
	fix minutes;
};
/* Levels of one group that cost the same, pruned; time ascending. */
struct level_class {
	unsigned changes;
	fix minutes;
	size_t n, first; /* into stage.order */
};
struct stage {
	size_t group;             /* index into the caller's groups */
	const struct front_level *levels;
	uint32_t *order;          /* owned: level indices, class by class */
	size_t n_levels;          /* in order */
	size_t n_classes;
	struct level_class *classes; /* owned */
	uint32_t *class_of;       /* owned: by level index */
	size_t n_budgets;
	struct budget *budgets;   /* owned */
	uint32_t *before;         /* owned [n_budgets * n_classes]: budget of the stage before, or NONE */
	struct front *fronts;     /* owned [n_budgets] */
};
#define NONE UINT32_MAX

struct sum {
	size_t n_stages, n_groups;
	struct stage *stages;     /* owned; stages[0] is the empty sum */
	double tol_time, tol_wear;
	unsigned *choice_a, *choice_b; /* owned [n_groups], for ties */
};

/* A partial sum that need not be in a front yet: stage, budget, and the point. */
struct partial {
	size_t stage, budget;
	struct point p;
};

static void *take(size_t n, size_t size)
{
	return calloc(n ? n : 1, size);
}

/* One step back: the partial sum before the stage's group was added. */
static struct partial step_back(const struct sum *s, const struct partial *x)
{
	const struct stage *st = &s->stages[x->stage];
	uint32_t b = st->before[x->budget * st->n_classes + st->class_of[x->p.level]];
	return (struct partial){x->stage - 1, b, s->stages[x->stage - 1].fronts[b].p[x->p.from]};
}

static void decode(const struct sum *s, struct partial x, unsigned *choice, unsigned *changes,
	fix *minutes)
{
	*changes = 0;
	*minutes = 0;
	while (x.stage > 0) {
		const struct stage *st = &s->stages[x.stage];
		choice[st->group] = x.p.level;
		*changes += st->levels[x.p.level].changes;
		*minutes += st->levels[x.p.level].minutes;
		x = step_back(s, &x);
	}
}

/* Of two sums equal in both figures: is b to be kept rather than a? */
static bool tie_prefers(struct sum *s, struct partial a, struct partial b)
{
	unsigned ca, cb;
	fix ma, mb;
	memset(s->choice_a, 0, s->n_groups * sizeof *s->choice_a);
	memset(s->choice_b, 0, s->n_groups * sizeof *s->choice_b);
	decode(s, a, s->choice_a, &ca, &ma);
	decode(s, b, s->choice_b, &cb, &mb);
	if (ca != cb)
		return cb < ca;
	if (ma != mb)
		return mb < ma;
	for (size_t g = 0; g < s->n_groups; g++)
		if (s->choice_a[g] != s->choice_b[g])
			return s->choice_b[g] < s->choice_a[g];
	return false;
}

static bool front_reserve(struct front *f, size_t n)
{
	if (n <= f->cap)
		return true;
	size_t cap = f->cap ? f->cap : 16;
	while (cap < n)
		cap *= 2;
	struct point *p = realloc(f->p, cap * sizeof *p);
	if (!p)
		return false;
	f->p = p;
	f->cap = cap;
	return true;
}

/* Where the front under construction belongs. */
struct site {
	struct sum *sum;
	size_t stage, budget;
};

/* Add a point to a front that grows in time order; room must be there. */
static inline void front_push(struct front *f, struct point c, const struct site *at)
{
	const double tt = at->sum->tol_time, tw = at->sum->tol_wear;
	while (f->n) {
		struct point *last = &f->p[f->n - 1];
		if (c.wear > last->wear + tw)
			return;
		if (c.time > last->time + tt) {
			if (c.wear >= last->wear - tw)
				return;
			break;
		}
		if (c.wear >= last->wear - tw) {
			struct partial a = {at->stage, at->budget, *last};
			struct partial b = {at->stage, at->budget, c};
			if (tie_prefers(at->sum, a, b))
				*last = c;
			return;
		}
		f->n--;
	}
	f->p[f->n++] = c;
}

static inline bool earlier(const struct point *a, const struct point *b)
{
	return a->time < b->time || (a->time == b->time && a->wear <= b->wear);
}

/* One level added to a front of the stage before: a front moved in the plane. */
struct shifted {
	const struct front *base;
	const struct front_level *level;
	uint32_t index;
	size_t at; /* the first point not yet looked at */
};

static inline struct point shifted_point(const struct shifted *l, size_t i)
{
	return (struct point){l->base->p[i].time + l->level->time,
		l->base->p[i].wear + l->level->wear, (uint32_t)i, l->index};
}

/* out = front of `have` and the points [lo, hi) of a shifted front. */
static bool merge_shifted(const struct site *at, const struct front *have, const struct shifted *l,
	size_t lo, size_t hi, struct front *out)
{
	out->n = 0;
	if (!front_reserve(out, have->n + (hi - lo)))
		return false;
	size_t i = 0;
	for (size_t j = lo; j < hi; j++) {
		struct point c = shifted_point(l, j);
		while (i < have->n && earlier(&have->p[i], &c))
			front_push(out, have->p[i++], at);
		front_push(out, c, at);
	}
	while (i < have->n)
		front_push(out, have->p[i++], at);
	return true;
}

/* The first point of a shifted front, from l->at on, that is not before `end`. */
static size_t shifted_until(const struct shifted *l, double end)
{
	size_t lo = l->at, hi = lo, leap = 1;
	while (hi < l->base->n && l->base->p[hi].time + l->level->time < end) {
		lo = hi + 1;
		hi += leap;
		leap *= 2;
	}
	if (hi > l->base->n)
		hi = l->base->n;
	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;
		if (l->base->p[mid].time + l->level->time < end)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo;
}

/* The first of the points [lo, hi) whose wear is not above the bound; wear falls along a front. */
static size_t shifted_below(const struct shifted *l, size_t lo, size_t hi, double bound)
{
	if (lo < hi && l->base->p[hi - 1].wear + l->level->wear > bound)
		return hi;
	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;
		if (l->base->p[mid].wear + l->level->wear > bound)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo;
}

/* Room for fronts under construction, kept from one to the next. */
struct workspace {
	struct front local, spare, grown; /* owned */
	size_t cap_lists, cap_edges;
	struct shifted *lists;            /* owned */
	double *edges;                    /* owned */
};

/*
 * Add what the shifted fronts hold before `end`. Time goes up from window to window, so
 * what lies above the least wear so far is out: most shifted fronts are passed over whole.
 */
static bool add_window(const struct site *at, struct workspace *w, size_t n_lists, double end)
{
	double bound = w->grown.n ? w->grown.p[w->grown.n - 1].wear + at->sum->tol_wear : INFINITY;
	w->local.n = 0;
	for (size_t k = 0; k < n_lists; k++) {
		struct shifted *l = &w->lists[k];
		size_t hi = shifted_until(l, end), lo = shifted_below(l, l->at, hi, bound);
		l->at = hi;
		if (lo == hi)
			continue;
		if (!merge_shifted(at, &w->local, l, lo, hi, &w->spare))
			return false;
		struct front swap = w->local;
		w->local = w->spare;
		w->spare = swap;
	}
	if (!front_reserve(&w->grown, w->grown.n + w->local.n))
		return false;
	for (size_t i = 0; i < w->local.n; i++)
		front_push(&w->grown, w->local.p[i], at);
	return true;
}

/* Ends of windows that follow the density of the longest front, moved by the least, the
 * middle and the largest shift. Returns their number; the last is past everything. */
enum { WINDOW = 16 };
static size_t lay_windows(struct workspace *w, size_t n_lists)
{
	const struct front *f = w->lists[0].base;
	double shift[3] = {INFINITY, 0, -INFINITY};
	for (size_t k = 0; k < n_lists; k++) {
		double t = w->lists[k].level->time;
		if (w->lists[k].base->n > f->n)
			f = w->lists[k].base;
		shift[0] = fmin(shift[0], t);
		shift[2] = fmax(shift[2], t);
	}
	shift[1] = (shift[0] + shift[2]) / 2;
	size_t need = 3 * (f->n / WINDOW + 1) + 1, n = 0;
	if (need > w->cap_edges) {
		double *grown = realloc(w->edges, need * sizeof *grown);
		if (!grown)
			return 0;
		w->edges = grown;
		w->cap_edges = need;
	}
	for (size_t k = 0; k < 3; k++)
		for (size_t i = WINDOW; i < f->n; i += WINDOW) {
			double e = f->p[i].time + shift[k];
			if (n == 0 || e > w->edges[n - 1])
				w->edges[n++] = e;
		}
	w->edges[n++] = INFINITY;
	return n;
}

static size_t lay_lists(const struct sum *s, size_t stage, size_t budget, struct workspace *w)
{
	const struct stage *st = &s->stages[stage];
	size_t n = 0;
	for (size_t k = 0; k < st->n_classes; k++) {
		uint32_t b = st->before[budget * st->n_classes + k];
		const struct level_class *cl = &st->classes[k];
		for (size_t i = 0; b != NONE && i < cl->n; i++) {
			uint32_t index = st->order[cl->first + i];
			const struct front *base = &s->stages[stage - 1].fronts[b];
			if (base->n)
				w->lists[n++] = (struct shifted){base, &st->levels[index], index, 0};
		}
	}
	return n;
}

static bool build_front(struct sum *s, size_t stage, size_t budget, struct workspace *w)
{
	struct front *f = &s->stages[stage].fronts[budget];
	const struct site at = {s, stage, budget};
	size_t n_lists = lay_lists(s, stage, budget, w);
	if (n_lists == 0)
		return true;
	size_t n_windows = lay_windows(w, n_lists);
	if (n_windows == 0)
		return false;
	w->grown.n = 0;
	for (size_t i = 0; i < n_windows; i++)
		if (!add_window(&at, w, n_lists, w->edges[i]))
			return false;
	f->p = take(w->grown.n, sizeof *f->p);
	if (!f->p)
		return false;
	memcpy(f->p, w->grown.p, w->grown.n * sizeof *f->p);
	f->n = f->cap = w->grown.n;
	return true;
}

/* Levels of a group, sorted by cost, then time, then wear, then index. */
static int level_compare(const void *pa, const void *pb, void *arg)
{
	const struct front_level *levels = arg;
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
static size_t prune_class(const struct sum *s, const struct front_level *levels, uint32_t *idx,
	size_t n)
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
static bool level_beats(const struct sum *s, const struct front_level *a,
	const struct front_level *b)
{
	return a->time <= b->time + s->tol_time && a->wear <= b->wear + s->tol_wear;
}

/* Drop the levels that a class costing no more in both budgets makes useless. */
static void prune_across(const struct sum *s, struct stage *st)
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
				for (size_t j = 0; j < other->n && !beaten; j++)
					beaten = level_beats(s,
						&st->levels[st->order[other->first + j]],
						&st->levels[index]);
			}
			if (!beaten)
				st->order[cl->first + kept++] = index;
		}
		cl->n = kept;
	}
}

static bool stage_classes(struct sum *s, struct stage *st, const struct front_group *g)
{
	st->levels = g->levels;
	st->order = take(g->n, sizeof *st->order);
	st->class_of = take(g->n, sizeof *st->class_of);
	st->classes = take(g->n, sizeof *st->classes);
	if (!st->order || !st->class_of || !st->classes)
		return false;
	for (size_t i = 0; i < g->n; i++)
		st->order[i] = (uint32_t)i;
	qsort_r(st->order, g->n, sizeof *st->order, level_compare,
		(void *)(uintptr_t)g->levels);
	for (size_t i = 0; i < g->n;) {
		const struct front_level *first = &g->levels[st->order[i]];
		size_t j = i;
		while (j < g->n && g->levels[st->order[j]].changes == first->changes &&
			g->levels[st->order[j]].minutes == first->minutes)
			st->class_of[st->order[j++]] = (uint32_t)st->n_classes;
		st->classes[st->n_classes++] = (struct level_class){first->changes, first->minutes,
			prune_class(s, g->levels, st->order + i, j - i), i};
		i = j;
	}
	prune_across(s, st);
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
				ok = build_front(s, i, b, &w);
			} else if ((ok = front_reserve(&st->fronts[b], 1))) {
				st->fronts[b].p[0] = (struct point){0, 0, 0, 0};
				st->fronts[b].n = 1;
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

static bool hand_over(const struct sum *s, const struct front_group *groups,
	struct front_result *out)
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
		decode(s, (struct partial){s->n_stages - 1, 0, f->p[i]}, choice, &t->changes,
			&t->minutes);
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
	if (!ok) {
		front_free(out);
		return err_memory(err);
	}
	return true;
}

void front_free(struct front_result *r)
{
	free(r->totals);
	free(r->choice);
	memset(r, 0, sizeof *r);
}
