/*
 * From runs to answers: readings, terms, estimability, contrasts, lack of fit, exchange
 * rates and like-for-like wear. Where a figure comes from outside, its source stands
 * beside the check; the rest follows from books whose truth is known.
 */
#include "model/internal.h"
#include "model/words.h"
#include "support/invent.h"
#include "support/support.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct model *fit(const struct book *b)
{
	struct err err = {0};
	struct model *m = model_new(b, &err);
	ck_assert_msg(m != NULL, "%s", err.text);
	return m;
}

static int term(const struct response *r, const char *id)
{
	for (size_t t = 0; t < r->n_terms; t++)
		if (strcmp(r->terms[t].id, id) == 0)
			return (int)t;
	return -1;
}

static double coefficient(const struct response *r, const char *id)
{
	const int t = term(r, id);
	ck_assert_msg(t >= 0, "no term %s", id);
	return r->b[t];
}

/* A lap with a wear reading on the first channel. */
static struct lap *worn_lap(struct run *r, double time, double wear)
{
	struct lap *l = invent_lap(r, time);
	l->has_wear[0] = true;
	l->wear[0] = wear;
	return l;
}

/* Totals: worn at start 10; lap 2 has no reading, lap 4 is skipped without one, lap 5 skipped
 * with one, lap 6 read. */
START_TEST(readings_from_totals)
{
	struct book b;
	invent_book(&b, 0, 1, 1);
	struct run *r = invent_run(&b, "r1");
	r->has_worn_at_start[0] = true;
	r->worn_at_start[0] = 10;
	r->tyre_age = (struct opt_num){true, 3};
	const double worn[] = {12, 0, 17, 0, 23, 25, 0};
	for (size_t j = 0; j < 7; j++) {
		struct lap *l = invent_lap(r, 90 + (double)j);
		l->has_worn[0] = worn[j] > 0;
		l->worn[0] = worn[j];
		l->has_effort = j != 1;
		l->effort = 100 - (double)j;
		if (j == 3 || j == 4)
			l->skip = strdup("traffic");
	}
	struct obs_list o = {0};
	ck_assert(observe_wear(&b, 0, &o));
	ck_assert_uint_eq(o.n, 3);
	ck_assert_double_eq(o.v[0].y, 2);
	ck_assert_uint_eq(o.v[0].n, 1);
	/* Laps 2 and 3 used 5 together. */
	ck_assert_double_eq(o.v[1].y, 2.5);
	ck_assert_uint_eq(o.v[1].n, 2);
	ck_assert_uint_eq(o.v[1].lap, 2);
	ck_assert_double_eq(o.v[1].time, 91.5);
	ck_assert_double_eq(o.v[1].cov[COV_TYRE_AGE], 4.5);
	ck_assert(!o.v[1].has[COV_EFFORT]);
	/* Lap 5's reading settles laps 4 and 5 but is skipped; lap 6 goes on from it. */
	ck_assert_double_eq(o.v[2].y, 2);
	ck_assert_uint_eq(o.v[2].lap, 5);
	ck_assert_uint_eq(o.laps, 4);
	obs_free(&o);
	book_free(&b);
}
END_TEST

/* A skipped lap without a reading stays in the mean of a later one. */
START_TEST(skipped_laps_inside_a_gap)
{
	struct book b;
	invent_book(&b, 0, 1, 1);
	struct run *r = invent_run(&b, "r1");
	r->has_worn_at_start[0] = true;
	for (size_t j = 0; j < 3; j++)
		invent_lap(r, 90);
	r->laps[1].skip = strdup("traffic");
	r->laps[2].has_worn[0] = true;
	r->laps[2].worn[0] = 9;
	struct obs_list o = {0};
	ck_assert(observe_wear(&b, 0, &o));
	ck_assert_uint_eq(o.n, 1);
	ck_assert_uint_eq(o.v[0].n, 3);
	ck_assert_double_eq(o.v[0].y, 3);
	obs_free(&o);
	book_free(&b);
}
END_TEST

START_TEST(total_of_a_run_is_one_mean)
{
	struct book b;
	invent_book(&b, 0, 1, 1);
	struct run *r = invent_run(&b, "r1");
	r->has_wear_total[0] = true;
	r->wear_total[0] = 10;
	r->fuel = (struct opt_num){true, 20};
	r->fuel_per_lap = (struct opt_num){true, 2};
	for (size_t j = 0; j < 4; j++)
		invent_lap(r, 90 + (double)j);
	r->laps[0].skip = strdup("out lap");
	struct obs_list o = {0};
	ck_assert(observe_wear(&b, 0, &o));
	ck_assert_uint_eq(o.n, 1);
	ck_assert_uint_eq(o.v[0].n, 4);
	ck_assert_double_eq(o.v[0].y, 2.5);
	ck_assert_double_eq(o.v[0].time, 91.5);
	ck_assert_double_eq(o.v[0].cov[COV_FUEL], 17);
	obs_free(&o);
	book_free(&b);
}
END_TEST

