/*
 * What the files of the prior share and nobody else needs: lender.c fits the old books, classes.c
 * takes an old book's laps apart by class of segments, prior_told.c finds what each book can tell,
 * prior_spread.c how books differ, prior_join.c joins them, prior.c does that for all responses,
 * lesson.c says how. Method and sources: doc/borrow.md.
 */
#ifndef MODEL_PRIOR_PARTS_H
#define MODEL_PRIOR_PARTS_H

#include "model/borrow.h"
#include "model/internal.h"

/* Singular values below this part of the largest are nothing told. */
#define TOLD_TOL 1e-8

/* What one book tells of one response, over the prior's terms. */
struct told {
	size_t n;                  /* contrasts */
	double *row, *value, *cov; /* owned [n * terms], [n], [n * n]: shares of the base */
	const struct response *r;  /* whole laps: the noise */
	const struct response *e;  /* the effects: r, or the readings by class */
	double base, unit, trust;  /* of r, of e */
	const struct lesson *lesson;
	const struct borrow *from;
};

/* A book borrowed from, and its fits. */
struct lender {
	struct model *m; /* owned */
	const struct borrow *from;
	struct lesson lesson[PRIOR_SLOTS]; /* by slot here */
	struct response fit[PRIOR_SLOTS];  /* owned; of LESSON_CLASSES */
};
struct lenders {
	size_t n;
	struct lender *v; /* owned */
};

/* The figure of the book's reference, where the runs can tell it; else the mean of all readings;
 * 0: neither. */
double response_base(const struct model *m, const struct response *r);
/* The same of the response that a slot is about. */
double prior_base(const struct model *m, size_t slot);
/* The slot of an old book that means the same channel; false without one. */
bool prior_old_slot(const struct book *here, const struct model *old, size_t slot, size_t *out);
bool response_has_term(const struct response *r, enum term_kind kind, int a);
/* Does the user's list leave this term's adjustable out? */
bool borrow_leaves_out(const struct model *m, const struct borrow *from, const struct term *t);

/* Contrasts, values and covariance of one book's response. n stays 0 where it tells nothing.
 * False when memory is short; told_free() in any case. */
bool told_make(const struct model *m, const struct prior *p, const struct lender *s, size_t slot,
	struct told *out);
void told_free(struct told *t);

/* Spread between circuits of one kind of terms, into p->spread, from, tau and df. False when
 * memory is short. */
bool prior_find_spread(const struct model *m, struct prior *p, const struct told *told,
	size_t books, enum term_kind kind);
/* All books' contrasts into the prior's directions, mean and covariance. */
bool prior_join(struct prior *p, const struct told *told, size_t books);

/*
 * An old book's laps by class of segments as this circuit would have had them. `slot` is the old
 * book's, `lap` its response from whole laps, base[0] the old base of lap time (s), base[1] of what
 * the slot is about. *fit, with LESSON_CLASSES: effects as shares of the base here. The old
 * model's notes may grow. False: out of memory or a fit that failed, told in err.
 */
bool classes_make(struct model *old, const struct circuit *here, size_t slot, const double *base,
	const struct response *lap, struct lesson *out, struct response *fit, struct err *err);
/* How all books' effects came, as notes: by class or not, and which classes one side lacks. */
void lesson_notes(const struct model *m, struct borrowing *b);

/* Noise of the books, pooled by degrees of freedom. */
void prior_pool_noise(struct prior *p, const struct told *told, size_t books);

#endif
