/*
 * Saving in the odd moments: another program at the same file between two calls, systems that
 * promise and do not keep, names and leftovers that nobody should have, locks of others. The
 * linker's --wrap puts the functions below between the store and the system.
 */
#include "store/host.h"
#include "store/journal.h"
#include "store/lock.h"
#include "store/save_parts.h"
#include "store/store.h"
#include "store/write.h"
#include "support/abilities.h"
#include "support/journals.h"
#include "support/small_book.h"
#include "support/support.h"

#include <errno.h>
#include <fcntl.h>
#include <pwd.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <sys/xattr.h>
#include <unistd.h>

/* What the system does; all zero: its work. */
static struct {
	void (*before_rewrite)(void);  /* a file is opened to be rewritten */
	void (*before_exchange)(void); /* two names change places */
	void (*before_read)(void);
	int exchange_errno;
	int rename_errno; /* and has happened all the same */
	bool then_gone;   /* and nothing can be read any more */
	int syncs;        /* so many first syncs of a file work */
	int interrupts;   /* and so many are interrupted then */
	bool mode_lost, user_lost, group_lost;
	bool short_writes, no_links;
	const char *always_locked; /* who else takes a lock that is free */
	int attribute_stays;       /* it is not taken from a file, and why */
	enum { NAMED, NAMELESS, UNKNOWN } user, host;
	const char *proc; /* stands for /proc/stat; "": cannot be opened */
} odd;

static int refuse(int code)
{
	errno = code;
	return -1;
}

static void call(void (**hook)(void))
{
	void (*was)(void) = *hook;

	*hook = NULL;
	if (was)
		was();
}

int __real_openat(int fd, const char *name, int flags, ...);
int __wrap_openat(int fd, const char *name, int flags, ...);
int __wrap_openat(int fd, const char *name, int flags, ...)
{
	va_list ap;
	mode_t mode;

	va_start(ap, flags);
	mode = flags & O_CREAT ? va_arg(ap, mode_t) : 0;
	va_end(ap);
	if (odd.then_gone && odd.rename_errno == 0)
		return refuse(EIO);
	if ((flags & O_ACCMODE) == O_RDWR)
		call(&odd.before_rewrite);
	return __real_openat(fd, name, flags, mode);
}

int __real_renameat2(int a, const char *from, int b, const char *to, unsigned flags);
int __wrap_renameat2(int a, const char *from, int b, const char *to, unsigned flags);
int __wrap_renameat2(int a, const char *from, int b, const char *to, unsigned flags)
{
	if (!(flags & RENAME_EXCHANGE))
		return __real_renameat2(a, from, b, to, flags);
	call(&odd.before_exchange);
	if (odd.exchange_errno)
		return refuse(odd.exchange_errno);
	return __real_renameat2(a, from, b, to, flags);
}

int __real_renameat(int a, const char *from, int b, const char *to);
int __wrap_renameat(int a, const char *from, int b, const char *to);
int __wrap_renameat(int a, const char *from, int b, const char *to)
{
	int got = __real_renameat(a, from, b, to), code = odd.rename_errno;

	if (code == 0 || strcmp(to, "kind.yaml") != 0)
		return got;
	odd.rename_errno = 0;
	return refuse(code);
}

int __real_fsync(int fd);
int __wrap_fsync(int fd);
int __wrap_fsync(int fd)
{
	struct stat st;

	if (odd.interrupts == 0 || fstat(fd, &st) != 0 || !S_ISREG(st.st_mode))
		return __real_fsync(fd);
	if (odd.syncs-- > 0)
		return __real_fsync(fd);
	odd.interrupts--;
	return refuse(EINTR);
}

int __real_fchmod(int fd, mode_t mode);
int __wrap_fchmod(int fd, mode_t mode);
int __wrap_fchmod(int fd, mode_t mode)
{
	return odd.mode_lost ? 0 : __real_fchmod(fd, mode);
}

int __real_fchown(int fd, uid_t uid, gid_t gid);
int __wrap_fchown(int fd, uid_t uid, gid_t gid);
int __wrap_fchown(int fd, uid_t uid, gid_t gid)
{
	return __real_fchown(fd, odd.user_lost ? (uid_t)-1 : uid, odd.group_lost ? (gid_t)-1 : gid);
}

int __real_fremovexattr(int fd, const char *name);
int __wrap_fremovexattr(int fd, const char *name);
int __wrap_fremovexattr(int fd, const char *name)
{
	return odd.attribute_stays ? refuse(odd.attribute_stays) : __real_fremovexattr(fd, name);
}

ssize_t __real_read(int fd, void *bytes, size_t n);
ssize_t __wrap_read(int fd, void *bytes, size_t n);
ssize_t __wrap_read(int fd, void *bytes, size_t n)
{
	call(&odd.before_read);
	return __real_read(fd, bytes, n);
}