/* y of the known-truth book. */
static double truth_time(const double *v, double age)
{
	const double c = (v[0] + v[1]) / 20, d = (v[0] - v[1]) / 20, s = v[2] / 10;
	return 90 + 0.5 * c - 0.3 * d + 0.2 * s + 0.1 * s * s + 0.05 * c * d + 0.04 * age;
}

/* Runs over front, rear and single in three levels; noise 0 or drawn. */
static void add_truth_runs(struct book *b, gsl_rng *g, double run_sd, double lap_sd)
{
	static const double level[] = {-6, 0, 6};
	char id[16];
	int n = 0;
	for (int i = 0; i < 27; i++) {
		const double v[] = {level[i % 3], level[i / 3 % 3], level[i / 9]};
		snprintf(id, sizeof id, "r%02d", n++);
		struct run *r = invent_run(b, id);
		r->tyre_age = (struct opt_num){true, (double)(i % 4)};
		for (size_t k = 0; k < 3; k++)
			r->values[k] = fix_from_double(v[k]);
		const double u = g ? gsl_ran_gaussian(g, run_sd) : 0;
		for (int j = 0; j < 4; j++) {
			const double e = g ? gsl_ran_gaussian(g, lap_sd) : 0;
			const double y = truth_time(v, i % 4 + j) + u + e;
			worn_lap(r, y, 2 + 0.1 * (y - 90));
		}
	}
}

START_TEST(known_truth_comes_back)
{
	struct book b;
	invent_book(&b, 1, 1, 1);
	add_truth_runs(&b, NULL, 0, 0);
	struct model *m = fit(&b);
	const struct response *r = &m->responses[0];
	ck_assert(r->curvature);
	ck_assert_double_eq_tol(coefficient(r, "intercept"), 90, 1e-9);
	ck_assert_double_eq_tol(coefficient(r, "p0.common"), 0.5, 1e-9);
	ck_assert_double_eq_tol(coefficient(r, "p0.difference"), -0.3, 1e-9);
	ck_assert_double_eq_tol(coefficient(r, "p0.common*p0.difference"), 0.05, 1e-9);
	ck_assert_double_eq_tol(coefficient(r, "s0"), 0.2, 1e-9);
	ck_assert_double_eq_tol(coefficient(r, "s0^2"), 0.1, 1e-9);
	ck_assert_double_eq_tol(coefficient(r, "p0.common^2"), 0, 1e-9);
	ck_assert_double_eq_tol(coefficient(r, "tyre-age"), 0.04, 1e-9);
	const char *const order[] = {"intercept", "p0.common", "p0.difference", "s0", "p0.common^2",
		"p0.difference^2", "s0^2", "p0.common*p0.difference", "tyre-age"};
	ck_assert_uint_eq(r->n_terms, 9);
	for (size_t t = 0; t < 9; t++)
		ck_assert_str_eq(r->terms[t].id, order[t]);
	const fix sheet[] = {3 * FIX_ONE, -2 * FIX_ONE, 5 * FIX_ONE}, none[] = {0, 0, 0};
	const double v[] = {3, -2, 5}, zero[] = {0, 0, 0};
	const double want = truth_time(v, 0) - truth_time(zero, 0);
	struct estimate d = model_delta(m, 0, sheet, none), sum = {0};
	ck_assert(d.known && d.has_interval);
	ck_assert_double_eq_tol(d.value, want, 1e-9);
	ck_assert_double_eq_tol(model_value(m, 0, sheet).value, truth_time(v, 0), 1e-9);
	for (size_t g = 0; g < m->n_groups; g++)
		sum.value += model_group_delta(m, 0, g, sheet, none).value;
	ck_assert_double_eq_tol(sum.value, d.value, 1e-12);
	d = model_delta(m, 0, sheet, sheet);
	ck_assert(d.known && d.has_interval && d.value == 0 && d.se == 0);
	ck_assert_uint_eq(m->n_suspects, 0);
	model_free(m);
	book_free(&b);
}
END_TEST

