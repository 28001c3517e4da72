#include "store/path.h"

#include "base/text.h"
#include "store/save_parts.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

char *path_join(const char *dir, const char *folder, const char *name, const char *suffix)
{
	struct buf b;
	size_t len = strlen(dir);
	buf_init(&b);
	while (len > 0 && dir[len - 1] == '/')
		len--;
	buf_add(&b, dir, len);
	buf_addf(&b, "/%s%s%s%s", folder, *folder && *name ? "/" : "", name, suffix);
	return buf_take(&b);
}

/* Where nothing is found: the path is cut down to what stands in the way of being sure, and why is
 * returned; 0: nothing does. */
static int in_the_way(char *path)
{
	struct stat st;
	for (char *slash; lstat(path, &st) != 0; *slash = '\0') {
		slash = strrchr(path, '/');
		if (errno != ENOENT)
			return errno;
		if (!slash || slash == path)
			return 0;
	}
	return stat(path, &st) == 0 ? 0 : errno;
}

static void cannot_look(const char *path, int code, struct err *err)
{
	if (code == ENOENT)
		err_input(err, "is a link that leads nowhere; is a disk or folder not there?");
	else if (code == ELOOP)
		err_input(err, "cannot be looked at: %s", strerror(code));
	else
		err_failed(err, "cannot be looked at: %s", strerror(code));
	err_at(err, path, 0, 0);
}

bool path_there(const char *path, bool *there, struct err *err)
{
	struct stat st;
	*there = stat(path, &st) == 0;
	if (*there || errno == ENOTDIR) /* below a file there is nothing */
		return true;
	const int code = errno;
	char *at = text_dup(path, strlen(path));
	*there = true;
	if (!at)
		return err_memory(err);
	const int why = code == ENOENT ? in_the_way(at) : code;
	*there = why != 0;
	if (why)
		cannot_look(at, why, err);
	free(at);
	return why == 0;
}

int path_open_folder(const char *path)
{
	const char *slash = strrchr(path, '/');
	char *folder = slash ? text_dup(path, (size_t)(slash + 1 - path)) : text_dup(".", 1);
	int fd = folder ? (int)AGAIN(open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC)) : -1;
	free(folder);
	return fd;
}

bool path_sync_folder(const char *path)
{
	int fd = path_open_folder(path);
	bool ok = fd >= 0 && (AGAIN(fsync(fd)) == 0 || errno == EINVAL);
	int code = errno;
	if (fd >= 0)
		close(fd);
	errno = code;
	return ok;
}

/* What a system says that has no such call, or a file system that has no such thing. */
static bool is_unknown(int code)
{
	return code == EINVAL || code == ENOSYS || code == EOPNOTSUPP;
}

/* No second names either: what was looked for a moment ago has to do. */
static int move_looked_for(int from_dir, const char *from, int to_dir, const char *to)
{
	if (faccessat(to_dir, to, F_OK, AT_SYMLINK_NOFOLLOW) == 0)
		return EEXIST;
	if (errno != ENOENT)
		return errno;
	return AGAIN(renameat(from_dir, from, to_dir, to)) == 0 ? 0 : errno;
}

int path_move_new(int from_dir, const char *from, int to_dir, const char *to)
{
	if (AGAIN(renameat2(from_dir, from, to_dir, to, RENAME_NOREPLACE)) == 0)
		return 0;
	if (!is_unknown(errno))
		return errno;
	/* A second name, then one less; never both. */
	if (AGAIN(linkat(from_dir, from, to_dir, to, 0)) != 0)
		return errno == EPERM || is_unknown(errno)
			       ? move_looked_for(from_dir, from, to_dir, to)
			       : errno;
	if (AGAIN(unlinkat(from_dir, from, 0)) == 0)
		return 0;
	int code = errno;
	unlinkat(to_dir, to, 0);
	return code;
}
