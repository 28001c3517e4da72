#include "store/change.h"

#include "base/watch.h"
#include "store/lock.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

bool change_read(struct doc *d, const char *path, struct err *err)
{
	struct faults f;
	faults_init(&f);
	bool ok = save_is_whole(path, &f) && doc_read(d, path, &f);
	if (!ok && f.n > 0)
		*err = f.list[0];
	else if (!ok)
		err_memory(err);
	faults_free(&f);
	return ok;
}

static int decimals_in(const struct node *n)
{
	const char *point = memchr(n->text, '.', n->len);
	if (!point || memchr(n->text, 'e', n->len) || memchr(n->text, 'E', n->len))
		return 0;
	return (int)(n->len - (size_t)(point - n->text) - 1);
}

bool change_fix(struct patch *p, const struct node *n, fix v, struct err *err)
{
	char text[40];
	fix_print_min(v, decimals_in(n), text, sizeof text);
	return patch_scalar(p, n, PATCH_NUMBER, text, err);
}

enum save_outcome change_save(
	struct patch *p, const char *path, struct stamp *stamp, struct err *err)
{
	char *bytes = NULL;
	size_t size = 0;
	if (!patch_apply(p, &bytes, &size, err))
		return SAVE_FAILED;
	enum save_outcome got = file_save(path, bytes, size, stamp, err);
	free(bytes);
	return got;
}

bool change_done(enum save_outcome outcome)
{
	return outcome == SAVE_DONE || outcome == SAVE_UNCONFIRMED;
}

bool change_lock(struct lock *l, bool *ours, const char *path, struct err *err)
{
	struct lock_owner who;
	char text[200], name[300];
	lock_init(l);
	const enum lock_state state = lock_take(l, path, &who, err);
	*ours = state == LOCK_TAKEN;
	if (state == LOCK_HELD) {
		lock_describe(&who, text, sizeof text);
		err_failed(err,
			"is being edited by %s; save there or wait, or remove the lock %s beside "
			"it if that is not so",
			text, lock_name(path, name, sizeof name));
		err_at(err, path, 0, 0);
		err->held = true;
		return false;
	}
	/* A folder that takes no lock need not stop a save: the content check still holds. */
	err_clear(err);
	return true;
}

void change_wait(void)
{
	struct timespec now = {0}, pause = {0};
	clock_gettime(CLOCK_MONOTONIC, &now);
	/* Multiplicative hashing (Knuth): near numbers come out far from each other. */
	const uint32_t any = ((uint32_t)now.tv_nsec ^ (uint32_t)getpid() << 16) * 2654435761U;
	pause.tv_nsec = 10000000L + (long)(any >> 8) % 40 * 1000000L;
	nanosleep(&pause, NULL);
	watch_busy(true); /* no disk held us up */
}

bool change_lock_wait(struct lock *l, bool *ours, const char *path, struct err *err)
{
	enum { LOOKS_MAX = 3000, SAME_MAX = 80 };
	struct lock_owner last = {0}, who;
	for (int i = 0, same = 0; i < LOOKS_MAX && same < SAME_MAX; i++) {
		if (change_lock(l, ours, path, err))
			return true;
		if (!lock_owner(path, &who)) /* gone by now */
			who = (struct lock_owner){0};
		same = i && who.pid == last.pid && who.since == last.since ? same + 1 : 0;
		last = who;
		change_wait();
	}
	return false;
}
