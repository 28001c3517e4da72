/*
 * Pages of the workbench. A page is one file page_NAME.c with one `struct page_ops`
 * and the act_...() functions of its rows in the table of actions.h.
 *
 * How to write one:
 * - State of its own: made by open(), kept over page changes (so that the place on a
 *   page is kept), freed by close(); reach it with app_page_state(app, PAGE_X).
 * - draw() paints the area between the two top lines and the message line, with scr.h
 *   only, and changes nothing else. It is called when a handler returned UI_BODY.
 * - Handlers (move(), act_...()) change state and return UI_ flags; they never paint.
 *   Words for the user go into app_say(); questions, typed values and lists through
 *   modal.h. A handler for an action on several pages looks at app->page.
 * - changed() is told when the sheet, the reference or the fitted model is another,
 *   also while the page is hidden; enter() when the page is shown.
 */
#ifndef TUI_PAGE_H
#define TUI_PAGE_H

#include "tui/actions.h"
#include "tui/scr.h"

struct app;

/* What a handler asks for. */
enum {
	UI_NONE = 0,
	UI_BODY = 1,  /* the page's area */
	UI_FRAME = 2, /* the top lines */
	UI_FOOT = 4,  /* message and hint lines */
	UI_ALL = 7,
	UI_REPAINT = 8, /* everything, onto a cleared screen */
	UI_QUIT = 16,
};

enum move {
	MOVE_UP,
	MOVE_DOWN,
	MOVE_LEFT,
	MOVE_RIGHT,
	MOVE_FIRST,
	MOVE_LAST,
	MOVE_PAGE_UP,
	MOVE_PAGE_DOWN
};

enum { CHANGED_SHEET = 1, CHANGED_REFERENCE = 2, CHANGED_MODEL = 4 };

struct page_ops {
	/* All but draw may be NULL. */
	void *(*open)(struct app *app); /* NULL: out of memory */
	void (*close)(void *state);
	void (*enter)(struct app *app);
	void (*changed)(struct app *app, unsigned what);
	void (*draw)(struct app *app, struct area area);
	unsigned (*move)(struct app *app, enum move how);
	/* Called after a painting while no key waits: work that would hold up the painting. Keys
	 * wait meanwhile: what may take more than some tens of ms goes through long_work.h.
	 * Returns UI_ flags. */
	unsigned (*idle)(struct app *app);
};

extern const struct page_ops page_sheet, page_compare, page_effects, page_runs, page_plan,
	page_stint;

/* For long lists: keep `cursor` inside 0..n-1 after a move; rows is a screenful. */
int list_move(int cursor, int n, int rows, enum move how);
/* The first row to show so that the cursor stays in sight, given the present one. */
int list_scroll(int top, int cursor, int n, int rows);

#endif
