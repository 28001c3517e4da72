#include "tui/session_own.h"

#include "tui/saving.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* "; the other version is in NAME", once, where one was kept. */
static const char *kept_words(struct session *s, char *buf, size_t size)
{
	char name[200];
	const char *slash = s->kept ? strrchr(s->kept, '/') : NULL;
	buf[0] = '\0';
	if (slash) {
		text_safe(name, sizeof name, slash + 1, strlen(slash + 1));
		snprintf(buf, size, "; the other version is in %s", name);
	}
	free(s->kept);
	s->kept = NULL;
	return buf;
}

/* The file stands. What the disk did not confirm may be gone with the next power cut: then the
 * journal stays, and nothing else is begun before the user has seen it. */
static void settle_saved(struct app *app, bool sure)
{
	app->session->unsure = !sure;
	if (sure) {
		session_settle(app);
	} else {
		lock_release(&app->session->lock);
		app->then = THEN_NOTHING;
	}
}

static unsigned saved(struct app *app, const struct err *err)
{
	char kept[256];
	struct sheet copy;
	sheet_init(&copy);
	if (!sheet_copy(&copy, app_sheet(app)) || !session_keep(app, &copy)) {
		sheet_free(&copy);
		return app_warn(app, "saved, but out of memory: leave and start again");
	}
	sheet_free(&app->saved);
	app->saved = copy;
	edit_mark_clean(app->edit);
	settle_saved(app, err->cls == ERR_NONE);
	session_note_logged(app);
	unsigned what = CHANGED_SHEET;
	const bool is_reference = strcmp(copy.id, app->book.reference) == 0;
	const bool taken = !is_reference || app_take_reference(app);
	if (is_reference && taken)
		what |= CHANGED_REFERENCE;
	unsigned flags = app_changed(app, what);
	if (!taken)
		return flags | app_warn(app, "saved, but out of memory: leave and start again");
	kept_words(app->session, kept, sizeof kept);
	flags |= err->cls == ERR_NONE
			 ? app_say(app, "saved %s.yaml%s", app->saved.id, kept)
			 : app_saved(app, err, "%s.yaml has these values%s", app->saved.id, kept);
	return flags | session_go_on(app);
}

unsigned session_save(struct app *app)
{
	struct session *s = app->session;
	struct err err;
	char name[ID_SIZE + 8];
	err_clear(&err);
	switch (store_save_sheet_at(&app->book, &app->saved, app_sheet(app), &s->stamp, &err)) {
	case SAVE_DONE:
	case SAVE_UNCONFIRMED:
		return saved(app, &err);
	case SAVE_CONFLICT:
		return session_conflict(app);
	case SAVE_FAILED:
		break;
	}
	app->then = THEN_NOTHING;
	snprintf(name, sizeof name, "%s.yaml", app_sheet(app)->id);
	return app_not_saved(app, name, &err);
}

unsigned act_save(struct app *app)
{
	app->then = THEN_NOTHING;
	if (!app_dirty(app))
		return app_say(
			app, "nothing to save: %s is as its file has it", app_sheet(app)->id);
	return session_save(app);
}

/* Opens the file that was just written from the sheet under work, and goes on with its history,
 * which is of the values and not of a file. */
static bool move_to(struct app *app, const char *id, struct err *err)
{
	struct edit *edit = app->edit;
	app->edit = NULL;
	const bool ok = session_open(app, id, err);
	if (ok) {
		edit_rename(edit, id);
		edit_mark_clean(edit);
		edit_free(app->edit);
	}
	app->edit = edit;
	return ok;
}

/* Write the sheet under work to a new file and go on working on that; err is set too where that
 * stands but is not confirmed: the old one's journal stays then. */
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
	bool ok = store_new_sheet(&app->book, &copy, err) && session_keep(app, &copy);
	sheet_free(&copy);
	if (!ok)
		return err->text[0] ? false : err_memory(err);
	struct err opening;
	err_clear(&opening);
	settle_saved(app, err->cls == ERR_NONE);
	if (move_to(app, id, &opening))
		return true;
	*err = opening;
	return false;
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
		snprintf(safe, sizeof safe, "%s.yaml", text);
		return app_not_saved(app, safe, &err);
	}
	app->then = err.cls == ERR_NONE ? then : THEN_NOTHING;
	text_safe(safe, sizeof safe, text, strlen(text));
	unsigned flags = app_changed(app, CHANGED_SHEET) |
			 app_saved(app, &err,
				 err.cls == ERR_NONE ? "saved as %s.yaml; u still goes back"
						     : "this is %s.yaml now, u still goes back",
				 safe);
	return flags | session_go_on(app);
}

unsigned session_ask_name(struct app *app)
{
	return field_open(app, save_as_typed, "", "Save %s as", app_sheet(app)->id);
}

unsigned act_save_as(struct app *app)
{
	app->then = THEN_NOTHING;
	return session_ask_name(app);
}
