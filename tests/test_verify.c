/*
 * Predictions of runs not seen, against R 4.2.2 (predict(lm, interval = "prediction") on the
 * runs before, and on all others; rstudent), and how often they miss on books that keep to the
 * model.
 */
#include "model/verdict.h"
#include "model/verify.h"
#include "model/words.h"
#include "support/build.h"
#include "support/support.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct book book;

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
	book.sheets = calloc(1, sizeof *book.sheets);
	ck_assert_ptr_nonnull(book.sheets);
	book.n_sheets = 1;
	sheet_init(&book.sheets[0]);
	ck_assert(sheet_alloc(&book.sheets[0], &book.car));
	strcpy(book.sheets[0].id, "base");
	for (size_t a = 0; a < 7; a++)
		book.sheets[0].values[a] = fix_from_double(values[a]);
}

static void teardown(void)
{
	book_free(&book);
}

static struct run *add_run(size_t n_laps)
{
	book.runs = realloc(book.runs, (book.n_runs + 1) * sizeof *book.runs);
	ck_assert_ptr_nonnull(book.runs);
	struct run *r = &book.runs[book.n_runs];
	run_init(r);
	snprintf(r->id, sizeof r->id, "r%03zu", book.n_runs);
	snprintf(r->date, sizeof r->date, "2026-03-%02uT%02u:30",
		(unsigned)(1 + book.n_runs / 10) % 32, 9 + (unsigned)book.n_runs % 10);
	r->n_values = 7;
	r->values = malloc(7 * sizeof *r->values);
	r->laps = calloc(n_laps, sizeof *r->laps);
	ck_assert(r->values && r->laps);
	memcpy(r->values, book.sheets[0].values, 7 * sizeof *r->values);
	r->n_laps = n_laps;
	book.n_runs++;
	return r;
}

static struct verify *verify(void)
{
	struct err e;
	err_clear(&e);
	struct verify *v = verify_new(&book, 0, &e);
	ck_assert_msg(v != NULL, "%s", e.text);
	return v;
}

/* Invented readings; every figure below is R's. */
static const double bias[] = {50, 52, 54, 56, 58, 60, 51, 53.5, 57, 59, 55, 50.5};
static const double times[] = {
	90.12, 90.31, 90.05, 90.44, 90.61, 90.52, 90.20, 90.26, 90.39, 90.66, 90.18, 90.07};

static void fill_line(void)
{
	for (size_t i = 0; i < 12; i++) {
		struct run *r = add_run(1);
		r->values[4] = fix_from_double(bias[i]);
		r->laps[0].time = times[i];
	}
}

static void check(const struct forecast *f, const double want[3])
{
	ck_assert(f->known);
	ck_assert_double_eq_tol(f->value, want[0], 1e-9);
	ck_assert_double_eq_tol(f->low, want[1], 1e-9);
	ck_assert_double_eq_tol(f->high, want[2], 1e-9);
}

