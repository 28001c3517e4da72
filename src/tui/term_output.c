#include "tui/term_own.h"

#include "tui/signals.h"

#include <errno.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Wait until the terminal takes bytes. False if the program must end. */
static bool tty_writable(void)
{
	for (;;) {
		if (terminal.gone || signals_end())
			return false;
		struct pollfd p[2] = {{terminal.tty, POLLOUT, 0}, {signals_fd(), POLLIN, 0}};
		int r = poll(p, 2, 1000);
		if (r < 0 && errno != EINTR)
			return false;
		if (r > 0 && (p[0].revents & (POLLERR | POLLNVAL | POLLHUP))) {
			terminal.gone = true;
			return false;
		}
		if (r > 0 && (p[0].revents & POLLOUT))
			return true;
		if (r > 0 && p[1].revents && !signals_end())
			signals_rest(); /* a resize during a stall: noted, no spinning */
	}
}

bool term_write(const char *s, size_t len)
{
	while (len > 0) {
		if (!tty_writable())
			return false;
		ssize_t w = write(terminal.tty, s, len);
		if (w < 0 && errno != EINTR && errno != EAGAIN) {
			terminal.gone = true;
			return false;
		}
		if (w > 0) {
			s += w;
			len -= (size_t)w;
		}
	}
	return true;
}

/*
 * Shorten an update in place: ncurses leaves the alternate character set, which is never
 * entered here, with each change of attributes (ESC ( B), and begins each with a reset
 * (ESC [ 0 ; 2 m) also where the last one was a reset. Text holds no ESC, so these bytes
 * mean nothing else. Returns the new length.
 */
static size_t shorten(char *s, size_t len)
{
	size_t out = 0;
	for (size_t i = 0; i < len;) {
		if (s[i] == '\033' && len - i >= 3 && s[i + 1] == '(' && s[i + 2] == 'B') {
			i += 3;
			continue;
		}
		if (s[i] == '\033' && len - i >= 4 && s[i + 1] == '[') {
			size_t end = i + 2;
			while (end < len && (s[end] < 0x40 || s[end] > 0x7e))
				end++;
			if (end < len && s[end] == 'm') {
				bool reset = end == i + 2 || (end == i + 3 && s[i + 2] == '0');
				bool again = terminal.plain && !reset && s[i + 2] == '0' &&
					     s[i + 3] == ';';
				memmove(s + out, "\033[", 2);
				out += 2;
				i += again ? 4 : end == i + 3 && reset ? 3 : 2;
				terminal.plain = reset;
			}
		}
		s[out++] = s[i++];
	}
	return out;
}

/* Send what ncurses left in the memory file. */
static bool sink_send(void)
{
	off_t n = lseek(terminal.sink, 0, SEEK_CUR);
	if (n <= 0)
		return !terminal.gone;
	size_t len = (size_t)n;
	if (len > terminal.update_cap) {
		char *more = realloc(terminal.update, len * 2);
		if (more) {
			terminal.update = more;
			terminal.update_cap = len * 2;
		}
	}
	bool ok = true;
	for (off_t at = 0; ok && at < n;) { /* in pieces where memory is short */
		char small[512];
		char *room = len <= terminal.update_cap ? terminal.update : small;
		size_t want = len <= terminal.update_cap ? len : sizeof small;
		ssize_t r = pread(terminal.sink, room, want, at);
		bool whole = r == n; /* a piece could cut a sequence in two */
		size_t send = whole ? shorten(room, (size_t)r) : (size_t)(r > 0 ? r : 0);
		terminal.plain = terminal.plain && whole;
		ok = r > 0 && term_write(room, send);
		at += r > 0 ? r : 0;
	}
	lseek(terminal.sink, 0, SEEK_SET);
	return ok;
}

bool term_update(void)
{
	if (terminal.gone || signals_end())
		return false;
	if (!terminal.joined && !tty_writable())
		return false;
	doupdate();
	return terminal.joined ? sink_send() : !terminal.gone;
}

void term_join_writes(bool on)
{
	if (terminal.sink < 0 || terminal.joined == on)
		return;
	fflush(terminal.out);
	if (on) {
		terminal.joined = dup2(terminal.sink, fileno(terminal.out)) >= 0;
	} else {
		sink_send();
		dup2(terminal.tty, fileno(terminal.out));
		terminal.joined = false;
	}
}
