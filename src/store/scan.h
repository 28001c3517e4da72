/*
 * The look at a YAML file's bytes before the parser sees them: characters that
 * may not stand in it, directives (which cost libyaml seconds when there are
 * many), and the map from the parser's character counts to bytes, lines and columns.
 */
#ifndef STORE_SCAN_H
#define STORE_SCAN_H

#include "base/err.h"
#include <stdint.h>

/* Where something stands: byte from 0; line and column from 1, columns in characters. */
struct place {
	size_t byte, line, col;
};

struct scan {
	const char *bytes; /* borrowed */
	size_t size;
	size_t bom;   /* bytes of a byte order mark at the start: 0 or 3 */
	bool ascii;   /* characters are bytes; no checkpoints */
	uint32_t *at; /* owned: byte, line and column of every SCAN_EVERY-th character */
	size_t n_at;
};
enum { SCAN_EVERY = 64 };

/* False: err says what and where (without the file). bytes must outlive s. */
bool scan_start(struct scan *s, const char *bytes, size_t size, struct err *err);
void scan_free(struct scan *s);

/* The place of the index-th character behind the byte order mark, of the end where there are fewer;
 * line and column (from 0) are the parser's own, right as they are where there are only ASCII
 * characters. */
struct place scan_char(const struct scan *s, size_t index, size_t line, size_t column);

#endif
