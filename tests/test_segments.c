/*
 * Where on the lap: fits per class of segments, and two runs over each other. The yardsticks
 * are the truth that the laps were made from, sums that must close, and means worked out here
 * once more.
 */
#include "model/model.h"
#include "model/overlay.h"
#include "model/segments.h"
#include "support/invent.h"
#include "support/random.h"
#include "support/support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SEGMENTS = 5 };
static const enum segment_class classes[SEGMENTS] = {
	SEG_STRAIGHT, SEG_FAST, SEG_SLOW, SEG_STRAIGHT, SEG_FAST};
/* Effect of the first adjustable (range to its end) in each segment: s, then % per lap. */
static const double effect[2][SEGMENTS] = {
	{0.10, -0.30, 0, 0.05, -0.20}, {0, -0.03, 0.01, 0, -0.02}};
static const double base[2][SEGMENTS] = {{20, 15, 10, 25, 20}, {0.1, 0.8, 0.3, 0.1, 0.7}};

static void add_circuit(struct book *b)
{
	struct circuit *c = &b->circuit;
	snprintf(c->id, sizeof c->id, "nowhere");
	c->n_segments = SEGMENTS;
	c->segments = calloc(SEGMENTS, sizeof *c->segments);
	ck_assert_ptr_nonnull(c->segments);
	for (int i = 0; i < SEGMENTS; i++) {
		struct segment *s = &c->segments[i];
		snprintf(s->id, sizeof s->id, "s%d", i + 1);
		s->cls = classes[i];
		s->length = 500;
		s->time_share = base[0][i] / 90;
		s->wear_share = base[1][i] / 2;
	}
}

/* A lap whose figures are the sums of its segments'. noise 0: exact. */
static void drive_lap(
	struct run *r, double x, double run_error, double noise, struct random *random)
{
	struct lap *l = invent_lap(r, 0);
	l->n_segments = SEGMENTS;
	l->segments = calloc(SEGMENTS, sizeof *l->segments);
	ck_assert_ptr_nonnull(l->segments);
	l->has_wear[0] = true;
	for (int i = 0; i < SEGMENTS; i++) {
		struct lap_segment *s = &l->segments[i];
		s->has_time = s->has_wear[0] = true;
		s->time = base[0][i] + effect[0][i] * x + run_error + noise * random_normal(random);
		s->wear[0] = base[1][i] + effect[1][i] * x + 0.1 * noise * random_normal(random);
		l->time += s->time;
		l->wear[0] += s->wear[0];
	}
}

static void drive_book(struct book *b, size_t runs, size_t laps, double noise, unsigned seed)
{
	struct random random = random_seeded(seed);
	invent_book(b, 0, 2, 1);
	add_circuit(b);
	for (size_t i = 0; i < runs; i++) {
		char id[32];
		snprintf(id, sizeof id, "r%02zu", i);
		struct run *r = invent_run(b, id);
		const struct adjustable *a = b->car.adjustables;
		const fix at[3] = {a[0].min, 0, a[0].max};
		r->values[0] = at[i % 3];
		const double x = (double)((int)(i % 3) - 1);
		const double run_error = 0.3 * noise * random_normal(&random);
		for (size_t j = 0; j < laps; j++)
			drive_lap(r, x, run_error, noise, &random);
	}
}

static struct model *fit(struct book *b)
{
	struct err err = {0};
	b->curvature_off = true;
	struct model *m = model_new(b, &err);
	ck_assert_msg(m != NULL, "%s", err.text);
	return m;
}

static double truth(enum segment_class cls, size_t response)
{
	double sum = 0;
	for (int i = 0; i < SEGMENTS; i++)
		sum += classes[i] == cls ? effect[response][i] : 0;
	return sum;
}

START_TEST(exact_laps_give_the_truth)
{
	struct book b;
	drive_book(&b, 6, 3, 0, 1);
	struct model *m = fit(&b);
	ck_assert_ptr_nonnull(m->segments);
	ck_assert_uint_eq(m->segments->n, 3);
	for (size_t i = 0; i < 3; i++)
		for (size_t k = 0; k < 2; k++) {
			struct estimate e = segments_effect(m, i, k, 0, b.runs[0].values);
			ck_assert(e.known);
			ck_assert_double_eq_tol(e.value, truth(m->segments->v[i].cls, k), 1e-9);
			e = segments_delta(m, i, k, b.runs[2].values, b.runs[0].values);
			ck_assert_double_eq_tol(e.value, 2 * truth(m->segments->v[i].cls, k), 1e-9);
		}
	/* The second adjustable never moved. */
	ck_assert(!segments_effect(m, 0, 0, 1, b.runs[0].values).known);
	model_free(m);
	book_free(&b);
}
END_TEST

/* With one lap a run the fits are least squares, which is linear: the classes' coefficients add
 * up to the lap's. */
