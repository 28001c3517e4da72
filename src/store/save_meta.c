#include "store/save_parts.h"

#include <stdlib.h>
#include <string.h>
#include <sys/xattr.h>
#include <unistd.h>

enum { XATTR_MAX = 64 * 1024 };

/* What a system says that has no such thing, or a user who may not. */
static enum kept refused(int code)
{
	errno = code;
	return code == EPERM || code == EACCES || code == ENOTSUP || code == EINVAL ||
			       code == ENOSYS
		       ? KEPT_NOT
		       : KEPT_FAILED;
}

/* Names of all attributes (the access list is one of them), each ending in NUL; *len 0 where
 * the file system has none. NULL: errno. */
static char *list_names(int fd, size_t *len)
{
	char *names = malloc(XATTR_MAX);
	ssize_t n = names ? flistxattr(fd, names, XATTR_MAX) : -1;

	if (names && n < 0 && (errno == ENOTSUP || errno == ENOSYS))
		n = 0;
	if (names && n < 0) {
		int code = errno;
		free(names);
		errno = code;
		return NULL;
	}
	*len = names ? (size_t)n : 0;
	return names;
}

static bool has_name(const char *names, size_t len, const char *name)
{
	for (size_t at = 0; at < len; at += strlen(names + at) + 1) {
		if (strcmp(names + at, name) == 0)
			return true;
	}
	return false;
}

static enum kept copy_one(int from, int to, const char *name, char *mine, char *theirs)
{
	ssize_t want = fgetxattr(from, name, mine, XATTR_MAX);
	ssize_t have;

	if (want < 0)
		return refused(errno);
	have = fgetxattr(to, name, theirs, XATTR_MAX);
	if (have == want && memcmp(mine, theirs, (size_t)want) == 0)
		return KEPT;
	return fsetxattr(to, name, mine, (size_t)want, 0) == 0 ? KEPT : refused(errno);
}

static enum kept copy_named(int from, const char *names, size_t len, int to)
{
	char *mine = malloc(XATTR_MAX), *theirs = malloc(XATTR_MAX);
	enum kept kept = mine && theirs ? KEPT : KEPT_FAILED;

	for (size_t at = 0; kept == KEPT && at < len; at += strlen(names + at) + 1)
		kept = copy_one(from, to, names + at, mine, theirs);
	free(mine);
	free(theirs);
	return kept;
}

/* The folder may have given the new file an access list that the old one does not have. XFS shows
 * one list under two names, and both go at once. */
static enum kept drop_others(
	int fd, const char *names, size_t len, const char *wanted, size_t wanted_len)
{
	for (size_t at = 0; at < len; at += strlen(names + at) + 1) {
		if (!has_name(wanted, wanted_len, names + at) &&
			fremovexattr(fd, names + at) != 0 && errno != ENODATA)
			return refused(errno);
	}
	return KEPT;
}

static enum kept keep_attributes(int old, int temp)
{
	size_t old_len, new_len = 0;
	char *old_names = list_names(old, &old_len);
	char *new_names = old_names ? list_names(temp, &new_len) : NULL;
	enum kept kept = KEPT_FAILED;

	if (new_names)
		kept = drop_others(temp, new_names, new_len, old_names, old_len);
	if (kept == KEPT && old_len > 0)
		kept = copy_named(old, old_names, old_len, temp);
	free(old_names);
	free(new_names);
	return kept;
}

/* Owner first, for it clears mode bits; the mode last, for an access list sets them. */
enum kept keep_metadata(int old, const struct stat *st, int temp)
{
	struct stat now;
	enum kept kept;

	if (fstat(temp, &now) != 0)
		return KEPT_FAILED;
	if ((now.st_uid != st->st_uid || now.st_gid != st->st_gid) &&
		AGAIN(fchown(temp, st->st_uid, st->st_gid)) != 0)
		return refused(errno);
	kept = keep_attributes(old, temp);
	if (kept != KEPT)
		return kept;
	if (fstat(temp, &now) != 0)
		return KEPT_FAILED;
	/* Where all files have one mode, it cannot be asked for either. */
	if (now.st_mode != st->st_mode &&
		(AGAIN(fchmod(temp, st->st_mode & 07777)) != 0 || fstat(temp, &now) != 0))
		return refused(errno);
	return now.st_mode == st->st_mode && now.st_uid == st->st_uid && now.st_gid == st->st_gid
		       ? KEPT
		       : KEPT_NOT;
}
