/*
 * Keys out of the bytes that a terminal sends: characters of the locale's encoding, the keys'
 * escape sequences, pasted text between its marks. Bytes may arrive in any pieces. No curses and
 * no file in here; the caller reads the bytes and tells the time.
 *
 * What a terminal says unasked, or answers to an earlier program, is no key: control strings
 * (ESC ] P _ ^ X up to BEL or ST), mouse reports (X10, urxvt, SGR), focus events and every other
 * CSI answer are dropped. Both their length and the wait for their rest are bounded.
 *
 * ESC and a character that opens no sequence are Esc and the character, also where they come
 * together: a thin line joins what was typed after one another, and nothing of that may be lost. A
 * terminal sends the same for a character with Alt.
 *
 * Esc alone is told after esc_ms. If the rest of a sequence comes later than that, but within
 * DECODE_LATE_MS, K_LATE is told before its key, or alone where it is none; if what came turns out
 * to be no sequence, it is told as the characters that it is.
 *
 * A paste ends at its mark, at Ctrl-C that comes alone after a pause, or when for PASTE_STALL_MS
 * nothing came but one key again and again. Its text is kept in UTF-8.
 *
 * Times are milliseconds of one monotonic clock.
 */
#ifndef TUI_DECODE_H
#define TUI_DECODE_H

#include "base/text.h"
#include "tui/keys.h"

#include <stdbool.h>
#include <stddef.h>
#include <wchar.h>

enum {
	DECODE_LATE_MS = 600,   /* a byte of a sequence after the one before it */
	TOGETHER_MS = 10,       /* bytes sent at once, even at 1,200 baud */
	STRING_MS = 15000,      /* a control string, all in all */
	STRING_MAX = 64 * 1024, /* its bytes */
	SEQUENCE_MAX = 256,     /* those of any other sequence */
	PASTE_QUIET_MS = 40,    /* after an end mark: is it the last one? */
	PASTE_TOLD_MS = 1000,   /* a paste that has gone quiet: K_PASTE_OPEN is told */
	PASTE_STALL_MS = 5000,  /* a paste whose end never comes */
	PASTE_ALONE_MS = 300,   /* the pause before a key that is not of the pasted text */
	PASTE_MAX = 64 * 1024,  /* bytes kept of one paste, and one more where it was longer */
	KNOWN_MAX = 192,
	KNOWN_SIZE = 12,
	HELD_SIZE = 64,
};

struct known_key {
	char bytes[KNOWN_SIZE];
	int n, key;
};

struct decoder {
	int esc_ms;
	struct known_key known[KNOWN_MAX]; /* what the terminal's description says */
	size_t n_known;

	unsigned char *raw; /* owned: bytes read and not yet decoded, from head to n */
	size_t head, n, cap;
	long long arrived, flowed; /* the last bytes; the last but one key held down */
	long long pause;           /* before the last bytes */
	unsigned char last[8];     /* they, if few */
	size_t n_last;

	int out[HELD_SIZE + 8]; /* keys decoded and not yet taken */
	size_t out_head, out_n;

	mbstate_t character;
	bool half; /* of a character has come */

	int state;                     /* see decode.c */
	unsigned char held[HELD_SIZE]; /* the sequence so far, from its ESC on; its first bytes */
	size_t n_held;                 /* all its bytes */
	long long since;               /* its last byte */
	long long began;               /* a control string's first */
	bool late, alt;                /* its Esc was told; ESC ESC */
	int mouse_left;
	bool mouse_half, esc_told;
	long long esc_at;

	int paste; /* see decode_paste.c */
	size_t mark;
	int mark_kind;
	bool paste_told;
	struct buf pasted; /* owned: the text of the last paste */
};

/* False if memory is short. Frees nothing: decode_free() does, also after that. */
bool decode_init(struct decoder *d, int esc_ms);
void decode_free(struct decoder *d);
/* A key of the terminal's description. Left out without a word if it is too long or one too many.
 */
void decode_know(struct decoder *d, const char *bytes, int key);

/* Where the next bytes go, at most *size; then say how many came. */
unsigned char *decode_room(struct decoder *d, size_t *size);
void decode_took(struct decoder *d, size_t n, long long now);

/* Is a key to be had from what has come? */
bool decode_ready(struct decoder *d);
/* Nothing more has come up to now: give up waiting for the rest where that took too long. */
void decode_overdue(struct decoder *d, long long now);
/* In how many ms there is something to give up; -1: nothing is waited for. */
int decode_due(const struct decoder *d, long long now);
/* After decode_ready() was true. K_PASTE: the text is in d->pasted until decode_ready() is called.
 */
int decode_next(struct decoder *d);

#endif
