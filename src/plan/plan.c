#include "plan/plan_own.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const plan_kind_names[PLAN_KINDS] = {
	"one-at-a-time", "screening", "definitive", "next"};

bool plan_kind_parse(const char *text, enum plan_kind *out)
{
	for (int k = 0; k < PLAN_KINDS; k++)
		if (strcmp(text, plan_kind_names[k]) == 0) {
			*out = (enum plan_kind)k;
			return true;
		}
	return false;
}

void plan_free(struct plan *p)
{
	if (!p)
		return;
	free(p->factors);
	free(p->runs);
	free(p->values);
	free(p->detect);
	free(p->offers);
	free(p->notes);
	free(p);
}

bool plan_note(struct plan *p, const char *fmt, ...)
{
	char(*notes)[PLAN_NOTE_SIZE] = realloc(p->notes, (p->n_notes + 1) * sizeof *notes);
	if (!notes)
		return false;
	p->notes = notes;
	va_list args;
	va_start(args, fmt);
	vsnprintf(notes[p->n_notes], PLAN_NOTE_SIZE, fmt, args);
	text_mend(notes[p->n_notes++]);
	va_end(args);
	return true;
}

int plan_next_run(const struct plan *p)
{
	for (size_t i = 0; i < p->n_runs; i++)
		if (!p->runs[i].done[0])
			return (int)i;
	return -1;
}

static bool member_moved(const struct car *c, int a, const fix *from, const fix *to)
{
	int other = car_partner(c, a);
	return from[a] != to[a] || (other >= 0 && from[other] != to[other]);
}

size_t plan_count_changes(const struct car *c, const fix *from, const fix *to, double *minutes)
{
	size_t n = 0;
	*minutes = 0;
	for (int a = 0; a < (int)c->n_adjustables; a++) {
		const struct adjustable *one = &c->adjustables[a];
		int other = car_partner(c, a);
		if (from[a] != to[a] && one->has_minutes)
			*minutes += one->minutes;
		if ((other < 0 || a < other) && member_moved(c, a, from, to))
			n++;
	}
	return n;
}

static bool make_design(
	struct design *d, const struct plan_options *o, size_t factors, struct err *err)
{
	switch (o->kind) {
	case PLAN_SCREENING:
		return design_screening(d, factors, o->fold_over, err);
	case PLAN_DEFINITIVE:
		return design_definitive(d, factors, err);
	default:
		return design_one_at_a_time(d, factors, err);
	}
}

/* A one-at-a-time level that is the base itself is no test: its row goes. */
static void drop_empty_rows(struct plan *p, struct design *d)
{
	size_t n = 0;
	for (size_t r = 0; r < d->runs; r++) {
		const struct plan_factor *f = &p->factors[r % d->factors];
		if ((r < d->factors ? f->low : f->high) == 0)
			continue;
		memmove(d->x + n * d->factors, d->x + r * d->factors, d->factors);
		n++;
	}
	d->runs = n;
}

/* Garage minutes between any two rows, the base last. */
static double *make_costs(
	const struct plan *p, const struct car *c, const struct design *d, const fix *base)
{
	size_t n = d->runs + 1, m = p->n_adjustables;
	double *cost = malloc(n * n * sizeof *cost);
	fix *values = malloc(n * m * sizeof *values);
	if (cost && values) {
		for (size_t r = 0; r < d->runs; r++)
			plan_set_values(p, base, d->x + r * d->factors, values + r * m);
		memcpy(values + d->runs * m, base, m * sizeof *values);
		for (size_t i = 0; i < n; i++)
			for (size_t j = 0; j < n; j++)
				plan_count_changes(
					c, values + i * m, values + j * m, &cost[i * n + j]);
	} else {
		free(cost);
		cost = NULL;
	}
	free(values);
	return cost;
}

static size_t order_quickly(const struct plan *p, const struct car *c, const struct design *d,
	const fix *base, int *order)
{
	double *cost = make_costs(p, c, d, base);
	size_t n = cost ? plan_order_quick(d->runs, cost, order) : 0;
	free(cost);
	return n;
}

/* Is row i + half the mirror of row i? A closing centre run may stand alone. */
static bool has_mirrors(const struct design *d)
{
	size_t half = d->runs / 2;
	for (size_t i = 0; i < half * d->factors; i++)
		if (d->x[i] != -d->x[half * d->factors + i])
			return false;
	return half > 0;
}