START_TEST(predictions_are_r_s)
{
	static const double ahead[][3] = {{90.0900000000, 85.8282093711, 94.3517906289},
		{90.4050000000, 89.1277207401, 91.6822792599},
		{90.6390000000, 89.8522403127, 91.4257596873},
		{90.1536666667, 89.6507797299, 90.6565536034},
		{90.2795477816, 89.8978660455, 90.6612295176},
		{90.4354679985, 90.0950688383, 90.7758671587},
		{90.5157518337, 90.1945377937, 90.8369658738},
		{90.3535319935, 90.0656314795, 90.6414325076},
		{90.1153044939, 89.7950371486, 90.4355718392}};
	static const double left_out[][3] = {{90.0661846154, 89.7391906961, 90.3931785347},
		{90.1609668824, 89.8756690183, 90.4462647465},
		{90.3057624686, 90.0789769232, 90.5325480140},
		{90.3795027223, 90.0835729879, 90.6754324568},
		{90.4619517977, 90.1701855619, 90.7537180335},
		{90.6196548463, 90.2862805437, 90.9530291490},
		{90.1146707071, 89.8053840029, 90.4239574112},
		{90.2578987342, 89.9590197307, 90.5567777377},
		{90.4429921260, 90.1413019363, 90.7446823157},
		{90.5015381338, 90.1999365579, 90.8031397097},
		{90.3486762075, 90.0799851880, 90.6173672270},
		{90.1153044939, 89.7950371486, 90.4355718392}};
	static const double rstudent[] = {0.3722970079316, 1.1816994690545, -2.5511983107988,
		0.4624555564558, 1.1478651748501, -0.6762216603715, 0.6241078863548,
		0.0159040731423, -0.3973497364163, 1.1885403601404, -1.4201147909743,
		-0.3200010457499};
	fill_line();
	struct verify *v = verify();
	ck_assert_uint_eq(v->n_runs, 12);
	for (size_t i = 0; i < 12; i++) {
		const struct verified *by = &v->runs[i].by[0];
		ck_assert_double_eq_tol(by->mean, times[i], 1e-12);
		check(&by->left_out, left_out[i]);
		/* The externally studentised residual is the left-out prediction's own t. */
		ck_assert_double_eq_tol(by->left_out.t, rstudent[i], 1e-8);
		ck_assert_int_eq(by->left_out.missed, i == 2);
		if (i < 3)
			ck_assert(!by->ahead.known && by->ahead.why[0]);
		else
			check(&by->ahead, ahead[i - 3]);
		ck_assert(!v->runs[i].by[1].measured);
	}
	ck_assert_uint_eq(v->left_out[0].missed, 1);
	ck_assert_uint_eq(v->ahead[0].predicted, 9);
	verify_free(v);
}
END_TEST

/* Known slopes and covariates: a run is predicted at its own fuel and effort. With the slope
 * known exactly and no noise but one run's, the prediction is the run's own time. */
START_TEST(predictions_are_told_where_the_run_was_driven)
{
	book.covariates[COV_FUEL].known[0] = (struct opt_num){true, 0.05};
	for (size_t i = 0; i < 10; i++) {
		struct run *r = add_run(4);
		double effort = 100 - (double)(i % 3), x = (double)(i % 4) - 1.5;
		r->values[4] += (fix)(2 * x * 500000);
		r->fuel = (struct opt_num){true, 10 + 3 * (double)i};
		r->fuel_per_lap = (struct opt_num){true, 2};
		for (size_t j = 0; j < 4; j++) {
			double e = effort - (double)j, jitter = j % 2 ? 0.01 : -0.01;
			r->laps[j].has_effort = true;
			r->laps[j].effort = e;
			r->laps[j].time = 90 + 0.2 * x +
					  0.05 * (10 + 3 * (double)i - 2 * (double)j) -
					  0.1 * (e - 100) + jitter * (i % 2 ? 1 : -1);
		}
	}
	struct verify *v = verify();
	for (size_t i = 0; i < 10; i++) {
		const struct verified *by = &v->runs[i].by[0];
		ck_assert(by->left_out.known);
		ck_assert_double_eq_tol(by->left_out.value, by->mean, 0.01);
		ck_assert(!by->left_out.missed);
	}
	verify_free(v);
}
END_TEST

START_TEST(what_cannot_be_predicted_says_why)
{
	fill_line();
	struct run *r = add_run(1);
	r->laps[0].time = 90.3;
	r->values[0] += FIX_ONE;
	r->values[1] += FIX_ONE;
	for (size_t i = 0; i < 13; i++)
		strcpy(book.runs[i].driver, "a");
	r = add_run(1);
	r->laps[0].time = 91;
	strcpy(r->driver, "b");
	struct verify *v = verify();
	ck_assert(!v->runs[12].by[0].ahead.known);
	ck_assert_ptr_nonnull(strstr(v->runs[12].by[0].ahead.why, "not tested by then: "));
	ck_assert_str_eq(v->runs[12].moved, "wing");
	ck_assert(!v->runs[13].by[0].ahead.known);
	ck_assert_ptr_nonnull(strstr(v->runs[13].by[0].ahead.why, "first run with driver b"));
	verify_free(v);
}
END_TEST

/* One book that keeps to the model: a run effect, laps about it. */
static void fill_book(const gsl_rng *rng)
{
	for (size_t i = 0; i < 16; i++) {
		struct run *r = add_run(5);
		double x = (double)gsl_rng_uniform_int(rng, 5) - 2;
		r->values[4] += (fix)(x * 1000000);
		double level = 90 + 0.1 * x + gsl_ran_gaussian(rng, 0.3);
		for (size_t j = 0; j < 5; j++)
			r->laps[j].time = level + gsl_ran_gaussian(rng, 0.1);
	}
}

