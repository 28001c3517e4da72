/*
 * Invented families of books: one car at several circuits, whose effects are shares of each
 * circuit's base figures and differ from circuit to circuit by a known spread.
 */
#ifndef TREADLIGHT_TESTS_FAMILY_H
#define TREADLIGHT_TESTS_FAMILY_H

#include "book/book.h"
#include "random.h"

enum { FAMILY_TERMS = 6, FAMILY_OLD = 3 }; /* p0.common, p0.difference, s0 .. s3 */
enum { FAMILY_CLASSES = 3 };               /* fast, slow, straight */

struct family {
	struct book here;              /* borrows from the old ones, which it owns */
	double truth[2][FAMILY_TERMS]; /* here: s of lap time, % per lap of wear */
	/* of all circuits, by class: of the class's base figures */
	double shares[2][FAMILY_CLASSES][FAMILY_TERMS];
};
/* A circuit's mix: shares of time and wear by class; all 0: a circuit without segments. */
typedef double family_mix[FAMILY_CLASSES];
struct family_plan {
	size_t old_books, runs_here;
	double spread;   /* sd from circuit to circuit, as a share of the usual effect */
	bool wrong_sign; /* s0 works the other way round in all old books */
	/* Share of an effect's variance that is the class's own, 0: alike in all. */
	double by_class;
	family_mix here, old[FAMILY_OLD];
};

/* Old books have 16 runs of 5 laps each: the base four times and twelve of a screening plan.
 * Runs here: the base twice, s0 moved, s1 moved, then rows of a screening plan and the base. */
void family_make(struct family *f, const struct family_plan *p, struct random *r);
void family_free(struct family *f);

#endif
