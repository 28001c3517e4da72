/*
 * The sheet under work and its file: opening, journal and lock while it is dirty,
 * saving, conflict, recovery. Nothing unsaved is dropped without a question, and
 * no question's harmless answer drops anything.
 */
#ifndef TUI_SESSION_H
#define TUI_SESSION_H

#include "tui/app.h"

/* Before the pages: choose and open the first sheet. */
bool session_first_sheet(struct app *app, const char *sheet_id, struct err *err);
/* After the pages: offer what the journal of a session that ended holds, one after the other.
 * Returns UI_ flags. */
unsigned session_offer_recovery(struct app *app);
/* Lets go of lock and journal; the journal's file is kept if the sheet is dirty. */
void session_close(struct app *app);

/* After each change of the sheet, before it is drawn: caution, lock, journal.
 * Returns UI_ flags; may open a question. c may be NULL. */
unsigned session_edited(struct app *app, const struct edit_change *c);

/* Milliseconds until session_idle() has work; -1 if it has none. */
int session_due_ms(const struct app *app);
unsigned session_idle(struct app *app);

/* Leave the sheet as it is and go on with `then`, asking first where it is dirty. */
unsigned session_leave(struct app *app, enum then then, const char *sheet_id);

#endif
