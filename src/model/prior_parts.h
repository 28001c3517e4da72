/*
 * What the files of the prior share and nobody else needs: prior_told.c finds what each
 * borrowed book can tell, prior_spread.c how books differ, prior.c puts that together.
 * Method and sources: doc/borrow.md.
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
	const struct response *r;
	double base, trust;
	const struct borrow *from;
};

/* A book borrowed from, and its fits. */
struct source {
	const struct model *m; /* owned */
	const struct borrow *from;
};

/* The reference's figure, where the runs can tell it; else the mean of all readings. */
double prior_base(const struct model *m, size_t slot);
/* The slot of an old book that means the same channel; false without one. */
bool prior_old_slot(const struct model *m, const struct model *old, size_t slot, size_t *out);
bool response_has_term(const struct response *r, enum term_kind kind, int a);
/* Does the user's list leave this term's adjustable out? */
bool borrow_leaves_out(const struct model *m, const struct borrow *from, const struct term *t);

/* Contrasts, values and covariance of one book's response. n stays 0 where it tells nothing.
 * False when memory is short; told_free() in any case. */
bool told_make(const struct model *m, const struct prior *p, const struct source *s, size_t slot,
	struct told *out);
void told_free(struct told *t);

/* Spread between circuits of one kind of terms, into p->spread, from, tau and df. False when
 * memory is short. */
bool prior_find_spread(const struct model *m, struct prior *p, const struct told *told,
	size_t books, enum term_kind kind);
/* Noise of the books, pooled by degrees of freedom. */
void prior_pool_noise(struct prior *p, const struct told *told, size_t books);

#endif
