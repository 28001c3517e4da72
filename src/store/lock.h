/*
 * A lock beside a file while it has unsaved edits: the link `.#NAME` to
 * `user@host.pid:boot`, the form that editors use and honour. It warns people; what
 * keeps updates from being lost is the content check of file_save().
 *
 * Call order (workbench): at the first edit lock_take(); LOCK_HELD: show
 * lock_describe() and ask; only on a yes lock_take_over(). After a save, when nothing is
 * unsaved any more, or on leaving: lock_release(). A crash leaves the lock; the next
 * lock_take() on this machine sees that the process is gone and takes it.
 * `boot` moves with every setting of the clock and tells little alone. Gone is a process whose pid
 * nobody has; or who has it now cannot have taken the lock: by uptime, which is `since` less
 * `boot` on the lock and no clock moves, it was started later.
 * Savers without a screen: lock_take(), load, change, file_save(), lock_release() if the
 * answer was LOCK_TAKEN.
 */
#ifndef STORE_LOCK_H
#define STORE_LOCK_H

#include "base/err.h"
#include <stdint.h>

struct lock_owner {
	char user[64], host[128]; /* as written by the owner: through text_safe() before a screen */
	long pid;
	int64_t boot;  /* when its machine was started, s since 1970; 0: not told */
	int64_t since; /* when the lock was taken, s since 1970 */
	bool same_host;
	bool ended;    /* same host, and the process that took it is gone for sure */
	bool readable; /* false: something else stands in the lock's place */
	bool empty;    /* nothing stands in it: it is being made, or its maker was cut off */
};

enum lock_state {
	LOCK_TAKEN,  /* ours from now on */
	LOCK_OURS,   /* this process held it before */
	LOCK_HELD,   /* someone else holds it: *who; nothing was changed */
	LOCK_FAILED, /* cannot be made (folder read-only, disk full): err */
};

enum { LOCK_TEXT = 256 };
struct lock {
	char *path;           /* owned; of the lock, NULL while not held */
	char text[LOCK_TEXT]; /* as it was written, by which it is known again: what the machine is
				 called and when it says that it was started may change */
};

void lock_init(struct lock *l);
/* `file`: the file to be edited, which need not exist. who may be NULL. A lock whose process on
 * this host has ended is replaced; one of another host never; one that has no text, if it has none
 * a second and a half later. */
enum lock_state lock_take(
	struct lock *l, const char *file, struct lock_owner *who, struct err *err);
/* After the user was shown whose lock it is: take it all the same, if it is still the lock of
 * `seen`; LOCK_HELD and *seen anew where another one stands there by now. */
enum lock_state lock_take_over(
	struct lock *l, const char *file, struct lock_owner *seen, struct err *err);
/* Removes the lock if it is still ours. Safe when nothing is held. */
void lock_release(struct lock *l);
/* Who holds the lock of this file now; false if nobody. */
bool lock_owner(const char *file, struct lock_owner *who);
/* What the lock of this file is called, in its folder; returns buf, safe for a terminal. */
const char *lock_name(const char *file, char *buf, size_t size);
/* "anna on pit-laptop since 14:02 (process 4711)", safe for a terminal. */
void lock_describe(const struct lock_owner *who, char *buf, size_t size);

#endif
