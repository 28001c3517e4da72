/*
 * Plans: what every plan keeps to, whatever the kind and the seed; the smallest effects
 * against closed forms of orthogonal designs.
 */
#include "plan/plan.h"
#include "plan/plan_line.h"
#include "base/text.h"
#include "plan/power.h"
#include "support/build.h"
#include "support/support.h"

#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct book book;
static struct sheet base;

/* The test car; garage times of 3, 3, 12, 12, 1, 4, 4 min; wing and camber locked. */
static void setup(void)
{
	static const double minutes[] = {3, 3, 12, 12, 1, 4, 4};
	static const double values[] = {9, 13, -3, -2, 55, 50, 30};
	gsl_set_error_handler_off();
	book_init(&book);
	build_car(&book.car);
	book.id = text_dup("test-book", 9);
	book.n_channels = 2;
	book.channels[0] = "front";
	book.channels[1] = "rear";
	strcpy(book.reference, "base");
	sheet_init(&base);
	ck_assert(sheet_alloc(&base, &book.car));
	strcpy(base.id, "base");
	for (size_t a = 0; a < 7; a++) {
		book.car.adjustables[a].has_minutes = true;
		book.car.adjustables[a].minutes = minutes[a];
		base.values[a] = fix_from_double(values[a]);
	}
	base.locked[0] = base.locked[1] = true;
	book.sheets = calloc(1, sizeof *book.sheets);
	ck_assert_ptr_nonnull(book.sheets);
	book.n_sheets = 1;
	ck_assert(sheet_copy(&book.sheets[0], &base));
}

static void teardown(void)
{
	sheet_free(&base);
	book_free(&book);
}

static struct plan_options options(enum plan_kind kind)
{
	return (struct plan_options){.kind = kind, .base = &base, .rng = 1};
}

static struct plan *make(const struct plan_options *o)
{
	struct err e;
	err_clear(&e);
	struct plan *p = plan_new(&book, o, &e);
	ck_assert_msg(p != NULL, "%s", e.text);
	return p;
}

static void refuse(const struct plan_options *o, const char *word)
{
	struct err e;
	err_clear(&e);
	ck_assert_ptr_null(plan_new(&book, o, &e));
	ck_assert_int_eq(e.cls, ERR_INPUT);
	ck_assert_msg(strstr(e.text, word) != NULL, "%s", e.text);
}

/* The base opens, closes, and is at least every fifth run; values stay on steps, inside soft
 * limits, and locked pairs keep their difference. */
static void check_rules(const struct plan *p)
{
	size_t since = 0;
	ck_assert(p->runs[0].baseline && p->runs[p->n_runs - 1].baseline);
	for (size_t i = 0; i < p->n_runs; i++) {
		const struct plan_run *r = &p->runs[i];
		since = r->baseline ? 0 : since + 1;
		ck_assert_uint_le(since, 4);
		for (size_t a = 0; a < 7; a++) {
			ck_assert(car_on_step(&book.car.adjustables[a], r->values[a]));
			ck_assert_int_eq(car_caution(&book.car.adjustables[a], r->values[a]), 0);
			if (r->baseline)
				ck_assert_int_eq(r->values[a], base.values[a]);
		}
		for (size_t q = 0; q < 2; q++)
			ck_assert_int_eq(r->values[2 * q] - r->values[2 * q + 1],
				base.values[2 * q] - base.values[2 * q + 1]);
	}
}

/* Changes count groups, minutes every member; against the run before. */
static void check_garage(const struct plan *p)
{
	double total = 0;
	for (size_t i = 0; i < p->n_runs; i++) {
		const fix *was = i ? p->runs[i - 1].values : base.values, *now = p->runs[i].values;
		static const size_t group[] = {0, 0, 1, 1, 2, 3, 3};
		static const double minutes[] = {3, 3, 12, 12, 1, 4, 4};
		bool moved[4] = {false};
		double sum = 0;
		for (size_t a = 0; a < 7; a++)
			if (was[a] != now[a]) {
				moved[group[a]] = true;
				sum += minutes[a];
			}
		ck_assert_uint_eq(
			p->runs[i].changes, (size_t)moved[0] + moved[1] + moved[2] + moved[3]);
		ck_assert_double_eq(p->runs[i].minutes, sum);
		total += sum;
	}
	ck_assert_double_eq(p->minutes, total);
}

