/*
 * The pruned sum of fronts against trying every combination. The yardstick is the
 * definition itself, worked here by brute force without any of the program's pruning.
 */
#include "frontier/sum.h"
#include "support/support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { GROUPS = 6, LEVELS = 40, COMBOS = 60000 };

/* A small generator of our own: the same cases on every machine. */
static uint64_t state;
static double uniform(void)
{
	state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return (double)(state >> 11) / 9007199254740992.0;
}
static unsigned below(unsigned n)
{
	return (unsigned)(uniform() * n);
}

struct combo {
	double time, wear;
	unsigned changes;
	fix minutes;
	unsigned choice[GROUPS];
};

static struct front_level levels[GROUPS][LEVELS];
static struct front_group groups[GROUPS];
static struct combo combos[COMBOS];

enum flavour { SMOOTH, LATTICE, RANDOM, FLAVOURS };

/* Smooth curves as a model gives them; a coarse lattice, full of ties; pure chance. */
static void make_group(size_t g, enum flavour flavour)
{
	unsigned n = 1 + below(6);
	double a = uniform(), b = uniform(), c = uniform() * 0.4, d = uniform() * 0.4;
	for (unsigned i = 0; i < n; i++) {
		struct front_level *l = &levels[g][i];
		double x = (double)i - floor(n / 2.0);
		l->time = flavour == SMOOTH    ? a * x + c * x * x
			  : flavour == LATTICE ? (double)below(4) * 0.1
					       : uniform() - 0.5;
		l->wear = flavour == SMOOTH    ? -b * x + d * x * x
			  : flavour == LATTICE ? (double)below(4) * 0.3
					       : uniform() - 0.5;
		l->changes = i == n / 2 ? 0 : 1 + below(2);
		l->minutes = l->changes ? (fix)(1 + below(5)) * FIX_ONE : 0;
	}
	groups[g] = (struct front_group){n, levels[g]};
}

static size_t all_combos(size_t n_groups, const struct front_bounds *b)
{
	size_t n = 0;
	unsigned choice[GROUPS] = {0};
	for (;;) {
		struct combo c = {0};
		for (size_t g = 0; g < n_groups; g++) {
			const struct front_level *l = &groups[g].levels[choice[g]];
			c.time += l->time;
			c.wear += l->wear;
			c.changes += l->changes;
			c.minutes += l->minutes;
			c.choice[g] = choice[g];
		}
		if (!(b->has_changes && c.changes > b->changes) &&
			!(b->has_minutes && c.minutes > b->minutes)) {
			ck_assert_uint_lt(n, COMBOS);
			combos[n++] = c;
		}
		size_t g = 0;
		while (g < n_groups && ++choice[g] == groups[g].n)
			choice[g++] = 0;
		if (g == n_groups)
			return n;
	}
}

#define EPS 1e-10
static bool same(const struct combo *a, const struct combo *b)
{
	return fabs(a->time - b->time) < EPS && fabs(a->wear - b->wear) < EPS;
}
/* The tie rule as documented: fewer changes, fewer minutes, first in the order of levels. */
static bool preferred(const struct combo *a, const struct combo *b)
{
	if (a->changes != b->changes)
		return a->changes < b->changes;
	if (a->minutes != b->minutes)
		return a->minutes < b->minutes;
	for (size_t g = 0; g < GROUPS; g++)
		if (a->choice[g] != b->choice[g])
			return a->choice[g] < b->choice[g];
	return false;
}
static bool beats(const struct combo *a, const struct combo *b)
{
	if (a->time > b->time + EPS || a->wear > b->wear + EPS)
		return false;
	return !same(a, b) || preferred(a, b);
}

static int by_time(const void *pa, const void *pb)
{
	const struct combo *a = pa, *b = pb;
	return a->time < b->time ? -1 : a->time > b->time;
}

static size_t brute(size_t n)
{
	bool *out = calloc(n + 1, sizeof *out);
	ck_assert_ptr_nonnull(out);
	size_t kept = 0;
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n && !out[i]; j++)
			out[i] = beats(&combos[j], &combos[i]);
	for (size_t i = 0; i < n; i++)
		if (!out[i])
			combos[kept++] = combos[i];
	free(out);
	qsort(combos, kept, sizeof *combos, by_time);
	return kept;
}

