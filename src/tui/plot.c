#include "tui/plot.h"

#include "tui/term.h"

#include <math.h>
#include <stdlib.h>

enum { PLOT_MIN_W = 8, PLOT_MIN_H = 2, PLOT_MAX_W = 512 };

static void draw_axes(const struct plot *p)
{
	int x0 = p->in.x - 1, bottom = p->in.y + p->in.h;
	for (int y = 0; y < p->in.h; y++)
		scr_glyph(p->in.y + y, x0, DIM, 0x2502, '|');
	scr_glyph(bottom, x0, DIM, 0x2514, '+');
	unsigned line[PLOT_MAX_W];
	for (int x = 0; x < p->in.w; x++)
		line[x] = 0x2500;
	scr_glyphs(bottom, x0 + 1, p->in.w, DIM, line, '-');
}

bool plot_begin(struct plot *p, struct area a, double x0, double x1, double y0, double y1)
{
	const int w = a.w - 1 < PLOT_MAX_W ? a.w - 1 : PLOT_MAX_W;
	p->in = (struct area){a.y, a.x + 1, a.h - 1, w};
	p->x0 = x0;
	p->x1 = x1 != x0 ? x1 : x0 + 1;
	p->y0 = y0;
	p->y1 = y1 != y0 ? y1 : y0 + 1;
	p->braille = term_is_utf8();
	p->dots = NULL;
	if (p->in.w < PLOT_MIN_W || p->in.h < PLOT_MIN_H)
		return false;
	p->dots = calloc((size_t)p->in.w * (size_t)p->in.h, 1);
	if (!p->dots)
		return false;
	draw_axes(p);
	return true;
}

/* Position in fine steps from the top left; false outside. */
static bool place(
	const struct plot *p, double x, double y, int fine_x, int fine_y, int *px, int *py)
{
	double fx = (x - p->x0) / (p->x1 - p->x0), fy = (y - p->y1) / (p->y0 - p->y1);
	if (!isfinite(fx) || !isfinite(fy))
		return false;
	int w = p->in.w * fine_x, h = p->in.h * fine_y;
	bool in = fx >= 0 && fx <= 1 && fy >= 0 && fy <= 1;
	fx = fx < 0 ? 0 : fx > 1 ? 1 : fx;
	fy = fy < 0 ? 0 : fy > 1 ? 1 : fy;
	*px = (int)lround(fx * (w - 1));
	*py = (int)lround(fy * (h - 1));
	return in;
}

static void set_dot(struct plot *p, int px, int py)
{
	static const unsigned char bits[4][2] = {
		{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}};
	if (p->braille)
		p->dots[(py / 4) * p->in.w + px / 2] |= bits[py % 4][px % 2];
	else
		p->dots[py * p->in.w + px] = 1;
}

void plot_line(struct plot *p, double x0, double y0, double x1, double y1)
{
	int ax, ay, bx, by, fx = p->braille ? 2 : 1, fy = p->braille ? 4 : 1;
	if (!p->dots || !place(p, x0, y0, fx, fy, &ax, &ay) || !place(p, x1, y1, fx, fy, &bx, &by))
		return;
	int n = abs(bx - ax) > abs(by - ay) ? abs(bx - ax) : abs(by - ay);
	for (int i = 0; i <= n; i++)
		set_dot(p, n ? ax + (bx - ax) * i / n : ax, n ? ay + (by - ay) * i / n : ay);
}

static void draw_dots(const struct plot *p, enum style style)
{
	unsigned row[PLOT_MAX_W];
	for (int y = 0; p->dots && y < p->in.h; y++) {
		for (int x = 0; x < p->in.w; x++) {
			const unsigned char d = p->dots[y * p->in.w + x];
			row[x] = d ? 0x2800u + d : 0;
		}
		scr_glyphs(p->in.y + y, p->in.x, p->in.w, style, row, '.');
	}
}

void plot_end(struct plot *p, enum style style)
{
	draw_dots(p, style);
}

/* The cell that a dot there would be in, from the top left; false: nowhere. */
static bool cell_of(const struct plot *p, double x, double y, int *cx, int *cy)
{
	int px = 0, py = 0, fx = p->braille ? 2 : 1, fy = p->braille ? 4 : 1;
	if (!p->dots || !isfinite(x) || !isfinite(y))
		return false;
	place(p, x, y, fx, fy, &px, &py);
	*cx = px / fx;
	*cy = py / fy;
	return true;
}

void plot_mark(const struct plot *p, double x, double y, char mark, enum style style)
{
	int cx, cy;
	if (cell_of(p, x, y, &cx, &cy))
		scr_glyph(p->in.y + cy, p->in.x + cx, style, (unsigned char)mark, mark);
}

bool *plot_taken(const struct plot *p)
{
	const size_t n = (size_t)p->in.w * (size_t)p->in.h;
	bool *taken = p->dots ? calloc(n + 1, sizeof *taken) : NULL;
	for (size_t i = 0; taken && i < n; i++)
		taken[i] = p->dots[i] != 0;
	return taken;
}

void plot_take(const struct plot *p, double x, double y, bool *taken)
{
	int cx, cy;
	if (cell_of(p, x, y, &cx, &cy))
		taken[cy * p->in.w + cx] = true;
}

/* Are w cells from column x on free, and one more on either side? */
static bool is_free(const struct plot *p, int x, int y, int w, int mark, const bool *taken)
{
	if (x < 0 || x + w > p->in.w)
		return false;
	for (int i = x - 1; i <= x + w; i++)
		if (i >= 0 && i < p->in.w && i != mark && taken[y * p->in.w + i])
			return false;
	return true;
}

bool plot_label(
	const struct plot *p, double x, double y, const char *text, enum style style, bool *taken)
{
	int cx, cy, w = scr_width(text);
	if (!cell_of(p, x, y, &cx, &cy))
		return false;
	int at = is_free(p, cx + 1, cy, w, cx, taken)   ? cx + 1
		 : is_free(p, cx - w, cy, w, cx, taken) ? cx - w
							: -1;
	if (at < 0)
		return false;
	scr_text(p->in.y + cy, p->in.x + at, w, style, text);
	for (int i = at; i < at + w; i++)
		taken[cy * p->in.w + i] = true;
	return true;
}

void plot_free(struct plot *p)
{
	free(p->dots);
	p->dots = NULL;
}

void plot_bar(int y, int x, int w, const double *value, const double *ends, double scale)
{
	const int half = w / 2;
	scr_glyph(y, x + half, DIM, 0x2502, '|');
	if (!value)
		return;
	if (ends) {
		const int from = (int)lround(fmax(-1, ends[0] / scale) * half);
		const int to = (int)lround(fmin(1, ends[1] / scale) * half);
		for (int i = from; i <= to; i++)
			if (i != 0 || (from <= 0 && to >= 0))
				scr_glyph(y, x + half + i, PLAIN, i == 0 ? 0x253c : 0x2500,
					i == 0 ? '+' : '-');
	}
	const double at = fmax(-1, fmin(1, *value / scale));
	scr_glyph(y, x + half + (int)lround(at * half), BOLD, 'o', 'o');
}