static int level_of(const struct plan_factor *f, const fix *values)
{
	fix move = values[f->adjustable] - base.values[f->adjustable];
	if (move == f->low)
		return -1;
	return move == f->high ? 1 : 0;
}

static size_t count_tests(const struct plan *p)
{
	size_t n = 0;
	for (size_t i = 0; i < p->n_runs; i++)
		n += !p->runs[i].baseline;
	return n;
}

/* The test runs are an orthogonal design of so many runs, in integers. */
static void check_orthogonal(const struct plan *p, size_t runs, long gram)
{
	ck_assert_uint_eq(count_tests(p), runs);
	for (size_t f = 0; f < p->n_factors; f++)
		for (size_t g = 0; g < p->n_factors; g++) {
			long sum = 0, first = 0;
			for (size_t i = 0; i < p->n_runs; i++) {
				if (p->runs[i].baseline)
					continue;
				int x = level_of(&p->factors[f], p->runs[i].values);
				sum += x * level_of(&p->factors[g], p->runs[i].values);
				first += x;
			}
			ck_assert_int_eq(sum, f == g ? gram : 0);
			ck_assert_int_eq(first, 0);
		}
}

START_TEST(every_seed_keeps_the_rules)
{
	for (unsigned long seed = 0; seed < 50; seed++)
		for (int kind = 0; kind < PLAN_NEXT; kind++)
			for (int quick = 0; quick < 2; quick++) {
				struct plan_options o = options((enum plan_kind)kind);
				o.rng = seed;
				o.quick = quick;
				struct plan *p = make(&o);
				check_rules(p);
				check_garage(p);
				plan_free(p);
			}
}
END_TEST

/* Wing and camber move as pairs, bias and both bars alone: five factors. */
START_TEST(factors_follow_the_locks)
{
	static const char *const ids[] = {"wing", "camber", "bias", "front-bar", "rear-bar"};
	struct plan_options o = options(PLAN_SCREENING);
	struct plan *p = make(&o);
	ck_assert_uint_eq(p->n_factors, 5);
	for (size_t f = 0; f < 5; f++)
		ck_assert_str_eq(p->factors[f].id, ids[f]);
	/* Soft limits 5 to 14 of the front wing bind the pair: 9 - 4 and 9 + 5. */
	ck_assert_int_eq(p->factors[0].low, -4 * FIX_ONE);
	ck_assert_int_eq(p->factors[0].high, 5 * FIX_ONE);
	check_orthogonal(p, 8, 8);
	plan_free(p);
	base.frozen[3] = true;
	p = make(&o);
	ck_assert_uint_eq(p->n_factors, 4);
	ck_assert_str_eq(p->factors[1].id, "bias");
	plan_free(p);
}
END_TEST

START_TEST(definitive_keeps_its_design)
{
	struct plan_options o = options(PLAN_DEFINITIVE);
	struct plan *p = make(&o);
	check_orthogonal(p, 13, 10);
	for (size_t f = 0; f < p->n_factors; f++) {
		const struct plan_factor *one = &p->factors[f];
		ck_assert_int_eq(one->high - one->middle, one->middle - one->low);
		ck_assert_int_eq((one->middle - one->low) % one->step, 0);
	}
	plan_free(p);
}
END_TEST

START_TEST(fold_over_doubles_and_mirrors)
{
	struct plan_options o = options(PLAN_SCREENING);
	o.fold_over = true;
	struct plan *p = make(&o);
	check_orthogonal(p, 16, 16);
	check_rules(p);
	/* A run and its mirror in one block: every factor adds up to nothing between two bases. */
	long sum[5] = {0};
	for (size_t i = 0; i < p->n_runs; i++)
		for (size_t f = 0; f < 5; f++) {
			if (p->runs[i].baseline)
				ck_assert_int_eq(sum[f], 0);
			else
				sum[f] += level_of(&p->factors[f], p->runs[i].values);
		}
	plan_free(p);
	o.kind = PLAN_DEFINITIVE;
	refuse(&o, "screening");
}
END_TEST

