/* Journals that are there: looked for, told apart, dropped. */
#include "store/journal_parts.h"

#include "store/host.h"
#include "store/save_parts.h"
#include <fcntl.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

bool journal_fault(struct err *err, const char *path, const char *step, int code)
{
	err_failed(err, "edits are not safe from a crash: %s the journal failed: %s", step,
		strerror(code));
	err_at(err, path, 0, 0);
	return false;
}

bool journal_no_memory(struct err *err, const char *path)
{
	err_memory(err);
	err_at(err, path, 0, 0);
	return false;
}

/* --- names --- */

char *journal_beside(const char *file)
{
	return file_beside(file, ".", ".journal");
}

/* A folder that is not there, or not ours, holds no journal of ours. */
static bool has_none(int code)
{
	return code == ENOENT || code == ENOTDIR || code == EACCES || code == ENAMETOOLONG ||
	       code == ELOOP;
}

bool journal_own(const char *file, bool make, char **path)
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

char *journal_name(const char *first, int n)
{
	struct buf b;

	buf_init(&b);
	buf_adds(&b, first);
	if (n > 0)
		buf_addf(&b, "-%d", n + 1);
	return buf_take(&b);
}

/* --- whose it is --- */

enum grip journal_grip(int fd, int how)
{
	if (AGAIN(flock(fd, how | LOCK_NB)) == 0)
		return GRIP_OURS;
	return errno == EWOULDBLOCK ? GRIP_BUSY : GRIP_UNKNOWN;
}

/* NFS and others keep an open file under a hidden name when it is deleted: its links do not tell.
 */
bool journal_is_gone(int fd, const char *path)
{
	struct stat st;

	if (fstat(fd, &st) != 0 || st.st_nlink == 0)
		return true;
	return lstat(path, &st) != 0 && errno == ENOENT;
}

/* 1: the same, 0: another, -1: cannot be told. */
static int compare(int fd, const char *path)
{
	struct stat open, there;

	if (fstat(fd, &open) != 0 || lstat(path, &there) != 0)
		return -1;
	return open.st_dev == there.st_dev && open.st_ino == there.st_ino;
}

bool journal_is_replaced(int fd, const char *path)
{
	return compare(fd, path) == 0;
}

bool journal_is_at(int fd, const char *path)
{
	return compare(fd, path) == 1;
}