START_TEST(parts_add_up_under_noise)
{
	struct book b;
	gsl_rng *g = gsl_rng_alloc(gsl_rng_mt19937);
	invent_book(&b, 1, 1, 1);
	add_truth_runs(&b, g, 0.1, 0.3);
	struct model *m = fit(&b);
	const struct response *r = &m->responses[0];
	/* 27 runs less 8 run-level columns; 108 laps less 27 runs less tyre age. */
	ck_assert_double_eq(r->df_run, 27 - 8);
	ck_assert_double_eq(r->df_lap, 108 - 27 - 1);
	ck_assert(r->within[term(r, "tyre-age")]);
	for (int k = 0; k < 200; k++) {
		fix a[3], c[3];
		for (int i = 0; i < 3; i++) {
			a[i] = (fix)gsl_rng_uniform_int(g, 21) * FIX_ONE - 10 * FIX_ONE;
			c[i] = (fix)gsl_rng_uniform_int(g, 21) * FIX_ONE - 10 * FIX_ONE;
		}
		for (size_t y = 0; y < m->n_responses; y++) {
			double sum = 0;
			for (size_t q = 0; q < m->n_groups; q++)
				sum += model_group_delta(m, y, q, a, c).value;
			ck_assert_double_eq_tol(sum, model_delta(m, y, a, c).value, 1e-12);
		}
	}
	gsl_rng_free(g);
	model_free(m);
	book_free(&b);
}
END_TEST

/* Front and rear always moved together, by a lock: `difference` has no answer, the locked
 * move has. */
START_TEST(moved_together_is_not_tested)
{
	static const double level[] = {-4, 0, 4, 0, -4, 4};
	struct book b;
	invent_book(&b, 1, 1, 1);
	for (int i = 0; i < 6; i++) {
		char id[16];
		snprintf(id, sizeof id, "r%d", i);
		struct run *r = invent_run(&b, id);
		invent_set(&b, r, "p0-front", level[i] + 1);
		invent_set(&b, r, "p0-rear", level[i] - 1);
		invent_set(&b, r, "s0", i < 3 ? -2 : 2);
		for (int j = 0; j < 3; j++)
			worn_lap(r, 90 + 0.1 * level[i] + 0.01 * ((i * 7 + j * 5) % 4), 2);
	}
	struct model *m = fit(&b);
	const struct response *r = &m->responses[0];
	const int d = term(r, "p0.difference"), c = term(r, "p0.common");
	ck_assert(!r->estimable[d] && r->estimable[c]);
	/* It never moved, so it goes with the intercept. */
	ck_assert(!r->estimable[0]);
	ck_assert_int_eq(r->component[d], r->component[0]);
	const fix base[] = {FIX_ONE, -FIX_ONE, 0};
	const fix locked[] = {3 * FIX_ONE, FIX_ONE, 0}, split[] = {3 * FIX_ONE, -FIX_ONE, 0};
	ck_assert(model_delta(m, 0, locked, base).known);
	ck_assert(model_value(m, 0, locked).known);
	ck_assert(!model_delta(m, 0, split, base).known);
	ck_assert(!model_value(m, 0, split).known);
	int which[16];
	ck_assert_uint_eq(model_untested(m, 0, split, base, which), 1);
	ck_assert_int_eq(which[0], d);
	ck_assert_uint_eq(model_untested(m, 0, locked, base, which), 0);
	ck_assert(model_extrapolated(m, split, NULL));
	ck_assert(!model_extrapolated(m, locked, NULL));
	model_free(m);
	book_free(&b);
}
END_TEST

/* Two singles that always moved together name each other and nobody else. */
START_TEST(aliases_are_named)
{
	struct book b;
	invent_book(&b, 0, 3, 1);
	for (int i = 0; i < 8; i++) {
		struct run *r = invent_run(&b, "r");
		invent_set(&b, r, "s0", i % 2 ? 5 : -5);
		invent_set(&b, r, "s1", i % 2 ? 3 : -3);
		invent_set(&b, r, "s2", i / 2 % 2 ? 3 : -3);
		invent_lap(r, 90 + 0.1 * (i * 5 % 7));
		invent_lap(r, 90 + 0.1 * (i * 3 % 5));
	}
	struct model *m = fit(&b);
	const struct response *r = &m->responses[0];
	ck_assert(r->estimable[term(r, "intercept")] && r->estimable[term(r, "s2")]);
	ck_assert(!r->estimable[term(r, "s0")] && !r->estimable[term(r, "s1")]);
	ck_assert_int_eq(r->component[term(r, "s0")], r->component[term(r, "s1")]);
	ck_assert(!m->responses[1].fitted && m->responses[1].why[0]);
	model_free(m);
	book_free(&b);
}
END_TEST

/* No set-up driven twice: estimates stand, intervals do not. */
START_TEST(no_runs_to_spare)
{
	struct book b;
	invent_book(&b, 0, 2, 1);
	for (int i = 0; i < 3; i++) {
		struct run *r = invent_run(&b, "r");
		r->tyre_age = (struct opt_num){true, 0};
		invent_set(&b, r, "s0", i == 1 ? 5 : 0);
		invent_set(&b, r, "s1", i == 2 ? 5 : 0);
		for (int j = 0; j < 4; j++)
			invent_lap(r, 90 + i + 0.1 * j + 0.03 * (j * 3 % 4));
	}
	struct model *m = fit(&b);
	const struct response *r = &m->responses[0];
	const fix on[] = {5 * FIX_ONE, 0}, base[] = {0, 0};
	const struct estimate e = model_delta(m, 0, on, base);
	ck_assert_double_eq(r->df_run, 0);
	ck_assert(isnan(r->sigma_run) && isfinite(r->sigma_lap));
	ck_assert(e.known && !e.has_interval && isnan(e.se));
	ck_assert_double_eq_tol(e.value, 1, 1e-9);
	ck_assert_double_eq(r->df_lap, 12 - 3 - 1);
	model_free(m);
	book_free(&b);
}
END_TEST

