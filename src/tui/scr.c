#include "tui/scr.h"

#include "base/text.h"
#include "tui/term.h"

#include <curses.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <wchar.h>

enum { LINE_MAX_BYTES = 2048 };

static attr_t attrs[STYLES];
static short pairs[STYLES];

void scr_open(void)
{
	attr_t has = termattrs();
	attrs[BOLD] = A_BOLD & has;
	attrs[DIM] = A_DIM & has;
	attrs[ACCENT] = A_BOLD & has;
	attrs[WARN] = A_BOLD & has;
	if (!term_has_colour())
		return;
	init_pair(1, COLOR_CYAN, -1);
	init_pair(2, COLOR_YELLOW, -1);
	pairs[ACCENT] = 1;
	pairs[WARN] = 2;
	attrs[ACCENT] = 0;
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
	erase();
}

void scr_erase_lines(int y, int n)
{
	attr_set(A_NORMAL, 0, NULL);
	for (int i = y < 0 ? 0 : y; i < y + n && i < LINES; i++) {
		move(i, 0);
		clrtoeol();
	}
}

void scr_blank(struct area a)
{
	for (int y = a.y; y < a.y + a.h && y < LINES; y++)
		if (y >= 0 && a.w > 0)
			mvhline(y, a.x, ' ', a.w);
}

/* ASCII as cells: skips what waddnstr() does for every character. */
static void put_ascii(int y, int x, int n, enum style style, const char *text)
{
	chtype cells[256], attr = attrs[style] | COLOR_PAIR(pairs[style]);
	for (int done = 0; done < n;) {
		int part = n - done < 256 ? n - done : 256;
		for (int i = 0; i < part; i++)
			cells[i] = (unsigned char)text[done + i] | attr;
		mvaddchnstr(y, x + done, cells, part);
		done += part;
	}
}

static bool plain_ascii(const char *s, size_t *len)
{
	const char *p = s;
	for (; *p; p++)
		if (*p < 0x20 || *p > 0x7e)
			return false;
	*len = (size_t)(p - s);
	return true;
}

/* Safe text as wide characters, cut at `width` columns. Returns the columns. */
static int make_wide(const char *text, int width, wchar_t *out, size_t room, size_t *n_out)
{
	char safe[LINE_MAX_BYTES];
	size_t len = term_is_utf8() ? text_safe(safe, sizeof safe, text, strlen(text))
				    : text_safe_ascii(safe, sizeof safe, text, strlen(text));
	int cols = 0;
	size_t n = 0;
	for (size_t i = 0; i < len && n + 1 < room;) {
		unsigned c;
		size_t used = text_utf8_next(safe + i, len - i, &c);
		if (!used)
			break;
		int w = wcwidth((wchar_t)c);
		if (w < 0) { /* this machine's tables do not know it */
			c = '?';
			w = 1;
		}
		if (cols + w > width)
			break;
		out[n++] = (wchar_t)c;
		cols += w;
		i += used;
	}
	out[n] = L'\0';
	*n_out = n;
	return cols;
}

int scr_text(int y, int x, int width, enum style style, const char *text)
{
	if (y < 0 || y >= LINES || x < 0 || x >= COLS || width <= 0)
		return 0;
	if (width > COLS - x)
		width = COLS - x;
	size_t len;
	if (plain_ascii(text, &len)) {
		int n = len < (size_t)width ? (int)len : width;
		put_ascii(y, x, n, style, text);
		return n;
	}
	attr_set(attrs[style], pairs[style], NULL);
	wchar_t wide[LINE_MAX_BYTES];
	size_t n;
	int cols = make_wide(text, width, wide, LINE_MAX_BYTES, &n);
	mvaddnwstr(y, x, wide, (int)n);
	return cols;
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
	size_t len;
	if (plain_ascii(text, &len))
		return (int)len;
	wchar_t wide[LINE_MAX_BYTES];
	return make_wide(text, LINE_MAX_BYTES, wide, LINE_MAX_BYTES, &len);
}

void scr_right(int y, int x, int width, enum style style, const char *text)
{
	int w = scr_width(text);
	int pad = w < width ? width - w : 0;
	scr_text(y, x + pad, width - pad, style, text);
}

void scr_point(int y, int x, int width, enum style style, const char *text, int decimals, int most)
{
	int pad = most - decimals + (decimals == 0 && most > 0 ? 1 : 0);
	scr_right(y, x, width - (pad > 0 ? pad : 0), style, text);
}

void scr_glyph(int y, int x, enum style style, unsigned wide, char plain)
{
	if (y < 0 || y >= LINES || x < 0 || x >= COLS)
		return;
	if (!term_is_utf8() || wide < 0x7f) {
		put_ascii(y, x, 1, style, &plain);
		return;
	}
	wchar_t s[2] = {(wchar_t)wide, L'\0'};
	attr_set(attrs[style], pairs[style], NULL);
	mvaddnwstr(y, x, s, 1);
}

int scr_wrap(int y, int x, int width, int lines, enum style style, const char *text)
{
	int used = 0;
	while (*text && used < lines && width > 0) {
		while (*text == ' ')
			text++;
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
		if (n == 0 && *text && *text != '\n')
			n = 1;
		line[n] = '\0';
		scr_text(y + used, x, width, style, line);
		used++;
		text += n;
		if (*text == '\n')
			text++;
	}
	return used;
}

void scr_stage(int cursor_y, int cursor_x)
{
	bool shown = cursor_y >= 0 && cursor_y < LINES && cursor_x < COLS;
	term_cursor(shown);
	if (shown)
		move(cursor_y, cursor_x);
	wnoutrefresh(stdscr);
}
