/*
 * Borrowing per segment class: small invented circuits against least squares and generalised least
 * squares written out with dense matrices, and against the classes' own fits.
 */
#include "model/borrow.h"
#include "model/segments.h"
#include "support/invent.h"
#include "support/random.h"
#include "support/small_book.h"
#include "support/support.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { RUNS = 10, P = 3 }; /* intercept, s0, s1 */

struct piece {
	enum segment_class cls;
	double time, wear;
	double s0; /* what s0 does there, share of the time; of the wear -10 times that */
};

static void close_to(double a, double b, double size, double tol)
{
	ck_assert_msg(fabs(a - b) <= tol * fabs(size), "%.15g, wanted %.15g", a, b);
}

static void lay_circuit(struct book *b, const struct piece *s, size_t n)
{
	double time = 0, wear = 0;
	b->circuit.n_segments = n;
	b->circuit.segments = calloc(n + 1, sizeof *b->circuit.segments);
	ck_assert(b->circuit.segments != NULL);
	for (size_t i = 0; i < n; i++) {
		time += s[i].time;
		wear += s[i].wear;
	}
	for (size_t i = 0; i < n; i++)
		b->circuit.segments[i] = (struct segment){.cls = s[i].cls,
			.length = 500,
			.time_share = s[i].time / time,
			.wear_share = s[i].wear / wear};
}

/* Effects are shares of the segment's base: s0 as the piece says, s1 alike everywhere. The first
 * `with` runs have figures of segments. */
static void drive(struct book *b, const struct piece *s, size_t n, size_t runs, size_t with,
	struct random *rnd)
{
	static const int at[RUNS][2] = {{0, 0}, {5, 5}, {-5, 5}, {5, -5}, {-5, -5}, {0, 0}, {5, 0},
		{0, 5}, {-5, 0}, {0, -5}};
	for (size_t i = 0; i < runs; i++) {
		char id[24];
		snprintf(id, sizeof id, "r%02zu", i);
		struct run *r = invent_run(b, id);
		r->values[0] = at[i][0] * FIX_ONE;
		r->values[1] = at[i][1] * FIX_ONE;
		struct lap *l = invent_lap(r, 0);
		l->has_wear[0] = true;
		l->segments = i < with ? calloc(n, sizeof *l->segments) : NULL;
		ck_assert(i >= with || l->segments != NULL);
		l->n_segments = i < with ? n : 0;
		for (size_t k = 0; k < n; k++) {
			const double time = s[k].time * (1 + s[k].s0 * at[i][0] / 10.0 +
								0.004 * at[i][1] / 10.0 +
								1e-4 * random_normal(rnd));
			const double wear = s[k].wear * (1 - 10 * s[k].s0 * at[i][0] / 10.0 -
								0.05 * at[i][1] / 10.0 +
								1e-3 * random_normal(rnd));
			l->time += time;
			l->wear[0] += wear;
			if (i < with)
				l->segments[k] = (struct lap_segment){.has_time = true,
					.has_wear = {true},
					.time = time,
					.wear = {wear}};
		}
	}
}

static void bare_book(struct book *b, const struct piece *s, size_t n)
{
	invent_book(b, 0, 2, 1);
	b->curvature_off = true;
	b->exchange[0] = (struct opt_num){true, 0.8};
	lay_circuit(b, s, n);
	b->borrow = calloc(4, sizeof *b->borrow);
	ck_assert(b->borrow != NULL);
}

static struct book *old_book(const struct piece *s, size_t n, size_t with, struct random *rnd)
{
	struct book *b = malloc(sizeof *b);
	ck_assert(b != NULL);
	bare_book(b, s, n);
	drive(b, s, n, RUNS, with, rnd);
	return b;
}

/* Three laps of the base sheet; borrows with a spread of nought. */
static void new_book(struct book *b, const struct piece *s, size_t n)
{
	bare_book(b, s, n);
	for (size_t i = 0; i < 3; i++) {
		struct lap *l = invent_lap(invent_run(b, i == 0   ? "a"
							 : i == 1 ? "b"
								  : "c"),
			80 + 0.1 * (double)i);
		l->has_wear[0] = true;
		l->wear[0] = 2 + 0.01 * (double)i;
	}
}

