#include "report/svg.h"

#include "base/fix.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void svg_escape(struct buf *out, const char *text)
{
	const size_t len = strlen(text), size = 8 * len + 16;
	char *safe = malloc(size);
	if (!safe) {
		out->failed = true;
		return;
	}
	text_safe(safe, size, text, len);
	for (const char *s = safe; *s; s++) {
		const char *as = *s == '&'   ? "&amp;"
				 : *s == '<' ? "&lt;"
				 : *s == '>' ? "&gt;"
				 : *s == '"' ? "&quot;"
					     : NULL;
		if (as)
			buf_adds(out, as);
		else
			buf_add(out, s, 1);
	}
	free(safe);
}

void svg_open(struct buf *out, double width, double height, const char *title)
{
	buf_addf(out,
		"<svg viewBox=\"0 0 %.0f %.0f\" role=\"img\" font-size=\"12\" "
		"font-family=\"system-ui,sans-serif\"><title>",
		width, height);
	svg_escape(out, title);
	buf_adds(out, "</title>\n");
}

void svg_close(struct buf *out)
{
	buf_adds(out, "</svg>");
}

double svg_x(const struct svg_plane *p, double x)
{
	return p->left + (x - p->x_lo) / (p->x_hi - p->x_lo) * (p->right - p->left);
}

double svg_y(const struct svg_plane *p, double y)
{
	return p->bottom - (y - p->y_lo) / (p->y_hi - p->y_lo) * (p->bottom - p->top);
}

void svg_range(double *lo, double *hi)
{
	double margin = 0.06 * (*hi - *lo);
	if (!(margin > 0))
		margin = fabs(*lo) > 0 ? 0.05 * fabs(*lo) : 1;
	*lo -= margin;
	*hi += margin;
}

void svg_text(
	struct buf *out, double x, double y, const char *anchor, const char *css, const char *text)
{
	buf_addf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\" fill=\"var(%s)\">", x, y,
		anchor, css);
	svg_escape(out, text);
	buf_adds(out, "</text>\n");
}

static void segment(struct buf *out, double x1, double y1, double x2, double y2, const char *css)
{
	buf_addf(out,
		"<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" stroke=\"var(%s)\"/>\n", x1,
		y1, x2, y2, css);
}

/* A round step of 1, 2 or 5 that gives about five ticks. */
static double tick_step(double lo, double hi)
{
	const double rough = (hi - lo) / 5, power = pow(10, floor(log10(rough))),
		     unit = rough / power;
	return power * (unit < 1.5 ? 1 : unit < 3.5 ? 2 : unit < 7.5 ? 5 : 10);
}

static int tick_decimals(double step)
{
	int decimals = 0;
	while (decimals < 6 &&
		fabs(step * pow(10, decimals) - round(step * pow(10, decimals))) > 1e-6)
		decimals++;
	return decimals;
}

static void tick_words(double v, double step, bool lap_time, char *buf, size_t size)
{
	const int decimals = tick_decimals(step);
	if (lap_time)
		laptime_tell(v, decimals < 3 ? decimals : 3, buf, size);
	else
		snprintf(buf, size, "%.*f", decimals, fabs(v) < step * 1e-9 ? 0.0 : v);
}

void svg_axes(struct buf *out, const struct svg_plane *p, const char *x_label, const char *y_label)
{
	char words[40];
	segment(out, p->left, p->bottom, p->right, p->bottom, "--line");
	segment(out, p->left, p->top, p->left, p->bottom, "--line");
	double step = tick_step(p->x_lo, p->x_hi);
	for (long k = lround(ceil(p->x_lo / step)); (double)k * step <= p->x_hi; k++) {
		const double t = (double)k * step;
		segment(out, svg_x(p, t), p->bottom, svg_x(p, t), p->bottom + 4, "--line");
		tick_words(t, step, false, words, sizeof words);
		svg_text(out, svg_x(p, t), p->bottom + 17, "middle", "--dim", words);
	}
	step = tick_step(p->y_lo, p->y_hi);
	for (long k = lround(ceil(p->y_lo / step)); (double)k * step <= p->y_hi; k++) {
		const double t = (double)k * step;
		segment(out, p->left - 4, svg_y(p, t), p->left, svg_y(p, t), "--line");
		tick_words(t, step, p->y_lap_time, words, sizeof words);
		svg_text(out, p->left - 7, svg_y(p, t) + 4, "end", "--dim", words);
	}
	svg_text(out, p->right, p->bottom + 33, "end", "--dim", x_label);
	svg_text(out, p->left, p->top - 8, "start", "--dim", y_label);
}

void svg_line(struct buf *out, const struct svg_plane *p, const double *x, const double *y,
	size_t n, const char *css, bool dashed)
{
	if (n == 0)
		return;
	buf_addf(out, "<polyline fill=\"none\" stroke=\"var(%s)\" stroke-width=\"1.6\"%s points=\"",
		css, dashed ? " stroke-dasharray=\"5 4\"" : "");
	for (size_t i = 0; i < n; i++)
		buf_addf(out, "%.1f,%.1f ", svg_x(p, x[i]), svg_y(p, y[i]));
	buf_adds(out, "\"/>\n");
}

void svg_mark(struct buf *out, const struct svg_plane *p, double x, double y, enum svg_mark mark,
	const char *css, const char *title)
{
	const double cx = svg_x(p, x), cy = svg_y(p, y);
	switch (mark) {
	case MARK_CROSS:
		buf_addf(out,
			"<path d=\"M%.1f %.1fl7 7m0 -7l-7 7\" stroke=\"var(%s)\" fill=\"none\">",
			cx - 3.5, cy - 3.5, css);
		break;
	case MARK_CIRCLE:
	case MARK_DISC:
		buf_addf(out,
			"<path d=\"M%.1f %.1fa5 5 0 1 0 10 0a5 5 0 1 0 -10 0\" stroke=\"var(%s)\" "
			"stroke-width=\"1.8\" fill=\"%s%s%s\">",
			cx - 5, cy, css, mark == MARK_DISC ? "var(" : "var(--paper",
			mark == MARK_DISC ? css : "", ")");
		break;
	case MARK_DIAMOND:
		buf_addf(out,
			"<path d=\"M%.1f %.1fl4.5 4.5l-4.5 4.5l-4.5 -4.5z\" fill=\"var(%s)\">", cx,
			cy - 4.5, css);
		break;
	}
	buf_adds(out, "<title>");
	svg_escape(out, title);
	buf_adds(out, "</title></path>\n");
}
