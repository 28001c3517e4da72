/*
 * What stands over a page until it is answered: a field to type into, a question, a
 * list to pick from, a text to read. One at a time; Esc always takes the harmless way.
 * Answers come back through a function that returns UI_ flags and may open the next one.
 */
#ifndef TUI_MODAL_H
#define TUI_MODAL_H

#include "base/text.h"
#include "tui/page.h"

enum { CHOICES_MAX = 6, FIELD_MAX = 64 * 1024 };

struct choice {
	int key;          /* a letter that picks it at once */
	const char *text; /* in full words; static */
};

/* Index of the picked choice; 0, the harmless one, on Esc. */
typedef unsigned (*answer_fn)(struct app *app, int choice);
/* The typed text. Return with field_keep() called to leave the field open for mending. */
typedef unsigned (*typed_fn)(struct app *app, const char *text);
/* Index of the picked item; -1 on Esc. */
typedef unsigned (*picked_fn)(struct app *app, int item);

enum modal_kind { MODAL_NONE, MODAL_FIELD, MODAL_QUESTION, MODAL_LIST, MODAL_TEXT };

struct modal {
	enum modal_kind kind;
	char title[256];
	struct buf text;    /* field: typed so far; question, text: the body; list: items by line */
	size_t caret;       /* field: byte */
	bool late_ok;       /* field: left by Esc just now, may come back */
	bool answering;     /* field: its typed_fn is being called */
	int top, cursor, n; /* body or list */
	size_t n_choices;
	struct choice choices[CHOICES_MAX];
	typed_fn typed;
	answer_fn answered;
	picked_fn picked;
};

/* Ask for a line; `initial` is selected for mending, "" for an empty field. */
unsigned field_open(struct app *app, typed_fn done, const char *initial, const char *fmt, ...)
	__attribute__((format(printf, 4, 5)));
/* From a typed_fn: the text was no good, the field stays. */
void field_keep(struct app *app);

/* Ask a question. choices[0] is the harmless one. The body may be empty and may have
 * many lines; it is copied. */
unsigned question_open(struct app *app, answer_fn done, const struct choice *choices,
	size_t n_choices, const char *body, const char *fmt, ...)
	__attribute__((format(printf, 6, 7)));

/* Pick one of the lines of `items` (separated by \n). */
unsigned list_open(
	struct app *app, picked_fn done, const char *items, int cursor, const char *title);

/* Read a text; any key but the moving ones leaves it. */
unsigned text_open(struct app *app, const char *body, const char *title);

/* The text of b, for one of these. Where memory was short it is cut, and that is said. */
const char *modal_text(struct app *app, const struct buf *b);

/* Used by the main loop. */
unsigned modal_key(struct app *app, int key);
/* Paints it and tells where the cursor stands (y < 0: nowhere). */
void modal_draw(struct app *app, int *cursor_y, int *cursor_x);
void modal_free(struct modal *m);

#endif
