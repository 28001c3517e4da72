/* Borrowed effects against dense formulas, published figures, and known truths. */
#include "frontier/frontier.h"
#include "model/borrow.h"
#include "model/meta.h"
#include "model/qr.h"
#include "model/words.h"
#include "plan/plan.h"
#include "store/store.h"
#include "support/family.h"
#include "support/small_book.h"
#include "support/support.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void near(double a, double b, double tol)
{
	ck_assert_msg(fabs(a - b) <= tol * (1 + fabs(b)), "%.15g, wanted %.15g", a, b);
}

/* To so many parts of `size`, by itself the wanted figure's. */
static void close_to(double a, double b, double size, double tol)
{
	ck_assert_msg(fabs(a - b) <= tol * fabs(size), "%.15g, wanted %.15g", a, b);
}

/* A symmetric positive matrix inverted by Cholesky, apart from all that is tested. */
static gsl_matrix *inverse(const gsl_matrix *a)
{
	gsl_matrix *m = gsl_matrix_alloc(a->size1, a->size1);
	gsl_matrix_memcpy(m, a);
	ck_assert_int_eq(gsl_linalg_cholesky_decomp1(m), 0);
	ck_assert_int_eq(gsl_linalg_cholesky_invert(m), 0);
	return m;
}

/*
 * Thirteen trials of the BCG vaccine, log relative risks: data from Colditz et al. (1994), JAMA
 * 271, 698-702, as given by Berkey et al. (1995), Statistics in Medicine 14, 395-411. Figures by
 * the R package metafor 3.8-1 (Viechtbauer 2010, J. Stat. Software 36(3)), rma(method = "DL").
 */
START_TEST(meta_published)
{
	static const double t[13][4] = {{4, 119, 11, 128}, {6, 300, 29, 274}, {3, 228, 11, 209},
		{62, 13536, 248, 12619}, {33, 5036, 47, 5761}, {180, 1361, 372, 1079},
		{8, 2537, 10, 619}, {505, 87886, 499, 87892}, {29, 7470, 45, 7232},
		{17, 1699, 65, 1600}, {186, 50448, 141, 27197}, {5, 2493, 3, 2338},
		{27, 16886, 29, 17825}};
	double y[13], v[13];
	for (int i = 0; i < 13; i++) {
		const double n = t[i][0] + t[i][1], m = t[i][2] + t[i][3];
		y[i] = log(t[i][0] / n / (t[i][2] / m));
		v[i] = 1 / t[i][0] - 1 / n + 1 / t[i][2] - 1 / m;
	}
	near(y[0], -0.8893113339202, 1e-12);
	const struct meta m = meta_analyse(y, v, 13);
	near(m.q, 152.233008082373289, 1e-12);
	near(m.tau2, 0.308760262862376, 1e-12);
	near(m.mean, -0.714117222073227, 1e-12);
	near(m.se, 0.178742089535403, 1e-12);
	near(m.fixed, -0.430285163654091, 1e-12);
}
END_TEST

START_TEST(meta_edges)
{
	const double y[2] = {1, 1.1}, v[2] = {1, 1};
	struct meta m = meta_analyse(y, v, 2); /* closer than chance: no spread */
	ck_assert(m.tau2 == 0);
	near(m.mean, 1.05, 1e-15);
	m = meta_analyse(y, v, 1);
	ck_assert(m.tau2 == 0 && m.mean == 1 && m.se == 1);
	ck_assert(meta_analyse(y, v, 0).k == 0);
}
END_TEST

enum { P = 5, N = 9, R = 3 };

