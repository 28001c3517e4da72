/*
 * The next run against brute force: every combination of steps is tried, and the covariance
 * after it is found by inverting the whole information matrix, not by the update that the
 * program uses.
 */
#include "base/patience.h"
#include "frontier/frontier.h"
#include "model/model.h"
#include "plan/plan.h"
#include "support/build.h"
#include "support/support.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct book book;
static struct sheet base;
enum { RUNS = 12, MOVES = 3 };

/* What each run has moved from the base, in steps: wing, camber, bias. */
static const int moved[RUNS][MOVES] = {{0, 0, 0}, {4, 0, 0}, {-4, 0, 0}, {0, 3, 0}, {0, 0, 0},
	{0, -5, 0}, {0, 0, 6}, {0, 0, -4}, {0, 0, 0}, {2, 2, 2}, {-3, 4, -2}, {0, 0, 0}};

static void set_values(fix *v, const int *steps)
{
	memcpy(v, base.values, 7 * sizeof *v);
	v[0] += steps[0] * 500000;
	v[1] += steps[0] * 500000;
	v[2] += steps[1] * 100000;
	v[3] += steps[1] * 100000;
	v[4] += steps[2] * 500000;
}

/* One lap a run, so least squares: invented times and wear that trade off along the wing. */
static void fill_run(struct run *r, size_t i)
{
	run_init(r);
	snprintf(r->id, sizeof r->id, "r%02zu", i);
	r->n_values = 7;
	r->values = calloc(7, sizeof *r->values);
	r->laps = calloc(1, sizeof *r->laps);
	ck_assert(r->values && r->laps);
	set_values(r->values, moved[i]);
	r->n_laps = 1;
	double noise = 0.05 * sin(12.9898 * (double)(i + 1) * (double)(i + 2));
	r->laps[0].time = 90 + 0.06 * moved[i][0] - 0.05 * moved[i][1] + 0.02 * moved[i][2] + noise;
	r->laps[0].has_wear[0] = true;
	r->laps[0].wear[0] = 2 - 0.05 * moved[i][0] + 0.04 * moved[i][1] + 0.01 * moved[i][2] +
			     0.3 * noise * cos((double)i);
}

static void setup(void)
{
	static const double values[] = {9, 13, -3, -2, 55, 50, 30};
	gsl_set_error_handler_off();
	book_init(&book);
	build_car(&book.car);
	book.id = text_dup("test-book", 9);
	book.n_channels = 1;
	book.channels[0] = "car";
	book.wear_limit = 60;
	book.curvature_off = true;
	strcpy(book.reference, "base");
	sheet_init(&base);
	ck_assert(sheet_alloc(&base, &book.car));
	strcpy(base.id, "base");
	for (size_t a = 0; a < 7; a++)
		base.values[a] = fix_from_double(values[a]);
	base.locked[0] = base.locked[1] = base.locked[2] = true;
	book.sheets = calloc(1, sizeof *book.sheets);
	book.runs = calloc(RUNS, sizeof *book.runs);
	ck_assert(book.sheets && book.runs);
	book.n_sheets = 1;
	ck_assert(sheet_copy(&book.sheets[0], &base));
	book.n_runs = RUNS;
	for (size_t i = 0; i < RUNS; i++)
		fill_run(&book.runs[i], i);
}

static void teardown(void)
{
	sheet_free(&base);
	book_free(&book);
}

/* The four columns that vary: intercept, wing, camber, bias, from steps. */
enum { COLUMNS = 4 };
static void row_of(const int *steps, double *row)
{
	row[0] = 1;
	for (int j = 0; j < MOVES; j++)
		row[1 + j] = steps[j];
}

static void steps_of(const fix *v, int *steps)
{
	steps[0] = (int)((v[0] - base.values[0]) / 500000);
	steps[1] = (int)((v[2] - base.values[2]) / 100000);
	steps[2] = (int)((v[4] - base.values[4]) / 500000);
}

/* Mean of l'(X'X)^-1 l over the frontier's differences, with a run more or none. */
static double mean_variance(const struct frontier *f, const int *extra)
{
	double gram[COLUMNS * COLUMNS] = {0}, row[COLUMNS];
	for (size_t i = 0; i < RUNS + (extra ? 1 : 0); i++) {
		row_of(i < RUNS ? moved[i] : extra, row);
		for (int a = 0; a < COLUMNS; a++)
			for (int b = 0; b < COLUMNS; b++)
				gram[a * COLUMNS + b] += row[a] * row[b];
	}
	gsl_matrix_view view = gsl_matrix_view_array(gram, COLUMNS, COLUMNS);
	ck_assert_int_eq(gsl_linalg_cholesky_decomp1(&view.matrix), GSL_SUCCESS);
	ck_assert_int_eq(gsl_linalg_cholesky_invert(&view.matrix), GSL_SUCCESS);
	double sum = 0;
	for (size_t k = 0; k < f->n; k++) {
		int steps[MOVES];
		steps_of(f->points[k].values, steps);
		for (int a = 0; a < MOVES; a++)
			for (int b = 0; b < MOVES; b++)
				sum += steps[a] * steps[b] * gram[(a + 1) * COLUMNS + b + 1];
	}
	return sum;
}

