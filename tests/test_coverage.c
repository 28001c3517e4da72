/*
 * Books drawn from a known truth, many times over: do the 95% intervals hold the truth as
 * often as they say, and is a sheet called kinder when only the driving was slower? The truth
 * is the outside here. TREADLIGHT_QUICK: 150 books each; otherwise 1,000, as the requirement
 * is told; TREADLIGHT_LONG: 4,000. The table of doc/model.md comes from the long run.
 */
#include "model/verdict.h"
#include "support/invent.h"
#include "support/support.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* One kind of book. Times in s, wear in % per lap, per unit of a coordinate. */
struct truth {
	const char *name;
	double kappa;              /* wear saved per second of lifting */
	double time[3], wear[3];   /* of common, difference, single */
	double run_time, run_wear; /* sd between runs */
	double lap_time, lap_wear; /* sd between laps */
	double lift_lap, lift_run; /* sd of lifting that effort does not tell */
	double slower;             /* effort less by so much on runs with the single off zero */
	int laps;                  /* a run */
	bool total;                /* wear once a run */
};

static const struct truth truths[] = {
	{"plain", 0.6, {.3, -.2, .2}, {-.2, .1, -.05}, .08, .03, .15, .05, .10, .00, 0, 6, false},
	{"large time effects", 0.6, {1.5, -1, 1}, {-.9, .6, -.6}, .08, .03, .15, .05, .1, .05, 0, 6,
		false},
	{"no run effect", 0.6, {.3, -.2, .2}, {-.2, .1, -.05}, 0, 0, .15, .05, .10, 0, 0, 6, false},
	{"large run effect", 0.6, {.3, -.2, .2}, {-.2, .1, -.05}, .3, .1, .1, .04, .05, .1, 0, 5,
		false},
	{"few laps", 0.6, {.5, -.2, .4}, {-.2, .1, -.05}, .08, .03, .15, .05, .10, .05, 0, 3,
		false},
	{"wear once a run", 0.6, {.3, -.2, .2}, {-.2, .1, -.05}, .08, .03, .15, .05, .10, .05, 0, 6,
		true},
	{"only slower driving", 0.6, {.3, -.2, 0}, {-.2, .1, 0}, .08, .03, .15, .05, .10, .05, 3, 6,
		false},
	{"lifting by set-up", 0.6, {.3, -.2, .5}, {-.2, .1, -.3}, .08, .03, .15, .05, .1, .05, 0, 6,
		false},
};

static void add_runs(struct book *b, const struct truth *t, gsl_rng *g)
{
	static const int level[][3] = {{0, 0, 0}, {6, 6, 0}, {-6, -6, 0}, {0, 0, 6}, {0, 0, -6},
		{0, 0, 0}, {4, -4, 0}, {-4, 4, 0}, {6, 6, 6}, {-6, -6, 6}, {0, 0, 0}, {6, 6, -6},
		{-6, -6, -6}, {4, -4, 6}, {-4, 4, -6}, {0, 0, 0}, {5, 0, 0}, {0, 5, 0}, {6, 0, 6},
		{0, 0, 0}};
	for (size_t i = 0; i < sizeof level / sizeof *level; i++) {
		char id[16];
		snprintf(id, sizeof id, "r%02zu", i);
		struct run *r = invent_run(b, id);
		r->tyre_age = (struct opt_num){true, (double)gsl_rng_uniform_int(g, 6)};
		for (size_t k = 0; k < 3; k++)
			r->values[k] = level[i][k] * FIX_ONE;
		const double x[] = {(level[i][0] + level[i][1]) / 20.0,
			(level[i][0] - level[i][1]) / 20.0, level[i][2] / 10.0};
		double y = 90 + gsl_ran_gaussian(g, t->run_time),
		       w = 2.5 + gsl_ran_gaussian(g, t->run_wear);
		for (int k = 0; k < 3; k++) {
			y += t->time[k] * x[k];
			w += t->wear[k] * x[k];
		}
		const double own = gsl_ran_gaussian(g, t->lift_run);
		const double push =
			100 - (double)gsl_rng_uniform_int(g, 3) - (level[i][2] ? t->slower : 0);
		double used = 0;
		for (int j = 0; j < t->laps; j++) {
			const double effort = push - (double)gsl_rng_uniform_int(g, 4);
			const double lift =
				.06 * (100 - effort) + own + gsl_ran_gaussian(g, t->lift_lap);
			const double age = r->tyre_age.v + j;
			struct lap *l = invent_lap(
				r, y + .03 * age + lift + gsl_ran_gaussian(g, t->lap_time));
			l->has_effort = true;
			l->effort = effort;
			l->wear[0] =
				w + .005 * age - t->kappa * lift + gsl_ran_gaussian(g, t->lap_wear);
			l->has_wear[0] = !t->total;
			used += l->wear[0];
		}
		r->has_wear_total[0] = t->total;
		r->wear_total[0] = used;
	}
}