/* b = (X'X + L'L)^-1 (X'y + L'm): a normal prior and a normal likelihood, whitened. */
START_TEST(closed_form)
{
	struct random rnd = random_seeded(7);
	for (int round = 0; round < 20; round++) {
		double x[N][P + 1], l[R][P + 1];
		struct tri q;
		struct posterior post;
		gsl_matrix *a = gsl_matrix_calloc(P, P), *pp = gsl_matrix_calloc(P, P);
		double rhs[P] = {0};
		ck_assert(tri_init(&q, P + 1));
		for (int i = 0; i < N; i++) {
			for (int j = 0; j <= P; j++)
				x[i][j] = random_normal(&rnd);
			tri_push(&q, x[i]);
		}
		tri_finish(&q);
		for (int i = 0; i < R; i++)
			for (int j = 0; j <= P; j++)
				l[i][j] = 2 * random_normal(&rnd);
		for (int j = 0; j < P; j++)
			for (int k = 0; k <= P; k++) {
				double s = 0, t = 0;
				for (int i = 0; i < N; i++)
					s += x[i][j] * x[i][k];
				for (int i = 0; i < R; i++)
					t += l[i][j] * l[i][k];
				if (k == P) {
					rhs[j] = s + t;
				} else {
					gsl_matrix_set(a, (size_t)j, (size_t)k, s + t);
					gsl_matrix_set(pp, (size_t)j, (size_t)k, t);
				}
			}
		gsl_matrix *c = inverse(a);
		ck_assert(posterior_solve(&q, l[0], R, P, &post));
		ck_assert_uint_eq(post.rank, P);
		for (size_t j = 0; j < P; j++) {
			double b = 0;
			for (size_t k = 0; k < P; k++) {
				double part = 0;
				b += gsl_matrix_get(c, j, k) * rhs[k];
				for (size_t u = 0; u < P; u++)
					for (size_t v = 0; v < P; v++)
						part += gsl_matrix_get(c, j, u) *
							gsl_matrix_get(pp, u, v) *
							gsl_matrix_get(c, v, k);
				const double size =
					sqrt(gsl_matrix_get(c, j, j) * gsl_matrix_get(c, k, k));
				close_to(post.cov[j * P + k], gsl_matrix_get(c, j, k), size, 1e-9);
				close_to(post.part[j * P + k], part, size, 1e-9);
			}
			near(post.b[j], b, 1e-9);
		}
		posterior_free(&post);
		gsl_matrix_free(a);
		gsl_matrix_free(pp);
		gsl_matrix_free(c);
		tri_free(&q);
	}
}
END_TEST

static struct model *fit(const struct book *b)
{
	struct err err;
	err_clear(&err);
	struct model *m = model_new(b, &err);
	ck_assert_msg(m != NULL, "%s", err.text);
	return m;
}

/* The prior of fully told books: A = sum (S_i + T)^-1, mean A^-1 sum (S_i + T)^-1 b_i, and
 * covariance A^-1 + T, all divided by the trust. */
static void check_prior(const struct family *f, const struct prior *p, size_t slot)
{
	const size_t n = FAMILY_TERMS;
	gsl_matrix *a = gsl_matrix_calloc(n, n), *s = gsl_matrix_alloc(n, n);
	double rhs[FAMILY_TERMS] = {0};
	const double trust = f->here.borrow[0].trust;
	for (size_t i = 0; i < f->here.n_borrow; i++) {
		struct model *m = fit(f->here.borrow[i].book);
		const struct response *r = &m->responses[slot];
		const double base = r->b[0]; /* the reference stands in the middle of all limits */
		for (size_t j = 0; j < n; j++)
			for (size_t k = 0; k < n; k++)
				gsl_matrix_set(s, j, k,
					(r->cov[(1 + j) * r->n_terms + 1 + k] / (base * base) +
						(j == k ? p->tau[j] * p->tau[j] : 0)) /
						trust);
		gsl_matrix *w = inverse(s);
		gsl_matrix_add(a, w);
		for (size_t j = 0; j < n; j++)
			for (size_t k = 0; k < n; k++)
				rhs[j] += gsl_matrix_get(w, j, k) * r->b[1 + k] / base;
		gsl_matrix_free(w);
		model_free(m);
	}
	gsl_matrix *c = inverse(a);
	for (size_t j = 0; j < n; j++) {
		const struct estimate e = borrow_term(p, TERM_LINEAR, (int)j, 0);
		double mean = 0;
		for (size_t k = 0; k < n; k++)
			mean += gsl_matrix_get(c, j, k) * rhs[k];
		ck_assert(e.known);
		const double se = sqrt(gsl_matrix_get(c, j, j) + p->tau[j] * p->tau[j] / trust);
		close_to(e.value / p->base, mean, se, 1e-9);
		close_to(e.se / p->base, se, se, 1e-9);
	}
	gsl_matrix_free(a);
	gsl_matrix_free(s);
	gsl_matrix_free(c);
}

