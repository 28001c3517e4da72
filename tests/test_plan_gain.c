/*
 * What plans are worth, on simulated books: a few, and the claims of doc/plans.md checked. With
 * PLAN_GAIN_BOOKS=500 that many, and the tables of doc/plans.md printed to the log.
 *
 * The truth of a book: nine adjustables of which five change lap time by 0.15 to 0.45 s from
 * end to end, three of these with a curve of up to 0.15 s; on request three products of two
 * adjustables of 0.05 to 0.15 s at the corners. Scatter: 0.10 s between runs, 0.30 s
 * between laps. All plans get 120 laps, spread over their runs as evenly as they go.
 */
#include "frontier/frontier.h"
#include "model/model.h"
#include "plan/plan.h"
#include "support/invent.h"
#include "support/support.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FACTORS = 9, LAPS = 120, NEXT_RUNS = 4, NEXT_LAPS = 5 };

struct truth {
	double line[FACTORS], curve[FACTORS]; /* s, at the end of the range against the middle */
	double wear[FACTORS];
	double product[FACTORS][FACTORS];
};

static double pick(gsl_rng *rng, double low, double high)
{
	double v = low + (high - low) * gsl_rng_uniform(rng);
	return gsl_rng_uniform(rng) < 0.5 ? -v : v;
}

static void draw_truth(gsl_rng *rng, struct truth *t, bool products)
{
	int order[FACTORS];
	memset(t, 0, sizeof *t);
	for (int f = 0; f < FACTORS; f++)
		order[f] = f;
	gsl_ran_shuffle(rng, order, FACTORS, sizeof *order);
	for (int i = 0; i < 5; i++) {
		int f = order[i];
		t->line[f] = pick(rng, 0.15, 0.45) / 2;
		t->curve[f] = i < 3 ? 0.15 * gsl_rng_uniform(rng) : 0;
		t->wear[f] = -0.5 * t->line[f] + pick(rng, 0, 0.05);
	}
	for (int i = 0; products && i < 3; i++) {
		unsigned long a = gsl_rng_uniform_int(rng, FACTORS);
		unsigned long b = gsl_rng_uniform_int(rng, FACTORS - 1);
		t->product[a][b < a ? b : b + 1] += pick(rng, 0.05, 0.15);
	}
}

static double true_time(const struct truth *t, const double *x)
{
	double sum = 90;
	for (int f = 0; f < FACTORS; f++) {
		sum += t->line[f] * x[f] + t->curve[f] * x[f] * x[f];
		for (int g = 0; g < FACTORS; g++)
			sum += t->product[f][g] * x[f] * x[g];
	}
	return sum;
}

static void drive(
	gsl_rng *rng, struct book *b, const struct truth *t, const fix *values, size_t laps)
{
	char id[24];
	double x[FACTORS], wear = 2;
	snprintf(id, sizeof id, "r%04zu", b->n_runs);
	struct run *r = invent_run(b, id);
	memcpy(r->values, values, FACTORS * sizeof *values);
	for (int f = 0; f < FACTORS; f++) {
		x[f] = fix_to_double(values[f]) / 10;
		wear += t->wear[f] * x[f];
	}
	double time = true_time(t, x) + gsl_ran_gaussian(rng, 0.10);
	wear += gsl_ran_gaussian(rng, 0.03);
	for (size_t j = 0; j < laps; j++) {
		struct lap *l = invent_lap(r, time + gsl_ran_gaussian(rng, 0.30));
		l->has_wear[0] = true;
		l->wear[0] = wear + gsl_ran_gaussian(rng, 0.05);
	}
}

static struct plan *make(const struct book *b, enum plan_kind kind, bool fold_over)
{
	struct err e;
	err_clear(&e);
	struct plan_options o = {
		.kind = kind, .base = &b->sheets[0], .rng = 1, .fold_over = fold_over};
	struct plan *p = plan_new(b, &o, &e);
	ck_assert_msg(p != NULL, "%s", e.text);
	return p;
}

static void drive_plan(
	gsl_rng *rng, struct book *b, const struct truth *t, const struct plan *p, size_t laps)
{
	for (size_t i = 0; i < p->n_runs; i++)
		drive(rng, b, t, p->runs[i].values,
			(i + 1) * laps / p->n_runs - i * laps / p->n_runs);
}

