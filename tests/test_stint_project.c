/*
 * The stint on plain numbers. Tables worked by hand (the working is in the comments);
 * facts of the trade: common practice, no source.
 */
#include "stint/project.h"
#include "support/support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct stint_rules plain(size_t laps)
{
	return (struct stint_rules){.laps = laps, .n_channels = 1, .wear_limit = 60};
}

/*
 * By hand: 4 laps, 90 s, front 2 %, rear 3 % per lap; 0.1 s per % of the most worn
 * channel; fuel 2 kg a lap at 0.05 s/kg, told at 4 kg.
 *   lap  worn before (rear)  pace loss  fuel  fuel loss          time
 *   1    0                   0          8     0.05*(8-4)= 0.2    90.2
 *   2    3                   0.3        6     0.1                90.4
 *   3    6                   0.6        4     0                  90.6
 *   4    9                   0.9        2     -0.1               90.8
 * total 362.0; worn after: front 8, rear 12.
 */
START_TEST(table_by_hand)
{
	struct stint_rules r = {.laps = 4,
		.n_channels = 2,
		.wear_limit = 60,
		.fuel_slope = 0.05,
		.fuel_per_lap = 2,
		.fuel_condition = 4,
		.pace_loss = 0.1};
	struct stint_pace p = {.time = 90, .wear = {2, 3}};
	const double time[] = {90.2, 90.4, 90.6, 90.8};
	struct stint_lap lap[4];
	double cumulative = 0;
	ck_assert_double_eq_tol(stint_project(&r, &p, lap), 362.0, 1e-9);
	for (size_t i = 0; i < 4; i++) {
		cumulative += time[i];
		ck_assert_double_eq_tol(lap[i].time, time[i], 1e-9);
		ck_assert_double_eq_tol(lap[i].cumulative, cumulative, 1e-9);
		ck_assert_double_eq_tol(lap[i].worn[0], 2.0 * (double)(i + 1), 1e-12);
		ck_assert_double_eq_tol(lap[i].worn[1], 3.0 * (double)(i + 1), 1e-12);
		ck_assert(!lap[i].beyond);
	}
}
END_TEST

/*
 * By hand: wear 10 + 1 per lap of age from a condition of 1 lap: 9, 10, 11, 12; worn 9, 19,
 * 30, 42. Pace loss 0.02 to 15 %, then 0.1: before lap 2 at 9 % 0.18; lap 3 at 19 %
 * 0.3 + 0.4 = 0.7; lap 4 at 30 % 0.3 + 1.5 = 1.8. Limit 30: lap 4 is the first beyond.
 */
START_TEST(age_cliff_and_limit)
{
	struct stint_rules r = {.laps = 4,
		.n_channels = 1,
		.wear_limit = 30,
		.age_condition = 1,
		.pace_loss = 0.02,
		.has_cliff = true,
		.cliff_at = 15,
		.cliff = 0.1};
	struct stint_pace p = {.time = 100, .wear = {10}, .wear_age = {1}};
	const double worn[] = {9, 19, 30, 42}, time[] = {100, 100.18, 100.7, 101.8};
	struct stint_lap lap[4];
	stint_project(&r, &p, lap);
	for (size_t i = 0; i < 4; i++) {
		ck_assert_double_eq_tol(lap[i].worn[0], worn[i], 1e-9);
		ck_assert_double_eq_tol(lap[i].time, time[i], 1e-9);
		ck_assert(lap[i].beyond == (i == 3));
	}
	ck_assert_uint_eq(stint_set_life(&r, &p), 3);
}
END_TEST

/* 0.1 % per lap saved is 3 % of tread over 30 laps, 0.5 % is 15 % (common practice, no source). */
START_TEST(trade_saving_over_thirty_laps)
{
	struct stint_rules r = plain(30);
	struct stint_lap base[30], kind[30], kinder[30];
	stint_project(&r, &(struct stint_pace){.time = 90, .wear = {2.5}}, base);
	stint_project(&r, &(struct stint_pace){.time = 90, .wear = {2.4}}, kind);
	stint_project(&r, &(struct stint_pace){.time = 90, .wear = {2.0}}, kinder);
	ck_assert_double_eq_tol(base[29].worn[0] - kind[29].worn[0], 3.0, 1e-9);
	ck_assert_double_eq_tol(base[29].worn[0] - kinder[29].worn[0], 15.0, 1e-9);
}
END_TEST