/* All of a response's posterior against dense V, P and the laps themselves. */
static void check_posterior(const struct model *m, size_t slot)
{
	const struct book *b = m->book;
	const struct response *r = &m->responses[slot];
	const struct prior *p = &m->borrowing->prior[slot];
	const size_t n = r->n_terms, laps = b->n_runs * 5;
	const double run = r->sigma_run * r->sigma_run, lap = r->sigma_lap * r->sigma_lap;
	gsl_matrix *v = gsl_matrix_calloc(laps, laps), *a = gsl_matrix_calloc(n, n);
	gsl_matrix *x = gsl_matrix_calloc(laps, n), *cov = gsl_matrix_alloc(p->rank, p->rank);
	double *rhs = calloc(n, sizeof *rhs), *row = calloc(n, sizeof *row);
	for (size_t i = 0; i < laps; i++) {
		model_row(m, r, b->runs[i / 5].values, row);
		for (size_t j = 0; j < n; j++)
			gsl_matrix_set(x, i, j, row[j]);
		for (size_t k = 0; k < laps; k++)
			gsl_matrix_set(v, i, k, (i / 5 == k / 5 ? run : 0) + (i == k ? lap : 0));
	}
	gsl_matrix *w = inverse(v);
	for (size_t j = 0; j < n; j++)
		for (size_t i = 0; i < laps; i++)
			for (size_t k = 0; k < laps; k++) {
				const double u = gsl_matrix_get(x, i, j) * gsl_matrix_get(w, i, k);
				const struct lap *l = &b->runs[k / 5].laps[k % 5];
				rhs[j] += u * (slot ? l->wear[0] : l->time);
				for (size_t c = 0; c < n; c++)
					*gsl_matrix_ptr(a, j, c) += u * gsl_matrix_get(x, k, c);
			}
	for (size_t i = 0; i < p->rank * p->rank; i++)
		gsl_matrix_set(cov, i / p->rank, i % p->rank, p->cov[i]);
	gsl_matrix *inv = inverse(cov);
	for (size_t i = 0; i < p->rank; i++)
		for (size_t k = 0; k < p->rank; k++) {
			const double g = gsl_matrix_get(inv, i, k);
			for (size_t j = 0; j < p->n; j++) {
				rhs[1 + j] += p->u[i * p->n + j] / p->base * g * p->mean[k];
				for (size_t c = 0; c < p->n; c++)
					*gsl_matrix_ptr(a, 1 + j, 1 + c) += p->u[i * p->n + j] * g *
									    p->u[k * p->n + c] /
									    (p->base * p->base);
			}
		}
	gsl_matrix *c = inverse(a);
	for (size_t j = 0; j < n; j++) {
		double want = 0;
		for (size_t k = 0; k < n; k++) {
			want += gsl_matrix_get(c, j, k) * rhs[k];
			close_to(r->cov[j * n + k], gsl_matrix_get(c, j, k),
				sqrt(gsl_matrix_get(c, j, j) * gsl_matrix_get(c, k, k)), 1e-9);
		}
		near(r->b[j], want, 1e-9);
	}
	gsl_matrix_free(v);
	gsl_matrix_free(a);
	gsl_matrix_free(x);
	gsl_matrix_free(cov);
	gsl_matrix_free(w);
	gsl_matrix_free(inv);
	gsl_matrix_free(c);
	free(rhs);
	free(row);
}

START_TEST(whole_book)
{
	struct random rnd = random_seeded(11);
	for (size_t old = 1; old <= 3; old++)
		for (int half = 0; half < 2; half++) {
			struct family f;
			const struct family_plan plan = {
				.old_books = old, .runs_here = 4, .spread = 0.4};
			family_make(&f, &plan, &rnd);
			for (size_t i = 0; half && i < old; i++)
				f.here.borrow[i].trust = 0.5;
			struct model *m = fit(&f.here);
			for (size_t slot = 0; slot < 2; slot++) {
				ck_assert(m->responses[slot].own != NULL);
				check_prior(&f, &m->borrowing->prior[slot], slot);
				check_posterior(m, slot);
			}
			model_free(m);
			family_free(&f);
		}
}
END_TEST

