/*
 * A small picture: dots and marks over two axes. Braille dots (2 by 4 to a
 * character) where the terminal shows UTF-8, one plain character a cell otherwise.
 *
 * Call order: plot_begin(), any of plot_line(), plot_mark(), plot_end().
 */
#ifndef TUI_PLOT_H
#define TUI_PLOT_H

#include "tui/scr.h"

struct plot {
	struct area in; /* the canvas, without axes and labels */
	double x0, x1, y0, y1;
	bool braille;
	unsigned char *dots; /* owned [in.h * in.w]: the dots of a cell */
};

/*
 * Axes and labels in the area, values from x0 to x1 left to right and y0 to y1 bottom
 * to top (y0 > y1 turns it over). False if the area is too small or memory is short:
 * then nothing is drawn.
 */
bool plot_begin(struct plot *p, struct area a, double x0, double x1, double y0, double y1);
/* Both ends inside; else nothing is drawn. */
void plot_line(struct plot *p, double x0, double y0, double x1, double y1);
/* Paint the dots; then marks go on top of them. */
void plot_end(struct plot *p, enum style style);
/* One letter; outside the picture it stands at the border. */
void plot_mark(const struct plot *p, double x, double y, char mark, enum style style);
/*
 * Labels that hide nothing: plot_taken() gives a map of the cells with dots (caller frees; NULL:
 * out of memory), plot_take() adds a mark's cell, plot_label() writes a text right of a mark, else
 * left of it, where all its cells are free, and takes them; false: no room.
 */
bool *plot_taken(const struct plot *p);
void plot_take(const struct plot *p, double x, double y, bool *taken);
bool plot_label(
	const struct plot *p, double x, double y, const char *text, enum style style, bool *taken);
void plot_free(struct plot *p);
/* On one line of w columns from -scale to scale: an interval as a line, its estimate as 'o', nought
 * as '|'; NULL: not known, no interval. */
void plot_bar(int y, int x, int w, const double *value, const double *ends, double scale);

#endif