/* Base, then each factor low and high; a level that is the base itself is no run. */
START_TEST(one_at_a_time_moves_one_factor)
{
	struct plan_options o = options(PLAN_ONE_AT_A_TIME);
	struct plan *p = make(&o);
	ck_assert_uint_eq(count_tests(p), 10);
	for (size_t i = 0; i < p->n_runs; i++) {
		size_t moved = 0;
		for (size_t f = 0; f < p->n_factors; f++)
			moved += p->runs[i].values[p->factors[f].adjustable] !=
				 base.values[p->factors[f].adjustable];
		ck_assert_uint_eq(moved, !p->runs[i].baseline);
	}
	plan_free(p);
	base.values[4] = 50 * FIX_ONE;
	p = make(&o);
	ck_assert_uint_eq(count_tests(p), 9);
	check_rules(p);
	plan_free(p);
}
END_TEST

static bool same_order(const struct plan *a, const struct plan *b)
{
	return a->n_runs == b->n_runs &&
	       memcmp(a->values, b->values, a->n_runs * a->n_adjustables * sizeof *a->values) == 0;
}

START_TEST(the_seed_settles_the_order)
{
	struct plan_options o = options(PLAN_DEFINITIVE);
	struct plan *a = make(&o), *b = make(&o);
	o.rng = 2;
	struct plan *c = make(&o);
	ck_assert(same_order(a, b));
	ck_assert(!same_order(a, c));
	plan_free(a);
	plan_free(b);
	plan_free(c);
}
END_TEST

START_TEST(quick_order_spares_garage_time)
{
	for (int kind = 0; kind < PLAN_NEXT; kind++) {
		struct plan_options o = options((enum plan_kind)kind);
		double random = 0;
		for (o.rng = 1; o.rng <= 10; o.rng++) {
			struct plan *p = make(&o);
			random += p->minutes / 10;
			plan_free(p);
		}
		o.quick = true;
		struct plan *p = make(&o);
		ck_assert_double_lt(p->minutes, random);
		ck_assert_ptr_nonnull(strstr(p->notes[0], "drift"));
		plan_free(p);
	}
}
END_TEST

START_TEST(bad_factors_are_refused)
{
	struct plan_options o = options(PLAN_SCREENING);
	static const char *const unknown[] = {"flap"}, *const twice[] = {"wing", "wing"};
	static const char *const both[] = {"bar", "front-bar"}, *const frozen[] = {"bias"};
	o.n_factors = 1;
	o.factors = unknown;
	refuse(&o, "no factor 'flap'");
	base.frozen[4] = true;
	o.factors = frozen;
	refuse(&o, "frozen");
	o.n_factors = 2;
	o.factors = twice;
	refuse(&o, "twice");
	o.factors = both;
	refuse(&o, "bar");
	o = options(PLAN_SCREENING);
	memset(base.frozen, 1, 7);
	refuse(&o, "nothing to test");
}
END_TEST

START_TEST(ranges_are_checked)
{
	struct plan_options o = options(PLAN_SCREENING);
	struct plan_range r = {"bias", 54 * FIX_ONE, 56 * FIX_ONE};
	o.n_ranges = 1;
	o.ranges = &r;
	struct plan *p = make(&o);
	ck_assert_int_eq(p->factors[2].low, -FIX_ONE);
	ck_assert_int_eq(p->factors[2].high, FIX_ONE);
	plan_free(p);
	r.high = 61 * FIX_ONE;
	refuse(&o, "50 to 60");
	r.high = 55300000;
	refuse(&o, "steps of 0.5");
	strcpy(r.id, "bar");
	refuse(&o, "no factor of this plan");
	/* Past a soft limit: allowed when asked for, and said. */
	r = (struct plan_range){"wing", -5 * FIX_ONE, 5 * FIX_ONE};
	p = make(&o);
	ck_assert_ptr_nonnull(strstr(p->notes[0], "caution: front-wing"));
	plan_free(p);
}
END_TEST