/* Trust of a half doubles the prior's variance, spread and all. */
START_TEST(trust_widens)
{
	struct random rnd = random_seeded(12);
	struct family f;
	const struct family_plan plan = {.old_books = 1, .runs_here = 4, .spread = 0.2};
	family_make(&f, &plan, &rnd);
	struct model *m = fit(&f.here);
	const struct estimate full = borrow_term(&m->borrowing->prior[0], TERM_LINEAR, 3, 0);
	model_free(m);
	f.here.borrow[0].trust = 0.5;
	m = fit(&f.here);
	const struct estimate half = borrow_term(&m->borrowing->prior[0], TERM_LINEAR, 3, 0);
	close_to(half.value, full.value, full.value, 1e-9);
	close_to(half.se, sqrt(2) * full.se, full.se, 1e-9);
	model_free(m);
	f.here.borrow[0].trust = 1;
	f.here.borrow[0].spread = (struct opt_num){true, 0};
	m = fit(&f.here);
	ck_assert_int_eq(m->borrowing->prior[0].from[0], SPREAD_STATED);
	const struct estimate none = borrow_term(&m->borrowing->prior[0], TERM_LINEAR, 3, 0);
	struct model *o = fit(f.here.borrow[0].book);
	const struct response *r = &o->responses[0];
	near(none.se / m->borrowing->prior[0].base, sqrt(r->cov[4 * r->n_terms + 4]) / r->b[0],
		1e-9);
	model_free(o);
	model_free(m);
	family_free(&f);
}
END_TEST

static struct estimate term(const struct response *r, size_t t)
{
	double l[64] = {0};
	l[1 + t] = 1;
	return model_contrast(r, l);
}

/* What the old books could not tell stays untold: both ends always moved together. */
START_TEST(told_in_part)
{
	struct random rnd = random_seeded(13);
	struct family f;
	const struct family_plan plan = {.old_books = 3, .runs_here = 4, .spread = 0.2};
	family_make(&f, &plan, &rnd);
	for (size_t i = 0; i < 3; i++) {
		struct book *o = f.here.borrow[i].book;
		for (size_t k = 0; k < o->n_runs; k++)
			o->runs[k].values[1] = o->runs[k].values[0];
	}
	struct model *m = fit(&f.here);
	const struct response *r = &m->responses[0];
	ck_assert_uint_eq(m->borrowing->prior[0].rank, FAMILY_TERMS - 1);
	ck_assert(term(r, 0).known);
	ck_assert(!term(r, 1).known);
	double front[64] = {0}; /* the front end alone: half of each */
	front[1] = front[2] = 0.5;
	ck_assert(!model_estimable(r, front));
	model_free(m);
	family_free(&f);
}
END_TEST

/* s0 and s1 were driven here, s2 and s3 were not. */
START_TEST(sources)
{
	struct random rnd = random_seeded(14);
	struct family f;
	char words[64];
	const struct family_plan plan = {.old_books = 3, .runs_here = 4, .spread = 0.2};
	family_make(&f, &plan, &rnd);
	struct model *m = fit(&f.here);
	const struct response *r = &m->responses[0];
	const struct estimate both = term(r, 2), only = term(r, 4);
	double l[64] = {0};
	ck_assert_int_eq(words_source_of(&both), SOURCE_BOTH);
	ck_assert_int_eq(words_source_of(&only), SOURCE_BORROWED);
	near(only.borrowed, 1, 1e-9);
	ck_assert_str_eq(words_source(&only, words, sizeof words), "borrowed");
	l[5] = 1;
	ck_assert(model_estimable(r, l) && !model_driven_estimable(r, l));
	l[5] = 0;
	l[3] = 1;
	ck_assert(model_driven_estimable(r, l));
	/* An interval of both is narrower than the prior's and the runs' own would be. */
	const struct estimate prior = borrow_term(&m->borrowing->prior[0], TERM_LINEAR, 2, 0);
	ck_assert(both.has_interval && both.se < prior.se);
	int terms[64];
	fix moved[8];
	memcpy(moved, f.here.sheets->values, f.here.car.n_adjustables * sizeof *moved);
	moved[4] += 5 * FIX_ONE; /* s2 */
	ck_assert_uint_eq(model_untested(m, 0, moved, f.here.sheets->values, terms), 1);
	ck_assert_str_eq(r->terms[terms[0]].id, "s2");
	ck_assert(model_delta(m, 0, moved, f.here.sheets->values).known);
	ck_assert(!model_delta_driven(m, 0, moved, f.here.sheets->values));
	model_free(m);
	family_free(&f);
}
END_TEST

