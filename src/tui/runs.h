/* What the files of the Runs page share. */
#ifndef TUI_RUNS_H
#define TUI_RUNS_H

#include "book/entry.h"
#include "model/verify.h"
#include "tui/app.h"

enum { RUNS_VERIFIED = 200 }; /* the last so many runs are held against their predictions */

/* Corrections of runs, newest last; those from `at` on were undone. */
enum { RUNS_UNDO_MAX = 50 };
struct runs_history {
	struct {
		struct run before, after; /* owned, of one id */
		bool dropped;             /* the whole run went; after is empty */
	} list[RUNS_UNDO_MAX];
	int n, at;
};

struct runs_page {
	int cursor, top, screenful;
	bool in_laps; /* the laps of the run under the cursor */
	int lap, lap_top;
	struct verify *verify; /* owned; NULL until there is time */
	bool stale;
	char why[200]; /* why there is no verification */
	/* What is being logged or added to. */
	struct run draft;
	char doubt[ENTRY_SIZE]; /* a lap far off the one before, typed and asked about */
	bool is_new;            /* no file yet */
	bool tried;             /* to write that, and it failed */
	char taken[ID_SIZE];    /* the id that it was to have, "" where it got that */
	int plan_index;         /* the plan's run that it is driven for, -1 */
	struct runs_history history;
	char said[400]; /* of a correction that somebody's lock stopped */
};

struct runs_page *runs_page_of(struct app *app);
/* The run under the cursor, NULL in a book without. */
const struct run *runs_current(struct app *app);
/* What is known of a run of the book, NULL if nothing yet. */
const struct verified_run *runs_verified(const struct runs_page *s, int run);

/* A run came or changed: the book's copy, the fit, all pages. The cursor goes to it. Says what is
 * `said`, with what `saved` has to tell (app_saved()), or that memory was short. */
unsigned runs_take(struct app *app, const struct run *r, const struct err *saved, const char *said);
unsigned runs_stop_verify(struct app *app, const struct err *err);

/* A run went: the book, the fit, all pages. Says the same. */
unsigned runs_gone(struct app *app, const char *id, const struct err *saved, const char *said);

/* runs_undo.c: notes that a run's file went from *before to *after (NULL: aside), for u and r.
 * False where memory is short: then it cannot be undone. */
bool runs_note(struct runs_history *h, const struct run *before, const struct run *after);
void runs_forget(struct runs_history *h);
/* Drops the run under the cursor and notes it. */
unsigned runs_drop(struct app *app);

/* runs_log.c: a copy of a run to change, s->draft; false: memory. Saving it, with words for the
 * user. What stands for what in a lap's line. Conditions as typed into the draft: false: the field
 * stays open, *flags is to be returned. */
bool runs_draft_of(struct app *app, const struct run *r);
unsigned runs_save_change(struct app *app, const char *said);
unsigned runs_say_form(struct app *app);
bool runs_take_conditions(struct app *app, const char *text, unsigned *flags);
bool runs_is_blank(const char *text);

/* Predictions and drift in words, for reading. */
void runs_tell(struct app *app, struct buf *out);

/* One line that sums a lap, or a run against its prediction, up. */
const char *runs_lap_words(
	const struct app *app, const struct run *r, size_t lap, char *buf, size_t size);
const char *runs_outcome(
	const struct app *app, const struct verified_run *v, char *buf, size_t size);

#endif