static void lend(struct book *b, struct book *old)
{
	struct borrow *w = &b->borrow[b->n_borrow++];
	w->trust = 1;
	w->path = strdup("../old");
	w->book = old;
	w->spread = (struct opt_num){true, 0};
}

static struct model *fit(const struct book *b)
{
	struct err err;
	err_clear(&err);
	struct model *m = model_new(b, &err);
	ck_assert_msg(m != NULL, "%s", err.text);
	return m;
}

static bool says(const struct model *m, const char *words)
{
	for (size_t i = 0; i < m->borrowing->n_notes; i++)
		if (strstr(m->borrowing->notes[i], words))
			return true;
	return false;
}

static gsl_matrix *inverse(const gsl_matrix *a)
{
	gsl_matrix *m = gsl_matrix_alloc(a->size1, a->size1);
	gsl_matrix_memcpy(m, a);
	ck_assert_int_eq(gsl_linalg_cholesky_decomp1(m), 0);
	ck_assert_int_eq(gsl_linalg_cholesky_invert(m), 0);
	return m;
}

/* Least squares of each class by the normal equations. */
struct dense {
	double b[SEG_CLASSES][P];           /* coefficients */
	double s[SEG_CLASSES][SEG_CLASSES]; /* residual products over RUNS - P */
	double c[P][P];                     /* (X'X)^-1 */
};

static double class_figure(const struct book *b, size_t run, int cls, size_t slot)
{
	const struct lap *l = b->runs[run].laps;
	double sum = 0;
	for (size_t i = 0; i < l->n_segments; i++)
		if ((int)b->circuit.segments[i].cls == cls)
			sum += slot ? l->segments[i].wear[0] : l->segments[i].time;
	return sum;
}

static void solve(const struct book *b, size_t slot, struct dense *d)
{
	double x[RUNS][P], res[SEG_CLASSES][RUNS];
	gsl_matrix *a = gsl_matrix_calloc(P, P);
	memset(d, 0, sizeof *d);
	for (size_t i = 0; i < RUNS; i++) {
		x[i][0] = 1;
		for (size_t j = 0; j < 2; j++)
			x[i][1 + j] = fix_to_double(b->runs[i].values[j]) / 10;
		for (size_t j = 0; j < P; j++)
			for (size_t k = 0; k < P; k++)
				*gsl_matrix_ptr(a, j, k) += x[i][j] * x[i][k];
	}
	gsl_matrix *inv = inverse(a);
	for (size_t j = 0; j < P; j++)
		for (size_t k = 0; k < P; k++)
			d->c[j][k] = gsl_matrix_get(inv, j, k);
	for (int c = 0; c < SEG_CLASSES; c++)
		for (size_t i = 0; i < RUNS; i++)
			for (size_t j = 0; j < P; j++)
				for (size_t k = 0; k < P; k++)
					d->b[c][j] +=
						d->c[j][k] * x[i][k] * class_figure(b, i, c, slot);
	for (int c = 0; c < SEG_CLASSES; c++)
		for (size_t i = 0; i < RUNS; i++) {
			res[c][i] = class_figure(b, i, c, slot);
			for (size_t j = 0; j < P; j++)
				res[c][i] -= d->b[c][j] * x[i][j];
		}
	for (int c = 0; c < SEG_CLASSES; c++)
		for (int e = 0; e < SEG_CLASSES; e++)
			for (size_t i = 0; i < RUNS; i++)
				d->s[c][e] += res[c][i] * res[e][i] / (RUNS - P);
	gsl_matrix_free(a);
	gsl_matrix_free(inv);
}

/* Shares of the new circuit's lap by class: effects and covariance of what the old book tells. */
static void carry(const struct dense *d, const struct book *here, size_t slot, double *effect,
	double cov[2][2])
{
	double w[SEG_CLASSES] = {0}, s = 0;
	for (size_t i = 0; i < here->circuit.n_segments; i++) {
		const struct segment *g = &here->circuit.segments[i];
		if (d->b[g->cls][0] > 0)
			w[g->cls] += (slot ? g->wear_share : g->time_share) / d->b[g->cls][0];
	}
	effect[0] = effect[1] = 0;
	for (int c = 0; c < SEG_CLASSES; c++)
		for (size_t j = 0; j < 2; j++)
			effect[j] += w[c] * d->b[c][1 + j];
	for (int c = 0; c < SEG_CLASSES; c++)
		for (int e = 0; e < SEG_CLASSES; e++)
			s += w[c] * w[e] * d->s[c][e];
	for (size_t j = 0; j < 2; j++)
		for (size_t k = 0; k < 2; k++)
			cov[j][k] = s * d->c[1 + j][1 + k];
}

