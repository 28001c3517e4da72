#include "store/save_parts.h"

#include "base/text.h"
#include "store/path.h"
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* A new file for whom the old one is for: 0, or errno (EEXIST: taken). */
static int put_copy(const char *at, const char *bytes, size_t size, mode_t mode)
{
	int fd = (int)AGAIN(open(at, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600));
	int code = 0;

	if (fd < 0)
		return errno;
	if (!write_all(fd, bytes, size) || fsync(fd) != 0)
		code = errno;
	if (code == 0)
		fchmod(fd, mode & 0777); /* where that cannot be, it is the owner's alone */
	if (close(fd) != 0 && errno != EINTR && code == 0)
		code = errno;
	if (code == 0 && !path_sync_folder(at))
		code = errno;
	if (code != 0)
		unlink(at);
	return code;
}

static int put_under_free_name(
	const char *path, const char *bytes, size_t size, mode_t mode, char **kept)
{
	int code = EEXIST;

	for (int n = 1; code == EEXIST && n < 1000; n++) {
		char end[32];
		snprintf(end, sizeof end, ".kept-%d", n);
		*kept = file_beside(path, "", end);
		code = *kept ? put_copy(*kept, bytes, size, mode) : errno;
		if (code != 0) {
			free(*kept);
			*kept = NULL;
		}
	}
	return code;
}

bool save_aside(const char *path, const struct stamp *stamp, char **kept, struct err *err)
{
	struct stamp now;
	struct stat st;
	size_t size;
	char *bytes;
	int code;

	*kept = NULL;
	if (!file_read(path, 16 * 1024 * 1024, &bytes, &size, &now, err))
		return false;
	if (!stamp_same_bytes(&now, stamp)) {
		err_failed(err, "another program changed it again");
	} else {
		code = put_under_free_name(
			path, bytes, size, stat(path, &st) == 0 ? st.st_mode : 0600, kept);
		if (code != 0)
			err_failed(err, "its text cannot be kept beside it: %s", strerror(code));
	}
	err_at(err, path, 0, 0);
	free(bytes);
	return *kept != NULL;
}