START_TEST(classes_add_up_to_the_lap)
{
	struct book b;
	drive_book(&b, 12, 1, 0.2, 7);
	struct model *m = fit(&b);
	for (size_t k = 0; k < 2; k++) {
		double sum = 0;
		for (size_t i = 0; i < m->segments->n; i++)
			sum += segments_delta(m, i, k, b.runs[2].values, b.runs[0].values).value;
		double lap = model_delta(m, k, b.runs[2].values, b.runs[0].values).value;
		ck_assert_double_eq_tol(sum, lap, 1e-9);
	}
	model_free(m);
	book_free(&b);
}
END_TEST

START_TEST(words_say_where_it_works)
{
	struct book b;
	char words[300];
	drive_book(&b, 12, 5, 0.02, 11);
	struct model *m = fit(&b);
	segments_words(m, RESPONSE_TIME, 0, b.runs[0].values, words, sizeof words);
	ck_assert_msg(strstr(words, "costs on straights (+0.1"), "%s", words);
	ck_assert_msg(strstr(words, "gains in fast corners (-0."), "%s", words);
	ck_assert_msg(strstr(words, "elsewhere can't tell"), "%s", words);
	segments_words(m, 1, 0, b.runs[0].values, words, sizeof words);
	ck_assert_msg(strstr(words, "saves in fast corners"), "%s", words);
	segments_words(m, RESPONSE_TIME, 1, b.runs[0].values, words, sizeof words);
	ck_assert_str_eq(words, "not tested where on the lap");
	model_free(m);
	book_free(&b);
}
END_TEST

/* 95 % intervals of a class hold the truth about as often as they say. */
START_TEST(intervals_hold_the_truth)
{
	int in = 0, all = 0, books = test_quick() ? 60 : 300;
	for (int s = 0; s < books; s++) {
		struct book b;
		drive_book(&b, 9, 4, 0.1, 100 + (unsigned)s);
		struct model *m = fit(&b);
		for (size_t i = 0; i < m->segments->n; i++) {
			struct estimate e = segments_effect(m, i, 0, 0, b.runs[0].values);
			double t = truth(m->segments->v[i].cls, 0);
			in += e.low <= t && t <= e.high;
			all++;
		}
		model_free(m);
		book_free(&b);
	}
	const double share = (double)in / all, half = 4 * sqrt(0.95 * 0.05 / books);
	ck_assert_msg(fabs(share - 0.95) < half, "%d of %d", in, all);
}
END_TEST

START_TEST(without_segments_nothing_is_told)
{
	struct book b;
	char words[100];
	drive_book(&b, 6, 2, 0.1, 3);
	for (size_t i = 0; i < b.n_runs; i++)
		for (size_t j = 0; j < b.runs[i].n_laps; j++) {
			free(b.runs[i].laps[j].segments);
			b.runs[i].laps[j].segments = NULL;
		}
	struct model *m = fit(&b);
	ck_assert_ptr_null(m->segments);
	ck_assert_str_eq(segments_words(m, 0, 0, b.runs[0].values, words, sizeof words), "");
	ck_assert(!segments_effect(m, 0, 0, 0, b.runs[0].values).known);
	model_free(m);
	book_free(&b);
}
END_TEST

/* --- two runs ---------------------------------------------------------------- */

static double sum_of(const double *v)
{
	double sum = 0;
	for (int i = 0; i < SEGMENTS; i++)
		sum += v[i];
	return sum;
}

static void lay(struct overlay *o, const struct book *b)
{
	struct err err = {0};
	ck_assert_msg(overlay_make(o, b, &b->runs[0], &b->runs[2], &err), "%s", err.text);
	for (size_t k = 0; k < 2; k++) {
		double worst = INFINITY;
		for (int s = 0; s < 2; s++)
			ck_assert_double_eq_tol(
				sum_of(o->by[k].side[s].value), o->by[k].side[s].lap, 1e-9);
		ck_assert_double_eq_tol(sum_of(o->by[k].difference), o->by[k].lap, 1e-9);
		bool measured = true;
		for (size_t i = 0; i < o->n; i++) {
			const size_t at = o->by[k].order[i];
			const bool now = overlay_is_measured(o, k, at);
			ck_assert(!now || measured); /* measured ones first */
			worst = now != measured ? INFINITY : worst;
			measured = now;
			ck_assert(fabs(o->by[k].difference[at]) <= worst);
			worst = fabs(o->by[k].difference[at]);
		}
	}
}

