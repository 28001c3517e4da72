#include "store/save_parts.h"

#include "store/host.h"
#include "store/path.h"
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/vfs.h>
#include <unistd.h>

enum { TRIES = 5 };

enum save_outcome job_failed(const struct job *j, const char *step, int code)
{
	err_failed(j->err, "was not saved: %s failed: %s; the file is as it was", step,
		strerror(code));
	err_at(j->err, j->path, 0, 0);
	return SAVE_FAILED;
}

enum save_outcome job_conflict(const struct job *j, const char *how)
{
	err_failed(j->err, "was not saved: %s; nothing was written", how);
	err_at(j->err, j->path, 0, 0);
	return SAVE_CONFLICT;
}

static bool is_new(const struct job *j)
{
	return j->stamp->ino == 0 && j->stamp->size == 0 && j->stamp->hash == 0;
}

/* Where the bytes go: the file itself, or what a symbolic link leads to. */
static enum save_outcome resolve(struct job *j)
{
	struct stat st;
	const char *slash;

	if (is_new(j)) {
		if (lstat(j->path, &st) == 0)
			return job_conflict(j, "a file of this name is there already");
		j->target = strdup(j->path);
	} else {
		j->target = realpath(j->path, NULL);
		if (!j->target && errno == ENOENT && lstat(j->path, &st) != 0)
			return job_conflict(j, "it was deleted since it was read");
	}
	if (!j->target)
		return job_failed(j, "finding the file", errno);
	slash = strrchr(j->target, '/');
	j->name = slash ? slash + 1 : j->target;
	j->dir = path_open_folder(j->target);
	if (j->dir < 0)
		return job_failed(j, "opening the folder", errno);
	return SAVE_DONE;
}

bool peek(int dir, const char *name, struct stamp *out)
{
	struct err ignored;
	char *bytes;
	size_t size;
	int fd = (int)AGAIN(openat(dir, name, O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC));
	bool ok;

	if (fd < 0)
		return false;
	err_clear(&ignored);
	errno = 0;
	/* A larger file than any that is read here is another file; its bytes do not matter. */
	ok = file_read_fd(fd, name, SAVE_MAX_BYTES, &bytes, &size, out, &ignored);
	if (!ok && errno == 0)
		errno = EFBIG;
	if (ok)
		free(bytes);
	close(fd);
	return ok;
}

/* Is the file still what was read? */
static enum save_outcome check_content(const struct job *j)
{
	struct stamp now;

	if (peek(j->dir, j->name, &now))
		return stamp_same_bytes(&now, j->stamp)
			       ? SAVE_DONE
			       : job_conflict(j, "another program changed it since it was read");
	if (errno == ENOENT)
		return job_conflict(j, "it was deleted since it was read");
	if (errno == EFBIG)
		return job_conflict(j, "another program changed it since it was read");
	return job_failed(j, "reading the file again", errno);
}

enum save_outcome job_read_only(const struct job *j, int code)
{
	err_failed(j->err,
		"was not saved: the file is read-only (%s); allow writing to it (chmod u+w) "
		"or save under a new name",
		strerror(code));
	err_at(j->err, j->path, 0, 0);
	return SAVE_FAILED;
}

static enum save_outcome check_writable(struct job *j)
{
	if (fstatat(j->dir, j->name, &j->old, AT_SYMLINK_NOFOLLOW) != 0)
		return job_failed(j, "looking at the file", errno);
	/* The folder may let us replace a read-only file, the superuser may write to one: the
	 * owner said no all the same. */
	if ((j->old.st_mode & 0222) == 0)
		return job_read_only(j, EACCES);
	if (AGAIN(faccessat(j->dir, j->name, W_OK, AT_EACCESS)) == 0)
		return SAVE_DONE;
	if (errno == EACCES || errno == EPERM || errno == EROFS)
		return job_read_only(j, errno);
	return job_failed(j, "looking at the file's permissions", errno);
}

bool write_all(int fd, const char *bytes, size_t size)
{
	while (size > 0) {
		ssize_t n;
		errno = EIO; /* of a write that does nothing and says nothing */
		n = write(fd, bytes, size);
		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			return false;
		bytes += n;
		size -= (size_t)n;
	}
	return true;
}

/* Not an outcome of the whole: go on with the rewrite in place; write another temporary. */
enum { TRY_IN_PLACE = 100, TRY_AGAIN };

static int drop_temp(const struct job *j, const char *temp, const char *step)
{
	int code = errno;

	unlinkat(j->dir, temp, 0);
	if (!step)
		return code;
	return (int)job_failed(j, step, code);
}

