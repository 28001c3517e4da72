#include "store/lock.h"

#include "base/text.h"
#include "store/file.h"
#include "store/host.h"
#include "store/path.h"
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

/* Start times are computed by the system and waver by a second or two; a server's clock, which
 * says when a lock was made, may be further off. A clock that was wrong by more than a day is not
 * thought of. */
enum { BOOT_SLACK = 5, CLOCK_SLACK = 60, STEP_MOST = 24 * 3600 };
/* SMB changes a file's time by some seconds when it was written already. */
enum { TIME_SLACK = 5 };
/* Tenths of a second: until the name of a lock that was let go is free on SMB, which can take as
 * long as a client keeps a file open that it was told to close; and until a lock that has no text
 * is one that nobody is writing to. */
enum { LOOKS = 20, EMPTY_LOOKS = 15 };

void lock_init(struct lock *l)
{
	*l = (struct lock){0};
}

/* DIR/.#NAME for DIR/NAME; a link's lock stands beside its target, where other names of it find it.
 */
static char *lock_path(const char *file)
{
	return file_beside(file, ".#", "");
}

static void owner_text(char *buf, size_t size)
{
	char user[64], host[128];

	user_name(user, sizeof user);
	host_name(host, sizeof host);
	snprintf(buf, size, "%s@%s.%ld:%" PRId64, user, host, (long)getpid(), boot_time());
}

static bool read_number(const char *text, int64_t *out)
{
	char *end;

	errno = 0;
	*out = strtoll(text, &end, 10);
	return errno == 0 && end != text && *end == '\0' && *out >= 0;
}

/* "user@host.pid:boot"; user and host may hold dots, host none of '@' and ':'. */
static bool owner_parse(char *text, struct lock_owner *who)
{
	char *at = strrchr(text, '@');
	char *colon = at ? strchr(at, ':') : NULL;
	char *dot;
	int64_t pid;

	if (!at)
		return false;
	if (colon) {
		*colon = '\0';
		if (!read_number(colon + 1, &who->boot))
			return false;
	}
	dot = strrchr(at, '.');
	if (!dot || !read_number(dot + 1, &pid) || pid == 0 || pid > INT32_MAX)
		return false;
	*at = *dot = '\0';
	who->pid = (long)pid;
	snprintf(who->user, sizeof who->user, "%.63s", text);
	snprintf(who->host, sizeof who->host, "%.127s", at + 1);
	return true;
}

/* The owner's text: of a symbolic link, or of a small file where the file system has no links. */
static bool read_owner_text(const char *path, bool is_link, char *buf, size_t size)
{
	ssize_t n;
	int fd;

	if (is_link) {
		n = readlink(path, buf, size - 1);
	} else {
		fd = open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
		n = fd >= 0 ? read(fd, buf, size - 1) : -1;
		if (fd >= 0)
			close(fd);
	}
	if (n < 0)
		return false;
	buf[n] = '\0';
	return true;
}

static bool is_close(int64_t a, int64_t b, int64_t slack)
{
	return a - b <= slack && b - a <= slack;
}

/* Can this process, which has the owner's pid now, have taken the lock? */
static bool can_be(const struct process *p, const struct lock_owner *who)
{
	const int64_t boot = boot_time(), up = who->since - who->boot;

	if (who->boot == 0 || boot == 0)
		return true;
	if (p->start > up + CLOCK_SLACK)
		return false;
	if (is_close(boot, who->boot, BOOT_SLACK))
		return true;
	if (up > uptime_seconds() + CLOCK_SLACK)
		return false;
	return is_close(boot, who->boot, STEP_MOST) || boot + p->start <= who->since + CLOCK_SLACK;
}

/* No process of this host has the lock any more; where that is not sure, one has. */
static bool has_ended(const struct lock_owner *who)
{
	const bool self = who->pid == (long)getpid();
	struct process p;

	/* Another of our kind is believed whatever the clocks say; of an editor they have to. */
	if (!self && !process_is_gone(who->pid))
		return false;
	if (!process_look(who->pid, &p))
		return !self;
	return p.state == 'Z' || !can_be(&p, who);
}

