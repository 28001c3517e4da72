/*
 * What the files of the terminal share and nobody else needs: term.c opens and closes,
 * term_output.c sends updates, term_input.c makes keys of bytes, term_paste.c keeps
 * what is pasted. None of these may be called before term_open().
 */
#ifndef TUI_TERM_OWN_H
#define TUI_TERM_OWN_H

#include "tui/term.h"

#include "base/text.h"

#include <curses.h>
#include <stddef.h>
#include <termios.h>

/* Codes for the brackets of a paste, beyond curses' own and beyond ours. */
enum { CODE_PASTE_START = 2000, CODE_PASTE_END, IN_PASTE_START = K_NAMED + 100, IN_PASTE_END };

enum { PASTE_MAX = 64 * 1024 }; /* bytes kept of one paste, and keys read ahead */

/* The curses screen and what belongs to it: the one place with state of its own. */
struct terminal {
	bool open, utf8, colour, joined;
	SCREEN *screen; /* owned, as are keys, out and the descriptors */
	WINDOW *keys;   /* a pad, so that reading keys never paints */
	FILE *out;      /* what ncurses writes to; its descriptor is swapped */
	int sink;       /* memory file that takes an update; -1 where there is none */
	int pipe[2];    /* that takes it in half the time, where it surely has room; -1: none */
	bool piped;     /* it does */
	int tty;        /* the terminal */
	struct termios shell, program;
	int *queue; /* owned: keys read and not yet told */
	size_t head, n, cap;
	long long esc_at;  /* when a lone Esc was told, ms */
	bool after_esc;    /* the next key is the first after it */
	struct buf pasted; /* the text of the last paste */
	char *update;      /* owned: room for one update */
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

/* Take what the terminal has sent into the queue. */
void term_fill(void);
/* Wait for bytes from the terminal; false on timeout, a signal, or a dead line. */
bool term_wait_bytes(int timeout_ms);
/* The next key of the queue, waiting for it at most ms; K_NONE if none came. */
int term_next_key(int ms);
/* After the mark that begins a paste: keep its text up to its end. Returns K_PASTE. */
int term_read_paste(void);

/* What base/watch.h has to say is said on the last row while the terminal is ours. */
void term_watch_open(void);
void term_watch_close(void);
/* Each wait for the terminal ends a busy time and begins the next: after false comes true. */
void term_watch_busy(bool busy);
/* Something was said since this was last asked: the screen must be painted whole. */
bool term_watch_told(void);

#endif
