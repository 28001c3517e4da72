#include "store/journal_parts.h"

#include "store/host.h"
#include "store/path.h"
#include "store/save_parts.h"
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
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
	free(j->file);
	free(j->path);
	buf_free(&j->text);
	journal_init(j);
}

enum { MAKE_FLAGS = O_WRONLY | O_CREAT | O_EXCL | O_APPEND | O_NOFOLLOW | O_CLOEXEC };

/* What is open and written at `path` is the journal from now on; path is the journal's. */
static void move_in(struct journal *j, int fd, char *path)
{
	if (j->fd >= 0)
		close(j->fd);
	if (path != j->path)
		free(j->path);
	j->fd = fd;
	j->path = path;
	j->traced = journal_is_at(fd, path);
	j->looked = monotonic_seconds();
	j->entered = j->torn = j->sick = false;
}

/* All of the text into a new file at `path`, safe on disk if `sync`: 0, or errno (EEXIST: taken).
 */
static int make_at(struct journal *j, char *path, bool sync)
{
	int fd = (int)AGAIN(open(path, MAKE_FLAGS, 0600));
	int code = 0;

	if (fd < 0)
		return errno;
	/* Whoever clears away what others began may be quicker. */
	if (journal_grip(fd, LOCK_EX) == GRIP_BUSY || journal_is_gone(fd, path))
		code = EEXIST;
	else if (!write_all(fd, j->text.data, j->text.len) ||
		 (sync && (fsync(fd) != 0 || !path_sync_folder(path))))
		code = errno;
	if (code == 0) {
		move_in(j, fd, path);
		j->entered = sync;
		return 0;
	}
	if (journal_is_at(fd, path))
		unlink(path);
	close(fd);
	return code;
}

/* The same under the first name that is free of those that begin with `first`. */
static int make_first(struct journal *j, const char *first, bool sync)
{
	int code = EEXIST;

	for (int n = 0; code == EEXIST && n < JOURNALS_MAX; n++) {
		char *path = journal_name(first, n);
		if (!path)
			return ENOMEM;
		code = make_at(j, path, sync);
		if (code == EEXIST && journal_clear_empty(path))
			code = make_at(j, path, sync);
		if (code != 0)
			free(path);
	}
	return code;
}

/* Beside the file; where that folder cannot be written or has no name left, in the user's own. */
static bool make(struct journal *j, bool sync, struct err *err)
{
	char *first = journal_beside(j->file), *own = NULL;
	int code = first ? make_first(j, first, sync) : errno;

	if (first && (code == EACCES || code == EROFS || code == EPERM || code == EEXIST) &&
		journal_own(j->file, true, &own) && own)
		code = make_first(j, own, sync);
	free(first);
	free(own);
	if (code == EEXIST) {
		err_failed(err,
			"edits are not safe from a crash: %d journals of unsaved edits wait beside "
			"this file; take or drop some",
			JOURNALS_MAX);
		err_at(err, j->file, 0, 0);
		return false;
	}
	return code == 0 || journal_fault(err, j->file, "making", code);
}

static bool set_up(struct journal *j, const char *file, const struct stamp *base, struct err *err)
{
	journal_init(j);
	j->base = *base;
	j->file = text_dup(file, strlen(file));
	journal_add_header(&j->text, base);
	if (j->file && !j->text.failed)
		return true;
	journal_close(j);
	return journal_no_memory(err, file);
}

bool journal_open(struct journal *j, const char *file, const struct stamp *base, struct err *err)
{
	if (!set_up(j, file, base, err))
		return false;
	if (make(j, false, err))
		return true;
	journal_close(j);
	return false;
}

static bool is_deleted(const struct journal *j)
{
	return journal_is_gone(j->fd, j->path) ||
	       (j->traced && journal_is_replaced(j->fd, j->path));
}

/* Where the open journal still stands at its path once it was closed: opened again. */
static bool open_again(struct journal *j, const struct stat *was)
{
	struct stat now;
	int fd = (int)AGAIN(open(j->path, O_WRONLY | O_APPEND | O_NOFOLLOW | O_CLOEXEC));

	if (fd >= 0 && journal_grip(fd, LOCK_EX) != GRIP_BUSY && fstat(fd, &now) == 0 &&
		(!j->traced || (now.st_dev == was->st_dev && now.st_ino == was->st_ino))) {
		j->fd = fd;
		return true;
	}
	if (fd >= 0)
		close(fd);
	return false;
}

/*
 * The new file, open and on disk as `temp`, takes the place of the old one, which is closed first:
 * SMB refuses a rename over a file that is open, and takes that away all the same. 0, or errno:
 * the old one is open again, or the new one, with its text, under a name that nobody looks for.
 */
static int change_places(struct journal *j, int fd, const char *temp)
{
	struct stat was;
	const bool known = fstat(j->fd, &was) == 0;
	int code;

	close(j->fd);
	j->fd = fd;
	/* Or done, and the answer was lost. */
	if (AGAIN(rename(temp, j->path)) == 0 || journal_is_at(fd, j->path)) {
		j->fd = -1;
		move_in(j, fd, j->path);
		return 0;
	}
	code = errno;
	if (known && open_again(j, &was)) {
		close(fd);
		unlink(temp);
	} else {
		unlink(temp);
		j->torn = true;
	}
	return code;
}