/* s0 works in fast corners alone. */
#define FAST(time, wear)                                                                           \
	{                                                                                          \
		SEG_FAST, time, wear, -0.02                                                        \
	}
#define SLOW(time, wear)                                                                           \
	{                                                                                          \
		SEG_SLOW, time, wear, 0                                                            \
	}
static const struct piece half[] = {FAST(40, 1.2), SLOW(30, 0.5), SLOW(10, 0.3)};
static const struct piece slow[] = {SLOW(72, 1.5), FAST(8, 0.5)};
static const struct piece fast[] = {FAST(50, 1.5), FAST(30, 0.5)};

/* Half fast, then a tenth fast: what works in fast corners alone shrinks by the ratio. */
START_TEST(mix_changes)
{
	struct random rnd = random_seeded(41);
	struct book here;
	new_book(&here, slow, 2);
	lend(&here, old_book(half, 3, RUNS, &rnd));
	struct model *m = fit(&here), *old = fit(here.borrow[0].book);
	ck_assert(says(m,
		"lap time, wear car from ../old per segment class: in slow corners, in fast "
		"corners"));
	ck_assert(!says(m, "nothing of"));
	for (size_t slot = 0; slot < 2; slot++) {
		const struct prior *p = &m->borrowing->prior[slot];
		struct dense d;
		double effect[2], cov[2][2];
		solve(here.borrow[0].book, slot, &d);
		carry(&d, &here, slot, effect, cov);
		ck_assert_uint_eq(p->n_classed, 1);
		for (size_t j = 0; j < 2; j++) {
			const struct estimate e = borrow_term(p, TERM_LINEAR, (int)j, 0);
			ck_assert(e.known);
			close_to(e.value / p->base, effect[j], effect[j], 1e-9);
			close_to(e.se / p->base, sqrt(cov[j][j]), sqrt(cov[j][j]), 1e-9);
			double sum = 0; /* the classes' own fits say the same */
			for (size_t i = 0; i < old->segments->n; i++) {
				const struct response *r = &old->segments->v[i].by[slot];
				for (size_t k = 0; k < here.circuit.n_segments; k++)
					if (here.circuit.segments[k].cls == old->segments->v[i].cls)
						sum += (slot ? here.circuit.segments[k].wear_share
							     : here.circuit.segments[k]
									       .time_share) *
						       r->b[1 + j] / r->b[0];
			}
			close_to(e.value / p->base, sum, sum, 1e-9);
		}
		/* Per lap it was 0.5 or 0.6 of the fast corners' effect, here it is a tenth or a
		 * fourth. */
		const struct response *lap = &old->responses[slot];
		const double ratio =
			borrow_term(p, TERM_LINEAR, 0, 0).value / p->base / (lap->b[1] / lap->b[0]);
		close_to(ratio, slot ? 0.25 / 0.6 : 0.1 / 0.5, 1, 0.05);
	}
	model_free(old);
	model_free(m);
	book_free(&here);
}
END_TEST

/* On a circuit of the same mix all slots say what whole laps say, like-for-like too. */
START_TEST(same_mix)
{
	struct random rnd = random_seeded(42);
	struct book here;
	struct dense d[2];
	new_book(&here, half, 3);
	struct book *o = old_book(half, 3, RUNS, &rnd);
	lend(&here, o);
	solve(o, 0, &d[0]);
	solve(o, 1, &d[1]);
	struct piece fitted[2] = {{SEG_FAST, d[0].b[SEG_FAST][0], d[1].b[SEG_FAST][0], 0},
		{SEG_SLOW, d[0].b[SEG_SLOW][0], d[1].b[SEG_SLOW][0], 0}};
	free(here.circuit.segments);
	lay_circuit(&here, fitted, 2);
	struct model *m = fit(&here);
	for (size_t i = 0; i < o->n_runs; i++)
		o->runs[i].laps[0].n_segments = 0;
	for (size_t i = 0; i < o->n_runs; i++) {
		free(o->runs[i].laps[0].segments);
		o->runs[i].laps[0].segments = NULL;
	}
	struct model *laps = fit(&here);
	ck_assert(says(laps, "its laps have no segment figures"));
	const size_t slots[4] = {0, 1, RESPONSES_MAX, RESPONSES_MAX + CHANNELS_MAX};
	for (size_t i = 0; i < 4; i++) {
		const struct prior *p = &m->borrowing->prior[slots[i]],
				   *q = &laps->borrowing->prior[slots[i]];
		ck_assert(p->n_classed == 1 && q->n_classed == 0 && q->n_books == 1);
		for (int j = 0; j < 2; j++) {
			const struct estimate a = borrow_term(p, TERM_LINEAR, j, 0);
			const struct estimate b = borrow_term(q, TERM_LINEAR, j, 0);
			ck_assert(a.known && b.known);
			close_to(a.value, b.value, b.value, 1e-9);
			close_to(a.se, b.se, b.se, 1e-9);
			close_to(a.df, b.df, b.df, 1e-12);
		}
	}
	model_free(laps);
	model_free(m);
	book_free(&here);
}
END_TEST