ssize_t __real_write(int fd, const void *bytes, size_t n);
ssize_t __wrap_write(int fd, const void *bytes, size_t n);
ssize_t __wrap_write(int fd, const void *bytes, size_t n)
{
	return __real_write(fd, bytes, odd.short_writes && n > 1 ? n / 2 : n);
}

int __real_symlink(const char *text, const char *name);
int __wrap_symlink(const char *text, const char *name);
int __wrap_symlink(const char *text, const char *name)
{
	if (odd.always_locked)
		return __real_symlink(odd.always_locked, name) == 0 ? refuse(EEXIST) : -1;
	return odd.no_links ? refuse(EPERM) : __real_symlink(text, name);
}

struct passwd *__real_getpwuid(uid_t uid);
struct passwd *__wrap_getpwuid(uid_t uid);
struct passwd *__wrap_getpwuid(uid_t uid)
{
	static char name[] = "";
	static struct passwd nameless = {.pw_name = name};

	return odd.user == NAMED ? __real_getpwuid(uid) : odd.user == NAMELESS ? &nameless : NULL;
}

int __real_gethostname(char *name, size_t size);
int __wrap_gethostname(char *name, size_t size);
int __wrap_gethostname(char *name, size_t size)
{
	if (odd.host == NAMED)
		return __real_gethostname(name, size);
	memset(name, odd.host == NAMELESS ? '\0' : 'h', size); /* too long: without an end */
	return 0;
}

FILE *__real_fopen(const char *name, const char *mode);
FILE *__wrap_fopen(const char *name, const char *mode);
FILE *__wrap_fopen(const char *name, const char *mode)
{
	return __real_fopen(odd.proc && strncmp(name, "/proc/", 6) == 0 ? odd.proc : name, mode);
}

/* --- the fixture --- */

static char *folder, path[4096], other[4096];
static struct err err;

static void setup(void)
{
	memset(&odd, 0, sizeof odd);
	folder = test_folder();
	snprintf(path, sizeof path, "%s/kind.yaml", folder);
	snprintf(other, sizeof other, "%s/other.yaml", folder);
	test_write(path, "old\n", 4);
	setenv("XDG_STATE_HOME", folder, 1);
	setenv("LOGNAME", "anna", 1);
	err_clear(&err);
}

static void teardown(void)
{
	memset(&odd, 0, sizeof odd);
	test_remove(folder);
	free(folder);
}

static struct stamp stamp_of(const char *name)
{
	struct stamp s = {0};
	char *bytes;
	size_t size;

	ck_assert(file_read(name, 1 << 20, &bytes, &size, &s, &err));
	free(bytes);
	return s;
}

static enum save_outcome put(const char *text, struct stamp *s)
{
	return file_save(path, text, strlen(text), s, &err);
}

static void holds(const char *name, const char *text)
{
	char *bytes = test_slurp(name, NULL);

	ck_assert_str_eq(bytes, text);
	free(bytes);
}

static void said(const char *part)
{
	ck_assert_msg(strstr(err.text, part), "'%s' has no '%s'", err.text, part);
}

/* --- between two calls --- */

static void write_theirs(void)
{
	test_write(path, "theirs\n", 7);
}

static void grow_it(void)
{
	ck_assert_int_eq(truncate(path, 17 * 1024 * 1024), 0);
}

static void become_a_pipe(void)
{
	ck_assert_int_eq(unlink(path), 0);
	ck_assert_int_eq(mkfifo(path, 0644), 0);
}

START_TEST(changed_just_before_it_is_rewritten)
{
	struct stamp s = stamp_of(path);

	if (!test_can(folder, CAN_LINK))
		return;
	ck_assert_int_eq(link(path, other), 0);
	odd.before_rewrite = write_theirs;
	ck_assert_int_eq(put("ours\n", &s), SAVE_CONFLICT);
	said("another program changed it since it was read");
	holds(path, "theirs\n");
	holds(other, "theirs\n");
	s = stamp_of(path);
	odd.before_rewrite = become_a_pipe;
	ck_assert_int_eq(put("ours\n", &s), SAVE_CONFLICT);
	said("another program changed it since it was read");
	ck_assert_int_eq(test_entries(folder), 2);
}
END_TEST

static void cut_it(void)
{
	ck_assert_int_eq(truncate(path, 2), 0);
}

/* Cut while it is read, it is what it is now. */
START_TEST(cut_while_it_is_read)
{
	struct stamp s = stamp_of(path);
	char *bytes;
	size_t size;

	odd.before_read = cut_it;
	ck_assert_msg(file_read(path, 100, &bytes, &size, &s, &err), "%s", err.text);
	ck_assert(size == 2 && s.size == 2 && strcmp(bytes, "ol") == 0);
	free(bytes);
}
END_TEST

