/*
 * Any bytes at all as what a terminal sends: the real workbench on a pseudo-terminal, on a fresh
 * small book. It must not crash, must leave within a few seconds when the line goes, and the book
 * that it leaves behind must be whole. Byte 0 says which terminal and how large.
 */
#include "store/store.h"
#include "support/small_book.h"
#include "tui/tui.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <gsl/gsl_errno.h>
#include <locale.h>
#include <poll.h>
#include <pty.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { LEFT = 40, SANITIZER = 99, FUZZER = 77, QUIET_MS = 25, PATIENCE_S = 8, BYTES_MAX = 1 << 17 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
const char *__asan_default_options(void);

const char *__asan_default_options(void)
{
	return "exitcode=99";
}

static double now(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void run_workbench(const char *folder, uint8_t which)
{
	static const char *const terms[] = {"xterm-256color", "xterm", "linux", "vt100"};

	setenv("TERM", terms[which & 3], 1);
	setenv("ESCDELAY", "10", 1);
	setenv("XDG_STATE_HOME", folder, 1);
	if (which & 64)
		setenv("NO_COLOR", "1", 1);
	setlocale(LC_ALL, which & 128 ? "C" : "C.UTF-8");
	setlocale(LC_NUMERIC, "C");
	gsl_set_error_handler_off();
	/* What a sanitizer says of the workbench would else go to the pseudo-terminal. */
	const char *tell = getenv("FUZZ_KEYS_TELL");
	int fd = open(tell ? tell : "/dev/null", O_WRONLY | O_CREAT | O_APPEND, 0600);
	if (fd >= 0)
		dup2(fd, 2);
	int status = tui_run(folder, NULL);
	_exit(status == 0 ? LEFT : status);
}

/* Give it the bytes as fast as it takes them and read what it paints, until it is quiet. */
static void feed(int fd, const uint8_t *data, size_t size)
{
	char painted[65536];
	double end = now() + PATIENCE_S;

	while (now() < end) {
		struct pollfd p = {.fd = fd, .events = (short)(POLLIN | (size ? POLLOUT : 0))};
		int got = poll(&p, 1, QUIET_MS);
		if (got == 0 && size == 0)
			return;
		if (p.revents & POLLIN) {
			if (read(fd, painted, sizeof painted) <= 0)
				return;
		} else if (p.revents & (POLLHUP | POLLERR)) {
			return;
		}
		if (p.revents & POLLOUT) {
			ssize_t n = write(fd, data, size < 512 ? size : 512);
			if (n <= 0)
				return;
			data += n;
			size -= (size_t)n;
		}
	}
}

static void await(pid_t pid)
{
	double end = now() + PATIENCE_S;
	int status;

	while (waitpid(pid, &status, WNOHANG) == 0) {
		if (now() > end) {
			fprintf(stderr, "fuzz_keys: still there %d s after the line went\n",
				PATIENCE_S);
			kill(pid, SIGKILL);
			abort();
		}
		usleep(2000);
	}
	if ((WIFSIGNALED(status) && WTERMSIG(status) != SIGHUP) ||
		(WIFEXITED(status) &&
			(WEXITSTATUS(status) == SANITIZER || WEXITSTATUS(status) == FUZZER))) {
		fprintf(stderr, "fuzz_keys: wait status %#x\n", (unsigned)status);
		abort();
	}
}

static int look(const char *path, const struct stat *st, int flag, struct FTW *at)
{
	(void)st;
	if (flag == FTW_F && strstr(path + at->base, ".tl-")) {
		fprintf(stderr, "fuzz_keys: left over: %s\n", path);
		abort();
	}
	return 0;
}

static int drop(const char *path, const struct stat *st, int flag, struct FTW *at)
{
	(void)st;
	(void)flag;
	(void)at;
	return remove(path);
}

static void check_book(const char *folder)
{
	struct faults faults;
	struct book b;
	char text[1024];

	faults_init(&faults);
	book_init(&b);
	if (!store_load_book(&b, folder, &faults)) {
		err_format(&faults.list[0], text, sizeof text);
		fprintf(stderr, "fuzz_keys: the book is not whole: %s\n", text);
		abort();
	}
	book_free(&b);
	faults_free(&faults);
	nftw(folder, look, 16, FTW_PHYS);
	nftw(folder, drop, 16, FTW_DEPTH | FTW_PHYS);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static const struct winsize sizes[] = {
		{24, 80, 0, 0}, {30, 100, 0, 0}, {45, 160, 0, 0}, {10, 40, 0, 0}};
	char folder[] = "/tmp/treadlight-keys-XXXXXX";
	struct winsize ws;
	int fd;
	pid_t pid;

	if (size < 2 || size > BYTES_MAX)
		return 0;
	if (!mkdtemp(folder))
		abort();
	small_book_write(folder);
	ws = sizes[data[0] >> 2 & 3];
	pid = forkpty(&fd, NULL, NULL, &ws);
	if (pid < 0)
		abort();
	if (pid == 0)
		run_workbench(folder, data[0]);
	feed(fd, NULL, 0);
	feed(fd, data + 1, size - 1);
	close(fd);
	await(pid);
	check_book(folder);
	return 0;
}
