/*
 * Saving on systems that are slow, old or lying: signals that interrupt, writes of one byte, calls
 * that are missing, a rename that happened and failed all the same (man rename(2), BUGS: NFS),
 * another program that writes between check and rename. The linker's --wrap puts the functions
 * below between the store and the system.
 */
#include "store/journal.h"
#include "store/lock.h"
#include "store/path.h"
#include "store/save_parts.h"
#include "support/abilities.h"
#include "support/journals.h"
#include "support/support.h"

#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* What the system does to us; 0: nothing. */
static struct {
	bool small;      /* one byte at a time, every other call interrupted */
	int fsync_fails; /* so many times; -1: always */
	int fsync_errno;
	int synced_fd; /* the descriptor whose sync failed */
	int resynced;  /* syncs of that one afterwards, before it was closed */
	int dir_sync_fails;
	int exchange_errno, noreplace_errno; /* renameat2 with that flag */
	int rename_errno;                    /* renameat fails with it */
	bool rename_lies;                    /* and has happened */
	int replace_errno;                   /* renameat fails with it where the name is taken */
	int rename_skips;                    /* so many calls before that */
	void (*before_rename)(void);
	void (*before_exchange)(void);
	void (*after_exchange)(void);
	int symlink_errno;
	int read_errno;
	bool ends; /* nothing is read, and no fault told */
	int close_errno;
	int write_errno, writes; /* fails behind so many */
	bool write_once;         /* and then no more */
	int ftruncate_errno;
	int fchmod_errno, fchown_errno, flistxattr_errno, fgetxattr_errno, fsetxattr_errno;
	int linkat_errno;
	bool list_has_two_names; /* of new files' access lists, which go together: XFS */
} shim;

ssize_t __real_write(int fd, const void *bytes, size_t n);
ssize_t __wrap_write(int fd, const void *bytes, size_t n);
int __real_fsync(int fd);
int __wrap_fsync(int fd);
int __real_close(int fd);
int __wrap_close(int fd);
int __real_renameat2(int a, const char *from, int b, const char *to, unsigned flags);
int __wrap_renameat2(int a, const char *from, int b, const char *to, unsigned flags);
int __real_renameat(int a, const char *from, int b, const char *to);
int __wrap_renameat(int a, const char *from, int b, const char *to);
int __real_symlink(const char *text, const char *path);
int __wrap_symlink(const char *text, const char *path);
int __real_ftruncate(int fd, off_t size);
int __wrap_ftruncate(int fd, off_t size);
int __real_fchmod(int fd, mode_t mode);
int __wrap_fchmod(int fd, mode_t mode);
ssize_t __real_flistxattr(int fd, char *list, size_t size);
ssize_t __wrap_flistxattr(int fd, char *list, size_t size);
ssize_t __real_fgetxattr(int fd, const char *name, void *value, size_t size);
ssize_t __wrap_fgetxattr(int fd, const char *name, void *value, size_t size);
int __real_fsetxattr(int fd, const char *name, const void *value, size_t size, int flags);
int __wrap_fsetxattr(int fd, const char *name, const void *value, size_t size, int flags);
int __real_fremovexattr(int fd, const char *name);
int __wrap_fremovexattr(int fd, const char *name);
int __real_linkat(int a, const char *from, int b, const char *to, int flags);
int __wrap_linkat(int a, const char *from, int b, const char *to, int flags);
ssize_t __real_read(int fd, void *bytes, size_t n);
ssize_t __wrap_read(int fd, void *bytes, size_t n);

static bool interrupted(void)
{
	static int calls;

	if (!shim.small || ++calls % 2)
		return false;
	errno = EINTR;
	return true;
}

static int refuse(int code)
{
	errno = code;
	return -1;
}

ssize_t __wrap_read(int fd, void *bytes, size_t n)
{
	if (shim.ends)
		return 0;
	if (shim.read_errno)
		return refuse(shim.read_errno);
	return interrupted() ? -1 : __real_read(fd, bytes, shim.small && n > 1 ? 1 : n);
}

ssize_t __wrap_write(int fd, const void *bytes, size_t n)
{
	if (interrupted())
		return -1;
	if (shim.write_errno && --shim.writes < 0) {
		int code = shim.write_errno;
		if (shim.write_once)
			shim.write_errno = 0;
		return refuse(code);
	}
	return __real_write(fd, bytes, shim.small && n > 1 ? 1 : n);
}

static bool is_folder(int fd)
{
	struct stat st;

	return fstat(fd, &st) == 0 && S_ISDIR(st.st_mode);
}