START_TEST(changed_by_another_while_the_exchange_failed)
{
	struct stamp s = stamp_of(path);

	odd.before_exchange = write_theirs;
	odd.exchange_errno = EIO;
	ck_assert_int_eq(put("ours\n", &s), SAVE_CONFLICT);
	said("another program changed it during the save");
	holds(path, "theirs\n");
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

START_TEST(what_came_out_of_the_exchange_is_too_large_to_read)
{
	struct stamp s = stamp_of(path);
	struct stat st;

	if (!test_can(folder, CAN_EXCHANGE))
		return;
	odd.before_exchange = grow_it;
	ck_assert_int_eq(put("ours\n", &s), SAVE_CONFLICT);
	said("another program changed it during the save");
	ck_assert(stat(path, &st) == 0 && st.st_size == 17 * 1024 * 1024);
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

START_TEST(a_rename_that_says_it_failed)
{
	struct stamp s = stamp_of(path), again;

	odd.exchange_errno = EINVAL;
	odd.rename_errno = EIO;
	ck_assert_msg(put("new\n", &s) == SAVE_DONE, "%s", err.text);
	holds(path, "new\n");
	again = stamp_of(path);
	ck_assert(stamp_equal(&s, &again));
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

/* Done or not, nobody knows: no other way is tried then, and the new text is not given up. */
START_TEST(a_rename_that_failed_where_nothing_can_be_read)
{
	static const int codes[] = {EIO, EACCES, EPERM};

	for (int i = 0; i < 3; i++) {
		struct stamp s = stamp_of(path);
		odd.exchange_errno = EINVAL;
		odd.rename_errno = codes[i];
		odd.then_gone = true;
		ck_assert_int_eq(put(i % 2 ? "b\n" : "a\n", &s), SAVE_FAILED);
		said("may be saved or not");
		said(strerror(codes[i]));
		odd.then_gone = false;
		holds(path, i % 2 ? "b\n" : "a\n");
	}
}
END_TEST

/* A rewrite in place is written and synced again where a signal comes between, not for ever. */
START_TEST(signals_during_a_rewrite)
{
	struct stamp s = stamp_of(path);
	char *copy;

	if (!test_can(folder, CAN_LINK))
		return;
	ck_assert_int_eq(link(path, other), 0);
	odd.syncs = 1; /* that of the copy */
	odd.interrupts = 4;
	ck_assert_msg(put("new\n", &s) == SAVE_DONE, "%s", err.text);
	holds(path, "new\n");
	ck_assert_int_eq(test_entries(folder), 2);
	odd.syncs = 1;
	odd.interrupts = 5;
	ck_assert_int_eq(put("newer\n", &s), SAVE_FAILED);
	said("the file is as it was");
	holds(path, "new\n");
	ck_assert_int_eq(test_entries(folder), 2);
	/* Nor can the old text be confirmed: its copy stays, and the file is not told as torn. */
	odd.syncs = 1;
	odd.interrupts = 10;
	ck_assert_int_eq(put("newer\n", &s), SAVE_FAILED);
	said("the file is as it was");
	holds(path, "new\n");
	ck_assert_int_eq(test_entries(folder), 3);
	ck_assert(!save_interrupted(path, &copy));
	ck_assert_ptr_null(copy);
	ck_assert_int_eq(put("", &s), SAVE_DONE);
	holds(other, "");
	ck_assert_int_eq(test_entries(folder), 2);
}
END_TEST

START_TEST(what_is_promised_and_not_kept_leads_in_place)
{
	const bool root = geteuid() == 0 && test_can(folder, CAN_OWN);

	if (!test_can(folder, CAN_MODE))
		return;
	for (int i = 0; i < (root ? 3 : 1); i++) {
		struct stamp s = stamp_of(path);
		struct stat before, after;
		ck_assert_int_eq(chmod(path, 0640), 0);
		if (i > 0)
			ck_assert_int_eq(chown(path, i == 1 ? 1234 : 0, i == 2 ? 2345 : 0), 0);
		ck_assert_int_eq(stat(path, &before), 0);
		odd.mode_lost = i == 0;
		odd.user_lost = i == 1;
		odd.group_lost = i == 2;
		ck_assert_msg(put(i % 2 ? "odd\n" : "even\n", &s) == SAVE_DONE, "%s", err.text);
		ck_assert_int_eq(stat(path, &after), 0);
		ck_assert_uint_eq(before.st_ino, after.st_ino);
		ck_assert(before.st_mode == after.st_mode && before.st_uid == after.st_uid &&
			  before.st_gid == after.st_gid);
		holds(path, i % 2 ? "odd\n" : "even\n");
		ck_assert_int_eq(test_entries(folder), 1);
	}
}
END_TEST

/* Owner 6, one more user, group 4, mask, others none, as in linux/posix_acl_xattr.h. */
static size_t access_list(unsigned char *out, unsigned user, unsigned may)
{
	const unsigned entries[][3] = {
		{0x01, 6, ~0u}, {0x02, may, user}, {0x04, 4, ~0u}, {0x10, 6, ~0u}, {0x20, 0, ~0u}};
	size_t n = 4;

	memcpy(out, "\2\0\0\0", 4);
	for (size_t i = 0; i < sizeof entries / sizeof *entries; i++) {
		for (int k = 0; k < 8; k++) {
			unsigned v = k < 2 ? entries[i][0] : k < 4 ? entries[i][1] : entries[i][2];
			out[n++] = (unsigned char)(v >> 8 * (k < 4 ? k % 2 : k - 4) & 0xff);
		}
	}
	return n;
}

/* The folder gives new files a list; the file has the same one, or one of its own. */
START_TEST(an_access_list_that_the_folder_gives_too)
{
	unsigned char given[64], own[64], now[64];
	size_t size = access_list(given, 1234, 4);

	if (setxattr(folder, "system.posix_acl_default", given, size, 0) != 0) {
		printf("SKIPPED here: access lists\n");
		return;
	}
	/* The very list that a new file gets, which lets nobody in but the owner. */
	int fd = open(other, O_WRONLY | O_CREAT | O_EXCL, 0600);
	ck_assert_int_ge(fd, 0);
	ck_assert_int_eq(
		fgetxattr(fd, "system.posix_acl_access", given, sizeof given), (ssize_t)size);
	close(fd);
	for (unsigned i = 0; i < 3; i++) {
		struct stamp s = stamp_of(path);
		access_list(own, 1234 + i, i ? 6 : 4);
		if (i == 2)
			memcpy(own, given, size);
		ck_assert_int_eq(setxattr(path, "system.posix_acl_access", own, size, 0), 0);
		if (i == 1)
			setxattr(path, "user.origin", "x", 1, 0);
		ck_assert_msg(put(i % 2 ? "b\n" : "a\n", &s) == SAVE_DONE, "%s", err.text);
		ck_assert_int_eq(
			getxattr(path, "system.posix_acl_access", now, sizeof now), (ssize_t)size);
		ck_assert(memcmp(now, own, size) == 0);
		holds(path, i % 2 ? "b\n" : "a\n");
	}
}
END_TEST

/* The folder gives new files a list, which the old file does not have and the new one keeps. */
START_TEST(an_access_list_that_stays)
{
	unsigned char given[64];
	struct stamp s = stamp_of(path);
	struct stat before, after;

	if (setxattr(folder, "system.posix_acl_default", given, access_list(given, 1234, 4), 0) !=
		0) {
		printf("SKIPPED here: access lists\n");
		return;
	}
	setxattr(path, "user.origin", "x", 1, 0); /* and one that stays on purpose */
	odd.attribute_stays = EIO;
	ck_assert_int_eq(put("new\n", &s), SAVE_FAILED);
	said("keeping owner and permissions failed");
	holds(path, "old\n");
	ck_assert_int_eq(stat(path, &before), 0);
	odd.attribute_stays = EPERM;
	ck_assert_msg(put("new\n", &s) == SAVE_DONE, "%s", err.text);
	ck_assert_int_eq(stat(path, &after), 0);
	ck_assert_uint_eq(before.st_ino, after.st_ino);
	holds(path, "new\n");
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

/* --- leftovers and locks --- */

static void leave(const char *name, const char *text)
{
	char at[4400];

	snprintf(at, sizeof at, "%s/%s", folder, name);
	test_write(at, text, strlen(text));
}

static bool is_there(const char *name)
{
	char at[4400];

	snprintf(at, sizeof at, "%s/%s", folder, name);
	return access(at, F_OK) == 0;
}

static pid_t dead_pid(void)
{
	pid_t pid = fork();

	if (pid == 0)
		_exit(0);
	ck_assert_int_eq(waitpid(pid, NULL, 0), pid);
	return pid;
}

/* Only what is surely ours, and of a process that is no more, goes. */
START_TEST(leftovers_of_odd_names)
{
	struct stamp s = stamp_of(path);
	char host[128], dead[4][200], kept[4400];
	unsigned hash;
	const long gone = dead_pid();
	static const char *const strange[] = {".kind.yaml.tl-", ".kind.yaml.tl-new",
		".kind.yaml.tl-new-zz-5-1", ".kind.yaml.tl-NEW-00000000-5-1",
		".kind.yaml.tl-new-00000000-5-1", ".kind.yaml"};

	host_name(host, sizeof host);
	hash = (unsigned)(hash_bytes(host, strlen(host)) & 0xffffffff);
	for (size_t i = 0; i < sizeof strange / sizeof *strange; i++)
		leave(strange[i], "x");
	snprintf(dead[0], sizeof dead[0], ".kind.yaml.tl-new-%08x-0-1", hash);
	snprintf(dead[1], sizeof dead[1], ".kind.yaml.tl-new-%08x--%ld-1", hash, gone);
	snprintf(dead[2], sizeof dead[2], ".kind.yaml.tl-new-%08x-%ld-1", hash, gone);
	snprintf(dead[3], sizeof dead[3], ".kind.yaml.tl-swap-%08x-%ld-1", hash, gone);
	for (int i = 0; i < 4; i++)
		leave(dead[i], "y");
	ck_assert_msg(put("new\n", &s) == SAVE_DONE, "%s", err.text);
	for (size_t i = 0; i < sizeof strange / sizeof *strange; i++)
		ck_assert_msg(is_there(strange[i]), "%s", strange[i]);
	ck_assert(is_there(dead[0]) && is_there(dead[1]));
	ck_assert(!is_there(dead[2]) && !is_there(dead[3]));
	/* Whose text that was nobody can say: kept. */
	snprintf(kept, sizeof kept, "%s/kind.yaml.kept-1", folder);
	holds(kept, "y");
}
END_TEST

/* A rewrite that was cut short where the file's folder took no copy. */
START_TEST(a_copy_in_the_own_folder_is_found)
{
	struct stamp s = stamp_of(path);
	char host[128], name[300], *copy, *real;
	struct faults f;

	host_name(host, sizeof host);
	snprintf(name, sizeof name, "%s/treadlight", folder);
	ck_assert_int_eq(mkdir(name, 0700), 0);
	ck_assert(!save_interrupted(path, &copy));
	real = realpath(path, NULL);
	snprintf(name, sizeof name,
		"treadlight/.%016llx.kind.yaml.tl-copy-%08x-%ld-1-%016llx-%016llx",
		(unsigned long long)hash_bytes(real, strlen(real)),
		(unsigned)(hash_bytes(host, strlen(host)) & 0xffffffff), (long)dead_pid(),
		(unsigned long long)s.hash, 7ULL);
	free(real);
	leave(name, "old\n");
	faults_init(&f);
	save_check_folder(folder, &f);
	ck_assert(!save_interrupted(path, &copy) && f.n == 0); /* nothing is torn */
	test_write(path, "ne", 2);
	ck_assert(save_interrupted(path, &copy));
	holds(copy, "old\n");
	free(copy);
	ck_assert(!save_interrupted(other, &copy));
	save_check_folder(folder, &f);
	ck_assert_uint_eq(f.n, 1);
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "/treadlight/."));
	faults_free(&f);
	/* A file of that name in another book is another file. */
	snprintf(name, sizeof name, "%s/elsewhere", folder);
	ck_assert_int_eq(mkdir(name, 0700), 0);
	leave("elsewhere/kind.yaml", "theirs\n");
	save_check_folder(name, &f);
	ck_assert_uint_eq(f.n, 0);
}
END_TEST

/* A process that we may not signal is alive all the same. */
START_TEST(leftovers_and_locks_of_another_user)
{
	struct stamp s = stamp_of(path);
	char host[128], temp[200], lock[4400], text[300];
	struct lock_owner who;
	struct lock l;

	if (geteuid() != 0) {
		printf("SKIPPED here: another user (needs the superuser)\n");
		return;
	}
	if (!test_can(folder, CAN_OWN) || !test_can(folder, CAN_ADMIT) ||
		!test_can(folder, CAN_SYMLINK))
		return;
	host_name(host, sizeof host);
	snprintf(temp, sizeof temp, ".kind.yaml.tl-new-%08x-%ld-1",
		(unsigned)(hash_bytes(host, strlen(host)) & 0xffffffff), (long)getppid());
	leave(temp, "working");
	snprintf(lock, sizeof lock, "%s/.#kind.yaml", folder);
	snprintf(text, sizeof text, "root@%s.1:%lld", host, (long long)boot_time());
	ck_assert_int_eq(symlink(text, lock), 0);
	ck_assert(chmod(folder, 0777) == 0 && chmod(path, 0666) == 0);
	ck_assert(chown(folder, 65534, 0) == 0 && chown(path, 65534, 0) == 0);
	ck_assert_int_eq(setresuid(65534, 65534, 0), 0);
	lock_init(&l);
	enum lock_state got = lock_take(&l, path, &who, &err);
	enum save_outcome saved = put("new\n", &s);
	ck_assert_int_eq(setresuid(0, 0, 0), 0);
	ck_assert_int_eq(got, LOCK_HELD);
	ck_assert_int_eq(who.pid, 1);
	ck_assert_int_eq(saved, SAVE_DONE);
	ck_assert(is_there(temp));
	ck_assert_int_eq(readlink(lock, text, sizeof text), (ssize_t)strlen(text));
}
END_TEST

START_TEST(a_lock_file_that_gets_no_room)
{
	struct lock l;

	odd.no_links = odd.short_writes = true;
	lock_init(&l);
	ck_assert_int_eq(lock_take(&l, path, NULL, &err), LOCK_FAILED);
	said(strerror(ENOSPC));
	ck_assert_int_eq(test_entries(folder), 1);
	odd.short_writes = false;
	ck_assert_int_eq(lock_take(&l, path, NULL, &err), LOCK_TAKEN);
	lock_release(&l);
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

/* Whoever is gone leaves a lock, and it is broken; others are always faster. */
START_TEST(a_lock_that_others_always_get)
{
	char host[128], text[300];
	struct lock_owner who;
	struct lock l;
	const long gone = dead_pid();

	host_name(host, sizeof host);
	snprintf(text, sizeof text, "zoe@%s.%ld:%lld", host, gone, (long long)boot_time());
	odd.always_locked = text;
	lock_init(&l);
	const enum lock_state got = lock_take(&l, path, &who, &err);
	odd.always_locked = NULL;
	if (!test_can(folder, CAN_SYMLINK))
		return;
	ck_assert_int_eq(got, LOCK_FAILED);
	said("the lock changes all the time");
	ck_assert_int_eq(lock_take(&l, path, &who, &err), LOCK_TAKEN);
	lock_release(&l);
}
END_TEST

/* --- names --- */

START_TEST(a_machine_and_a_user_without_a_name)
{
	char name[64], want[64], again[4200];

	unsetenv("LOGNAME");
	unsetenv("USER");
	snprintf(want, sizeof want, "user-%ld", (long)geteuid());
	odd.user = NAMELESS;
	user_name(name, sizeof name);
	ck_assert_str_eq(name, want);
	odd.user = UNKNOWN;
	user_name(name, sizeof name);
	ck_assert_str_eq(name, want);
	odd.host = NAMELESS;
	host_name(name, sizeof name);
	ck_assert_str_eq(name, "localhost");
	odd.host = UNKNOWN;
	host_name(name, sizeof name);
	ck_assert_uint_eq(strlen(name), sizeof name - 1);
	ck_assert_uint_eq(strspn(name, "h"), sizeof name - 1);
	/* When the machine was started: not told, or nobody there to tell. */
	snprintf(again, sizeof again, "%s/stat", folder);
	odd.proc = again;
	ck_assert_int_eq(boot_time(), 0);
	test_write(again, "cpu 1 2 3\nbtime x\n", 18);
	ck_assert_int_eq(boot_time(), 0);
	test_write(again, "cpu 1 2 3\nbtime 1700000000\nprocesses 5\n", 39);
	ck_assert_int_eq(boot_time(), 1700000000);
}
END_TEST

/* What cannot be looked at is believed to live. */
START_TEST(a_process_that_is_not_told_of)
{
	static const char *const none[] = {
		"", "7\n", "7 (x\n", "7 )x( S\n", "7 (x) S 1 2 3\n", NULL};
	char at[4200], lock[4400], host[128], text[300];
	struct process p;
	struct lock_owner who;

	snprintf(at, sizeof at, "%s/process", folder);
	odd.proc = at;
	ck_assert(!process_look(7, &p));
	for (int i = 0; none[i]; i++) {
		test_write(at, none[i], strlen(none[i]));
		ck_assert_msg(!process_look(7, &p), "%s", none[i]);
	}
	odd.proc = NULL;
	ck_assert(process_look((long)getpid(), &p));
	ck_assert(p.start <= uptime_seconds() && p.state != 'Z');
	if (!test_can(folder, CAN_SYMLINK))
		return;
	host_name(host, sizeof host);
	snprintf(lock, sizeof lock, "%s/.#kind.yaml", folder);
	snprintf(text, sizeof text, "zoe@%s.%ld:1", host, (long)getpid());
	ck_assert_int_eq(symlink(text, lock), 0);
	ck_assert(lock_owner(path, &who) && who.ended);
	odd.proc = at;
	ck_assert(lock_owner(path, &who) && !who.ended);
	odd.proc = NULL;
}
END_TEST

/* A sheet that is not there yet has one journal and one lock, whatever it is called by. */
START_TEST(what_is_new_is_known_by_its_folder_too)
{
	struct change change = {"values.bias", "55"};
	struct stamp none = {0};
	struct recovery r;
	struct journal j;
	struct lock l;
	char linked[4200], at[4300];

	if (!test_can(folder, CAN_SYMLINK_FULL))
		return;
	snprintf(linked, sizeof linked, "%s/linked", folder);
	ck_assert_int_eq(symlink(folder, linked), 0);
	snprintf(at, sizeof at, "%s/fresh.yaml", linked);
	ck_assert(journal_open(&j, at, &none, &err));
	ck_assert(journal_append(&j, &change, 1, &err));
	journal_close(&j);
	ck_assert(is_there(".fresh.yaml.journal"));
	ck_assert_int_eq(chdir(folder), 0);
	ck_assert(journal_recover("fresh.yaml", &none, &r, &err) && r.found && r.same_base);
	recovery_free(&r);
	ck_assert_uint_eq(test_drop_journals("fresh.yaml"), 1);
	ck_assert(!is_there(".fresh.yaml.journal"));
	lock_init(&l);
	ck_assert_int_eq(lock_take(&l, "fresh.yaml", NULL, &err), LOCK_TAKEN);
	ck_assert(lock_owner(at, &(struct lock_owner){0}));
	lock_release(&l);
	ck_assert_int_eq(chdir("/"), 0);
	/* Where there is not even a folder, nothing is kept and that is said. */
	snprintf(at, sizeof at, "%s/nowhere/fresh.yaml", folder);
	ck_assert(!journal_open(&j, at, &none, &err));
	said(strerror(ENOENT));
	ck_assert(!journal_recover(at, &none, &r, &err));
	ck_assert_int_eq(lock_take(&l, at, NULL, &err), LOCK_FAILED);
	said(strerror(ENOENT));
}
END_TEST

/* --- a book's doors --- */

static struct book book;

static void load_book(void)
{
	struct faults faults;

	small_book_write(folder);
	faults_init(&faults);
	book_init(&book);
	ck_assert(store_load_book(&book, folder, &faults));
}

static char *in_folder(const char *name)
{
	char *at = NULL;

	ck_assert_int_ge(asprintf(&at, "%s/%s", folder, name), 0);
	return at;
}

enum { DOORS = 4 };

/* Door i, which changes something; the book in memory is what it was. */
static bool change(int i, bool back)
{
	struct sheet sheet;
	struct run run;
	bool ok;

	sheet_init(&sheet);
	run_init(&run);
	ck_assert(sheet_copy(&sheet, &book.sheets[0]) && run_copy(&run, &book.runs[0]));
	sheet.values[2] += FIX_ONE;
	run.laps[0].time = 99;
	switch (i) {
	case 0:
		ok = store_save_sheet(&book, back ? &sheet : &book.sheets[0],
			back ? &book.sheets[0] : &sheet, &err);
		break;
	case 1:
		ok = store_set_reference(&book, "base", &err);
		break;
	case 2:
		ok = store_save_run(
			&book, back ? &run : &book.runs[0], back ? &book.runs[0] : &run, &err);
		break;
	default:
		ok = (back ? store_return_run : store_drop_run)(&book, &book.runs[0], &err);
	}
	sheet_free(&sheet);
	run_free(&run);
	return ok;
}

START_TEST(a_lock_of_somebody_else_stops_every_door)
{
	static const char *const files[DOORS] = {
		"sheets/base.yaml", "book.yaml", "runs/r00.yaml", "runs/r00.yaml"};

	load_book();
	for (int i = 0; i < DOORS; i++) {
		char *file = in_folder(files[i]), *slash = strrchr(file, '/'), *lock = NULL;
		ck_assert_int_ge(
			asprintf(&lock, "%.*s/.#%s", (int)(slash - file), file, slash + 1), 0);
		struct stamp was = stamp_of(file), now;
		test_write(lock, "zoe@far.example.12:99", 21);
		ck_assert(!change(i, false));
		said("is being edited by zoe on far.example");
		now = stamp_of(file);
		ck_assert(stamp_equal(&was, &now));
		ck_assert_int_eq(unlink(lock), 0);
		/* Held by ourselves, as the workbench does, it is no hindrance and stays. */
		struct lock ours;
		lock_init(&ours);
		ck_assert_int_eq(lock_take(&ours, file, NULL, &err), LOCK_TAKEN);
		ck_assert_msg(change(i, false), "%s", err.text);
		ck_assert_msg(i == 1 || change(i, true), "%s", err.text);
		ck_assert(lock_owner(file, &(struct lock_owner){0}));
		lock_release(&ours);
		free(lock);
		free(file);
	}
	book_free(&book);
}
END_TEST

START_TEST(a_sheet_or_run_of_another_car_is_not_written)
{
	struct book less;

	load_book();
	less = book;
	less.car.n_adjustables--;
	struct sheet sheet = book.sheets[0];
	struct run run = book.runs[0];
	strcpy(sheet.id, "fresh");
	strcpy(run.id, "fresh");
	ck_assert(!store_new_sheet(&less, &sheet, &err));
	said("would not read back as it is; nothing was written");
	ck_assert(!store_new_run(&less, &run, &err));
	said("would not read back as it is; nothing was written");
	ck_assert(!store_new_runs(&less, &run, 1, &err));
	strcpy(run.id, "No id");
	ck_assert(!store_new_run(&book, &run, &err));
	said("'No id' is no id");
	ck_assert(!is_there("sheets/fresh.yaml") && !is_there("runs/fresh.yaml"));
	/* A book is there already. */
	ck_assert(!store_new_book(&book, &book.sheets[0], &err));
	said("there is a book already");
	book_free(&book);
}
END_TEST

START_TEST(a_book_without_its_reference_is_told)
{
	char *name, *text;
	size_t len;

	load_book();
	name = in_folder("book.yaml");
	text = test_slurp(name, &len);
	memcpy(strstr(text, "reference"), "# ferenc", 8);
	test_write(name, text, len);
	ck_assert(!store_set_reference(&book, "base", &err));
	said("has no key 'reference' any more");
	holds(name, text);
	free(text);
	free(name);
	book_free(&book);
}
END_TEST

START_TEST(a_run_dropped_for_the_thousandth_time)
{
	char name[64];

	load_book();
	for (int i = 1; i <= 998; i++) {
		snprintf(name, sizeof name, "runs/r00.dropped-%d", i);
		leave(name, "");
	}
	ck_assert_msg(store_drop_run(&book, &book.runs[0], &err), "%s", err.text);
	ck_assert(is_there("runs/r00.dropped-999"));
	/* The last one comes back, and goes again; then there is no number left. */
	ck_assert_msg(store_return_run(&book, &book.runs[0], &err), "%s", err.text);
	ck_assert(store_drop_run(&book, &book.runs[0], &err));
	ck_assert(!store_drop_run(&book, &book.runs[0], &err));
	said("runs/r00.dropped-999 is there already");
	book_free(&book);
}
END_TEST

static const struct {
	const char *was, *is;
} powers[] = {
	{"8.0 # kept", "9.0 # kept"},
	{"8.00 # kept", "9.00 # kept"},
	{"80e-1 # kept", "9 # kept"},
	{"0.8e1 # kept", "9 # kept"},
	{"0.8E1 # kept", "9 # kept"},
};

/* Decimals are kept where there are some; those of a power of ten are none. */
START_TEST(a_value_keeps_its_decimals)
{
	for (size_t i = 0; i < sizeof powers / sizeof *powers; i++) {
		load_book();
		book_free(&book);
		char *name = in_folder("sheets/base.yaml"), *text = test_slurp(name, NULL),
		     *new = NULL, *at = strstr(text, "8.0 # kept");
		struct sheet after;
		struct faults faults;
		ck_assert_int_ge(
			asprintf(&new, "%.*s%s%s", (int)(at - text), text, powers[i].was, at + 10),
			0);
		test_write(name, new, strlen(new));
		free(new);
		faults_init(&faults);
		book_init(&book);
		ck_assert(store_load_book(&book, folder, &faults));
		sheet_init(&after);
		ck_assert(sheet_copy(&after, &book.sheets[0]));
		after.values[0] += FIX_ONE;
		ck_assert_msg(
			store_save_sheet(&book, &book.sheets[0], &after, &err), "%s", err.text);
		ck_assert_int_ge(
			asprintf(&new, "%.*s%s%s", (int)(at - text), text, powers[i].is, at + 10),
			0);
		holds(name, new);
		free(new);
		free(text);
		free(name);
		sheet_free(&after);
		book_free(&book);
	}
}
END_TEST

START_TEST(a_lap_of_odd_figures_is_written_as_it_is)
{
	struct lap_segment parts[2] = {{.has_time = true, .time = 40.5}, {.has_time = true}};
	struct lap lap = {.time = 1e10, .segments = parts, .n_segments = 2};
	struct buf b;

	load_book(); /* its circuit has no segments */
	buf_init(&b);
	write_lap(&b, &book, &lap);
	ck_assert_str_eq(b.data, "{time: 10000000000}");
	buf_free(&b);
	book_free(&book);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("odd saves");
	TCase *c = tcase_create("odd");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_add_test(c, changed_just_before_it_is_rewritten);
	tcase_add_test(c, cut_while_it_is_read);
	tcase_add_test(c, changed_by_another_while_the_exchange_failed);
	tcase_add_test(c, what_came_out_of_the_exchange_is_too_large_to_read);
	tcase_add_test(c, a_rename_that_says_it_failed);
	tcase_add_test(c, a_rename_that_failed_where_nothing_can_be_read);
	tcase_add_test(c, signals_during_a_rewrite);
	tcase_add_test(c, what_is_promised_and_not_kept_leads_in_place);
	tcase_add_test(c, an_access_list_that_the_folder_gives_too);
	tcase_add_test(c, an_access_list_that_stays);
	tcase_add_test(c, a_copy_in_the_own_folder_is_found);
	tcase_add_test(c, leftovers_of_odd_names);
	tcase_add_test(c, leftovers_and_locks_of_another_user);
	tcase_add_test(c, a_lock_file_that_gets_no_room);
	tcase_add_test(c, a_lock_that_others_always_get);
	tcase_add_test(c, a_machine_and_a_user_without_a_name);
	tcase_add_test(c, a_process_that_is_not_told_of);
	tcase_add_test(c, what_is_new_is_known_by_its_folder_too);
	tcase_add_test(c, a_lock_of_somebody_else_stops_every_door);
	tcase_add_test(c, a_sheet_or_run_of_another_car_is_not_written);
	tcase_add_test(c, a_book_without_its_reference_is_told);
	tcase_add_test(c, a_run_dropped_for_the_thousandth_time);
	tcase_add_test(c, a_value_keeps_its_decimals);
	tcase_add_test(c, a_lap_of_odd_figures_is_written_as_it_is);
	suite_add_tcase(s, c);
	return s;
}
