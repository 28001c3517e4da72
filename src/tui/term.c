#include "tui/term.h"
#include "base/text.h"
#include "tui/signals.h"

#include <curses.h>
#include <errno.h>
#include <fcntl.h>
#include <langinfo.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <term.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

/* Codes for the brackets of a paste, beyond curses' own and beyond ours. */
enum { CODE_PASTE_START = 2000, CODE_PASTE_END, IN_PASTE_START = K_NAMED + 100, IN_PASTE_END };

enum {
	PASTE_MAX = 64 * 1024, /* bytes kept of one paste */
	PASTE_QUIET_MS = 40,   /* after an end mark: is it the last one? */
	PASTE_STALL_MS = 5000, /* a paste whose end never comes */
	LATE_MS = 600,         /* pieces of an escape sequence slower than ESCDELAY */
	ESC_DELAY_MS = 100,
};

/* The curses screen and what belongs to it: the one place with state of its own. */
static struct {
	bool open, utf8, colour, joined;
	SCREEN *screen;
	WINDOW *keys; /* a pad, so that reading keys never paints */
	FILE *out;    /* what ncurses writes to; its descriptor is swapped */
	int sink;     /* memory file; -1 where there is none */
	int tty;      /* the terminal */
	struct termios shell, program;
	int *queue; /* owned: keys read and not yet told */
	size_t head, n, cap;
	long long esc_at; /* when a lone Esc was told, ms */
	bool after_esc;   /* the next key is the first after it */
	struct buf pasted;
	char *update; /* owned: room for one update */
	size_t update_cap;
	bool gone;  /* the line is dead */
	bool plain; /* the last attributes sent were a reset */
} term = {.sink = -1, .tty = -1};

static long long now_ms(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (long long)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* --- output ------------------------------------------------------------- */

/* Wait until the terminal takes bytes. False if the program must end. */
static bool tty_writable(void)
{
	for (;;) {
		if (term.gone || signals_end())
			return false;
		struct pollfd p[2] = {{term.tty, POLLOUT, 0}, {signals_fd(), POLLIN, 0}};
		int r = poll(p, 2, 1000);
		if (r < 0 && errno != EINTR)
			return false;
		if (r > 0 && (p[0].revents & (POLLERR | POLLNVAL | POLLHUP))) {
			term.gone = true;
			return false;
		}
		if (r > 0 && (p[0].revents & POLLOUT))
			return true;
		if (r > 0 && p[1].revents && !signals_end())
			signals_rest(); /* a resize during a stall: noted, no spinning */
	}
}

static bool tty_write(const char *s, size_t len)
{
	while (len > 0) {
		if (!tty_writable())
			return false;
		ssize_t w = write(term.tty, s, len);
		if (w < 0 && errno != EINTR && errno != EAGAIN) {
			term.gone = true;
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
				bool again =
					term.plain && !reset && s[i + 2] == '0' && s[i + 3] == ';';
				memmove(s + out, "\033[", 2);
				out += 2;
				i += again ? 4 : end == i + 3 && reset ? 3 : 2;
				term.plain = reset;
			}
		}
		s[out++] = s[i++];
	}
	return out;
}

/* Send what ncurses left in the memory file. */
static bool sink_send(void)
{
	off_t n = lseek(term.sink, 0, SEEK_CUR);
	if (n <= 0)
		return !term.gone;
	size_t len = (size_t)n;
	if (len > term.update_cap) {
		char *more = realloc(term.update, len * 2);
		if (more) {
			term.update = more;
			term.update_cap = len * 2;
		}
	}
	bool ok = true;
	for (off_t at = 0; ok && at < n;) { /* in pieces where memory is short */
		char small[512];
		char *room = len <= term.update_cap ? term.update : small;
		size_t want = len <= term.update_cap ? len : sizeof small;
		ssize_t r = pread(term.sink, room, want, at);
		bool whole = r == n; /* a piece could cut a sequence in two */
		size_t send = whole ? shorten(room, (size_t)r) : (size_t)(r > 0 ? r : 0);
		term.plain = term.plain && whole;
		ok = r > 0 && tty_write(room, send);
		at += r > 0 ? r : 0;
	}
	lseek(term.sink, 0, SEEK_SET);
	return ok;
}

bool term_update(void)
{
	if (term.gone || signals_end())
		return false;
	if (!term.joined && !tty_writable())
		return false;
	doupdate();
	return term.joined ? sink_send() : !term.gone;
}

/* Point ncurses' descriptor at the memory file or at the terminal. */
static void join_writes(bool on)
{
	if (term.sink < 0 || term.joined == on)
		return;
	fflush(term.out);
	if (on) {
		term.joined = dup2(term.sink, fileno(term.out)) >= 0;
	} else {
		sink_send();
		dup2(term.tty, fileno(term.out));
		term.joined = false;
	}
}

