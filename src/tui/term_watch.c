#include "tui/term_own.h"

#include "base/watch.h"

#include <poll.h>
#include <stdatomic.h>
#include <string.h>
#include <term.h>
#include <unistd.h>

enum { PLACE_SIZE = 64 };

/* Where to say it: changed between two busy times only, so that the thread beside may read it. */
static struct {
	int rows, cols;
	char place[PLACE_SIZE]; /* moves to the last row */
	char erase[PLACE_SIZE]; /* what is right of the cursor */
} spot;
static atomic_bool told;

static void find_place(void)
{
	spot.rows = LINES;
	spot.cols = COLS;
	term_add_plain(spot.place, PLACE_SIZE, tiparm(cursor_address, LINES - 1, 0));
	term_add_plain(spot.erase, PLACE_SIZE, clr_eol);
}

static void say_on_last_row(const char *words)
{
	struct pollfd p = {terminal.tty, POLLOUT, 0};
	char text[2 * PLACE_SIZE + 128];
	int n = snprintf(text, sizeof text, "%s %.*s%s", spot.place,
		spot.cols > 2 ? spot.cols - 2 : 0, words, spot.erase);
	if (poll(&p, 1, 0) != 1 || !(p.revents & POLLOUT))
		return; /* the terminal stalls as well */
	ssize_t w = write(terminal.tty, text, (size_t)n);
	(void)w; /* nothing left to do about it */
	told = true;
}

void term_watch_open(void)
{
	watch_busy(false);
	find_place();
	watch_open(say_on_last_row);
}

void term_watch_close(void)
{
	watch_close();
}

void term_watch_busy(bool busy)
{
	if (busy && (spot.rows != LINES || spot.cols != COLS))
		find_place();
	watch_busy(busy);
}

bool term_watch_told(void)
{
	return atomic_exchange(&told, false);
}
