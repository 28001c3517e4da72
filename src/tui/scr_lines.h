/*
 * What stands on each line of the screen: the pieces put on it since it was last blanked,
 * in their order, and those that curses was last given. scr.c and nobody else uses this.
 */
#ifndef TUI_SCR_LINES_H
#define TUI_SCR_LINES_H

#include "tui/scr.h"

/* Make the styles, and room for as many lines as the terminal has; false: out of memory. */
bool lines_open(void);
void lines_close(void);

/* Take every piece off line y; lines outside the screen are passed over, here and below. */
void lines_blank(int y);
/* Put a piece on line y: as much of a text of len bytes as fits into cols columns from x on. */
void lines_add(int y, int x, int cols, enum style style, const char *text, size_t len);
/* Take nothing for granted: the next painting gives curses every line. */
void lines_forget(void);
/* Also put what is added from now on into `to`, until NULL; and put all of it there again. */
void lines_copy(struct buf *to);
void lines_add_again(const struct buf *copied);
/* Give curses the lines that are not as it has them. */
void lines_paint(void);

/* Columns that a text takes once it is safe and cut at `width`; *used: its bytes up to the cut. */
int lines_width(const char *text, size_t len, int width, size_t *used);

#endif
