/*
 * Soft limits passed: a sheet's adjustables past them, in words for every screen and print of
 * that sheet. The texts come from the car profile and are not safe for a terminal as they
 * are: callers show them as any user's text.
 */
#ifndef BOOK_CAUTION_H
#define BOOK_CAUTION_H

#include "book/car.h"

enum { CAUTION_SIZE = 480 };
/* What stands above every soft limit and everything this program says; one sentence. */
extern const char *const caution_reminder;

/*
 * "Camber rear at -2.6 deg is below -2.5 deg, the soft limit of larkspur-20: beyond the
 * tyre maker's maximum camber"; "" inside the limits. Into buf; returns buf.
 */
const char *caution_words(const struct car *c, size_t adjustable, fix v, char *buf, size_t size);
/* Number of adjustables past a soft limit; their indices into out (room for n_adjustables; may
 * be NULL). */
size_t caution_list(const struct car *c, const fix *values, size_t *out);

#endif
