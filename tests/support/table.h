/*
 * A plain comma-separated table for tests: a header, no quoting, every row as long.
 * Numbers may be fractions ("-1/3"); what is no number reads as NAN.
 */
#ifndef TREADLIGHT_TESTS_TABLE_H
#define TREADLIGHT_TESTS_TABLE_H

#include <stddef.h>

struct table {
	size_t rows, cols;
	char *bytes;       /* owned */
	const char **cell; /* owned; [(rows + 1) * cols], the header first */
};

/* Reads tests/data/NAME; fails the test on error. */
struct table table_read(const char *name);
void table_free(struct table *t);
/* The cell below the column of that header; fails the test if there is none. */
const char *table_text(const struct table *t, size_t row, const char *column);
double table_number(const struct table *t, size_t row, const char *column);
/* By position. */
double table_at(const struct table *t, size_t row, size_t col);

#endif
