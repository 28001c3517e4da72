#include "tui/session_own.h"

#include <string.h>
#include <time.h>

/* Bring one change into a sheet; false if it is of nothing that this car has. */
static bool replay_one(const struct car *car, const struct change *c, struct sheet *s)
{
	const char *id = strchr(c->key, '.');
	const size_t kind = id ? (size_t)(id - c->key) : 0;
	int a = id ? car_find_adjustable(car, id + 1) : -1;
	int p = id ? car_find_pair(car, id + 1) : -1;
	fix v;
	if (a >= 0 && kind == 6 && strncmp(c->key, "values", kind) == 0 &&
		fix_parse(c->value, strlen(c->value), &v) == NUM_OK)
		s->values[a] = v;
	else if (a >= 0 && kind == 6 && strncmp(c->key, "frozen", kind) == 0)
		s->frozen[a] = c->value[0] == '1';
	else if (p >= 0 && kind == 5 && strncmp(c->key, "locks", kind) == 0)
		s->locked[p] = c->value[0] == '1';
	else if (p >= 0 && kind == 11 && strncmp(c->key, "held-shares", kind) == 0)
		s->share_held[p] = c->value[0] == '1';
	else
		return false;
	return true;
}

/* Apply a journal's changes to a copy of the sheet. One line to `strange` for each that is of
 * nothing that the car has. */
static void replay(
	const struct app *app, const struct recovery *r, struct sheet *s, struct buf *strange)
{
	for (size_t i = 0; i < r->n_changes; i++) {
		const struct change *c = &r->changes[i];
		char key[80], value[80];
		if (replay_one(&app->book.car, c, s))
			continue;
		text_safe(key, sizeof key, c->key, strlen(c->key));
		text_safe(value, sizeof value, c->value, strlen(c->value));
		buf_addf(strange, "%s: %s\n", key, value);
	}
}

/* What was found while something to offer was looked for. */
struct found {
	struct sheet want;  /* the sheet with the changes on offer */
	struct buf strange; /* changes that name nothing of this car */
	bool differs;       /* `want` from the file */
	bool busy;          /* another session that lives has unsaved changes */
	bool locked;        /* someone has the lock, for all that can be seen: session->owner */
	struct err err;     /* a journal that cannot be read */
};

/* The journal in session->offer: is it one to ask about? False in doubt of memory. */
static bool is_to_be_offered(struct app *app, struct found *f)
{
	struct session *s = app->session;
	struct recovery *r = &s->offer;
	struct err ignored;
	err_clear(&ignored);
	f->busy = f->busy || r->busy;
	if (r->busy || (s->left & 1U << r->slot))
		return false;
	sheet_free(&f->want);
	f->strange.len = 0;
	if (!sheet_copy(&f->want, &app->saved))
		return err_memory(&f->err);
	replay(app, r, &f->want, &f->strange);
	if (f->strange.failed)
		return err_memory(&f->err);
	f->differs = !sheet_equal(&f->want, &app->saved);
	if (f->differs || f->strange.len > 0 || !r->whole)
		return true;
	if (!f->locked)
		journal_drop(r, &ignored); /* all of it is in the file */
	return false;
}

/* Look for what a session that ended left behind; true: session->offer has it. */
static bool find_offer(struct app *app, struct found *f)
{
	struct session *s = app->session;
	memset(f, 0, sizeof *f);
	err_clear(&f->err);
	sheet_init(&f->want);
	buf_init(&f->strange);
	f->locked = lock_owner(s->path, &s->owner) && !s->owner.ended;
	recovery_free(&s->offer);
	for (;;) {
		const bool read = journal_recover_next(s->path, &s->stamp, &s->offer, &f->err);
		if (read && !s->offer.found)
			return false;
		if (read && is_to_be_offered(app, f))
			return true;
	}
}

static void found_free(struct found *f)
{
	sheet_free(&f->want);
	buf_free(&f->strange);
}

/* The lock, also where the user was told whose it is. */
static bool lock_for_recovery(struct app *app, struct err *err)
{
	struct session *s = app->session;
	struct lock_owner now = s->owner;
	char who[256];
	if (lock_take(&s->lock, s->path, &now, err) != LOCK_HELD ||
		lock_take_over(&s->lock, s->path, &s->owner, err) != LOCK_HELD) {
		err_clear(err); /* without a lock too; that is told with the first edit */
		return true;
	}
	lock_describe(&s->owner, who, sizeof who);
	return err_failed(err, "by now the sheet is being edited by %s", who);
}

static bool take_recovered(struct app *app, struct err *err)
{
	struct session *s = app->session;
	struct edit_change c;
	struct buf strange;
	struct sheet want;
	sheet_init(&want);
	buf_init(&strange);
	bool ok = lock_for_recovery(app, err) &&
		  (sheet_copy(&want, app_sheet(app)) || err_memory(err));
	if (ok) {
		replay(app, &s->offer, &want, &strange);
		ok = session_take_sheet(app->edit, &want, err) &&
		     journal_adopt(&s->journal, s->path, &s->stamp, &s->offer, err);
	}
	buf_free(&strange);
	if (ok) {
		sheet_free(&s->logged);
		s->logged = want;
		return true;
	}
	sheet_free(&want);
	while (!edit_is_clean(app->edit) && edit_undo(app->edit, &c))
		;
	lock_release(&s->lock);
	return false;
}

