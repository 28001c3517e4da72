#include "support/abilities.h"

#include "support/support.h"
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static bool has_mode(const char *path)
{
	struct stat st;

	return chmod(path, 0640) == 0 && stat(path, &st) == 0 && (st.st_mode & 0777) == 0640;
}

static bool has_links(const char *path, const char *other)
{
	struct stat st;
	bool ok = link(path, other) == 0 && stat(path, &st) == 0 && st.st_nlink == 2;

	unlink(other);
	return ok;
}

static bool has_symlinks(const char *to, const char *other, const char *path)
{
	bool ok = symlink(to, other) == 0 && access(path, F_OK) == 0 && access(other, F_OK) == 0;

	unlink(other);
	return ok;
}

static bool has_owners(const char *path)
{
	struct stat st;

	return geteuid() != 0 ||
	       (chown(path, 1234, 2345) == 0 && stat(path, &st) == 0 && st.st_uid == 1234);
}

/* In the child: as somebody else, read a file and own a new one. */
static int as_another(const char *path, const char *other)
{
	struct stat st;

	if (geteuid() != 0)
		return 0;
	if (setgid(65534) != 0 || setuid(65534) != 0 || access(path, R_OK) != 0)
		return 1;
	int fd = open(other, O_WRONLY | O_CREAT | O_EXCL, 0600);
	return fd < 0 || fstat(fd, &st) != 0 || st.st_uid != 65534;
}

static bool admits(const char *folder, const char *parent, const char *path, const char *other)
{
	struct stat st;
	int status = 1;

	ck_assert_int_eq(stat(folder, &st), 0);
	ck_assert_int_eq(chmod(folder, 0755), 0);
	ck_assert_int_eq(chmod(parent, 0777), 0);
	pid_t pid = fork();
	if (pid == 0)
		_exit(as_another(path, other));
	ck_assert_int_eq(waitpid(pid, &status, 0), pid);
	ck_assert_int_eq(chmod(folder, st.st_mode & 07777), 0);
	return status == 0;
}

static bool replaces(const char *path, const char *other)
{
	test_write(other, "other", 5);
	bool ok = rename(path, other) == 0;
	unlink(other);
	return ok;
}

static bool has_exchange(const char *path, const char *other)
{
	test_write(other, "other", 5);
	bool ok = renameat2(AT_FDCWD, path, AT_FDCWD, other, RENAME_EXCHANGE) == 0;
	unlink(other);
	return ok;
}

static bool can(const char *folder, const char *parent, const char *path, const char *other,
	enum ability what)
{
	switch (what) {
	case CAN_SYMLINK:
		return has_symlinks("ability", other, path);
	case CAN_SYMLINK_FULL:
		return has_symlinks(path, other, path);
	case CAN_LINK:
		return has_links(path, other);
	case CAN_MODE:
		return has_mode(path);
	case CAN_OWN:
		return has_owners(path);
	case CAN_ADMIT:
		return admits(folder, parent, path, other);
	case CAN_REPLACE:
		return replaces(path, other);
	case CAN_EXCHANGE:
		break;
	}
	return has_exchange(path, other);
}

bool test_can(const char *folder, enum ability what)
{
	static const char *const names[] = {[CAN_SYMLINK] = "symbolic links",
		[CAN_SYMLINK_FULL] = "symbolic links that begin with a slash",
		[CAN_LINK] = "hard links",
		[CAN_MODE] = "permissions",
		[CAN_OWN] = "owners",
		[CAN_ADMIT] = "other users",
		[CAN_REPLACE] = "renames over a file that is there",
		[CAN_EXCHANGE] = "the exchange of names"};
	char parent[4200], path[4300], other[4300];

	snprintf(parent, sizeof parent, "%s/abilities-XXXXXX", folder);
	ck_assert_ptr_nonnull(mkdtemp(parent));
	snprintf(path, sizeof path, "%s/ability", parent);
	snprintf(other, sizeof other, "%s/other", parent);
	test_write(path, "x", 1);
	bool ok = can(folder, parent, path, other, what);
	test_remove(parent);
	if (!ok)
		printf("SKIPPED here: what needs %s; this file system has none\n", names[what]);
	return ok;
}
