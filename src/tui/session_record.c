#include "tui/session_own.h"

#include "book/caution.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* --- the journal ----------------------------------------------------------- */

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
	struct change_text *texts = malloc(most * sizeof *texts);
	struct change *changes = malloc(most * sizeof *changes);
	bool ok = texts && changes;
	if (!ok)
		err_memory(err);
	size_t n = ok ? note_changes(app, &s->logged, now, texts) : 0;
	for (size_t i = 0; i < n; i++)
		changes[i] = (struct change){texts[i].key, texts[i].value};
	if (ok && n > 0)
		ok = stamp_same_bytes(&s->journal.base, &s->stamp)
			     ? journal_append(&s->journal, changes, n, err)
			     : journal_rebase(&s->journal, &s->stamp, changes, n, err);
	if (ok)
		session_note_logged(app);
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
		bool ok = append_changes(app, &err) &&
			  (s->unsure || journal_discard(&s->journal, &err));
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

/* --- the lock -------------------------------------------------------------- */

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

unsigned session_record(struct app *app)
{
	bool asked = false;
	unsigned flags = app_changed(app, CHANGED_SHEET);
	if (app_dirty(app))
		flags |= lock_edit(app, &asked);
	return asked ? flags : flags | journal_edit(app);
}

/* --- caution --------------------------------------------------------------- */

static unsigned caution_answered(struct app *app, int choice)
{
	if (choice == 1) {
		app->caution_seen[app->pending_choice] = true;
		return session_record(app);
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
	char title[CAR_TITLE_SIZE], value[CAR_VALUE_SIZE], words[CAUTION_SIZE],
		body[CAUTION_SIZE + 200];
	const struct adjustable *ad = &car->adjustables[a];
	caution_words(car, (size_t)a, app_sheet(app)->values[a], words, sizeof words);
	snprintf(body, sizeof body, "%s.\n%s\nThis program clears nothing.", words,
		caution_reminder);
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
	if (app->session->recovery_waits) { /* which of both he wants is his to say first */
		struct edit_change back;
		edit_undo(app->edit, &back);
		return session_offer_recovery(app);
	}
	for (size_t i = 0; i < s->n_values; i++) /* back inside: ask again next time */
		if (app->caution_seen[i] &&
			car_caution(&app->book.car.adjustables[i], s->values[i]) == 0)
			app->caution_seen[i] = false;
	if (c && c->caution >= 0 && !app->caution_seen[c->caution])
		return app_changed(app, CHANGED_SHEET) | ask_caution(app, c->caution);
	return session_record(app);
}
