#include "tui/session.h"

#include "book/caution.h"

#include "store/journal.h"
#include "store/lock.h"
#include "store/store.h"

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

struct session {
	char *path;         /* owned; of the sheet's file */
	struct stamp stamp; /* of the file as it was read or written */
	struct lock lock;
	struct journal journal;
	struct sheet logged;     /* the sheet as the journal has it */
	bool unlocked_told;      /* said that no lock can be made */
	bool recovery_waits;     /* a journal was found and its question not answered */
	struct lock_owner owner; /* of the lock that a question is about */
};

static void session_free(struct session *s)
{
	if (!s)
		return;
	journal_close(&s->journal);
	lock_release(&s->lock);
	sheet_free(&s->logged);
	free(s->path);
	free(s);
}

static struct session *session_new(const struct book *b, const char *id)
{
	struct session *s = calloc(1, sizeof *s);
	if (!s)
		return NULL;
	lock_init(&s->lock);
	journal_init(&s->journal);
	sheet_init(&s->logged);
	s->path = store_sheet_path(b, id);
	if (!s->path) {
		session_free(s);
		return NULL;
	}
	return s;
}

/* The book's copy of a sheet follows its file. */
static bool keep_in_book(struct app *app, const struct sheet *sheet)
{
	int i = book_find_sheet(&app->book, sheet->id);
	struct sheet copy;
	sheet_init(&copy);
	if (!sheet_copy(&copy, sheet))
		return false;
	if (i >= 0) {
		sheet_free(&app->book.sheets[i]);
		app->book.sheets[i] = copy;
		return true;
	}
	struct sheet *more = realloc(app->book.sheets, (app->book.n_sheets + 1) * sizeof *more);
	if (!more) {
		sheet_free(&copy);
		return false;
	}
	app->book.sheets = more;
	size_t at = app->book.n_sheets++;
	for (; at > 0 && strcmp(more[at - 1].id, copy.id) > 0; at--)
		more[at] = more[at - 1];
	more[at] = copy;
	return true;
}

/*
 * Read a sheet's file anew and make it the one under work. On failure all is as
 * before.
 */
static bool open_sheet(struct app *app, const char *id, struct err *err)
{
	struct faults faults;
	struct sheet sheet, logged, saved;
	sheet_init(&sheet);
	sheet_init(&logged);
	sheet_init(&saved);
	faults_init(&faults);
	struct session *s = session_new(&app->book, id);
	struct edit *edit = NULL;
	bool read = s && store_load_sheet(&sheet, &app->book, id, &s->stamp, &faults);
	if (read && sheet_copy(&logged, &sheet) && sheet_copy(&saved, &sheet) &&
		keep_in_book(app, &sheet))
		edit = edit_new(&app->book.car, &sheet);
	if (!edit) {
		if (read || !s || faults.n == 0)
			err_memory(err);
		else
			*err = faults.list[0];
		sheet_free(&logged);
		sheet_free(&saved);
		session_free(s);
	} else {
		session_free(app->session);
		edit_free(app->edit);
		sheet_free(&app->saved);
		app->session = s;
		app->edit = edit;
		app->saved = saved;
		s->logged = logged;
		if (app->caution_seen)
			memset(app->caution_seen, 0,
				app->book.car.n_adjustables * sizeof *app->caution_seen);
	}
	sheet_free(&sheet);
	faults_free(&faults);
	return edit != NULL;
}

bool session_first_sheet(struct app *app, const char *sheet_id, struct err *err)
{
	const struct book *b = &app->book;
	if (b->n_sheets == 0)
		return err_input(err, "the book has no sheet; add one as sheets/ID.yaml");
	if (sheet_id && book_find_sheet(b, sheet_id) < 0) {
		err_input(err, "the book has no sheet \"%.64s\"; it has %.64s%s", sheet_id,
			b->sheets[0].id, b->n_sheets > 1 ? " and others" : "");
		return false;
	}
	const struct sheet *ref = book_reference(b);
	const char *id = sheet_id ? sheet_id : ref ? ref->id : b->sheets[0].id;
	return open_sheet(app, id, err);
}

void session_close(struct app *app)
{
	session_free(app->session);
	app->session = NULL;
}

