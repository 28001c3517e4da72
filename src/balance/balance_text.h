/*
 * A sheet's balance in lines of plain strings that any page or table can show: the figure,
 * its change against another sheet, whether the change goes beyond the book's band, and what
 * cannot be told, in words. No curses, no files. Texts hold no bytes of files but ids.
 */
#ifndef BALANCE_BALANCE_TEXT_H
#define BALANCE_BALANCE_TEXT_H

#include "balance/balance.h"
#include "book/book.h"

enum balance_kind {
	BALANCE_STIFFNESS,
	BALANCE_TRANSFER,
	BALANCE_AERO,
	BALANCE_BRAKES,
	BALANCE_PRESSURE_FRONT, /* hot gauge pressure of this sheet's cold one */
	BALANCE_PRESSURE_REAR,
};
struct balance_line {
	enum balance_kind kind;
	const char *name;      /* static: "load transfer", "hot pressure front" */
	struct opt_num figure; /* % at the front, or kPa; has false: `words` says what is missing */
	struct opt_num change; /* against the other sheet, in the same unit */
	bool beyond;           /* the change goes beyond the band */
	double band;           /* percentage points; 0 where there is none */
	char value[32];        /* "front 50.3 %", "160.5 kPa"; "" without a figure */
	char delta[32];        /* "+0.2"; "" without a change */
	char words[240];       /* "842 N front, 829 N rear at 1.5 g"; or why there is no figure */
};
enum { BALANCE_LINES = 6 };

/*
 * The lines of `values` against `against` (may be NULL); returns their number: 0 where the
 * car has no chassis. Pressures come only where the book gives temperatures.
 */
size_t balance_lines(const struct book *b, const fix *values, const fix *against,
	struct balance_line out[BALANCE_LINES]);
/* The same without texts: value and delta are "", words too but where there is no figure. */
size_t balance_figures(const struct book *b, const fix *values, const fix *against,
	struct balance_line out[BALANCE_LINES]);
/* "beyond the band of 0.5" for a line that is; "" otherwise. Into buf; returns buf. */
const char *balance_beyond_words(const struct balance_line *l, char *buf, size_t size);
/*
 * Pressures by the book's temperatures: hot of what this sheet sets cold, and cold for the
 * book's hot target; has is false where cold pressure, temperatures or target are not given.
 * axle: 0 front, 1 rear.
 */
struct opt_num balance_hot(const struct book *b, const fix *values, int axle);
struct opt_num balance_cold_for_target(const struct book *b, int axle);

#endif
