/* What decode.c and decode_paste.c share and nobody else needs. */
#ifndef TUI_DECODE_OWN_H
#define TUI_DECODE_OWN_H

#include "tui/decode.h"

enum { ESC = 27, NO_CHARACTER = 0xfffd, PASTE_START = K_NAMED + 100 };
enum { PASTE_NONE, PASTE_INSIDE, PASTE_ENDED /* perhaps */ };

void decode_tell(struct decoder *d, int key);
/*
 * The code point that ends with this byte; -1 if it is not whole yet; NO_CHARACTER if these bytes
 * are none. *again: the byte is not of it and has to be taken once more.
 */
int decode_character(struct decoder *d, int c, bool *again);

void paste_start(struct decoder *d);
/* Take of d->raw what is there. False if more has to come. */
bool paste_step(struct decoder *d);
void paste_overdue(struct decoder *d, long long now);
int paste_due(const struct decoder *d, long long now);

#endif
