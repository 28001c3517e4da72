#include "store/journal_text.h"

#include "store/host.h"
#include "store/path.h"
#include "store/save_parts.h"
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void journal_init(struct journal *j)
{
	*j = (struct journal){.fd = -1};
	buf_init(&j->text);
}

bool journal_is_open(const struct journal *j)
{
	return j->fd >= 0;
}

void journal_close(struct journal *j)
{
	if (j->fd >= 0)
		close(j->fd);
	free(j->path);
	buf_free(&j->text);
	journal_init(j);
}

static bool fault(struct err *err, const char *path, const char *step, int code)
{
	err_failed(err, "edits are not safe from a crash: %s the journal failed: %s", step,
		strerror(code));
	err_at(err, path, 0, 0);
	return false;
}

static bool no_memory(struct err *err, const char *path)
{
	err_memory(err);
	err_at(err, path, 0, 0);
	return false;
}

/* DIR/.NAME.journal for DIR/NAME, links resolved. NULL: errno. */
static char *path_beside(const char *file)
{
	return file_beside(file, ".", ".journal");
}

/* A folder that is not there, or not ours, holds no journal of ours. */
static bool has_none(int code)
{
	return code == ENOENT || code == ENOTDIR || code == EACCES || code == ENAMETOOLONG ||
	       code == ELOOP;
}

/* The same file's journal in the user's own folder; *path is NULL where there is no such folder.
 * False: errno; there may be one all the same. */
static bool path_own(const char *file, bool make, char **path)
{
	char *real = file_real(file);
	char folder[512];
	int dir;
	struct buf b;

	*path = NULL;
	if (!real)
		return false;
	buf_init(&b);
	dir = state_folder(folder, sizeof folder, make);
	if (dir >= 0) {
		close(dir);
		buf_addf(&b, "%s/%016" PRIx64 ".%s.journal", folder, hash_bytes(real, strlen(real)),
			strrchr(real, '/') + 1);
		*path = buf_take(&b);
	}
	int code = errno;
	free(real);
	errno = code;
	return *path || (dir < 0 && has_none(code));
}

/* Never more than the owner may read, and not even that where the sheet forbids it. */
static mode_t journal_mode(const char *file)
{
	struct stat st;

	return stat(file, &st) == 0 ? st.st_mode & 0600 : 0600;
}

static bool put_text(struct journal *j, const char *file, struct err *err)
{
	if (write_all(j->fd, j->text.data, j->text.len))
		return true;
	fault(err, file, "writing", errno);
	unlink(j->path);
	return false;
}

static bool start_new(
	struct journal *j, const char *file, const struct stamp *base, struct err *err)
{
	int flags = O_WRONLY | O_CREAT | O_EXCL | O_APPEND | O_NOFOLLOW | O_CLOEXEC;
	mode_t mode = journal_mode(file);

	journal_add_header(&j->text, base);
	if (j->text.failed)
		return no_memory(err, file);
	j->fd = (int)AGAIN(open(j->path, flags, mode));
	if (j->fd < 0 && (errno == EACCES || errno == EROFS || errno == EPERM)) {
		char *own;
		if (path_own(file, true, &own) && own) {
			free(j->path);
			j->path = own;
			j->fd = (int)AGAIN(open(own, flags, mode));
		}
	}
	if (j->fd < 0)
		return fault(err, file, "making", errno);
	return put_text(j, file, err);
}

