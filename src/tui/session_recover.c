#include "tui/session_own.h"

#include <string.h>
#include <time.h>

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
	bool ok = read_journal(app, &r, &want, &err) && session_take_sheet(app->edit, &want, &err);
	if (ok && !r.same_base)
		ok = journal_remove(app->session->path, &err);
	recovery_free(&r);
	sheet_free(&want);
	if (!ok)
		return app_warn(
			app, "not recovered: %s", err.text[0] ? err.text : "the journal is gone");
	flags |= session_record(app);
	if (app->modal.kind == MODAL_NONE && !app->message[0])
		flags |= app_say(app, "recovered, not saved yet: s saves, u goes back");
	return flags;
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
	if (lock_owner(app->session->path, &who) && !who.ended) { /* writes that journal */
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
		session_tell_differences(
			app, app_sheet(app), &want, "in the file", "recovered", &body);
		flags |= question_open(app, recovery_answered, choices, 3, modal_text(app, &body),
			"Recover unsaved changes of %s.yaml?", app_sheet(app)->id);
		buf_free(&body);
	}
	recovery_free(&r);
	sheet_free(&want);
	return flags;
}