/* Someone else's edits are there that no session has. */
static bool others_wait(const struct session *s)
{
	struct recovery r = {0};
	struct err ignored;
	bool found = false;
	do {
		if (!journal_recover_next(s->path, &s->stamp, &r, &ignored))
			continue;
		if (!r.found)
			break;
		found = !r.busy && strcmp(r.path, s->journal.path) != 0;
	} while (!found);
	recovery_free(&r);
	return found;
}

static unsigned recovery_taken(struct app *app)
{
	struct session *s = app->session;
	struct err err;
	err_clear(&err);
	if (!take_recovered(app, &err)) {
		s->recovery_waits = true;
		return app_changed(app, CHANGED_SHEET) |
		       app_warn(app, "not recovered, and kept for another time: %s", err.text);
	}
	unsigned flags = session_record(app);
	if (err.text[0])
		flags |= app_warn(app, "recovered, but it will be offered again: %s", err.text);
	else if (app->modal.kind == MODAL_NONE && !app->message[0])
		flags |= app_say(app, "recovered, not saved yet: s saves, u goes back%s",
			others_wait(s) ? "; other changes are kept" : "");
	return flags | UI_ALL;
}

enum recovery_choice { RECOVERY_LATER, RECOVERY_TAKE, RECOVERY_KEEP, RECOVERY_DROP };

/* The last two parts of a path, as much as a message has room for, safe for a terminal. */
static const char *path_end(const char *path, char *buf, size_t size)
{
	const char *at = path + strlen(path);
	for (int slashes = 0; at > path; at--)
		if (at[-1] == '/' && ++slashes == 2)
			break;
	text_safe(buf, size, at, strlen(at));
	return buf;
}

static unsigned recovery_answered(struct app *app, int choice)
{
	struct session *s = app->session;
	struct err err;
	char at[256];
	err_clear(&err);
	s->recovery_waits = choice == RECOVERY_LATER;
	switch ((enum recovery_choice)choice) {
	case RECOVERY_LATER:
		return app_say(app, "kept; it is offered again before this sheet is edited");
	case RECOVERY_KEEP:
		s->left |= 1U << s->offer.slot;
		return app_say(app, "kept in %s; offered again when the sheet is opened",
			       path_end(s->offer.path, at, sizeof at)) |
		       session_offer_recovery(app);
	case RECOVERY_DROP:
		if (!journal_drop(&s->offer, &err)) {
			s->recovery_waits = true;
			return app_warn(app, "not dropped: %s", err.text);
		}
		return app_say(app, "the unsaved changes of then are dropped") |
		       session_offer_recovery(app);
	case RECOVERY_TAKE:
		break;
	}
	return recovery_taken(app);
}

/* Where there is nothing that could be brought back. */
static unsigned untaken_answered(struct app *app, int choice)
{
	return recovery_answered(app, choice > RECOVERY_LATER ? choice + 1 : choice);
}

static unsigned ask_recovery(struct app *app, const struct found *f)
{
	static const struct choice choices[] = {
		{'n', "not now; ask again before this sheet is edited"},
		{'y', "bring these changes back, unsaved"},
		{'k', "keep them for another time and edit without them"},
		{'d', "drop them for good"}};
	static const struct choice untaken[] = {
		{'n', "not now; ask again before this sheet is edited"},
		{'k', "keep them where they are and edit the sheet"}, {'d', "drop them for good"}};
	struct session *s = app->session;
	time_t t = (time_t)s->offer.when;
	char when[32] = "", who[256];
	struct buf body;
	struct tm tm;
	buf_init(&body);
	if (localtime_r(&t, &tm))
		strftime(when, sizeof when, "%Y-%m-%d %H:%M", &tm);
	buf_addf(&body, "Changes of %s were not saved.%s%s\n", when,
		s->offer.same_base ? "" : "\nThe file has been changed since they were made.",
		s->offer.whole ? ""
			       : "\nThe end of the journal is damaged; this is what can be read.");
	if (f->locked) {
		lock_describe(&s->owner, who, sizeof who);
		buf_addf(&body,
			"The sheet is locked by %s.\nIf that session is still at work, they may be "
			"its own: keep them.\n",
			who);
	}
	buf_adds(&body, "\n");
	session_tell_differences(app, app_sheet(app), &f->want, "in the file", "recovered", &body);
	if (f->strange.len > 0)
		buf_addf(&body, "The car's file knows nothing of these, they cannot come back:\n%s",
			f->strange.data);
	s->recovery_waits = true;
	unsigned flags = question_open(app, f->differs ? recovery_answered : untaken_answered,
		f->differs ? choices : untaken, f->differs ? 4 : 3, modal_text(app, &body),
		"Recover unsaved changes of %s.yaml?", app_sheet(app)->id);
	buf_free(&body);
	return flags;
}

unsigned session_offer_recovery(struct app *app)
{
	struct session *s = app->session;
	struct found f;
	char who[256];
	unsigned flags = UI_NONE;
	s->recovery_waits = false;
	const bool offer = find_offer(app, &f);
	if (!offer && f.locked) { /* a journal that cannot be read is most likely theirs */
		lock_describe(&s->owner, who, sizeof who);
		flags = app_warn(app, "%s is being edited by %s", app_sheet(app)->id, who);
	} else if (f.err.text[0]) {
		flags = app_warn(app, "a journal of unsaved changes cannot be read: %s: %s",
			path_end(f.err.file, who, sizeof who), f.err.text);
	} else if (!offer && f.busy) {
		flags = app_warn(
			app, "another session has unsaved changes of %s", app_sheet(app)->id);
	}
	if (offer)
		flags |= ask_recovery(app, &f);
	found_free(&f);
	return flags;
}
