/*
 * Families of old books and a new one: errors and coverage with and without borrowing, and what
 * becomes of them where what conflicts is widened or dropped; with circuits of segments, per lap
 * and per class. Not a test; prints the tables of doc/borrow.md. Usage: borrowsim [families].
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

/* What the new book is fitted with. */
enum way { ALONE, KEEPING, WIDENING, DROPPING, PER_LAP, WAYS };

struct row {
	struct tally driven[WAYS], other[WAYS], s0[WAYS]; /* s0: where it has the wrong sign */
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

static bool is_driven(const struct model *m, size_t y, size_t t)
{
	return model_driven(&m->responses[y])->estimable[1 + t];
}

static void measure(struct row *w, enum way way, const struct model *m, const struct model *units,
	const struct family *f, const struct family_plan *p)
{
	for (size_t y = 0; y < 2; y++)
		for (size_t t = 0; t < FAMILY_TERMS; t++) {
			const struct response *r = &m->responses[y];
			const double unit = (y ? 0.06 : 0.004) * units->borrowing->prior[y].base;
			const struct estimate e = term(way == ALONE ? model_driven(r) : r, t);
			if (p->wrong_sign && t == 2)
				count(&w->s0[way], &e, f->truth[y][t], unit);
			else
				count(is_driven(m, y, t) ? &w->driven[way] : &w->other[way], &e,
					f->truth[y][t], unit);
			if (way == KEEPING && !is_driven(m, y, t)) {
				w->effects += pow(f->truth[y][t] / unit, 2);
				w->n_effects++;
			}
		}
}

static void try_way(struct row *w, enum way way, const struct model *units, struct family *f,
	const struct family_plan *p)
{
	struct err err;
	err_clear(&err);
	struct model *m = model_new(&f->here, &err);
	if (!m)
		exit(1);
	measure(w, way, m, units ? units : m, f, p);
	if (!units)
		measure(w, ALONE, m, m, f, p);
	model_free(m);
}

static void one_family(struct row *w, const struct family_plan *p, struct random *rnd)
{
	struct family f;
	struct err err;
	bool other;
	err_clear(&err);
	family_make(&f, p, rnd);
	f.here.borrow_keep = true;
	struct model *m = model_new(&f.here, &err);
	if (!m)
		exit(1);
	measure(w, KEEPING, m, m, &f, p);
	measure(w, ALONE, m, m, &f, p);
	w->named += conflict_names(m, 2, &other);
	w->false_names += other;
	w->families++;
	f.here.borrow_keep = false;
	try_way(w, WIDENING, m, &f, p);
	const size_t segments = f.here.circuit.n_segments;
	if (segments) { /* laps without figures of segments */
		f.here.circuit.n_segments = 0;
		try_way(w, PER_LAP, m, &f, p);
		f.here.circuit.n_segments = segments;
	}
	f.here.borrow_keep = true;
	if (p->wrong_sign && book_drop_borrowed(&f.here, "s0"))
		try_way(w, DROPPING, m, &f, p);
	model_free(m);
	family_free(&f);
}

static void print(const char *name, const struct tally *t)
{
	printf(" %s %5.2f %5.1f%%", name, t->known > 0 ? sqrt(t->square / t->known) : NAN,
		t->bounded > 0 ? 100 * t->covered / t->bounded : NAN);
	printf(" %5.2f |", t->bounded > 0 ? t->width / t->bounded : NAN);
}

static int families = 500;

static struct row run_plan(const struct family_plan *p, unsigned seed)
{
	struct random rnd = random_seeded(seed);
	struct row w = {0};
	for (int n = 0; n < families; n++)
		one_family(&w, p, &rnd);
	return w;
}

static void print_undriven(const struct row *w, enum way way, const char *name)
{
	if (w->n_effects > 0)
		print(name, &w->other[way]);
}

static void print_row(const struct row *w, const struct family_plan *p)
{
	printf("old %zu spread %.2f%s, %2zu runs |", p->old_books, p->spread,
		p->wrong_sign ? " s0 wrong" : "", p->runs_here);
	print("alone", &w->driven[ALONE]);
	print("kept", &w->driven[KEEPING]);
	print("widened", &w->driven[WIDENING]);
	print_undriven(w, KEEPING, "undriven kept");
	print_undriven(w, WIDENING, "undriven widened");
	if (p->wrong_sign) {
		print(" s0 alone", &w->s0[ALONE]);
		print("kept", &w->s0[KEEPING]);
		print("widened", &w->s0[WIDENING]);
		print("dropped", &w->s0[DROPPING]);
	}
	printf(" as nothing %.2f | named s0 %.1f%% other %.1f%%\n",
		w->n_effects > 0 ? sqrt(w->effects / w->n_effects) : NAN,
		100 * w->named / w->families, 100 * w->false_names / w->families);
	fflush(stdout);
}

/* What makes the books asserts, so that it wants to be run as a test. */
START_TEST(simulate)
{
	static const size_t runs[] = {4, 8, 16};
	static const struct family_plan plans[] = {{.old_books = 3, .spread = 0.15},
		{.old_books = 3, .spread = 0.5}, {.old_books = 3, .spread = 1.5},
		{.old_books = 1, .spread = 0.15}, {.old_books = 1, .spread = 1.5},
		{.old_books = 3, .spread = 0.15, .wrong_sign = true},
		{.old_books = 1, .spread = 0.15, .wrong_sign = true}};
	gsl_set_error_handler_off();
	for (size_t k = 0; k < sizeof plans / sizeof *plans; k++)
		for (size_t i = 0; i < 3; i++) {
			struct family_plan p = plans[k];
			p.runs_here = runs[i];
			const struct row w = run_plan(&p, 20 + (unsigned)(10 * k + i));
			print_row(&w, &p);
		}
}
END_TEST

/* Mixes of fast, slow, straight. */
static const struct {
	const char *name;
	double by_class;
	family_mix here, old[FAMILY_OLD];
} mixes[] = {
	{"same mix, alike", 0, {40, 40, 20}, {{40, 40, 20}, {40, 40, 20}, {40, 40, 20}}},
	{"same mix, by class", 0.7, {40, 40, 20}, {{40, 40, 20}, {40, 40, 20}, {40, 40, 20}}},
	{"fast to slow, alike", 0, {10, 70, 20}, {{70, 10, 20}, {60, 20, 20}, {70, 15, 15}}},
	{"fast to slow, by class", 0.7, {10, 70, 20}, {{70, 10, 20}, {60, 20, 20}, {70, 15, 15}}},
	{"fast to slow, only by class", 1, {10, 70, 20},
		{{70, 10, 20}, {60, 20, 20}, {70, 15, 15}}},
	{"varied, by class", 0.7, {10, 70, 20}, {{70, 10, 20}, {20, 60, 20}, {40, 30, 30}}},
	{"slow untold, by class", 0.7, {30, 50, 20}, {{70, 0, 30}, {80, 0, 20}, {60, 0, 40}}},
	{"slow untold in two, by class", 0.7, {30, 50, 20},
		{{70, 0, 30}, {80, 0, 20}, {40, 40, 20}}},
};

START_TEST(segments)
{
	static const size_t runs[] = {4, 8};
	gsl_set_error_handler_off();
	for (size_t k = 0; k < sizeof mixes / sizeof *mixes; k++)
		for (size_t i = 0; i < 2; i++)
			for (size_t books = 1; books <= 3; books += 2) {
				struct family_plan p = {.old_books = books,
					.runs_here = runs[i],
					.spread = 0.15,
					.by_class = mixes[k].by_class};
				memcpy(p.here, mixes[k].here, sizeof p.here);
				memcpy(p.old, mixes[k].old, sizeof p.old);
				const struct row w =
					run_plan(&p, 200 + (unsigned)(10 * k + 2 * i + books));
				printf("%-28s old %zu, %zu runs |", mixes[k].name, books, runs[i]);
				print("alone", &w.driven[ALONE]);
				print("per lap", &w.driven[PER_LAP]);
				print("per class", &w.driven[WIDENING]);
				print("kept", &w.driven[KEEPING]);
				print_undriven(&w, PER_LAP, " undriven per lap");
				print_undriven(&w, WIDENING, "per class");
				printf(" as nothing %.2f\n", sqrt(w.effects / w.n_effects));
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
	tcase_add_test(c, segments);
	suite_add_tcase(s, c);
	SRunner *r = srunner_create(s);
	srunner_set_fork_status(r, CK_NOFORK);
	srunner_run_all(r, CK_SILENT);
	const int failed = srunner_ntests_failed(r);
	srunner_free(r);
	return failed != 0;
}
