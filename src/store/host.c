#include "store/host.h"

#include "store/save_parts.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <pwd.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

void host_name(char *buf, size_t size)
{
	if (gethostname(buf, size) != 0)
		buf[0] = '\0';
	buf[size - 1] = '\0'; /* a name too long may come without */
	if (!buf[0])
		snprintf(buf, size, "localhost");
}

static bool is_name(const char *name)
{
	return name && name[0];
}

void user_name(char *buf, size_t size)
{
	const char *name = getenv("LOGNAME");

	if (!is_name(name))
		name = getenv("USER");
	if (!is_name(name)) {
		const struct passwd *pw = getpwuid(geteuid());
		name = pw ? pw->pw_name : NULL;
	}
	if (is_name(name))
		snprintf(buf, size, "%s", name);
	else
		snprintf(buf, size, "user-%ld", (long)geteuid());
}

int64_t boot_time(void)
{
	FILE *f = fopen("/proc/stat", "re");
	char line[256];
	int64_t boot = 0;

	while (f && boot == 0 && fgets(line, sizeof line, f)) {
		if (sscanf(line, "btime %" SCNd64, &boot) != 1)
			boot = 0;
	}
	if (f)
		fclose(f);
	return boot;
}

int64_t monotonic_seconds(void)
{
	struct timespec now = {0};

	clock_gettime(CLOCK_MONOTONIC, &now);
	return (int64_t)now.tv_sec;
}

int64_t uptime_seconds(void)
{
	struct timespec now = {0};

	clock_gettime(CLOCK_BOOTTIME, &now);
	return (int64_t)now.tv_sec;
}

void wait_a_tenth(void)
{
	const struct timespec tenth = {.tv_nsec = 100000000};

	nanosleep(&tenth, NULL);
}

/* "PID (NAME) STATE ...", the start as 22nd; the name may hold anything, brackets too. */
static bool read_process(char *line, struct process *p)
{
	char *name = strchr(line, '('), *end = strrchr(line, ')');
	uint64_t ticks;

	if (!name || !end || end < name)
		return false;
	*end = '\0';
	snprintf(p->name, sizeof p->name, "%s", name + 1);
	if (sscanf(end + 1,
		    " %c %*s %*s %*s %*s %*s %*s %*s %*s %*s %*s %*s %*s %*s %*s %*s %*s %*s %*s "
		    "%" SCNu64,
		    &p->state, &ticks) != 2)
		return false;
	p->start = (int64_t)(ticks / (uint64_t)sysconf(_SC_CLK_TCK));
	return true;
}

bool process_look(long pid, struct process *p)
{
	char path[64], line[1024];
	FILE *f;
	bool ok;

	snprintf(path, sizeof path, "/proc/%ld/stat", pid);
	f = fopen(path, "re");
	ok = f && fgets(line, sizeof line, f) && read_process(line, p);
	if (f)
		fclose(f);
	return ok;
}

bool process_is_gone(long pid)
{
	struct process p, self;

	if (kill((pid_t)pid, 0) != 0 && errno == ESRCH)
		return true;
	return process_look(pid, &p) && (p.state == 'Z' || (process_look((long)getpid(), &self) &&
								   strcmp(p.name, self.name) != 0));
}

/* Make every part of a path that is missing. */
static void make_folders(char *path)
{
	for (char *p = path + 1; *p; p++) {
		if (*p != '/')
			continue;
		*p = '\0';
		mkdir(path, 0700);
		*p = '/';
	}
	mkdir(path, 0700);
}

int state_folder(char *buf, size_t size, bool make)
{
	const char *state = getenv("XDG_STATE_HOME"), *home = getenv("HOME");
	int len;

	if (state && state[0] == '/')
		len = snprintf(buf, size, "%s/treadlight", state);
	else if (home && home[0] == '/')
		len = snprintf(buf, size, "%s/.local/state/treadlight", home);
	else
		len = -1;
	if (len < 0 || (size_t)len >= size) {
		buf[0] = '\0';
		errno = len < 0 ? ENOENT : ENAMETOOLONG;
		return -1;
	}
	if (make)
		make_folders(buf);
	return (int)AGAIN(open(buf, O_RDONLY | O_DIRECTORY | O_CLOEXEC));
}
