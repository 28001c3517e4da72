/* Small invented books made in memory, for tests of what is computed from them. */
#ifndef TREADLIGHT_TESTS_INVENT_H
#define TREADLIGHT_TESTS_INVENT_H

#include "book/book.h"

/*
 * A car of `pairs` pairs p0, p1... (p0-front, p0-rear: -10 to 10 by 1 each) and then
 * `singles` adjustables s0, s1... of the same limits; channels "car", or "front" and
 * "rear"; one sheet "base", the reference, all values 0.
 */
void invent_book(struct book *b, size_t pairs, size_t singles, size_t channels);
/* Appends a run on all-zero values; the pointer lasts until the next call. */
struct run *invent_run(struct book *b, const char *id);
/* Appends a lap; the pointer lasts until the next call. */
struct lap *invent_lap(struct run *r, double time);
/* Index of an adjustable; fails the test if there is none. */
size_t invent_at(const struct book *b, const char *id);
void invent_set(struct book *b, struct run *r, const char *id, double value);

#endif
