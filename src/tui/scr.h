/*
 * Putting text on the screen. Every text passes the sanitiser of base/text.h on its
 * way, so no byte of a file reaches the terminal raw. What is wider than its room is cut, and
 * ends in ~ so that it does not pass for the whole; neither a wide character nor what was made
 * visible in several (<202E>) is halved. Where the terminal shows no UTF-8, ASCII stands in.
 *
 * Nothing is painted at once. A line keeps the pieces put on it since it was last blanked,
 * and scr_stage() gives curses the lines whose pieces are not those it has: who draws need
 * not know what is on the screen already. Later pieces of a line go over earlier ones.
 */
#ifndef TUI_SCR_H
#define TUI_SCR_H

#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

/* Colour never carries meaning alone: each style goes with a word or a mark. */
enum style { PLAIN, BOLD, DIM, ACCENT, WARN, STYLES };

struct area {
	int y, x, h, w;
};

/* After term_open(): sets the styles up; false: out of memory. */
bool scr_open(void);
void scr_close(void);
int scr_rows(void);
int scr_cols(void);

/* Everything blank (costs nothing where the same is put there again). */
void scr_erase(void);
/* Blank whole lines. */
void scr_erase_lines(int y, int n);
/* Blank a part of the screen. */
void scr_blank(struct area a);

/* Text at (y, x), at most `width` columns. Returns the columns used. */
int scr_text(int y, int x, int width, enum style style, const char *text);
int scr_printf(int y, int x, int width, enum style style, const char *fmt, ...)
	__attribute__((format(printf, 5, 6)));
/* Ending at column x + width, or at the screen's edge. */
void scr_right(int y, int x, int width, enum style style, const char *text);
/* A figure of a column whose points stand under each other: room for `most` decimals is kept,
 * where the whole figure has it. */
void scr_point(int y, int x, int width, enum style style, const char *text, int decimals, int most);
/* One character: `wide` where the terminal shows UTF-8, else `plain`. */
void scr_glyph(int y, int x, enum style style, unsigned wide, char plain);
/* n of them from x on; 0 in `wide`: that place stays as it is. */
void scr_glyphs(int y, int x, int n, enum style style, const unsigned *wide, char plain);
/* Text broken at blanks into lines of `width`, at most `lines` of them, the last one cut where
 * there is more; returns the lines used. */
int scr_wrap(int y, int x, int width, int lines, enum style style, const char *text);

/*
 * What was drawn between keep and end, to be put there again while what it says stays the same.
 * Begin with {0}; scr_again() is false where nothing is kept or all was forgotten since: draw then.
 * Keeping does not nest.
 */
struct scr_kept {
	struct buf pieces;  /* owned; failed: some are missing */
	unsigned long made; /* 0: nothing is kept */
};
void scr_keep(struct scr_kept *k);
void scr_keep_end(void);
bool scr_again(const struct scr_kept *k);
void scr_kept_drop(struct scr_kept *k);

/* Columns that a text takes once it is made safe. */
int scr_width(const char *text);

/* Paint every line at the next staging, also what curses should have already; nothing is kept. */
void scr_forget(void);
/* Stage the frame; with a cursor where a field is being typed (y < 0: none). */
void scr_stage(int cursor_y, int cursor_x);

#endif
