/*
 * Work of the workbench that may take seconds. A key goes first: it stops the work. Once
 * that has gone on for some tenths of a second, the message line tells how far it is, unless a
 * message stands there. At LONG_WORK_MOST steps it is given up, on any machine at the same place.
 */
#ifndef TUI_LONG_WORK_H
#define TUI_LONG_WORK_H

#include "base/patience.h"
#include "tui/app.h"

/* Some ten seconds; the first word after a third of one. */
enum { LONG_WORK_MOST = 1000000000, LONG_WORK_TOLD = LONG_WORK_MOST / 30 };

struct long_work {
	struct patience patience; /* for the worker; points to this structure, which stays put */
	struct app *app;
	const char *what, *keys; /* not owned */
	uint64_t tell_at;
	bool told;
};

/* What is done, and what a key does to it, in words that outlive the work. */
void long_work_begin(struct long_work *w, struct app *app, const char *what, const char *keys);
/* Takes the word of how far it is from the message line. Returns UI_ flags. */
unsigned long_work_end(struct long_work *w);

#endif