int __wrap_fsync(int fd)
{
	if (is_folder(fd))
		return shim.dir_sync_fails ? refuse(shim.dir_sync_fails)
		       : interrupted()     ? -1
					   : __real_fsync(fd);
	if (fd == shim.synced_fd)
		shim.resynced++;
	if (shim.fsync_fails != 0) {
		if (shim.fsync_fails > 0)
			shim.fsync_fails--;
		shim.synced_fd = fd;
		return refuse(shim.fsync_errno);
	}
	return __real_fsync(fd);
}

int __wrap_close(int fd)
{
	bool folder = is_folder(fd);

	if (fd == shim.synced_fd)
		shim.synced_fd = -1;
	__real_close(fd);
	return shim.close_errno && !folder ? refuse(shim.close_errno)
	       : shim.small                ? refuse(EINTR)
					   : 0;
}

int __wrap_renameat2(int a, const char *from, int b, const char *to, unsigned flags)
{
	int code = flags & RENAME_EXCHANGE ? shim.exchange_errno : shim.noreplace_errno;
	int got;
	void (*hook)(void) = shim.before_exchange;

	if (code == EIO && hook && flags & RENAME_EXCHANGE)
		hook();
	if (code)
		return refuse(code);
	shim.before_exchange = NULL;
	if (hook)
		hook();
	if (interrupted())
		return -1;
	got = __real_renameat2(a, from, b, to, flags);
	hook = shim.after_exchange;
	shim.after_exchange = NULL;
	if (hook)
		hook();
	return got;
}

int __wrap_renameat(int a, const char *from, int b, const char *to)
{
	if (shim.replace_errno && faccessat(b, to, F_OK, AT_SYMLINK_NOFOLLOW) == 0)
		return refuse(shim.replace_errno);
	if (shim.rename_skips-- > 0)
		return __real_renameat(a, from, b, to);
	shim.rename_skips = 0;
	if (shim.before_rename)
		shim.before_rename();
	if (shim.rename_lies)
		__real_renameat(a, from, b, to);
	return shim.rename_errno ? refuse(shim.rename_errno) : __real_renameat(a, from, b, to);
}

int __wrap_symlink(const char *text, const char *path)
{
	return shim.symlink_errno ? refuse(shim.symlink_errno) : __real_symlink(text, path);
}

int __wrap_ftruncate(int fd, off_t size)
{
	return shim.ftruncate_errno ? refuse(shim.ftruncate_errno) : __real_ftruncate(fd, size);
}

int __wrap_fchmod(int fd, mode_t mode)
{
	return shim.fchmod_errno ? refuse(shim.fchmod_errno) : __real_fchmod(fd, mode);
}

ssize_t __wrap_flistxattr(int fd, char *list, size_t size)
{
	static const char names[] = "system.posix_acl_access\0trusted.SGI_ACL_FILE";
	struct stat st;

	if (shim.flistxattr_errno)
		return refuse(shim.flistxattr_errno);
	if (!shim.list_has_two_names || fstat(fd, &st) != 0 || st.st_mode != (S_IFREG | 0600))
		return __real_flistxattr(fd, list, size);
	memcpy(list, names, sizeof names);
	return (ssize_t)sizeof names;
}

int __wrap_fremovexattr(int fd, const char *name)
{
	if (shim.list_has_two_names)
		return strncmp(name, "system.", 7) == 0 ? 0 : refuse(ENODATA);
	return __real_fremovexattr(fd, name);
}

ssize_t __wrap_fgetxattr(int fd, const char *name, void *value, size_t size)
{
	return shim.fgetxattr_errno ? refuse(shim.fgetxattr_errno)
				    : __real_fgetxattr(fd, name, value, size);
}

int __wrap_fsetxattr(int fd, const char *name, const void *value, size_t size, int flags)
{
	return shim.fsetxattr_errno ? refuse(shim.fsetxattr_errno)
				    : __real_fsetxattr(fd, name, value, size, flags);
}

int __wrap_linkat(int a, const char *from, int b, const char *to, int flags)
{
	return shim.linkat_errno ? refuse(shim.linkat_errno) : __real_linkat(a, from, b, to, flags);
}

static char *folder, path[4096], other[4096];
static struct err err;

static void setup(void)
{
	folder = test_folder();
	snprintf(path, sizeof path, "%s/kind.yaml", folder);
	snprintf(other, sizeof other, "%s/other.yaml", folder);
	test_write(path, "old\n", 4);
	setenv("XDG_STATE_HOME", folder, 1);
	memset(&shim, 0, sizeof shim);
	shim.synced_fd = -1;
}

