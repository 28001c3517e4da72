/*
 * The stint of a book: intervals against the model's own t interval and against known
 * truth, facts of the trade (common practice, no source), and what is said when figures
 * are missing. Tables worked by hand are in test_stint_project.c.
 */
#include "model/verdict.h"
#include "model/words.h"
#include "stint/stint.h"
#include "support/invent.h"
#include "support/random.h"
#include "support/support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A book of one adjustable s0: base at 0, the sheet at 5. */
struct truth {
	double time_delta, wear_delta, kappa; /* of the sheet; s, %/lap, %/lap for each s */
	double run_time, run_wear, lap_time, lap_wear, lifting; /* standard deviations */
	double time_age, wear_age;                              /* per lap of tyre age */
};

static const fix base_values[] = {0}, sheet_values[] = {5 * FIX_ONE};

static void invent_truth(struct book *b, const struct truth *t, unsigned runs, struct random *r)
{
	invent_book(b, 0, 1, 1);
	b->exchange[0] = (struct opt_num){t->kappa > 0, t->kappa};
	b->stint = (struct stint_plan){
		.given = true, .laps = {true, 30}, .pit_loss = {true, 24}, .pace_loss = {true, 0}};
	for (unsigned i = 0; i < runs; i++) {
		char id[16];
		snprintf(id, sizeof id, "r%02u", i);
		struct run *run = invent_run(b, id);
		run->tyre_age = (struct opt_num){true, 0};
		double on = i % 2 ? 1 : 0;
		invent_set(b, run, "s0", 5 * on);
		double rt = t->run_time * random_normal(r), rw = t->run_wear * random_normal(r);
		for (int j = 0; j < 6; j++) {
			double lift = t->lifting * random_normal(r);
			struct lap *l = invent_lap(run, 90 + on * t->time_delta + rt + lift +
								t->time_age * j +
								t->lap_time * random_normal(r));
			l->has_wear[0] = true;
			l->wear[0] = 2 + on * t->wear_delta + rw - t->kappa * lift +
				     t->wear_age * j + t->lap_wear * random_normal(r);
		}
	}
}

static struct model *fit(const struct book *b)
{
	struct err err = {0};
	struct model *m = model_new(b, &err);
	ck_assert_msg(m != NULL, "%s", err.text);
	return m;
}

static struct stint *stint(const struct model *m, const fix *sheet, size_t laps, size_t draws)
{
	struct err err = {0};
	const struct stint_options o = {.laps = laps, .draws = draws};
	struct stint *s = stint_new(m, sheet, base_values, "Kind", "Quick base", &o, &err);
	ck_assert_msg(s != NULL, "%s", err.text);
	return s;
}

static const struct truth noisy = {0.10, -0.15, 0.8, 0.05, 0.02, 0.08, 0.05, 0.15, 0, 0};