/* --- opening and closing ------------------------------------------------- */

/* Marks pastes where the terminal speaks ANSI; others would print the request. */
static void bracket_pastes(bool on)
{
	const char *cup = cursor_address;
	if (cup && strncmp(cup, "\033[", 2) == 0) {
		const char *s = on ? "\033[?2004h" : "\033[?2004l";
		tty_write(s, strlen(s));
	}
}

bool term_check(struct err *err)
{
	if (!isatty(STDIN_FILENO) || !isatty(STDOUT_FILENO))
		return err_input(err, "the workbench needs a terminal for input and output; "
				      "the subcommands work without one, see treadlight --help");
	const char *name = getenv("TERM");
	int why = 0;
	if (!name || !*name)
		return err_input(err, "TERM is not set; the workbench must know the terminal, for "
				      "example TERM=xterm");
	if (setupterm(name, STDOUT_FILENO, &why) != OK) {
		err_input(err,
			"TERM is \"%.40s\", which this machine has no description of; "
			"for example TERM=xterm",
			name);
		return false;
	}
	bool can = cursor_address && strlen(cursor_address) > 0;
	del_curterm(cur_term);
	if (!can)
		return err_input(err,
			"TERM is \"%.40s\", which cannot place its cursor; the "
			"subcommands work on it, see treadlight --help",
			name);
	return true;
}

/* What brings the terminal back after a crash: plain bytes, padding left out. */
static void note_crash_text(void)
{
	char text[256] = "";
	size_t n = 0;
	const char *parts[] = {
		exit_attribute_mode, orig_pair, keypad_local, cursor_normal, exit_ca_mode};
	if (cursor_address && strncmp(cursor_address, "\033[", 2) == 0)
		n = (size_t)snprintf(text, sizeof text, "\033[?2004l");
	for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
		for (const char *s = parts[i]; s && *s && n + 1 < sizeof text; s++) {
			if (s[0] == '$' && s[1] == '<') { /* padding */
				s = strchr(s, '>');
				if (!s)
					break;
				continue;
			}
			text[n++] = *s;
		}
	}
	signals_crash_text(text, n, &term.shell, term.tty);
}

static void start_colours(void)
{
	const char *no = getenv("NO_COLOR");
	if ((no && *no) || !has_colors() || start_color() != OK)
		return;
	if (use_default_colors() != OK)
		return;
	term.colour = true;
}

/* Follow the terminal's size; LINES and COLUMNS in the environment would stop curses from it. */
static bool follow_size(void)
{
	struct winsize w;
	if (ioctl(term.tty, TIOCGWINSZ, &w) != 0 || w.ws_row == 0 || w.ws_col == 0)
		return false;
	if (w.ws_row == LINES && w.ws_col == COLS)
		return false;
	resizeterm(w.ws_row, w.ws_col);
	return true;
}

/* What nearly every terminal sends, also where its description says otherwise. */
static void define_keys(void)
{
	static const struct {
		const char *bytes;
		int code;
	} common[] = {{"\033[A", KEY_UP}, {"\033OA", KEY_UP}, {"\033[B", KEY_DOWN},
		{"\033OB", KEY_DOWN}, {"\033[C", KEY_RIGHT}, {"\033OC", KEY_RIGHT},
		{"\033[D", KEY_LEFT}, {"\033OD", KEY_LEFT}, {"\033[H", KEY_HOME},
		{"\033OH", KEY_HOME}, {"\033[F", KEY_END}, {"\033OF", KEY_END},
		{"\033[1~", KEY_HOME}, {"\033[4~", KEY_END}, {"\033[5~", KEY_PPAGE},
		{"\033[6~", KEY_NPAGE}, {"\033[3~", KEY_DC}, {"\033[Z", KEY_BTAB},
		{"\033[200~", CODE_PASTE_START}, {"\033[201~", CODE_PASTE_END}};
	for (size_t i = 0; i < sizeof common / sizeof common[0]; i++)
		define_key(common[i].bytes, common[i].code);
}

static bool make_screen(struct err *err)
{
	term.tty = fcntl(STDOUT_FILENO, F_DUPFD_CLOEXEC, 3);
	int fd = fcntl(STDOUT_FILENO, F_DUPFD_CLOEXEC, 3);
	term.out = fd >= 0 ? fdopen(fd, "w") : NULL;
	if (term.tty < 0 || !term.out || tcgetattr(STDIN_FILENO, &term.shell) != 0)
		return err_failed(err, "cannot use the terminal: %s", strerror(errno));
	term.screen = newterm(NULL, term.out, stdin);
	if (!term.screen)
		return err_input(err, "cannot start the screen on this terminal");
	term.open = true;
	return true;
}

