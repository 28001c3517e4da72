/* The Compare page, shared by its files: page_compare.c (state, keys, rows) and compare_totals.c.
 */
#ifndef TUI_COMPARE_PAGE_H
#define TUI_COMPARE_PAGE_H

#include "compare/compare.h"
#include "tui/app.h"
#include "tui/fmt.h"

enum { COMPARE_X = 3 }; /* where its texts begin */

struct compare_page {
	char other[ID_SIZE]; /* A; "" while it follows the reference */
	bool changed_first;
	int cursor, top, screenful;
	bool stale, ready;        /* ready: `compare` holds figures */
	struct compare compare;   /* owned */
	struct fmt_widths widths; /* of the car */
	size_t n_rows;
	struct group *groups; /* owned, the car's order */
	size_t *order;        /* owned [n_rows] */
	char stint[400];
	bool stint_waits; /* its intervals take many draws: computed when no key waits */
	char why[300];    /* why there are no figures */
};

/* Where there are no figures, why. `other` is A. */
void compare_draw_totals(const struct app *app, const struct compare_page *s,
	const struct sheet *other, struct area a);

#endif
