#include "tui/term_own.h"

#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <string.h>
#include <term.h>
#include <time.h>
#include <unistd.h>

enum { QUIET_S = 5, PLACE_SIZE = 64 };

/* Shared by both threads, under the lock. */
static struct {
	pthread_t thread;
	pthread_mutex_t lock;
	pthread_cond_t changed;
	bool open, ends;
	bool sleeps; /* the thread waits for the next busy time */
	bool busy, told;
	unsigned turn; /* tells one busy time from the next */
	time_t since;  /* of this one, by the wall clock */
	struct timespec due;
	int rows, cols;
	char place[PLACE_SIZE]; /* moves to the last row */
	char erase[PLACE_SIZE]; /* what is right of the cursor */
} watch = {.lock = PTHREAD_MUTEX_INITIALIZER};

static void find_place(void)
{
	watch.rows = LINES;
	watch.cols = COLS;
	term_add_plain(watch.place, PLACE_SIZE, tiparm(cursor_address, LINES - 1, 0));
	term_add_plain(watch.erase, PLACE_SIZE, clr_eol);
}

/* With the lock held: the other thread writes nothing meanwhile. */
static void say(void)
{
	struct pollfd p = {terminal.tty, POLLOUT, 0};
	char text[2 * PLACE_SIZE + 128], words[96], when[16] = "";
	struct tm tm;
	int n;

	if (localtime_r(&watch.since, &tm))
		strftime(when, sizeof when, " since %H:%M:%S", &tm);
	snprintf(words, sizeof words, "busy%s: if it lasts, the disk or server does not answer",
		when);
	n = snprintf(text, sizeof text, "%s %.*s%s", watch.place,
		watch.cols > 2 ? watch.cols - 2 : 0, words, watch.erase);
	if (poll(&p, 1, 0) != 1 || !(p.revents & POLLOUT))
		return; /* the terminal stalls as well */
	ssize_t w = write(terminal.tty, text, (size_t)n);
	(void)w; /* nothing left to do about it */
	watch.told = true;
}

static void *keep_watch(void *unused)
{
	(void)unused;
	pthread_mutex_lock(&watch.lock);
	unsigned seen = watch.turn - 1;
	while (!watch.ends) {
		if (!watch.busy || watch.turn == seen) {
			watch.sleeps = true;
			pthread_cond_wait(&watch.changed, &watch.lock);
			watch.sleeps = false;
			continue;
		}
		const unsigned turn = watch.turn;
		const struct timespec due = watch.due;
		int r = 0;
		while (r == 0 && !watch.ends)
			r = pthread_cond_timedwait(&watch.changed, &watch.lock, &due);
		if (!watch.ends && watch.busy && watch.turn == turn) {
			seen = turn;
			say();
		}
	}
	pthread_mutex_unlock(&watch.lock);
	return NULL;
}

void term_watch_open(void)
{
	pthread_condattr_t attr;
	sigset_t all, before;

	if (pthread_condattr_init(&attr) != 0)
		return;
	pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
	bool ok = pthread_cond_init(&watch.changed, &attr) == 0;
	pthread_condattr_destroy(&attr);
	if (!ok)
		return;
	watch.ends = watch.busy = watch.told = false;
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, &before);
	watch.open = pthread_create(&watch.thread, NULL, keep_watch, NULL) == 0;
	pthread_sigmask(SIG_SETMASK, &before, NULL);
	if (!watch.open)
		pthread_cond_destroy(&watch.changed);
}

void term_watch_close(void)
{
	if (!watch.open)
		return;
	pthread_mutex_lock(&watch.lock);
	watch.ends = true;
	pthread_cond_signal(&watch.changed);
	pthread_mutex_unlock(&watch.lock);
	pthread_join(watch.thread, NULL);
	pthread_cond_destroy(&watch.changed);
	watch.open = false;
}

void term_watch_busy(bool busy)
{
	if (!watch.open)
		return;
	pthread_mutex_lock(&watch.lock);
	watch.busy = busy;
	if (busy) {
		if (watch.rows != LINES || watch.cols != COLS)
			find_place();
		watch.turn++;
		watch.since = time(NULL);
		clock_gettime(CLOCK_MONOTONIC, &watch.due);
		watch.due.tv_sec += QUIET_S;
		if (watch.sleeps)
			pthread_cond_signal(&watch.changed);
	}
	pthread_mutex_unlock(&watch.lock);
}

bool term_watch_told(void)
{
	if (!watch.open)
		return false;
	pthread_mutex_lock(&watch.lock);
	const bool told = watch.told;
	watch.told = false;
	pthread_mutex_unlock(&watch.lock);
	return told;
}
