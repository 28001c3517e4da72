/* What the files of the Plan page share. */
#ifndef TUI_PLAN_PAGE_H
#define TUI_PLAN_PAGE_H

#include "plan/plan.h"
#include "tui/app.h"

struct plan_page {
	struct plan *plan; /* owned; NULL: none */
	bool draft;        /* made here and not kept yet */
	bool stale;        /* the file or the figures are to be read again */
	bool effects;      /* the effects found in place of the runs */
	int cursor, top, screenful;
	enum plan_kind kind; /* being asked for */
	char why[300];
};

/* The run under the marker; NULL: none. */
const struct plan_run *plan_run_at(const struct plan_page *s);
/* Keeps in `screenful` how many runs, or terms of the effects, there is room for. */
void plan_draw(struct app *app, struct area a);

#endif
