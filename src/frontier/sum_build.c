/* One front of a stage: shifted fronts of the stage before, merged window by window. */
#include "frontier/sum_own.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One step back: the partial sum before the stage's group was added. */
static struct partial step_back(const struct sum *s, const struct partial *x)
{
	const struct stage *st = &s->stages[x->stage];
	uint32_t b = st->before[x->budget * st->n_classes + st->class_of[x->p.level]];
	return (struct partial){x->stage - 1, b, s->stages[x->stage - 1].fronts[b].p[x->p.from]};
}

void partial_decode(
	const struct sum *s, struct partial x, unsigned *choice, unsigned *changes, fix *minutes)
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
	partial_decode(s, a, s->choice_a, &ca, &ma);
	partial_decode(s, b, s->choice_b, &cb, &mb);
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
	if (f->p && n <= f->cap)
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

static inline struct point shifted_point(const struct shifted *l, size_t i)
{
	const struct point *p = &l->base->p[i];
	return (struct point){p->time + l->time, p->wear + l->wear,
		l->by_point ? l->index : (uint32_t)i, l->by_point ? p->level : l->index};
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
	while (hi < l->base->n && l->base->p[hi].time + l->time < end) {
		lo = hi + 1;
		hi += leap;
		leap *= 2;
	}
	if (hi > l->base->n)
		hi = l->base->n;
	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;
		if (l->base->p[mid].time + l->time < end)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo;
}

/* The first of the points [lo, hi) whose wear is not above the bound; wear falls along a front. */
static size_t shifted_below(const struct shifted *l, size_t lo, size_t hi, double bound)
{
	if (lo < hi && l->base->p[hi - 1].wear + l->wear > bound)
		return hi;
	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;
		if (l->base->p[mid].wear + l->wear > bound)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo;
}

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
		size_t merged = lo == hi ? 0 : w->local.n + (hi - lo);
		l->at = hi;
		if (!patience_spend(at->sum->patience, 1 + merged))
			return false;
		if (!merged)
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
		double t = w->lists[k].time;
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

/* The levels of a class as points; false: out of memory. */
static bool class_front(const struct stage *st, struct level_class *cl)
{
	struct front *f = &cl->front;
	if (f->p)
		return true;
	if (!front_reserve(f, cl->n))
		return false;
	for (size_t i = 0; i < cl->n; i++) {
		const uint32_t index = st->order[cl->first + i];
		const struct front_level *l = &st->levels[index];
		f->p[f->n++] = (struct point){l->time, l->wear, 0, index};
	}
	return true;
}

/* Fewer than these are moved one by one whatever the other side has. */
enum { LONG_CLASS = 128 };

static bool lay_class(struct sum *s, size_t stage, uint32_t before, struct level_class *cl,
	struct workspace *w, size_t *n)
{
	const struct stage *st = &s->stages[stage];
	const struct front *base = &s->stages[stage - 1].fronts[before];
	if (base->n == 0 || cl->n == 0)
		return true;
	const bool by_point = cl->n >= LONG_CLASS && cl->n > base->n;
	if (by_point && !class_front(st, cl))
		return false;
	for (size_t i = 0; i < (by_point ? base->n : cl->n); i++) {
		const uint32_t index = by_point ? (uint32_t)i : st->order[cl->first + i];
		const struct front_level *l = by_point ? NULL : &st->levels[index];
		w->lists[(*n)++] = (struct shifted){by_point ? &cl->front : base,
			by_point ? base->p[i].time : l->time, by_point ? base->p[i].wear : l->wear,
			index, by_point, 0};
	}
	return true;
}

static bool lay_lists(struct sum *s, size_t stage, size_t budget, struct workspace *w, size_t *n)
{
	struct stage *st = &s->stages[stage];
	*n = 0;
	for (size_t k = 0; k < st->n_classes; k++) {
		uint32_t b = st->before[budget * st->n_classes + k];
		if (b != NONE && !lay_class(s, stage, b, &st->classes[k], w, n))
			return false;
	}
	return true;
}

bool front_build(struct sum *s, size_t stage, size_t budget, struct workspace *w)
{
	struct front *f = &s->stages[stage].fronts[budget];
	const struct site at = {s, stage, budget};
	size_t n_lists;
	if (!lay_lists(s, stage, budget, w, &n_lists))
		return false;
	if (n_lists == 0)
		return true;
	size_t n_windows = lay_windows(w, n_lists);
	if (n_windows == 0)
		return false;
	w->grown.n = 0;
	for (size_t i = 0; i < n_windows; i++)
		if (!add_window(&at, w, n_lists, w->edges[i]))
			return false;
	f->p = calloc(w->grown.n ? w->grown.n : 1, sizeof *f->p);
	if (!f->p)
		return false;
	memcpy(f->p, w->grown.p, w->grown.n * sizeof *f->p);
	f->n = f->cap = w->grown.n;
	return true;
}
