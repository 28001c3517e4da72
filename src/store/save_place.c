#include "store/save_parts.h"

#include "store/host.h"
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* The old text, set aside: in the file's folder or, where that cannot be written, in ours. */
struct copy {
	int dir; /* folder that holds it */
	bool own_dir;
	char where[512]; /* for messages */
	char name[TEMP_NAME];
};

static bool copy_fill(const struct copy *c, int fd, const char *bytes, size_t size)
{
	bool ok = write_all(fd, bytes, size) && fsync(fd) == 0;
	int code = errno;

	if (close(fd) != 0 && errno != EINTR && ok) {
		ok = false;
		code = errno;
	}
	if (ok && AGAIN(fsync(c->dir)) != 0 && errno != EINVAL) {
		ok = false;
		code = errno;
	}
	if (!ok)
		unlinkat(c->dir, c->name, 0);
	errno = code;
	return ok;
}

static bool copy_make(struct copy *c, struct job *j, const char *bytes, size_t size)
{
	char own[OWN_NAME];
	int fd;

	*c = (struct copy){.dir = j->dir};
	temp_name(j, j->name, "copy", j->stamp->hash, c->name);
	fd = (int)AGAIN(openat(c->dir, c->name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600));
	if (fd < 0 && (errno == EACCES || errno == EPERM)) {
		c->dir = state_folder(c->where, sizeof c->where, true);
		if (c->dir < 0)
			return false;
		c->own_dir = true;
		temp_sweep(j, c->dir);
		temp_own_name(j, own);
		temp_name(j, own, "copy", j->stamp->hash, c->name);
		fd = (int)AGAIN(
			openat(c->dir, c->name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600));
	}
	return fd >= 0 && copy_fill(c, fd, bytes, size);
}

static void copy_free(struct copy *c)
{
	if (c->own_dir)
		close(c->dir);
}

enum put {
	PUT_DONE,
	PUT_WRITE, /* writing failed */
	PUT_SYNC,  /* written; the disk did not confirm */
};

static enum put put_bytes(int fd, const char *bytes, size_t size)
{
	for (int i = 0; i < 5; i++) {
		if (lseek(fd, 0, SEEK_SET) != 0 || !write_all(fd, bytes, size) ||
			AGAIN(ftruncate(fd, (off_t)size)) != 0)
			return PUT_WRITE;
		if (fsync(fd) == 0)
			return PUT_DONE;
		if (errno != EINTR)
			break; /* interrupted: what was written is written again, then synced */
	}
	return PUT_SYNC;
}

/* Take the room before anything is overwritten, where the file system can say. */
static bool take_room(int fd, size_t size)
{
	if (fallocate(fd, FALLOC_FL_KEEP_SIZE, 0, (off_t)size) == 0)
		return true;
	return errno != ENOSPC && errno != EDQUOT && errno != EFBIG;
}

static enum save_outcome torn(const struct job *j, const struct copy *c, int code)
{
	err_failed(j->err,
		"is damaged: rewriting it failed (%s) and so did putting the old text "
		"back; that is kept in %s%s%s",
		strerror(code), c->where, c->where[0] ? "/" : "", c->name);
	err_at(j->err, j->path, 0, 0);
	return SAVE_FAILED;
}

static enum save_outcome rewrite(
	const struct job *j, int fd, const struct copy *c, const char *old, size_t old_size)
{
	struct stat st;
	enum put put, back;
	int code;

	if (!take_room(fd, j->size)) {
		code = errno;
		unlinkat(c->dir, c->name, 0);
		return job_failed(j, "finding room", code);
	}
	put = put_bytes(fd, j->bytes, j->size);
	if (put == PUT_DONE && fstat(fd, &st) == 0) {
		unlinkat(c->dir, c->name, 0);
		*j->stamp = stamp_from(&st, j->size, j->hash);
		return SAVE_DONE;
	}
	code = errno;
	back = put_bytes(fd, old, old_size);
	if (back != PUT_DONE) {
		struct stamp now;
		if (!peek(j->dir, j->name, &now) || !stamp_same_bytes(&now, j->stamp))
			return torn(j, c, code);
	}
	/* What a failed sync left on the disk is not known: the copy stays until the next save. */
	if (back == PUT_DONE || (put == PUT_WRITE && back == PUT_WRITE))
		unlinkat(c->dir, c->name, 0);
	return job_failed(j, "rewriting the file in place", code);
}

enum save_outcome save_in_place(struct job *j)
{
	enum save_outcome got;
	struct copy c;
	struct stamp now;
	struct err ignored;
	char *old = NULL;
	size_t old_size;
	int fd = (int)AGAIN(openat(j->dir, j->name, O_RDWR | O_NOFOLLOW | O_CLOEXEC));

	if (fd < 0 && (errno == EACCES || errno == EPERM || errno == EROFS))
		return job_read_only(j, errno); /* a server may say so only now */
	if (fd < 0)
		return job_failed(j, "opening the file", errno);
	err_clear(&ignored);
	errno = 0;
	if (!file_read_fd(fd, j->path, SAVE_MAX_BYTES, &old, &old_size, &now, &ignored)) {
		/* No reason of the system's: it has become no file, or one larger than any. */
		got = errno ? job_failed(j, "reading the file again", errno)
			    : job_conflict(j, "another program changed it since it was read");
	} else if (!stamp_same_bytes(&now, j->stamp)) {
		got = job_conflict(j, "another program changed it since it was read");
	} else if (!copy_make(&c, j, old, old_size)) {
		got = job_failed(j, "setting the old text aside", errno);
		copy_free(&c);
	} else {
		got = rewrite(j, fd, &c, old, old_size);
		copy_free(&c);
	}
	free(old);
	if (close(fd) != 0 && errno != EINTR && got == SAVE_DONE) {
		err_failed(j->err, "is written, not confirmed on disk: %s", strerror(errno));
		err_at(j->err, j->path, 0, 0);
		got = SAVE_UNCONFIRMED;
	}
	return got;
}