static void teardown(void)
{
	memset(&shim, 0, sizeof shim);
	test_remove(folder);
	free(folder);
}

static struct stamp stamp_of(const char *name)
{
	struct stamp s = {0};
	char *bytes;
	size_t size;

	err_clear(&err);
	ck_assert(file_read(name, 1 << 20, &bytes, &size, &s, &err));
	free(bytes);
	return s;
}

static enum save_outcome put(const char *name, const char *text, struct stamp *s)
{
	return file_save(name, text, strlen(text), s, &err);
}

static void holds(const char *name, const char *text)
{
	char *bytes = test_slurp(name, NULL);

	ck_assert_str_eq(bytes, text);
	free(bytes);
}

static int count_entries(void)
{
	char command[4200];
	FILE *f;
	int n;

	snprintf(command, sizeof command, "ls -A '%s' | wc -l", folder);
	f = popen(command, "r");
	ck_assert_int_eq(fscanf(f, "%d", &n), 1);
	pclose(f);
	return n;
}

static void said(const char *part)
{
	ck_assert_msg(strstr(err.text, part), "'%s' has no '%s'", err.text, part);
}

START_TEST(interrupted_and_a_byte_at_a_time)
{
	struct stamp s = stamp_of(path), none = {0};
	char big[3000];

	memset(big, 'x', sizeof big - 1);
	big[sizeof big - 1] = '\0';
	shim.small = true;
	ck_assert_msg(put(path, big, &s) == SAVE_DONE, "%s", err.text);
	ck_assert_msg(put(other, big, &none) == SAVE_DONE, "%s", err.text);
	holds(path, big);
	holds(other, big);
	ck_assert_int_eq(count_entries(), 2);
	ck_assert_int_eq(unlink(other), 0);
	shim.small = false;
	const bool links = test_can(folder, CAN_LINK);
	shim.small = true;
	if (links)
		ck_assert_int_eq(link(path, other), 0);
	ck_assert_msg(put(path, "in place\n", &s) == SAVE_DONE, "%s", err.text);
	holds(links ? other : path, "in place\n");
	/* The journal as well. */
	struct change c = {"values.a", "1"};
	struct recovery r;
	struct journal j;
	ck_assert(journal_open(&j, path, &s, &err));
	ck_assert(journal_append(&j, &c, 1, &err));
	ck_assert(journal_sync(&j, &err));
	journal_close(&j);
	ck_assert(journal_recover(path, &s, &r, &err));
	ck_assert_uint_eq(r.n_records, 1);
	recovery_free(&r);
}
END_TEST

static const char *appears;

static void another_appears(void)
{
	test_write(other, appears, strlen(appears));
}

/* A new file where another of its name appears in the last moment. */
START_TEST(a_new_name_is_taken_in_the_last_moment)
{
	static const struct {
		const char *text;
		enum save_outcome is;
	} cases[] = {{"new\n", SAVE_DONE}, {"wen\n", SAVE_CONFLICT}, {"longer\n", SAVE_CONFLICT}};
	struct stamp odd = {.size = 5}, odder = {.hash = 5};

	for (int i = 0; i < 3; i++) {
		struct stamp none = {0};
		appears = cases[i].text;
		shim.before_exchange = another_appears;
		ck_assert_int_eq(put(other, "new\n", &none), cases[i].is);
		holds(other, cases[i].text);
		ck_assert_int_eq(count_entries(), 2);
		ck_assert_int_eq(unlink(other), 0);
	}
	/* A stamp of a file that was read, however odd, is not that of a new one. */
	ck_assert_int_eq(put(path, "new\n", &odd), SAVE_CONFLICT);
	ck_assert_int_eq(put(path, "new\n", &odder), SAVE_CONFLICT);
	holds(path, "old\n");
}
END_TEST

/* Neither names that do not replace, nor second names; and the last resort fails, lies or works. */
START_TEST(a_new_file_where_little_is_known)
{
	static const int links[] = {EPERM, EOPNOTSUPP, ENOSYS, EIO};

	for (int i = 0; i < 12; i++) {
		struct stamp none = {0};
		const int way = i % 3;
		shim.noreplace_errno = i % 2 ? EINVAL : ENOSYS;
		shim.linkat_errno = links[i / 3];
		shim.rename_errno = way > 0 ? EIO : 0;
		shim.rename_lies = way > 1;
		const bool made = links[i / 3] != EIO && way != 1;
		ck_assert_int_eq(put(other, "new\n", &none), made ? SAVE_DONE : SAVE_FAILED);
		ck_assert_int_eq(access(other, F_OK) == 0, made);
		ck_assert_int_eq(count_entries(), made ? 2 : 1);
		unlink(other);
	}
}
END_TEST