/* --- lock and journal ----------------------------------------------------- */

/* Texts of a change; the keys are those of the sheet's file. */
struct change_text {
	char key[ID_SIZE + 16], value[32];
};

static size_t note_changes(const struct app *app, const struct sheet *from, const struct sheet *to,
	struct change_text *out)
{
	const struct car *car = &app->book.car;
	size_t n = 0;
	for (size_t i = 0; i < to->n_values; i++) {
		const char *id = car->adjustables[i].id;
		if (from->values[i] != to->values[i]) {
			snprintf(out[n].key, sizeof out[n].key, "values.%s", id);
			fix_print(to->values[i], out[n].value, sizeof out[n].value);
			n++;
		}
		if (from->frozen[i] != to->frozen[i]) {
			snprintf(out[n].key, sizeof out[n].key, "frozen.%s", id);
			snprintf(out[n].value, sizeof out[n].value, "%d", to->frozen[i]);
			n++;
		}
	}
	for (size_t p = 0; p < to->n_pairs; p++) {
		if (from->locked[p] != to->locked[p]) {
			snprintf(out[n].key, sizeof out[n].key, "locks.%s", car->pairs[p].id);
			snprintf(out[n].value, sizeof out[n].value, "%d", to->locked[p]);
			n++;
		}
		if (from->share_held[p] != to->share_held[p]) {
			snprintf(out[n].key, sizeof out[n].key, "held-shares.%s", car->pairs[p].id);
			snprintf(out[n].value, sizeof out[n].value, "%d", to->share_held[p]);
			n++;
		}
	}
	return n;
}

static bool append_changes(struct app *app, struct err *err)
{
	struct session *s = app->session;
	const struct sheet *now = app_sheet(app);
	size_t most = 2 * now->n_values + 2 * now->n_pairs + 1;
	struct change_text *texts = calloc(most, sizeof *texts);
	struct change *changes = calloc(most, sizeof *changes);
	bool ok = texts && changes;
	if (!ok)
		err_memory(err);
	size_t n = ok ? note_changes(app, &s->logged, now, texts) : 0;
	for (size_t i = 0; i < n; i++)
		changes[i] = (struct change){texts[i].key, texts[i].value};
	if (ok && n > 0)
		ok = journal_append(&s->journal, changes, n, err);
	if (ok) {
		memcpy(s->logged.values, now->values, now->n_values * sizeof *now->values);
		memcpy(s->logged.frozen, now->frozen, now->n_values * sizeof *now->frozen);
		memcpy(s->logged.locked, now->locked, now->n_pairs * sizeof *now->locked);
		memcpy(s->logged.share_held, now->share_held, now->n_pairs * sizeof *now->share_held);
	}
	free(texts);
	free(changes);
	return ok;
}

static unsigned journal_edit(struct app *app)
{
	struct session *s = app->session;
	struct err err;
	err_clear(&err);
	if (!app_dirty(app)) { /* undone to what the file has */
		bool ok = append_changes(app, &err) && journal_discard(&s->journal, &err);
		lock_release(&s->lock);
		return ok ? UI_NONE
			  : app_warn(app, "the journal could not be removed: %s", err.text);
	}
	if (!journal_is_open(&s->journal) && !journal_open(&s->journal, s->path, &s->stamp, &err))
		return app_warn(
			app, "this change is not in a journal and could be lost: %s", err.text);
	if (!append_changes(app, &err))
		return app_warn(
			app, "this change is not in the journal and could be lost: %s", err.text);
	return UI_NONE;
}

/* Undo the action that a question was about. */
static void take_back(struct app *app)
{
	struct edit_change c;
	if (app->last_was_undo)
		edit_redo(app->edit, &c);
	else
		edit_undo(app->edit, &c);
}