static void check_case(unsigned seed, enum flavour flavour)
{
	state = seed * 977 + 5;
	size_t n_groups = 1 + below(GROUPS);
	double product = 1;
	memset(levels, 0, sizeof levels);
	for (size_t g = 0; g < n_groups; g++) {
		make_group(g, flavour);
		product *= (double)groups[g].n;
		if (product > 4000)
			n_groups = g + 1;
	}
	struct front_bounds b = {.has_changes = seed % 2,
		.has_minutes = seed / 2 % 2,
		.changes = below(6),
		.minutes = (fix)below(12) * FIX_ONE};
	size_t want = brute(all_combos(n_groups, &b));
	struct front_result r;
	struct err err = {0};
	ck_assert(front_sum(groups, n_groups, &b, &r, &err));
	ck_assert_double_eq_tol(r.candidates, product, 0.5);
	ck_assert_msg(r.n == want, "case %u/%d: %zu points, brute force %zu", seed, (int)flavour,
		r.n, want);
	for (size_t i = 0; i < want; i++) {
		ck_assert_double_eq_tol(r.totals[i].time, combos[i].time, EPS);
		ck_assert_double_eq_tol(r.totals[i].wear, combos[i].wear, EPS);
		ck_assert_uint_eq(r.totals[i].changes, combos[i].changes);
		ck_assert_int_eq(r.totals[i].minutes, combos[i].minutes);
		for (size_t g = 0; g < n_groups; g++)
			ck_assert_uint_eq(r.choice[i * n_groups + g], combos[i].choice[g]);
	}
	front_free(&r);
}

START_TEST(equals_every_combination)
{
	for (unsigned seed = 0; seed < (test_quick() ? 100u : 400u); seed++)
		check_case(seed, (enum flavour)_i);
}
END_TEST

/* Two groups worked by hand. */
START_TEST(worked_by_hand)
{
	const struct front_level wing[] = {{0, 0, 0, 0}, {1, -1, 1, 0}, {2, -1, 1, 0}};
	const struct front_level bar[] = {{0, 0, 0, 0}, {-1, 3, 1, 0}, {1, -2, 1, 0}};
	const struct front_group both[] = {{3, wing}, {3, bar}};
	const double time[] = {-1, 0, 1, 2}, wear[] = {3, 0, -2, -3};
	struct front_result r;
	struct err err = {0};
	ck_assert(front_sum(both, 2, NULL, &r, &err));
	ck_assert_uint_eq(r.n, 4);
	for (size_t i = 0; i < 4; i++) {
		ck_assert_double_eq(r.totals[i].time, time[i]);
		ck_assert_double_eq(r.totals[i].wear, wear[i]);
	}
	front_free(&r);
}
END_TEST

START_TEST(nothing_to_choose)
{
	struct front_result r;
	struct err err = {0};
	ck_assert(front_sum(NULL, 0, NULL, &r, &err));
	ck_assert_uint_eq(r.n, 1);
	ck_assert_double_eq(r.candidates, 1);
	front_free(&r);
	const struct front_group empty[] = {{0, NULL}};
	ck_assert(front_sum(empty, 1, NULL, &r, &err));
	ck_assert_uint_eq(r.n, 0);
	front_free(&r);
	const struct front_level dear[] = {{0, 0, 3, 0}};
	const struct front_group one[] = {{1, dear}};
	const struct front_bounds b = {.has_changes = true, .changes = 2};
	ck_assert(front_sum(one, 1, &b, &r, &err));
	ck_assert_uint_eq(r.n, 0);
	front_free(&r);
}
END_TEST

/* All levels equal: one point, the one with the fewest changes. */
START_TEST(ties_go_to_fewer_changes)
{
	struct front_level flat[41];
	struct front_group many[10];
	for (unsigned i = 0; i < 41; i++)
		flat[i] = (struct front_level){0.1, 0.2, i == 20 ? 0 : 1, FIX_ONE};
	for (size_t g = 0; g < 10; g++)
		many[g] = (struct front_group){41, flat};
	struct front_result r;
	struct err err = {0};
	ck_assert(front_sum(many, 10, NULL, &r, &err));
	ck_assert_uint_eq(r.n, 1);
	ck_assert_uint_eq(r.totals[0].changes, 0);
	ck_assert_double_eq_tol(r.totals[0].time, 1.0, 1e-12);
	front_free(&r);
}
END_TEST

static bool three_times(void *data)
{
	int *asked = data;
	return ++*asked < 3;
}