/* A journal's bytes; *bytes NULL if there is none. */
static bool load(const char *path, char **bytes, size_t *size, struct stamp *stamp, struct err *err)
{
	int fd = (int)AGAIN(open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
	bool ok;

	*bytes = NULL;
	*size = 0;
	if (fd < 0 && (errno == ENOENT || errno == ENOTDIR))
		return true;
	if (fd < 0) {
		err_failed(
			err, "the journal of unsaved edits cannot be opened: %s", strerror(errno));
		err_at(err, path, 0, 0);
		return false;
	}
	ok = file_read_fd(fd, path, 2 * JOURNAL_MAX_BYTES, bytes, size, stamp, err);
	close(fd);
	return ok;
}

/* Find the journal that is there: beside the file, else in the own folder. *path is NULL if
 * there is none. */
static bool find(const char *file, char **path, char **bytes, size_t *size, struct stamp *stamp,
	struct err *err)
{
	*bytes = NULL;
	*path = path_beside(file);
	if (!*path)
		return fault(err, file, "looking for", errno);
	if (load(*path, bytes, size, stamp, err) && !*bytes) {
		free(*path);
		if (!path_own(file, false, path))
			return fault(err, file, "looking for", errno);
		if (!*path)
			return true;
		if (load(*path, bytes, size, stamp, err) && !*bytes) {
			free(*path);
			*path = NULL;
			return true;
		}
	}
	if (*bytes)
		return true;
	free(*path);
	*path = NULL;
	return false;
}

/* Go on behind the last valid record. */
static bool go_on(
	struct journal *j, const char *file, const char *bytes, size_t valid, struct err *err)
{
	buf_add(&j->text, bytes, valid);
	if (j->text.failed)
		return no_memory(err, file);
	j->fd = (int)AGAIN(open(j->path, O_WRONLY | O_APPEND | O_NOFOLLOW | O_CLOEXEC));
	if (j->fd < 0)
		return fault(err, file, "opening", errno);
	if (AGAIN(ftruncate(j->fd, (off_t)valid)) != 0)
		return fault(err, file, "cutting", errno);
	return true;
}

static bool open_found(struct journal *j, const char *file, const struct stamp *base,
	const char *bytes, size_t size, struct err *err)
{
	struct recovery r;
	struct stamp was;
	size_t valid;
	bool empty, same;

	if (!journal_read_text(bytes, size, &r, &was, &valid))
		return no_memory(err, file);
	empty = r.n_records == 0;
	same = r.found && stamp_same_bytes(&was, base);
	recovery_free(&r);
	if (same)
		return go_on(j, file, bytes, valid, err);
	if (empty) {
		unlink(j->path);
		free(j->path);
		j->path = path_beside(file);
		return j->path ? start_new(j, file, base, err) : fault(err, file, "making", errno);
	}
	err_input(err,
		"unsaved edits of another state of this file are kept in %s; take or "
		"drop them first",
		j->path);
	err_at(err, file, 0, 0);
	return false;
}

bool journal_open(struct journal *j, const char *file, const struct stamp *base, struct err *err)
{
	struct stamp stamp;
	char *bytes;
	size_t size;
	bool ok;

	journal_init(j);
	if (!find(file, &j->path, &bytes, &size, &stamp, err))
		return false;
	if (bytes) {
		ok = open_found(j, file, base, bytes, size, err);
	} else {
		j->path = path_beside(file);
		ok = j->path ? start_new(j, file, base, err) : fault(err, file, "making", errno);
	}
	free(bytes);
	if (!ok)
		journal_close(j);
	return ok;
}

/* All of the text into a new file that takes the journal's place. */
static bool rewrite(struct journal *j, struct err *err)
{
	int flags = O_WRONLY | O_CREAT | O_EXCL | O_APPEND | O_NOFOLLOW | O_CLOEXEC;
	struct stat st;
	struct buf temp;
	int fd, code;

	buf_init(&temp);
	buf_addf(&temp, "%s.new", j->path);
	if (temp.failed)
		return no_memory(err, j->path);
	unlink(temp.data);
	fd = (int)AGAIN(open(temp.data, flags, fstat(j->fd, &st) == 0 ? st.st_mode & 0600 : 0600));
	if (fd < 0 || !write_all(fd, j->text.data, j->text.len) || fsync(fd) != 0 ||
		AGAIN(rename(temp.data, j->path)) != 0) {
		code = errno;
		if (fd >= 0) {
			close(fd);
			unlink(temp.data);
		}
		buf_free(&temp);
		return fault(err, j->path, "rewriting", code);
	}
	buf_free(&temp);
	close(j->fd);
	j->fd = fd;
	j->since = 0;
	j->entered = j->torn = false;
	return true;
}

/* Too long: only the last value of each key matters. */
static bool squeeze(struct journal *j, struct err *err)
{
	struct recovery r;
	struct stamp base;
	struct buf was = j->text;
	size_t valid;
	bool ok;

	if (!journal_read_text(was.data, was.len, &r, &base, &valid))
		return no_memory(err, j->path);
	buf_init(&j->text);
	journal_add_header(&j->text, &base);
	journal_add_record(&j->text, r.changes, changes_squeeze(r.changes, r.n_changes));
	recovery_free(&r);
	ok = !j->text.failed;
	if (!ok) {
		no_memory(err, j->path);
	} else if (j->text.len > JOURNAL_MAX_BYTES / 2) {
		err_failed(err, "the journal of unsaved edits is full; save");
		err_at(err, j->path, 0, 0);
		ok = false;
	}
	ok = ok && rewrite(j, err);
	if (ok) {
		buf_free(&was);
	} else {
		buf_free(&j->text);
		j->text = was;
	}
	return ok;
}

/* Back to `len` bytes, in memory and on the disk. */
static void cut_back(struct journal *j, size_t len)
{
	j->text.len = len;
	j->text.failed = false;
	j->text.data[len] = '\0'; /* the head stands before it */
	j->torn = AGAIN(ftruncate(j->fd, (off_t)len)) != 0;
}

bool journal_append(struct journal *j, const struct change *changes, size_t n, struct err *err)
{
	size_t len = j->text.len;

	if (j->fd < 0)
		return err_failed(err, "the journal is not open");
	/* Nothing behind a torn record would be read again. */
	if (j->torn && !rewrite(j, err))
		return false;
	journal_add_record(&j->text, changes, n);
	if (j->text.failed) {
		cut_back(j, len);
		return no_memory(err, j->path);
	}
	if (!write_all(j->fd, j->text.data + len, j->text.len - len)) {
		int code = errno;
		cut_back(j, len);
		return fault(err, j->path, "writing", code);
	}
	if (j->since == 0)
		j->since = monotonic_seconds() + 1; /* never 0 */
	if (j->text.len <= JOURNAL_MAX_BYTES || squeeze(j, err))
		return true;
	cut_back(j, len); /* else it grows until nobody would read it */
	return false;
}

int journal_due(const struct journal *j)
{
	int64_t left;

	if (j->fd < 0 || j->since == 0)
		return -1;
	/* Seconds are whole: a sync at 3 is within 4. */
	left = j->since - 1 + JOURNAL_SYNC_SECONDS - 1 - monotonic_seconds();
	return left > 0 ? (int)left : 0;
}

/* NFS and others keep an open file under a hidden name when it is deleted: its links do not tell.
 */
static bool is_deleted(const struct journal *j)
{
	struct stat st;

	if (fstat(j->fd, &st) != 0 || st.st_nlink == 0)
		return true;
	return lstat(j->path, &st) != 0 && errno == ENOENT;
}

bool journal_sync(struct journal *j, struct err *err)
{
	if (j->fd < 0 || j->since == 0)
		return true;
	/* Deleted under us, or a disk that failed once: a new file. */
	if (is_deleted(j) || fsync(j->fd) != 0) {
		if (!rewrite(j, err)) {
			j->since = monotonic_seconds() + 1; /* again in some seconds */
			return false;
		}
	}
	j->since = 0;
	if (!j->entered && !path_sync_folder(j->path))
		return fault(err, j->path, "confirming", errno);
	j->entered = true;
	return true;
}

static bool remove_path(const char *path, struct err *err)
{
	if (unlink(path) == 0 || errno == ENOENT || errno == ENOTDIR)
		return true;
	err_failed(err, "the journal cannot be removed: %s", strerror(errno));
	err_at(err, path, 0, 0);
	return false;
}

bool journal_discard(struct journal *j, struct err *err)
{
	bool ok = j->fd < 0 || remove_path(j->path, err);

	journal_close(j);
	return ok;
}

bool journal_remove(const char *file, struct err *err)
{
	char *beside = path_beside(file), *own = NULL;
	bool ok = beside && path_own(file, false, &own);

	if (!ok)
		fault(err, file, "looking for", errno);
	ok = ok && remove_path(beside, err) && (!own || remove_path(own, err));
	free(beside);
	free(own);
	return ok;
}

bool journal_recover(const char *file, const struct stamp *now, struct recovery *r, struct err *err)
{
	struct stamp stamp, base;
	char *path, *bytes;
	size_t size, valid;
	bool ok;

	*r = (struct recovery){0};
	if (!find(file, &path, &bytes, &size, &stamp, err))
		return false;
	if (!bytes)
		return true;
	ok = journal_read_text(bytes, size, r, &base, &valid);
	if (!ok)
		no_memory(err, file);
	else if (r->n_records == 0)
		recovery_free(r); /* begun, and nothing came */
	if (ok && r->found) {
		r->same_base = stamp_same_bytes(&base, now);
		r->when = stamp.mtime_s;
	}
	free(bytes);
	free(path);
	return ok;
}