static void empty_book(void)
{
	for (size_t i = 0; i < book.n_runs; i++)
		run_free(&book.runs[i]);
	book.n_runs = 0;
}

/* 95% intervals hold 95 runs in 100: within four standard errors of the count. (Where the run
 * effect is small beside the laps' scatter, REML often finds none and fewer miss.) */
START_TEST(five_in_a_hundred_miss)
{
	size_t books = test_quick() ? 40 : 200, ahead = 0, missed = 0, left = 0, left_missed = 0;
	gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
	ck_assert_ptr_nonnull(rng);
	gsl_rng_set(rng, 4);
	for (size_t k = 0; k < books; k++) {
		fill_book(rng);
		struct verify *v = verify();
		ahead += v->ahead[0].predicted;
		missed += v->ahead[0].missed;
		left += v->left_out[0].predicted;
		left_missed += v->left_out[0].missed;
		verify_free(v);
		empty_book();
	}
	gsl_rng_free(rng);
	ck_assert_uint_gt(ahead, 10 * books);
	double a = (double)missed / (double)ahead, l = (double)left_missed / (double)left;
	ck_assert_double_eq_tol(a, 0.05, 4 * sqrt(0.05 * 0.95 / (double)ahead));
	ck_assert_double_eq_tol(l, 0.05, 4 * sqrt(0.05 * 0.95 / (double)left));
}
END_TEST

/* The camber does the odd thing: whenever it was moved the time is off one way or the other. */
START_TEST(too_many_misses_are_named)
{
	gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
	ck_assert_ptr_nonnull(rng);
	gsl_rng_set(rng, 5);
	for (size_t i = 0; i < 60; i++) {
		struct run *r = add_run(1);
		double x = (double)(i % 5) - 2;
		r->values[4] += (fix)(x * 1000000);
		r->laps[0].time = 90 + 0.1 * x + gsl_ran_gaussian(rng, 0.02);
		if (i % 12 == 5 || i % 12 == 10) {
			r->values[2] += 100000;
			r->values[3] += 100000;
			r->laps[0].time += i % 12 == 5 ? 0.4 : -0.4;
		}
	}
	struct verify *v = verify();
	ck_assert(v->left_out[0].too_often);
	ck_assert_int_eq(strncmp(v->left_out[0].names, "camber", 6), 0);
	verify_free(v);
	gsl_rng_free(rng);
}
END_TEST

/* The base drifts 0.02 s an hour on top of a day's own level. */
START_TEST(drift_of_the_base_is_found)
{
	for (size_t i = 0; i < 20; i++) {
		struct run *r = add_run(2);
		bool base = i % 5 == 0 || i % 5 == 4;
		if (!base)
			r->values[4] += (i % 5 == 1 ? -2 : 2) * FIX_ONE;
		for (size_t j = 0; j < 2; j++)
			r->laps[j].time = 90 + 0.3 * floor((double)i / 10) +
					  0.02 * (double)(i % 10) +
					  (j ? 0.001 : -0.001) * (double)(i % 3);
	}
	struct verify *v = verify();
	ck_assert_int_eq(v->base_run, 0);
	ck_assert_uint_eq(v->drift[0].n, 8);
	ck_assert_uint_eq(v->drift[0].days, 2);
	ck_assert(v->drift[0].has_slope);
	ck_assert_double_eq_tol(v->drift[0].slope, 0.02, 1e-9);
	ck_assert_double_lt(v->drift[0].p, 1e-6);
	ck_assert_uint_eq(v->drift[1].n, 0);
	verify_free(v);
}
END_TEST