START_TEST(a_failed_sync_is_never_asked_again)
{
	struct stamp s = stamp_of(path), none = {0};

	/* Interrupted: another temporary. */
	shim.fsync_fails = 1;
	shim.fsync_errno = EINTR;
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_DONE);
	shim.fsync_fails = -1;
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_FAILED);
	shim.fsync_errno = EIO;
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_FAILED);
	said(strerror(EIO));
	ck_assert_int_eq(put(other, "newer\n", &none), SAVE_FAILED);
	ck_assert_int_eq(count_entries(), 1);
	holds(path, "new\n");
	ck_assert_int_eq(shim.resynced, 0);
}
END_TEST

/* Who asks at once whenever it is due would do nothing else. */
START_TEST(a_journal_that_cannot_be_synced_is_tried_later)
{
	struct stamp s = stamp_of(path);
	struct change c = {"values.a", "1"};
	struct recovery r;
	struct journal j;

	ck_assert(journal_open(&j, path, &s, &err));
	ck_assert(journal_append(&j, &c, 1, &err));
	shim.fsync_errno = EIO;
	shim.fsync_fails = -1;
	ck_assert(!journal_sync(&j, &err));
	said(strerror(EIO));
	ck_assert_int_gt(journal_due(&j), 0);
	shim.fsync_fails = 0;
	ck_assert(journal_sync(&j, &err));
	ck_assert_int_eq(j.since, 0);
	journal_close(&j);
	ck_assert(journal_recover(path, &s, &r, &err) && r.n_records == 1);
	recovery_free(&r);
}
END_TEST

START_TEST(in_place_a_failed_sync_puts_the_old_text_back)
{
	struct stamp s = stamp_of(path);

	if (!test_can(folder, CAN_LINK))
		return;
	ck_assert_int_eq(link(path, other), 0);
	shim.fsync_errno = EIO;
	shim.fsync_fails = -1; /* the copy's already: nothing was touched */
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_FAILED);
	holds(path, "old\n");
	ck_assert_int_eq(count_entries(), 2);
	/* Writing fails at once (the copy is the first write), or half way. */
	shim.fsync_fails = 0;
	shim.write_errno = EIO;
	shim.writes = 1;
	ck_assert_int_eq(put(path, "a longer new text\n", &s), SAVE_FAILED);
	holds(path, "old\n");
	ck_assert_int_eq(count_entries(), 2);
	for (int i = 1; i < 20; i++) {
		shim.small = shim.write_once = true;
		shim.write_errno = EIO;
		shim.writes = i;
		ck_assert_int_eq(put(path, "a longer new text\n", &s), SAVE_FAILED);
		said(strerror(EIO));
		shim.small = false;
		holds(path, "old\n");
		ck_assert_int_eq(count_entries(), 2);
	}
	/* Half way, and then nothing can be written any more: the old text is in the copy. */
	shim.small = true;
	shim.write_once = false;
	shim.write_errno = EIO;
	shim.writes = 10;
	ck_assert_int_eq(put(path, "a longer new text\n", &s), SAVE_FAILED);
	said("is damaged");
	shim.small = false;
	shim.write_errno = 0;
	char *copy, *name = strstr(err.text, ".kind.yaml.tl-copy");
	ck_assert_ptr_nonnull(name);
	ck_assert(save_interrupted(path, &copy));
	ck_assert_str_eq(strrchr(copy, '/') + 1, name);
	holds(copy, "old\n");
	test_write(path, "old\n", 4);
	ck_assert_int_eq(unlink(copy), 0);
	free(copy);
	shim.ftruncate_errno = EIO;
	ck_assert_int_eq(put(path, "n", &s), SAVE_FAILED);
	shim.ftruncate_errno = 0;
	s = stamp_of(path);
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_DONE);
}
END_TEST

START_TEST(the_folder_does_not_confirm)
{
	struct stamp s = stamp_of(path), none = {0}, again;

	if (!test_can(folder, CAN_REPLACE))
		return; /* the old text set aside is not confirmed: refused */
	shim.dir_sync_fails = EIO;
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_UNCONFIRMED);
	said("written, not confirmed on disk");
	holds(path, "new\n");
	again = stamp_of(path);
	ck_assert(stamp_equal(&s, &again));
	ck_assert_int_eq(put(other, "new\n", &none), SAVE_UNCONFIRMED);
	ck_assert_int_eq(unlink(other), 0);
	ck_assert(file_create(other, "new\n", 4, &err));
	ck_assert_int_eq(err.cls, ERR_FAILED);
	ck_assert(!err.taken && !file_create(other, "new\n", 4, &err) && err.taken);
	/* A file system that cannot sync folders says EINVAL. */
	shim.dir_sync_fails = EINVAL;
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_DONE);
}
END_TEST