/* Without loss of pace the delta is laps times that of one lap, interval included. */
START_TEST(interval_is_the_models_own)
{
	struct random r = random_seeded(7);
	struct book b;
	invent_truth(&b, &noisy, 10, &r);
	struct model *m = fit(&b);
	struct stint *s = stint(m, sheet_values, 0, STINT_DRAWS);
	struct estimate d = model_delta(m, RESPONSE_TIME, sheet_values, base_values);
	const struct stint_row *row = &s->rows[STINT_SHEET];
	ck_assert_uint_eq(s->laps, 30);
	ck_assert(row->has_interval);
	ck_assert_double_eq_tol(row->delta, 30 * d.value, 1e-8);
	ck_assert_double_eq_tol(row->low, 30 * d.low, 0.04 * 30 * (d.high - d.low));
	ck_assert_double_eq_tol(row->high, 30 * d.high, 0.04 * 30 * (d.high - d.low));
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

/* The same book gives the same digits. */
START_TEST(draws_are_repeatable)
{
	struct random r = random_seeded(8);
	struct book b;
	invent_truth(&b, &noisy, 8, &r);
	struct model *m = fit(&b);
	struct stint *s = stint(m, sheet_values, 0, 500), *t = stint(m, sheet_values, 0, 500);
	for (size_t k = 0; k < STINT_PLANS; k++) {
		ck_assert_double_eq(s->rows[k].low, t->rows[k].low);
		ck_assert_double_eq(s->rows[k].high, t->rows[k].high);
	}
	ck_assert_double_eq(s->verdict_low, t->verdict_low);
	stint_free(s);
	stint_free(t);
	model_free(m);
	book_free(&b);
}
END_TEST

/*
 * Known truth: 30 laps, lift 0.15 / 0.8 s, so the sheet costs 3 s, lifting 5.625 s, and the
 * sheet 2.625 s less than lifting. 95% intervals must hold these in about 95 of 100 books;
 * 4 standard errors of a share are allowed for chance.
 */
START_TEST(intervals_hold_the_truth)
{
	unsigned books = test_quick() ? 150 : 600, held[3] = {0};
	double slack = 4 * sqrt(0.05 * 0.95 / books);
	for (unsigned seed = 0; seed < books; seed++) {
		struct random r = random_seeded(1000 + seed);
		struct book b;
		invent_truth(&b, &noisy, 12, &r);
		struct model *m = fit(&b);
		struct stint *s = stint(m, sheet_values, 0, 1000);
		const struct stint_row *tuned = &s->rows[STINT_SHEET],
				       *lifted = &s->rows[STINT_LIFTING];
		held[0] += tuned->low <= 3.0 && 3.0 <= tuned->high;
		held[1] += lifted->low <= 5.625 && 5.625 <= lifted->high;
		held[2] += s->verdict_low <= -2.625 && -2.625 <= s->verdict_high;
		stint_free(s);
		model_free(m);
		book_free(&b);
	}
	for (size_t i = 0; i < 3; i++) {
		double share = (double)held[i] / books;
		ck_assert_msg(share > 0.95 - slack && share <= fmin(1, 0.95 + slack),
			"figure %zu: %.3f of the intervals hold the truth", i, share);
	}
}
END_TEST

/*
 * Common practice, no source: two laps on the same sheet a tenth apart can differ by 0.2 %
 * per lap through effort alone (2 % for each second). Then a sheet that saves 0.1 % and
 * costs 0.2 s is no saving: lifting 0.05 s saves as much, over 30 laps for 1.5 s, not 6.
 */
START_TEST(a_slower_sheet_is_no_saving)
{
	const struct truth t = {0.2, -0.1, 2, 0.002, 0.002, 0.002, 0.002, 0.01, 0, 0};
	struct random r = random_seeded(3);
	struct book b;
	invent_truth(&b, &t, 10, &r);
	struct model *m = fit(&b);
	struct stint *s = stint(m, sheet_values, 0, 2000);
	struct like_delta like = model_like(m, 0, sheet_values, base_values);
	struct estimate raw = model_delta(m, 1, sheet_values, base_values);
	ck_assert_double_eq_tol(like.delta.value, 0.3, 0.03);
	ck_assert_int_eq(verdict_like(&like, &raw), VERDICT_ONLY_SLOWER);
	ck_assert_double_eq_tol(s->rows[STINT_LIFTING].lift, 0.05, 0.01);
	ck_assert_double_eq_tol(s->verdict, 4.5, 0.4);
	ck_assert_double_gt(s->verdict_low, 0);
	ck_assert_msg(strstr(s->sentence, "s a lap on Quick base costs 4.") &&
			      strstr(s->sentence, "s less than Kind") &&
			      strstr(s->sentence, "over 30 laps, lifting 0.05"),
		"%s", s->sentence);
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

/* 0.1 % per lap is 3 % of tread over 30 laps, 0.5 % is 15 % (common practice, no source). */
START_TEST(tread_over_thirty_laps)
{
	const double saved[] = {0.1, 0.5}, tread[] = {3, 15};
	for (size_t i = 0; i < 2; i++) {
		const struct truth t = {0, -saved[i], 0.5, 0, 0, 1e-5, 1e-5, 0, 0, 0};
		struct random r = random_seeded(4);
		struct book b;
		invent_truth(&b, &t, 8, &r);
		struct model *m = fit(&b);
		struct stint *s = stint(m, sheet_values, 30, 0);
		ck_assert_double_eq_tol(
			s->curve[STINT_REFERENCE][29].worn[0] - s->curve[STINT_SHEET][29].worn[0],
			tread[i], 1e-3);
		/* The same tyre at the flag: that is how much the reference must lift. */
		ck_assert_double_eq_tol(s->curve[STINT_LIFTING][29].worn[0],
			s->curve[STINT_SHEET][29].worn[0], 1e-9);
		stint_free(s);
		model_free(m);
		book_free(&b);
	}
}
END_TEST

/* pace-loss: auto: the slope of lap time on tyre age over the mean wear, not added again: on a
 * sheet that wears like the mean, lap n is slower than lap 1 by n - 1 slopes. */
START_TEST(pace_loss_from_tyre_age)
{
	const struct truth t = {0, 0, 0.5, 0, 0, 1e-6, 1e-6, 0, 0.04, 0};
	struct random r = random_seeded(5);
	struct book b;
	invent_truth(&b, &t, 8, &r);
	b.stint.pace_loss_auto = true;
	b.stint.pace_loss.has = false;
	struct model *m = fit(&b);
	struct stint *s = stint(m, base_values, 20, 0);
	ck_assert_double_eq_tol(s->rules.pace_loss, 0.04 / 2, 1e-5);
	for (size_t i = 0; i < 20; i++)
		ck_assert_double_eq_tol(
			s->curve[STINT_REFERENCE][i].time, 90 + 0.04 * (double)i, 1e-3);
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

START_TEST(wear_grows_with_age)
{
	const struct truth t = {0, 0, 0.5, 0, 0, 1e-6, 1e-6, 0, 0, 0.05};
	struct random r = random_seeded(6);
	struct book b;
	invent_truth(&b, &t, 8, &r);
	struct model *m = fit(&b);
	struct stint *s = stint(m, base_values, 10, 0);
	/* 2 + 0.05 age: 10 laps wear 20 + 0.05 * 45. */
	ck_assert_double_eq_tol(s->curve[STINT_REFERENCE][9].worn[0], 22.25, 1e-3);
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

START_TEST(missing_figures_are_said)
{
	struct random r = random_seeded(9);
	struct book b;
	struct err err = {0};
	invent_truth(&b, &noisy, 8, &r);
	b.exchange[0].has = false;
	b.stint = (struct stint_plan){.given = false};
	for (size_t i = 0; i < b.n_runs; i++)
		for (size_t j = 0; j < b.runs[i].n_laps; j++)
			b.runs[i].laps[j].has_wear[0] = j > 0; /* still wear, other laps */
	struct model *m = fit(&b);
	const struct stint_options none = {0};
	ck_assert_ptr_null(stint_new(m, sheet_values, base_values, "a", "b", &none, &err));
	ck_assert_int_eq(err.cls, ERR_INPUT);
	ck_assert(strstr(err.text, "give a number of laps") != NULL);
	struct stint *s = stint(m, sheet_values, 60, 100);
	ck_assert(!s->rows[STINT_STOPPING].known);
	ck_assert(strstr(s->rows[STINT_STOPPING].why, "pit-loss") != NULL);
	ck_assert_uint_ge(s->rows[STINT_STOPPING].stops, 1);
	/* First lap that ends past 60 %. */
	size_t lap = s->rows[STINT_REFERENCE].limit_lap;
	ck_assert_uint_gt(lap, 1);
	ck_assert_double_gt(s->curve[STINT_REFERENCE][lap - 1].worn[0], 60);
	ck_assert_double_le(s->curve[STINT_REFERENCE][lap - 2].worn[0], 60);
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

START_TEST(no_exchange_rate_no_lifting)
{
	struct random r = random_seeded(10);
	struct book b;
	invent_truth(&b, &noisy, 8, &r);
	b.exchange[0].has = false;
	for (size_t i = 0; i < b.n_runs; i++) {
		/* One reading a run and no effort: nothing tells what lifting saves. */
		for (size_t j = 0; j < b.runs[i].n_laps; j++)
			b.runs[i].laps[j].has_wear[0] = false;
		b.runs[i].has_wear_total[0] = true;
		b.runs[i].wear_total[0] = 12 + 0.1 * (double)i;
	}
	struct model *m = fit(&b);
	struct stint *s = stint(m, sheet_values, 0, 500);
	ck_assert(!s->rows[STINT_LIFTING].known);
	ck_assert(strstr(s->rows[STINT_LIFTING].why, "exchange rate") != NULL);
	ck_assert(s->rows[STINT_SHEET].known);
	ck_assert(!s->has_verdict);
	ck_assert(strstr(s->sentence, "what lifting saves is not known") != NULL);
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

/* A sheet that wears more: nothing to lift for, never "push harder than flat out". */
START_TEST(nothing_to_lift_for)
{
	const struct truth t = {-0.1, 0.2, 0.8, 0.01, 0.01, 0.02, 0.02, 0.1, 0, 0};
	struct random r = random_seeded(11);
	struct book b;
	invent_truth(&b, &t, 12, &r);
	struct model *m = fit(&b);
	struct stint *s = stint(m, sheet_values, 0, 500);
	ck_assert_double_eq(s->rows[STINT_LIFTING].lift, 0);
	ck_assert_double_eq_tol(s->rows[STINT_LIFTING].delta, 0, 1e-9);
	ck_assert(strstr(s->sentence, "nothing to lift for") != NULL);
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

/* 30 laps at 2 % end just at the limit: half the draws need a stop, half none, and the interval
 * has to hold both, whether pace is lost with wear or won. */
START_TEST(each_draw_plans_its_stops)
{
	for (int loses = 0; loses < 2; loses++) {
		struct random r = random_seeded(15);
		struct book b;
		invent_truth(&b, &noisy, 8, &r);
		b.stint.pace_loss.v = loses ? 0.001 : -0.001;
		struct model *m = fit(&b);
		struct stint *s = stint(m, sheet_values, 0, 2000);
		const struct stint_row *stop = &s->rows[STINT_STOPPING];
		ck_assert(stop->has_interval);
		ck_assert_double_lt(stop->low, 1);
		ck_assert_double_gt(stop->high, 23);
		stint_free(s);
		model_free(m);
		book_free(&b);
	}
}
END_TEST

/* The reference against itself: nought, for certain, not nought give or take rounding. */
START_TEST(the_reference_itself_is_nought)
{
	const struct truth t = {0.1, -0.3, 0.8, 0.02, 0.02, 0.05, 0.03, 0.1, 0.03, 0.01};
	struct random r = random_seeded(13);
	struct book b;
	invent_truth(&b, &t, 8, &r);
	b.stint.pace_loss.v = 0.03;
	struct model *m = fit(&b);
	struct stint *s = stint(m, base_values, 0, 500);
	ck_assert(s->rows[STINT_SHEET].has_interval);
	ck_assert_double_eq(s->rows[STINT_SHEET].low, 0);
	ck_assert_double_eq(s->rows[STINT_SHEET].high, 0);
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

/* Pace lost to wear needs wear: a total without it would look too good. */
START_TEST(no_wear_no_loss_of_pace)
{
	struct random r = random_seeded(14);
	struct book b;
	invent_truth(&b, &noisy, 8, &r);
	for (size_t i = 0; i < b.n_runs; i++)
		for (size_t j = 0; j < b.runs[i].n_laps; j++)
			b.runs[i].laps[j].has_wear[0] = false;
	for (int loss = 0; loss < 2; loss++) {
		b.stint.pace_loss.v = 0.02 * loss;
		struct model *m = fit(&b);
		struct stint *s = stint(m, sheet_values, 0, 500);
		ck_assert(s->rows[STINT_SHEET].known == (loss == 0));
		if (loss)
			ck_assert(strstr(s->sentence, "no wear readings") != NULL);
		stint_free(s);
		model_free(m);
	}
	book_free(&b);
}
END_TEST

START_TEST(quick_figures_agree)
{
	const struct truth t = {0.1, -0.3, 0.8, 0.02, 0.02, 0.05, 0.03, 0.1, 0.03, 0.01};
	struct random r = random_seeded(12);
	struct book b;
	struct stint_quick q;
	invent_truth(&b, &t, 8, &r);
	b.stint.pace_loss.v = 0.03;
	b.stint.cliff_at = (struct opt_num){true, 40};
	b.stint.cliff = (struct opt_num){true, 0.2};
	struct model *m = fit(&b);
	struct stint *s = stint(m, sheet_values, 0, 0);
	struct err err = {0};
	ck_assert(stint_quick_prepare(&q, m, base_values, &err));
	ck_assert(q.usable);
	double wear = model_delta(m, 1, sheet_values, base_values).value;
	double time = model_delta(m, 0, sheet_values, base_values).value;
	ck_assert_double_eq_tol(
		stint_quick_delta(&q, time, &wear), s->rows[STINT_SHEET].delta, 1e-8);
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

static bool is_noted(const struct stint *s, const char *words)
{
	for (size_t i = 0; i < s->n_notes; i++)
		if (strstr(s->notes[i], words))
			return true;
	return false;
}

/* Runs of six laps on fresh tyres say nothing of lap 30: told, and not before lap 7. A loss of pace
 * that is noise is told with its interval. */
START_TEST(what_was_not_driven_is_said)
{
	struct random r = random_seeded(15);
	struct book b;
	invent_truth(&b, &noisy, 8, &r);
	b.stint.pace_loss_auto = true;
	b.stint.pace_loss.has = false;
	struct model *m = fit(&b);
	struct stint *s = stint(m, sheet_values, 6, 0);
	ck_assert(!is_noted(s, "extrapolated"));
	ck_assert(is_noted(s, "can't tell), from the slope of lap time on tyre age"));
	stint_free(s);
	s = stint(m, sheet_values, 7, 0);
	ck_assert(is_noted(s, "no set of tyres was driven beyond lap 6"));
	stint_free(s);
	model_free(m);
	book_free(&b);
}
END_TEST

/* A rate from inside runs is a lower bound: a larger one makes lifting cheaper, so that a sheet's
 * win over lifting cannot be told by it, nor that the slower sheet is kinder at equal pace. */
START_TEST(a_least_rate_lets_no_sheet_win)
{
	const struct truth t = {0.3, -0.6, 0.8, 0.005, 0.005, 0.05, 0.02, 0.15, 0, 0};
	struct random r = random_seeded(17);
	struct book b;
	const struct estimate less = {
		.known = true, .has_interval = true, .value = -0.6, .low = -0.7, .high = -0.5};
	invent_truth(&b, &t, 10, &r);
	for (int given = 0; given < 2; given++) {
		b.exchange[0] = (struct opt_num){given, 0.8};
		struct model *m = fit(&b);
		struct stint *s = stint(m, sheet_values, 10, 2000);
		const struct like_delta z = model_like(m, 0, sheet_values, base_values);
		ck_assert(z.delta.high < 0 && z.has_chance);
		ck_assert(z.bound == !given);
		ck_assert_int_eq(
			verdict_like(&z, &less), given ? VERDICT_KINDER : VERDICT_CANT_TELL);
		ck_assert_msg(strstr(s->sentence,
				      given ? "less than lifting" : "only known to be at least"),
			"%s", s->sentence);
		stint_free(s);
		model_free(m);
	}
	book_free(&b);
}
END_TEST

/* A limit that the interval of the wear has inside and behind the stint: nobody knows which. */
START_TEST(an_unsure_limit_is_said)
{
	struct random r = random_seeded(18);
	struct book b;
	invent_truth(&b, &noisy, 8, &r);
	struct model *m = fit(&b);
	const struct estimate w = model_value(m, 1, base_values);
	ck_assert(w.has_interval && w.low > 1);
	b.wear_limit = 20 * w.value; /* the 20th lap would just reach it */
	static const struct {
		size_t laps;
		bool said;
	} want[] = {{15, false}, {20, true}, {26, false}};
	for (size_t i = 0; i < 3; i++) {
		struct stint *s = stint(m, base_values, want[i].laps, 0);
		ck_assert_msg(is_noted(s, "whether Quick base passes the limit") == want[i].said,
			"%zu laps", want[i].laps);
		stint_free(s);
	}
	model_free(m);
	book_free(&b);
}
END_TEST

/* Fuel of 20 to 30 kg, told at 0: said. At 16, less than half the range off, a line may be drawn.
 */
START_TEST(conditions_beyond_the_runs_are_said)
{
	struct random r = random_seeded(16);
	struct book b;
	char words[WORDS_SIZE];
	invent_truth(&b, &noisy, 8, &r);
	for (size_t i = 0; i < b.n_runs; i++) {
		b.runs[i].fuel = (struct opt_num){true, 30};
		b.runs[i].fuel_per_lap = (struct opt_num){true, 2};
	}
	struct model *m = fit(&b);
	ck_assert_str_eq(
		words_beyond(m, words, sizeof words), "told at 0 kg of fuel, driven were 20 to 30");
	model_free(m);
	b.conditions[COV_FUEL] = (struct opt_num){true, 16};
	m = fit(&b);
	ck_assert_str_eq(words_beyond(m, words, sizeof words), "");
	model_free(m);
	b.covariates[COV_FUEL].off = true; /* no line is drawn over it */
	b.conditions[COV_FUEL].v = 0;
	m = fit(&b);
	ck_assert_str_eq(words_beyond(m, words, sizeof words), "");
	model_free(m);
	book_free(&b);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("stint");
	TCase *t = tcase_create("books");
	tcase_set_timeout(t, 300);
	tcase_add_test(t, interval_is_the_models_own);
	tcase_add_test(t, draws_are_repeatable);
	tcase_add_test(t, intervals_hold_the_truth);
	tcase_add_test(t, a_slower_sheet_is_no_saving);
	tcase_add_test(t, tread_over_thirty_laps);
	tcase_add_test(t, pace_loss_from_tyre_age);
	tcase_add_test(t, wear_grows_with_age);
	tcase_add_test(t, missing_figures_are_said);
	tcase_add_test(t, no_exchange_rate_no_lifting);
	tcase_add_test(t, nothing_to_lift_for);
	tcase_add_test(t, each_draw_plans_its_stops);
	tcase_add_test(t, the_reference_itself_is_nought);
	tcase_add_test(t, no_wear_no_loss_of_pace);
	tcase_add_test(t, quick_figures_agree);
	tcase_add_test(t, what_was_not_driven_is_said);
	tcase_add_test(t, conditions_beyond_the_runs_are_said);
	tcase_add_test(t, a_least_rate_lets_no_sheet_win);
	tcase_add_test(t, an_unsure_limit_is_said);
	suite_add_tcase(s, t);
	return s;
}