static unsigned held_answered(struct app *app, int choice)
{
	struct session *s = app->session;
	struct err err;
	char who[256];
	err_clear(&err);
	if (choice == 0) {
		take_back(app);
		return app_changed(app, CHANGED_SHEET) |
		       app_say(app, "the change was taken back; the sheet is as its file has it");
	}
	switch (lock_take_over(&s->lock, s->path, &s->owner, &err)) {
	case LOCK_HELD:
		lock_describe(&s->owner, who, sizeof who);
		take_back(app);
		return app_changed(app, CHANGED_SHEET) |
		       app_warn(app, "by now %s has it; the change was taken back", who);
	case LOCK_FAILED:
		return journal_edit(app) | app_warn(app, "no lock can be made: %s", err.text);
	default:
		return journal_edit(app) | UI_ALL;
	}
}

/* Take the lock; UI_NONE if that is done, flags of a question if someone else has it. */
static unsigned lock_edit(struct app *app, bool *asked)
{
	static const struct choice choices[] = {
		{'n', "take my change back and leave the sheet to them"},
		{'y', "edit all the same; the file is compared again before it is saved"}};
	struct session *s = app->session;
	struct err err;
	char who[256];
	err_clear(&err);
	*asked = false;
	switch (lock_take(&s->lock, s->path, &s->owner, &err)) {
	case LOCK_HELD:
		*asked = true;
		lock_describe(&s->owner, who, sizeof who);
		return question_open(app, held_answered, choices, 2,
			"Two programs with changes to one sheet: whoever saves second is told.",
			"%s is being edited by %s", app_sheet(app)->id, who);
	case LOCK_FAILED:
		if (s->unlocked_told)
			return UI_NONE;
		s->unlocked_told = true;
		return app_warn(app,
			"no lock can be made here (%s): others are not warned that you "
			"edit this sheet",
			err.text);
	default:
		return UI_NONE;
	}
}

static unsigned record_edit(struct app *app)
{
	bool asked = false;
	unsigned flags = app_changed(app, CHANGED_SHEET);
	if (app_dirty(app))
		flags |= lock_edit(app, &asked);
	return asked ? flags : flags | journal_edit(app);
}

/* --- caution -------------------------------------------------------------- */

static unsigned caution_answered(struct app *app, int choice)
{
	if (choice == 1) {
		app->caution_seen[app->pending_choice] = true;
		return record_edit(app);
	}
	take_back(app);
	return app_changed(app, CHANGED_SHEET) | app_say(app, "put back");
}

/* Break a text into lines of at most `width` bytes at its blanks, in place. */
static void break_lines(char *text, size_t width)
{
	size_t start = 0, blank = 0;
	for (size_t i = 0; text[i]; i++) {
		if (text[i] == '\n')
			start = i + 1;
		if (text[i] == ' ')
			blank = i;
		if (i - start >= width && blank > start) {
			text[blank] = '\n';
			start = blank + 1;
		}
	}
}

static unsigned ask_caution(struct app *app, int a)
{
	static const struct choice choices[] = {
		{'n', "put the value back"}, {'y', "keep it past the caution; it stays marked"}};
	const struct car *car = &app->book.car;
	char title[CAR_TITLE_SIZE], value[CAR_VALUE_SIZE], words[CAUTION_SIZE], body[CAUTION_SIZE + 200];
	const struct adjustable *ad = &car->adjustables[a];
	caution_words(car, (size_t)a, app_sheet(app)->values[a], words, sizeof words);
	snprintf(body, sizeof body, "%s.\n%s\nThis program clears nothing.", words, caution_reminder);
	break_lines(body, 72);
	app->pending_choice = a;
	return question_open(app, caution_answered, choices, 2, body, "%s at %s passes a caution",
		car_title(ad, title, sizeof title),
		car_value_text(ad, app_sheet(app)->values[a], value, sizeof value));
}

unsigned session_edited(struct app *app, const struct edit_change *c)
{
	const struct sheet *s = app_sheet(app);
	app->last_was_undo = false;
	if (app->session->recovery_waits) { /* a new edit would write over the old ones' journal */
		struct edit_change back;
		edit_undo(app->edit, &back);
		return session_offer_recovery(app);
	}
	for (size_t i = 0; i < s->n_values; i++) /* back inside: ask again next time */
		if (car_caution(&app->book.car.adjustables[i], s->values[i]) == 0)
			app->caution_seen[i] = false;
	if (c && c->caution >= 0 && !app->caution_seen[c->caution])
		return app_changed(app, CHANGED_SHEET) | ask_caution(app, c->caution);
	return record_edit(app);
}

