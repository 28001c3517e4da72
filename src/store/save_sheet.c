/* Sheets and the reference: bytes of changed values only. */
#include "store/change.h"
#include "store/load.h"
#include "store/lock.h"
#include "store/path.h"
#include "store/store.h"

#include <stdlib.h>
#include <string.h>

char *store_sheet_path(const struct book *b, const char *id)
{
	return path_join(b->dir, "sheets", id, ".yaml");
}

bool store_load_sheet(struct sheet *s, const struct book *b, const char *id, struct stamp *stamp,
	struct faults *faults)
{
	struct doc d;
	struct err e;
	char *path = store_sheet_path(b, id);
	if (!path) {
		err_clear(&e);
		err_memory(&e);
		faults_add(faults, &e);
		return false;
	}
	bool ok = save_is_whole(path, faults) && doc_read(&d, path, faults);
	free(path);
	if (!ok)
		return false;
	sheet_free(s);
	ok = load_sheet(s, &d, id, &b->car, faults);
	*stamp = d.stamp;
	doc_free(&d);
	return ok;
}

static bool patch_values(struct patch *p, const struct car *car, const struct sheet *before,
	const struct sheet *after, struct err *err)
{
	const struct node *values = node_get(p->d->root, "values");
	for (size_t i = 0; i < after->n_values; i++) {
		const struct node *n = node_get(values, car->adjustables[i].id);
		if (before->values[i] == after->values[i])
			continue;
		if (!n)
			return err_input(err,
				"the file has no value for %s any more; read it again",
				car->adjustables[i].id);
		if (!change_fix(p, n, after->values[i], err))
			return false;
	}
	return true;
}

static bool same_flags(const bool *a, const bool *b, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (a[i] != b[i])
			return false;
	return true;
}

/* The ids of what is flagged, for patch_ids(). */
static bool patch_flags(struct patch *p, const struct car *car, const char *key, bool pairs,
	const bool *flags, struct err *err)
{
	static const char *const after_locks[] = {"values", "locks", "held-shares", NULL};
	size_t n = pairs ? car->n_pairs : car->n_adjustables, count = 0;
	const char **ids = calloc(n + 1, sizeof *ids);
	if (!ids)
		return err_memory(err);
	for (size_t i = 0; i < n; i++)
		if (flags[i])
			ids[count++] = pairs ? car->pairs[i].id : car->adjustables[i].id;
	bool ok = patch_ids(p, p->d->root, key, ids, count, after_locks, err);
	free(ids);
	return ok;
}

static bool patch_sheet(struct patch *p, const struct car *car, const struct sheet *before,
	const struct sheet *after, struct err *err)
{
	if (!patch_values(p, car, before, after, err))
		return false;
	if (!same_flags(before->locked, after->locked, car->n_pairs) &&
		!patch_flags(p, car, "locks", true, after->locked, err))
		return false;
	if (!same_flags(before->share_held, after->share_held, car->n_pairs) &&
		!patch_flags(p, car, "held-shares", true, after->share_held, err))
		return false;
	return same_flags(before->frozen, after->frozen, car->n_adjustables) ||
	       patch_flags(p, car, "frozen", false, after->frozen, err);
}

static enum save_outcome save_doc(const struct book *b, const struct doc *d, const char *path,
	const struct sheet *before, const struct sheet *after, struct stamp *stamp, struct err *err)
{
	struct patch p;
	patch_init(&p, d);
	enum save_outcome got = SAVE_FAILED;
	if (patch_sheet(&p, &b->car, before, after, err))
		got = change_save(&p, path, stamp, err);
	patch_free(&p);
	return got;
}

static enum save_outcome refuse_changed(const char *path, struct err *err)
{
	err_failed(err, "was changed by someone else since it was read; nothing was written");
	err_at(err, path, 0, 0);
	return SAVE_CONFLICT;
}

static enum save_outcome save_at(const struct book *b, const char *path, const struct sheet *before,
	const struct sheet *after, struct stamp *stamp, struct err *err)
{
	struct doc d;
	if (!change_read(&d, path, err))
		return SAVE_FAILED;
	enum save_outcome got = stamp_same_bytes(&d.stamp, stamp)
					? save_doc(b, &d, path, before, after, stamp, err)
					: refuse_changed(path, err);
	doc_free(&d);
	return got;
}

enum save_outcome store_save_sheet_at(const struct book *b, const struct sheet *before,
	const struct sheet *after, struct stamp *stamp, struct err *err)
{
	char *path = store_sheet_path(b, after->id);
	err_clear(err);
	if (!path) {
		err_memory(err);
		return SAVE_FAILED;
	}
	enum save_outcome got = save_at(b, path, before, after, stamp, err);
	free(path);
	return got;
}

static bool save_now(const struct book *b, const struct sheet *before, const struct sheet *after,
	const char *path, struct err *err)
{
	struct faults f;
	struct stamp stamp;
	struct sheet now;
	faults_init(&f);
	sheet_init(&now);
	bool ok = store_load_sheet(&now, b, after->id, &stamp, &f);
	if (!ok && f.n > 0)
		*err = f.list[0];
	else if (!ok)
		err_memory(err);
	else if (!sheet_equal(&now, before))
		ok = refuse_changed(path, err) == SAVE_DONE;
	else
		ok = change_done(save_at(b, path, before, after, &stamp, err));
	sheet_free(&now);
	faults_free(&f);
	return ok;
}

bool store_save_sheet(const struct book *b, const struct sheet *before, const struct sheet *after,
	struct err *err)
{
	struct lock lock;
	bool ours;
	char *path = store_sheet_path(b, after->id);
	if (!path)
		return err_memory(err);
	bool ok = change_lock(&lock, &ours, path, err);
	if (ok)
		ok = save_now(b, before, after, path, err);
	if (ours)
		lock_release(&lock);
	free(path);
	return ok;
}

static bool set_reference(const char *path, const char *sheet_id, struct err *err)
{
	struct doc d;
	struct patch p;
	if (!change_read(&d, path, err))
		return false;
	const struct node *n = node_get(d.root, "reference");
	bool ok = n != NULL;
	patch_init(&p, &d);
	if (!n)
		err_input(err, "book.yaml has no key 'reference' any more; write it again");
	else
		ok = patch_scalar(&p, n, PATCH_TEXT, sheet_id, err) &&
		     change_done(change_save(&p, path, &d.stamp, err));
	patch_free(&p);
	doc_free(&d);
	return ok;
}

bool store_set_reference(const struct book *b, const char *sheet_id, struct err *err)
{
	struct lock lock;
	bool ours;
	if (book_find_sheet(b, sheet_id) < 0)
		return err_input(err, "the book has no sheet '%.80s'; save it first", sheet_id);
	char *path = path_join(b->dir, "", "book", ".yaml");
	if (!path)
		return err_memory(err);
	bool ok = change_lock(&lock, &ours, path, err);
	if (ok)
		ok = set_reference(path, sheet_id, err);
	if (ours)
		lock_release(&lock);
	free(path);
	return ok;
}
