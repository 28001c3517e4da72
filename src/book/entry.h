/*
 * Runs typed in the garage: a lap on one line, a run's conditions on another. What is typed
 * short is read by one rule and shown in full at once; nothing is guessed.
 *
 * A lap: TIME [WEAR of each channel] [EFFORT] [why it is skipped]
 *   1:31.243 2.41 2.66 97
 *   131243 241 266 97          the same: digits alone, the points left out
 *   131243 241266 97           figures of 3 or 4 digits each may be run together
 *   1:42.1 - - 96 traffic      '-': no reading; words: skipped, and why
 * Time of digits alone: thousandths are the last three, seconds the two before, minutes the
 * rest. Wear of digits alone has `decimals` of them behind the point. With two channels or more a
 * single figure behind the time is the effort.
 */
#ifndef BOOK_ENTRY_H
#define BOOK_ENTRY_H

#include "base/err.h"
#include "book/book.h"

enum entry_mode {
	ENTRY_WEAR, /* figures are what the lap used */
	ENTRY_WORN  /* figures are the totals that the car shows after the lap */
};
enum { ENTRY_DECIMALS = 2, ENTRY_SIZE = 512 };

/* How a run's laps have been entered: totals where it has any, the decimals that its figures need.
 */
enum entry_mode entry_mode_of(const struct run *r);
int entry_decimals_of(const struct run *r, size_t n_channels);

/* Fills l, which must be empty; l->skip is owned. False: err says what is wrong, l is empty. */
bool entry_parse_lap(struct lap *l, const char *text, size_t n_channels, enum entry_mode mode,
	int decimals, struct err *err);
/* The lap as text that reads back as the same lap; returns buf (ENTRY_SIZE bytes). */
const char *entry_print_lap(
	const struct lap *l, size_t n_channels, enum entry_mode mode, char *buf, size_t size);

/*
 * Conditions: "fuel=24 fuel-per-lap=1.9 track-temp=31 tyre-age=0 driver=a session=sat-am
 * compound=medium worn=14.2/15.1"; a key left out or empty: not known. `worn` is worn-at-start, a
 * figure for each channel. Only these fields of r are set.
 */
bool entry_parse_conditions(struct run *r, const char *text, size_t n_channels, struct err *err);
const char *entry_print_conditions(const struct run *r, size_t n_channels, char *buf, size_t size);

/* An id that no run of the book has: the last run's, counted up. */
void entry_next_id(const struct book *b, char id[ID_SIZE]);
/* The same, counted up from `last` (NULL: the first of all). */
void entry_id_after(const struct book *b, const char *last, char id[ID_SIZE]);

#endif
