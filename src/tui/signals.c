#include "tui/signals.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/time.h>
#include <unistd.h>

enum { END_MS = 800 }; /* to end in order; then it is ended, within a second in all */

static volatile sig_atomic_t end_signal, size_changed, stop_asked, continued;
static int wake[2] = {-1, -1};

/* For the crash handler: set once, read by it. */
static struct {
	char text[256];
	size_t len;
	struct termios shell;
	int tty;
	void *stack; /* owned */
} crash = {.tty = -1};

static const int end_signals[] = {SIGHUP, SIGINT, SIGTERM};
/* All others that end a program that does not mind them; the real-time ones come on top. */
static const int crash_signals[] = {SIGSEGV, SIGABRT, SIGBUS, SIGFPE, SIGILL, SIGQUIT, SIGSYS,
	SIGTRAP, SIGXCPU, SIGVTALRM, SIGUSR1, SIGUSR2, SIGIO, SIGPROF, SIGPWR, SIGSTKFLT};
static const int mark_signals[] = {SIGWINCH, SIGTSTP, SIGCONT};

static void wake_loop(void)
{
	int saved = errno;
	ssize_t w = write(wake[1], "", 1);
	(void)w; /* a full pipe wakes as well */
	errno = saved;
}

static void on_end(int sig)
{
	const struct itimerval end = {.it_value.tv_usec = END_MS * 1000};
	if (!end_signal)
		setitimer(ITIMER_REAL, &end, NULL);
	end_signal = sig;
	wake_loop();
}

static void on_mark(int sig)
{
	if (sig == SIGWINCH)
		size_changed = 1;
	else if (sig == SIGTSTP)
		stop_asked = 1;
	else
		continued = 1;
	wake_loop();
}

void signals_restore_now(void)
{
	if (crash.tty < 0)
		return;
	signal(SIGTTOU, SIG_IGN);
	tcsetattr(crash.tty, TCSANOW, &crash.shell);
	int flags = fcntl(crash.tty, F_GETFL);
	if (flags >= 0) /* a stalled terminal must not hold up the end */
		fcntl(crash.tty, F_SETFL, flags | O_NONBLOCK);
	ssize_t w = write(crash.tty, crash.text, crash.len);
	(void)w; /* nothing left to do about it */
	if (flags >= 0)
		fcntl(crash.tty, F_SETFL, flags);
}

/* The time to end in order is over, or somebody else sent it: ended by what was sent. */
static void on_alarm(int sig)
{
	const int by = end_signal ? end_signal : sig;
	sigset_t one;
	signals_restore_now();
	signal(by, SIG_DFL);
	sigemptyset(&one);
	sigaddset(&one, by);
	sigprocmask(SIG_UNBLOCK, &one, NULL);
	raise(by);
	_exit(128 + by);
}

/* SA_RESETHAND has put the default back, so raising takes the usual course. */
static void on_crash(int sig)
{
	signals_restore_now();
	raise(sig);
}

static void set(int sig, void (*handler)(int), unsigned flags)
{
	struct sigaction a;
	memset(&a, 0, sizeof a);
	a.sa_handler = handler;
	a.sa_flags = (int)flags;
	sigemptyset(&a.sa_mask);
	sigaction(sig, &a, NULL);
}

#define SET_ALL(list, handler, flags)                                                              \
	for (size_t i_ = 0; i_ < sizeof(list) / sizeof((list)[0]); i_++)                           \
	set((list)[i_], handler, flags)

static void set_real_time(void (*handler)(int), unsigned flags)
{
	for (int sig = SIGRTMIN; sig <= SIGRTMAX; sig++)
		set(sig, handler, flags);
}

bool signals_open(struct err *err)
{
	if (pipe2(wake, O_CLOEXEC | O_NONBLOCK) != 0)
		return err_failed(err, "cannot make a pipe: %s", strerror(errno));
	size_t size = (size_t)SIGSTKSZ * 2;
	crash.stack = malloc(size);
	if (!crash.stack)
		return err_memory(err);
	stack_t st = {.ss_sp = crash.stack, .ss_size = size};
	sigaltstack(&st, NULL);
	SET_ALL(end_signals, on_end, 0);
	SET_ALL(mark_signals, on_mark, SA_RESTART);
	const unsigned once = SA_ONSTACK | (unsigned)SA_RESETHAND | SA_NODEFER;
	SET_ALL(crash_signals, on_crash, once);
	set_real_time(on_crash, once);
	set(SIGALRM, on_alarm, 0);
	set(SIGPIPE, SIG_IGN, 0);
	return true;
}

void signals_close(void)
{
	SET_ALL(mark_signals, SIG_DFL, 0);
	SET_ALL(crash_signals, SIG_DFL, 0);
	set_real_time(SIG_DFL, 0);
	stack_t off = {.ss_flags = SS_DISABLE};
	sigaltstack(&off, NULL);
	free(crash.stack);
	crash.stack = NULL;
	crash.tty = -1;
}

void signals_crash_text(const char *text, size_t len, const struct termios *shell, int tty)
{
	crash.len = len < sizeof crash.text ? len : sizeof crash.text;
	memcpy(crash.text, text, crash.len);
	crash.shell = *shell;
	crash.tty = tty;
}

int signals_fd(void)
{
	return wake[0];
}

int signals_end(void)
{
	return end_signal;
}

void signals_rest(void)
{
	char bytes[64];
	while (read(wake[0], bytes, sizeof bytes) > 0)
		;
}

bool signals_pending(void)
{
	return end_signal || size_changed || stop_asked || continued;
}

unsigned signals_take(void)
{
	unsigned seen = 0;
	if (!signals_pending()) /* whoever polled the pipe has emptied it */
		return 0;
	signals_rest();
	if (size_changed) {
		size_changed = 0;
		seen |= SIGNALS_SIZE;
	}
	if (stop_asked) {
		stop_asked = 0;
		seen |= SIGNALS_STOP;
	}
	if (continued) {
		continued = 0;
		seen |= SIGNALS_CONTINUED;
	}
	return seen;
}

bool signals_stop(void)
{
	bool stopped;

	continued = 0;
	if (!end_signal) {
		set(SIGTSTP, SIG_DFL, 0);
		raise(SIGTSTP);
		set(SIGTSTP, on_mark, SA_RESTART);
	}
	stopped = continued;
	continued = 0; /* the caller takes the screen back itself */
	return stopped;
}