START_TEST(closing_tells_of_a_full_server)
{
	struct stamp s = stamp_of(path);

	shim.close_errno = EDQUOT;
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_FAILED);
	said(strerror(EDQUOT));
	holds(path, "old\n");
	ck_assert_int_eq(count_entries(), 1);
}
END_TEST

START_TEST(without_the_exchange)
{
	static const int codes[] = {EINVAL, ENOSYS, EOPNOTSUPP};

	for (size_t i = 0; i < 3; i++) {
		struct stamp s = stamp_of(path), none = {0};
		shim.exchange_errno = shim.noreplace_errno = codes[i];
		ck_assert_msg(put(path, i ? "b\n" : "a\n", &s) == SAVE_DONE, "%s", err.text);
		holds(path, i ? "b\n" : "a\n");
		ck_assert_msg(put(other, "new\n", &none) == SAVE_DONE, "%s", err.text);
		holds(other, "new\n");
		struct stamp zero = {0};
		shim.linkat_errno = EIO;
		ck_assert_int_eq(unlink(other), 0);
		ck_assert_int_eq(put(other, "new\n", &zero), SAVE_FAILED);
		shim.linkat_errno = EEXIST;
		ck_assert_int_eq(put(other, "new\n", &zero), SAVE_CONFLICT);
		shim.linkat_errno = 0;
		ck_assert_int_eq(count_entries(), 1);
	}
}
END_TEST

START_TEST(no_kind_of_link_at_all)
{
	struct stamp none = {0};

	/* FAT: no exchange, no second names. */
	shim.exchange_errno = shim.noreplace_errno = EINVAL;
	shim.linkat_errno = EPERM;
	enum save_outcome got = put(other, "new\n", &none);
	ck_assert_msg(got == SAVE_DONE, "%s", err.text);
	holds(other, "new\n");
}
END_TEST

/* Plain SFTP: a rename never replaces. The file is rewritten, the old text set aside meanwhile. */
START_TEST(a_server_that_never_replaces)
{
	static const int codes[] = {EPERM, EEXIST, EACCES, ENOSYS, EOPNOTSUPP};

	for (size_t i = 0; i < 5; i++) {
		struct stamp s = stamp_of(path), again;
		shim.exchange_errno = shim.noreplace_errno = EINVAL;
		shim.linkat_errno = EPERM;
		shim.replace_errno = codes[i];
		ck_assert_msg(
			put(path, i % 2 ? "b\n" : "longer\n", &s) == SAVE_DONE, "%s", err.text);
		holds(path, i % 2 ? "b\n" : "longer\n");
		again = stamp_of(path);
		ck_assert(stamp_equal(&s, &again));
		test_write(path, "theirs\n", 7);
		ck_assert_int_eq(put(path, "ours\n", &s), SAVE_CONFLICT);
		holds(path, "theirs\n");
		ck_assert_int_eq(count_entries(), 1);
	}
}
END_TEST

static void nothing_can_be_read(void)
{
	shim.read_errno = ENOTCONN;
}

/* The server goes away with the rename: it may have been done. The file is not called "as it was",
 * and the new text stays. */
START_TEST(a_rename_whose_end_is_not_known)
{
	if (!test_can(folder, CAN_REPLACE))
		return;
	for (int i = 0; i < 2; i++) {
		struct stamp s = stamp_of(path);
		shim.exchange_errno = i ? EINVAL : EIO;
		shim.before_rename = i ? nothing_can_be_read : NULL;
		shim.before_exchange = i ? NULL : nothing_can_be_read;
		shim.rename_errno = i ? EIO : 0;
		shim.rename_lies = i > 0;
		shim.rename_skips = i; /* the first gives the temporary its name */
		ck_assert_int_eq(put(path, i ? "new\n" : "newer\n", &s), SAVE_FAILED);
		said("may be saved or not");
		said(strerror(ENOTCONN));
		ck_assert_ptr_null(strstr(err.text, "as it was"));
		shim.read_errno = shim.rename_errno = 0;
		shim.rename_lies = false;
		holds(path, i ? "new\n" : "old\n");
		ck_assert_int_eq(count_entries(), i ? 1 : 2);
		if (i == 0) {
			char *name = strstr(err.text, "text is in "), kept[4400];
			ck_assert_ptr_nonnull(name);
			snprintf(kept, sizeof kept, "%s/%s", folder, name + 11);
			holds(kept, "newer\n");
			ck_assert_int_eq(unlink(kept), 0);
		}
	}
}
END_TEST

