#include "table.h"
#include "support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static size_t count(const char *text, char c, const char *stop)
{
	size_t n = 0;
	for (; *text && !strchr(stop, *text); text++)
		n += *text == c;
	return n;
}

struct table table_read(const char *name)
{
	struct table t = {0};
	char *path = test_data(name);
	t.bytes = test_slurp(path, NULL);
	t.cols = count(t.bytes, ',', "\n") + 1;
	size_t lines = count(t.bytes, '\n', "");
	if (lines && t.bytes[strlen(t.bytes) - 1] != '\n')
		lines++;
	ck_assert_uint_ge(lines, 2);
	t.rows = lines - 1;
	t.cell = calloc(lines * t.cols, sizeof *t.cell);
	ck_assert_ptr_nonnull(t.cell);
	char *p = t.bytes;
	for (size_t i = 0; i < lines * t.cols; i++) {
		size_t len = strcspn(p, ",\r\n");
		t.cell[i] = p;
		p += len;
		if (*p == '\r')
			*p++ = '\0';
		if (*p)
			*p++ = '\0';
	}
	ck_assert_msg(*p == '\0', "%s: rows of unequal length", path);
	free(path);
	return t;
}

void table_free(struct table *t)
{
	free(t->bytes);
	free(t->cell);
	memset(t, 0, sizeof *t);
}

static size_t column_of(const struct table *t, const char *column)
{
	for (size_t c = 0; c < t->cols; c++)
		if (strcmp(t->cell[c], column) == 0)
			return c;
	ck_abort_msg("no column %s", column);
	return 0;
}

const char *table_text(const struct table *t, size_t row, const char *column)
{
	ck_assert_uint_lt(row, t->rows);
	return t->cell[(row + 1) * t->cols + column_of(t, column)];
}

static double to_number(const char *text)
{
	char *end;
	double v = strtod(text, &end);
	if (end == text)
		return NAN;
	return *end == '/' ? v / strtod(end + 1, NULL) : v;
}

double table_number(const struct table *t, size_t row, const char *column)
{
	return to_number(table_text(t, row, column));
}

double table_at(const struct table *t, size_t row, size_t col)
{
	ck_assert_uint_lt(row, t->rows);
	ck_assert_uint_lt(col, t->cols);
	return to_number(t->cell[(row + 1) * t->cols + col]);
}