/* False if nothing is there. */
static bool read_owner(const char *path, struct lock_owner *who)
{
	char text[LOCK_TEXT], host[128];
	struct stat st;

	*who = (struct lock_owner){0};
	if (lstat(path, &st) != 0)
		return false;
	who->since = (int64_t)st.st_mtim.tv_sec;
	if (!read_owner_text(path, S_ISLNK(st.st_mode), text, sizeof text))
		return errno != ENOENT;
	who->empty = S_ISREG(st.st_mode) && !text[0];
	who->readable = owner_parse(text, who);
	host_name(host, sizeof host);
	who->same_host = who->readable && strcmp(who->host, host) == 0;
	who->ended = who->same_host && has_ended(who);
	return true;
}

static bool is_mine(const struct lock_owner *who)
{
	return who->same_host && !who->ended && who->pid == (long)getpid();
}

/* What stands there; false: nobody knows. */
static bool read_text(const char *path, char text[LOCK_TEXT])
{
	struct stat st;

	return lstat(path, &st) == 0 && read_owner_text(path, S_ISLNK(st.st_mode), text, LOCK_TEXT);
}

static bool holds(const char *path, const char *owner)
{
	char text[LOCK_TEXT];

	return read_text(path, text) && strcmp(text, owner) == 0;
}

/* Does what we wrote stand there still? */
static bool still_stands(const struct lock *l)
{
	return holds(l->path, l->text);
}

/* Something else than was written a moment ago. */
static bool differs(const char *path, const char *owner)
{
	char text[LOCK_TEXT];

	return read_text(path, text) && strcmp(text, owner) != 0;
}

static bool same_owner(const struct lock_owner *a, const struct lock_owner *b)
{
	return a->pid == b->pid && a->boot == b->boot && is_close(a->since, b->since, TIME_SLACK) &&
	       a->readable == b->readable && strcmp(a->user, b->user) == 0 &&
	       strcmp(a->host, b->host) == 0;
}

/* What is sent to a server may leave, and fail, no sooner than when it is closed. */
static bool write_owner_file(const char *path, const char *owner)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0644);
	ssize_t n;
	int code;

	if (fd < 0)
		return false;
	n = write(fd, owner, strlen(owner));
	code = n < 0 ? errno : ENOSPC;
	if (close(fd) != 0 && errno != EINTR && n == (ssize_t)strlen(owner)) {
		n = -1;
		code = errno;
	}
	if (n == (ssize_t)strlen(owner)) {
		const bool lost = differs(path, owner); /* taken for one that stays empty */
		errno = EEXIST;
		return !lost;
	}
	if (unlink(path) != 0 && holds(path, owner))
		return true; /* it does not go, and is ours */
	errno = code;
	return false;
}

/* One step, all or nothing: false with EEXIST where a lock stands. */
static bool make_lock(const char *path, char owner[LOCK_TEXT])
{
	owner_text(owner, LOCK_TEXT);
	if (symlink(owner, path) == 0) {
		/* Servers may keep another text than they were given. */
		if (!differs(path, owner))
			return true;
		unlink(path);
		return write_owner_file(path, owner);
	}
	return (errno == EPERM || errno == EOPNOTSUPP || errno == ENOSYS) &&
	       write_owner_file(path, owner);
}

/*
 * Remove the lock of `seen`. Two processes may both have seen it: the folder is locked
 * meanwhile, and the lock is read once more, so that the second does not remove the first's.
 */
static bool break_lock(const char *path, const struct lock_owner *seen)
{
	struct lock_owner now;
	int fd = path_open_folder(path);
	bool gone = false;

	if (fd >= 0 && flock(fd, LOCK_EX) == 0) {
		if (!read_owner(path, &now))
			gone = true;
		else if (same_owner(&now, seen))
			gone = unlink(path) == 0;
	}
	if (fd >= 0)
		close(fd);
	return gone;
}

