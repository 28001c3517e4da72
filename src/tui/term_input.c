#include "tui/term_own.h"

#include "tui/signals.h"

#include <poll.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

enum { LATE_MS = 600 }; /* pieces of an escape sequence slower than ESCDELAY */

static long long now_ms(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (long long)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static const struct {
	int code, key;
} codes[] = {
	{KEY_UP, K_UP}, {KEY_DOWN, K_DOWN}, {KEY_LEFT, K_LEFT}, {KEY_RIGHT, K_RIGHT},
	{KEY_HOME, K_HOME}, {KEY_END, K_END}, {KEY_PPAGE, K_PAGE_UP}, {KEY_NPAGE, K_PAGE_DOWN},
	{KEY_DC, K_DELETE}, {KEY_BTAB, K_BACKTAB}, {KEY_ENTER, K_ENTER},
	{KEY_SUSPEND, K_CTRL('z')}, /* the Linux console's description has it as a key */
	{KEY_BACKSPACE, K_BACKSPACE}, {CODE_PASTE_START, IN_PASTE_START},
	{CODE_PASTE_END, IN_PASTE_END}, {KEY_RESIZE, K_NONE}, /* told by the signal */
};

static int from_curses(int r, wint_t ch)
{
	if (r == KEY_CODE_YES) {
		for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++)
			if (codes[i].code == (int)ch)
				return codes[i].key;
		return K_UNKNOWN;
	}
	if (ch == 13)
		return K_ENTER;
	if (ch == 8)
		return K_BACKSPACE;
	return ch == 0 ? K_UNKNOWN : (int)ch;
}

static bool queue_room(void)
{
	if (terminal.head == terminal.n)
		terminal.head = terminal.n = 0;
	if (terminal.n < terminal.cap)
		return true;
	size_t cap = terminal.cap ? terminal.cap * 2 : 256;
	int *more = realloc(terminal.queue, cap * sizeof *more);
	if (!more)
		return false;
	terminal.queue = more;
	terminal.cap = cap;
	return true;
}

static bool bytes_waiting(void)
{
	int n = 0;
	return ioctl(STDIN_FILENO, FIONREAD, &n) != 0 || n > 0;
}

void term_fill(void)
{
	/* After plain characters alone ncurses keeps nothing back, so that it need not be asked
	 * once more where no byte waits; after Esc it may have taken bytes ahead. */
	bool plain = true;
	while (terminal.n - terminal.head < PASTE_MAX && queue_room()) {
		wint_t ch = 0;
		int r = wget_wch(terminal.keys, &ch);
		if (r == ERR)
			break;
		int key = from_curses(r, ch);
		if (key != K_NONE)
			terminal.queue[terminal.n++] = key;
		plain = plain && r == OK && ch >= ' ' && ch < 0x7f;
		if (plain && !bytes_waiting())
			break;
	}
}

/* The line is gone: readable, and nothing to read. */
static bool line_gone(short revents)
{
	if (revents & (POLLERR | POLLNVAL))
		return true;
	int n = 0;
	if (ioctl(STDIN_FILENO, FIONREAD, &n) != 0)
		return true;
	return n == 0 && (revents & (POLLHUP | POLLIN));
}

bool term_wait_bytes(int timeout_ms)
{
	struct pollfd p[2] = {{STDIN_FILENO, POLLIN, 0}, {signals_fd(), POLLIN, 0}};
	term_watch_busy(false);
	int r = poll(p, 2, timeout_ms);
	term_watch_busy(true);
	if (r > 0 && p[1].revents)
		signals_rest();
	if (r <= 0 || !p[0].revents)
		return false;
	size_t before = terminal.n - terminal.head;
	term_fill();
	if (terminal.n - terminal.head > before)
		return true;
	/* nothing came: half a character, or the end; only the end stays readable */
	if (poll(p, 1, 0) > 0 && line_gone(p[0].revents)) {
		terminal.gone = true;
		return false;
	}
	return true;
}

bool term_keys_read(void)
{
	return terminal.head < terminal.n;
}

bool term_keys_waiting(void)
{
	if (!term_keys_read())
		term_fill();
	return term_keys_read();
}

