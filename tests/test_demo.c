/*
 * The ready profiles and the demo book: each is read without a fault, and the demo holds what its
 * description promises (doc/demo-book.md). All of it is invented; no figure of the model is checked
 * here, only that two ways to one agree.
 */
#include "model/model.h"
#include "store/store.h"
#include "support/support.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct book demo;

static void no_faults(const struct faults *faults, const char *what)
{
	if (faults->n > 0)
		ck_abort_msg("%s: %s", what, faults->list[0].text);
}

static void open_demo(void)
{
	char *dir = test_source("share/demo");
	struct faults faults;
	faults_init(&faults);
	book_init(&demo);
	bool ok = store_load_book(&demo, dir, &faults);
	no_faults(&faults, dir);
	ck_assert(ok);
	faults_free(&faults);
	free(dir);
}

static void close_demo(void)
{
	book_free(&demo);
}

static bool same_values(const struct run *r, const struct sheet *s)
{
	return memcmp(r->values, s->values, s->n_values * sizeof s->values[0]) == 0;
}

START_TEST(demo_says_it_is_invented)
{
	ck_assert_ptr_nonnull(strstr(demo.name, "invented"));
}
END_TEST

START_TEST(demo_is_large_enough)
{
	size_t laps = 0, skipped = 0;
	for (size_t i = 0; i < demo.n_runs; i++) {
		laps += demo.runs[i].n_laps;
		skipped += demo.runs[i].n_laps - run_fitted_laps(&demo.runs[i]);
	}
	ck_assert_uint_ge(demo.n_runs, 26);
	ck_assert_uint_ge(laps - skipped, 150);
	ck_assert_uint_ge(skipped, 10);
}
END_TEST

START_TEST(base_returns_at_least_every_fifth_run)
{
	const struct sheet *base = book_reference(&demo);
	ck_assert_ptr_nonnull(base);
	ck_assert_str_eq(base->id, "quick-base");
	size_t since = 0, times = 0;
	for (size_t i = 0; i < demo.n_runs; i++) {
		bool here = same_values(&demo.runs[i], base);
		times += here;
		since = here ? 0 : since + 1;
		ck_assert_msg(since < 5, "%s: the base was %zu runs ago", demo.runs[i].id, since);
	}
	ck_assert_uint_ge(times, 6);
}
END_TEST

/* Wing and bar were moved at one end alone, the other pairs only together. */
START_TEST(some_differences_are_tested_and_others_not)
{
	const struct car *car = &demo.car;
	const struct sheet *base = book_reference(&demo);
	for (size_t p = 0; p < car->n_pairs; p++) {
		size_t f = (size_t)car->pairs[p].front, r = (size_t)car->pairs[p].rear;
		bool apart = false, moved = false;
		for (size_t i = 0; i < demo.n_runs; i++) {
			fix df = demo.runs[i].values[f] - base->values[f];
			fix dr = demo.runs[i].values[r] - base->values[r];
			apart |= df != dr;
			moved |= df != 0 || dr != 0;
		}
		const char *id = car->pairs[p].id;
		bool should = strcmp(id, "wing") == 0 || strcmp(id, "bar") == 0;
		ck_assert_msg(moved, "%s was never moved", id);
		ck_assert_msg(apart == should, "%s: front against rear", id);
	}
}
END_TEST

START_TEST(wear_comes_in_every_spelling)
{
	bool lap = false, worn = false, total = false, missing = false;
	for (size_t i = 0; i < demo.n_runs; i++) {
		const struct run *r = &demo.runs[i];
		total |= r->has_wear_total[0] && r->has_wear_total[1];
		for (size_t j = 0; j < r->n_laps; j++) {
			lap |= r->laps[j].has_wear[0];
			worn |= r->laps[j].has_worn[0] && r->has_worn_at_start[0];
			missing |= !r->laps[j].has_wear[0] && !r->laps[j].has_worn[0] &&
				   !r->has_wear_total[0];
		}
	}
	ck_assert(lap && worn && total && missing);
}
END_TEST

START_TEST(demo_sheets_are_there)
{
	const char *ids[] = {"fast", "kind", "quick-base", "soft-rear-camber"};
	ck_assert_uint_eq(demo.n_sheets, 4);
	for (size_t i = 0; i < 4; i++)
		ck_assert_int_ge(book_find_sheet(&demo, ids[i]), 0);
}
END_TEST

/* The demo carries copies, so that it is a book by itself. */
START_TEST(demo_profiles_are_the_installed_ones)
{
	const char *names[] = {
		"profiles/cars/larkspur-20.yaml", "profiles/circuits/harrow-fen.yaml"};
	for (size_t i = 0; i < 2; i++) {
		char name[128];
		snprintf(name, sizeof name, "share/demo/%s", names[i]);
		char *pa = test_source(names[i]), *pb = test_source(name);
		size_t na, nb;
		char *a = test_slurp(pa, &na), *b = test_slurp(pb, &nb);
		ck_assert_uint_eq(na, nb);
		ck_assert_mem_eq(a, b, na);
		free(a);
		free(b);
		free(pa);
		free(pb);
	}
}
END_TEST

