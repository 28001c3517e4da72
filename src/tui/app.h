/*
 * The workbench: the open book, the sheet under work, what the model says of it,
 * and what is on the screen. Knows no curses.
 */
#ifndef TUI_APP_H
#define TUI_APP_H

#include "book/edit.h"
#include "model/model.h"
#include "model/words.h"
#include "tui/answer.h"
#include "tui/modal.h"
#include "tui/page.h"

/* What to do once the sheet is saved or dropped. */
enum then { THEN_NOTHING, THEN_QUIT, THEN_OPEN, THEN_REFERENCE };

struct app {
	struct book book;
	struct model *model; /* NULL: model_why says why */
	char model_why[256];
	/* Words of model/words.h for the conditions that the model predicts at; made with it. */
	char conditions[256], beyond[WORDS_SIZE];
	bool fit_waits;       /* a large book: fitted after the first painting */
	struct edit *edit;    /* the sheet under work */
	struct sheet saved;   /* that sheet as it was last read or written */
	struct sheet against; /* the reference's values; against.values NULL if there is none */
	size_t n_changes;     /* values that differ from the reference */
	struct answer told;   /* brought up to date before each painting */
	bool last_was_undo;   /* the last change was an undo: taking it back is a redo */
	bool *caution_seen;   /* per adjustable: asked, and kept; owned */
	enum page page;
	void *state[PAGES]; /* owned by the pages */
	struct modal modal;
	bool keep_field;
	char message[512]; /* stays until the next key */
	bool message_warns;
	bool message_stays; /* over one key more: the one that it speaks of */
	enum then then;
	char then_sheet[ID_SIZE];
	struct session *session; /* lock and journal, session.h */
	bool covered;            /* something stood over the page at the last painting */
	size_t shown_changes;    /* what the title line says */
	bool shown_dirty;
	char shown_id[ID_SIZE];
	int pending_choice; /* scratch of the question that is open */
	struct held *held;  /* owned: a change that somebody's lock stopped, saving.h */
};

/* Open the book and a sheet of it (NULL: the reference). */
bool app_open(struct app *app, const char *dir, const char *sheet_id, struct faults *faults);
void app_close(struct app *app);

void *app_page_state(struct app *app, enum page page);
const struct sheet *app_sheet(const struct app *app);
/* What sentences call the sheet under work: its id, or "this sheet" while it is not what its file
 * says. */
const char *app_sheet_name(const struct app *app);
bool app_dirty(const struct app *app);
/* A message for the user; it stays until the next key. Returns UI_FOOT. */
unsigned app_say(struct app *app, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
/* The same for refusals and failures. */
unsigned app_warn(struct app *app, const char *fmt, ...) __attribute__((format(printf, 2, 3)));

/* Tell everyone what changed (CHANGED_...); returns UI_ALL. */
unsigned app_changed(struct app *app, unsigned what);
/* Fit anew, after a run was logged or mended. */
void app_refit(struct app *app);
/* Let the page do what it put off; called while no key waits. */
unsigned app_idle(struct app *app);
/* Why no page can tell anything, and what to do about it. */
const char *app_nothing_told(const struct app *app, char *buf, size_t size);
/* Go to a page. */
unsigned app_show(struct app *app, enum page page);
/* Take the reference's values anew from the book. */
bool app_take_reference(struct app *app);

/* Run an action, or give a key to what stands over the page. Returns UI_ flags. */
unsigned app_key(struct app *app, int key);
/* Paint what the flags ask for and stage it. */
void app_paint(struct app *app, unsigned flags);

/* For actions that mean something on two pages. */
unsigned compare_take(struct app *app);
unsigned effects_next_response(struct app *app);

#define ACTION(name, pages, keys, hint, help) unsigned act_##name(struct app *app);
ACTIONS
#undef ACTION

#endif
