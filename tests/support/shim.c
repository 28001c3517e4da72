#include "support/shim.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <time.h>
#include <unistd.h>

struct shim shim;
static long behind;    /* calls of the second's kind since the first failed */
static char gone[256]; /* a name that an SMB server has not set free yet */
static int busy;       /* so many times more */

void shim_arm(struct fault first, struct fault second)
{
	shim.first = first;
	shim.second = second;
	shim.made[MEMORY] = shim.made[CALLS] = shim.failed = shim.failed_2 = behind = 0;
	shim.slept = busy = 0;
	shim.armed = true;
}

static bool is_due(const struct fault *f, long n)
{
	return f->at > 0 && (n == f->at || (f->lasting && n > f->at));
}

static bool fails_second(enum kind kind)
{
	if (shim.failed == 0 || shim.second.kind != kind || !is_due(&shim.second, ++behind))
		return false;
	shim.failed_2++;
	errno = kind == MEMORY ? ENOMEM : shim.second.code;
	return true;
}

static bool fails(enum kind kind, const char *call)
{
	if (!shim.armed)
		return false;
	for (const struct lack *l = shim.lacks; l && l->call; l++) {
		if (strcmp(l->call, call) == 0) {
			errno = l->code;
			return true;
		}
	}
	shim.made[kind]++;
	if (fails_second(kind))
		return true;
	if (shim.first.kind != kind || !is_due(&shim.first, shim.made[kind]))
		return false;
	shim.failed++;
	errno = kind == MEMORY ? ENOMEM : shim.first.code;
	return true;
}