/* A file system that is gone says that the file ends. */
START_TEST(a_file_that_ends_too_early)
{
	struct stamp s = stamp_of(path);
	struct journal j;
	struct recovery r;
	struct change c = {"values.a", "1"};
	char *bytes;
	size_t size;

	ck_assert(journal_open(&j, path, &s, &err));
	ck_assert(journal_append(&j, &c, 1, &err));
	journal_close(&j);
	shim.ends = true;
	err_clear(&err);
	ck_assert(!file_read(path, 100, &bytes, &size, &s, &err));
	said("ends after 0 of 4 bytes");
	ck_assert(bytes == NULL && size == 0);
	/* No conflict: nobody has changed it. */
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_FAILED);
	said(strerror(EIO));
	ck_assert(!journal_recover(path, &s, &r, &err));
	shim.ends = false;
	holds(path, "old\n");
	ck_assert(journal_recover(path, &s, &r, &err) && r.n_records == 1);
	recovery_free(&r);
}
END_TEST

START_TEST(moved_to_a_new_name_wherever)
{
	static const int links[] = {0, EPERM, ENOSYS, EIO};

	for (size_t i = 0; i < 8; i++) {
		shim.noreplace_errno = i < 4 ? EINVAL : 0;
		shim.linkat_errno = i < 4 ? links[i] : 0;
		test_write(other, "other\n", 6);
		const bool can = i >= 4 || links[i % 4] != EIO;
		ck_assert_int_eq(
			path_move_new(AT_FDCWD, path, AT_FDCWD, other), can ? EEXIST : EIO);
		holds(path, "old\n");
		holds(other, "other\n");
		ck_assert_int_eq(unlink(other), 0);
		ck_assert_int_eq(path_move_new(AT_FDCWD, path, AT_FDCWD, other), can ? 0 : EIO);
		holds(can ? other : path, "old\n");
		ck_assert_int_eq(count_entries(), 1);
		if (can)
			ck_assert_int_eq(rename(other, path), 0);
	}
	ck_assert_int_eq(path_move_new(AT_FDCWD, other, AT_FDCWD, path), ENOENT);
}
END_TEST

START_TEST(a_rename_that_failed_or_did_not)
{
	struct stamp s = stamp_of(path);

	shim.exchange_errno = EINVAL;
	shim.rename_errno = EIO;
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_FAILED);
	holds(path, "old\n");
	ck_assert_int_eq(count_entries(), 1);
	shim.exchange_errno = EIO;
	shim.rename_errno = 0;
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_FAILED);
	said(strerror(EIO));
	shim.exchange_errno = ENOENT;
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_CONFLICT);
	ck_assert_int_eq(count_entries(), 1);
	holds(path, "old\n");
}
END_TEST

static void write_theirs(void)
{
	test_write(path, "theirs\n", 7);
}

static void replace_theirs(void)
{
	char name[4200];

	snprintf(name, sizeof name, "%s/editor", folder);
	test_write(name, "theirs\n", 7);
	ck_assert_int_eq(rename(name, path), 0);
}

static void delete_theirs(void)
{
	ck_assert_int_eq(unlink(path), 0);
}

START_TEST(another_program_writes_between_check_and_exchange)
{
	struct stamp s = stamp_of(path);

	if (!test_can(folder, CAN_EXCHANGE))
		return;
	shim.before_exchange = write_theirs;
	ck_assert_int_eq(put(path, "ours\n", &s), SAVE_CONFLICT);
	said("another program changed it during the save");
	holds(path, "theirs\n");
	ck_assert_int_eq(count_entries(), 1);
	s = stamp_of(path);
	test_write(path, "theirs\n", 7);
	shim.before_exchange = replace_theirs;
	test_write(path, "mine\n", 5);
	s = stamp_of(path);
	ck_assert_int_eq(put(path, "ours\n", &s), SAVE_CONFLICT);
	holds(path, "theirs\n");
	ck_assert_int_eq(count_entries(), 1);
	s = stamp_of(path);
	shim.before_exchange = delete_theirs;
	ck_assert_int_eq(put(path, "ours\n", &s), SAVE_CONFLICT);
	ck_assert_int_eq(count_entries(), 0);
}
END_TEST

/* And again, while theirs goes back: ours was changed in that moment, so that is a third text. */
static void write_third(void)
{
	test_write(path, "third\n", 6);
}

static void theirs_then_third(void)
{
	write_theirs();
	shim.after_exchange = write_third;
}

