/*
 * A sheet: one value per adjustable of the car, which pairs are locked, which hold the
 * load-transfer share, what is frozen. A pair is locked or holds the share, never both.
 */
#ifndef BOOK_SHEET_H
#define BOOK_SHEET_H

#include "book/car.h"

struct sheet {
	char id[ID_SIZE];
	char *name, *notes; /* owned; NULL if none */
	size_t n_values;    /* = car.n_adjustables */
	fix *values;        /* owned */
	size_t n_pairs;
	bool *locked;     /* owned, per pair */
	bool *share_held; /* owned, per pair: of springs or bars (doc/balance.md) */
	bool *frozen;     /* owned, per adjustable */
};

void sheet_init(struct sheet *s);
void sheet_free(struct sheet *s);
/* Arrays for this car, values at min. False when out of memory (s is left empty). */
bool sheet_alloc(struct sheet *s, const struct car *c);
/* Deep copy; dst is overwritten (must be empty or initialised). False: out of memory, dst empty. */
bool sheet_copy(struct sheet *dst, const struct sheet *src);
/* Same values, locks, holds and freezes. */
bool sheet_equal(const struct sheet *a, const struct sheet *b);
/* Number of adjustables whose values differ. */
size_t sheet_count_changes(const struct sheet *a, const struct sheet *b);

#endif