/* As many columns as readings: nothing is left to tell noise by, and no interval of zero width. */
START_TEST(no_readings_to_spare)
{
	struct book b;
	invent_book(&b, 0, 1, 1);
	for (int i = 0; i < 3; i++) {
		struct run *r = invent_run(&b, "r");
		r->tyre_age = (struct opt_num){true, (double)(i * i)};
		r->track_temp = (struct opt_num){true, 30 + (double)(i % 2)};
		invent_set(&b, r, "s0", i == 1 ? 5 : i == 2 ? 3 : 0);
		for (int j = 0; j < (i == 0 ? 2 : 1); j++)
			invent_lap(r, 90 + 0.3 * i + 0.1 * j);
	}
	struct model *m = fit(&b);
	const struct response *r = &m->responses[0];
	ck_assert_uint_eq(r->rank, r->n_obs);
	const fix on[] = {5 * FIX_ONE}, base[] = {0};
	const struct estimate e = model_delta(m, 0, on, base);
	ck_assert(e.known && !e.has_interval);
	ck_assert(isnan(r->sigma_lap) && isnan(r->sigma_run));
	model_free(m);
	book_free(&b);
}
END_TEST

/* Three set-ups, one repeated, and a track temperature that takes up what the straight line
 * misses; then repeats that agree to the last digit. Neither tells of a lack of fit. */
START_TEST(no_measure_of_lack_of_fit)
{
	const double at[] = {0, 5, 10, 0}, temp[] = {30, 33, 29, 31}, gain[] = {0, 1, 5, 0.2};
	for (int exact = 0; exact < 2; exact++) {
		struct book b;
		invent_book(&b, 0, 1, 1);
		b.curvature_off = true;
		for (int i = 0; i < 4; i++) {
			struct run *r = invent_run(&b, "r");
			r->track_temp = (struct opt_num){exact == 0, temp[i]};
			invent_set(&b, r, "s0", at[i]);
			for (int j = 0; j < 3; j++)
				invent_lap(r, 90 + (exact ? at[i] * at[i]
							  : gain[i] + 0.1 * (j * (i + 1) % 3)));
		}
		struct model *m = fit(&b);
		ck_assert_double_gt(m->responses[0].df_run, 0);
		ck_assert(!m->responses[0].has_lack_of_fit);
		model_free(m);
		book_free(&b);
	}
}
END_TEST

/* Two adjustables at four corners, the base between, first and last, and a track temperature that
 * rises all the day: nothing is missing in the model, so a lack of fit may be told of 5 books in
 * 100, whatever the repeats lost to the temperature (known truth). */
START_TEST(a_rising_temperature_is_no_lack_of_fit)
{
	static const double at[][2] = {{0, 0}, {-5, 5}, {5, 5}, {0, 0}, {5, -5}, {-5, -5}, {0, 0}};
	enum { BOOKS = 600 };
	gsl_rng *g = gsl_rng_alloc(gsl_rng_mt19937);
	int told = 0, plain = 0, checked = 0;
	gsl_rng_set(g, 7);
	for (int k = 0; k < BOOKS; k++) {
		struct book b;
		char words[WORDS_SIZE];
		invent_book(&b, 0, 2, 1);
		b.curvature_off = true;
		for (int i = 0; i < 7; i++) {
			struct run *r = invent_run(&b, "r");
			r->track_temp = (struct opt_num){true, 20 + 2 * i};
			invent_set(&b, r, "s0", at[i][0]);
			invent_set(&b, r, "s1", at[i][1]);
			const double run = 90 + 0.02 * at[i][0] + gsl_ran_gaussian(g, 0.1);
			for (int j = 0; j < 4; j++)
				invent_lap(r, run + gsl_ran_gaussian(g, 0.1));
		}
		struct model *m = fit(&b);
		words_lack_of_fit(&m->responses[0], words, sizeof words);
		told += strstr(words, "something is missing") != NULL;
		checked += strstr(words, "cannot be checked") == NULL;
		plain += m->responses[0].has_lack_of_fit && m->responses[0].lof_p < 0.05;
		model_free(m);
		book_free(&b);
	}
	gsl_rng_free(g);
	ck_assert_msg(told <= BOOKS * 7 / 100, "%d of %d told, %d by p", told, BOOKS, plain);
	ck_assert_int_ge(plain, told);
	ck_assert_int_gt(checked, BOOKS / 2);
}
END_TEST

