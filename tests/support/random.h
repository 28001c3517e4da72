/* Random small books with known generators: the same on every machine. */
#ifndef TREADLIGHT_TESTS_RANDOM_H
#define TREADLIGHT_TESTS_RANDOM_H

#include "book/book.h"

struct random {
	uint64_t state;
};
struct random random_seeded(unsigned seed);
double random_uniform(struct random *r); /* [0, 1) */
unsigned random_below(struct random *r, unsigned n);
double random_normal(struct random *r);

/*
 * One or two pairs and one or two singles with few, uneven steps; soft limits, minutes,
 * locks and freezes now and then; 10 to 20 runs that move one group or several, some pairs
 * always together; lap time and wear from a random quadratic truth with noise; effort that
 * varies. Sheets "base" (the reference) and "other".
 */
void random_book(struct book *b, struct random *r);

#endif
