#include "base/share.h"

#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <stdatomic.h>

enum { THREADS_MAX = 8 };

struct task {
	void (*one)(void *, size_t);
	void *ctx;
	size_t n;
	atomic_size_t next;
};

static void *take(void *data)
{
	struct task *t = data;
	for (size_t i; (i = atomic_fetch_add(&t->next, 1)) < t->n;)
		t->one(t->ctx, i);
	return NULL;
}

static size_t cores(void)
{
	cpu_set_t set;
	if (sched_getaffinity(0, sizeof set, &set) != 0)
		return 1;
	const int n = CPU_COUNT(&set);
	return n < 1 ? 1 : n > THREADS_MAX ? THREADS_MAX : (size_t)n;
}

/* Helpers take no signal that somebody sends; a fault of their own still reaches its handler. */
static void hold_signals(sigset_t *before)
{
	static const int own[] = {SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGABRT, SIGTRAP, SIGSYS};
	sigset_t held;
	sigfillset(&held);
	for (size_t i = 0; i < sizeof own / sizeof *own; i++)
		sigdelset(&held, own[i]);
	pthread_sigmask(SIG_BLOCK, &held, before);
}

void share_out(size_t n, size_t few, void (*one)(void *ctx, size_t i), void *ctx)
{
	struct task t = {.one = one, .ctx = ctx, .n = n};
	pthread_t helper[THREADS_MAX];
	const size_t most = n < few ? 1 : cores();
	size_t helpers = 0;
	sigset_t before;
	if (most > 1) {
		hold_signals(&before);
		while (helpers + 1 < most && helpers + 1 < n &&
			pthread_create(&helper[helpers], NULL, take, &t) == 0)
			helpers++;
		pthread_sigmask(SIG_SETMASK, &before, NULL);
	}
	take(&t);
	for (size_t i = 0; i < helpers; i++)
		pthread_join(helper[i], NULL);
}