START_TEST(measured_runs_are_laid_over_each_other)
{
	struct book b;
	struct overlay o;
	char words[100];
	drive_book(&b, 3, 4, 0.1, 5);
	lay(&o, &b);
	for (size_t i = 0; i < SEGMENTS; i++) {
		double mean[2] = {0, 0}, var[2] = {0, 0};
		for (int s = 0; s < 2; s++) {
			const struct run *r = &b.runs[2 * s];
			for (size_t j = 0; j < 4; j++)
				mean[s] += r->laps[j].segments[i].time / 4;
			for (size_t j = 0; j < 4; j++)
				var[s] += pow(r->laps[j].segments[i].time - mean[s], 2) / 3 / 4;
		}
		ck_assert_double_eq_tol(o.by[0].difference[i], mean[1] - mean[0], 1e-12);
		ck_assert_double_eq_tol(o.by[0].se[i], sqrt(var[0] + var[1]), 1e-12);
		ck_assert(overlay_is_measured(&o, 0, i));
	}
	ck_assert_str_eq(
		overlay_source_words(&o.by[0].side[0], words, sizeof words), "measured on 4 laps");
	overlay_free(&o);
	book_free(&b);
}
END_TEST

START_TEST(shares_are_never_called_measured)
{
	struct book b;
	struct overlay o;
	char words[100];
	drive_book(&b, 3, 4, 0.1, 6);
	for (size_t j = 0; j < 4; j++) {
		free(b.runs[2].laps[j].segments);
		b.runs[2].laps[j].segments = NULL;
	}
	lay(&o, &b);
	ck_assert(o.by[0].has && o.by[0].side[1].source == OVERLAY_SPREAD);
	ck_assert_str_eq(overlay_source_words(&o.by[0].side[1], words, sizeof words),
		"spread by the circuit's shares, not measured (4 laps)");
	for (size_t i = 0; i < SEGMENTS; i++) {
		ck_assert(!overlay_is_measured(&o, 0, i) && isnan(o.by[0].se[i]));
		ck_assert_double_eq_tol(o.by[0].side[1].value[i],
			o.by[0].side[1].lap * b.circuit.segments[i].time_share, 1e-9);
	}
	overlay_free(&o);
	book_free(&b);
}
END_TEST

START_TEST(what_is_given_in_part_stays_measured)
{
	struct book b;
	struct overlay o;
	drive_book(&b, 3, 4, 0.1, 8);
	for (size_t j = 0; j < 4; j++) {
		b.runs[2].laps[j].segments[1].has_time = false;
		b.runs[2].laps[j].segments[4].has_time = false;
	}
	b.runs[2].laps[2].segments[0].has_time = false; /* missing on one lap only */
	lay(&o, &b);
	ck_assert(o.by[0].side[1].source == OVERLAY_PARTLY &&
		  o.by[1].side[1].source == OVERLAY_MEASURED);
	ck_assert(!overlay_is_measured(&o, 0, 0) && !overlay_is_measured(&o, 0, 1));
	ck_assert(overlay_is_measured(&o, 0, 2) && overlay_is_measured(&o, 0, 3));
	ck_assert(overlay_is_measured(&o, 1, 1));
	/* No fit of a class where a lap lacks one of its segments. */
	struct model *m = fit(&b);
	for (size_t i = 0; i < m->segments->n; i++)
		if (m->segments->v[i].cls == SEG_FAST)
			ck_assert_uint_eq(m->segments->v[i].by[0].n_obs, 8);
	model_free(m);
	overlay_free(&o);
	book_free(&b);
}
END_TEST

START_TEST(no_segments_no_overlay)
{
	struct book b;
	struct overlay o;
	struct err err = {0};
	drive_book(&b, 3, 1, 0.1, 9);
	size_t n = b.circuit.n_segments;
	b.circuit.n_segments = 0;
	ck_assert(!overlay_make(&o, &b, &b.runs[0], &b.runs[1], &err));
	ck_assert_msg(strstr(err.text, "has no segments"), "%s", err.text);
	b.circuit.n_segments = n;
	b.runs[0].laps[0].skip = text_dup("rain", 4);
	ck_assert(overlay_make(&o, &b, &b.runs[0], &b.runs[1], &err));
	ck_assert(!o.by[0].has && o.by[0].side[0].source == OVERLAY_NONE);
	overlay_free(&o);
	book_free(&b);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("segments");
	TCase *t = tcase_create("classes");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, exact_laps_give_the_truth);
	tcase_add_test(t, classes_add_up_to_the_lap);
	tcase_add_test(t, words_say_where_it_works);
	tcase_add_test(t, intervals_hold_the_truth);
	tcase_add_test(t, without_segments_nothing_is_told);
	suite_add_tcase(s, t);
	t = tcase_create("two runs");
	tcase_add_test(t, measured_runs_are_laid_over_each_other);
	tcase_add_test(t, shares_are_never_called_measured);
	tcase_add_test(t, what_is_given_in_part_stays_measured);
	tcase_add_test(t, no_segments_no_overlay);
	suite_add_tcase(s, t);
	return s;
}
