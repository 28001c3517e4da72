#include "family.h"

#include "invent.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LAPS = 5 };

/* Plackett & Burman (1946), 12 runs: the first row turned round, then all low. */
static int screening(size_t run, size_t factor)
{
	static const int row[11] = {1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1};
	return run == 11 ? -1 : row[(factor + 11 - run) % 11];
}

/* A move of one factor in steps: p0 in common, p0 apart, s0... */
static void move(struct book *b, struct run *r, size_t factor, int steps)
{
	const size_t front = invent_at(b, "p0-front"), rear = invent_at(b, "p0-rear");
	char id[8];
	if (factor < 2) {
		r->values[front] += steps * FIX_ONE;
		r->values[rear] += (factor ? -steps : steps) * FIX_ONE;
		return;
	}
	snprintf(id, sizeof id, "s%zu", factor - 2);
	r->values[invent_at(b, id)] += steps * FIX_ONE;
}

/* A circuit: base figures, classes by share, effects in each by coordinate in s or % per lap. */
struct track {
	double base[2];
	size_t classes; /* 1: no segments */
	double mix[FAMILY_CLASSES];
	double truth[2][FAMILY_CLASSES][FAMILY_TERMS];
};

static const double usual[2] = {0.004, 0.06};
static const double run_noise[2] = {6e-4, 0.012}, lap_noise[2] = {1.5e-3, 0.02};

/* A lap's figures by class; a run's scatter goes with the classes' shares, a lap's with their
 * roots, so that whole laps scatter alike whatever the mix. */
static void add_lap(
	struct run *r, const struct track *t, double figure[2][FAMILY_CLASSES], struct random *rnd)
{
	struct lap *l = invent_lap(r, 0);
	l->has_wear[0] = true;
	if (t->classes > 1) {
		l->segments = calloc(t->classes, sizeof *l->segments);
		ck_assert(l->segments != NULL);
		l->n_segments = t->classes;
	}
	for (int y = 0; y < 2; y++)
		for (size_t c = 0; c < t->classes; c++) {
			const double now = figure[y][c] + t->base[y] * lap_noise[y] *
								  sqrt(t->mix[c]) *
								  random_normal(rnd);
			*(y ? &l->wear[0] : &l->time) += now;
			if (t->classes == 1)
				continue;
			struct lap_segment *g = &l->segments[c];
			*(y ? &g->wear[0] : &g->time) = now;
			*(y ? &g->has_wear[0] : &g->has_time) = true;
		}
}

/* Coordinates are the moves over ten steps: half the limits' width. */
static void drive(struct run *r, const double *x, const struct track *t, struct random *rnd)
{
	double figure[2][FAMILY_CLASSES];
	for (int y = 0; y < 2; y++) {
		const double noise = t->base[y] * run_noise[y] * random_normal(rnd);
		for (size_t c = 0; c < t->classes; c++) {
			figure[y][c] = t->mix[c] * (t->base[y] + noise);
			for (size_t k = 0; k < FAMILY_TERMS; k++)
				figure[y][c] += t->truth[y][c][k] * x[k];
		}
	}
	for (int k = 0; k < LAPS; k++)
		add_lap(r, t, figure, rnd);
}

static void add_run(
	struct book *b, size_t n, const int *steps, const struct track *t, struct random *rnd)
{
	char id[16];
	double x[FAMILY_TERMS];
	snprintf(id, sizeof id, "r%02zu", n);
	struct run *r = invent_run(b, id);
	for (size_t k = 0; k < FAMILY_TERMS; k++) {
		move(b, r, k, steps[k]);
		x[k] = steps[k] / 10.0;
	}
	drive(r, x, t, rnd);
}

static void screening_run(int *steps, size_t k)
{
	for (size_t t = 0; t < FAMILY_TERMS; t++)
		steps[t] = 5 * screening(k, t);
}

