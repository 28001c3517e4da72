#include "base/watch.h"

#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <time.h>

enum { QUIET_S = 5, WORKS_S = 1 };

/* Shared by both threads, under the lock. */
static struct {
	pthread_t thread;
	pthread_mutex_t lock;
	pthread_cond_t changed;
	watch_say say;
	bool open, ends;
	bool sleeps; /* the thread waits for the next busy time */
	bool busy;
	unsigned turn;               /* tells one busy time from the next */
	time_t since;                /* of this one, by the wall clock */
	struct timespec due, worked; /* the processor's time at its begin */
} watch = {.lock = PTHREAD_MUTEX_INITIALIZER};

static void speak(void)
{
	char words[96], when[16] = "";
	struct tm tm;
	if (localtime_r(&watch.since, &tm))
		strftime(when, sizeof when, " since %H:%M:%S", &tm);
	snprintf(words, sizeof words, "busy%s: if it lasts, the disk or server does not answer",
		when);
	watch.say(words);
}

static void wait_anew(void)
{
	clock_gettime(CLOCK_MONOTONIC, &watch.due);
	watch.due.tv_sec += QUIET_S;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &watch.worked);
}

/* Was the time until now spent on work of our own? */
static bool works(void)
{
	struct timespec now;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
	return now.tv_sec - watch.worked.tv_sec > WORKS_S;
}

static void *keep_watch(void *unused)
{
	(void)unused;
	pthread_mutex_lock(&watch.lock);
	unsigned said = watch.turn - 1;
	while (!watch.ends) {
		if (!watch.busy || watch.turn == said) {
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
		if (watch.ends || !watch.busy || watch.turn != turn)
			continue;
		if (works()) {
			wait_anew();
		} else {
			said = turn;
			speak();
		}
	}
	pthread_mutex_unlock(&watch.lock);
	return NULL;
}

static void start(void)
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
	watch.ends = watch.busy = false;
	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, &before);
	watch.open = pthread_create(&watch.thread, NULL, keep_watch, NULL) == 0;
	pthread_sigmask(SIG_SETMASK, &before, NULL);
	if (!watch.open)
		pthread_cond_destroy(&watch.changed);
}

void watch_open(watch_say say)
{
	pthread_mutex_lock(&watch.lock);
	watch.say = say;
	pthread_mutex_unlock(&watch.lock);
	if (!watch.open)
		start();
	watch_busy(true);
}

void watch_close(void)
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

void watch_busy(bool busy)
{
	if (!watch.open)
		return;
	pthread_mutex_lock(&watch.lock);
	watch.busy = busy;
	if (busy) {
		watch.turn++;
		watch.since = time(NULL);
		wait_anew();
		if (watch.sleeps)
			pthread_cond_signal(&watch.changed);
	}
	pthread_mutex_unlock(&watch.lock);
}
