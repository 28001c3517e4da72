#include "tui/term_own.h"

enum {
	PASTE_QUIET_MS = 40,   /* after an end mark: is it the last one? */
	PASTE_STALL_MS = 5000, /* a paste whose end never comes */
};

static void paste_add(int key)
{
	if (key >= K_NAMED || terminal.pasted.len >= PASTE_MAX)
		return;
	char utf8[4];
	buf_add(&terminal.pasted, utf8, text_utf8_put((unsigned)key, utf8));
}

/*
 * An end mark inside the pasted text must not turn the rest into commands: the
 * paste goes on to the last end mark among what follows without a pause.
 */
static bool another_end_follows(void)
{
	do {
		term_fill();
		for (size_t i = terminal.head; i < terminal.n; i++) {
			if (terminal.queue[i] == IN_PASTE_START)
				return false;
			if (terminal.queue[i] == IN_PASTE_END)
				return true;
		}
	} while (terminal.n - terminal.head < PASTE_MAX && term_wait_bytes(PASTE_QUIET_MS));
	return false;
}

int term_read_paste(void)
{
	buf_free(&terminal.pasted);
	buf_init(&terminal.pasted);
	for (;;) {
		int key = term_next_key(PASTE_STALL_MS);
		if (key == K_NONE || (key == IN_PASTE_END && !another_end_follows()))
			return K_PASTE;
		paste_add(key == K_ESC ? ' ' : key);
	}
}

const char *term_pasted(size_t *len)
{
	*len = terminal.pasted.len;
	return terminal.pasted.data ? terminal.pasted.data : "";
}