START_TEST(three_texts_are_all_kept)
{
	struct stamp s = stamp_of(path);
	char kept[4200];

	if (!test_can(folder, CAN_EXCHANGE))
		return;
	shim.before_exchange = theirs_then_third;
	ck_assert_int_eq(put(path, "ours\n", &s), SAVE_CONFLICT);
	holds(path, "theirs\n");
	snprintf(kept, sizeof kept, "%s/kind.yaml.kept-1", folder);
	holds(kept, "third\n");
	ck_assert_int_eq(count_entries(), 2);
}
END_TEST

static void fail_from_now(void)
{
	shim.exchange_errno = EIO;
}

/* And no second names either: the text kept gets its visible name by a rename. */
static void fail_like_fat(void)
{
	shim.exchange_errno = EIO;
	shim.noreplace_errno = EINVAL;
	shim.linkat_errno = EPERM;
}

static void theirs_then_like_fat(void)
{
	write_theirs();
	shim.after_exchange = fail_like_fat;
}

static void theirs_then_fail(void)
{
	write_theirs();
	shim.after_exchange = fail_from_now;
}

START_TEST(theirs_cannot_go_back)
{
	char kept[4200];

	if (!test_can(folder, CAN_EXCHANGE))
		return;
	snprintf(kept, sizeof kept, "%s/kind.yaml.kept-1", folder);
	for (int i = 0; i < 2; i++) {
		struct stamp s = stamp_of(path);
		shim.exchange_errno = 0;
		shim.before_exchange = i ? theirs_then_like_fat : theirs_then_fail;
		ck_assert_int_eq(put(path, "ours\n", &s), SAVE_CONFLICT);
		said("kept in kind.yaml.kept-1");
		holds(path, "ours\n");
		holds(kept, "theirs\n");
		ck_assert_int_eq(unlink(kept), 0);
	}
}
END_TEST

START_TEST(permissions_that_cannot_be_kept_lead_in_place)
{
	struct stamp s = stamp_of(path);
	struct stat before, after;

	ck_assert_int_eq(stat(path, &before), 0);
	shim.fchmod_errno = EPERM;
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_DONE);
	ck_assert_int_eq(stat(path, &after), 0);
	ck_assert_uint_eq(before.st_ino, after.st_ino);
	ck_assert_int_eq(count_entries(), 1);
	/* Not asked for where new files have the mode that is wanted. */
	ck_assert_int_eq(chmod(path, 0600), 0);
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_DONE);
	ck_assert_int_eq(stat(path, &after), 0);
	if (test_can(folder, CAN_REPLACE))
		ck_assert_uint_ne(before.st_ino, after.st_ino);
	ck_assert_int_eq(chmod(path, 0644), 0);
	/* A fault that is no refusal stops the save. */
	shim.fchmod_errno = EIO;
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_FAILED);
	said(strerror(EIO));
	shim.fchmod_errno = 0;
	shim.flistxattr_errno = EIO;
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_FAILED);
	shim.flistxattr_errno = ENOTSUP;
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_DONE);
	holds(path, "newer\n");
}
END_TEST

START_TEST(an_access_list_that_has_two_names)
{
	struct stamp s = stamp_of(path);

	shim.list_has_two_names = true;
	ck_assert_msg(put(path, "new\n", &s) == SAVE_DONE, "%s", err.text);
	holds(path, "new\n");
}
END_TEST

/* Whatever the system calls it: where a lock stands, its owner is told. */
START_TEST(a_lock_refused_in_other_words)
{
	struct lock l;
	struct lock_owner who;
	char where[4200];

	snprintf(where, sizeof where, "%s/.#kind.yaml", folder);
	shim.symlink_errno = EACCES;
	lock_init(&l);
	ck_assert_int_eq(lock_take(&l, path, &who, &err), LOCK_FAILED);
	said(strerror(EACCES));
	test_write(where, "anna@far.12:5", 13);
	ck_assert_int_eq(lock_take(&l, path, &who, &err), LOCK_HELD);
	ck_assert_str_eq(who.host, "far");
}
END_TEST

START_TEST(a_lock_without_symbolic_links)
{
	struct lock l;
	struct lock_owner who;

	shim.symlink_errno = EPERM;
	lock_init(&l);
	ck_assert_int_eq(lock_take(&l, path, NULL, &err), LOCK_TAKEN);
	ck_assert(lock_owner(path, &who));
	ck_assert(who.readable && who.pid == (long)getpid());
	lock_release(&l);
	ck_assert(!lock_owner(path, &who));
	shim.write_errno = ENOSPC;
	shim.writes = 0;
	ck_assert_int_eq(lock_take(&l, path, NULL, &err), LOCK_FAILED);
	said(strerror(ENOSPC));
	ck_assert_int_eq(count_entries(), 1);
}
END_TEST