/* Variances of what books tell of s0 and s1, and of the classes that they do not tell: `untold[i]`
 * of book i, the same class for all that lack one. The spread between circuits is
 * taken as found. */
static gsl_matrix *joint_scatter(const struct book *here, const struct prior *p, size_t slot,
	const double *untold, double *y)
{
	const size_t n = 2 * here->n_borrow;
	gsl_matrix *v = gsl_matrix_calloc(n, n);
	double most = 0;
	for (size_t i = 0; i < here->n_borrow; i++)
		most = fmax(most, untold[i]);
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < n; k++)
			if (i % 2 == k % 2)
				gsl_matrix_set(v, i, k,
					4 * untold[i / 2] * untold[k / 2] *
						pow(p->size[i % 2] / (1 - most), 2) /
						(i == k ? here->borrow[i / 2].trust : 1));
	for (size_t i = 0; i < here->n_borrow; i++) {
		struct dense d = {0};
		double cov[2][2] = {{0}};
		solve(here->borrow[i].book, slot, &d);
		carry(&d, here, slot, y + 2 * i, cov);
		for (size_t j = 0; j < 2; j++)
			for (size_t k = 0; k < 2; k++)
				*gsl_matrix_ptr(v, 2 * i + j, 2 * i + k) +=
					(cov[j][k] + (j == k ? p->tau[j] * p->tau[j] : 0)) /
					here->borrow[i].trust;
	}
	return v;
}

/* The prior against generalised least squares with block matrices. */
static void check_joint(
	const struct book *here, const struct model *m, size_t slot, const double *untold)
{
	const struct prior *p = &m->borrowing->prior[slot];
	double y[8] = {0}, rhs[2] = {0}, trust = 0;
	gsl_matrix *v = joint_scatter(here, p, slot, untold, y), *w = inverse(v);
	gsl_matrix *a = gsl_matrix_calloc(2, 2);
	for (size_t i = 0; i < w->size1; i++)
		for (size_t k = 0; k < w->size1; k++) {
			*gsl_matrix_ptr(a, i % 2, k % 2) += gsl_matrix_get(w, i, k);
			rhs[i % 2] += gsl_matrix_get(w, i, k) * y[k];
		}
	gsl_matrix *c = inverse(a);
	for (size_t i = 0; i < here->n_borrow; i++)
		trust += here->borrow[i].trust / (double)here->n_borrow;
	for (size_t j = 0; j < 2; j++) {
		const struct estimate e = borrow_term(p, TERM_LINEAR, (int)j, 0);
		const double mean =
			gsl_matrix_get(c, j, 0) * rhs[0] + gsl_matrix_get(c, j, 1) * rhs[1];
		const double se = sqrt(gsl_matrix_get(c, j, j) + p->tau[j] * p->tau[j] / trust);
		close_to(e.value / p->base, mean, se, 1e-9);
		close_to(e.se / p->base, se, se, 1e-9);
	}
	gsl_matrix_free(v);
	gsl_matrix_free(w);
	gsl_matrix_free(a);
	gsl_matrix_free(c);
}

/* Old circuits all fast, the new one nine tenths slow: nothing is known of the slow part, and that
 * two books do not know it makes it no surer. */
