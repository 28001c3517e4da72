/*
 * What the files of the terminal share and nobody else needs: term.c opens and closes,
 * term_output.c sends updates, term_input.c reads bytes, which decode.h makes keys
 * of. None of these may be called before term_open().
 */
#ifndef TUI_TERM_OWN_H
#define TUI_TERM_OWN_H

#include "tui/decode.h"
#include "tui/term.h"

#include <curses.h>
#include <stddef.h>
#include <termios.h>

/* The curses screen and what belongs to it: the one place with state of its own. */
struct terminal {
	bool open, utf8, colour, joined;
	SCREEN *screen; /* owned, as are out, keys and the descriptors */
	FILE *out;      /* what ncurses writes to; its descriptor is swapped */
	int sink;       /* memory file that takes an update; -1 where there is none */
	int pipe[2];    /* that takes it in half the time, where it surely has room; -1: none */
	bool piped;     /* it does */
	int tty;        /* the terminal */
	struct termios shell, program;
	struct decoder
		keys; /* ncurses reads none: it loses half a character at the end of a read */
	char *update; /* owned: room for one update */
	size_t update_cap;
	bool gone;         /* the line is dead */
	bool plain;        /* the last attributes sent were a reset */
	bool ansi_columns; /* rows and columns are addressed as ANSI has it */
};
extern struct terminal terminal;

/* Write all of it, waiting where the terminal stalls. False if it is gone or the program
 * must end. */
bool term_write(const char *s, size_t len);
/* Point ncurses' descriptor at what takes an update, or at the terminal. */
void term_join_writes(bool on);
/* A string of the terminal's description (NULL: none) with padding left out, as far as it fits. */
void term_add_plain(char *out, size_t size, const char *s);
void term_open_sinks(void);
void term_close_sinks(void);

/* Take the terminal's size over. True if it is another one. */
bool term_follow_size(void);

/* Ready to make keys of bytes, with those of the terminal's description. False: no memory. */
bool term_open_keys(int esc_ms);

/* What base/watch.h has to say is said on the last row while the terminal is ours. */
void term_watch_open(void);
void term_watch_close(void);
/* Each wait for the terminal ends a busy time and begins the next: after false comes true. */
void term_watch_busy(bool busy);
/* Something was said since this was last asked: the screen must be painted whole. */
bool term_watch_told(void);

#endif