static const struct {
	const char *path;
	size_t adjustables, pairs;
} cars[] = {
	{"profiles/cars/larkspur-20.yaml", 18, 7},
	{"profiles/cars/smewlet-5.yaml", 11, 2},
	{"profiles/cars/thessaby-13.yaml", 15, 6},
};

START_TEST(car_profile_is_read)
{
	char *path = test_source(cars[_i].path);
	struct faults faults;
	struct car car;
	faults_init(&faults);
	car_init(&car);
	bool ok = store_load_car(&car, path, &faults);
	no_faults(&faults, path);
	ck_assert(ok);
	ck_assert_uint_eq(car.n_adjustables, cars[_i].adjustables);
	ck_assert_uint_eq(car.n_pairs, cars[_i].pairs);
	ck_assert(car.has_chassis);
	car_free(&car);
	faults_free(&faults);
	free(path);
}
END_TEST

static void near_to(const struct estimate *a, const struct estimate *b)
{
	ck_assert(a->known == b->known && a->has_interval == b->has_interval);
	if (a->known)
		ck_assert_double_eq_tol(a->value, b->value, 1e-9 * (1 + fabs(b->value)));
	if (a->has_interval) {
		ck_assert_double_eq_tol(a->se, b->se, 1e-9 * (1 + b->se));
		ck_assert_double_eq_tol(a->low, b->low, 1e-9 * (1 + fabs(b->low)));
	}
}

/* What is told from a footing is what is told by asking for each figure. */
START_TEST(predictions_at_once_are_those_one_by_one)
{
	struct err err;
	err_clear(&err);
	struct model *m = model_new(&demo, &err);
	ck_assert_ptr_nonnull(m);
	const fix *base = book_reference(&demo)->values;
	struct footing *f = footing_new(m, base);
	ck_assert_ptr_nonnull(f);
	const size_t n = demo.car.n_adjustables;
	fix *values = calloc(n, sizeof *values);
	unsigned seed = 3;
	size_t known = 0, not_known = 0;
	for (int round = 0; round < 400; round++) {
		struct prediction fast, slow;
		memcpy(values, base, n * sizeof *values);
		for (int i = 0; i < round % 5; i++) {
			const struct adjustable *a =
				&demo.car.adjustables[(size_t)rand_r(&seed) % n];
			values[a - demo.car.adjustables] += (rand_r(&seed) % 9 - 4) * a->step;
		}
		model_predict(m, values, base, round % 2 ? f : NULL, &fast);
		model_predict(m, values, NULL, NULL, &slow);
		ck_assert(fast.extrapolated == model_extrapolated(m, values, NULL));
		for (size_t r = 0; r < m->n_responses; r++) {
			struct estimate value = model_value(m, r, values),
					delta = model_delta(m, r, values, base);
			near_to(&fast.value[r], &value);
			near_to(&fast.delta[r], &delta);
			near_to(&slow.value[r], &value);
			ck_assert(!slow.delta[r].known);
			*(delta.known ? &known : &not_known) += 1;
		}
		for (size_t c = 0; c < demo.n_channels; c++) {
			struct like_delta like = model_like(m, c, values, base);
			near_to(&fast.like[c].delta, &like.delta);
			ck_assert_double_eq(fast.like[c].chance_better, like.chance_better);
			const struct estimate *e = &like.delta;
			if (like.has_chance) /* GSL's distribution is the yardstick */
				ck_assert_double_eq_tol(like.chance_better,
					gsl_cdf_tdist_P(-e->value / e->se, e->df), 1e-13);
		}
	}
	ck_assert_uint_gt(known, 0);
	ck_assert_uint_gt(not_known, 0);
	free(values);
	footing_free(f);
	model_free(m);
}
END_TEST

static const char *const circuits[] = {
	"profiles/circuits/harrow-fen.yaml", "profiles/circuits/ousel-quarry.yaml"};

START_TEST(circuit_profile_is_read)
{
	char *path = test_source(circuits[_i]);
	struct faults faults;
	struct circuit circuit;
	faults_init(&faults);
	circuit_init(&circuit);
	bool ok = store_load_circuit(&circuit, path, &faults);
	no_faults(&faults, path);
	ck_assert(ok);
	circuit_free(&circuit);
	faults_free(&faults);
	free(path);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("demo");
	TCase *t = tcase_create("book");
	tcase_add_checked_fixture(t, open_demo, close_demo);
	tcase_add_test(t, demo_says_it_is_invented);
	tcase_add_test(t, demo_is_large_enough);
	tcase_add_test(t, base_returns_at_least_every_fifth_run);
	tcase_add_test(t, some_differences_are_tested_and_others_not);
	tcase_add_test(t, wear_comes_in_every_spelling);
	tcase_add_test(t, predictions_at_once_are_those_one_by_one);
	tcase_add_test(t, demo_sheets_are_there);
	tcase_add_test(t, demo_profiles_are_the_installed_ones);
	suite_add_tcase(s, t);
	t = tcase_create("profiles");
	tcase_add_loop_test(t, car_profile_is_read, 0, 3);
	tcase_add_loop_test(t, circuit_profile_is_read, 0, 2);
	suite_add_tcase(s, t);
	return s;
}
