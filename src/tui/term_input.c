#include "tui/term_own.h"

#include "tui/signals.h"

#include <errno.h>
#include <poll.h>
#include <string.h>
#include <sys/ioctl.h>
#include <term.h>
#include <time.h>
#include <unistd.h>

static long long now_ms(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (long long)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* The keys that the workbench uses, by their names in a terminal's description. */
static int key_named(const char *capability)
{
	static const struct {
		const char *name;
		int key;
	} table[] = {{"kcuu1", K_UP}, {"kcud1", K_DOWN}, {"kcub1", K_LEFT}, {"kcuf1", K_RIGHT},
		{"khome", K_HOME}, {"kend", K_END}, {"kpp", K_PAGE_UP}, {"knp", K_PAGE_DOWN},
		{"kdch1", K_DELETE}, {"kcbt", K_BACKTAB}, {"kent", K_ENTER}, {"kbs", K_BACKSPACE},
		{"kspd", K_CTRL('z')}};
	for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
		if (strcmp(table[i].name, capability) == 0)
			return table[i].key;
	return K_UNKNOWN;
}

/* All names of keys begin with k, and no others; a mouse report is no key. */
static void know_keys(void)
{
	for (int known = 1; known >= 0; known--) /* where two have the same bytes: the one in use */
		for (size_t i = 0; strnames[i]; i++) {
			const char *name = strnames[i];
			if (name[0] != 'k' || strcmp(name, "kmous") == 0 ||
				(key_named(name) != K_UNKNOWN) != known)
				continue;
			const char *bytes = tigetstr(name);
			if (bytes &&
				bytes != (const char *)-1) /* NOLINT(performance-no-int-to-ptr) */
				decode_know(&terminal.keys, bytes, key_named(name));
		}
}

bool term_open_keys(int esc_ms)
{
	if (!decode_init(&terminal.keys, esc_ms))
		return false;
	know_keys();
	return true;
}

/* There is something to read: take what is there, or see that the line is dead. */
static void read_bytes(void)
{
	size_t room;
	unsigned char *to = decode_room(&terminal.keys, &room);
	if (room == 0)
		return;
	const ssize_t n = read(STDIN_FILENO, to, room);
	if (n > 0)
		decode_took(&terminal.keys, (size_t)n, now_ms());
	else if (n == 0 || (errno != EINTR && errno != EAGAIN))
		terminal.gone = true;
}

static bool bytes_waiting(void)
{
	int n = 0;
	return ioctl(STDIN_FILENO, FIONREAD, &n) == 0 && n > 0;
}

/* Wait for bytes, a signal, or the time to give up what is half there. */
static void wait_bytes(int timeout_ms)
{
	struct pollfd p[2] = {{STDIN_FILENO, POLLIN, 0}, {signals_fd(), POLLIN, 0}};
	const int due = decode_due(&terminal.keys, now_ms());
	const bool sooner = due >= 0 && (timeout_ms < 0 || due < timeout_ms);
	term_watch_busy(false);
	const int r = poll(p, 2, sooner ? due : timeout_ms);
	term_watch_busy(true);
	if (r > 0 && p[1].revents)
		signals_rest();
	if (r > 0 && p[0].revents)
		read_bytes();
}

bool term_keys_read(void)
{
	return decode_ready(&terminal.keys);
}

bool term_keys_waiting(void)
{
	if (term_keys_read())
		return true;
	if (bytes_waiting())
		read_bytes();
	if (term_keys_read())
		return true;
	decode_overdue(&terminal.keys, now_ms());
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
		wait_bytes(timeout_ms);
	events |= signal_events();
	if (signals_end() || terminal.gone)
		return events | TERM_END;
	return events | (term_keys_waiting() ? TERM_KEYS : 0);
}

int term_key(void)
{
	return term_keys_read() ? decode_next(&terminal.keys) : K_NONE;
}

const char *term_pasted(size_t *len)
{
	const struct buf *b = &terminal.keys.pasted;
	*len = b->len;
	return b->failed ? NULL : b->data ? b->data : "";
}
