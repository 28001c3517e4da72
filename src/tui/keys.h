/*
 * Keys as the workbench knows them: a character's code point, or one of the
 * names below. Only decode.h turns what the terminal sends into these.
 */
#ifndef TUI_KEYS_H
#define TUI_KEYS_H

#include <stddef.h>

enum {
	K_NONE = 0,
	K_TAB = 9,
	K_ENTER = 10,
	K_ESC = 27,
	K_SPACE = 32,
	K_BACKSPACE = 127,
	K_NAMED = 0x200000, /* beyond Unicode */
	K_UP,
	K_DOWN,
	K_LEFT,
	K_RIGHT,
	K_HOME,
	K_END,
	K_PAGE_UP,
	K_PAGE_DOWN,
	K_DELETE,
	K_BACKTAB,
	K_PASTE,      /* pasted text waits in term_pasted() */
	K_PASTE_OPEN, /* a paste has begun and gone quiet before its end */
	K_LATE,       /* the Esc before was the beginning of what comes now, see decode.h */
	K_UNKNOWN     /* something that no action uses */
};
#define K_CTRL(c) ((c)&0x1f)

/* "Up", "Enter", "Ctrl-L", "+": what a person reads; returns buf. */
const char *key_label(int key, char *buf, size_t size);

#endif
