/*
 * Figures as text: never more digits than the interval supports, deltas signed,
 * points of a column under each other. And the columns that a car's values take.
 */
#ifndef TUI_FMT_H
#define TUI_FMT_H

#include "model/model.h"

enum { FMT_SIZE = 40 };

/* Decimals worth showing for a figure known to +-half, at most `most`. */
int fmt_decimals(double half, int most);
/* Decimals for an estimate; `most` where it has no interval. */
int fmt_estimate_decimals(const struct estimate *e, int most);
/* "+0.18", "0.00"; zero has no sign. */
const char *fmt_signed(double v, int decimals, char *buf);
const char *fmt_plain(double v, int decimals, char *buf);
/* "-0.17 to -0.07"; "no interval" where there is none, "" where nothing is known. */
const char *fmt_interval(const struct estimate *e, int decimals, char *buf);
/* "1:38.420" */
const char *fmt_lap(double seconds, int decimals, char *buf);
/* "71 in 100", or "71/100" where room is short; never 0 or 100. */
const char *fmt_chance(double p, bool brief, char *buf);

/* "Bar, fr - rear" for "Bar, front against rear", in place, where the words are wider than this. */
char *fmt_shorter(char *words, int width);
/* An id for a text, cut at this many columns; what is cut ends in ~. */
const char *fmt_id(const char *id, int width, char buf[ID_SIZE]);

/* Value of an adjustable, as its step has it. */
const char *fmt_value(const struct adjustable *a, fix v, char *buf);
/* Front minus rear of a pair, as the finer of both steps has it. */
const char *fmt_difference(
	const struct car *car, const struct pair *p, const fix *values, char *buf);
/* Columns of the longest label; of the widest value within the limits, front or rear and of the
 * whole car; of the widest front minus rear of a pair. */
struct fmt_widths {
	int label, value, single, difference;
};
struct fmt_widths fmt_widths(const struct car *car);

#endif