/*
 * Lack of fit: the load cell of NIST/SEMATECH e-Handbook 4.6.1.5 (Pontius data): 20 loads,
 * two readings each, straight line: F(18, 20) = 214.7469237 (R 4.2.2 on the same data; the
 * handbook prints 214.7464 from single precision).
 */
START_TEST(lack_of_fit_of_the_load_cell)
{
	struct book b;
	char *path = test_data("strd_regression/Pontius.csv"), line[128];
	FILE *f = fopen(path, "r");
	ck_assert(f != NULL);
	invent_book(&b, 0, 1, 1);
	b.curvature_off = true;
	while (fgets(line, sizeof line, f)) {
		double y, x;
		if (sscanf(line, "%lf,%lf", &y, &x) != 2)
			continue;
		struct run *r = invent_run(&b, "r");
		invent_set(&b, r, "s0", x / 150000 - 10);
		invent_lap(r, y);
	}
	fclose(f);
	free(path);
	ck_assert_uint_eq(b.n_runs, 40);
	struct model *m = fit(&b);
	const struct response *r = &m->responses[0];
	ck_assert(r->one_obs_a_run && isnan(r->sigma_lap));
	ck_assert(r->has_lack_of_fit);
	ck_assert_double_eq(r->lof_df1, 18);
	ck_assert_double_eq(r->lof_df2, 20);
	ck_assert_double_eq_tol(r->lof_f, 214.7469237, 1e-6);
	ck_assert_double_eq_tol(r->lof_p / 5.503717e-19, 1, 1e-5);
	ck_assert_double_eq_tol(r->sigma_run, 0.002171272596, 1e-11);
	model_free(m);
	book_free(&b);
}
END_TEST

/* Two runs only per level: squares would leave fewer than three runs over. */
START_TEST(curvature_needs_runs)
{
	struct book b;
	invent_book(&b, 0, 1, 1);
	for (int i = 0; i < 5; i++) {
		struct run *r = invent_run(&b, "r");
		invent_set(&b, r, "s0", i < 3 ? 4 * (i - 1) : 0);
		for (int j = 0; j < 3; j++)
			invent_lap(r, 90 + 0.2 * ((i * 3 + j) % 4));
	}
	struct model *m = fit(&b);
	ck_assert(!m->responses[0].curvature && m->curvature_note[0]);
	model_free(m);
	struct run *r = invent_run(&b, "r5");
	invent_lap(r, 90);
	m = fit(&b);
	ck_assert(m->responses[0].curvature && !m->curvature_note[0]);
	model_free(m);
	book_free(&b);
}
END_TEST

START_TEST(factors_have_a_base)
{
	struct book b;
	static const char *const who[] = {"b", "a", "b", "a", "c", "c"};
	invent_book(&b, 0, 1, 1);
	for (int i = 0; i < 6; i++) {
		struct run *r = invent_run(&b, "r");
		snprintf(r->driver, sizeof r->driver, "%s", who[i]);
		if (i != 2)
			snprintf(r->session, sizeof r->session, "s%d", i % 2);
		for (int j = 0; j < (who[i][0] == 'a' ? 2 : 3); j++)
			invent_lap(r, who[i][0] == 'b' ? 91 : 90);
	}
	struct model *m = fit(&b);
	const struct response *r = &m->responses[0];
	/* b and c have six laps each, b comes first. */
	ck_assert_int_ge(term(r, "driver.a"), 0);
	ck_assert_int_ge(term(r, "driver.c"), 0);
	ck_assert_int_lt(term(r, "driver.b"), 0);
	ck_assert_double_eq_tol(coefficient(r, "driver.a"), -1, 1e-9);
	/* Run 3 has no session. */
	ck_assert_int_lt(term(r, "session.s1"), 0);
	ck_assert_uint_ge(m->n_notes, 1);
	model_free(m);
	book_free(&b);
}
END_TEST

/* A known slope is taken off; a covariate that a lap lacks is left out, and that is said. */
START_TEST(known_and_missing_covariates)
{
	struct book b;
	invent_book(&b, 0, 1, 1);
	b.covariates[COV_FUEL].known[0] = (struct opt_num){true, 0.03};
	b.conditions[COV_FUEL] = (struct opt_num){true, 10};
	for (int i = 0; i < 6; i++) {
		struct run *r = invent_run(&b, "r");
		r->fuel = (struct opt_num){true, 20 + i};
		r->fuel_per_lap = (struct opt_num){true, 2};
		for (int j = 0; j < 3; j++) {
			struct lap *l = invent_lap(r, 90 + 0.03 * (20 + i - 2 * j - 10));
			l->has_effort = i + j > 0;
			l->effort = 100 - j;
		}
	}
	struct model *m = fit(&b);
	const struct response *r = &m->responses[0];
	ck_assert_int_lt(term(r, "fuel"), 0);
	ck_assert_int_lt(term(r, "effort"), 0);
	const fix base[] = {0};
	ck_assert_double_eq_tol(model_value(m, 0, base).value, 90, 1e-9);
	ck_assert_uint_ge(m->n_notes, 1);
	ck_assert(strstr(m->notes[0], "effort") != NULL);
	model_free(m);
	book_free(&b);
}
END_TEST