START_TEST(class_unseen)
{
	struct random rnd = random_seeded(43);
	for (size_t books = 1; books <= 2; books++) {
		struct book here;
		new_book(&here, slow, 2);
		for (size_t i = 0; i < books; i++)
			lend(&here, old_book(fast, 2, RUNS, &rnd));
		here.borrow[0].trust = 0.5;
		struct model *m = fit(&here);
		ck_assert(says(m, " nothing of 75 to 90 % of the lap here (in slow corners)"));
		for (size_t slot = 0; slot < 2; slot++) {
			const double rest = slot ? 0.75 : 0.9, untold[4] = {rest, rest};
			const struct prior *p = &m->borrowing->prior[slot];
			check_joint(&here, m, slot, untold);
			for (int j = 0; j < 2; j++) {
				const struct estimate e = borrow_term(p, TERM_LINEAR, j, 0);
				ck_assert(
					e.se / p->base > 0.99 * 2 * rest / (1 - rest) * p->size[j]);
				ck_assert(fabs(e.value) < e.se); /* told as good as nothing */
			}
		}
		model_free(m);
		book_free(&here);
	}
}
END_TEST

/* Two old circuits without slow corners, one with, and with straights that are not here. */
START_TEST(partly_shared)
{
	static const struct piece more[] = {
		FAST(30, 0.8), SLOW(30, 0.8), {SEG_STRAIGHT, 20, 0.4, 0}};
	struct random rnd = random_seeded(46);
	struct book here;
	new_book(&here, slow, 2);
	lend(&here, old_book(fast, 2, RUNS, &rnd));
	lend(&here, old_book(fast, 2, RUNS, &rnd));
	lend(&here, old_book(more, 3, RUNS, &rnd));
	here.borrow[1].trust = 0.25;
	struct model *m = fit(&here);
	ck_assert(says(m, "what ../old tells on straights is not used: this circuit has none"));
	for (size_t slot = 0; slot < 2; slot++) {
		const double rest = slot ? 0.75 : 0.9, untold[4] = {rest, rest};
		const struct lesson *l = &m->borrowing->lessons[2][slot];
		check_joint(&here, m, slot, untold);
		ck_assert(l->how == LESSON_CLASSES && l->unused[SEG_STRAIGHT]);
		close_to(l->told[SEG_SLOW], rest, 1, 1e-12);
		close_to(m->borrowing->lessons[0][slot].untold[SEG_SLOW], rest, 1, 1e-12);
	}
	model_free(m);
	book_free(&here);
}
END_TEST

/* Further pieces of no length on an old circuit, and in its laps. */
static void lay_more(struct book *b, const struct piece *s, size_t n)
{
	const size_t before = b->circuit.n_segments;
	free(b->circuit.segments);
	lay_circuit(b, s, n);
	for (size_t i = 0; i < b->n_runs; i++) {
		struct lap *l = b->runs[i].laps;
		l->segments = realloc(l->segments, n * sizeof *l->segments);
		ck_assert(l->segments != NULL);
		for (size_t k = before; k < n; k++)
			l->segments[k] = (struct lap_segment){.has_time = true, .has_wear = {true}};
		l->n_segments = n;
	}
}

/* A class with no share of the lap here is neither missed nor used, with one in the old book's laps
 * that takes no time at all it is the same. */
START_TEST(no_share)
{
	static const struct piece here_too[] = {
		SLOW(72, 1.5), FAST(8, 0.5), {SEG_TRACTION, 0, 0, 0}};
	static const struct piece there_too[] = {
		FAST(40, 1.2), SLOW(30, 0.5), SLOW(10, 0.3), {SEG_BRAKING, 0, 0, 0}};
	struct book here[2];
	struct model *m[2];
	for (int i = 0; i < 2; i++) {
		struct random rnd = random_seeded(47);
		new_book(&here[i], i ? here_too : slow, i ? 3 : 2);
		lend(&here[i], old_book(i ? there_too : half, 3, RUNS, &rnd));
		if (i)
			lay_more(here[i].borrow[0].book, there_too, 4);
		m[i] = fit(&here[i]);
		ck_assert(!says(m[i], "nothing of") && !says(m[i], "not used"));
	}
	for (size_t slot = 0; slot < 2; slot++)
		for (int j = 0; j < 2; j++) {
			const struct estimate a =
				borrow_term(&m[0]->borrowing->prior[slot], TERM_LINEAR, j, 0);
			const struct estimate b =
				borrow_term(&m[1]->borrowing->prior[slot], TERM_LINEAR, j, 0);
			close_to(a.value, b.value, b.value, 1e-12);
			close_to(a.se, b.se, b.se, 1e-12);
		}
	for (int i = 0; i < 2; i++) {
		model_free(m[i]);
		book_free(&here[i]);
	}
}
END_TEST

