#include "support/random.h"

#include "support/invent.h"
#include "support/support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct random random_seeded(unsigned seed)
{
	struct random r = {seed * UINT64_C(2654435761) + 99991};
	for (int i = 0; i < 5; i++)
		random_uniform(&r);
	return r;
}

double random_uniform(struct random *r)
{
	r->state = r->state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return (double)(r->state >> 11) / 9007199254740992.0;
}

unsigned random_below(struct random *r, unsigned n)
{
	return (unsigned)(random_uniform(r) * n);
}

/* Box and Muller 1958. */
double random_normal(struct random *r)
{
	double u = 1 - random_uniform(r);
	return sqrt(-2 * log(u)) * cos(6.283185307179586 * random_uniform(r));
}

static void shape_adjustable(struct adjustable *a, struct random *r)
{
	/* -10..10 by 5, by 10, or -12..12 by 4 or 6 */
	static const int limit[] = {10, 10, 12, 12}, step[] = {5, 10, 6, 4};
	unsigned k = random_below(r, 4);
	a->min = -limit[k] * FIX_ONE;
	a->max = limit[k] * FIX_ONE;
	a->step = step[k] * FIX_ONE;
	a->has_minutes = random_below(r, 4) > 0;
	a->minutes = a->has_minutes ? 1 + random_below(r, 6) : 0;
	a->has_caution = random_below(r, 4) == 0;
	a->caution =
		(struct caution){random_below(r, 2) == 0, true, -7 * FIX_ONE, 7 * FIX_ONE, NULL};
}

static fix random_value(const struct adjustable *a, struct random *r)
{
	return a->min + a->step * (fix)random_below(r, (unsigned)car_levels(a) + 1);
}

/* Move one group of a run: a pair together, or one end. */
static void move_group(struct book *b, struct run *run, size_t a, bool together, struct random *r)
{
	const struct car *car = &b->car;
	int other = car_partner(car, (int)a);
	run->values[a] = random_value(&car->adjustables[a], r);
	if (other < 0)
		return;
	/* Both ends the same share of their limits: only `common` moves. */
	const struct adjustable *p = &car->adjustables[other];
	fix same = run->values[a];
	run->values[other] = together && car_on_step(p, same) && same >= p->min && same <= p->max
				     ? same
			     : together ? 0
					: random_value(p, r);
	if (together && run->values[other] != run->values[a])
		run->values[a] = run->values[other] = 0;
}

struct truth {
	double linear[16], square[16];
};

static double respond(const struct truth *t, const struct run *run, size_t n)
{
	double y = 0;
	for (size_t i = 0; i < n; i++) {
		double x = fix_to_double(run->values[i]) / 10;
		y += t->linear[i] * x + t->square[i] * x * x;
	}
	return y;
}

static void drive(struct book *b, struct run *run, const struct truth *truth, struct random *r)
{
	size_t n = b->car.n_adjustables;
	unsigned laps = 3 + random_below(r, 4);
	run->tyre_age = (struct opt_num){true, 0};
	double run_error = 0.05 * random_normal(r);
	for (unsigned j = 0; j < laps; j++) {
		double effort = 95 + 5 * random_uniform(r);
		struct lap *l = invent_lap(run, 90 + respond(&truth[0], run, n) + run_error -
							0.05 * (effort - 100) + 0.01 * j +
							0.05 * random_normal(r));
		l->has_effort = true;
		l->effort = effort;
		for (size_t c = 0; c < b->n_channels; c++) {
			l->has_wear[c] = true;
			l->wear[c] = 2.5 + respond(&truth[1 + c], run, n) - 0.5 * run_error +
				     0.05 * (effort - 100) + 0.03 * random_normal(r);
		}
	}
}

static void add_other_sheet(struct book *b, struct random *r)
{
	struct sheet *s = &b->sheets[1];
	snprintf(s->id, sizeof s->id, "other");
	memcpy(s->values, b->runs[random_below(r, (unsigned)b->n_runs)].values,
		b->car.n_adjustables * sizeof *s->values);
}

static void random_sheets(struct book *b, struct random *r)
{
	b->sheets = realloc(b->sheets, 2 * sizeof *b->sheets);
	ck_assert(b->sheets && sheet_alloc(&b->sheets[1], &b->car));
	b->n_sheets = 2;
	add_other_sheet(b, r);
	for (size_t k = 0; k < 2; k++) {
		for (size_t i = 0; i < b->car.n_pairs; i++)
			b->sheets[k].locked[i] = random_below(r, 2) == 0;
		for (size_t i = 0; i < b->car.n_adjustables; i++)
			b->sheets[k].frozen[i] = random_below(r, 8) == 0;
	}
}

void random_book(struct book *b, struct random *r)
{
	struct truth truth[1 + CHANNELS_MAX];
	invent_book(b, 1 + random_below(r, 2), 1 + random_below(r, 2), 1 + random_below(r, 2));
	size_t n = b->car.n_adjustables;
	bool together[4];
	for (size_t i = 0; i < n; i++)
		shape_adjustable(&b->car.adjustables[i], r);
	for (size_t i = 0; i < 4; i++)
		together[i] = random_below(r, 3) == 0;
	for (size_t k = 0; k < 1 + b->n_channels; k++)
		for (size_t i = 0; i < n; i++) {
			truth[k].linear[i] = (k ? 0.3 : 0.5) * random_normal(r);
			truth[k].square[i] = random_below(r, 2) ? 0.2 * random_uniform(r) : 0;
		}
	unsigned runs = 10 + random_below(r, 11);
	for (unsigned i = 0; i < runs; i++) {
		char id[16];
		snprintf(id, sizeof id, "r%02u", i);
		struct run *run = invent_run(b, id);
		for (unsigned moves = i % 3 == 0 ? 0 : 1 + random_below(r, 2); moves > 0; moves--) {
			size_t a = random_below(r, (unsigned)n);
			int pair = b->car.adjustables[a].pair;
			move_group(b, run, a, pair >= 0 && together[pair], r);
		}
		drive(b, run, truth, r);
	}
	random_sheets(b, r);
}