/* Fuel on lap 1 is what the run starts with; what later laps had needs fuel-per-lap. */
START_TEST(fuel_without_fuel_per_lap)
{
	for (int laps = 1; laps <= 2; laps++) {
		struct book b;
		invent_book(&b, 0, 1, 1);
		for (int i = 0; i < 6; i++) {
			struct run *r = invent_run(&b, "r");
			r->fuel = (struct opt_num){true, 20 + i};
			for (int j = 0; j < laps; j++)
				invent_lap(r, 90 + 0.03 * (20 + i));
		}
		struct model *m = fit(&b);
		const struct response *r = &m->responses[0];
		if (laps == 1) {
			ck_assert_double_eq_tol(coefficient(r, "fuel"), 0.03, 1e-9);
			ck_assert_uint_eq(m->n_notes, 0);
		} else {
			ck_assert_int_lt(term(r, "fuel"), 0);
			ck_assert_uint_ge(m->n_notes, 1);
			ck_assert_msg(strstr(m->notes[0], "the run has no fuel-per-lap") != NULL,
				"%s", m->notes[0]);
		}
		model_free(m);
		book_free(&b);
	}
}
END_TEST

START_TEST(far_lap_is_suspect)
{
	struct book b;
	gsl_rng *g = gsl_rng_alloc(gsl_rng_mt19937);
	invent_book(&b, 0, 1, 1);
	for (int i = 0; i < 6; i++) {
		struct run *r = invent_run(&b, "r");
		invent_set(&b, r, "s0", i % 2 ? 3 : -3);
		for (int j = 0; j < 6; j++)
			invent_lap(r, 90 + gsl_ran_gaussian(g, 0.1) + (i == 2 && j == 3 ? 2 : 0));
	}
	struct model *m = fit(&b);
	ck_assert_uint_ge(m->n_suspects, 1);
	bool found = false;
	for (size_t k = 0; k < m->n_suspects; k++)
		found = found || (m->suspects[k].run == 2 && m->suspects[k].lap == 3);
	ck_assert(found);
	gsl_rng_free(g);
	model_free(m);
	book_free(&b);
}
END_TEST

/* A locked wheel moves the mean of its run, not what the laps beside it are worth. That a gross
 * error may make good readings look bad is common knowledge of outlier tests (swamping). */
START_TEST(far_lap_leaves_its_neighbours_alone)
{
	struct book b;
	gsl_rng *g = gsl_rng_alloc(gsl_rng_mt19937);
	invent_book(&b, 0, 1, 1);
	for (int i = 0; i < 9; i++) {
		struct run *r = invent_run(&b, "r");
		const double hour = gsl_ran_gaussian(g, 0.8);
		invent_set(&b, r, "s0", 3 * (i % 3 - 1));
		for (int j = 0; j < 5; j++)
			invent_lap(r,
				90 + hour + gsl_ran_gaussian(g, 0.1) + (i == 3 && j == 2 ? 3 : 0));
	}
	struct model *m = fit(&b);
	ck_assert_uint_eq(m->n_suspects, 1);
	ck_assert_int_eq(m->suspects[0].run, 3);
	ck_assert_uint_eq(m->suspects[0].lap, 2);
	gsl_rng_free(g);
	model_free(m);
	book_free(&b);
}
END_TEST

/* A book without a lap still answers: nothing is known, and why. */
/* Front wears 2 and 0.2 less each lap of age: it ends at 11 %. Rear wears 1 and 0.04 less: at
 * 13 %, more in the end though less at first. Neither reaches 60 %. */
START_TEST(a_tyre_does_not_grow_back)
{
	struct book b;
	invent_book(&b, 0, 1, 2);
	for (int i = 0; i < 4; i++) {
		struct run *r = invent_run(&b, "r");
		r->tyre_age = (struct opt_num){true, 0};
		invent_set(&b, r, "s0", i % 2 ? 5 : 0);
		for (int j = 0; j < 6; j++) {
			struct lap *l = invent_lap(r, 90 + 0.03 * (j * 3 % 4));
			l->has_wear[0] = l->has_wear[1] = true;
			l->wear[0] = 2 - 0.2 * j + 0.001 * (j * (i + 2) % 3);
			l->wear[1] = 1 - 0.04 * j + 0.001 * (j * (i + 1) % 3);
		}
	}
	struct model *m = fit(&b);
	const fix base[] = {0};
	ck_assert_int_eq(model_limiting_channel(m, base), 1);
	model_free(m);
	book_free(&b);
}
END_TEST

