/*
 * What other books of the same car tell a book that borrows from them, and what becomes of
 * its own figures with it. Method, defaults and sources: doc/borrow.md.
 *
 * Effects travel on a relative scale: of lap time as a share of the base lap time, of wear as
 * a share of the channel's base wear per lap. With borrowed effects a response's figures are
 * those of the posterior, and response.own keeps what the runs here say by themselves.
 */
#ifndef MODEL_BORROW_H
#define MODEL_BORROW_H

#include "model/model.h"

/* Place of a term in the prior, -1 without it. */
struct prior;
int prior_term(const struct prior *p, enum term_kind kind, int a, int b);

/* Responses, then like-for-like wear, then lap time on its columns. */
enum { PRIOR_SLOTS = RESPONSES_MAX + 2 * CHANNELS_MAX };

/* How the spread between circuits was found. */
enum spread_from { SPREAD_DEFAULT, SPREAD_STATED, SPREAD_ESTIMATED };
#define SPREAD_USUAL                                                                               \
	1.0 /* sd between circuits as a share of an effect's size, where nothing tells it */
#define SPREAD_BESIDE 0.5 /* the same, beside an estimate from three or more books */
#define SPREAD_WEIGHT 4   /* degrees of freedom that SPREAD_BESIDE counts for */

/* sd around nought of an effect in a class of segments that a book tells nothing of, in sizes */
#define SPREAD_UNSEEN 2.0

/* How a book's effects on one response are taken here; doc/borrow.md, "Per segment class". */
enum lesson_how {
	LESSON_NONE,      /* it has none */
	LESSON_LAPS,      /* per lap */
	LESSON_CLASSES,   /* per segment class */
	LESSON_NO_COMMON, /* no class in common: not at all */
};
/* Why per lap. */
enum lesson_why { WHY_NO_SEGMENTS, WHY_NONE_HERE, WHY_NONE_THERE, WHY_FEWER };
struct lesson {
	enum lesson_how how;
	enum lesson_why why;        /* of LESSON_LAPS */
	double told[SEG_CLASSES];   /* by class, shares of a lap here; with LESSON_CLASSES */
	double untold[SEG_CLASSES]; /* classes here that the book tells nothing of: their shares */
	bool unused[SEG_CLASSES];   /* classes that it tells of, and this circuit has none of */
	double seen;                /* sum of told; 1 per lap */
};
/* "no segments here": why a book's effects are taken per lap; "" where neither side has any. */
extern const char *const lesson_whys[];

/* One response's prior on the set-up terms, shares of the base. */
struct prior {
	size_t n_books;     /* that tell something of this response */
	size_t n_classed;   /* of them, those told per segment class */
	double seen;        /* least share of a lap here that one of them tells of; 1 per lap */
	size_t n;           /* terms: all linear ones, then squares and products */
	struct term *terms; /* owned */
	size_t rank;        /* directions told; nothing is known across the others */
	double *u;          /* owned [rank * n]: orthonormal rows */
	double *mean, *cov; /* owned [rank], [rank * rank]: of u b, spread and trust included */
	double *tau;        /* owned [n]: sd between circuits */
	double *size;       /* owned [n]: what an effect's size is taken for, shares of the base */
	enum spread_from from[3]; /* of linear, square and product terms */
	double spread[3];         /* as a share of an effect's size */
	double df;                /* of cov */
	double base;              /* the unit: s or % per lap here; 0 without a reading */
	double run, lap; /* variances from run to run and lap to lap, pooled, shares squared */
	double df_run, df_lap;
};

/* An effect that the runs here and the borrowed books both tell. */
struct conflict {
	size_t slot;
	size_t term; /* of the slot's response.own */
	double here, here_se, borrowed, borrowed_se;
	double z, df, p; /* (here - borrowed) / their standard error, t distributed */
	bool beyond;     /* beyond chance: Holm (1979) over the response's terms at 5 % */
};
/* All of a response's effects told by both, together. */
struct agreement {
	bool has;
	double f, df1, df2, p;
};

enum { BORROW_NOTE_SIZE = 360 };
struct borrowing {
	size_t n_books;
	double *lo, *hi; /* owned [n_coords]: range driven by the books for lap time */
	struct prior prior[PRIOR_SLOTS];
	size_t n_conflicts;
	struct conflict *conflicts; /* owned; by slot, then term */
	struct agreement agreement[PRIOR_SLOTS];
	const struct borrow **from;            /* owned [n_books] */
	struct lesson (*lessons)[PRIOR_SLOTS]; /* owned [n_books] */
	size_t n_notes;
	char (*notes)[BORROW_NOTE_SIZE]; /* owned: what was not borrowed, and why */
};

/* The response of a slot; NULL beyond the book's channels. */
const struct response *borrow_response(const struct model *m, size_t slot);
/* What the prior alone says of a term, in units of the response here (base 0: as shares). */
struct estimate borrow_term(const struct prior *p, enum term_kind kind, int a, int b);
/* What the prior alone says of a change of values, as shares of the base; false: not told. */
bool borrow_delta(const struct model *m, const struct prior *p, const fix *values,
	const fix *against, double *mean, double *se);
/* Widen lo..hi of a coordinate by what the borrowed books were driven over. */
void borrow_range(const struct model *m, size_t coord, double *lo, double *hi);
/* The prior's mean and variance of a contrast c over its terms, as shares; false: not told. */
bool prior_contrast(const struct prior *p, const double *c, double *mean, double *variance);

/*
 * Dense form: b = (X'X + L'L)^-1 (X'y + L'm) for whitened rows X, y and whitened prior rows
 * L, m, by QR of the rows on top of each other. `own` is a finished triangle of [X y], prior
 * has n_prior rows of p + 1 numbers. Columns that nobody tells are left out.
 */
struct tri;
struct posterior {
	size_t p, rank, n_null;
	double *b, *cov, *part;     /* owned [p], [p * p], [p * p]: part = C L'L C */
	double *scale, *null_basis; /* owned, as in reml.h */
};
bool posterior_solve(const struct tri *own, const double *prior, size_t n_prior, size_t p,
	struct posterior *out);
void posterior_free(struct posterior *q);

#endif
