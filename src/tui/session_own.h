/*
 * What the files of the session share and nobody else needs: session.c opens and
 * closes, session_record.c keeps lock, journal and cautions, session_save.c saves,
 * session_conflict.c asks where the file was changed by others, session_leave.c asks
 * before changes are left, session_recover.c brings a journal's changes back, and
 * session_versions.c tells and takes over the differences of two versions.
 *
 * Functions that return unsigned return UI_ flags and may open a question. The others
 * return false with the error set, and then all is as before unless said otherwise.
 */
#ifndef TUI_SESSION_OWN_H
#define TUI_SESSION_OWN_H

#include "tui/session.h"

#include "store/journal.h"
#include "store/lock.h"
#include "store/store.h"

struct session {
	char *path;         /* owned; of the sheet's file */
	struct stamp stamp; /* of the file as it was read or written */
	struct lock lock;
	struct journal journal;
	struct sheet logged;   /* owned; the sheet as the journal has it */
	bool unlocked_told;    /* said that no lock can be made */
	bool unsure;           /* saved, but not confirmed on disk: the journal stays */
	bool recovery_waits;   /* a journal was found and its question not answered */
	struct recovery offer; /* what that question is about */
	unsigned left;         /* slots of journals that the user left where they are, a bit each */
	char *kept; /* owned; where the version that is to be replaced was kept, or NULL */
	struct lock_owner owner; /* of the lock that a question is about */
};

/* The book's copy of a sheet follows its file. The sheet stays the caller's. False only
 * when memory is short. */
bool session_keep(struct app *app, const struct sheet *sheet);
/* Read a sheet's file anew and make it the one under work. */
bool session_open(struct app *app, const char *id, struct err *err);
/* Read its file anew and make the sheet under work changes to that, under the same lock; the
 * journal is of the old file until the next session_record(). */
bool session_reopen(struct app *app, struct err *err);
/* The journal or the file has the sheet as it is now. */
void session_note_logged(struct app *app);
/* The edits are safe in a file or given up: no journal, no lock. */
void session_settle(struct app *app);

/* Draw a change, lock the file and write the change to the journal. */
unsigned session_record(struct app *app);

/* Save, ask if the file was changed by others, and go on with app->then. */
unsigned session_save(struct app *app);
/* Ask for another name to save under, then go on with app->then. */
unsigned session_ask_name(struct app *app);
/* The file was changed by others: show both versions and ask. */
unsigned session_conflict(struct app *app);
/* The sheet is safe: do what app->then says. */
unsigned session_go_on(struct app *app);

/* One line for each difference between two versions of the sheet under work. */
void session_tell_differences(const struct app *app, const struct sheet *a, const struct sheet *b,
	const char *a_name, const char *b_name, struct buf *out);
/* Values, pairs and frozen marks as on another sheet, as steps that can be undone; after
 * an error some may have been taken. */
bool session_take_sheet(struct edit *e, const struct sheet *want, struct err *err);

#endif
