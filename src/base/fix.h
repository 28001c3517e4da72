/*
 * Fixed-point values of adjustables: whole numbers of 10^-6 of the unit, so no
 * sum of nudges drifts. And the one number grammar of the program, the same in
 * every locale: -?digits[.digits][(e|E)[+-]?digits], full match, finite.
 */
#ifndef BASE_FIX_H
#define BASE_FIX_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef int64_t fix; /* millionths */
#define FIX_ONE INT64_C(1000000)
/* Values of adjustables stay within +-FIX_LIMIT (10^9 units): sums cannot overflow. */
#define FIX_LIMIT (INT64_C(1000000000) * FIX_ONE)

/* Result of reading a number. The text need not end in NUL: `len` bytes are read. */
enum num_result {
	NUM_OK = 0,
	NUM_SYNTAX,   /* not a number of the grammar */
	NUM_COMMA,    /* would be one with a point for the comma: hint at it, never guess */
	NUM_RANGE,    /* not finite, or beyond FIX_LIMIT */
	NUM_DECIMALS, /* fix_parse only: more than six decimals */
};
enum num_result num_parse(const char *text, size_t len, double *out);
enum num_result fix_parse(const char *text, size_t len, fix *out);
/* What a user should be told of a result, e.g. "is not a number; write 1.5, not 1,5". */
const char *num_explain(enum num_result r);

double fix_to_double(fix v);
/* Nearest, ties away from zero. */
fix fix_from_double(double v);

/* Shortest exact decimal ("-3.2", "130"). Returns the length, as snprintf does. */
int fix_print(fix v, char *buf, size_t size);
/* At least `decimals` decimals, more if the value needs them ("-3.20"). */
int fix_print_min(fix v, int decimals, char *buf, size_t size);
/* Decimals that multiples of v need: 0.02 -> 2, 5 -> 0. */
int fix_decimals(fix v);
/* As snprintf("%.*f") to the last digit, several times as fast up to three decimals. */
int num_fixed(double v, int decimals, char *buf, size_t size);
/* Shortest decimal that reads back as the same double, in the C locale whatever the process locale.
 */
int num_print(double v, char *buf, size_t size);

/* Lap time: seconds "91.243" or "M:SS.mmm". */
enum num_result laptime_parse(const char *text, size_t len, double *seconds);
/* "1:31.243" with the given decimals (0..3); negative times get a sign. */
int laptime_print(double seconds, int decimals, char *buf, size_t size);
/* For reading: from one minute on as laptime_print(), below it seconds alone, "46.24". */
int laptime_tell(double seconds, int decimals, char *buf, size_t size);

/* Least common multiple of two positive values; 0 when it passes FIX_LIMIT. */
fix fix_lcm(fix a, fix b);

#endif