START_TEST(next_is_the_best_of_all)
{
	struct err e;
	err_clear(&e);
	struct model *m = model_new(&book, &e);
	ck_assert_msg(m != NULL, "%s", e.text);
	struct frontier_options fo = {.points = 40};
	ck_assert(save_parse(m, NULL, &fo.save, &e));
	struct frontier *f = frontier_new(m, &base, &base, &fo, &e);
	ck_assert_msg(f && f->n > 3, "%s", e.text);
	struct plan_options o = {.kind = PLAN_NEXT, .base = &base};
	struct plan *p = plan_next(m, &o, &e);
	ck_assert_msg(p != NULL, "%s", e.text);
	int got[MOVES];
	steps_of(p->runs[0].values, got);
	double now = mean_variance(f, NULL), after = mean_variance(f, got), best = now;
	int try[MOVES];
	/* Soft and hard limits from the base, in steps. */
	for (try[0] = -8; try[0] <= 10; try[0]++)
		for (try[1] = -10; try[1] <= 10; try[1]++)
			for (try[2] = -10; try[2] <= 10; try[2]++)
				best = fmin(best, mean_variance(f, try));
	ck_assert_double_lt(after, now);
	ck_assert_double_eq_tol(after, best, 1e-9 * now);
	/* The gain that is told is the true one, for time and for wear: same columns. */
	for (size_t y = 0; y < 2; y++) {
		ck_assert(p->has_gain[y]);
		ck_assert_double_eq_tol(p->se_after[y] / p->se_now[y], sqrt(after / now), 1e-9);
	}
	/* Bars were never moved: nothing is said of them, and that is said. */
	ck_assert(p->n_notes == 1 && strstr(p->notes[0], "bar") != NULL);
	plan_free(p);
	frontier_free(f);
	model_free(m);
}
END_TEST

START_TEST(without_repeats_the_base_comes_first)
{
	struct err e;
	err_clear(&e);
	struct book small = book;
	small.n_runs = 2;
	struct model *m = model_new(&small, &e);
	ck_assert_ptr_nonnull(m);
	struct plan_options o = {.kind = PLAN_NEXT, .base = &base};
	struct plan *p = plan_next(m, &o, &e);
	ck_assert_msg(p != NULL, "%s", e.text);
	ck_assert(p->runs[0].baseline);
	plan_free(p);
	model_free(m);
}
END_TEST

START_TEST(without_runs_a_plan_is_advised)
{
	struct err e;
	err_clear(&e);
	struct book none = book;
	none.n_runs = 0;
	struct model *m = model_new(&none, &e);
	ck_assert_ptr_nonnull(m);
	struct plan_options o = {.kind = PLAN_NEXT, .base = &base};
	ck_assert_ptr_null(plan_next(m, &o, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "screening"));
	model_free(m);
}
END_TEST

/* Wherever it is stopped there is no plan, and what is said is that. */
START_TEST(it_ends_with_the_patience)
{
	struct err e;
	err_clear(&e);
	struct model *m = model_new(&book, &e);
	ck_assert_ptr_nonnull(m);
	struct patience p = {.most = UINT64_MAX};
	struct plan_options o = {.kind = PLAN_NEXT, .base = &base, .patience = &p};
	struct plan *whole = plan_next(m, &o, &e);
	ck_assert_ptr_nonnull(whole);
	plan_free(whole);
	const uint64_t needed = p.spent;
	ck_assert_uint_gt(needed, 3 * PATIENCE_ASK);
	for (uint64_t most = 1; most < needed - PATIENCE_ASK; most += PATIENCE_ASK) {
		p = (struct patience){.most = most};
		ck_assert_ptr_null(plan_next(m, &o, &e));
		ck_assert_ptr_nonnull(strstr(e.text, "stopped before"));
	}
	model_free(m);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("next");
	TCase *t = tcase_create("next");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_set_timeout(t, 60);
	tcase_add_test(t, next_is_the_best_of_all);
	tcase_add_test(t, without_repeats_the_base_comes_first);
	tcase_add_test(t, without_runs_a_plan_is_advised);
	tcase_add_test(t, it_ends_with_the_patience);
	suite_add_tcase(s, t);
	return s;
}