/* A figure per hour is told where the runs span an hour and the interval is one that could be. */
START_TEST(no_drift_by_the_hour_within_minutes)
{
	char words[WORDS_SIZE];
	struct drift_point at[4] = {{.hours = 0, .value = 90}, {.hours = 0.2, .value = 90.3},
		{.hours = 0.4, .value = 89.9}, {.hours = 0.5, .value = 90.1}};
	struct drift d = {.n = 4,
		.points = at,
		.days = 1,
		.has_slope = true,
		.slope = -4,
		.se = 12,
		.df = 2,
		.p = 0.8};
	verify_drift_words(0, &d, words, sizeof words);
	ck_assert_str_eq(words, "no drift can be told by the hour, the runs lie within 30 minutes: "
				"too close together");
	d.p = 0.01;
	ck_assert_ptr_nonnull(strstr(verify_drift_words(0, &d, words, sizeof words),
		"within 30 minutes: yet they moved by more than their scatter"));
	d.p = 0.8;
	at[3].hours = 1.2; /* long enough, but between -56 and +48 s an hour nothing is told */
	ck_assert_str_eq(verify_drift_words(0, &d, words, sizeof words),
		"no drift can be told by the hour: the runs are too few and too close together");
	d.slope = 0.05;
	d.se = 0.1;
	ck_assert_ptr_nonnull(strstr(verify_drift_words(0, &d, words, sizeof words),
		"s an hour, 95% interval -0.38 to +0.48: no drift that stands clear"));
	for (size_t i = 0; i < 4; i++)
		at[i].value /= 40; /* wear of 2.25 %: of that half an hour could be, not more */
	ck_assert_ptr_nonnull(strstr(
		verify_drift_words(1, &d, words, sizeof words), "%/lap an hour, 95% interval"));
	d.se = 0.3;
	ck_assert_ptr_nonnull(
		strstr(verify_drift_words(1, &d, words, sizeof words), "no drift can be told"));
}
END_TEST

/* Wear read as 2.3 on every lap: the fit leaves rounding and intervals as narrow as that, and
 * nothing may be said of either. */
START_TEST(readings_that_never_vary_say_nothing)
{
	gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
	for (size_t i = 0; i < 24; i++) {
		struct run *r = add_run(5);
		if (i % 4)
			r->values[4] += ((int)(i % 7) - 3) * FIX_ONE;
		for (size_t j = 0; j < 5; j++) {
			r->laps[j].time = 90 + gsl_ran_gaussian(rng, 0.1);
			r->laps[j].has_effort = true;
			r->laps[j].effort = 96 + (double)((i + j) % 5);
			r->laps[j].has_wear[0] = true;
			r->laps[j].wear[0] = 2.3;
		}
	}
	struct verify *v = verify();
	ck_assert_uint_gt(v->left_out[1].predicted, 10);
	ck_assert_uint_eq(v->left_out[1].missed, 0);
	ck_assert_uint_eq(v->ahead[1].missed, 0);
	ck_assert(!v->drift[1].has_slope || v->drift[1].p > 0.05);
	verify_free(v);
	struct err e;
	err_clear(&e);
	struct model *m = model_new(&book, &e);
	ck_assert_msg(m != NULL, "%s", e.text);
	const struct response *w = &m->responses[1];
	ck_assert_uint_le(w->n_terms, 16);
	for (size_t t = 1; t < w->n_terms; t++) {
		double l[16] = {0};
		l[t] = 1;
		struct estimate x = model_contrast(w, l);
		ck_assert_str_ne(words_verdict(&x), "real");
	}
	fix moved[7];
	memcpy(moved, book.sheets[0].values, sizeof moved);
	moved[4] += FIX_ONE;
	struct estimate d = model_delta(m, 1, moved, book.sheets[0].values);
	ck_assert(d.known);
	ck_assert_int_eq(verdict_wear(&d), VERDICT_SAME);
	model_free(m);
	gsl_rng_free(rng);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("verify");
	TCase *t = tcase_create("verify");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_set_timeout(t, 120);
	tcase_add_test(t, predictions_are_r_s);
	tcase_add_test(t, predictions_are_told_where_the_run_was_driven);
	tcase_add_test(t, what_cannot_be_predicted_says_why);
	tcase_add_test(t, five_in_a_hundred_miss);
	tcase_add_test(t, too_many_misses_are_named);
	tcase_add_test(t, drift_of_the_base_is_found);
	tcase_add_test(t, no_drift_by_the_hour_within_minutes);
	tcase_add_test(t, readings_that_never_vary_say_nothing);
	suite_add_tcase(s, t);
	return s;
}
