/*
 * Text that may come from a file or a user, made safe to show, and a growing
 * string. No byte of a file reaches a terminal but through text_safe().
 */
#ifndef BASE_TEXT_H
#define BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Copy `len` bytes of UTF-8 into buf, at most size-1 bytes and never half a
 * character, with C0, DEL, C1, bidirectional controls, zero-width and other
 * format characters, line and paragraph separators, surrogates, noncharacters
 * and invalid bytes each shown as visible text (U+XXXX as "<202E>", a byte as "<x9B>",
 * C0 as "^[" style). Returns the bytes written (without the NUL).
 */
size_t text_safe(char *buf, size_t size, const char *text, size_t len);
/* The same where the terminal cannot show UTF-8: anything beyond ASCII becomes '?'. */
size_t text_safe_ascii(char *buf, size_t size, const char *text, size_t len);

/* Is it one of those that text_safe() tells of: C0, DEL and all that would not be seen as a
 * character of its own? */
bool text_is_hidden(unsigned cp);

/* True if the bytes are valid UTF-8 (no surrogates, no overlong forms). */
bool text_utf8_valid(const char *text, size_t len);
/* Drop, in place, the bytes that are no whole character: what a cut at a size or a precision
 * left of one. Returns text. */
char *text_mend(char *text);
/* Decode one character; returns its length in bytes (1..4), 0 if invalid or at the end. */
size_t text_utf8_next(const char *text, size_t len, unsigned *cp);
/* Encode one character (below U+110000); returns its length in bytes (1..4). */
size_t text_utf8_put(unsigned cp, char out[4]);

/* Ids: [a-z0-9][a-z0-9-]{0,63}. */
enum { ID_MAX = 64, ID_SIZE = ID_MAX + 1 };
bool text_is_id(const char *text, size_t len);

/* A growing string. After a failed allocation `failed` is set and adds do nothing. */
struct buf {
	char *data; /* owned; NUL-terminated once anything was added; may be NULL */
	size_t len, cap;
	bool failed;
};
void buf_init(struct buf *b);
void buf_free(struct buf *b);
void buf_add(struct buf *b, const char *text, size_t len);
void buf_adds(struct buf *b, const char *text);
void buf_addf(struct buf *b, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
/* Hand the string over to the caller (free()); NULL if an allocation failed. */
char *buf_take(struct buf *b);

/* strdup of len bytes; NULL when out of memory. */
char *text_dup(const char *text, size_t len);

#endif