/* Times by segment are common, wear is not: each response by itself. */
START_TEST(wear_by_lap_alone)
{
	struct random rnd = random_seeded(48);
	struct book here;
	new_book(&here, slow, 2);
	struct book *o = old_book(half, 3, RUNS, &rnd);
	lend(&here, o);
	for (size_t i = 0; i < o->n_runs; i++)
		for (size_t k = 0; k < 3; k++)
			o->runs[i].laps[0].segments[k].has_wear[0] = false;
	struct model *m = fit(&here), *old = fit(o);
	ck_assert(says(m, "lap time from ../old per segment class: in slow corners, in fast"));
	ck_assert(says(m, "wear car from ../old per lap: its laps have no segment figures"));
	ck_assert_int_eq(m->borrowing->lessons[0][RESPONSES_MAX].how, LESSON_LAPS);
	const struct prior *p = &m->borrowing->prior[1];
	const struct response *lap = &old->responses[1];
	const struct sheet *base = book_reference(o);
	const double unit = model_value(old, 1, base->values).value;
	close_to(borrow_term(p, TERM_LINEAR, 0, 0).value / p->base, lap->b[1] / unit, 1, 1e-9);
	model_free(old);
	model_free(m);
	book_free(&here);
}
END_TEST

/* A profile whose shares the laps here contradict weighs lessons wrongly: said. */
START_TEST(wrong_shares)
{
	for (int wrong = 0; wrong < 2; wrong++) {
		struct random rnd = random_seeded(50);
		struct book here;
		bare_book(&here, slow, 2);
		drive(&here, slow, 2, RUNS, RUNS, &rnd);
		lend(&here, old_book(half, 3, RUNS, &rnd));
		if (wrong) {
			here.circuit.segments[0].time_share = 0.8;
			here.circuit.segments[1].time_share = 0.2;
		}
		struct model *m = fit(&here);
		ck_assert_int_eq(
			says(m, "shares of lap time by the laps here: in fast corners 10 % "
				"(profile 20 %); mend"),
			wrong);
		ck_assert_int_eq(says(m, "mend"), wrong);
		model_free(m);
		book_free(&here);
	}
}
END_TEST

/* Effects of s0 on time and wear that the runs here contradict. */
static int contradicted(const struct model *m)
{
	int n = 0;
	for (size_t i = 0; i < m->borrowing->n_conflicts; i++) {
		const struct conflict *c = &m->borrowing->conflicts[i];
		n += c->slot < 2 && c->beyond && c->term == 1;
	}
	return n;
}

/* What fast corners taught has the wrong sign on a slow circuit; class by class it has not. */
START_TEST(wrong_sign)
{
	static const struct piece there[] = {FAST(60, 1.5), {SEG_SLOW, 20, 0.5, 0.012}};
	static const struct piece at[] = {{SEG_SLOW, 72, 1.5, 0.012}, FAST(8, 0.5)};
	struct random rnd = random_seeded(49);
	for (size_t runs = 0; runs <= 4; runs += 4) {
		struct book here;
		bare_book(&here, at, 2);
		if (runs)
			drive(&here, at, 2, runs, 0, &rnd);
		for (int i = 0; i < 3; i++)
			lend(&here, old_book(there, 2, RUNS, &rnd));
		struct model *by_class = fit(&here);
		here.circuit.n_segments = 0;
		struct model *per_lap = fit(&here);
		for (size_t slot = 0; slot < 2; slot++) {
			/* Sums over the pieces: s of 80 s, % of 2 %. */
			const double truth = slot ? 10 * (0.02 * 0.5 - 0.012 * 1.5) / 2
						  : (0.012 * 72 - 0.02 * 8) / 80;
			const struct estimate c =
				borrow_term(&by_class->borrowing->prior[slot], TERM_LINEAR, 0, 0);
			const struct estimate l =
				borrow_term(&per_lap->borrowing->prior[slot], TERM_LINEAR, 0, 0);
			const double unit = runs ? by_class->borrowing->prior[slot].base : 1;
			ck_assert(c.known && l.known && l.value * truth < 0);
			close_to(c.value / unit, truth, truth, 0.05);
			ck_assert(
				fabs(c.value / unit - truth) < 0.05 * fabs(l.value / unit - truth));
		}
		ck_assert_int_eq(contradicted(by_class), 0);
		ck_assert_int_eq(contradicted(per_lap), runs ? 2 : 0);
		model_free(by_class);
		model_free(per_lap);
		book_free(&here);
	}
}
END_TEST