START_TEST(empty_book)
{
	struct book b;
	invent_book(&b, 1, 1, 2);
	struct model *m = fit(&b);
	const fix base[] = {0, 0, 0};
	ck_assert(!m->responses[0].fitted && m->responses[0].why[0]);
	ck_assert(!model_value(m, 0, base).known);
	ck_assert(!model_like(m, 0, base, base).delta.known);
	ck_assert_int_eq(model_limiting_channel(m, base), -1);
	model_free(m);
	struct run *r = invent_run(&b, "r");
	invent_lap(r, 90);
	m = fit(&b);
	ck_assert(model_value(m, 0, base).known);
	ck_assert(!model_value(m, 0, base).has_interval);
	model_free(m);
	book_free(&b);
}
END_TEST

/* The log of tests/data/model/laps.csv as a book. */
static void read_log(struct book *b)
{
	char *path = test_data("model/laps.csv"), line[160], id[16], last[16] = "";
	FILE *f = fopen(path, "r");
	ck_assert(f != NULL);
	invent_book(b, 1, 1, 1);
	struct run *r = NULL;
	while (fgets(line, sizeof line, f)) {
		double v[3], age, fuel, effort, time;
		int at = 0;
		if (sscanf(line, "%15[^,],%lf,%lf,%lf,%lf,%lf,%lf,%lf,%n", id, &v[0], &v[1], &v[2],
			    &age, &fuel, &effort, &time, &at) != 8)
			continue;
		if (strcmp(id, last) != 0) {
			r = invent_run(b, id);
			r->tyre_age = (struct opt_num){true, age};
			r->fuel = (struct opt_num){true, fuel};
			r->fuel_per_lap = (struct opt_num){true, 1.8};
			r->has_worn_at_start[0] = true;
			r->worn_at_start[0] = 2 * age;
			for (size_t k = 0; k < 3; k++)
				r->values[k] = fix_from_double(v[k]);
			snprintf(last, sizeof last, "%s", id);
		}
		struct lap *l = invent_lap(r, time);
		char *end;
		l->has_effort = true;
		l->effort = effort;
		l->worn[0] = strtod(line + at, &end);
		l->has_worn[0] = end != line + at;
		if (strtol(end + 1, NULL, 10))
			l->skip = strdup("traffic");
	}
	fclose(f);
	free(path);
	ck_assert_uint_eq(b->n_runs, 16);
}

/* A figure of tests/data/model/expected.csv. */
static double expected(const char *key)
{
	char *path = test_data("model/expected.csv"), *all = test_slurp(path, NULL), whole[64];
	snprintf(whole, sizeof whole, "\n%s,", key);
	const char *at = strstr(all, whole);
	ck_assert_msg(at != NULL, "no %s", key);
	const double v = strtod(at + strlen(whole), NULL);
	free(path);
	free(all);
	return v;
}

static void near(double got, const char *key)
{
	const double want = expected(key);
	ck_assert_msg(
		fabs(got - want) <= 1e-6 * fabs(want), "%s: %.12g, not %.12g", key, got, want);
}

static void check_response(const struct response *r, const char *tag)
{
	static const char *const pairs[][2] = {{"p0.common", "c"}, {"p0.difference", "f"},
		{"s0", "s"}, {"p0.common^2", "c2"}, {"p0.difference^2", "f2"}, {"s0^2", "s2"},
		{"p0.common*p0.difference", "cf"}, {"effort", "e"}, {"tyre-age", "age"},
		{"fuel", "fuel"}};
	char key[64];
	for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
		const int t = term(r, pairs[i][0]);
		ck_assert_int_ge(t, 0);
		snprintf(key, sizeof key, "%s.%s", tag, pairs[i][1]);
		near(r->b[t], key);
		snprintf(key, sizeof key, "%s.%s.se", tag, pairs[i][1]);
		near(sqrt(r->cov[(size_t)t * r->n_terms + (size_t)t]), key);
	}
	snprintf(key, sizeof key, "%s.sigma-lap", tag);
	near(r->sigma_lap, key);
	snprintf(key, sizeof key, "%s.log-reml", tag);
	ck_assert(r->has_log_reml);
	near(r->log_reml, key);
}

/*
 * A whole book against R's nlme (tests/data/model/README): readings with gaps and skipped laps,
 * weights, both fits (wear's run effect is on the boundary, where nlme stops at 2e-6), the
 * exchange rate with Fieller's interval, like-for-like wear, and the rate inside runs.
 */
