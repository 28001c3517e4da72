/*
 * The order of a plan's runs. The base opens and closes the plan and stands between
 * blocks of at most four test runs, so it returns at least every fifth run.
 *
 * Random: in designs whose second half mirrors the first, a run and its mirror go into
 * one block: every main effect adds up to nothing inside a block, so a drift between
 * blocks leaves main effects alone. Blocks, and the runs inside one, are shuffled
 * (Fisher & Yates) by GSL's mt19937 from the seed.
 *
 * Quick: the order of least garage time that greedy choice, then exchanges and moves of
 * single runs, can find. Deterministic; the seed plays no part.
 */
#include "plan/plan_own.h"

#include <gsl/gsl_rng.h>
#include <stdlib.h>
#include <string.h>

enum { BASE = -1 };

static size_t block_count(size_t rows)
{
	return (rows + PLAN_BETWEEN_BASES - 1) / PLAN_BETWEEN_BASES;
}

size_t plan_order_room(size_t rows)
{
	/* Pairs may leave room in a block: at most one run of each. */
	return 2 * rows + 2 + block_count(rows);
}

static void shuffle(const gsl_rng *rng, int *list, size_t n)
{
	for (size_t i = n; i > 1; i--) {
		size_t j = gsl_rng_uniform_int(rng, i);
		int swap = list[i - 1];
		list[i - 1] = list[j];
		list[j] = swap;
	}
}

/* Units that stay together: a run and its mirror (the index of the first), or a single run. */
static size_t fill_block(const int *unit, size_t n_units, size_t *next, size_t mirrored, int *block)
{
	size_t n = 0;
	while (*next < n_units) {
		bool paired = unit[*next] < (int)mirrored;
		if (n + (paired ? 2 : 1) > PLAN_BETWEEN_BASES)
			break;
		block[n++] = unit[*next];
		if (paired)
			block[n++] = unit[*next] + (int)mirrored;
		++*next;
	}
	return n;
}

/* Blocks of even size where runs stand alone: 12 runs are 4 + 4 + 4, 9 are 3 + 3 + 3. */
static size_t lay_out(const gsl_rng *rng, int *unit, size_t n_units, size_t mirrored, int *order)
{
	size_t n = 0, next = 0;
	size_t blocks = block_count(n_units), done = 0;
	order[n++] = BASE;
	while (next < n_units) {
		size_t stop = mirrored ? n_units : (done + 1) * n_units / blocks;
		size_t got = fill_block(unit, stop, &next, mirrored, order + n);
		shuffle(rng, order + n, got);
		n += got;
		order[n++] = BASE;
		done++;
	}
	return n;
}

size_t plan_order_random(const struct design *d, bool mirrored, unsigned long seed, int *order)
{
	size_t half = mirrored ? d->runs / 2 : 0, n_units = d->runs - half, n = 0;
	int *unit = calloc(n_units + 1, sizeof *unit);
	gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
	if (unit && rng) {
		gsl_rng_set(rng, seed);
		for (size_t i = 0; i < half; i++)
			unit[i] = (int)i;
		for (size_t i = half; i < n_units; i++)
			unit[i] = (int)(i + half);
		shuffle(rng, unit, n_units);
		n = lay_out(rng, unit, n_units, half, order);
	}
	if (rng)
		gsl_rng_free(rng);
	free(unit);
	return n;
}

struct quick {
	size_t rows;
	const double *cost;
	int *order;
	size_t n;
};

static double cost_between(const struct quick *q, int a, int b)
{
	size_t from = a == BASE ? q->rows : (size_t)a, to = b == BASE ? q->rows : (size_t)b;
	return q->cost[from * (q->rows + 1) + to];
}

static double cost_of(const struct quick *q)
{
	double sum = 0;
	for (size_t i = 1; i < q->n; i++)
		sum += cost_between(q, q->order[i - 1], q->order[i]);
	return sum;
}

/* Each place takes the nearest run that is left. */
static void order_greedily(struct quick *q, bool *used)
{
	size_t blocks = block_count(q->rows), left = q->rows;
	q->order[q->n++] = BASE;
	for (size_t b = 0; b < blocks; b++) {
		size_t size = (b + 1) * q->rows / blocks - b * q->rows / blocks;
		for (size_t i = 0; i < size && left; i++, left--) {
			int best = -1, last = q->order[q->n - 1];
			for (int r = 0; r < (int)q->rows; r++)
				if (!used[r] && (best < 0 || cost_between(q, last, r) <
								     cost_between(q, last, best)))
					best = r;
			used[best] = true;
			q->order[q->n++] = best;
		}
		q->order[q->n++] = BASE;
	}
}

static void swap_places(struct quick *q, size_t i, size_t j)
{
	int swap = q->order[i];
	q->order[i] = q->order[j];
	q->order[j] = swap;
}

/* One pass of exchanges between test runs; true if one of them saved time. */
static bool improve(struct quick *q)
{
	bool better = false;
	double now = cost_of(q);
	for (size_t i = 0; i < q->n; i++)
		for (size_t j = i + 1; j < q->n; j++) {
			if (q->order[i] == BASE || q->order[j] == BASE)
				continue;
			swap_places(q, i, j);
			double cost = cost_of(q);
			if (cost < now - 1e-9) {
				now = cost;
				better = true;
			} else {
				swap_places(q, i, j);
			}
		}
	return better;
}

size_t plan_order_quick(size_t rows, const double *cost, int *order)
{
	struct quick q = {rows, cost, order, 0};
	bool *used = calloc(rows, sizeof *used);
	if (!used)
		return 0;
	order_greedily(&q, used);
	while (improve(&q))
		;
	free(used);
	return q.n;
}
