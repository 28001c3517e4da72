#include "invent.h"

#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void add_adjustable(struct car *c, const char *id, enum axle axle, int pair)
{
	struct adjustable *a = &c->adjustables[c->n_adjustables++];
	snprintf(a->id, sizeof a->id, "%s", id);
	a->label = strdup(id);
	a->unit = strdup("mm");
	a->axle = axle;
	a->pair = pair;
	a->min = -10 * FIX_ONE;
	a->max = 10 * FIX_ONE;
	a->step = FIX_ONE;
}

void invent_book(struct book *b, size_t pairs, size_t singles, size_t channels)
{
	static const char *const axles[] = {"front", "rear"};
	struct car *c = &b->car;
	char id[ID_SIZE];
	book_init(b);
	b->id = strdup("invented");
	b->dir = strdup("invented");
	snprintf(c->id, sizeof c->id, "invented");
	c->adjustables = calloc(2 * pairs + singles + 1, sizeof *c->adjustables);
	c->pairs = calloc(pairs + 1, sizeof *c->pairs);
	ck_assert(c->adjustables && c->pairs);
	for (size_t i = 0; i < pairs; i++) {
		struct pair *p = &c->pairs[c->n_pairs++];
		snprintf(p->id, sizeof p->id, "p%zu", i);
		for (int k = 0; k < 2; k++) {
			*(k ? &p->rear : &p->front) = (int)c->n_adjustables;
			snprintf(id, sizeof id, "p%zu-%s", i, axles[k]);
			add_adjustable(c, id, k ? AXLE_REAR : AXLE_FRONT, (int)i);
		}
	}
	for (size_t i = 0; i < singles; i++) {
		snprintf(id, sizeof id, "s%zu", i);
		add_adjustable(c, id, AXLE_CAR, -1);
	}
	b->n_channels = channels;
	for (size_t i = 0; i < channels; i++)
		b->channels[i] = channels == 1 ? "car" : axles[i % 2];
	b->wear_limit = 60;
	snprintf(b->reference, sizeof b->reference, "base");
	b->sheets = calloc(1, sizeof *b->sheets);
	ck_assert(b->sheets && sheet_alloc(b->sheets, c));
	snprintf(b->sheets->id, sizeof b->sheets->id, "base");
	for (size_t i = 0; i < c->n_adjustables; i++)
		b->sheets->values[i] = 0;
	b->n_sheets = 1;
}

struct run *invent_run(struct book *b, const char *id)
{
	b->runs = realloc(b->runs, (b->n_runs + 1) * sizeof *b->runs);
	ck_assert(b->runs != NULL);
	struct run *r = &b->runs[b->n_runs++];
	run_init(r);
	snprintf(r->id, sizeof r->id, "%s", id);
	r->n_values = b->car.n_adjustables;
	r->values = calloc(r->n_values + 1, sizeof *r->values);
	ck_assert(r->values != NULL);
	return r;
}

struct lap *invent_lap(struct run *r, double time)
{
	r->laps = realloc(r->laps, (r->n_laps + 1) * sizeof *r->laps);
	ck_assert(r->laps != NULL);
	struct lap *l = &r->laps[r->n_laps++];
	memset(l, 0, sizeof *l);
	l->time = time;
	return l;
}

size_t invent_at(const struct book *b, const char *id)
{
	const int i = car_find_adjustable(&b->car, id);
	ck_assert_msg(i >= 0, "no %s", id);
	return (size_t)i;
}

void invent_set(struct book *b, struct run *r, const char *id, double value)
{
	r->values[invent_at(b, id)] = fix_from_double(value);
}