START_TEST(a_book_as_nlme_sees_it)
{
	struct book b;
	read_log(&b);
	struct model *m = fit(&b);
	ck_assert(m->responses[0].curvature);
	check_response(&m->responses[0], "time");
	check_response(&m->responses[1], "wear");
	near(m->responses[0].sigma_run, "time.sigma-run");
	ck_assert_double_eq(m->responses[1].sigma_run, 0);
	const fix sheet[] = {3 * FIX_ONE, -2 * FIX_ONE, 5 * FIX_ONE}, none[] = {0, 0, 0};
	const struct estimate t = model_delta(m, 0, sheet, none),
			      w = model_delta(m, 1, sheet, none);
	near(t.value, "time.delta");
	near(t.se, "time.delta-se");
	near(w.value, "wear.delta");
	near(w.se, "wear.delta-se");
	const struct exchange *e = &m->exchange[0];
	ck_assert_int_eq(e->method, EXCHANGE_EFFORT);
	near(e->correlation, "rho");
	near(e->value, "kappa");
	near(e->se, "kappa.se");
	near(e->low, "kappa.low");
	near(e->high, "kappa.high");
	const struct like_delta z = model_like(m, 0, sheet, none);
	near(z.delta.value, "like.delta");
	near(z.delta.low, "like.low");
	near(z.delta.high, "like.high");
	near(z.chance_better, "like.chance");
	model_free(m);
	/* Without effort the rate comes from inside the runs, as R's lm has it. */
	b.covariates[COV_EFFORT].off = true;
	m = fit(&b);
	e = &m->exchange[0];
	ck_assert_int_eq(e->method, EXCHANGE_WITHIN_RUN);
	ck_assert(strstr(e->note, "at least") != NULL);
	near(e->value, "within.kappa");
	near(e->se, "within.se");
	near((e->high - e->low) / 2 / gsl_cdf_tdist_Pinv(0.975, expected("within.df")),
		"within.se");
	model_free(m);
	book_free(&b);
}
END_TEST

/* A given rate is taken as it is; a time slope that is not clear of zero is refused. */
START_TEST(rates_given_and_refused)
{
	struct book b;
	invent_book(&b, 0, 1, 1);
	for (int i = 0; i < 6; i++) {
		struct run *r = invent_run(&b, "r");
		invent_set(&b, r, "s0", i % 2 ? 5 : 0);
		for (int j = 0; j < 4; j++) {
			/* Effort says nothing of time: the four pairs cancel. */
			struct lap *l =
				worn_lap(r, 90 + 0.1 * (j % 2), 2 + 0.01 * ((i + 3 * j) % 5));
			l->has_effort = true;
			l->effort = j < 2 ? 98 : 100;
		}
	}
	struct model *m = fit(&b);
	ck_assert_int_eq(m->exchange[0].method, EXCHANGE_WITHIN_RUN);
	ck_assert(strstr(m->exchange[0].note, "clear of zero") != NULL);
	model_free(m);
	b.exchange[0] = (struct opt_num){true, 0.5};
	m = fit(&b);
	ck_assert_int_eq(m->exchange[0].method, EXCHANGE_GIVEN);
	ck_assert_double_eq(m->exchange[0].value, 0.5);
	ck_assert(!m->exchange[0].has_interval);
	const fix on[] = {5 * FIX_ONE}, base[] = {0};
	ck_assert(model_like(m, 0, on, base).has_chance);
	model_free(m);
	book_free(&b);
}
END_TEST

Suite *suite(void)
{
	gsl_set_error_handler_off();
	Suite *s = suite_create("model");
	TCase *c = tcase_create("readings");
	tcase_add_test(c, readings_from_totals);
	tcase_add_test(c, skipped_laps_inside_a_gap);
	tcase_add_test(c, total_of_a_run_is_one_mean);
	suite_add_tcase(s, c);
	c = tcase_create("fit");
	tcase_add_test(c, known_truth_comes_back);
	tcase_add_test(c, parts_add_up_under_noise);
	tcase_add_test(c, moved_together_is_not_tested);
	tcase_add_test(c, aliases_are_named);
	tcase_add_test(c, no_runs_to_spare);
	tcase_add_test(c, no_readings_to_spare);
	tcase_add_test(c, lack_of_fit_of_the_load_cell);
	tcase_add_test(c, no_measure_of_lack_of_fit);
	tcase_add_test(c, a_rising_temperature_is_no_lack_of_fit);
	tcase_add_test(c, curvature_needs_runs);
	tcase_add_test(c, factors_have_a_base);
	tcase_add_test(c, known_and_missing_covariates);
	tcase_add_test(c, fuel_without_fuel_per_lap);
	tcase_add_test(c, far_lap_is_suspect);
	tcase_add_test(c, far_lap_leaves_its_neighbours_alone);
	tcase_add_test(c, a_tyre_does_not_grow_back);
	tcase_add_test(c, empty_book);
	tcase_add_test(c, a_book_as_nlme_sees_it);
	tcase_add_test(c, rates_given_and_refused);
	suite_add_tcase(s, c);
	return s;
}