/* The circuit itself: classes that it has none of keep their place with a share of nought. */
static void lay_circuit(struct book *b, struct track *t, const double *mix)
{
	static const enum segment_class cls[FAMILY_CLASSES] = {SEG_FAST, SEG_SLOW, SEG_STRAIGHT};
	double all = 0;
	for (size_t c = 0; c < FAMILY_CLASSES; c++)
		all += mix[c];
	t->classes = all > 0 ? FAMILY_CLASSES : 1;
	t->mix[0] = 1;
	if (!(all > 0))
		return;
	b->circuit.segments = calloc(FAMILY_CLASSES, sizeof *b->circuit.segments);
	ck_assert(b->circuit.segments != NULL);
	b->circuit.n_segments = FAMILY_CLASSES;
	for (size_t c = 0; c < FAMILY_CLASSES; c++) {
		t->mix[c] = mix[c] / all;
		b->circuit.segments[c] = (struct segment){.cls = cls[c],
			.length = 1000,
			.time_share = t->mix[c],
			.wear_share = t->mix[c]};
	}
}

static void draw_track(const struct family *f, double spread, struct random *rnd, struct track *t)
{
	t->base[0] = 75 + 40 * random_uniform(rnd);
	t->base[1] = 1.6 + 1.6 * random_uniform(rnd);
	for (int y = 0; y < 2; y++)
		for (size_t k = 0; k < FAMILY_TERMS; k++) {
			const double off = spread * usual[y] * random_normal(rnd);
			for (size_t c = 0; c < t->classes; c++)
				t->truth[y][c][k] =
					t->base[y] * t->mix[c] * (f->shares[y][c][k] + off);
		}
}

static struct book *old_book(
	const struct family *f, const struct family_plan *p, const double *mix, struct random *rnd)
{
	struct book *b = malloc(sizeof *b);
	struct track t = {0};
	ck_assert(b != NULL);
	invent_book(b, 1, 4, 1);
	b->curvature_off = true;
	lay_circuit(b, &t, mix);
	draw_track(f, p->spread, rnd, &t);
	for (int y = 0; p->wrong_sign && y < 2; y++)
		for (size_t c = 0; c < t.classes; c++)
			t.truth[y][c][2] = -t.truth[y][c][2];
	for (size_t i = 0; i < 16; i++) {
		int steps[FAMILY_TERMS] = {0};
		if (i % 4)
			screening_run(steps, i - i / 4 - 1);
		add_run(b, i, steps, &t, rnd);
	}
	return b;
}

/* Effects of all circuits. */
static void draw_shares(struct family *f, const struct family_plan *p, struct random *rnd)
{
	for (size_t t = 0; t < FAMILY_TERMS; t++)
		for (int y = 0; y < 2; y++) {
			const double common = usual[y] * random_normal(rnd);
			for (size_t c = 0; c < FAMILY_CLASSES; c++)
				f->shares[y][c][t] =
					p->by_class > 0 ? sqrt(1 - p->by_class) * common +
								  sqrt(p->by_class) * usual[y] *
									  random_normal(rnd)
							: common;
		}
	for (size_t c = 0; p->wrong_sign && c < FAMILY_CLASSES; c++) { /* large enough to matter */
		f->shares[0][c][2] = 0.006;
		f->shares[1][c][2] = -0.09;
	}
}

static void drive_here(struct family *f, const struct family_plan *p, struct random *rnd)
{
	struct track t = {0};
	lay_circuit(&f->here, &t, p->here);
	draw_track(f, p->spread, rnd, &t);
	for (int y = 0; y < 2; y++)
		for (size_t c = 0; c < t.classes; c++)
			for (size_t k = 0; k < FAMILY_TERMS; k++)
				f->truth[y][k] += t.truth[y][c][k];
	for (size_t i = 0; i < p->runs_here; i++) {
		int steps[FAMILY_TERMS] = {0};
		if (i == 2 || i == 3)
			steps[i] = 5;
		else if (i > 3 && i % 4)
			screening_run(steps, (i - i / 4 - 3) % 12);
		add_run(&f->here, i, steps, &t, rnd);
	}
}

void family_make(struct family *f, const struct family_plan *p, struct random *rnd)
{
	memset(f, 0, sizeof *f);
	draw_shares(f, p, rnd);
	invent_book(&f->here, 1, 4, 1);
	f->here.curvature_off = true;
	drive_here(f, p, rnd);
	f->here.borrow = calloc(p->old_books + 1, sizeof *f->here.borrow);
	ck_assert(f->here.borrow != NULL);
	for (size_t i = 0; i < p->old_books; i++) {
		struct borrow *w = &f->here.borrow[f->here.n_borrow++];
		w->trust = 1;
		w->path = strdup("../old");
		w->book = old_book(f, p, p->old[i % FAMILY_OLD], rnd);
	}
}

void family_free(struct family *f)
{
	book_free(&f->here);
}