/* Taken out, nothing is left of the borrowed books. */
START_TEST(without_borrowing)
{
	struct random rnd = random_seeded(15);
	struct family f;
	const struct family_plan plan = {.old_books = 3, .runs_here = 8, .spread = 0.2};
	family_make(&f, &plan, &rnd);
	struct model *with = fit(&f.here);
	book_forget_borrowed(&f.here);
	struct model *m = fit(&f.here);
	ck_assert(m->borrowing == NULL);
	for (size_t k = 0; k < 2; k++) {
		const struct response *r = &m->responses[k],
				      *own = model_driven(&with->responses[k]);
		ck_assert(r->own == NULL && own != &with->responses[k]);
		ck_assert_uint_eq(r->n_terms, own->n_terms);
		ck_assert_int_eq(memcmp(r->b, own->b, r->n_terms * sizeof *r->b), 0);
		ck_assert_int_eq(
			memcmp(r->cov, own->cov, r->n_terms * r->n_terms * sizeof *r->b), 0);
	}
	model_free(m);
	model_free(with);
	family_free(&f);
}
END_TEST

static bool names(const struct model *m, int coord)
{
	for (size_t i = 0; i < m->borrowing->n_conflicts; i++) {
		const struct conflict *c = &m->borrowing->conflicts[i];
		if (c->beyond &&
			model_driven(borrow_response(m, c->slot))->terms[c->term].a == coord)
			return true;
	}
	return false;
}

/* Old books that agree on the wrong sign of s0: named, and gone when dropped. */
START_TEST(wrong_sign)
{
	struct random rnd = random_seeded(16);
	int named = 0, covered = 0, widened = 0;
	const struct family_plan plan = {
		.old_books = 3, .runs_here = 4, .spread = 0.15, .wrong_sign = true};
	for (int i = 0; i < 20; i++) {
		struct family f;
		char words[2 * WORDS_SIZE];
		family_make(&f, &plan, &rnd);
		struct model *m = fit(&f.here);
		named += names(m, 2);
		for (size_t k = 0; k < m->borrowing->n_conflicts; k++) {
			const struct conflict *c = &m->borrowing->conflicts[k];
			near(c->z, (c->here - c->borrowed) / hypot(c->here_se, c->borrowed_se),
				1e-12);
			ck_assert(strlen(words_conflict(m, c, words, sizeof words)) > 20);
		}
		const struct estimate wide = term(&m->responses[0], 2);
		const enum dispute dispute = words_dispute(m, 0, &m->responses[0].terms[3]);
		ck_assert(dispute != DISPUTE_KEPT); /* widened unless the book says otherwise */
		widened += wide.low <= f.truth[0][2] && f.truth[0][2] <= wide.high;
		check_posterior(m, 0);
		model_free(m);
		f.here.borrow_keep = true;
		m = fit(&f.here);
		const struct estimate mixed = term(&m->responses[0], 2);
		ck_assert_int_eq(words_dispute(m, 0, &m->responses[0].terms[3]),
			dispute ? DISPUTE_KEPT : DISPUTE_NONE);
		ck_assert(!dispute || (wide.se > mixed.se && wide.borrowed < mixed.borrowed));
		model_free(m);
		f.here.borrow_keep = false;
		ck_assert(book_drop_borrowed(&f.here, "s0"));
		m = fit(&f.here);
		ck_assert(!names(m, 2));
		const struct estimate e = term(&m->responses[0], 2);
		covered += e.low <= f.truth[0][2] && f.truth[0][2] <= e.high;
		ck_assert(!borrow_term(&m->borrowing->prior[0], TERM_LINEAR, 2, 0).known);
		model_free(m);
		family_free(&f);
	}
	ck_assert_int_ge(named, 18);
	ck_assert_int_ge(covered, 16);
	ck_assert_int_ge(widened, 15);
}
END_TEST