bool journal_clear_empty(const char *path)
{
	int fd = (int)AGAIN(open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
	char bytes[JOURNAL_HEAD + 1];
	bool gone = false;

	if (fd < 0)
		return false;
	if (journal_grip(fd, LOCK_EX) == GRIP_OURS) {
		ssize_t n = AGAIN(pread(fd, bytes, sizeof bytes, 0));
		if (n >= 0 && n <= JOURNAL_HEAD && journal_is_torn(bytes, (size_t)n) &&
			journal_is_at(fd, path))
			gone = unlink(path) == 0;
	}
	close(fd);
	return gone;
}

/* --- reading --- */

/* A journal's bytes; *bytes NULL if there is none. *busy: a process that lives has it. */
static bool load(const char *path, char **bytes, struct stamp *stamp, bool *busy, struct err *err)
{
	int fd = (int)AGAIN(open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
	size_t size;
	bool ok;

	*bytes = NULL;
	if (fd < 0 && (errno == ENOENT || errno == ENOTDIR))
		return true;
	if (fd < 0) {
		err_failed(
			err, "the journal of unsaved edits cannot be opened: %s", strerror(errno));
		err_at(err, path, 0, 0);
		return false;
	}
	ok = file_read_fd(fd, path, 2 * JOURNAL_MAX_BYTES, bytes, &size, stamp, err);
	*busy = ok && journal_grip(fd, LOCK_SH) == GRIP_BUSY;
	close(fd);
	return ok;
}

static bool is_damaged(const char *path, struct err *err)
{
	err_failed(err, "the journal of unsaved edits is damaged from its start; it is kept until "
			"you remove it");
	err_at(err, path, 0, 0);
	return false;
}

/* What stands at one name. False: it cannot be read. */
static bool read_one(const char *path, const struct stamp *now, struct recovery *r, struct err *err)
{
	const int slot = r->slot;
	struct stamp stamp, base;
	size_t valid;
	char *bytes;
	bool busy, ok, begun = false; /* begun, and nothing came yet */

	if (!load(path, &bytes, &stamp, &busy, err))
		return false;
	if (!bytes)
		return true;
	ok = journal_read_text(bytes, stamp.size, r, &base, &valid);
	if (ok && r->n_records == 0)
		begun = busy || journal_is_torn(bytes, stamp.size);
	free(bytes);
	if (ok && r->n_records > 0 && (r->path = text_dup(path, strlen(path)))) {
		r->busy = busy;
		r->stamp = stamp;
		r->same_base = stamp_same_bytes(&base, now);
		r->when = stamp.mtime_s;
	} else {
		ok = begun || (ok && r->n_records == 0 ? is_damaged(path, err)
						       : journal_no_memory(err, path));
		recovery_free(r);
	}
	r->slot = slot;
	return ok;
}

/* From the name r->slot on. */
static bool look(const char *file, const struct stamp *now, struct recovery *r, struct err *err)
{
	char *first = NULL;
	bool ok = true;

	for (; ok && !r->found && r->slot < 2 * JOURNALS_MAX; r->slot++) {
		const int n = r->slot % JOURNALS_MAX;
		if (n == 0 || !first) {
			free(first);
			first = NULL;
			if (r->slot < JOURNALS_MAX)
				ok = (first = journal_beside(file)) != NULL;
			else
				ok = journal_own(file, false, &first);
		}
		if (!ok)
			journal_fault(err, file, "looking for", errno);
		if (!ok || !first) { /* none of these names, then */
			r->slot += JOURNALS_MAX - 1 - n;
			continue;
		}
		char *path = journal_name(first, n);
		ok = path ? read_one(path, now, r, err) : journal_no_memory(err, file);
		free(path);
	}
	free(first);
	return ok;
}

bool journal_recover(const char *file, const struct stamp *now, struct recovery *r, struct err *err)
{
	*r = (struct recovery){0};
	return look(file, now, r, err);
}

bool journal_recover_next(
	const char *file, const struct stamp *now, struct recovery *r, struct err *err)
{
	const int slot = r->slot;

	recovery_free(r);
	r->slot = slot;
	return look(file, now, r, err);
}

/* --- taking hold, dropping --- */

int journal_claim(const struct recovery *r, struct err *err)
{
	int fd = (int)AGAIN(open(r->path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
	struct stamp stamp;
	size_t size;
	char *bytes;

	if (fd < 0 && errno == ENOENT)
		err_failed(err, "they were taken or dropped elsewhere meanwhile");
	else if (fd < 0)
		err_failed(err, "their journal cannot be opened: %s", strerror(errno));
	else if (journal_grip(fd, LOCK_EX) == GRIP_BUSY)
		err_failed(err, "another session works on them");
	else if (file_read_fd(fd, r->path, 2 * JOURNAL_MAX_BYTES, &bytes, &size, &stamp, err)) {
		free(bytes);
		if (stamp_same_bytes(&stamp, &r->stamp) && journal_is_at(fd, r->path))
			return fd;
		err_failed(err, "their journal was changed since it was read");
	}
	err_at(err, r->path, 0, 0);
	if (fd >= 0)
		close(fd);
	return -1;
}

bool journal_unlink(const char *path, struct err *err)
{
	if (unlink(path) == 0 || errno == ENOENT || errno == ENOTDIR)
		return true;
	err_failed(err, "the journal cannot be removed: %s", strerror(errno));
	err_at(err, path, 0, 0);
	return false;
}

bool journal_drop(const struct recovery *r, struct err *err)
{
	int fd = journal_claim(r, err);
	bool ok = fd >= 0 && journal_unlink(r->path, err);

	if (fd >= 0)
		close(fd);
	return ok;
}
