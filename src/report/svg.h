/*
 * Small drawings in SVG for the report: a plane with axes and ticks, and what stands
 * on it. Colours are the page's own variables; shapes differ, so that nothing hangs on
 * colour. Numbers are written with a point whatever the locale.
 */
#ifndef REPORT_SVG_H
#define REPORT_SVG_H

#include "base/text.h"

/* Text for HTML and SVG: markup characters escaped, control and bidirectional characters
 * made visible, invalid bytes shown. */
void svg_escape(struct buf *out, const char *text);

/* A plane: data ranges onto a rectangle of the drawing. */
struct svg_plane {
	double width, height;            /* of the drawing, user units */
	double left, right, top, bottom; /* the rectangle */
	double x_lo, x_hi, y_lo, y_hi;   /* data at its edges */
	bool y_lap_time;                 /* y is seconds, its ticks are told as lap times */
};

void svg_open(struct buf *out, double width, double height, const char *title);
void svg_close(struct buf *out);
double svg_x(const struct svg_plane *p, double x);
double svg_y(const struct svg_plane *p, double y);
/* Widen a range by a little, and to something where it is empty. */
void svg_range(double *lo, double *hi);
/* Axes with round ticks; labels name what they show. */
void svg_axes(struct buf *out, const struct svg_plane *p, const char *x_label, const char *y_label);
/* A line through n points; dashed or not; css: a colour variable, "--ink". */
void svg_line(struct buf *out, const struct svg_plane *p, const double *x, const double *y,
	size_t n, const char *css, bool dashed);
enum svg_mark { MARK_CROSS, MARK_CIRCLE, MARK_DISC, MARK_DIAMOND };
void svg_mark(struct buf *out, const struct svg_plane *p, double x, double y, enum svg_mark mark,
	const char *css, const char *title);
/* anchor: "start", "middle" or "end"; x, y in user units. */
void svg_text(
	struct buf *out, double x, double y, const char *anchor, const char *css, const char *text);

#endif
