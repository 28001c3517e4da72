/* The journal's text, apart from any file. */
#ifndef STORE_JOURNAL_TEXT_H
#define STORE_JOURNAL_TEXT_H

#include "store/journal.h"

/*
 * "treadlight-journal 1 SIZE HASH\n" (of the base file, hexadecimal), then for each record
 * "+LENGTH HASH\n", LENGTH bytes of "key=value\n" lines, "\n". In keys and values '%', '='
 * and control characters are %XX. A record counts when all of it is there and its hash is right.
 */
enum { JOURNAL_HEAD = 55 }; /* bytes of the first line */
void journal_add_header(struct buf *b, const struct stamp *base);
void journal_add_record(struct buf *b, const struct change *changes, size_t n);

/* As journal_parse(); *valid is where the valid prefix ends (0: no header). */
bool journal_read_text(
	const char *bytes, size_t size, struct recovery *r, struct stamp *base, size_t *valid);

/* A journal that was begun and ends within its first record: no edit in it was told as safe. */
bool journal_is_torn(const char *bytes, size_t size);

/* The last value of each key, in the order of their last record. In place; returns how many. */
size_t changes_squeeze(struct change *changes, size_t n);

#endif