static int give_metadata(const struct job *j, int fd, const char *temp)
{
	/* O_NONBLOCK: it may have become a pipe; one that is not regular is not written to. */
	int old =
		(int)AGAIN(openat(j->dir, j->name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
	enum kept kept;
	int code;

	if (old < 0)
		return drop_temp(j, temp, "reading the file's permissions");
	kept = keep_metadata(old, &j->old, fd);
	code = errno;
	close(old);
	errno = code;
	if (kept == KEPT)
		return SAVE_DONE;
	if (kept == KEPT_FAILED)
		return drop_temp(j, temp, "keeping owner and permissions");
	drop_temp(j, temp, NULL);
	return TRY_IN_PLACE;
}

/* Write, sync and close; a descriptor whose sync failed is never synced again. */
static int fill_temp(const struct job *j, int fd, const char *temp, struct stat *st)
{
	int got = SAVE_DONE;

	if (!write_all(fd, j->bytes, j->size))
		got = drop_temp(j, temp, "writing");
	if (got == SAVE_DONE && !is_new(j))
		got = give_metadata(j, fd, temp);
	if (got == SAVE_DONE && fsync(fd) != 0) {
		if (errno == EINTR) {
			drop_temp(j, temp, NULL);
			got = TRY_AGAIN;
		} else {
			got = drop_temp(j, temp, "confirming the data on disk");
		}
	}
	if (got == SAVE_DONE && fstat(fd, st) != 0)
		got = drop_temp(j, temp, "looking at the new file");
	/* On Linux the descriptor is gone after EINTR, and the data was synced. */
	if (close(fd) != 0 && errno != EINTR && got == SAVE_DONE)
		got = drop_temp(j, temp, "closing");
	return got;
}

static int make_temp(const struct job *j, char temp[TEMP_NAME], struct stat *st)
{
	int got = TRY_AGAIN;

	for (int i = 0; i < TRIES && got == TRY_AGAIN; i++) {
		int fd;
		temp_name(j, j->name, "new", 0, temp);
		fd = (int)AGAIN(
			openat(j->dir, temp, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC,
				is_new(j) ? 0666 : 0600));
		if (fd < 0 && errno == EEXIST)
			continue;
		if (fd < 0 && (errno == EACCES || errno == EPERM) && !is_new(j))
			return TRY_IN_PLACE;
		if (fd < 0)
			return (int)job_failed(j, "making a temporary file", errno);
		got = fill_temp(j, fd, temp, st);
	}
	return got == TRY_AGAIN ? (int)job_failed(j, "making a temporary file", EINTR) : got;
}

/* The save stands. Its folder entry is confirmed, or the caller is told that it is not. */
static enum save_outcome finish(const struct job *j, const struct stat *st)
{
	*j->stamp = stamp_from(st, j->size, j->hash);
	if (AGAIN(fsync(j->dir)) == 0 || errno == EINVAL)
		return SAVE_DONE;
	err_failed(j->err, "is written, not confirmed on disk: %s", strerror(errno));
	err_at(j->err, j->path, 0, 0);
	return SAVE_UNCONFIRMED;
}

static bool is_mine(const struct job *j, const struct stamp *now)
{
	return now->size == j->size && now->hash == j->hash;
}

/* Neither the answer to the rename nor a look at the file tells. */
static enum save_outcome unsure(const struct job *j, const char *temp, int code, int look)
{
	char why[128], kept[TEMP_NAME];

	snprintf(why, sizeof why, "%s", strerror(code));
	temp_keep(j, j->dir, temp, kept);
	err_failed(j->err,
		"may be saved or not: renaming failed (%s), and it cannot be read since (%s); "
		"look at it again before you go on. If it was not, the new text is in %s",
		why, strerror(look), kept);
	err_at(j->err, j->path, 0, 0);
	return SAVE_FAILED;
}

/* No file can have such a name here, so none has it. */
static bool is_bad_name(int code)
{
	return code == ENAMETOOLONG || code == EINVAL || code == EILSEQ || code == EBADMSG;
}

/*
 * Where a server refused the rename and took the old file away all the same, ours goes to its name,
 * which is free once nobody has the old one open any more. False: errno.
 */
static bool see_or_put(const struct job *j, const char *temp, struct stamp *now)
{
	enum { LOOKS = 15 };
	bool there = peek(j->dir, j->name, now);

	for (int i = 0; !there && errno == ENOENT && !is_new(j) && i < LOOKS; i++) {
		if (path_move_new(j->dir, temp, j->dir, j->name) != 0)
			wait_a_tenth();
		there = peek(j->dir, j->name, now);
	}
	return there;
}

/* After a failed rename (which a server may have done all the same): what does NAME hold? */
static enum save_outcome look_again(
	const struct job *j, const char *temp, const struct stat *st, int code)
{
	struct stamp now;
	const bool there = see_or_put(j, temp, &now);

	if (!there && !(is_new(j) && (errno == ENOENT || is_bad_name(errno))))
		return unsure(j, temp, code, errno);
	unlinkat(j->dir, temp, 0);
	if (there && is_mine(j, &now))
		return finish(j, st);
	if (is_new(j))
		return code == EEXIST ? job_conflict(j, "a file of this name is there already")
				      : job_failed(j, "renaming", code);
	return stamp_same_bytes(&now, j->stamp)
		       ? job_failed(j, "renaming", code)
		       : job_conflict(j, "another program changed it during the save");
}

static enum save_outcome put_new(const struct job *j, const char *temp, const struct stat *st)
{
	int code = path_move_new(j->dir, temp, j->dir, j->name);

	return code == 0 ? finish(j, st) : look_again(j, temp, st, code);
}

/* Is `temp` the file that we wrote? By its bytes, or where they cannot be read by its looks. */
static bool is_ours(const struct job *j, const char *temp, const struct stat *st)
{
	const struct stamp ours = stamp_from(st, j->size, j->hash);
	struct stamp out;
	struct stat now;

	if (peek(j->dir, temp, &out))
		return is_mine(j, &out);
	if (fstatat(j->dir, temp, &now, AT_SYMLINK_NOFOLLOW) != 0)
		return false;
	out = stamp_from(&now, (size_t)now.st_size, j->hash);
	return stamp_equal(&out, &ours);
}

/*
 * Another program wrote between the check and the exchange (code 0), or what came out could not
 * be read: it goes back in place.
 */
static enum save_outcome swap_back(
	const struct job *j, const char *temp, const struct stat *st, int code)
{
	char kept[TEMP_NAME];

	if (AGAIN(renameat2(j->dir, temp, j->dir, j->name, RENAME_EXCHANGE)) != 0) {
		temp_keep(j, j->dir, temp, kept);
		err_failed(j->err,
			"may have been changed by another program during the save (%s); "
			"the text before it is kept in %s",
			strerror(code ? code : errno), kept);
		err_at(j->err, j->path, 0, 0);
		return SAVE_CONFLICT;
	}
	/* And had someone changed ours in that moment, that text is kept as well. */
	if (is_ours(j, temp, st))
		unlinkat(j->dir, temp, 0);
	else
		temp_keep(j, j->dir, temp, kept);
	return code ? job_failed(j, "reading the old text once more", code)
		    : job_conflict(j, "another program changed it during the save");
}

/* Some servers rename, but never over a file that is there; they have no one word for it. */
static bool never_replaces(int code)
{
	return code == EPERM || code == EACCES || code == EEXIST || code == ENOSYS ||
	       code == EOPNOTSUPP;
}

static bool is_old(const struct job *j)
{
	struct stamp now;

	return peek(j->dir, j->name, &now) && stamp_same_bytes(&now, j->stamp);
}

static bool is_smb(int dir)
{
	static const uint32_t kinds[] = {0xFE534D42, 0xFF534D42, 0x517B}; /* linux/magic.h */
	struct statfs st;

	if (AGAIN(fstatfs(dir, &st)) != 0)
		return false;
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
		if ((uint32_t)st.f_type == kinds[i])
			return true;
	return false;
}

/* SMB refuses a rename over a file that anybody has open, and takes that file away. Nobody has it
 * who does not stand against a lease to write; one who comes then is told by SIGURG, to nobody. */
static bool takes_away(const struct job *j)
{
	bool alone;
	int fd;

	if (!is_smb(j->dir))
		return false;
	fd = (int)AGAIN(openat(j->dir, j->name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
	alone = fd >= 0 && fcntl(fd, F_SETSIG, SIGURG) == 0 && fcntl(fd, F_SETLEASE, F_WRLCK) == 0;
	if (alone)
		fcntl(fd, F_SETLEASE, F_UNLCK);
	if (fd >= 0)
		close(fd);
	return !alone;
}

static enum save_outcome put_plain(struct job *j, const char *temp, const struct stat *st)
{
	enum save_outcome got = check_content(j);
	int code;

	if (got != SAVE_DONE) {
		unlinkat(j->dir, temp, 0);
		return got;
	}
	if (takes_away(j)) {
		unlinkat(j->dir, temp, 0);
		return save_in_place(j);
	}
	if (AGAIN(renameat(j->dir, temp, j->dir, j->name)) == 0)
		return finish(j, st);
	code = errno;
	if (!never_replaces(code) || !is_old(j))
		return look_again(j, temp, st, code);
	unlinkat(j->dir, temp, 0);
	return save_in_place(j);
}

static enum save_outcome put_exchange(struct job *j, const char *temp, const struct stat *st)
{
	char swap[TEMP_NAME];
	struct stamp out;
	int code;

	temp_name(j, j->name, "swap", j->stamp->hash, swap);
	if (AGAIN(renameat(j->dir, temp, j->dir, swap)) != 0) {
		code = errno;
		unlinkat(j->dir, temp, 0);
		return job_failed(j, "renaming the temporary file", code);
	}
	if (AGAIN(renameat2(j->dir, swap, j->dir, j->name, RENAME_EXCHANGE)) != 0) {
		code = errno;
		if (code == EINVAL || code == ENOSYS || code == EOPNOTSUPP)
			return put_plain(j, swap, st);
		if (code != ENOENT)
			return look_again(j, swap, st, code);
		unlinkat(j->dir, swap, 0);
		return job_conflict(j, "it was deleted since it was read");
	}
	if (!peek(j->dir, swap, &out))
		return swap_back(j, swap, st, errno == EFBIG ? 0 : errno);
	if (!stamp_same_bytes(&out, j->stamp))
		return swap_back(j, swap, st, 0);
	unlinkat(j->dir, swap, 0);
	return finish(j, st);
}

static enum save_outcome replace(struct job *j)
{
	enum save_outcome got = check_content(j);
	char temp[TEMP_NAME];
	struct stat st;
	int made;

	if (got == SAVE_DONE)
		got = check_writable(j);
	if (got != SAVE_DONE)
		return got;
	if (j->old.st_nlink > 1)
		return save_in_place(j);
	made = make_temp(j, temp, &st);
	if (made == TRY_IN_PLACE)
		return save_in_place(j);
	if (made != SAVE_DONE)
		return (enum save_outcome)made;
	got = check_content(j);
	if (got != SAVE_DONE) {
		unlinkat(j->dir, temp, 0);
		return got;
	}
	return put_exchange(j, temp, &st);
}

static enum save_outcome create(struct job *j)
{
	char temp[TEMP_NAME];
	struct stat st;
	int made = make_temp(j, temp, &st);

	return made == SAVE_DONE ? put_new(j, temp, &st) : (enum save_outcome)made;
}

/* Behind whatever else there is to tell. */
static void tell_kept(const struct job *j, enum save_outcome got)
{
	struct err *e = j->err;
	size_t len = strlen(e->text);

	if (got == SAVE_DONE)
		err_failed(e,
			"is written; what an earlier save that was cut short left behind is in "
			"%s now",
			j->kept);
	else
		snprintf(e->text + len, sizeof e->text - len,
			"; what an earlier save that was cut short left behind is in %s now",
			j->kept);
	err_at(e, j->path, 0, 0);
}

static enum save_outcome save(const char *path, const char *bytes, size_t size, struct stamp *stamp,
	const struct leftovers *l, struct err *err)
{
	struct job j = {.path = path,
		.dir = -1,
		.bytes = bytes,
		.size = size,
		.stamp = stamp,
		.hash = hash_bytes(bytes, size),
		.err = err};
	enum save_outcome got;

	err_clear(err);
	got = resolve(&j);
	if (got == SAVE_DONE) {
		if (l && l->known)
			temp_sweep_list(&j, l);
		else
			temp_sweep(&j, j.dir);
		got = is_new(&j) ? create(&j) : replace(&j);
	}
	if (j.kept[0])
		tell_kept(&j, got);
	if (j.dir >= 0)
		close(j.dir);
	free(j.target);
	return got;
}

enum save_outcome file_save(
	const char *path, const char *bytes, size_t size, struct stamp *stamp, struct err *err)
{
	return save(path, bytes, size, stamp, NULL, err);
}

bool file_create_among(const char *path, const char *bytes, size_t size, const struct leftovers *l,
	struct err *err)
{
	struct stamp stamp = {0};
	enum save_outcome got = save(path, bytes, size, &stamp, l, err);

	err->taken = got == SAVE_CONFLICT;
	return got == SAVE_DONE || got == SAVE_UNCONFIRMED;
}

bool file_create(const char *path, const char *bytes, size_t size, struct err *err)
{
	return file_create_among(path, bytes, size, NULL, err);
}