static struct model *fit(const struct book *b)
{
	struct err e;
	err_clear(&e);
	struct model *m = model_new(b, &e);
	ck_assert_msg(m != NULL, "%s", e.text);
	return m;
}

struct score {
	double runs, se, square_error, found, false_found, untold;
	size_t books, active, idle, told;
};

/* Each factor from end to end, the others at the base. */
static void judge(const struct model *m, const struct truth *t, struct score *s)
{
	const fix *base = m->book->sheets[0].values;
	for (int f = 0; f < FACTORS; f++) {
		fix low[FACTORS], high[FACTORS];
		memcpy(low, base, sizeof low);
		memcpy(high, base, sizeof high);
		low[f] = -10 * FIX_ONE;
		high[f] = 10 * FIX_ONE;
		struct estimate e = model_delta(m, RESPONSE_TIME, high, low);
		double truth = 2 * t->line[f];
		bool seen = e.known && e.has_interval && (e.low > 0 || e.high < 0);
		if (!e.known || !e.has_interval) {
			s->untold++;
		} else {
			s->se += e.se;
			s->square_error += (e.value - truth) * (e.value - truth);
			s->told++;
		}
		s->active += truth != 0;
		s->idle += truth == 0;
		s->found += truth != 0 && seen && e.value * truth > 0;
		s->false_found += truth == 0 && seen;
	}
	s->books++;
}

static const struct {
	const char *name;
	enum plan_kind kind;
	bool fold_over;
} kinds[] = {{"one at a time", PLAN_ONE_AT_A_TIME, false}, {"screening", PLAN_SCREENING, false},
	{"screening, folded over", PLAN_SCREENING, true}, {"definitive", PLAN_DEFINITIVE, false}};
enum { KINDS = sizeof kinds / sizeof kinds[0] };

static void compare_plans(size_t books, bool products, struct score out[KINDS])
{
	gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
	memset(out, 0, KINDS * sizeof *out);
	for (size_t k = 0; k < KINDS; k++) {
		gsl_rng_set(rng, 1 + products);
		for (size_t i = 0; i < books; i++) {
			struct truth t;
			struct book b;
			draw_truth(rng, &t, products);
			invent_book(&b, 0, FACTORS, 1);
			struct plan *p = make(&b, kinds[k].kind, kinds[k].fold_over);
			drive_plan(rng, &b, &t, p, LAPS);
			struct model *m = fit(&b);
			judge(m, &t, &out[k]);
			out[k].runs = (double)p->n_runs;
			model_free(m);
			plan_free(p);
			book_free(&b);
		}
	}
	gsl_rng_free(rng);
}

static void print_plans(const struct score s[KINDS])
{
	puts("| plan | runs | laps a run | standard error, s | rms error, s | true effects found | "
	     "found where there is none |\n|---|---|---|---|---|---|---|");
	for (size_t k = 0; k < KINDS; k++)
		printf("| %s | %.0f | %.1f | %.3f | %.3f | %.0f%% | %.1f%% |\n", kinds[k].name,
			s[k].runs, LAPS / s[k].runs, s[k].se / (double)s[k].told,
			sqrt(s[k].square_error / (double)s[k].told),
			100 * s[k].found / (double)s[k].active,
			100 * s[k].false_found / (double)s[k].idle);
}

/* Mean standard error of lap time along a frontier taken before. */
static double frontier_se(const struct model *m, const struct frontier *f)
{
	double sum = 0, n = 0;
	for (size_t i = 0; i < f->n; i++) {
		struct estimate e = model_delta(
			m, RESPONSE_TIME, f->points[i].values, m->book->sheets[0].values);
		if (e.known && e.has_interval && e.se > 0) {
			sum += e.se * e.se;
			n++;
		}
	}
	return n > 0 ? sqrt(sum / n) : NAN;
}

static void random_values(gsl_rng *rng, fix *values)
{
	for (int f = 0; f < FACTORS; f++)
		values[f] = ((fix)gsl_rng_uniform_int(rng, 21) - 10) * FIX_ONE;
}

