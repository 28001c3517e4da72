#include "tui/session_own.h"

#include "store/save.h"

#include <stdlib.h>

enum conflict_choice { CONFLICT_WAIT, CONFLICT_NAME, CONFLICT_THEIRS, CONFLICT_MINE };

/* Mine in place of the file's version, which is kept beside it. */
static unsigned replace_theirs(struct app *app)
{
	struct session *s = app->session;
	struct err err;
	err_clear(&err);
	unsigned flags = session_record(app);
	if (app->modal.kind != MODAL_NONE) /* a question about the lock */
		return flags;
	if (!app_dirty(app))
		return flags | session_go_on(app);
	free(s->kept);
	if (!save_aside(s->path, &s->stamp, &s->kept, &err)) {
		app->then = THEN_NOTHING;
		return flags | app_warn(app, "nothing was written: %s", err.text);
	}
	return flags | session_save(app);
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
		if (!session_reopen(app, &err))
			return app_warn(app, "cannot read the file: %s", err.text);
		while (edit_can_undo(app->edit)) {
			struct edit_change c;
			edit_undo(app->edit, &c);
		}
		return session_record(app) |
		       app_say(app,
			       "this is the file's version; r brings yours back, step by step");
	case CONFLICT_MINE:
		if (!session_reopen(app, &err))
			return app_warn(app, "cannot read the file: %s", err.text);
		return replace_theirs(app);
	}
	return UI_NONE;
}

unsigned session_conflict(struct app *app)
{
	static const struct choice choices[] = {
		{'n', "write nothing now, and keep my changes here unsaved"},
		{'a', "save mine under another name, so that both are kept"},
		{'t', "work on the file's version; mine can be redone"},
		{'m', "replace the file's version by mine; a copy of it is kept"}};
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