int session_due_ms(const struct app *app)
{
	if (!app->session)
		return -1;
	int due = journal_due(&app->session->journal);
	return due < 0 ? -1 : due * 1000;
}

unsigned session_idle(struct app *app)
{
	struct err err;
	err_clear(&err);
	if (!app->session || journal_due(&app->session->journal) != 0)
		return UI_NONE;
	if (journal_sync(&app->session->journal, &err))
		return UI_NONE;
	return app_warn(app, "the journal is not safe on disk: %s", err.text);
}

/* --- going on after the sheet is safe -------------------------------------- */

static unsigned set_reference(struct app *app)
{
	struct err err;
	err_clear(&err);
	const char *id = app_sheet(app)->id;
	if (!store_set_reference(&app->book, id, &err))
		return app_warn(app, "the reference is as it was: %s", err.text);
	snprintf(app->book.reference, sizeof app->book.reference, "%s", id);
	if (!app_take_reference(app))
		return app_warn(app, "out of memory");
	return app_changed(app, CHANGED_REFERENCE) |
	       app_say(app, "%s is the reference now (saved in book.yaml)", id);
}

static unsigned go_on(struct app *app)
{
	enum then then = app->then;
	struct err err;
	err_clear(&err);
	app->then = THEN_NOTHING;
	switch (then) {
	case THEN_QUIT:
		return UI_QUIT;
	case THEN_OPEN:
		if (!open_sheet(app, app->then_sheet, &err))
			return app_warn(app, "%s is not opened: %s", app->then_sheet, err.text);
		return app_changed(app, CHANGED_SHEET) | app_say(app, "%s", app->then_sheet) |
		       session_offer_recovery(app);
	case THEN_REFERENCE:
		return set_reference(app);
	case THEN_NOTHING:
		break;
	}
	return UI_NONE;
}

/* The edits are safe in a file or given up: no journal, no lock. */
static void settle(struct app *app)
{
	struct err err;
	err_clear(&err);
	journal_discard(&app->session->journal, &err);
	lock_release(&app->session->lock);
}

/* --- saving ---------------------------------------------------------------- */

static unsigned saved(struct app *app, const struct err *err)
{
	struct session *s = app->session;
	struct sheet copy;
	sheet_init(&copy);
	if (!sheet_copy(&copy, app_sheet(app)) || !keep_in_book(app, &copy)) {
		sheet_free(&copy);
		return app_warn(app, "saved, but out of memory: leave and start again");
	}
	sheet_free(&app->saved);
	app->saved = copy;
	edit_mark_clean(app->edit);
	settle(app);
	memcpy(s->logged.values, copy.values, copy.n_values * sizeof *copy.values);
	memcpy(s->logged.frozen, copy.frozen, copy.n_values * sizeof *copy.frozen);
	memcpy(s->logged.locked, copy.locked, copy.n_pairs * sizeof *copy.locked);
	memcpy(s->logged.share_held, copy.share_held, copy.n_pairs * sizeof *copy.share_held);
	unsigned what = CHANGED_SHEET;
	if (strcmp(copy.id, app->book.reference) == 0 && app_take_reference(app))
		what |= CHANGED_REFERENCE;
	unsigned flags = app_changed(app, what);
	if (err->text[0])
		return flags | app_warn(app, "saved, but %s", err->text) | go_on(app);
	flags |= app_say(app, "saved %s.yaml", app->saved.id);
	return flags | go_on(app);
}

static unsigned conflict(struct app *app);

static unsigned save_now(struct app *app)
{
	struct session *s = app->session;
	struct err err;
	err_clear(&err);
	switch (store_save_sheet_at(&app->book, &app->saved, app_sheet(app), &s->stamp, &err)) {
	case SAVE_DONE:
		err_clear(&err);
		return saved(app, &err);
	case SAVE_UNCONFIRMED:
		return saved(app, &err);
	case SAVE_CONFLICT:
		return conflict(app);
	case SAVE_FAILED:
		break;
	}
	app->then = THEN_NOTHING;
	return app_warn(app, "not saved, nothing was changed: %s", err.text);
}