START_TEST(laps_follow_the_budget)
{
	struct plan_options o = options(PLAN_SCREENING);
	struct plan *p = make(&o);
	ck_assert_uint_eq(p->n_runs, 11);
	ck_assert_uint_eq(p->laps, 5);
	plan_free(p);
	static const size_t budget[] = {11, 54, 66, 87, 88, 500}, laps[] = {1, 4, 6, 7, 8, 8};
	for (size_t i = 0; i < 6; i++) {
		o.lap_budget = budget[i];
		p = make(&o);
		ck_assert_uint_eq(p->laps, laps[i]);
		plan_free(p);
	}
	o.lap_budget = 10;
	refuse(&o, "at least 11");
}
END_TEST

static double effect_of(const struct plan *p, const char *term, size_t response)
{
	for (size_t i = 0; i < p->n_detect; i++)
		if (strcmp(p->detect[i].term, term) == 0 && p->detect[i].response == response)
			return p->detect[i].known ? p->detect[i].effect : NAN;
	ck_abort_msg("no term %s", term);
	return 0;
}

/*
 * Four factors, all about the middle of their limits, eight runs on two levels and three of the
 * base. The square terms add one rank (the base against the rest), so 11 - 6 = 5 df, and a slope's
 * variance is s^2 / (8 l^2), l half the distance of the levels: bias 50 to 60 is l = 1, the wing's
 * common -4 to +4 of H = 8 is l = 1/2; n = 5 laps.
 */
START_TEST(screening_finds_what_its_closed_form_says)
{
	static const char *const four[] = {"wing", "camber", "bias", "front-bar"};
	struct plan_options o = options(PLAN_SCREENING);
	struct plan_range wing = {"wing", -4 * FIX_ONE, 4 * FIX_ONE};
	base.values[0] = 10 * FIX_ONE;
	base.values[1] = 14 * FIX_ONE;
	o.n_factors = 4;
	o.factors = four;
	o.n_ranges = 1;
	o.ranges = &wing;
	o.noise[0] = (struct plan_noise){true, 0.10, 0.30};
	o.noise[2] = (struct plan_noise){true, 0.05, 0};
	struct plan *p = make(&o);
	double sd = sqrt(0.10 * 0.10 + 0.30 * 0.30 / 5), ncp = power_detectable(5, 0.05, 0.8);
	ck_assert_double_eq_tol(effect_of(p, "bias", 0), 2 * ncp * sd / sqrt(8), 1e-9);
	ck_assert_double_eq_tol(effect_of(p, "bias", 2), 2 * ncp * 0.05 / sqrt(8), 1e-9);
	ck_assert_double_eq_tol(
		effect_of(p, "wing.common", 0), 2 * ncp * sd / (0.5 * sqrt(8)), 1e-9);
	ck_assert(isnan(effect_of(p, "wing.common", 1)));
	plan_free(p);
}
END_TEST

/* One member of a pair alone is told under its own id, over its own limits. Rear bar: H is the
 * front's 50; the rear's 0 to 75 moves common and difference by 0.75 of it each. */
START_TEST(a_member_alone_is_told_by_its_own_name)
{
	static const char *const one[] = {"rear-bar", "bias"};
	struct plan_options o = options(PLAN_SCREENING);
	o.n_factors = 2;
	o.factors = one;
	o.noise[0] = (struct plan_noise){true, 0.2, 0};
	struct plan *p = make(&o);
	ck_assert_uint_eq(p->n_detect, 2 * 3);
	double ncp = power_detectable((double)p->n_runs - 4, 0.05, 0.8);
	/* Low 0 to high 75 is the whole range: the effect is between the mean of 4 and of 4. */
	ck_assert_double_eq_tol(effect_of(p, "rear-bar", 0), 2 * ncp * 0.2 / sqrt(8), 1e-9);
	plan_free(p);
}
END_TEST

/* More runs find smaller effects; noise unknown is said, not guessed. */
START_TEST(offers_say_what_more_would_buy)
{
	struct plan_options o = options(PLAN_DEFINITIVE);
	o.noise[0] = (struct plan_noise){true, 0.10, 0.30};
	struct plan *p = make(&o);
	ck_assert_uint_eq(p->n_offers, 5);
	for (size_t i = 1; i < 5; i++) {
		ck_assert(p->offers[i].known[0]);
		ck_assert(!p->offers[i].known[1]);
		ck_assert_double_lt(p->offers[i].effect[0], p->offers[0].effect[0]);
	}
	plan_free(p);
}
END_TEST

