#include "tui/session_own.h"

#include <stdio.h>

enum conflict_choice { CONFLICT_WAIT, CONFLICT_NAME, CONFLICT_THEIRS, CONFLICT_MINE };

/* The file's version becomes the base; mine stays as unsaved changes to it. */
static bool rebase_on_file(struct app *app, struct err *err)
{
	struct sheet mine;
	sheet_init(&mine);
	if (!sheet_copy(&mine, app_sheet(app)))
		return err_memory(err);
	char id[ID_SIZE];
	snprintf(id, sizeof id, "%s", mine.id);
	session_settle(app);
	bool ok = session_open(app, id, err);
	ok = ok && session_take_sheet(app->edit, &mine, err);
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
		return session_ask_name(app);
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
			return session_record(app) | session_save(app);
		return app_changed(app, CHANGED_SHEET) | session_go_on(app);
	}
	return UI_NONE;
}

unsigned session_conflict(struct app *app)
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
		session_tell_differences(
			app, &theirs, app_sheet(app), "in the file", "here", &body);
	} else {
		buf_addf(&body, "The file cannot be read as a sheet now: %s\n",
			faults.n ? faults.list[0].text : "out of memory");
		n_choices = 2;
	}
	unsigned flags = question_open(app, conflict_answered, choices, n_choices,
		modal_text(app, &body), "%s.yaml was changed by someone else", app_sheet(app)->id);
	sheet_free(&theirs);
	faults_free(&faults);
	buf_free(&body);
	return flags;
}