bool term_open(struct err *err)
{
	if (!make_screen(err))
		return false;
	term.utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
	if (!getenv("ESCDELAY"))
		set_escdelay(ESC_DELAY_MS);
	raw();
	noecho();
	nonl();
	start_colours();
	term.keys = newpad(1, 1);
	if (!term.keys) {
		term_close();
		return err_memory(err);
	}
	keypad(term.keys, TRUE);
	nodelay(term.keys, TRUE);
	typeahead(-1); /* waiting keys are drained before an update, not asked for within */
	define_keys();
	leaveok(stdscr, TRUE);
	curs_set(0);
	tcgetattr(STDIN_FILENO, &term.program);
	if (!signals_open(err)) {
		term_close();
		return false;
	}
	note_crash_text();
	bracket_pastes(true);
	term.sink = memfd_create("update", MFD_CLOEXEC);
	join_writes(true);
	follow_size();
	return true;
}

void term_close(void)
{
	if (!term.open)
		return;
	term.open = false;
	if (!term.gone && !signals_end())
		bracket_pastes(false);
	curs_set(1);
	join_writes(false);
	endwin();
	if (signals_end()) /* the polite way above was not taken */
		signals_restore_now();
	signals_close();
	if (term.keys)
		delwin(term.keys);
	delscreen(term.screen);
	fclose(term.out);
	close(term.tty);
	if (term.sink >= 0)
		close(term.sink);
	free(term.queue);
	free(term.update);
	buf_free(&term.pasted);
	term.keys = NULL;
	term.screen = NULL;
	term.queue = NULL;
	term.update = NULL;
	term.head = term.n = term.cap = term.update_cap = 0;
	term.sink = -1;
}

bool term_is_utf8(void)
{
	return term.utf8;
}

bool term_has_colour(void)
{
	return term.colour;
}

void term_repaint(void)
{
	clearok(curscr, TRUE);
}

void term_cursor(bool visible)
{
	curs_set(visible);
	leaveok(stdscr, !visible);
}

void term_suspend(void)
{
	bracket_pastes(false);
	join_writes(false);
	endwin();
	signals_stop(); /* returns when continued */
	tcsetattr(STDIN_FILENO, TCSADRAIN, &term.program);
	refresh(); /* ncurses takes the screen again */
	join_writes(true);
	bracket_pastes(true);
	follow_size();
	term_repaint();
}

int term_end_signal(void)
{
	return signals_end();
}

/* --- keys ---------------------------------------------------------------- */

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
	if (term.head == term.n)
		term.head = term.n = 0;
	if (term.n < term.cap)
		return true;
	size_t cap = term.cap ? term.cap * 2 : 256;
	int *more = realloc(term.queue, cap * sizeof *more);
	if (!more)
		return false;
	term.queue = more;
	term.cap = cap;
	return true;
}