static enum lock_state lock_failed(const char *file, const char *why, struct err *err)
{
	err_failed(err, "cannot be locked: %s", why);
	err_at(err, file, 0, 0);
	return LOCK_FAILED;
}

/* `seen`: whose lock the user said may go; NULL: only one whose process has ended goes, and one
 * that stays without a text. */
static enum lock_state take(struct lock *l, const char *file, char *path,
	const struct lock_owner *seen, struct lock_owner *who, struct err *err)
{
	for (int i = 0, empty = 0; i < LOOKS; i++) {
		if (make_lock(path, l->text)) {
			l->path = path;
			return LOCK_TAKEN;
		}
		int code = errno;
		/* Servers refuse a name that is taken in words of their own: look. */
		if (!read_owner(path, who)) {
			if (code != EEXIST)
				return lock_failed(file, strerror(code), err);
			wait_a_tenth(); /* gone by now */
			continue;
		}
		if (is_mine(who))
			return LOCK_OURS;
		const bool may_go = who->ended || (seen && same_owner(who, seen));
		if (!may_go && !who->empty)
			return LOCK_HELD;
		if (!may_go && empty++ < EMPTY_LOOKS)
			wait_a_tenth();
		else if (!break_lock(path, who))
			return LOCK_HELD;
	}
	return read_owner(path, who) ? LOCK_HELD
				     : lock_failed(file, "the lock changes all the time", err);
}

static enum lock_state take_path(struct lock *l, const char *file, const struct lock_owner *seen,
	struct lock_owner *who, struct err *err)
{
	struct lock_owner ignored;
	enum lock_state state;
	char *path;

	err_clear(err);
	if (l->path)
		return LOCK_OURS;
	path = lock_path(file);
	if (!path)
		return lock_failed(file, strerror(errno), err);
	state = take(l, file, path, seen, who ? who : &ignored, err);
	if (state != LOCK_TAKEN)
		free(path);
	return state;
}

enum lock_state lock_take(struct lock *l, const char *file, struct lock_owner *who, struct err *err)
{
	return take_path(l, file, NULL, who, err);
}

enum lock_state lock_take_over(
	struct lock *l, const char *file, struct lock_owner *seen, struct err *err)
{
	struct lock_owner shown = *seen;

	return take_path(l, file, &shown, seen, err);
}

void lock_release(struct lock *l)
{
	if (l->path && still_stands(l))
		unlink(l->path);
	free(l->path);
	lock_init(l);
}

bool lock_owner(const char *file, struct lock_owner *who)
{
	char *path = lock_path(file);
	bool found = path && read_owner(path, who);

	free(path);
	return found;
}

const char *lock_name(const char *file, char *buf, size_t size)
{
	char *path = lock_path(file);
	const char *slash = path ? strrchr(path, '/') : NULL;
	const char *name = slash ? slash + 1 : path ? path : ".#";

	text_safe(buf, size, name, strlen(name));
	free(path);
	return buf;
}

void lock_describe(const struct lock_owner *who, char *buf, size_t size)
{
	char user[128], host[256], when[64] = "an unknown time";
	time_t since = (time_t)who->since, now = time(NULL);
	struct tm tm;

	text_safe(user, sizeof user, who->user, strlen(who->user));
	text_safe(host, sizeof host, who->host, strlen(who->host));
	if (localtime_r(&since, &tm))
		strftime(when, sizeof when,
			now - since < 12 * 3600 && since <= now ? "%H:%M" : "%Y-%m-%d %H:%M", &tm);
	if (!who->readable)
		snprintf(buf, size, "an unknown program since %s", when);
	else
		snprintf(buf, size, "%s on %s since %s (process %ld%s)", user, host, when, who->pid,
			who->ended ? ", which has ended" : "");
}
