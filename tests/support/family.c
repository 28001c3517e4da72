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

/* Coordinates are the moves over ten steps: half the limits' width. */
static void drive(struct book *b, struct run *r, const double *x, double base_time,
	double base_wear, double truth[2][FAMILY_TERMS], struct random *rnd)
{
	double time = base_time + base_time * 6e-4 * random_normal(rnd);
	double wear = base_wear + base_wear * 0.012 * random_normal(rnd);
	for (size_t t = 0; t < FAMILY_TERMS; t++) {
		time += truth[0][t] * x[t];
		wear += truth[1][t] * x[t];
	}
	for (int k = 0; k < LAPS; k++) {
		struct lap *l = invent_lap(r, time + base_time * 1.5e-3 * random_normal(rnd));
		l->has_wear[0] = true;
		l->wear[0] = wear + base_wear * 0.02 * random_normal(rnd);
	}
	(void)b;
}

static void add_run(struct book *b, size_t n, const int *steps, double base_time, double base_wear,
	double truth[2][FAMILY_TERMS], struct random *rnd)
{
	char id[16];
	double x[FAMILY_TERMS];
	snprintf(id, sizeof id, "r%02zu", n);
	struct run *r = invent_run(b, id);
	for (size_t t = 0; t < FAMILY_TERMS; t++) {
		move(b, r, t, steps[t]);
		x[t] = steps[t] / 10.0;
	}
	drive(b, r, x, base_time, base_wear, truth, rnd);
}

static void screening_run(int *steps, size_t k)
{
	for (size_t t = 0; t < FAMILY_TERMS; t++)
		steps[t] = 5 * screening(k, t);
}

static void draw_truth(const struct family *f, double spread, const double *base,
	struct random *rnd, double truth[2][FAMILY_TERMS])
{
	static const double usual[2] = {0.004, 0.06};
	for (int y = 0; y < 2; y++)
		for (size_t t = 0; t < FAMILY_TERMS; t++)
			truth[y][t] = base[y] *
				      (f->shares[y][t] + spread * usual[y] * random_normal(rnd));
}

static struct book *old_book(
	const struct family *f, const struct family_plan *p, struct random *rnd)
{
	struct book *b = malloc(sizeof *b);
	ck_assert(b != NULL);
	invent_book(b, 1, 4, 1);
	b->curvature_off = true;
	const double base[2] = {75 + 40 * random_uniform(rnd), 1.6 + 1.6 * random_uniform(rnd)};
	double truth[2][FAMILY_TERMS];
	draw_truth(f, p->spread, base, rnd, truth);
	for (int y = 0; p->wrong_sign && y < 2; y++)
		truth[y][2] = -truth[y][2];
	for (size_t i = 0; i < 16; i++) {
		int steps[FAMILY_TERMS] = {0};
		if (i % 4)
			screening_run(steps, i - i / 4 - 1);
		add_run(b, i, steps, base[0], base[1], truth, rnd);
	}
	return b;
}

void family_make(struct family *f, const struct family_plan *p, struct random *rnd)
{
	memset(f, 0, sizeof *f);
	for (size_t t = 0; t < FAMILY_TERMS; t++) {
		f->shares[0][t] = 0.004 * random_normal(rnd);
		f->shares[1][t] = 0.06 * random_normal(rnd);
	}
	if (p->wrong_sign) { /* large enough to matter */
		f->shares[0][2] = 0.006;
		f->shares[1][2] = -0.09;
	}
	invent_book(&f->here, 1, 4, 1);
	f->here.curvature_off = true;
	const double base[2] = {75 + 40 * random_uniform(rnd), 1.6 + 1.6 * random_uniform(rnd)};
	draw_truth(f, p->spread, base, rnd, f->truth);
	for (size_t i = 0; i < p->runs_here; i++) {
		int steps[FAMILY_TERMS] = {0};
		if (i == 2 || i == 3)
			steps[i] = 5;
		else if (i > 3 && i % 4)
			screening_run(steps, (i - i / 4 - 3) % 12);
		add_run(&f->here, i, steps, base[0], base[1], f->truth, rnd);
	}
	f->here.borrow = calloc(p->old_books + 1, sizeof *f->here.borrow);
	ck_assert(f->here.borrow != NULL);
	for (size_t i = 0; i < p->old_books; i++) {
		struct borrow *w = &f->here.borrow[f->here.n_borrow++];
		w->trust = 1;
		w->path = strdup("../old");
		w->book = old_book(f, p, rnd);
	}
}

void family_free(struct family *f)
{
	book_free(&f->here);
}