/* Errors and coverage, far smaller than the simulation of doc/borrow.md. */
START_TEST(helps_and_covers)
{
	struct random rnd = random_seeded(17);
	const int families = test_quick() ? 30 : 100;
	for (int agree = 0; agree < 2; agree++) {
		const struct family_plan plan = {
			.old_books = 3, .runs_here = 4, .spread = agree ? 0.15 : 1.5};
		double alone = 0, with = 0, covered = 0, n = 0;
		for (int i = 0; i < families; i++) {
			struct family f;
			family_make(&f, &plan, &rnd);
			struct model *m = fit(&f.here);
			for (size_t t = 0; t < FAMILY_TERMS; t++) {
				const struct response *r = &m->responses[0];
				const double truth = f.truth[0][t];
				const struct estimate e = term(r, t);
				covered += e.low <= truth && truth <= e.high;
				n++;
				if (!term(r->own, t).known)
					continue;
				alone += pow(term(r->own, t).value - truth, 2);
				with += pow(e.value - truth, 2);
			}
			model_free(m);
			family_free(&f);
		}
		ck_assert_msg(covered >= 0.9 * n, "covered %.0f of %.0f", covered, n);
		ck_assert_msg(with < (agree ? 0.5 : 1.1) * alone, "%g against %g", with, alone);
	}
}
END_TEST

START_TEST(frontier_marks)
{
	struct random rnd = random_seeded(18);
	struct family f;
	struct err err;
	const struct family_plan plan = {.old_books = 3, .runs_here = 4, .spread = 0.15};
	err_clear(&err);
	family_make(&f, &plan, &rnd);
	struct model *m = fit(&f.here);
	struct frontier_options o = {0};
	ck_assert(save_parse(m, NULL, &o.save, &err));
	for (int ask = 0; ask < 2; ask++) {
		o.borrowed = ask;
		struct frontier *front = frontier_new(m, f.here.sheets, f.here.sheets, &o, &err);
		ck_assert_msg(front != NULL, "%s", err.text);
		bool any = false;
		for (size_t i = 0; i < front->n; i++) {
			any = any || front->points[i].borrowed;
			if (front->points[i].changes == 0)
				ck_assert(!front->points[i].borrowed);
			for (size_t a = 0; !ask && a < f.here.car.n_adjustables; a++)
				if (a != 2 && a != 3) /* s0 and s1 were driven */
					ck_assert(front->points[i].values[a] ==
						  f.here.sheets->values[a]);
		}
		ck_assert(any == (ask == 1));
		frontier_free(front);
	}
	model_free(m);
	family_free(&f);
}
END_TEST

/* Screening spends no laps on what the old books tell sharply; s3 is not borrowed. */
START_TEST(plans)
{
	struct random rnd = random_seeded(19);
	struct family f;
	struct err err;
	const struct family_plan plan = {.old_books = 1, .runs_here = 4, .spread = 0};
	err_clear(&err);
	family_make(&f, &plan, &rnd);
	f.here.borrow[0].spread = (struct opt_num){true, 0.01};
	ck_assert(book_drop_borrowed(&f.here, "s3"));
	struct model *m = fit(&f.here);
	struct plan_options o = {.kind = PLAN_SCREENING, .base = f.here.sheets, .rng = 1};
	struct plan *p = plan_new(&f.here, &o, &err);
	ck_assert_msg(p != NULL, "%s", err.text);
	const size_t all = p->n_factors, runs = p->n_runs;
	plan_free(p);
	o.borrowing = m;
	p = plan_new(&f.here, &o, &err);
	ck_assert_msg(p != NULL, "%s", err.text);
	ck_assert_uint_lt(p->n_factors, all);
	ck_assert_uint_le(p->n_runs, runs);
	bool has = false, said = false;
	for (size_t i = 0; i < p->n_factors; i++)
		has = has || !strcmp(p->factors[i].id, "s3");
	for (size_t i = 0; i < p->n_notes; i++)
		said = said || strstr(p->notes[i], "borrowed books tell it more sharply");
	ck_assert(has && said);
	plan_free(p);
	const char *named[] = {"s0", "s3"}; /* asked for by name: kept, and said */
	o.factors = named;
	o.n_factors = 2;
	p = plan_new(&f.here, &o, &err);
	ck_assert(p && p->n_factors == 2);
	plan_free(p);
	model_free(m);
	family_free(&f);
}
END_TEST

