#include "tui/session_own.h"

#include "tui/saving.h"

#include <stdio.h>
#include <string.h>

static unsigned set_reference(struct app *app)
{
	struct err err;
	err_clear(&err);
	const char *id = app_sheet(app)->id;
	unsigned flags;
	if (!store_set_reference(&app->book, id, &err))
		return held_ask(app, &err, "", "book", set_reference, &flags)
			       ? flags
			       : app_warn(app, "the reference is as it was: %s", err.text);
	snprintf(app->book.reference, sizeof app->book.reference, "%s", id);
	if (!app_take_reference(app))
		return app_warn(app, "out of memory");
	return app_changed(app, CHANGED_REFERENCE) |
	       app_saved(app, &err, "%s is the reference now (saved in book.yaml)", id);
}

unsigned session_go_on(struct app *app)
{
	enum then then = app->then;
	struct err err;
	err_clear(&err);
	app->then = THEN_NOTHING;
	switch (then) {
	case THEN_QUIT:
		return UI_QUIT;
	case THEN_OPEN:
		if (!session_open(app, app->then_sheet, &err))
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

enum leave_choice { LEAVE_STAY, LEAVE_SAVE, LEAVE_NAME, LEAVE_DROP };

static unsigned leave_answered(struct app *app, int choice)
{
	switch ((enum leave_choice)choice) {
	case LEAVE_STAY:
		app->then = THEN_NOTHING;
		return UI_ALL;
	case LEAVE_SAVE:
		return session_save(app);
	case LEAVE_NAME:
		return session_ask_name(app);
	case LEAVE_DROP:
		break;
	}
	struct edit_change c;
	while (!edit_is_clean(app->edit) && edit_undo(app->edit, &c))
		;
	session_settle(app);
	return app_changed(app, CHANGED_SHEET) | session_go_on(app);
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
		return session_go_on(app);
	struct buf body;
	buf_init(&body);
	session_tell_differences(app, &app->saved, app_sheet(app), "in the file", "here", &body);
	unsigned flags = question_open(app, leave_answered,
		then == THEN_QUIT   ? quit
		: then == THEN_OPEN ? open
				    : reference,
		then == THEN_REFERENCE ? 2 : 4, modal_text(app, &body),
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
	unsigned flags = list_open(app, sheet_picked, modal_text(app, &items), at, "Open a sheet");
	buf_free(&items);
	return flags;
}
