/*
 * Worst CPU time of the exact frontier: 10 and 18 groups of 41 levels, curved and straight effects.
 * The yardstick, measured in the same run, is the plain way: all sums of the front so far and one
 * group, sorted, swept. Both must find equally many points.
 */
#include "bench/bench.h"

#include "frontier/sum.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

enum { GROUPS = 18, LEVELS = 41, CASES = 5 };
static struct front_level levels[GROUPS][LEVELS];
static struct front_group groups[GROUPS];

static uint64_t state = 20260314;
static double uniform(void)
{
	state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return (double)(state >> 11) / 9007199254740992.0;
}

/* Effects as a fit of an adjustable gives them: a slope, and a square where it is curved. */
static void make_groups(bool curved)
{
	for (size_t g = 0; g < GROUPS; g++) {
		double a = 0.6 * uniform(), b = 0.4 * uniform();
		double c = curved ? 0.1 * uniform() : 0, d = curved ? 0.1 * uniform() : 0;
		for (int i = 0; i < LEVELS; i++) {
			double x = i / 20.0 - 1;
			levels[g][i] = (struct front_level){
				a * x + c * x * x, -b * x + d * x * x, i != LEVELS / 2, 0};
		}
		groups[g] = (struct front_group){LEVELS, levels[g]};
	}
}

struct pair {
	double time, wear;
};
static int by_time(const void *pa, const void *pb)
{
	const struct pair *a = pa, *b = pb;
	if (a->time != b->time)
		return a->time < b->time ? -1 : 1;
	return a->wear < b->wear ? -1 : a->wear > b->wear;
}

/* Points of the plain way; 0 when out of memory. */
static size_t plain(size_t n_groups)
{
	struct pair *front = calloc(1, sizeof *front);
	size_t n = 1;
	for (size_t g = 0; g < n_groups && front; g++) {
		struct pair *all = malloc(n * LEVELS * sizeof *all);
		size_t m = 0;
		for (size_t i = 0; i < n && all; i++)
			for (size_t k = 0; k < LEVELS; k++)
				all[m++] = (struct pair){front[i].time + levels[g][k].time,
					front[i].wear + levels[g][k].wear};
		free(front);
		front = all;
		if (!all)
			return 0;
		qsort(all, m, sizeof *all, by_time);
		n = 0;
		for (size_t i = 0; i < m; i++)
			if (n == 0 || all[i].wear < all[n - 1].wear - 1e-11)
				all[n++] = all[i];
	}
	free(front);
	return n;
}

static bool measure(size_t n_groups, bool curved, double goal)
{
	double own = 0, worst = 0, other = 0;
	size_t points = 0;
	bool same = true;
	for (int k = 0; k < CASES; k++) {
		struct front_result r;
		struct err err = {0};
		make_groups(curved);
		double t = bench_cpu();
		if (!front_sum(groups, n_groups, NULL, &r, &err)) {
			fprintf(stderr, "bench_frontier: %s\n", err.text);
			return false;
		}
		t = bench_cpu() - t;
		own += t / CASES;
		worst = fmax(worst, t);
		points = r.n > points ? r.n : points;
		t = bench_cpu();
		/* Ties within rounding may be told apart by the plain way. */
		double n = (double)plain(n_groups);
		same = same && fabs(n - (double)r.n) <= 1e-3 * n;
		other += (bench_cpu() - t) / CASES;
		front_free(&r);
	}
	char work[80], words[160];
	snprintf(work, sizeof work, "frontier, %zu groups of %d levels, %s effects", n_groups,
		LEVELS, curved ? "curved" : "straight");
	snprintf(words, sizeof words, "up to %zu points; the plain way takes %.1f times as long%s",
		points, other / own, same ? "" : "; NOT THE SAME POINTS");
	row_goal(work, 1e3 * worst, "ms", goal, false, words);
	return same;
}

static void growth_groups(bool curved)
{
	static const size_t sizes[] = {6, 10, 14, 18};
	double time[4] = {0};
	for (size_t k = 0; k < 4; k++)
		for (int i = 0; i < CASES; i++) {
			struct front_result r;
			struct err err = {0};
			make_groups(curved);
			const double since = bench_cpu();
			if (!front_sum(groups, sizes[k], NULL, &r, &err))
				return;
			time[k] += bench_cpu() - since;
			front_free(&r);
		}
	row_growth(curved ? "growth of the frontier with the groups, curved effects"
			  : "growth of the frontier with the groups, straight effects",
		"groups", sizes, time, 4);
}

void bench_frontier(void)
{
	measure(10, false, 20);
	measure(10, true, 20);
	measure(18, false, 100);
	measure(18, true, 100);
	growth_groups(false);
	growth_groups(true);
}