/* The next run weighs the posterior, not the runs here alone. */
START_TEST(next_run)
{
	struct random rnd = random_seeded(20);
	struct family f;
	struct err err;
	const struct family_plan plan = {.old_books = 3, .runs_here = 4, .spread = 0.5};
	err_clear(&err);
	family_make(&f, &plan, &rnd);
	struct model *m = fit(&f.here);
	const struct plan_options o = {.kind = PLAN_NEXT, .base = f.here.sheets};
	struct plan *p = plan_next(m, &o, &err);
	ck_assert_msg(p != NULL, "%s", err.text);
	ck_assert(p->has_gain[0] && p->se_after[0] < p->se_now[0]);
	/* Nothing driven here tells s2 and s3: what is chosen moves something of the undriven. */
	const fix *base = f.here.sheets->values, *v = p->runs[0].values;
	ck_assert(v[4] != base[4] || v[5] != base[5] || v[0] != base[0] || v[1] != base[1]);
	plan_free(p);
	model_free(m);
	family_free(&f);
}
END_TEST

static char *text(const char *folder, const char *name)
{
	char *path = malloc(strlen(folder) + strlen(name) + 2);
	ck_assert(path != NULL);
	sprintf(path, "%s/%s", folder, name);
	return path;
}

/* The small book with more lines of book.yaml. */
static char *book_at(const char *folder, const char *name, const char *more)
{
	char *dir = text(folder, name), *file, command[4200];
	snprintf(command, sizeof command, "mkdir -p '%s'", dir);
	ck_assert_int_eq(system(command), 0);
	small_book_write(dir);
	file = text(dir, "book.yaml");
	size_t len;
	char *old = test_slurp(file, &len), *all = malloc(len + strlen(more) + 1);
	ck_assert(all != NULL);
	sprintf(all, "%s%s", old, more);
	test_write(file, all, strlen(all));
	free(old);
	free(all);
	free(file);
	return dir;
}

static void load(const char *dir, const char *fault, size_t line)
{
	struct book b;
	struct faults faults;
	book_init(&b);
	faults_init(&faults);
	const bool ok = store_load_book(&b, dir, &faults);
	if (!fault) {
		ck_assert_msg(ok, "%s", faults.n ? faults.list[0].text : "");
		ck_assert(b.n_borrow == 1 && b.borrow[0].book && b.borrow[0].book->n_runs == 8);
		struct model *m = fit(&b);
		ck_assert(m->borrowing != NULL && m->borrowing->n_books == 1);
		model_free(m);
		book_free(&b);
	} else {
		ck_assert_msg(!ok, "no fault, wanted: %s", fault);
		ck_assert_uint_eq(faults.total, 1);
		ck_assert_msg(strstr(faults.list[0].text, fault), "%s", faults.list[0].text);
		ck_assert_uint_eq(faults.list[0].line, line);
	}
	faults_free(&faults);
}

