/*
 * The Sheet page, shared by its files: page_sheet.c (state, moves, edits),
 * sheet_rows.c (the adjustables), sheet_told.c (what the model says), sheet_picture.c
 * (the trade-off picture and the walk along the frontier).
 */
#ifndef TUI_SHEET_H
#define TUI_SHEET_H

#include "frontier/frontier.h"
#include "tui/app.h"
#include "tui/fmt.h"
#include "tui/plot.h"

/* One row: a pair, or an adjustable without one. */
struct sheet_row {
	int pair;        /* -1 for a single */
	int front, rear; /* adjustables of a pair; a single has one of them, see below */
};
/* A single stands in the column of its axle; one of the whole car between the two. */

/* A row's line, kept while all that it says stays the same. */
enum { ROW_SAYS = 7 };
struct sheet_line {
	fix says[ROW_SAYS]; /* sheet_rows.c: what_row_says() */
	struct scr_kept kept;
};

enum { FILTER_SIZE = 64 };

/* A driven set-up on the picture. */
struct sheet_driven {
	int run; /* the first that was driven on it */
	double time, wear[CHANNELS_MAX];
	bool known[CHANNELS_MAX];
};

struct sheet_page {
	size_t n_rows, n_shown;
	struct sheet_row *rows;   /* owned, all */
	struct sheet_line *lines; /* owned, of each row */
	int *shown;               /* owned: indices of the rows that pass the filter */
	int cursor, top;          /* in shown */
	bool rear;                /* the cursor is in the rear column */
	int screenful;            /* rows shown at the last painting */
	int nudged;               /* steps of the last nudge; 0 before the first */
	struct fmt_widths widths; /* of this car */
	char filter[FILTER_SIZE];
	bool picture;   /* the picture is wanted */
	size_t channel; /* of the picture */
	size_t n_driven;
	struct sheet_driven *driven; /* owned */
	struct frontier *frontier;   /* owned; NULL: frontier_why */
	char frontier_why[200];
	bool frontier_stale;
	struct frontier_options
		bounds;        /* what the user asked of it; the rest is set when it is made */
	int point;             /* the frontier point walked to; -1 none */
	double x0, x1, y0, y1; /* of the picture; stay as they are while all is inside */
	bool scale_stale;
	struct plot plot;      /* owned: the frontier's dots, kept while the scale and room stay */
	struct scr_kept still; /* owned: what of the picture stays as long as they do */
	struct estimate at_time, at_wear; /* of the reference, with the scale */
};

struct sheet_page *sheet_page_of(struct app *app);
/* The adjustable under the cursor; -1 if no row is shown. */
int sheet_current(struct app *app);
const struct sheet_row *sheet_current_row(struct app *app);

/* Returns the first free line. */
/* Columns of the panel beside the rows, from its left edge; a name, a figure, its change, the
 * interval. */
struct told_columns {
	int name_w, value, value_w, change, change_w, interval, interval_w;
	int time_decimals;
	bool narrow;
};
/* The balance from line y on; returns the lines used, sheet_balance_height() of them or none. */
int sheet_draw_balance(const struct app *app, const struct told_columns *c, int y, int x);
int sheet_balance_height(const struct app *app);

/* Width of the rows: from `least` on up to `most` what labels and values take, up to `most_figures`
 * so that figures are whole. */
int sheet_rows_width(const struct fmt_widths *w, int least, int most, int most_figures);
int sheet_draw_rows(struct app *app, struct area a);
void sheet_draw_changes(struct app *app, struct area a);
void sheet_draw_told(struct app *app, struct area a);
/* One or two lines for narrow terminals. */
void sheet_draw_brief(struct app *app, struct area a);
/* Lines that sheet_draw_told() needs. */
int sheet_told_height(const struct app *app, int width);
void sheet_draw_picture(struct app *app, struct area a);
/* Collect the driven set-ups after a fit. False: out of memory. */
bool sheet_collect_driven(struct app *app, struct sheet_page *s);
unsigned sheet_update_frontier(struct app *app, struct sheet_page *s);

#endif