/* All of the text into a new file that takes the journal's place: 0, or errno. */
static int replace(struct journal *j)
{
	struct buf temp;
	int fd, code = 0;

	buf_init(&temp);
	buf_addf(&temp, "%s.new", j->path);
	if (temp.failed)
		return ENOMEM;
	unlink(temp.data);
	fd = (int)AGAIN(open(temp.data, MAKE_FLAGS, 0600));
	if (fd >= 0)
		journal_grip(fd, LOCK_EX);
	if (fd < 0 || !write_all(fd, j->text.data, j->text.len) || fsync(fd) != 0) {
		code = errno;
		if (fd >= 0) {
			close(fd);
			unlink(temp.data);
		}
	} else {
		code = change_places(j, fd, temp.data);
	}
	buf_free(&temp);
	return code;
}

/* All of the text anew: in its own place, or where that is another's by now under another name. */
static bool rewrite(struct journal *j, struct err *err)
{
	if (!is_deleted(j)) {
		const int code = replace(j);
		if (code == 0) {
			j->since = 0;
			return true;
		}
		if (!is_deleted(j))
			return journal_fault(err, j->path, "rewriting", code);
	}
	if (!make(j, true, err))
		return false;
	j->since = 0;
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
		return journal_no_memory(err, j->path);
	buf_init(&j->text);
	journal_add_header(&j->text, &base);
	journal_add_record(&j->text, r.changes, changes_squeeze(r.changes, r.n_changes));
	recovery_free(&r);
	ok = !j->text.failed;
	if (!ok) {
		journal_no_memory(err, j->path);
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

bool journal_rebase(struct journal *j, const struct stamp *base, const struct change *changes,
	size_t n, struct err *err)
{
	struct buf was = j->text;
	bool ok;

	if (j->fd < 0)
		return err_failed(err, "the journal is not open");
	buf_init(&j->text);
	journal_add_header(&j->text, base);
	journal_add_record(&j->text, changes, n);
	ok = j->text.failed ? journal_no_memory(err, j->path) : rewrite(j, err);
	if (ok) {
		j->base = *base;
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
	j->torn |= AGAIN(ftruncate(j->fd, (off_t)len)) != 0;
}

bool journal_append(struct journal *j, const struct change *changes, size_t n, struct err *err)
{
	size_t len = j->text.len;

	if (j->fd < 0)
		return err_failed(err, "the journal is not open");
	/* Nothing behind a torn record would be read again, nor what has no name. */
	if (j->torn && !rewrite(j, err))
		return false;
	journal_add_record(&j->text, changes, n);
	if (j->text.failed) {
		cut_back(j, len);
		return journal_no_memory(err, j->path);
	}
	if (!write_all(j->fd, j->text.data + len, j->text.len - len)) {
		int code = errno;
		cut_back(j, len);
		return journal_fault(err, j->path, "writing", code);
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
	const int64_t now = monotonic_seconds();
	int64_t left = j->looked + JOURNAL_LOOK_SECONDS - now;

	if (j->fd < 0)
		return -1;
	/* Seconds are whole: a sync at 3 is within 4. */
	if (j->since != 0 && j->since - 1 + JOURNAL_SYNC_SECONDS - 1 - now < left)
		left = j->since - 1 + JOURNAL_SYNC_SECONDS - 1 - now;
	return left > 0 ? (int)left : 0;
}

bool journal_sync(struct journal *j, struct err *err)
{
	if (j->fd < 0)
		return true;
	const bool deleted = is_deleted(j);
	j->looked = monotonic_seconds();
	if (!deleted && j->since == 0)
		return true;
	/* Deleted under us, or a disk that failed once: a new file. */
	if (!deleted && !j->torn && !j->sick)
		j->sick = fsync(j->fd) != 0;
	if ((deleted || j->torn || j->sick) && !rewrite(j, err)) {
		j->since = monotonic_seconds() + 1; /* again in some seconds */
		return false;
	}
	j->since = 0;
	if (!j->entered && !path_sync_folder(j->path))
		return journal_fault(err, j->path, "confirming", errno);
	j->entered = true;
	return true;
}

bool journal_discard(struct journal *j, struct err *err)
{
	bool ok = j->fd < 0 || is_deleted(j) || journal_unlink(j->path, err);

	journal_close(j);
	return ok;
}

/* Our new journal takes the place of the old one beside it; where that cannot be, the old one goes.
 */
static void take_place(struct journal *j, char *place, struct err *err)
{
	const size_t folder = (size_t)(strrchr(place, '/') - place);

	if (j->path && strncmp(j->path, place, folder + 1) == 0 &&
		!strchr(j->path + folder + 1, '/') && AGAIN(rename(j->path, place)) == 0) {
		free(j->path);
		j->path = place;
		return;
	}
	journal_unlink(place, err);
	free(place);
}

bool journal_adopt(struct journal *j, const char *file, const struct stamp *base,
	struct recovery *r, struct err *err)
{
	int fd = journal_claim(r, err);
	char *place = NULL;
	bool ok;

	journal_init(j);
	if (fd < 0)
		return false;
	ok = set_up(j, file, base, err);
	if (ok) {
		r->n_changes = changes_squeeze(r->changes, r->n_changes);
		journal_add_record(&j->text, r->changes, r->n_changes);
		place = text_dup(r->path, strlen(r->path));
		ok = (place && !j->text.failed) ? make(j, true, err) : journal_no_memory(err, file);
	}
	if (ok && place) {
		take_place(j, place, err);
	} else {
		struct err ignored;
		err_clear(&ignored);
		free(place);
		journal_discard(j, &ignored);
	}
	close(fd);
	return ok;
}
