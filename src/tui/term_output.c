#include "tui/term_own.h"

#include "tui/signals.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

/* Wait until the terminal takes bytes. False if the program must end. */
static bool tty_writable(void)
{
	for (;;) {
		if (terminal.gone || signals_end())
			return false;
		struct pollfd p[2] = {{terminal.tty, POLLOUT, 0}, {signals_fd(), POLLIN, 0}};
		term_watch_busy(false);
		int r = poll(p, 2, 1000);
		term_watch_busy(true);
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

/* Just past the sequence ESC [ ... letter at s; 0 if there is no whole one. */
static size_t sequence_length(const char *s, size_t len)
{
	size_t end = 2;
	if (len < 3 || s[0] != '\033' || s[1] != '[')
		return 0;
	while (end < len && (s[end] < 0x40 || s[end] > 0x7e))
		end++;
	return end < len ? end + 1 : 0;
}

/* ncurses begins attributes with a reset (ESC [ 0 ; 2 m) also where the last were one. */
static size_t put_attributes(char *out, const char *s, size_t len)
{
	const bool reset = len == 3 || (len == 4 && s[2] == '0');
	const bool again = !reset && terminal.plain && s[2] == '0' && s[3] == ';';
	const size_t skip = reset ? len - 3 : again ? 2 : 0;
	terminal.plain = reset;
	memmove(out, "\033[", 2);
	memmove(out + 2, s + 2 + skip, len - 2 - skip);
	return len - skip;
}

/* ncurses names the row (ESC [ row ; column H) also for a long way on one row. */
static size_t put_address(char *out, const char *s, size_t len, long *row)
{
	char *semicolon;
	const long to = strtol(s + 2, &semicolon, 10);
	const bool same = terminal.ansi_columns && *semicolon == ';' && to == *row;
	*row = *semicolon == ';' ? to : 0;
	if (!same) {
		memmove(out, s, len);
		return len;
	}
	const size_t n = (size_t)(s + len - 1 - semicolon - 1); /* digits of the column */
	memmove(out, "\033[", 2);
	memmove(out + 2, semicolon + 1, n);
	out[2 + n] = 'G';
	return n + 3;
}

/*
 * Shorten an update in place, by what ncurses sends too much. It also leaves the alternate
 * character set, which is never entered here, with each change of attributes (ESC ( B).
 * Text holds no ESC, so these bytes mean nothing else. Returns the new length.
 */
static size_t shorten(char *s, size_t len)
{
	size_t out = 0;
	long row = 0; /* that the cursor is on, from 1; 0 not known */
	for (size_t i = 0; i < len;) {
		const size_t n = sequence_length(s + i, len - i);
		const char last = n ? s[i + n - 1] : '\0';
		if (len - i >= 3 && memcmp(s + i, "\033(B", 3) == 0) {
			i += 3;
		} else if (last == 'm') {
			out += put_attributes(s + out, s + i, n);
			i += n;
		} else if (last == 'H') {
			out += put_address(s + out, s + i, n, &row);
			i += n;
		} else {
			const bool stays = n && strchr("CDGKPX@", last);
			if ((unsigned char)s[i] < 0x20 && !stays)
				row = 0;
			s[out++] = s[i++];
		}
	}
	return out;
}

/* --- what takes an update until it is whole -------------------------------------- */

void term_open_sinks(void)
{
	terminal.sink = memfd_create("update", MFD_CLOEXEC);
	if (pipe2(terminal.pipe, O_CLOEXEC) != 0)
		terminal.pipe[0] = terminal.pipe[1] = -1;
	else
		fcntl(terminal.pipe[0], F_SETFL, O_NONBLOCK);
}

void term_close_sinks(void)
{
	const int all[] = {terminal.sink, terminal.pipe[0], terminal.pipe[1]};
	for (size_t i = 0; i < 3; i++)
		if (all[i] >= 0)
			close(all[i]);
	terminal.sink = terminal.pipe[0] = terminal.pipe[1] = -1;
	terminal.piped = false;
}

static bool update_room(size_t len)
{
	if (len <= terminal.update_cap)
		return true;
	char *more = realloc(terminal.update, len);
	if (!more)
		return false;
	terminal.update = more;
	terminal.update_cap = len;
	return true;
}

/*
 * May a pipe take the updates of this screen? ncurses would wait for ever on a full one, so it
 * must hold every cell with an address, attributes, a character and four that combine with it: 34
 * bytes, of which up to 18 were seen sent (each cell in other attributes, ncurses 6.4), where the
 * terminal speaks ANSI and wants no padding. A write that does not fit into a pipe's last page
 * begins another one, so that half of the room may stay unused.
 */
static bool pipe_holds_update(void)
{
	enum { CELL_BYTES = 64, MORE = 4096 };
	const size_t most = (size_t)LINES * (size_t)COLS * CELL_BYTES + MORE;
	const int in = terminal.pipe[1];
	if (in < 0 || !terminal.ansi_columns || most > INT_MAX / 2)
		return false;
	const int wanted = 2 * (int)most;
	if (fcntl(in, F_GETPIPE_SZ) < wanted && fcntl(in, F_SETPIPE_SZ, wanted) < wanted)
		return false;
	return update_room(most);
}

static bool pipe_send(void)
{
	const ssize_t n = read(terminal.pipe[0], terminal.update, terminal.update_cap);
	if (n <= 0)
		return !terminal.gone;
	return term_write(terminal.update, shorten(terminal.update, (size_t)n));
}

static bool file_send(void)
{
	off_t n = lseek(terminal.sink, 0, SEEK_CUR);
	if (n <= 0)
		return !terminal.gone;
	const size_t len = (size_t)n;
	const bool whole = update_room(2 * len) || update_room(len);
	bool ok = true;
	for (off_t at = 0; ok && at < n;) { /* in pieces where memory is short */
		char small[512];
		char *room = whole ? terminal.update : small;
		ssize_t r = pread(terminal.sink, room, whole ? len : sizeof small, at);
		const bool all = r == n; /* a piece could cut a sequence in two */
		size_t send = all ? shorten(room, (size_t)r) : (size_t)(r > 0 ? r : 0);
		terminal.plain = terminal.plain && all;
		ok = r > 0 && term_write(room, send);
		at += r > 0 ? r : 0;
	}
	lseek(terminal.sink, 0, SEEK_SET);
	return ok;
}

/* Send what ncurses left there. */
static bool sink_send(void)
{
	return terminal.piped ? pipe_send() : file_send();
}

bool term_update(void)
{
	if (terminal.gone || signals_end())
		return false;
	if (!terminal.joined && !tty_writable())
		return false;
	if (term_watch_told())
		term_repaint();
	doupdate();
	return terminal.joined ? sink_send() : !terminal.gone;
}

void term_join_writes(bool on)
{
	if (terminal.joined == on)
		return;
	fflush(terminal.out);
	if (on) {
		terminal.piped = pipe_holds_update();
		const int to = terminal.piped ? terminal.pipe[1] : terminal.sink;
		terminal.joined = to >= 0 && dup2(to, fileno(terminal.out)) >= 0;
	} else {
		sink_send();
		dup2(terminal.tty, fileno(terminal.out));
		terminal.joined = false;
	}
}