unsigned act_save(struct app *app)
{
	app->then = THEN_NOTHING;
	if (!app_dirty(app))
		return app_say(
			app, "nothing to save: %s is as its file has it", app_sheet(app)->id);
	return save_now(app);
}

/* Write the sheet under work to a new file and go on working on that. */
static bool save_as_id(struct app *app, const char *id, struct err *err)
{
	struct sheet copy;
	sheet_init(&copy);
	if (!sheet_copy(&copy, app_sheet(app)))
		return err_memory(err);
	snprintf(copy.id, sizeof copy.id, "%s", id);
	if (copy.name) { /* the file's name tells them apart, the old title would not */
		free(copy.name);
		copy.name = NULL;
	}
	bool ok = store_new_sheet(&app->book, &copy, err) && keep_in_book(app, &copy);
	sheet_free(&copy);
	if (!ok)
		return err->text[0] ? false : err_memory(err);
	settle(app);
	return open_sheet(app, id, err);
}

static unsigned save_as_typed(struct app *app, const char *text)
{
	struct err err;
	err_clear(&err);
	char safe[256];
	if (!text_is_id(text, strlen(text))) {
		field_keep(app);
		return app_warn(app, "a sheet's name is made of a-z, 0-9 and -, at most 64, not "
				     "starting with -");
	}
	if (book_find_sheet(&app->book, text) >= 0) {
		field_keep(app);
		return app_warn(app, "the book has a sheet %s already; choose another name", text);
	}
	enum then then = app->then;
	if (!save_as_id(app, text, &err)) {
		app->then = THEN_NOTHING;
		return app_warn(app, "not saved: %s", err.text);
	}
	app->then = then;
	text_safe(safe, sizeof safe, text, strlen(text));
	unsigned flags = app_changed(app, CHANGED_SHEET) | app_say(app, "saved as %s.yaml", safe);
	return flags | go_on(app);
}

static unsigned ask_name(struct app *app)
{
	return field_open(app, save_as_typed, "", "Save %s as", app_sheet(app)->id);
}

unsigned act_save_as(struct app *app)
{
	app->then = THEN_NOTHING;
	return ask_name(app);
}

/* --- conflict -------------------------------------------------------------- */

static const char *pair_words(const struct sheet *s, size_t pair)
{
	return s->locked[pair] ? "held" : s->share_held[pair] ? "share held" : "let go";
}

/* One line for each difference between two versions of the sheet. */
static void describe_differences(const struct app *app, const struct sheet *a,
	const struct sheet *b, const char *a_name, const char *b_name, struct buf *out)
{
	const struct car *car = &app->book.car;
	buf_addf(out, "%-24s %12s %12s\n", "", a_name, b_name);
	for (size_t i = 0; i < a->n_values; i++) {
		const struct adjustable *ad = &car->adjustables[i];
		char title[CAR_TITLE_SIZE], x[CAR_VALUE_SIZE], y[CAR_VALUE_SIZE];
		if (a->values[i] != b->values[i])
			buf_addf(out, "%-24s %12s %12s\n", car_title(ad, title, sizeof title),
				car_value_text(ad, a->values[i], x, sizeof x),
				car_value_text(ad, b->values[i], y, sizeof y));
		if (a->frozen[i] != b->frozen[i])
			buf_addf(out, "%-24s %12s %12s\n", car_title(ad, title, sizeof title),
				a->frozen[i] ? "frozen" : "free", b->frozen[i] ? "frozen" : "free");
	}
	for (size_t p = 0; p < a->n_pairs; p++)
		if (a->locked[p] != b->locked[p] || a->share_held[p] != b->share_held[p])
			buf_addf(out, "%-24s %12s %12s\n", car->pairs[p].id, pair_words(a, p),
				pair_words(b, p));
}

/* What each pair holds, as on another sheet; after the values, whose share is then held. */
static bool take_pairs(struct edit *e, const struct sheet *want, struct err *err)
{
	bool ok = true;
	for (size_t p = 0; ok && p < want->n_pairs; p++) {
		const bool held = edit_sheet(e)->share_held[p];
		ok = edit_lock(e, (int)p, want->locked[p], err);
		if (ok && held != want->share_held[p])
			ok = edit_hold_share(e, (int)p, want->share_held[p], err);
	}
	return ok;
}

