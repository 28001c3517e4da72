#include "tui/term_own.h"

#include "tui/signals.h"

#include <errno.h>
#include <fcntl.h>
#include <langinfo.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <term.h>
#include <unistd.h>

enum { ESC_DELAY_MS = 100 };

struct terminal terminal = {.sink = -1, .pipe = {-1, -1}, .tty = -1};

/* Marks pastes where the terminal speaks ANSI; others would print the request. */
static void bracket_pastes(bool on)
{
	const char *cup = cursor_address;
	if (cup && strncmp(cup, "\033[", 2) == 0) {
		const char *s = on ? "\033[?2004h" : "\033[?2004l";
		term_write(s, strlen(s));
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

void term_add_plain(char *out, size_t size, const char *s)
{
	size_t n = 0;
	for (; s && *s && n + 1 < size; s++) {
		if (s[0] == '$' && s[1] == '<' && strchr(s, '>'))
			s = strchr(s, '>');
		else
			out[n++] = *s;
	}
	out[n] = '\0';
}

/* What brings the terminal back after a crash: plain bytes, padding left out. */
static void note_crash_text(void)
{
	char text[256] = "";
	size_t n = 0;
	const char *parts[] = {
		exit_attribute_mode, orig_pair, keypad_local, cursor_normal, exit_ca_mode};
	if (cursor_address && strncmp(cursor_address, "\033[", 2) == 0)
		n = (size_t)snprintf(text, sizeof text, "\033[?2004l\033[999;1H"); /* last row */
	for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
		term_add_plain(text + n, sizeof text - n, parts[i]);
		n += strlen(text + n);
	}
	signals_crash_text(text, n, &terminal.shell, terminal.tty);
}

static void start_colours(void)
{
	const char *no = getenv("NO_COLOR");
	if ((no && *no) || !has_colors() || start_color() != OK)
		return;
	if (use_default_colors() != OK)
		return;
	terminal.colour = true;
}

/* Follow the terminal's size; LINES and COLUMNS in the environment would stop curses from it. */
bool term_follow_size(void)
{
	struct winsize w;
	if (ioctl(terminal.tty, TIOCGWINSZ, &w) != 0 || w.ws_row == 0 || w.ws_col == 0)
		return false;
	if (w.ws_row == LINES && w.ws_col == COLS)
		return false;
	resizeterm(w.ws_row, w.ws_col);
	if (terminal.joined) { /* an update may be larger now */
		term_join_writes(false);
		term_join_writes(true);
	}
	return true;
}

/* Also at the right edge: what is written there leaves the cursor on its row. */
static bool addresses_as_ansi(void)
{
	return cursor_address && strcmp(cursor_address, "\033[%i%p1%d;%p2%dH") == 0 &&
	       column_address && strcmp(column_address, "\033[%i%p1%dG") == 0 && eat_newline_glitch;
}

static bool make_screen(struct err *err)
{
	terminal.tty = fcntl(STDOUT_FILENO, F_DUPFD_CLOEXEC, 3);
	int fd = fcntl(STDOUT_FILENO, F_DUPFD_CLOEXEC, 3);
	terminal.out = fd >= 0 ? fdopen(fd, "w") : NULL;
	if (terminal.tty < 0 || !terminal.out || tcgetattr(STDIN_FILENO, &terminal.shell) != 0)
		return err_failed(err, "cannot use the terminal: %s", strerror(errno));
	terminal.screen = newterm(NULL, terminal.out, stdin);
	if (!terminal.screen)
		return err_input(err, "cannot start the screen on this terminal");
	terminal.open = true;
	return true;
}

bool term_open(struct err *err)
{
	if (!make_screen(err))
		return false;
	terminal.utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
	if (!getenv("ESCDELAY"))
		set_escdelay(ESC_DELAY_MS);
	raw();
	noecho();
	nonl();
	start_colours();
	if (!term_open_keys(get_escdelay())) {
		term_close();
		return err_memory(err);
	}
	keypad(stdscr, TRUE); /* the terminal's; ncurses is never asked for a key */
	typeahead(-1);        /* waiting keys are drained before an update, not asked for within */
	terminal.ansi_columns = addresses_as_ansi();
	leaveok(stdscr, TRUE);
	curs_set(0);
	tcgetattr(STDIN_FILENO, &terminal.program);
	if (!signals_open(err)) {
		term_close();
		return false;
	}
	note_crash_text();
	bracket_pastes(true);
	term_open_sinks();
	term_join_writes(true);
	term_follow_size();
	term_watch_open();
	return true;
}

void term_close(void)
{
	if (!terminal.open)
		return;
	terminal.open = false;
	term_watch_close();
	if (!terminal.gone && !signals_end()) {
		bracket_pastes(false);
		curs_set(1);
		term_join_writes(false);
		endwin();
	}
	if (signals_end() || terminal.gone) /* endwin() would wait for a stalled terminal */
		signals_restore_now();
	signals_close();
	delscreen(terminal.screen);
	fclose(terminal.out);
	close(terminal.tty);
	term_close_sinks();
	decode_free(&terminal.keys);
	free(terminal.update);
	terminal.screen = NULL;
	terminal.update = NULL;
	terminal.update_cap = 0;
}

bool term_is_utf8(void)
{
	return terminal.utf8;
}

bool term_has_colour(void)
{
	return terminal.colour;
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

bool term_suspend(void)
{
	bracket_pastes(false);
	term_join_writes(false);
	endwin();
	term_watch_busy(false);
	bool stopped = signals_stop(); /* returns when continued */
	term_watch_busy(true);
	tcsetattr(STDIN_FILENO, TCSADRAIN, &terminal.program);
	refresh(); /* ncurses takes the screen again */
	term_join_writes(true);
	bracket_pastes(true);
	term_follow_size();
	term_repaint();
	return stopped;
}

int term_end_signal(void)
{
	return signals_end();
}