START_TEST(nothing_in_common)
{
	struct random rnd = random_seeded(44);
	struct book here;
	new_book(&here, slow, 1);
	lend(&here, old_book(fast, 2, RUNS, &rnd));
	struct model *m = fit(&here);
	ck_assert(
		says(m, "no lap time, wear car borrowed from ../old: no segment class in common"));
	ck_assert(m->borrowing->prior[0].rank == 0 && m->borrowing->prior[1].rank == 0);
	model_free(m);
	book_free(&here);
}
END_TEST

static void same_numbers(const struct model *a, const struct model *b)
{
	for (size_t k = 0; k < PRIOR_SLOTS; k++) {
		const struct prior *p = &a->borrowing->prior[k], *q = &b->borrowing->prior[k];
		ck_assert(p->n == q->n && p->rank == q->rank && p->n_classed == 0 &&
			  q->n_classed == 0);
		for (size_t i = 0; i < p->rank; i++)
			ck_assert(p->mean[i] == q->mean[i]);
		for (size_t i = 0; i < p->rank * p->rank; i++)
			ck_assert(p->cov[i] == q->cov[i]);
	}
}

/* No segments here, none there, no figures, or in too few laps: per lap, to the last bit. */
START_TEST(per_lap_as_before)
{
	struct model *m[4];
	struct book here[4];
	for (int i = 0; i < 4; i++) {
		struct random rnd = random_seeded(45);
		new_book(&here[i], slow, 2);
		lend(&here[i], old_book(half, 3,
				       i == 0   ? 0
				       : i == 1 ? 2
				       : i == 2 ? RUNS
						: 0,
				       &rnd));
		if (i == 2)
			here[i].circuit.n_segments = 0;
		if (i == 3)
			here[i].borrow[0].book->circuit.n_segments = 0;
		m[i] = fit(&here[i]);
	}
	static const char *const why[4] = {"its laps have no segment figures",
		"its laps with segment figures tell less than all laps",
		"this circuit has no segments", "its laps have no segment figures"};
	for (int i = 0; i < 4; i++) {
		char words[160];
		snprintf(words, sizeof words, "lap time, wear car from ../old per lap: %s", why[i]);
		ck_assert_msg(says(m[i], words), "%s", words);
	}
	for (int i = 1; i < 4; i++)
		same_numbers(m[0], m[i]);
	for (int i = 0; i < 4; i++) {
		model_free(m[i]);
		book_free(&here[i]);
	}
}
END_TEST

/* strstr() that reads over line breaks and indents of the JSON. */
static bool holds(const char *json, const char *what)
{
	for (; *json; json++) {
		const char *a = json, *b = what;
		while (*b && *a) {
			if (strchr(" \n", *a))
				a++;
			else if (*b == ' ')
				b++;
			else if (*a++ != *b++)
				goto next;
		}
		if (!*b)
			return true;
	next:;
	}
	return false;
}

/* Every page that shows a figure says what of it is borrowed, and how. */
struct saying {
	const char *command, *more[4], *words[4];
};

static void says_all(const char *folder, const struct saying *s)
{
	const char *argv[8] = {test_program(), s->command, folder};
	for (size_t i = 0; i < 4 && s->more[i]; i++)
		argv[3 + i] = s->more[i];
	struct test_said said = test_run(argv);
	ck_assert_msg(said.status == 0, "%s: %.200s", s->command, said.err);
	for (size_t i = 0; i < 4 && s->words[i]; i++)
		ck_assert_msg(holds(said.out, s->words[i]), "%s: no '%s'", s->command, s->words[i]);
	test_said_free(&said);
}