enum conflict_choice { CONFLICT_WAIT, CONFLICT_NAME, CONFLICT_THEIRS, CONFLICT_MINE };

/* The file's version becomes the base; mine stays as unsaved changes to it. */
static bool rebase_on_file(struct app *app, struct err *err)
{
	struct sheet mine;
	struct edit_change c;
	sheet_init(&mine);
	if (!sheet_copy(&mine, app_sheet(app)))
		return err_memory(err);
	char id[ID_SIZE];
	snprintf(id, sizeof id, "%s", mine.id);
	settle(app);
	bool ok = open_sheet(app, id, err);
	ok = ok && edit_apply(app->edit, mine.values, true, &c, err) &&
		take_pairs(app->edit, &mine, err);
	for (size_t i = 0; ok && i < mine.n_values; i++)
		ok = edit_freeze(app->edit, (int)i, mine.frozen[i], err);
	sheet_free(&mine);
	return ok;
}

static unsigned conflict_answered(struct app *app, int choice)
{
	struct err err;
	err_clear(&err);
	switch ((enum conflict_choice)choice) {
	case CONFLICT_WAIT:
		app->then = THEN_NOTHING;
		return app_say(app, "nothing was written; your changes are still here, unsaved");
	case CONFLICT_NAME:
		return ask_name(app);
	case CONFLICT_THEIRS:
		if (!rebase_on_file(app, &err))
			return app_warn(app, "cannot read the file: %s", err.text);
		while (edit_can_undo(app->edit)) {
			struct edit_change c;
			edit_undo(app->edit, &c);
		}
		return app_changed(app, CHANGED_SHEET) |
		       app_say(app,
			       "this is the file's version; r brings yours back, step by step");
	case CONFLICT_MINE:
		if (!rebase_on_file(app, &err))
			return app_warn(app, "cannot read the file: %s", err.text);
		if (app_dirty(app))
			return record_edit(app) | save_now(app);
		return app_changed(app, CHANGED_SHEET) | go_on(app);
	}
	return UI_NONE;
}

static unsigned conflict(struct app *app)
{
	static const struct choice choices[] = {
		{'n', "write nothing now, and keep my changes here unsaved"},
		{'a', "save mine under another name, so that both are kept"},
		{'t', "work on the file's version; mine can be redone"},
		{'m', "replace the file's version by mine"}};
	struct faults faults;
	struct sheet theirs;
	struct stamp stamp;
	struct buf body;
	buf_init(&body);
	faults_init(&faults);
	sheet_init(&theirs);
	size_t n_choices = 4;
	buf_adds(&body, "Nothing was written. The two versions:\n\n");
	if (store_load_sheet(&theirs, &app->book, app_sheet(app)->id, &stamp, &faults)) {
		describe_differences(app, &theirs, app_sheet(app), "in the file", "here", &body);
	} else {
		buf_addf(&body, "The file cannot be read as a sheet now: %s\n",
			faults.n ? faults.list[0].text : "out of memory");
		n_choices = 2;
	}
	unsigned flags = question_open(app, conflict_answered, choices, n_choices,
		body.data ? body.data : "", "%s.yaml was changed by someone else",
		app_sheet(app)->id);
	sheet_free(&theirs);
	faults_free(&faults);
	buf_free(&body);
	return flags;
}

/* --- leaving --------------------------------------------------------------- */

enum leave_choice { LEAVE_STAY, LEAVE_SAVE, LEAVE_NAME, LEAVE_DROP };

static unsigned leave_answered(struct app *app, int choice)
{
	switch ((enum leave_choice)choice) {
	case LEAVE_STAY:
		app->then = THEN_NOTHING;
		return UI_ALL;
	case LEAVE_SAVE:
		return save_now(app);
	case LEAVE_NAME:
		return ask_name(app);
	case LEAVE_DROP:
		break;
	}
	struct edit_change c;
	while (!edit_is_clean(app->edit) && edit_undo(app->edit, &c))
		;
	settle(app);
	return app_changed(app, CHANGED_SHEET) | go_on(app);
}

