/* A program in a pseudo-terminal: keys in, reply timed, its bytes told apart. */
#include "bench/bench.h"

#include <poll.h>
#include <pty.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

enum {
	PAUSE_MS = 5,
	PAINT_BYTES = 500,
	QUIET_MS = 60,
	START_QUIET_MS = 400,
	START_WAIT_MS = 20000
};

/* Characters shown and cursor addressings in a reply; escape sequences are passed over. */
struct scan {
	int in; /* 0 text, 1 after ESC, 2 in a CSI, 3 one more byte */
	size_t cells, runs;
};

static void scan_byte(struct scan *s, unsigned char c)
{
	switch (s->in) {
	case 1:
		s->in = c == '[' ? 2 : c == '(' || c == ')' ? 3 : 0;
		return;
	case 2:
		if (c >= 0x40 && c <= 0x7e) {
			s->in = 0;
			s->runs += c == 'H' || c == 'd' || c == 'G' || c == 'C';
		}
		return;
	case 3:
		s->in = 0;
		return;
	default:
		break;
	}
	if (c == 0x1b)
		s->in = 1;
	else if (c >= 0x20 && c != 0x7f && (c & 0xC0) != 0x80)
		s->cells++;
	else if (c < 0x20)
		s->runs++;
}

/* All bytes until `quiet` ms pass without one; false where the program has ended. */
static bool take_reply(struct pty_run *p, double since, int quiet, int first_wait)
{
	unsigned char buf[65536];
	struct scan s = {0};
	p->bytes = 0;
	p->latency = p->first = 0;
	for (int wait = first_wait;; wait = quiet) {
		struct pollfd f = {p->fd, POLLIN, 0};
		if (p->first <= 0 && p->bytes >= PAINT_BYTES && poll(&f, 1, PAUSE_MS) == 0)
			p->first = p->latency;
		if (poll(&f, 1, wait) <= 0)
			break;
		const ssize_t n = read(p->fd, buf, sizeof buf);
		if (n <= 0)
			return false;
		p->latency = bench_now() - since;
		p->bytes += (size_t)n;
		for (ssize_t i = 0; i < n; i++)
			scan_byte(&s, buf[i]);
	}
	p->cells = s.cells;
	p->runs = s.runs;
	return true;
}

bool pty_start(struct pty_run *p, const char *const *argv, int columns, int lines, double *start)
{
	struct winsize size = {(unsigned short)lines, (unsigned short)columns, 0, 0};
	memset(p, 0, sizeof *p);
	const double since = bench_now();
	p->pid = forkpty(&p->fd, NULL, NULL, &size);
	if (p->pid < 0)
		return false;
	if (p->pid == 0) {
		setenv("TERM", "xterm-256color", 1);
		setenv("LC_ALL", "C.UTF-8", 1);
		unsetenv("NO_COLOR");
		unsetenv("LINES");
		unsetenv("COLUMNS");
		execv(argv[0], (char *const *)argv);
		_exit(127);
	}
	if (!take_reply(p, since, START_QUIET_MS, START_WAIT_MS))
		return false;
	*start = p->latency;
	return true;
}

double pty_cpu(const struct pty_run *p)
{
	char path[64];
	unsigned long long ns = 0;
	snprintf(path, sizeof path, "/proc/%d/schedstat", p->pid);
	FILE *f = fopen(path, "r");
	if (!f)
		return 0;
	if (fscanf(f, "%llu", &ns) != 1)
		ns = 0;
	fclose(f);
	return (double)ns * 1e-9;
}

bool pty_keys(struct pty_run *p, const char *keys)
{
	const size_t n = strlen(keys);
	const double since = bench_now();
	return write(p->fd, keys, n) == (ssize_t)n && take_reply(p, since, QUIET_MS, 300);
}

void pty_stop(struct pty_run *p, long *rss_kib)
{
	struct rusage use;
	int status;
	close(p->fd);
	if (waitpid(p->pid, &status, WNOHANG) == 0) {
		usleep(200000);
		kill(p->pid, SIGKILL);
	}
	memset(&use, 0, sizeof use);
	wait4(p->pid, &status, 0, &use);
	if (rss_kib)
		*rss_kib = use.ru_maxrss;
}
