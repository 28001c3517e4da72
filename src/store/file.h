/*
 * Reading a file whole, within a bound, and knowing it again: a stamp is what a
 * save compares before it replaces a file that someone else may have written.
 */
#ifndef STORE_FILE_H
#define STORE_FILE_H

#include "base/err.h"
#include <stdint.h>
#include <sys/stat.h>

/* A file as it was read. All zero: there was none. */
struct stamp {
	uint64_t dev, ino, size, hash;
	int64_t mtime_s, mtime_ns;
};

/* FNV-1a, 64 bits (Fowler, Noll, Vo). */
uint64_t hash_bytes(const char *bytes, size_t size);

/*
 * Read a regular file (or a link to one) of at most `max` bytes. Folders,
 * devices, pipes and sockets are refused without blocking. On success *bytes is
 * the caller's (free()), NUL-terminated beyond `size`; stamp may be NULL.
 */
bool file_read(const char *path, size_t max, char **bytes, size_t *size, struct stamp *stamp,
	struct err *err);
/* The same from an open descriptor, which stays open; path is only for messages. */
bool file_read_fd(int fd, const char *path, size_t max, char **bytes, size_t *size,
	struct stamp *stamp, struct err *err);

/* The path with links resolved, all of it or, where nothing stands yet, its folder. NULL: errno;
 * then no other name may be taken for it, for what is kept by the right one would not be found. */
char *file_real(const char *path);
/* DIR/BEFORE + NAME + AFTER for DIR/NAME, links resolved, so that a file's other names find the
 * same. NULL: errno. The caller frees. */
char *file_beside(const char *path, const char *before, const char *after);

/* Of what fstat() says. */
struct stamp stamp_from(const struct stat *st, size_t size, uint64_t hash);
/* The same bytes: size and hash. */
bool stamp_same_bytes(const struct stamp *a, const struct stamp *b);
/* The same file, untouched since: everything. */
bool stamp_equal(const struct stamp *a, const struct stamp *b);

#endif