unsigned session_leave(struct app *app, enum then then, const char *sheet_id)
{
	static const struct choice quit[] = {{'n', "stay here; the changes stay unsaved"},
		{'s', "save them, then leave"}, {'a', "save them under a new name, then leave"},
		{'d', "leave and drop the changes for good"}};
	static const struct choice open[] = {{'n', "stay on this sheet; the changes stay unsaved"},
		{'s', "save them, then open the other sheet"},
		{'a', "save them under a new name, then open the other sheet"},
		{'d', "drop the changes for good and open the other sheet"}};
	static const struct choice reference[] = {{'n', "leave the reference as it is"},
		{'s', "save the sheet, then make it the reference"}};
	app->then = then;
	snprintf(app->then_sheet, sizeof app->then_sheet, "%s", sheet_id ? sheet_id : "");
	if (!app_dirty(app))
		return go_on(app);
	struct buf body;
	buf_init(&body);
	describe_differences(app, &app->saved, app_sheet(app), "in the file", "here", &body);
	unsigned flags = question_open(app, leave_answered,
		then == THEN_QUIT   ? quit
		: then == THEN_OPEN ? open
				    : reference,
		then == THEN_REFERENCE ? 2 : 4, body.data ? body.data : "",
		"%s.yaml has unsaved changes", app_sheet(app)->id);
	buf_free(&body);
	return flags;
}

unsigned act_quit(struct app *app)
{
	return session_leave(app, THEN_QUIT, NULL);
}

unsigned act_reference(struct app *app)
{
	if (strcmp(app_sheet(app)->id, app->book.reference) == 0 && !app_dirty(app))
		return app_say(app, "%s is the reference already", app->book.reference);
	return session_leave(app, THEN_REFERENCE, NULL);
}

static unsigned sheet_picked(struct app *app, int item)
{
	if (item < 0 || (size_t)item >= app->book.n_sheets)
		return UI_ALL;
	return session_leave(app, THEN_OPEN, app->book.sheets[item].id);
}

unsigned act_open(struct app *app)
{
	struct buf items;
	buf_init(&items);
	int at = 0;
	for (size_t i = 0; i < app->book.n_sheets; i++) {
		const struct sheet *s = &app->book.sheets[i];
		char line[256];
		size_t n = text_safe(
			line, sizeof line, s->name ? s->name : "", s->name ? strlen(s->name) : 0);
		bool ref = strcmp(s->id, app->book.reference) == 0;
		buf_addf(&items, "%s%s%s%s", i ? "\n" : "", s->id, n ? "   " : "", n ? line : "");
		if (ref)
			buf_adds(&items, "   (reference)");
		if (strcmp(s->id, app_sheet(app)->id) == 0) {
			buf_adds(&items, "   (open)");
			at = (int)i;
		}
	}
	unsigned flags =
		list_open(app, sheet_picked, items.data ? items.data : "", at, "Open a sheet");
	buf_free(&items);
	return flags;
}

/* --- recovery -------------------------------------------------------------- */

/* Apply a journal's changes to a copy of the sheet. Unknown keys are left out. */
static void replay(const struct app *app, const struct recovery *r, struct sheet *s)
{
	const struct car *car = &app->book.car;
	for (size_t i = 0; i < r->n_changes; i++) {
		const char *key = r->changes[i].key, *value = r->changes[i].value;
		const char *id = strchr(key, '.');
		if (!id)
			continue;
		id++;
		int a = car_find_adjustable(car, id), p = car_find_pair(car, id);
		fix v;
		if (strncmp(key, "values.", 7) == 0 && a >= 0 &&
			fix_parse(value, strlen(value), &v) == NUM_OK)
			s->values[a] = v;
		else if (strncmp(key, "frozen.", 7) == 0 && a >= 0)
			s->frozen[a] = value[0] == '1';
		else if (strncmp(key, "locks.", 6) == 0 && p >= 0)
			s->locked[p] = value[0] == '1';
		else if (strncmp(key, "held-shares.", 12) == 0 && p >= 0)
			s->share_held[p] = value[0] == '1';
	}
}