/* Take what the terminal has sent into the queue. */
static void fill(void)
{
	while (term.n - term.head < PASTE_MAX && queue_room()) {
		wint_t ch = 0;
		int r = wget_wch(term.keys, &ch);
		if (r == ERR)
			break;
		int key = from_curses(r, ch);
		if (key != K_NONE)
			term.queue[term.n++] = key;
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

/* Wait for bytes from the terminal; false on timeout, a signal, or a dead line. */
static bool wait_bytes(int timeout_ms)
{
	struct pollfd p[2] = {{STDIN_FILENO, POLLIN, 0}, {signals_fd(), POLLIN, 0}};
	int r = poll(p, 2, timeout_ms);
	if (r > 0 && p[1].revents)
		signals_rest();
	if (r <= 0 || !p[0].revents)
		return false;
	size_t before = term.n - term.head;
	fill();
	if (term.n - term.head > before)
		return true;
	/* nothing came: half a character, or the end; only the end stays readable */
	if (poll(p, 1, 0) > 0 && line_gone(p[0].revents)) {
		term.gone = true;
		return false;
	}
	return true;
}

bool term_keys_waiting(void)
{
	if (term.head == term.n)
		fill();
	return term.head < term.n;
}

static unsigned signal_events(void)
{
	unsigned events = 0;
	unsigned seen = signals_take();
	if ((seen & SIGNALS_SIZE) && follow_size())
		events |= TERM_RESIZE;
	if (seen & SIGNALS_STOP)
		events |= TERM_STOP;
	if (seen & SIGNALS_CONTINUED) {
		tcsetattr(STDIN_FILENO, TCSADRAIN, &term.program);
		term_repaint();
		events |= TERM_RESUME;
	}
	return events;
}

unsigned term_wait(int timeout_ms)
{
	unsigned events = signal_events();
	if (!events && !term_keys_waiting() && !signals_end())
		wait_bytes(timeout_ms);
	events |= signal_events();
	if (signals_end() || term.gone)
		return events | TERM_END;
	return events | (term_keys_waiting() ? TERM_KEYS : 0);
}

/* The next key of the queue, waiting for it at most ms; K_NONE if none came. */
static int next_key(int ms)
{
	long long until = now_ms() + ms;
	while (!term_keys_waiting()) {
		long long left = until - now_ms();
		if (left <= 0 || signals_end() || term.gone)
			return K_NONE;
		if (!wait_bytes((int)left) && !term.gone && signals_pending())
			return K_NONE;
	}
	return term.queue[term.head++];
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
		while (term.head + i >= term.n) {
			long long left = until - now_ms();
			if (left <= 0 || signals_end() || term.gone || !wait_bytes((int)left))
				return K_NONE;
		}
		int c = term.queue[term.head + i];
		if (c >= '0' && c <= '9')
			number = number > 9999 ? number : number * 10 + (c - '0');
		if (opener == 'O' || (c >= 0x40 && c <= 0x7e)) {
			if (c < 0x40 || c > 0x7e)
				return K_NONE;
			term.head += i + 1;
			return sequence_key(c, number);
		}
		if (c < 0x20 || c > 0x3f)
			return K_NONE;
	}
	return K_NONE;
}

static void paste_add(int key)
{
	if (key >= K_NAMED || term.pasted.len >= PASTE_MAX)
		return;
	char utf8[4];
	unsigned c = (unsigned)key;
	size_t n = 0;
	if (c < 0x80) {
		utf8[n++] = (char)c;
	} else if (c < 0x800) {
		utf8[n++] = (char)(0xc0 | c >> 6);
	} else if (c < 0x10000) {
		utf8[n++] = (char)(0xe0 | c >> 12);
		utf8[n++] = (char)(0x80 | (c >> 6 & 0x3f));
	} else {
		utf8[n++] = (char)(0xf0 | c >> 18);
		utf8[n++] = (char)(0x80 | (c >> 12 & 0x3f));
		utf8[n++] = (char)(0x80 | (c >> 6 & 0x3f));
	}
	if (c >= 0x80)
		utf8[n++] = (char)(0x80 | (c & 0x3f));
	buf_add(&term.pasted, utf8, n);
}

/*
 * An end mark inside the pasted text must not turn the rest into commands: the
 * paste goes on to the last end mark among what follows without a pause.
 */
static bool another_end_follows(void)
{
	do {
		fill();
		for (size_t i = term.head; i < term.n; i++) {
			if (term.queue[i] == IN_PASTE_START)
				return false;
			if (term.queue[i] == IN_PASTE_END)
				return true;
		}
	} while (term.n - term.head < PASTE_MAX && wait_bytes(PASTE_QUIET_MS));
	return false;
}

static int read_paste(void)
{
	buf_free(&term.pasted);
	buf_init(&term.pasted);
	for (;;) {
		int key = next_key(PASTE_STALL_MS);
		if (key == K_NONE || (key == IN_PASTE_END && !another_end_follows()))
			return K_PASTE;
		paste_add(key == K_ESC ? ' ' : key);
	}
}

/* Esc, or the rest of a sequence that ncurses does not know. */
static int read_escape(void)
{
	fill();
	int opener = term.head < term.n ? term.queue[term.head] : K_NONE;
	if (opener == '[' || opener == 'O') {
		term.head++;
		int key = read_sequence(opener, 0);
		if (key != K_NONE)
			return key;
		term.head--; /* nothing was waited for, so the queue is where it was */
	}
	term.after_esc = true;
	term.esc_at = now_ms();
	return K_ESC;
}

int term_key(void)
{
	if (!term_keys_waiting())
		return K_NONE;
	int key = term.queue[term.head++];
	bool late = term.after_esc && now_ms() - term.esc_at < LATE_MS;
	term.after_esc = false;
	if (late && (key == '[' || key == 'O')) {
		int found = read_sequence(key, LATE_MS);
		if (found == K_NONE)
			return key;
		key = found;
		if (key < IN_PASTE_START && term.head > 0) {
			term.queue[--term.head] = key;
			return K_LATE;
		}
	}
	if (key == K_ESC)
		key = read_escape();
	if (key == IN_PASTE_START)
		return read_paste();
	return key == IN_PASTE_END ? K_UNKNOWN : key;
}

const char *term_pasted(size_t *len)
{
	*len = term.pasted.len;
	return term.pasted.data ? term.pasted.data : "";
}
