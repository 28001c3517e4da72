#include "store/save_parts.h"

#include "base/text.h"
#include "store/host.h"
#include "store/path.h"
#include <dirent.h>
#include <fcntl.h>
#include <inttypes.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

/* A long name is cut: the rest of ours must fit into 255 bytes. */
enum { NAME_PART = 120 };

static uint32_t host_hash(void)
{
	char host[128];

	host_name(host, sizeof host);
	return (uint32_t)hash_bytes(host, strlen(host));
}

/* Unique within the process by the clock, among processes by the pid; O_EXCL has the last word. */
void temp_name(const struct job *j, const char *kind, uint64_t old_hash, char out[TEMP_NAME])
{
	struct timespec now = {0};
	int len;

	clock_gettime(CLOCK_MONOTONIC, &now);
	len = snprintf(out, TEMP_NAME, ".%.*s.tl-%s-%08" PRIx32 "-%ld-%" PRIx64, NAME_PART, j->name,
		kind, host_hash(), (long)getpid(),
		(uint64_t)now.tv_sec * UINT64_C(1000000000) + (uint64_t)now.tv_nsec);
	if (strcmp(kind, "new") != 0)
		snprintf(out + len, TEMP_NAME - (size_t)len, "-%016" PRIx64 "-%016" PRIx64,
			old_hash, j->hash);
}

/* A name of ours, taken apart. */
struct ours {
	char kind[8];
	uint32_t host;
	long pid;
	bool hashed;
	uint64_t old_hash, new_hash;
};

static bool take_apart(const struct job *j, const char *entry, struct ours *o)
{
	char start[NAME_PART + 8];
	uint64_t count;
	size_t len;
	int got;

	snprintf(start, sizeof start, ".%.*s.tl-", NAME_PART, j->name);
	len = strlen(start);
	if (strncmp(entry, start, len) != 0)
		return false;
	*o = (struct ours){0};
	got = sscanf(entry + len, "%7[a-z]-%8" SCNx32 "-%ld-%" SCNx64 "-%16" SCNx64 "-%16" SCNx64,
		o->kind, &o->host, &o->pid, &count, &o->old_hash, &o->new_hash);
	o->hashed = got == 6;
	return got >= 4 && o->pid > 0;
}

static bool is_left_over(const struct ours *o)
{
	if (o->host != host_hash())
		return false;
	return o->pid == (long)getpid() || (kill((pid_t)o->pid, 0) != 0 && errno == ESRCH);
}

bool temp_keep(const struct job *j, int dir, const char *temp, char out[TEMP_NAME])
{
	for (int i = 1; i < 1000; i++) {
		snprintf(out, TEMP_NAME, "%.*s.kept-%d", NAME_PART, j->name, i);
		int code = path_move_new(dir, temp, dir, out);
		if (code == 0)
			return true;
		if (code != EEXIST)
			break;
	}
	snprintf(out, TEMP_NAME, "%s", temp);
	return false;
}

/* swap: it holds our old or new text unless another program came between. copy: it is
 * needed only while the file itself is torn. */
static bool may_go(const struct job *j, const struct ours *o, int dir, const char *entry)
{
	struct stamp st;

	if (strcmp(o->kind, "new") == 0)
		return true;
	if (!o->hashed || !(strcmp(o->kind, "copy") == 0 ? peek(j->dir, j->name, &st)
							 : peek(dir, entry, &st)))
		return false;
	return st.hash == o->old_hash || st.hash == o->new_hash;
}

/* The folder's entries from the start; `dir` itself stays open. */
static DIR *list_folder(int dir)
{
	int fd = (int)AGAIN(openat(dir, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC));
	DIR *d = fd >= 0 ? fdopendir(fd) : NULL;

	if (!d && fd >= 0)
		close(fd);
	return d;
}

void temp_sweep(const struct job *j, int dir)
{
	DIR *d = list_folder(dir); /* none: a leftover does no harm */
	struct dirent *e;

	while (d && (e = readdir(d))) {
		char kept[TEMP_NAME];
		struct ours o;
		if (!take_apart(j, e->d_name, &o) || !is_left_over(&o))
			continue;
		if (may_go(j, &o, dir, e->d_name))
			unlinkat(dir, e->d_name, 0);
		else
			temp_keep(j, dir, e->d_name, kept);
	}
	if (d)
		closedir(d);
}

static char *find_copy(const struct job *j, int dir, const char *folder)
{
	DIR *d = dir >= 0 ? list_folder(dir) : NULL;
	struct dirent *e;
	char *found = NULL;

	while (d && !found && (e = readdir(d))) {
		struct ours o;
		struct buf b;
		if (!take_apart(j, e->d_name, &o) || strcmp(o.kind, "copy") != 0 ||
			!is_left_over(&o) || may_go(j, &o, dir, e->d_name))
			continue;
		buf_init(&b);
		buf_addf(&b, "%s/%s", folder, e->d_name);
		found = buf_take(&b);
	}
	if (d)
		closedir(d);
	return found;
}

bool save_interrupted(const char *path, char **copy)
{
	struct job j = {.path = path, .target = realpath(path, NULL), .dir = -1};
	char *slash = j.target ? strrchr(j.target, '/') : NULL;
	char state[512];
	int dir;

	*copy = NULL;
	if (slash) {
		j.name = slash + 1;
		j.dir = path_open_folder(j.target);
		*slash = '\0';
		*copy = find_copy(&j, j.dir, j.target);
	}
	if (slash && j.dir >= 0 && !*copy) {
		dir = state_folder(state, sizeof state, false);
		*copy = find_copy(&j, dir, state);
		if (dir >= 0)
			close(dir);
	}
	if (j.dir >= 0)
		close(j.dir);
	free(j.target);
	return *copy != NULL;
}
