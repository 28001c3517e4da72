#include "support/walk.h"

#include "support/support.h"
#include "support/tree.h"

#include <errno.h>
#include <ftw.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct door *door;
static const struct world *world;

/* --- what becomes of the files --- */

static struct tree before, after;

/* The name of a file that is neither as before nor as after. */
static const char *find_other(const struct tree *now)
{
	for (size_t i = 0; i < now->n; i++) {
		if (!tree_holds(
			    &before, now->files[i].name, now->files[i].bytes, now->files[i].size) &&
			!tree_holds(&after, now->files[i].name, now->files[i].bytes,
				now->files[i].size))
			return now->files[i].name;
	}
	for (size_t i = 0; i < before.n; i++) {
		if (tree_holds(now, before.files[i].name, NULL, 0) &&
			!tree_holds(&after, before.files[i].name, NULL, 0))
			return before.files[i].name;
	}
	return NULL;
}

/* --- the world --- */

enum { NOBODY = 65534 };

static int give_away(const char *name, const struct stat *st, int flag, struct FTW *at)
{
	(void)st;
	(void)flag;
	(void)at;
	return lchown(name, NOBODY, (gid_t)-1);
}

/* The folders that things are made in; whoever we are, we may write to all else. */
static void shut(bool so)
{
	static const char *const names[] = {"", "/sheets", "/runs"};
	char at[4200];

	for (int i = 0; i < 3; i++) {
		snprintf(at, sizeof at, "%s%s", door_folder, names[i]);
		ck_assert_int_eq(chmod(at, !so ? 0755 : i > 0 ? 0555 : 0777), 0);
	}
	snprintf(at, sizeof at, "%s/treadlight", door_folder);
	if (so && geteuid() == 0 && nftw(at, give_away, 16, FTW_PHYS) != 0)
		ck_assert_int_eq(errno, ENOENT);
}

static void enter(void)
{
	shim.lacks = world->lacks;
	shim.smb = world->smb;
	if (!world->closed)
		return;
	shut(true);
	if (geteuid() == 0)
		ck_assert_int_eq(seteuid(NOBODY), 0);
}

static void leave(void)
{
	if (!world->closed)
		return;
	if (getuid() == 0)
		ck_assert_int_eq(seteuid(0), 0);
	shut(false);
}

/* --- the walk --- */

static bool once(struct fault first, struct fault second, long *live)
{
	bool ok;

	doors_afresh();
	door->prepare();
	err_clear(&door_err);
	door_told = false;
	enter();
	*live = shim.live;
	shim_arm(first, second);
	ok = door->run();
	shim.armed = false; /* Check allocates too */
	leave();
	return ok;
}

/* "is damaged: ... the old text ... is kept in NAME": is it? */
static bool old_text_is_kept(const char *torn)
{
	static const char says[] = "that is kept in ";
	const char *name = strstr(door_err.text, says), *slash = strrchr(door_err.file, '/');
	char at[PATH_MAX];
	char *bytes;
	size_t size;
	bool same;

	if (!strstr(door_err.text, "is damaged") || !name || !slash)
		return false;
	name += sizeof says - 1;
	snprintf(at, sizeof at, "%.*s%.*s", name[0] == '/' ? 0 : (int)(slash + 1 - door_err.file),
		door_err.file, (int)strcspn(name, ";"), name);
	if (access(at, F_OK) != 0)
		return false;
	bytes = test_slurp(at, &size);
	same = tree_holds(&before, torn, bytes, size);
	free(bytes);
	return same;
}

static void add_fault(char *text, size_t size, const struct fault *f)
{
	size_t len = strlen(text);

	if (f->at > 0)
		snprintf(text + len, size - len, ", %s %ld%s (%s)",
			f->kind == MEMORY ? "allocation" : "call", f->at, f->lasting ? "+" : "",
			f->kind == MEMORY ? "memory" : strerror(f->code));
}

bool walk_try(struct fault first, struct fault second)
{
	const bool may_tear = door->may_tear || world->in_place || second.at > 0;
	char what[300];
	struct tree now;
	const char *other, *wrong;
	long live;
	bool ok = once(first, second, &live);

	snprintf(what, sizeof what, "%s, %s", door->name, world->name);
	add_fault(what, sizeof what, &first);
	add_fault(what, sizeof what, &second);
	ck_assert_msg(shim.live == live, "%s: %ld not freed", what, shim.live - live);
	ck_assert_msg(ok || door_told, "%s: refused without a word", what);
	tree_take(&now, door_folder);
	other = find_other(&now);
	if (other && !(may_tear && old_text_is_kept(other)))
		ck_abort_msg(
			"%s: %s is neither as before nor as after: %s", what, other, door_err.text);
	tree_free(&now);
	wrong = door->check ? door->check() : NULL;
	ck_assert_msg(!wrong, "%s: %s", what, wrong);
	return shim.failed == 0;
}

void walk_begin(const struct door *d, const struct world *w)
{
	const struct fault none = {0};
	long live;
	bool ok;

	door = d;
	world = w;
	door_owner = w->closed && geteuid() == 0 ? NOBODY : geteuid();
	doors_afresh();
	door->prepare();
	tree_take(&before, door_folder);
	ok = once(none, none, &live);
	ck_assert_msg(ok || (world->may_fail && door_told), "%s, %s: %s", d->name, w->name,
		door_err.text);
	tree_take(&after, door_folder);
}

void walk_end(void)
{
	tree_free(&before);
	tree_free(&after);
	shim.lacks = NULL;
	shim.smb = false;
}
