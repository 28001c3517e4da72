#include "store/file.h"

#include "base/text.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

uint64_t hash_bytes(const char *bytes, size_t size)
{
	uint64_t h = UINT64_C(14695981039346656037);

	for (size_t i = 0; i < size; i++) {
		h ^= (unsigned char)bytes[i];
		h *= UINT64_C(1099511628211);
	}
	return h;
}

bool stamp_same_bytes(const struct stamp *a, const struct stamp *b)
{
	return a->size == b->size && a->hash == b->hash;
}

bool stamp_equal(const struct stamp *a, const struct stamp *b)
{
	return a->dev == b->dev && a->ino == b->ino && a->mtime_s == b->mtime_s &&
	       a->mtime_ns == b->mtime_ns && stamp_same_bytes(a, b);
}

struct stamp stamp_from(const struct stat *st, size_t size, uint64_t hash)
{
	return (struct stamp){.dev = (uint64_t)st->st_dev,
		.ino = (uint64_t)st->st_ino,
		.size = size,
		.hash = hash,
		.mtime_s = (int64_t)st->st_mtim.tv_sec,
		.mtime_ns = (int64_t)st->st_mtim.tv_nsec};
}

static bool refuse_kind(const char *path, mode_t mode, struct err *err)
{
	const char *what = S_ISDIR(mode)    ? "a folder"
			   : S_ISFIFO(mode) ? "a pipe"
			   : S_ISSOCK(mode) ? "a socket"
					    : "a device";

	err_input(err, "is %s; a regular file is needed", what);
	err_at(err, path, 0, 0);
	return false;
}

static bool refuse_errno(const char *path, const char *doing, int code, struct err *err)
{
	/* What the user named wrongly is bad input; what the machine failed at is a failure. */
	if (code == ENOENT || code == ENOTDIR || code == ELOOP || code == ENAMETOOLONG ||
		code == ENXIO)
		err_input(err, "cannot be %s: %s", doing, strerror(code));
	else
		err_failed(err, "cannot be %s: %s", doing, strerror(code));
	err_at(err, path, 0, 0);
	return false;
}

/* Line and column, in characters, of the byte behind the first `max` bytes. */
static void place_of_byte(int fd, size_t max, size_t *line, size_t *col)
{
	char part[4096];
	*line = *col = 1;
	for (size_t done = 0; done < max;) {
		size_t want = max - done < sizeof part ? max - done : sizeof part;
		ssize_t got = pread(fd, part, want, (off_t)done);
		if (got <= 0)
			return;
		for (ssize_t i = 0; i < got; i++) {
			if (part[i] == '\n') {
				++*line;
				*col = 1;
			} else if (((unsigned char)part[i] & 0xC0) != 0x80) {
				++*col;
			}
		}
		done += (size_t)got;
	}
}

/* Told where the bound is passed. */
static bool refuse_size(int fd, const char *path, size_t max, struct err *err)
{
	size_t line, col;
	place_of_byte(fd, max, &line, &col);
	err_input(err, "is larger than %zu bytes, the most that is read", max);
	err_at(err, path, line, col);
	return false;
}

/* A server that is gone can look like the end of the file. */
static bool refuse_short(const char *path, size_t got, off_t size, struct err *err)
{
	err_failed(err, "cannot be read: it ends after %zu of %jd bytes; is the disk still there?",
		got, (intmax_t)size);
	err_at(err, path, 0, 0);
	errno = EIO;
	return false;
}

/* Read until the end or until max + 1 bytes: a file may grow while it is read. */
static bool read_all(
	int fd, const char *path, size_t max, char **bytes, size_t *size, struct err *err)
{
	size_t cap = *size + 1 < 4096 ? 4096 : *size + 2, len = 0;
	char *data = malloc(cap);

	while (data) {
		ssize_t got = read(fd, data + len, cap - 1 - len);
		if (got < 0 && errno == EINTR)
			continue;
		if (got < 0) {
			refuse_errno(path, "read", errno, err);
			free(data);
			return false;
		}
		len += (size_t)got;
		if (got == 0 || len > max)
			break;
		if (len == cap - 1) {
			char *more = realloc(data, cap * 2);
			if (!more)
				free(data);
			data = more;
			cap *= 2;
		}
	}
	if (!data) {
		err_memory(err);
		err_at(err, path, 0, 0);
		return false;
	}
	if (len > max) {
		free(data);
		return refuse_size(fd, path, max, err);
	}
	data[len] = '\0';
	*bytes = data;
	*size = len;
	return true;
}

bool file_read_fd(int fd, const char *path, size_t max, char **bytes, size_t *size,
	struct stamp *stamp, struct err *err)
{
	struct stat st;

	*bytes = NULL;
	*size = 0;
	if (fstat(fd, &st) != 0)
		return refuse_errno(path, "read", errno, err);
	if (!S_ISREG(st.st_mode))
		return refuse_kind(path, st.st_mode, err);
	if ((uintmax_t)st.st_size > max)
		return refuse_size(fd, path, max, err);
	*size = (size_t)st.st_size;
	if (!read_all(fd, path, max, bytes, size, err)) {
		*size = 0;
		return false;
	}
	/* Someone may have cut it meanwhile: then its size says so. */
	if ((uintmax_t)st.st_size > *size &&
		(fstat(fd, &st) != 0 || (uintmax_t)st.st_size > *size)) {
		free(*bytes);
		*bytes = NULL;
		refuse_short(path, *size, st.st_size, err);
		*size = 0;
		return false;
	}
	if (stamp)
		*stamp = stamp_from(&st, *size, hash_bytes(*bytes, *size));
	return true;
}

bool file_read(const char *path, size_t max, char **bytes, size_t *size, struct stamp *stamp,
	struct err *err)
{
	/* O_NONBLOCK: a pipe without a writer must not hold us up; O_NOCTTY: nor take a terminal.
	 */
	int fd = open(path, O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
	bool ok;

	*bytes = NULL;
	*size = 0;
	if (fd < 0)
		return refuse_errno(path, "opened", errno, err);
	ok = file_read_fd(fd, path, max, bytes, size, stamp, err);
	close(fd);
	return ok;
}

char *file_real(const char *path)
{
	char *real = realpath(path, NULL), *folder;
	const char *slash = strrchr(path, '/');
	struct buf b;

	if (real || errno != ENOENT)
		return real;
	folder = slash ? text_dup(path, (size_t)(slash + 1 - path)) : text_dup(".", 1);
	real = folder ? realpath(folder, NULL) : NULL;
	free(folder);
	if (!real)
		return NULL;
	buf_init(&b);
	buf_addf(&b, "%s/%s", real, slash ? slash + 1 : path);
	free(real);
	return buf_take(&b);
}

char *file_beside(const char *path, const char *before, const char *after)
{
	char *real = file_real(path);
	char *name = real ? strrchr(real, '/') : NULL;
	struct buf b;

	if (!name)
		return NULL;
	*name++ = '\0';
	buf_init(&b);
	buf_addf(&b, "%s/%s%s%s", real, before, name, after);
	free(real);
	return buf_take(&b);
}
