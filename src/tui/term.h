/*
 * The terminal: opening and restoring it, keys, signals, and one write per
 * update. Only term*.c and scr.c know curses.
 *
 * ncurses paints into a pipe or a memory file and term_update() sends that to the terminal
 * in one write, after polling that the terminal takes it: a stalled link cannot
 * hold the program inside ncurses, and an update is one packet where ncurses alone
 * writes at every cursor move.
 *
 * Call order: term_open(), then any of the others, then term_close().
 */
#ifndef TUI_TERM_H
#define TUI_TERM_H

#include "base/err.h"
#include "tui/keys.h"

/* False with a one-sentence error: no terminal, or one that cannot place its cursor.
 * Touches nothing, so that it can be asked before any file is. */
bool term_check(struct err *err);
/* Take the terminal. Call after term_check(). */
bool term_open(struct err *err);
/* Restores the terminal. May be called twice. */
void term_close(void);

bool term_is_utf8(void);
bool term_has_colour(void);

enum term_event {
	TERM_KEYS = 1,   /* keys wait */
	TERM_RESIZE = 2, /* the size changed: draw everything */
	TERM_STOP = 4,   /* asked to pause: call term_suspend() */
	TERM_RESUME = 8, /* was stopped from outside: draw everything afresh */
	TERM_END = 16,   /* told to end, or the line is gone */
};
/* Wait for something, at most timeout_ms (-1: for ever). Returns a mask; 0 on timeout. */
unsigned term_wait(int timeout_ms);
/* True if a key can be read without waiting. */
bool term_keys_waiting(void);
/* Is there one among those that were read already? */
bool term_keys_read(void);
/* The next key, as decode.h tells them; K_NONE if none waits. */
int term_key(void);
/* The text of the last K_PASTE: owned by the terminal, until the next key. NULL: no memory for it.
 */
const char *term_pasted(size_t *len);

/* Send what was painted. False if the terminal is gone or the program must end. */
bool term_update(void);
/* Give the terminal back, stop, and take it again when continued. False if no shell is there that
 * could continue us: then nothing was stopped. */
bool term_suspend(void);
/* Paint the whole screen at the next update. */
void term_repaint(void);
void term_cursor(bool visible);

/* The signal that told the program to end; 0 if none did. */
int term_end_signal(void);

#endif