START_TEST(loading)
{
	static const struct {
		const char *more, *fault;
		size_t line;
	} cases[] = {{"borrow:\n  - {book: ../old}\n", NULL, 0},
		{"borrow:\n  - {book: ../old, trust: 0.5, spread: 0.3, without: [wing, bias]}\n",
			NULL, 0},
		{"borrow:\n  - {book: ../gone}\n", "there is no book '../gone'", 11},
		{"borrow:\n  - {book: ../old}\n  - {book: ../new/../old}\n", "named twice", 12},
		{"borrow: [{book: .}]\n", "cannot borrow from itself", 10},
		{"borrow: [{book: ../back}]\n", "borrows from this book in turn", 10},
		{"borrow: [{book: ../other}]\n", "about the car 'other'", 10},
		{"borrow: [{book: ../wide}]\n", "other adjustables or limits (bias)", 10},
		{"borrow: [{book: ../old, trust: 0}]\n", "trust", 10},
		{"borrow: [{book: ../old, trust: 1.5}]\n", "trust", 10},
		{"borrow: [{book: ../old, weight: 1}]\n", "weight", 10},
		{"borrow: [{trust: 1}]\n", "book", 10},
		{"borrow: [{book: ../old, without: [toe]}]\n", "no pair or adjustable 'toe'", 10},
		{"borrow: ../old\n", "list", 10},
		{"borrow: [{book: ../old}]\nborrow-conflicts: ask\n", "widen", 11}};
	char *folder = test_folder(), *path, *bytes, *at;
	size_t len;
	free(book_at(folder, "old", ""));
	free(book_at(folder, "back", "borrow: [{book: ../new}]\n"));
	char *other = book_at(folder, "other", "");
	path = text(other, "profiles/cars/other.yaml");
	bytes = test_slurp(at = text(other, "profiles/cars/car.yaml"), &len);
	test_write(path, bytes, len);
	free(path);
	free(at);
	free(bytes);
	bytes = test_slurp(path = text(other, "book.yaml"), &len);
	at = strstr(bytes, "car: car");
	char *now = malloc(len + 10);
	ck_assert(now != NULL);
	sprintf(now, "%.*scar: other%s", (int)(at - bytes), bytes, at + 8);
	test_write(path, now, strlen(now));
	free(now);
	free(bytes);
	free(path);
	free(other);
	char *wide = book_at(folder, "wide", "");
	bytes = test_slurp(path = text(wide, "profiles/cars/car.yaml"), &len);
	at = strstr(bytes, "max: 60");
	ck_assert(at != NULL);
	at[5] = '7';
	test_write(path, bytes, len);
	free(bytes);
	free(path);
	free(wide);
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		char *dir = book_at(folder, "new", cases[i].more);
		load(dir, cases[i].fault, cases[i].line);
		free(dir);
	}
	test_remove(folder);
	free(folder);
}
END_TEST

/* The program's own words and keys. */
START_TEST(program)
{
	char *folder = test_folder();
	free(book_at(folder, "old", ""));
	char *dir = book_at(folder, "new", "borrow: [{book: ../old}]\n");
	const char *fit_it[] = {test_program(), "fit", dir, "--json", NULL};
	struct test_said said = test_run(fit_it);
	ck_assert_int_eq(said.status, 0);
	ck_assert(strstr(said.out, "\"borrowed-share\"") && strstr(said.out, "\"conflicts\""));
	test_said_free(&said);
	const char *bare[] = {test_program(), "fit", dir, "--json", "--no-borrowed", NULL};
	said = test_run(bare);
	ck_assert_int_eq(said.status, 0);
	ck_assert(!strstr(said.out, "borrowed"));
	test_said_free(&said);
	const char *wrong[] = {test_program(), "fit", dir, "--drop-borrowed", "toe", NULL};
	said = test_run(wrong);
	ck_assert_int_eq(said.status, 2);
	ck_assert(strstr(said.err, "no pair or adjustable 'toe'"));
	test_said_free(&said);
	const char *drop[] = {
		test_program(), "predict", dir, "base", "--drop-borrowed", "wing", NULL};
	said = test_run(drop);
	ck_assert_int_eq(said.status, 0);
	test_said_free(&said);
	free(dir);
	test_remove(folder);
	free(folder);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("borrow");
	TCase *c = tcase_create("borrow");
	gsl_set_error_handler_off();
	tcase_add_test(c, meta_published);
	tcase_add_test(c, meta_edges);
	tcase_add_test(c, closed_form);
	tcase_add_test(c, whole_book);
	tcase_add_test(c, trust_widens);
	tcase_add_test(c, told_in_part);
	tcase_add_test(c, sources);
	tcase_add_test(c, without_borrowing);
	tcase_add_test(c, wrong_sign);
	tcase_add_test(c, helps_and_covers);
	tcase_add_test(c, frontier_marks);
	tcase_add_test(c, plans);
	tcase_add_test(c, next_run);
	tcase_add_test(c, loading);
	tcase_add_test(c, program);
	suite_add_tcase(s, c);
	return s;
}