static bool fill_runs(struct plan *p, const struct car *c, const struct design *d, const fix *base,
	const int *order, struct err *err)
{
	size_t m = p->n_adjustables;
	p->runs = calloc(p->n_runs, sizeof *p->runs);
	p->values = malloc(p->n_runs * m * sizeof *p->values);
	if (!p->runs || !p->values)
		return err_memory(err);
	const fix *before = base;
	for (size_t i = 0; i < p->n_runs; i++) {
		struct plan_run *r = &p->runs[i];
		fix *values = p->values + i * m;
		r->values = values;
		r->baseline = order[i] < 0;
		if (r->baseline)
			memcpy(values, base, m * sizeof *values);
		else
			plan_set_values(p, base, d->x + (size_t)order[i] * d->factors, values);
		r->changes = plan_count_changes(c, before, values, &r->minutes);
		p->minutes += r->minutes;
		before = values;
	}
	return true;
}

static bool order_runs(struct plan *p, const struct car *c, const struct design *d,
	const struct plan_options *o, struct err *err)
{
	int *order = malloc(plan_order_room(d->runs) * sizeof *order);
	if (!order)
		return err_memory(err);
	const fix *base = o->base->values;
	p->n_runs = o->quick ? order_quickly(p, c, d, base, order)
			     : plan_order_random(d, has_mirrors(d), o->rng, order);
	bool ok = p->n_runs ? fill_runs(p, c, d, base, order, err) : err_memory(err);
	free(order);
	return ok;
}

static bool note_minutes(
	struct plan *p, const struct car *c, const struct design *d, const struct plan_options *o)
{
	if (o->quick &&
		!plan_note(p, "ordered to spare garage time, not at random: a drift of "
			      "track, tyres or driver over the day can mix into the effects"))
		return false;
	if (!o->has_minutes || p->minutes <= o->minutes)
		return true;
	double quick = p->minutes;
	if (!o->quick) {
		struct plan_options other = *o;
		struct plan copy = *p;
		struct err ignored = {0};
		other.quick = true;
		copy.runs = NULL;
		copy.values = NULL;
		copy.minutes = 0;
		if (order_runs(&copy, c, d, &other, &ignored))
			quick = copy.minutes;
		free(copy.runs);
		free(copy.values);
	}
	return plan_note(p,
		"over the garage time: %g min of changes, %g given; the quick order "
		"needs %g; else leave out the factors that take longest",
		p->minutes, o->minutes, quick);
}

static bool note_base(struct plan *p, const struct car *c, const struct sheet *base)
{
	for (size_t i = 0; i < c->n_adjustables; i++) {
		const struct adjustable *a = &c->adjustables[i];
		if (car_caution(a, base->values[i]) &&
			!plan_note(p, "caution: the base has %s past its soft limit%s%s", a->id,
				a->caution.note ? ": " : "",
				a->caution.note ? a->caution.note : ""))
			return false;
	}
	return true;
}

static bool build(
	struct plan *p, const struct book *b, const struct plan_options *o, struct err *err)
{
	struct design d;
	if (!plan_choose_factors(p, b, o, err))
		return false;
	if (!plan_leave_borrowed(p, o))
		return err_memory(err);
	if (!make_design(&d, o, p->n_factors, err))
		return false;
	if (o->kind == PLAN_ONE_AT_A_TIME)
		drop_empty_rows(p, &d);
	bool ok = order_runs(p, &b->car, &d, o, err) && plan_choose_laps(p, o, err) &&
		  plan_find_detectable(p, b, o->noise, err);
	if (ok && (!note_minutes(p, &b->car, &d, o) || !note_base(p, &b->car, o->base)))
		ok = err_memory(err);
	design_free(&d);
	return ok;
}

bool plan_complete(
	struct plan *p, const struct book *b, const struct plan_noise *noise, struct err *err)
{
	int base = book_find_sheet(b, p->base);
	const fix *before = base >= 0 ? b->sheets[base].values : NULL;
	p->n_responses = 1 + b->n_channels;
	p->minutes = 0;
	for (size_t i = 0; i < p->n_runs; i++) {
		struct plan_run *r = &p->runs[i];
		r->changes = plan_count_changes(
			&b->car, before ? before : r->values, r->values, &r->minutes);
		p->minutes += r->minutes;
		before = r->values;
	}
	return p->kind == PLAN_NEXT || plan_find_detectable(p, b, noise, err);
}

struct plan *plan_new(const struct book *b, const struct plan_options *o, struct err *err)
{
	if (o->fold_over && o->kind != PLAN_SCREENING) {
		err_input(err, "a fold-over of a %s plan; allowed: of a screening plan",
			plan_kind_names[o->kind]);
		return NULL;
	}
	struct plan *p = calloc(1, sizeof *p);
	if (!p) {
		err_memory(err);
		return NULL;
	}
	p->kind = o->kind;
	memcpy(p->base, o->base->id, sizeof p->base);
	p->fold_over = o->fold_over;
	p->quick = o->quick;
	p->rng = o->rng;
	p->n_adjustables = b->car.n_adjustables;
	p->n_responses = 1 + b->n_channels;
	if (build(p, b, o, err))
		return p;
	plan_free(p);
	return NULL;
}