static bool take_recovered(struct app *app, const struct sheet *want, struct err *err)
{
	struct edit_change c;
	bool ok = edit_apply(app->edit, want->values, true, &c, err) &&
		take_pairs(app->edit, want, err);
	for (size_t i = 0; ok && i < want->n_values; i++)
		ok = edit_freeze(app->edit, (int)i, want->frozen[i], err);
	return ok;
}

/* Read the journal and bring a copy of the sheet to what it says. False: nothing to offer. */
static bool read_journal(struct app *app, struct recovery *r, struct sheet *want, struct err *err)
{
	memset(r, 0, sizeof *r);
	sheet_init(want);
	if (!journal_recover(app->session->path, &app->session->stamp, r, err) || !r->found)
		return false;
	if (!sheet_copy(want, app_sheet(app)))
		return err_memory(err);
	replay(app, r, want);
	return true;
}

enum recovery_choice { RECOVERY_LATER, RECOVERY_TAKE, RECOVERY_DROP };

static unsigned recovery_answered(struct app *app, int choice)
{
	struct recovery r;
	struct sheet want;
	struct err err;
	err_clear(&err);
	app->session->recovery_waits = choice == RECOVERY_LATER;
	if (choice == RECOVERY_LATER)
		return app_say(app, "kept; it is offered again before this sheet is edited");
	if (choice == RECOVERY_DROP) {
		if (!journal_remove(app->session->path, &err))
			return app_warn(app, "the journal could not be removed: %s", err.text);
		return app_say(app, "the unsaved changes of then are dropped");
	}
	unsigned flags = UI_ALL;
	bool ok = read_journal(app, &r, &want, &err) && take_recovered(app, &want, &err);
	if (ok && !r.same_base)
		ok = journal_remove(app->session->path, &err);
	recovery_free(&r);
	sheet_free(&want);
	if (!ok)
		return app_warn(
			app, "not recovered: %s", err.text[0] ? err.text : "the journal is gone");
	flags |= record_edit(app);
	if (app->modal.kind == MODAL_NONE && !app->message[0])
		flags |= app_say(app, "recovered, not saved yet: s saves, u goes back");
	return flags;
}

/* False for a lock that a crash left on this machine. */
static bool lock_lives(const struct lock_owner *who)
{
	if (!who->same_host)
		return true;
	return !who->other_boot && (kill((pid_t)who->pid, 0) == 0 || errno != ESRCH);
}

unsigned session_offer_recovery(struct app *app)
{
	static const struct choice choices[] = {
		{'n', "not now; ask again before this sheet is edited"},
		{'y', "bring these changes back, unsaved"}, {'d', "drop them for good"}};
	struct recovery r;
	struct sheet want;
	struct err err;
	struct buf body;
	struct lock_owner who;
	char when[32] = "", text[256];
	err_clear(&err);
	unsigned flags = UI_NONE;
	if (lock_owner(app->session->path, &who) && lock_lives(&who)) { /* writes that journal */
		lock_describe(&who, text, sizeof text);
		return app_warn(app, "%s is being edited by %s", app_sheet(app)->id, text);
	}
	bool offer = read_journal(app, &r, &want, &err);
	if (!offer && err.text[0])
		flags = app_warn(
			app, "the journal of unsaved changes cannot be read: %s", err.text);
	if (offer && sheet_equal(&want, app_sheet(app))) {
		journal_remove(app->session->path, &err);
		offer = false;
	}
	if (offer) {
		time_t t = (time_t)r.when;
		struct tm tm;
		buf_init(&body);
		if (localtime_r(&t, &tm))
			strftime(when, sizeof when, "%Y-%m-%d %H:%M", &tm);
		buf_addf(&body, "Changes of %s were not saved.%s%s\n\n", when,
			r.same_base ? "" : "\nThe file has been changed since they were made.",
			r.whole ? ""
				: "\nThe end of the journal is damaged; this is what can be read.");
		describe_differences(app, app_sheet(app), &want, "in the file", "recovered", &body);
		flags |= question_open(app, recovery_answered, choices, 3,
			body.data ? body.data : "", "Recover unsaved changes of %s.yaml?",
			app_sheet(app)->id);
		buf_free(&body);
	}
	recovery_free(&r);
	sheet_free(&want);
	return flags;
}