START_TEST(the_run_sheet_fits_a4)
{
	struct plan_options o = options(PLAN_SCREENING);
	struct plan *p = make(&o);
	struct buf out;
	buf_init(&out);
	plan_print_sheet(p, &book, &out);
	ck_assert(!out.failed);
	size_t width = 0, lines = 0;
	for (size_t i = 0; i < out.len; i++) {
		if (out.data[i] == '\f') {
			lines = 0;
		} else if (out.data[i] == '\n') {
			ck_assert_uint_le(width, 80);
			ck_assert_uint_le(++lines, 60);
			width = 0;
		} else {
			width++;
		}
	}
	ck_assert_ptr_nonnull(strstr(out.data, "11 of 11  BASELINE"));
	buf_free(&out);
	plan_free(p);
}
END_TEST

START_TEST(options_are_read_from_a_line)
{
	struct plan_options o = options(PLAN_SCREENING);
	struct plan_line line;
	struct err e;
	err_clear(&e);
	ck_assert_msg(plan_parse_line(&book, &o, &line,
			      " laps=80 minutes= order=quick rng=7 fold-over=yes "
			      "factors=wing,bias",
			      &e),
		"%s", e.text);
	ck_assert(o.lap_budget == 80 && !o.has_minutes && o.quick && o.rng == 7 && o.fold_over);
	ck_assert_uint_eq(o.n_factors, 2);
	ck_assert_str_eq(o.factors[1], "bias");
	ck_assert(plan_parse_line(&book, &o, &line, "", &e));
	ck_assert(!o.lap_budget && !o.quick && o.rng == 1 && !o.fold_over && !o.n_factors);
	ck_assert(plan_parse_line(&book, &o, &line,
		"sigma-run=0.08 sigma-lap=time=0.1,wear-front=0.05 factors=wing=-2:3,bias", &e));
	ck_assert_uint_eq(o.n_ranges, 1);
	ck_assert_str_eq(o.ranges[0].id, "wing");
	ck_assert(o.ranges[0].low == -2 * FIX_ONE && o.ranges[0].high == 3 * FIX_ONE);
	ck_assert(o.noise[0].has && o.noise[0].run == 0.08 && o.noise[0].lap == 0.1);
	ck_assert(o.noise[1].has && o.noise[1].lap == 0.05);
	static const char *const bad[] = {"laps=x", "laps=2.5", "order=slow", "wing", "wind=3",
		"minutes=-1", "factors=A", "fold-over=1", "factors=wing=3", "factors=wing=a:b",
		"sigma-run=-1", "sigma-run=wear-nose=0.1", "sigma-lap=x"};
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
		ck_assert_msg(!plan_parse_line(&book, &o, &line, bad[i], &e), "%s", bad[i]);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("plan");
	TCase *t = tcase_create("plan");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_set_timeout(t, 60);
	tcase_add_test(t, every_seed_keeps_the_rules);
	tcase_add_test(t, factors_follow_the_locks);
	tcase_add_test(t, definitive_keeps_its_design);
	tcase_add_test(t, fold_over_doubles_and_mirrors);
	tcase_add_test(t, one_at_a_time_moves_one_factor);
	tcase_add_test(t, the_seed_settles_the_order);
	tcase_add_test(t, quick_order_spares_garage_time);
	tcase_add_test(t, bad_factors_are_refused);
	tcase_add_test(t, ranges_are_checked);
	tcase_add_test(t, laps_follow_the_budget);
	tcase_add_test(t, screening_finds_what_its_closed_form_says);
	tcase_add_test(t, a_member_alone_is_told_by_its_own_name);
	tcase_add_test(t, offers_say_what_more_would_buy);
	tcase_add_test(t, the_run_sheet_fits_a4);
	tcase_add_test(t, options_are_read_from_a_line);
	suite_add_tcase(s, t);
	return s;
}
