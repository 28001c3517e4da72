#include "tui/scr.h"

#include "base/text.h"
#include "tui/scr_lines.h"
#include "tui/term.h"

#include <curses.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { LINE_MAX_BYTES = 2048, NO_CUT = 1 << 20 };

/* How often all was forgotten, from 1: what was kept before that does not stand. */
static unsigned long forgotten = 1;

bool scr_open(void)
{
	return lines_open();
}

void scr_close(void)
{
	lines_close();
}

int scr_rows(void)
{
	return LINES;
}

int scr_cols(void)
{
	return COLS;
}

void scr_erase(void)
{
	scr_erase_lines(0, LINES);
}

void scr_erase_lines(int y, int n)
{
	for (int i = y; i < y + n; i++)
		lines_blank(i);
}

void scr_blank(struct area a)
{
	for (int y = a.y; y < a.y + a.h; y++)
		scr_printf(y, a.x, a.w, PLAIN, "%*s", a.w, "");
}

int scr_text(int y, int x, int width, enum style style, const char *text)
{
	if (y < 0 || y >= LINES || x < 0 || x >= COLS || width <= 0)
		return 0;
	if (width > COLS - x)
		width = COLS - x;
	const size_t all = strlen(text), len = all < LINE_MAX_BYTES ? all : LINE_MAX_BYTES;
	size_t used;
	int cols = lines_width(text, len, width, &used);
	if (used == all || strspn(text + used, " ") == all - used) {
		lines_add(y, x, cols, style, text, used);
		return cols;
	}
	char cut[LINE_MAX_BYTES + 1]; /* what is cut must not pass for the whole */
	cols = lines_width(text, len, width - 1, &used);
	memcpy(cut, text, used);
	cut[used] = '~';
	lines_add(y, x, cols + 1, style, cut, used + 1);
	return cols + 1;
}

int scr_printf(int y, int x, int width, enum style style, const char *fmt, ...)
{
	char line[LINE_MAX_BYTES];
	va_list ap;
	va_start(ap, fmt);
	vsnprintf(line, sizeof line, fmt, ap);
	va_end(ap);
	return scr_text(y, x, width, style, line);
}

int scr_width(const char *text)
{
	size_t used;
	return lines_width(text, strlen(text), NO_CUT, &used);
}

void scr_right(int y, int x, int width, enum style style, const char *text)
{
	if (width > COLS - x)
		width = COLS - x;
	int w = scr_width(text);
	int pad = w < width ? width - w : 0;
	scr_text(y, x + pad, width - pad, style, text);
}

void scr_point(int y, int x, int width, enum style style, const char *text, int decimals, int most)
{
	int pad = most - decimals + (decimals == 0 && most > 0 ? 1 : 0);
	const int spare = width - scr_width(text); /* the whole figure before its place */
	pad = pad > spare ? spare : pad;
	scr_right(y, x, width - (pad > 0 ? pad : 0), style, text);
}

void scr_glyphs(int y, int x, int n, enum style style, const unsigned *wide, char plain)
{
	const bool utf8 = term_is_utf8();
	if (x < 0)
		return;
	if (n > COLS - x)
		n = COLS - x;
	for (int i = 0; i < n;) { /* a piece for each stretch without a gap */
		char text[256];
		size_t len = 0;
		const int start = i;
		for (; i < n && wide[i] && len + 4 <= sizeof text; i++) {
			if (utf8)
				len += text_utf8_put(wide[i], text + len);
			else
				text[len++] = plain;
		}
		if (len > 0)
			lines_add(y, x + start, i - start, style, text, len);
		else
			i++;
	}
}

void scr_glyph(int y, int x, enum style style, unsigned wide, char plain)
{
	scr_glyphs(y, x, 1, style, &wide, plain);
}

/* Bytes of a text's first line of `width` columns, broken at a blank where there is one. */
static size_t line_length(const char *text, int width)
{
	size_t n = 0, last = 0; /* bytes that fit; up to the last blank among them */
	char line[LINE_MAX_BYTES];
	while (text[n] && text[n] != '\n' && n + 1 < sizeof line) {
		line[n] = text[n];
		line[n + 1] = '\0';
		if (((text[n + 1] & 0xc0) != 0x80) && scr_width(line) > width)
			break;
		n++;
		if (text[n] == ' ' || text[n] == '\n' || text[n] == '\0')
			last = n;
	}
	if (text[n] && text[n] != '\n' && last > 0)
		n = last;
	return n == 0 && *text && *text != '\n' ? 1 : n;
}

/* All that is left on one line, as far as it goes. */
static void put_rest(int y, int x, int width, enum style style, const char *text)
{
	char line[LINE_MAX_BYTES];
	snprintf(line, sizeof line, "%s", text);
	for (char *c = line; (c = strchr(c, '\n')) != NULL;)
		*c = ' ';
	scr_text(y, x, width, style, line);
}

int scr_wrap(int y, int x, int width, int lines, enum style style, const char *text)
{
	int used = 0;
	while (*text && used < lines && width > 0) {
		while (*text == ' ')
			text++;
		const size_t n = line_length(text, width);
		if (used + 1 == lines && text[n]) {
			put_rest(y + used, x, width, style, text);
			return lines;
		}
		scr_printf(y + used, x, width, style, "%.*s", (int)n, text);
		used++;
		text += n;
		if (*text == '\n')
			text++;
	}
	return used;
}

void scr_keep(struct scr_kept *k)
{
	k->pieces.len = 0;
	k->pieces.failed = false;
	k->made = forgotten;
	lines_copy(&k->pieces);
}

void scr_keep_end(void)
{
	lines_copy(NULL);
}

bool scr_again(const struct scr_kept *k)
{
	if (k->made != forgotten || k->pieces.failed)
		return false;
	lines_add_again(&k->pieces);
	return true;
}

void scr_kept_drop(struct scr_kept *k)
{
	buf_free(&k->pieces);
	k->made = 0;
}

void scr_forget(void)
{
	forgotten++;
	lines_forget();
}

void scr_stage(int cursor_y, int cursor_x)
{
	lines_paint();
	bool shown = cursor_y >= 0 && cursor_y < LINES && cursor_x < COLS;
	term_cursor(shown);
	if (shown)
		move(cursor_y, cursor_x);
	wnoutrefresh(stdscr);
}