/* Sheet a: 0.1 s slower, wears 1 % less, 0.05 s per %: ahead per lap from lap 4, in sum from lap 6:
 * sum over n laps of 0.1 - 0.05 (i - 1) = 0.1 n - 0.025 n (n - 1) < 0 for n > 5. */
START_TEST(crossover_by_hand)
{
	struct stint_rules r = plain(20);
	r.pace_loss = 0.05;
	struct stint_lap a[20], b[20];
	stint_project(&r, &(struct stint_pace){.time = 90.1 + 1e-9, .wear = {2}}, a);
	stint_project(&r, &(struct stint_pace){.time = 90, .wear = {3}}, b);
	ck_assert_uint_eq(stint_crossover(a, b, 20), 6);
	ck_assert_uint_eq(stint_crossover(a, b, 5), 0);
	ck_assert_uint_eq(stint_crossover(b, a, 20), 0);
	ck_assert_uint_eq(stint_crossover(b, b, 20), 0);
}
END_TEST

/* Every choice of stop laps tried for the least total. */
static double cheapest(const struct stint_rules *r, const struct stint_pace *p, size_t n_stops)
{
	double best = INFINITY;
	for (size_t mask = 0; mask < (size_t)1 << (r->laps - 1); mask++) {
		size_t stop[32], n = 0, from = 0, life = stint_set_life(r, p);
		bool ok = true;
		for (size_t lap = 1; lap < r->laps; lap++)
			if (mask >> (lap - 1) & 1)
				stop[n++] = lap;
		for (size_t i = 0; i <= n; i++) {
			size_t to = i < n ? stop[i] : r->laps;
			ok = ok && to - from <= life;
			from = to;
		}
		if (ok && n == n_stops)
			best = fmin(best, stint_project_stops(r, p, stop, n, NULL));
	}
	return best;
}

START_TEST(stops_are_the_cheapest)
{
	/* loss of pace, cliff, wear growth with age: growing, with a cliff, and falling with wear
	 */
	const double pace[] = {0.02, 0.1, -0.05, 0}, cliff[] = {0, 0.5, 0.01, -0.2};
	for (size_t i = 0; i < 4; i++)
		for (int k = 0; k < 10; k++) {
			const double wear = 2 + 0.7 * k;
			struct stint_rules r = {.laps = 13,
				.n_channels = 2,
				.wear_limit = 20,
				.fuel_slope = 0.03,
				.fuel_per_lap = 2,
				.pace_loss = pace[i],
				.has_cliff = i > 0,
				.cliff_at = 9,
				.cliff = cliff[i],
				.has_pit_loss = true,
				.pit_loss = 24};
			struct stint_pace p = {
				.time = 90, .wear = {wear, wear - 1}, .wear_age = {0.05, 0.2}};
			size_t stop[13];
			long n = stint_plan_stops(&r, &p, stop);
			size_t life = stint_set_life(&r, &p);
			ck_assert_int_eq(n, (long)((13 + life - 1) / life) - 1);
			double total = stint_project_stops(&r, &p, stop, (size_t)n, NULL);
			ck_assert_double_eq_tol(total, cheapest(&r, &p, (size_t)n), 1e-7);
			if (stint_evenly(&r))
				ck_assert_double_eq_tol(stint_least_total(&r, &p), total, 1e-7);
		}
}
END_TEST

START_TEST(stops_that_cannot_help)
{
	struct stint_rules r = plain(10);
	struct stint_pace p = {.time = 90, .wear = {61}};
	size_t stop[10];
	ck_assert_int_eq(stint_plan_stops(&r, &p, stop), -1);
	ck_assert(isinf(stint_least_total(&r, &p)));
	p.wear[0] = 6;
	ck_assert_int_eq(stint_plan_stops(&r, &p, stop), 0);
	ck_assert_double_eq_tol(stint_least_total(&r, &p), 900, 1e-9);
	p.wear[0] = 7;
	ck_assert_int_eq(stint_plan_stops(&r, &p, stop), 1);
	ck_assert(isinf(stint_least_total(&r, &p)));
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("stint_project");
	TCase *t = tcase_create("core");
	tcase_add_test(t, table_by_hand);
	tcase_add_test(t, age_cliff_and_limit);
	tcase_add_test(t, trade_saving_over_thirty_laps);
	tcase_add_test(t, crossover_by_hand);
	tcase_add_test(t, stops_are_the_cheapest);
	tcase_add_test(t, stops_that_cannot_help);
	suite_add_tcase(s, t);
	return s;
}
