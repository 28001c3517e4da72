#include "tui/session_own.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void session_free(struct session *s)
{
	if (!s)
		return;
	journal_close(&s->journal);
	recovery_free(&s->offer);
	lock_release(&s->lock);
	sheet_free(&s->logged);
	free(s->path);
	free(s->kept);
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

bool session_keep(struct app *app, const struct sheet *sheet)
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

bool session_open(struct app *app, const char *id, struct err *err)
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
		session_keep(app, &sheet))
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

bool session_reopen(struct app *app, struct err *err)
{
	struct session *old = app->session;
	struct edit *edit = app->edit;
	struct sheet saved = app->saved;
	char id[ID_SIZE];
	snprintf(id, sizeof id, "%s", app_sheet(app)->id);
	app->session = NULL;
	app->edit = NULL;
	sheet_init(&app->saved);
	if (session_open(app, id, err) && session_take_sheet(app->edit, edit_sheet(edit), err)) {
		app->session->lock = old->lock;
		app->session->journal = old->journal;
		lock_init(&old->lock);
		journal_init(&old->journal);
		session_free(old);
		edit_free(edit);
		sheet_free(&saved);
		return true;
	}
	session_free(app->session);
	edit_free(app->edit);
	sheet_free(&app->saved);
	app->session = old;
	app->edit = edit;
	app->saved = saved;
	return false;
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
	return session_open(app, id, err);
}

void session_close(struct app *app)
{
	session_free(app->session);
	app->session = NULL;
}

void session_note_logged(struct app *app)
{
	struct sheet *logged = &app->session->logged;
	const struct sheet *now = app_sheet(app);
	memcpy(logged->values, now->values, now->n_values * sizeof *now->values);
	memcpy(logged->frozen, now->frozen, now->n_values * sizeof *now->frozen);
	memcpy(logged->locked, now->locked, now->n_pairs * sizeof *now->locked);
	memcpy(logged->share_held, now->share_held, now->n_pairs * sizeof *now->share_held);
}

void session_settle(struct app *app)
{
	struct err err;
	err_clear(&err);
	journal_discard(&app->session->journal, &err);
	lock_release(&app->session->lock);
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
