/* Runs taken out of a book, and back: their files are moved, never removed. */
#include "store/change.h"
#include "store/lock.h"
#include "store/path.h"
#include "store/store.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { ASIDE_MAX = 999 };

static char *aside_path(const struct book *b, const char *id, int n)
{
	char suffix[32];
	snprintf(suffix, sizeof suffix, ".dropped-%d", n);
	return path_join(b->dir, "runs", id, suffix);
}

/* How many files stand aside, numbered from 1 without a gap; below 0: memory. */
static int count_aside(const struct book *b, const char *id)
{
	int n = 0;
	bool there = true;
	while (there && n < ASIDE_MAX) {
		char *path = aside_path(b, id, n + 1);
		if (!path)
			return -1;
		there = faccessat(AT_FDCWD, path, F_OK, AT_SYMLINK_NOFOLLOW) == 0;
		n += there;
		free(path);
	}
	return n;
}

/* Moves `from`, where it still is the run, to `to`. */
static bool move_run(const struct book *b, const struct run *r, const char *from, const char *to,
	struct err *err)
{
	struct doc d;
	if (!change_read(&d, from, err))
		return false;
	bool ok = change_is_run(b, r, &d, err);
	doc_free(&d);
	if (!ok)
		return false;
	int code = path_move_new(AT_FDCWD, from, AT_FDCWD, to);
	if (code) {
		err_failed(err, "the run's file could not be moved there: %s", strerror(code));
		err_at(err, to, 0, 0);
		return false;
	}
	if (!path_sync_folder(to)) { /* it stands all the same */
		err_failed(err, "is written, not confirmed on disk: %s", strerror(errno));
		err_at(err, to, 0, 0);
	}
	return true;
}

/* Between the run's own path and one aside, under the lock of its own path. */
static bool move_locked(
	const struct book *b, const struct run *r, char *aside, bool back, struct err *err)
{
	char *path = path_join(b->dir, "runs", r->id, ".yaml");
	struct lock lock;
	bool ours;
	if (!path || !aside) {
		free(path);
		return err_memory(err);
	}
	bool ok = change_lock(&lock, &ours, path, err);
	if (ok)
		ok = move_run(b, r, back ? aside : path, back ? path : aside, err);
	if (ours)
		lock_release(&lock);
	free(path);
	return ok;
}

bool store_drop_run(const struct book *b, const struct run *r, struct err *err)
{
	int last = count_aside(b, r->id);
	if (last == ASIDE_MAX)
		return err_failed(
			err, "runs/%s.dropped-%d is there already; clear up first", r->id, last);
	char *aside = last < 0 ? NULL : aside_path(b, r->id, last + 1);
	bool ok = move_locked(b, r, aside, false, err);
	free(aside);
	return ok;
}

bool store_return_run(const struct book *b, const struct run *r, struct err *err)
{
	int last = count_aside(b, r->id);
	if (last == 0)
		return err_failed(err, "no runs/%s.dropped-1 is there any more", r->id);
	char *aside = last < 0 ? NULL : aside_path(b, r->id, last);
	bool ok = move_locked(b, r, aside, true, err);
	free(aside);
	return ok;
}