/* The caller can stop a long sum; it is told, and nothing is left behind. */
START_TEST(a_sum_can_be_stopped)
{
	enum { N = 1500 };
	struct front_level *line = calloc(N, sizeof *line);
	for (int i = 0; i < N; i++)
		line[i] = (struct front_level){.time = i, .wear = -i - 1e-3 * i * i};
	const struct front_group three[] = {{N, line}, {N, line}, {N, line}};
	int asked = 0;
	struct patience p = {.go_on = three_times, .data = &asked};
	const struct front_bounds b = {.patience = &p};
	struct front_result out;
	struct err err;
	err_clear(&err);
	ck_assert(!front_sum(three, 3, &b, &out, &err));
	ck_assert_int_eq(asked, 3);
	ck_assert(p.stopped);
	ck_assert_int_eq(err.cls, ERR_FAILED);
	ck_assert_ptr_nonnull(strstr(err.text, "stopped"));
	ck_assert(!out.totals && !out.choice);

	/* Given up by counting, at the same place each time; not before all is spent. */
	p = (struct patience){.most = 1000000};
	ck_assert(!front_sum(three, 3, &b, &out, &err));
	ck_assert(patience_ended(&p) && !p.stopped);
	const uint64_t spent = p.spent;
	p = (struct patience){.most = 1000000};
	ck_assert(!front_sum(three, 3, &b, &out, &err));
	ck_assert_uint_eq(p.spent, spent);
	ck_assert_uint_lt(spent, 1000000 + 2 * PATIENCE_ASK);

	p = (struct patience){.most = UINT64_MAX};
	err_clear(&err);
	ck_assert(front_sum(three, 3, &b, &out, &err));
	ck_assert(!patience_ended(&p) && out.n > 0);
	front_free(&out);
	free(line);
}
END_TEST

enum { LONG_A = 300, SHORT_B = 7, LONG_C = 200 };
static struct combo many[LONG_A * SHORT_B * LONG_C];

/* Groups of many levels, which are added the other way round: against a sweep over all sums. */
START_TEST(long_groups_equal_every_combination)
{
	static struct front_level a[LONG_A], b[SHORT_B], c[LONG_C];
	size_t n = 0, kept = 0;
	state = 4711;
	for (int i = 0; i < LONG_A; i++)
		a[i] = (struct front_level){
			0.00314159265 * i, 0.9 - 0.006 * i + 8e-6 * i * i, i != 40, 0};
	for (int i = 0; i < SHORT_B; i++)
		b[i] = (struct front_level){uniform(), uniform(), i != 3, 0};
	for (int i = 0; i < LONG_C; i++)
		c[i] = (struct front_level){
			0.00271828183 * i + 1e-5 * i * i, -0.004 * i + 0.01 * uniform(), i != 0, 0};
	for (int i = 0; i < LONG_A; i++)
		for (int j = 0; j < SHORT_B; j++)
			for (int k = 0; k < LONG_C; k++)
				many[n++] = (struct combo){
					.time = a[i].time + b[j].time + c[k].time,
					.wear = a[i].wear + b[j].wear + c[k].wear,
					.changes = a[i].changes + b[j].changes + c[k].changes};
	for (unsigned most = 1; most <= 3; most++) {
		const struct front_group g[] = {{LONG_A, a}, {SHORT_B, b}, {LONG_C, c}};
		const struct front_bounds bounds = {.has_changes = true, .changes = most};
		struct front_result r;
		struct err err = {0};
		ck_assert(front_sum(g, 3, &bounds, &r, &err));
		qsort(many, n, sizeof *many, by_time);
		double least = INFINITY;
		kept = 0;
		for (size_t i = 0; i < n; i++) {
			if (many[i].changes > most || many[i].wear >= least - EPS)
				continue;
			least = many[i].wear;
			ck_assert_uint_lt(kept, r.n);
			ck_assert_double_eq_tol(r.totals[kept].time, many[i].time, EPS);
			ck_assert_double_eq_tol(r.totals[kept].wear, many[i].wear, EPS);
			kept++;
		}
		ck_assert_uint_eq(kept, r.n);
		ck_assert_uint_gt(kept, 20);
		front_free(&r);
	}
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("front_sum");
	TCase *t = tcase_create("core");
	tcase_set_timeout(t, 120);
	tcase_add_loop_test(t, equals_every_combination, 0, FLAVOURS);
	tcase_add_test(t, worked_by_hand);
	tcase_add_test(t, nothing_to_choose);
	tcase_add_test(t, ties_go_to_fewer_changes);
	tcase_add_test(t, a_sum_can_be_stopped);
	tcase_add_test(t, long_groups_equal_every_combination);
	suite_add_tcase(s, t);
	return s;
}