static unsigned signal_events(void)
{
	unsigned events = 0;
	unsigned seen = signals_take();
	if ((seen & SIGNALS_SIZE) && term_follow_size())
		events |= TERM_RESIZE;
	if (seen & SIGNALS_STOP)
		events |= TERM_STOP;
	if (seen & SIGNALS_CONTINUED) {
		tcsetattr(STDIN_FILENO, TCSADRAIN, &terminal.program);
		term_repaint();
		events |= TERM_RESUME;
	}
	return events;
}

unsigned term_wait(int timeout_ms)
{
	unsigned events = signal_events();
	if (term_watch_told()) {
		term_repaint();
		term_update();
	}
	if (!events && !term_keys_waiting() && !signals_end())
		term_wait_bytes(timeout_ms);
	events |= signal_events();
	if (signals_end() || terminal.gone)
		return events | TERM_END;
	return events | (term_keys_waiting() ? TERM_KEYS : 0);
}

int term_next_key(int ms)
{
	long long until = now_ms() + ms;
	while (!term_keys_waiting()) {
		long long left = until - now_ms();
		if (left <= 0 || signals_end() || terminal.gone)
			return K_NONE;
		if (!term_wait_bytes((int)left) && !terminal.gone && signals_pending())
			return K_NONE;
	}
	return terminal.queue[terminal.head++];
}

/* The key of a sequence `ESC [ ... final` or `ESC O final`. */
static int sequence_key(int final, int number)
{
	switch (final) {
	case 'A':
		return K_UP;
	case 'B':
		return K_DOWN;
	case 'C':
		return K_RIGHT;
	case 'D':
		return K_LEFT;
	case 'H':
		return K_HOME;
	case 'F':
		return K_END;
	case 'Z':
		return K_BACKTAB;
	case 'M':
		return K_ENTER;
	case '~':
		return number == 1 || number == 7   ? K_HOME
		       : number == 4 || number == 8 ? K_END
		       : number == 3                ? K_DELETE
		       : number == 5                ? K_PAGE_UP
		       : number == 6                ? K_PAGE_DOWN
		       : number == 200              ? IN_PASTE_START
		       : number == 201              ? IN_PASTE_END
						    : K_UNKNOWN;
	default:
		return K_UNKNOWN;
	}
}

/*
 * After ESC and `[` or `O`: the rest of the sequence, waiting ms for each byte.
 * K_NONE if it is none; the bytes are then back in the queue.
 */
static int read_sequence(int opener, int ms)
{
	int number = 0;
	for (size_t i = 0; i < 24; i++) {
		long long until = now_ms() + ms;
		while (terminal.head + i >= terminal.n) {
			long long left = until - now_ms();
			if (left <= 0 || signals_end() || terminal.gone ||
				!term_wait_bytes((int)left))
				return K_NONE;
		}
		int c = terminal.queue[terminal.head + i];
		if (c >= '0' && c <= '9')
			number = number > 9999 ? number : number * 10 + (c - '0');
		if (opener == 'O' || (c >= 0x40 && c <= 0x7e)) {
			if (c < 0x40 || c > 0x7e)
				return K_NONE;
			terminal.head += i + 1;
			return sequence_key(c, number);
		}
		if (c < 0x20 || c > 0x3f)
			return K_NONE;
	}
	return K_NONE;
}

/* Esc, or the rest of a sequence that ncurses does not know. */
static int read_escape(void)
{
	term_fill();
	int opener = terminal.head < terminal.n ? terminal.queue[terminal.head] : K_NONE;
	if (opener == '[' || opener == 'O') {
		terminal.head++;
		int key = read_sequence(opener, 0);
		if (key != K_NONE)
			return key;
		terminal.head--; /* nothing was waited for, so the queue is where it was */
	}
	terminal.after_esc = true;
	terminal.esc_at = now_ms();
	return K_ESC;
}

int term_key(void)
{
	if (!term_keys_waiting())
		return K_NONE;
	int key = terminal.queue[terminal.head++];
	bool late = terminal.after_esc && now_ms() - terminal.esc_at < LATE_MS;
	terminal.after_esc = false;
	if (late && (key == '[' || key == 'O')) {
		int found = read_sequence(key, LATE_MS);
		if (found == K_NONE)
			return key;
		key = found;
		if (key < IN_PASTE_START && terminal.head > 0) {
			terminal.queue[--terminal.head] = key;
			return K_LATE;
		}
	}
	if (key == K_ESC)
		key = read_escape();
	if (key == IN_PASTE_START)
		return term_read_paste();
	return key == IN_PASTE_END ? K_UNKNOWN : key;
}