/* One more run; `clever`: the one that the program names. */
static void add_one(gsl_rng *rng, struct book *b, const struct truth *t, bool clever)
{
	fix values[FACTORS];
	random_values(rng, values);
	if (clever) {
		struct err e;
		err_clear(&e);
		struct model *m = fit(b);
		struct plan_options o = {
			.kind = PLAN_NEXT, .base = &b->sheets[0], .lap_budget = NEXT_LAPS};
		struct plan *p = plan_next(m, &o, &e);
		ck_assert_msg(p != NULL, "%s", e.text);
		memcpy(values, p->runs[0].values, sizeof values);
		plan_free(p);
		model_free(m);
	}
	drive(rng, b, t, values, NEXT_LAPS);
}

static struct frontier *frontier_of(const struct model *m)
{
	struct err e;
	struct frontier_options o = {.points = 40};
	err_clear(&e);
	if (!save_parse(m, NULL, &o.save, &e))
		return NULL;
	return frontier_new(m, &m->book->sheets[0], &m->book->sheets[0], &o, &e);
}

/* se[0] before, se[1] after `next`, se[2] after random runs; means over the books. */
static size_t compare_next(size_t books, double se[3])
{
	gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
	size_t n = 0;
	memset(se, 0, 3 * sizeof *se);
	for (size_t i = 0; i < books; i++) {
		double got[3] = {NAN, NAN, NAN};
		for (int clever = 1; clever >= 0; clever--) {
			struct truth t;
			struct book b;
			gsl_rng_set(rng, 1000 + i);
			draw_truth(rng, &t, false);
			invent_book(&b, 0, FACTORS, 1);
			struct plan *p = make(&b, PLAN_ONE_AT_A_TIME, false);
			drive_plan(rng, &b, &t, p, LAPS);
			struct model *before = fit(&b);
			struct frontier *f = frontier_of(before);
			got[0] = f ? frontier_se(before, f) : NAN;
			model_free(before);
			for (int k = 0; f && k < NEXT_RUNS; k++)
				add_one(rng, &b, &t, clever);
			struct model *after = fit(&b);
			got[clever ? 1 : 2] = f ? frontier_se(after, f) : NAN;
			model_free(after);
			frontier_free(f);
			plan_free(p);
			book_free(&b);
		}
		if (!isfinite(got[0] + got[1] + got[2]))
			continue;
		for (int k = 0; k < 3; k++)
			se[k] += got[k];
		n++;
	}
	for (int k = 0; k < 3; k++)
		se[k] /= (double)n;
	gsl_rng_free(rng);
	return n;
}

static size_t count_books(void)
{
	const char *given = getenv("PLAN_GAIN_BOOKS");
	return given ? (size_t)strtoul(given, NULL, 10) : test_quick() ? 8 : 20;
}

static double mean_se(const struct score *s)
{
	return s->se / (double)s->told;
}

START_TEST(plans_beat_one_at_a_time)
{
	struct score s[KINDS];
	size_t books = count_books();
	gsl_set_error_handler_off();
	compare_plans(books, _i == 1, s);
	printf("\n%zu books of %d laps%s\n\n", books, LAPS,
		_i ? ", three products of two adjustables at work" : "");
	print_plans(s);
	ck_assert_double_lt(mean_se(&s[1]), 0.8 * mean_se(&s[0]));
	ck_assert_double_lt(mean_se(&s[3]), 0.9 * mean_se(&s[0]));
	ck_assert_double_gt(s[1].found, s[0].found);
}
END_TEST

START_TEST(next_beats_random)
{
	double se[3];
	gsl_set_error_handler_off();
	size_t n = compare_next(count_books(), se);
	printf("\nlap time along the frontier, %zu books: standard error %.4f s; after %d more "
	       "runs, each "
	       "the one named next, %.4f s; after %d random ones %.4f s\n",
		n, se[0], NEXT_RUNS, se[1], NEXT_RUNS, se[2]);
	ck_assert_double_lt(se[1], se[2]);
	ck_assert_double_lt(se[2], se[0]);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("plan gain");
	TCase *t = tcase_create("simulated books");
	tcase_set_timeout(t, 3600);
	tcase_add_loop_test(t, plans_beat_one_at_a_time, 0, 2);
	tcase_add_test(t, next_beats_random);
	suite_add_tcase(s, t);
	return s;
}