struct tally {
	int books, known, held[3], kinder;
};

/* One book: does each interval hold the truth, and is the sheet called kinder? */
static void try_book(const struct truth *t, gsl_rng *g, struct tally *n)
{
	static const fix sheet[] = {3 * FIX_ONE, 1 * FIX_ONE, 6 * FIX_ONE}, base[] = {0, 0, 0};
	static const fix single[] = {0, 0, 6 * FIX_ONE};
	const double x[] = {.2, .1, .6};
	double dt = 0, dw = 0;
	struct book b;
	struct err err = {0};
	invent_book(&b, 1, 1, 1);
	add_runs(&b, t, g);
	struct model *m = model_new(&b, &err);
	ck_assert_msg(m != NULL, "%s", err.text);
	for (int k = 0; k < 3; k++) {
		dt += t->time[k] * x[k];
		dw += t->wear[k] * x[k];
	}
	const struct estimate et = model_delta(m, 0, sheet, base),
			      ew = model_delta(m, 1, sheet, base);
	const struct like_delta like = model_like(m, 0, sheet, base),
				one = model_like(m, 0, single, base);
	const double dz = dw + t->kappa * dt;
	n->books++;
	n->held[0] += et.low <= dt && dt <= et.high;
	n->held[1] += ew.low <= dw && dw <= ew.high;
	const struct estimate raw = model_delta(m, 1, single, base);
	n->kinder += verdict_like(&one, &raw) == VERDICT_KINDER;
	if (m->exchange[0].method == EXCHANGE_EFFORT) {
		n->known++;
		n->held[2] += like.delta.low <= dz && dz <= like.delta.high;
	}
	model_free(m);
	book_free(&b);
}

static int how_many(void)
{
	const char *longer = getenv("TREADLIGHT_LONG");
	return test_quick() ? 150 : longer && *longer ? 4000 : 1000;
}

START_TEST(intervals_hold_the_truth)
{
	const struct truth *t = &truths[_i];
	struct tally n = {0};
	gsl_rng *g = gsl_rng_alloc(gsl_rng_mt19937);
	gsl_rng_set(g, 20261125u + (unsigned)_i);
	for (int k = 0; k < how_many(); k++)
		try_book(t, g, &n);
	gsl_rng_free(g);
	double held[3];
	for (int k = 0; k < 3; k++)
		held[k] = 100.0 * n.held[k] / (k < 2 ? n.books : n.known);
	printf("%-20s %5d books: time %.1f %%, wear %.1f %%, like-for-like %.1f %%; kinder %.1f "
	       "%%; rate by effort %.1f %%\n",
		t->name, n.books, held[0], held[1], held[2], 100.0 * n.kinder / n.books,
		100.0 * n.known / n.books);
	/* 93 to 97 % and 5 % are asked of 1,000 books; `plain` meets them as they stand. For the
	 * others, which strain the method, two and a half standard errors of the count are left. */
	const double error = 100 * sqrt(0.95 * 0.05 / n.books);
	const double slack = _i == 0 && n.books >= 1000 ? 0 : 2.5 * error;
	ck_assert_double_ge(held[2], 93 - slack);
	/* A run effect of 0 is estimated as 0 or more: intervals are then a little too wide. */
	ck_assert_double_le(held[2], (t->run_time > 0 ? 97 : 98) + slack);
	/* Where the single does nothing like-for-like, it is not called kinder. */
	if (fabs(t->wear[2] + t->kappa * t->time[2]) < 1e-12)
		ck_assert_double_le(100.0 * n.kinder / n.books, 5 + slack);
}
END_TEST

Suite *suite(void)
{
	gsl_set_error_handler_off();
	Suite *s = suite_create("coverage");
	TCase *c = tcase_create("truth");
	tcase_set_timeout(c, 600);
	tcase_add_loop_test(c, intervals_hold_the_truth, 0, (int)(sizeof truths / sizeof *truths));
	suite_add_tcase(s, c);
	return s;
}