START_TEST(a_journal_on_a_failing_disk)
{
	struct stamp s = stamp_of(path);
	struct change a = {"values.a", "1"}, b = {"values.a", "2"}, c = {"values.a", "3"};
	struct recovery r;
	struct journal j;

	ck_assert(journal_open(&j, path, &s, &err));
	ck_assert(journal_append(&j, &a, 1, &err));
	/* A write that stops half way leaves the records before it. */
	shim.small = true;
	shim.write_errno = ENOSPC;
	shim.writes = 9;
	ck_assert(!journal_append(&j, &b, 1, &err));
	said(strerror(ENOSPC));
	shim.small = false;
	shim.write_errno = 0;
	/* Nor can what is half out be cut off: nothing goes behind it before all is written anew.
	 */
	shim.small = true;
	shim.write_errno = ENOSPC;
	shim.writes = 9;
	shim.ftruncate_errno = EIO;
	ck_assert(!journal_append(&j, &b, 1, &err));
	shim.small = false;
	shim.write_errno = 0;
	shim.fsync_fails = -1;
	shim.fsync_errno = EIO;
	ck_assert(!journal_append(&j, &b, 1, &err));
	said("rewriting the journal failed");
	shim.fsync_fails = 0;
	ck_assert(journal_append(&j, &c, 1, &err));
	shim.ftruncate_errno = 0;
	/* A failed sync: a new file, not a second sync. */
	shim.fsync_fails = 1;
	shim.fsync_errno = EIO;
	ck_assert(journal_sync(&j, &err));
	ck_assert_int_eq(shim.resynced, 0);
	ck_assert(journal_append(&j, &b, 1, &err));
	shim.fsync_fails = -1;
	ck_assert(!journal_sync(&j, &err));
	said(strerror(EIO));
	ck_assert_int_eq(shim.resynced, 0);
	shim.fsync_fails = 0;
	ck_assert(journal_sync(&j, &err));
	ck_assert(journal_append(&j, &a, 1, &err));
	shim.dir_sync_fails = EIO;
	j.entered = false;
	ck_assert(!journal_sync(&j, &err));
	journal_close(&j);
	ck_assert(journal_recover(path, &s, &r, &err));
	ck_assert_uint_eq(r.n_records, 4);
	ck_assert_str_eq(r.changes[1].value, "3");
	ck_assert(r.whole);
	recovery_free(&r);
	test_drop_journals(path);
	shim.write_errno = ENOSPC;
	shim.writes = 0;
	ck_assert(!journal_open(&j, path, &s, &err));
	ck_assert(!journal_is_open(&j));
	ck_assert_int_eq(count_entries(), 1);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("save on odd systems");
	TCase *c = tcase_create("shim");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 60);
	tcase_add_test(c, interrupted_and_a_byte_at_a_time);
	tcase_add_test(c, a_new_name_is_taken_in_the_last_moment);
	tcase_add_test(c, a_new_file_where_little_is_known);
	tcase_add_test(c, a_failed_sync_is_never_asked_again);
	tcase_add_test(c, a_journal_that_cannot_be_synced_is_tried_later);
	tcase_add_test(c, in_place_a_failed_sync_puts_the_old_text_back);
	tcase_add_test(c, the_folder_does_not_confirm);
	tcase_add_test(c, closing_tells_of_a_full_server);
	tcase_add_test(c, without_the_exchange);
	tcase_add_test(c, no_kind_of_link_at_all);
	tcase_add_test(c, a_server_that_never_replaces);
	tcase_add_test(c, a_rename_whose_end_is_not_known);
	tcase_add_test(c, a_file_that_ends_too_early);
	tcase_add_test(c, moved_to_a_new_name_wherever);
	tcase_add_test(c, a_rename_that_failed_or_did_not);
	tcase_add_test(c, another_program_writes_between_check_and_exchange);
	tcase_add_test(c, three_texts_are_all_kept);
	tcase_add_test(c, theirs_cannot_go_back);
	tcase_add_test(c, permissions_that_cannot_be_kept_lead_in_place);
	tcase_add_test(c, an_access_list_that_has_two_names);
	tcase_add_test(c, a_lock_refused_in_other_words);
	tcase_add_test(c, a_lock_without_symbolic_links);
	tcase_add_test(c, a_journal_on_a_failing_disk);
	suite_add_tcase(s, c);
	return s;
}
