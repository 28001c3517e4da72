/*
 * Families of three old books and a new one: errors and coverage with and without borrowing.
 * Not a test; prints the table of doc/borrow.md. Usage: borrowsim [families].
 */
#include "model/borrow.h"
#include "support/family.h"

#include <check.h>
#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct tally {
	double n, known, square, covered, bounded, width;
};

static void count(struct tally *t, const struct estimate *e, double truth, double unit)
{
	t->n++;
	t->known += e->known;
	if (e->known)
		t->square += (e->value - truth) * (e->value - truth) / (unit * unit);
	if (e->known && e->has_interval) {
		t->bounded++;
		t->covered += e->low <= truth && truth <= e->high;
		t->width += (e->high - e->low) / 2 / unit;
	}
}

static struct estimate term(const struct response *r, size_t t)
{
	double l[64] = {0};
	l[1 + t] = 1;
	return model_contrast(r, l);
}

struct row {
	struct tally driven[2], other[2], dropped, widened; /* without, with */
	double effects, n_effects, named, false_names, families;
};

static bool conflict_names(const struct model *m, size_t coord, bool *other)
{
	bool named = false;
	*other = false;
	for (size_t i = 0; i < m->borrowing->n_conflicts; i++) {
		const struct conflict *c = &m->borrowing->conflicts[i];
		if (c->slot > 1 || !c->beyond)
			continue;
		if (model_driven(&m->responses[c->slot])->terms[c->term].a == (int)coord)
			named = true;
		else
			*other = true;
	}
	return named;
}

static void count_s0(struct tally *t, const struct model *m, const struct family *f)
{
	for (size_t y = 0; y < 2; y++) {
		const double unit = (y ? 0.06 : 0.004) * m->borrowing->prior[y].base;
		const struct estimate e = term(&m->responses[y], 2);
		count(t, &e, f->truth[y][2], unit);
	}
}

static void one_family(struct row *w, const struct family_plan *p, struct random *rnd)
{
	struct family f;
	struct err err;
	bool other;
	err_clear(&err);
	family_make(&f, p, rnd);
	struct model *m = model_new(&f.here, &err);
	if (!m)
		exit(1);
	for (size_t y = 0; y < 2; y++)
		for (size_t t = 0; t < FAMILY_TERMS; t++) {
			const struct response *r = &m->responses[y];
			const bool driven = model_driven(r)->estimable[1 + t];
			const double unit = y ? 0.06 * m->borrowing->prior[1].base
					      : 0.004 * m->borrowing->prior[0].base;
			const struct estimate without = term(model_driven(r), t), with = term(r, t);
			if (p->wrong_sign && t != 2)
				continue;
			count(driven ? &w->driven[0] : &w->other[0], &without, f.truth[y][t], unit);
			count(driven ? &w->driven[1] : &w->other[1], &with, f.truth[y][t], unit);
			if (!driven)
				w->effects += pow(f.truth[y][t] / unit, 2);
			w->n_effects += !driven;
		}
	w->named += conflict_names(m, 2, &other);
	w->false_names += other;
	w->families++;
	model_free(m);
	f.here.borrow_widen = true;
	if (p->wrong_sign && (m = model_new(&f.here, &err))) {
		count_s0(&w->widened, m, &f);
		model_free(m);
	}
	f.here.borrow_widen = false;
	if (p->wrong_sign && book_drop_borrowed(&f.here, "s0") && (m = model_new(&f.here, &err))) {
		count_s0(&w->dropped, m, &f);
		model_free(m);
	}
	family_free(&f);
}

static void print(const char *name, const struct tally *t)
{
	printf(" %s %5.2f %5.1f%%", name, t->known > 0 ? sqrt(t->square / t->known) : NAN,
		t->bounded > 0 ? 100 * t->covered / t->bounded : NAN);
	printf(" %5.2f |", t->bounded > 0 ? t->width / t->bounded : NAN);
}

static int families = 500;

/* What makes the books asserts, so that it wants to be run as a test. */
START_TEST(simulate)
{
	static const size_t runs[] = {4, 8, 16};
	static const struct family_plan plans[] = {{3, 0, 0.15, false}, {3, 0, 0.5, false},
		{3, 0, 1.5, false}, {1, 0, 0.15, false}, {1, 0, 1.5, false}, {3, 0, 0.15, true}};
	gsl_set_error_handler_off();
	for (size_t k = 0; k < sizeof plans / sizeof *plans; k++)
		for (size_t i = 0; i < 3; i++) {
			struct family_plan p = plans[k];
			struct random rnd = random_seeded(20 + (unsigned)(10 * k + i));
			struct row w = {0};
			p.runs_here = runs[i];
			for (int n = 0; n < families; n++)
				one_family(&w, &p, &rnd);
			printf("old %zu spread %.2f%s, %2zu runs |", p.old_books, p.spread,
				p.wrong_sign ? " s0 wrong" : "", p.runs_here);
			print("alone", &w.driven[0]);
			print("with", &w.driven[1]);
			print("undriven", &w.other[1]);
			printf(" nothing known %.2f | named s0 %.1f%% other %.1f%%",
				w.n_effects > 0 ? sqrt(w.effects / w.n_effects) : NAN,
				100 * w.named / w.families, 100 * w.false_names / w.families);
			if (p.wrong_sign) {
				print(" widened", &w.widened);
				print(" dropped", &w.dropped);
			}
			putchar('\n');
			fflush(stdout);
		}
}
END_TEST

int main(int argc, char **argv)
{
	Suite *s = suite_create("borrowsim");
	TCase *c = tcase_create("families");
	if (argc > 1)
		families = atoi(argv[1]);
	tcase_add_test(c, simulate);
	suite_add_tcase(s, c);
	SRunner *r = srunner_create(s);
	srunner_set_fork_status(r, CK_NOFORK);
	srunner_run_all(r, CK_SILENT);
	const int failed = srunner_ntests_failed(r);
	srunner_free(r);
	return failed != 0;
}