#define WRAP_ANY(kind, type, bad, name, params, args)                                              \
	type __real_##name params;                                                                 \
	type __wrap_##name params;                                                                 \
	type __wrap_##name params                                                                  \
	{                                                                                          \
		return fails(kind, #name) ? (bad) : __real_##name args;                            \
	}
#define WRAP(name, params, args) WRAP_ANY(CALLS, int, -1, name, params, args)
#define WRAP_SIZE(name, params, args) WRAP_ANY(CALLS, ssize_t, -1, name, params, args)

WRAP(fstat, (int fd, struct stat *st), (fd, st))
WRAP(stat, (const char *path, struct stat *st), (path, st))
WRAP(lstat, (const char *path, struct stat *st), (path, st))
WRAP(fstatat, (int fd, const char *path, struct stat *st, int flags), (fd, path, st, flags))
WRAP_SIZE(pread, (int fd, void *bytes, size_t n, off_t at), (fd, bytes, n, at))
WRAP_SIZE(read, (int fd, void *bytes, size_t n), (fd, bytes, n))
WRAP(rmdir, (const char *path), (path))
WRAP(mkdir, (const char *path, mode_t mode), (path, mode))
WRAP_SIZE(readlink, (const char *path, char *text, size_t size), (path, text, size))
WRAP(ftruncate, (int fd, off_t size), (fd, size))
WRAP(fallocate, (int fd, int mode, off_t from, off_t size), (fd, mode, from, size))
WRAP(fchmod, (int fd, mode_t mode), (fd, mode))
WRAP(fchown, (int fd, uid_t uid, gid_t gid), (fd, uid, gid))
WRAP_SIZE(flistxattr, (int fd, char *list, size_t size), (fd, list, size))
WRAP_SIZE(fgetxattr, (int fd, const char *name, void *value, size_t size), (fd, name, value, size))
WRAP(fsetxattr, (int fd, const char *name, const void *value, size_t size, int flags),
	(fd, name, value, size, flags))
WRAP(fremovexattr, (int fd, const char *name), (fd, name))
WRAP(flock, (int fd, int how), (fd, how))
WRAP(faccessat, (int fd, const char *path, int mode, int flags), (fd, path, mode, flags))
WRAP(access, (const char *path, int mode), (path, mode))
WRAP(gethostname, (char *name, size_t size), (name, size))
WRAP_ANY(CALLS, off_t, -1, lseek, (int fd, off_t at, int from), (fd, at, from))
WRAP_ANY(CALLS, DIR *, NULL, opendir, (const char *path), (path))
WRAP_ANY(CALLS, DIR *, NULL, fdopendir, (int fd), (fd))
WRAP_ANY(CALLS, FILE *, NULL, fopen, (const char *path, const char *mode), (path, mode))

/* --- names, as an SMB server keeps them --- */

static const char *last_of(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

static bool is_pending(const char *path, int code)
{
	if (!shim.armed || busy <= 0 || strcmp(last_of(path), gone) != 0)
		return false;
	busy--;
	errno = code;
	return true;
}

static int count_open(const struct stat *file)
{
	struct stat st;
	int n = 0;

	for (int fd = 0; fd < 256; fd++)
		n += __real_fstat(fd, &st) == 0 && S_ISREG(st.st_mode) &&
		     st.st_dev == file->st_dev && st.st_ino == file->st_ino;
	return n;
}

/* A lease is had by who alone has the file open. */
int __real_fcntl(int fd, int what, ...);
int __wrap_fcntl(int fd, int what, ...);
int __wrap_fcntl(int fd, int what, ...)
{
	struct stat st;
	va_list ap;
	long arg;

	va_start(ap, what);
	arg = va_arg(ap, long);
	va_end(ap);
	if (!shim.armed)
		return __real_fcntl(fd, what, arg);
	if (fails(CALLS, "fcntl"))
		return -1;
	if (what != F_SETLEASE || arg == F_UNLCK || __real_fstat(fd, &st) != 0 ||
		count_open(&st) == 1)
		return 0;
	errno = EAGAIN;
	return -1;
}

int __real_unlinkat(int dir, const char *path, int flags);
int __wrap_unlinkat(int dir, const char *path, int flags);
static bool go(int dir, const char *path, bool only_open)
{
	struct stat st;
	const bool open = shim.armed && shim.smb &&
			  __real_fstatat(dir, path, &st, AT_SYMLINK_NOFOLLOW) == 0 &&
			  count_open(&st) > 0;

	if (open && busy <= 0) {
		snprintf(gone, sizeof gone, "%s", last_of(path));
		busy = shim.pending;
	}
	return (open || !only_open) && __real_unlinkat(dir, path, 0) == 0;
}

int __wrap_unlinkat(int dir, const char *path, int flags)
{
	if (fails(CALLS, "unlinkat"))
		return -1;
	return flags ? __real_unlinkat(dir, path, flags) : go(dir, path, false) ? 0 : -1;
}

int __wrap_unlink(const char *path);
int __wrap_unlink(const char *path)
{
	return !fails(CALLS, "unlink") && go(AT_FDCWD, path, false) ? 0 : -1;
}

static bool takes_away(int dir, const char *path)
{
	if (!go(dir, path, true))
		return false;
	errno = EACCES;
	return true;
}

int __real_symlink(const char *text, const char *path);
int __wrap_symlink(const char *text, const char *path);
int __wrap_symlink(const char *text, const char *path)
{
	char other[512];

	if (fails(CALLS, "symlink") || is_pending(path, EEXIST))
		return -1;
	snprintf(other, sizeof other, "%s", text);
	for (char *c = other; shim.colons && (c = strchr(c, ':'));)
		*c = '\x1a';
	return __real_symlink(shim.colons ? other : text, path);
}

#define WRAP_NAME(name, params, args, refuses)                                                     \
	int __real_##name params;                                                                  \
	int __wrap_##name params;                                                                  \
	int __wrap_##name params                                                                   \
	{                                                                                          \
		return fails(CALLS, #name) || (refuses) ? -1 : __real_##name args;                 \
	}
WRAP_NAME(renameat, (int a, const char *from, int b, const char *to), (a, from, b, to),
	is_pending(to, EACCES) || takes_away(b, to))
WRAP_NAME(renameat2, (int a, const char *from, int b, const char *to, unsigned flags),
	(a, from, b, to, flags), is_pending(to, EACCES))
WRAP_NAME(rename, (const char *from, const char *to), (from, to),
	is_pending(to, EACCES) || takes_away(AT_FDCWD, to))
WRAP_NAME(linkat, (int a, const char *from, int b, const char *to, int flags),
	(a, from, b, to, flags), is_pending(to, EACCES))
WRAP_NAME(link, (const char *from, const char *to), (from, to), is_pending(to, EACCES))

int __real_fstatfs(int fd, struct statfs *st);
int __wrap_fstatfs(int fd, struct statfs *st);
int __wrap_fstatfs(int fd, struct statfs *st)
{
	if (fails(CALLS, "fstatfs"))
		return -1;
	int got = __real_fstatfs(fd, st);

	if (shim.armed && shim.smb)
		st->f_type = (__typeof__(st->f_type))0xFE534D42;
	return got;
}

int __wrap_nanosleep(const struct timespec *time, struct timespec *left);
int __wrap_nanosleep(const struct timespec *time, struct timespec *left)
{
	(void)time;
	(void)left;
	shim.slept++;
	if (shim.on_wait)
		shim.on_wait();
	return 0;
}

/* Half of it is out when the disk says that it is full. */
ssize_t __real_write(int fd, const void *bytes, size_t n);
ssize_t __wrap_write(int fd, const void *bytes, size_t n);
ssize_t __wrap_write(int fd, const void *bytes, size_t n)
{
	int code;

	if (!fails(CALLS, "write"))
		return __real_write(fd, bytes, n);
	code = errno;
	if (code != EINTR && n > 1 && __real_write(fd, bytes, n / 2) < 0)
		abort();
	errno = code;
	return -1;
}

int __real_close(int fd);
int __wrap_close(int fd);
int __wrap_close(int fd)
{
	bool bad = fails(CALLS, "close");
	int code = errno;

	__real_close(fd);
	errno = code;
	return bad ? -1 : 0;
}

int __wrap_fsync(int fd);
int __wrap_fsync(int fd)
{
	(void)fd;
	return fails(CALLS, "fsync") ? -1 : 0;
}

int __real_open(const char *path, int flags, ...);
int __wrap_open(const char *path, int flags, ...);
int __wrap_open(const char *path, int flags, ...)
{
	va_list ap;
	mode_t mode;

	va_start(ap, flags);
	mode = flags & O_CREAT ? va_arg(ap, mode_t) : 0;
	va_end(ap);
	return fails(CALLS, "open") || (flags & O_CREAT && is_pending(path, EEXIST))
		       ? -1
		       : __real_open(path, flags, mode);
}

int __real_openat(int fd, const char *path, int flags, ...);
int __wrap_openat(int fd, const char *path, int flags, ...);
int __wrap_openat(int fd, const char *path, int flags, ...)
{
	va_list ap;
	mode_t mode;

	va_start(ap, flags);
	mode = flags & O_CREAT ? va_arg(ap, mode_t) : 0;
	va_end(ap);
	return fails(CALLS, "openat") || (flags & O_CREAT && is_pending(path, EEXIST))
		       ? -1
		       : __real_openat(fd, path, flags, mode);
}

static void *counted(void *p)
{
	shim.live += p != NULL;
	return p;
}

#define WRAP_MEMORY(type, name, params, args)                                                      \
	type __real_##name params;                                                                 \
	type __wrap_##name params;                                                                 \
	type __wrap_##name params                                                                  \
	{                                                                                          \
		return fails(MEMORY, #name) ? NULL : counted(__real_##name args);                  \
	}
WRAP_MEMORY(void *, malloc, (size_t n), (n))
WRAP_MEMORY(void *, calloc, (size_t n, size_t size), (n, size))
WRAP_MEMORY(char *, strdup, (const char *text), (text))

char *__real_realpath(const char *path, char *out);
char *__wrap_realpath(const char *path, char *out);
char *__wrap_realpath(const char *path, char *out)
{
	return fails(MEMORY, "realpath") || fails(CALLS, "realpath")
		       ? NULL
		       : counted(__real_realpath(path, out));
}

void *__real_realloc(void *old, size_t n);
void *__wrap_realloc(void *old, size_t n);
void *__wrap_realloc(void *old, size_t n)
{
	if (fails(MEMORY, "realloc"))
		return NULL;
	return old ? __real_realloc(old, n) : counted(__real_realloc(old, n));
}

void __real_free(void *p);
void __wrap_free(void *p);
void __wrap_free(void *p)
{
	shim.live -= p != NULL;
	__real_free(p);
}