START_TEST(program)
{
	static const struct saying pages[] = {
		{"fit", {"--json"},
			{"\"per-segment-class\": 1",
				"\"how\": \"per-segment-class\", \"why\": null, \"told\": "
				"{\"fast\": "
				"0.40000000000000002}, \"not-told\": {\"slow\": "
				"0.59999999999999998}",
				"\"how\": \"per-lap\", \"why\": \"its laps have no segment "
				"figures\""}},
		{"fit", {NULL},
			{"lap time, wear front from old per segment class: in fast corners",
				"old tells nothing of 50 to 60 % of the lap here (in slow corners)",
				"wear rear from old per lap"}},
		{"predict", {"other"}, {"borrowed"}},
		{"compare", {"base", "other"}, {"borrowed: "}},
		{"suggest", {"--borrowed"}, {"(borrowed: wear "}},
		{"suggest", {"--json"}, {"\"time-borrowed-share\": "}},
		{"verify", {"--json"}, {"\"borrowed-share\": "}},
		{"stint", {"other"}, {"borrowed: "}},
		{"report", {"--text", "--sheet", "other"},
			{"Borrowed from other books of this car",
				"wear rear from old per lap: its laps have no segment figures",
				"Of the change, borrowed from other books: ",
				"and of those that it borrows from"}},
	};
	char *folder = test_folder();
	small_book_borrowing(folder);
	char path[4300];
	size_t len;
	snprintf(path, sizeof path, "%s/sheets/base.yaml", folder);
	char *bytes = test_slurp(path, &len), *at = strstr(bytes, "bias: 54");
	ck_assert(at != NULL);
	at[7] = '5';
	snprintf(path, sizeof path, "%s/sheets/other.yaml", folder);
	test_write(path, bytes, len);
	free(bytes);
	for (size_t i = 0; i < sizeof pages / sizeof *pages; i++)
		says_all(folder, &pages[i]);
	test_remove(folder);
	free(folder);
}
END_TEST

static struct test_said new_borrowing(const char *folder, const char *dir, const char *old)
{
	const char *argv[] = {test_program(), "new", dir, "--car", "car", "--circuit", "track",
		"--borrow", old, NULL};
	setenv("TREADLIGHT_DATADIR", folder, 1);
	return test_run(argv);
}

/* A new book on an old one: its entry, what it tells before a lap, and nothing made on a fault. */
START_TEST(started_on_another)
{
	char *folder = test_folder();
	char old[4300], dir[4300], path[4400];
	struct stat st;
	size_t len;
	small_book_borrowing(folder);
	snprintf(old, sizeof old, "%s/old", folder);
	snprintf(dir, sizeof dir, "%s/next", folder);
	struct test_said said = new_borrowing(folder, dir, old);
	ck_assert_msg(said.status == 0, "%s", said.err);
	ck_assert(strstr(said.out, "borrows from 1 book of the car"));
	test_said_free(&said);
	snprintf(path, sizeof path, "%s/book.yaml", dir);
	char *bytes = test_slurp(path, &len);
	ck_assert(strstr(bytes, "borrow:\n  - book: \"../old\"\n"));
	free(bytes);
	static const struct saying shares = {"fit", {NULL},
		{"per segment class: in fast corners", "lap time, in % of the base's own",
			"Brake bias"}};
	says_all(dir, &shares);
	static const struct saying checked = {
		"check", {"--json"}, {"\"good\": true", "\"borrowed\": 1"}};
	says_all(dir, &checked);
	snprintf(dir, sizeof dir, "%s/other", folder);
	said = new_borrowing(folder, dir, "/nowhere/at/all");
	ck_assert_int_eq(said.status, 2);
	ck_assert(strstr(said.err, "there is no book '/nowhere/at/all'"));
	ck_assert(stat(dir, &st) != 0);
	test_said_free(&said);
	test_remove(folder);
	free(folder);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("borrow-classes");
	TCase *c = tcase_create("borrow-classes");
	gsl_set_error_handler_off();
	tcase_add_test(c, mix_changes);
	tcase_add_test(c, same_mix);
	tcase_add_test(c, class_unseen);
	tcase_add_test(c, partly_shared);
	tcase_add_test(c, no_share);
	tcase_add_test(c, wear_by_lap_alone);
	tcase_add_test(c, wrong_shares);
	tcase_add_test(c, wrong_sign);
	tcase_add_test(c, program);
	tcase_add_test(c, started_on_another);
	tcase_add_test(c, nothing_in_common);
	tcase_add_test(c, per_lap_as_before);
	suite_add_tcase(s, c);
	return s;
}
