#include "store/save_parts.h"

#include "base/text.h"
#include "store/host.h"
#include "store/path.h"
#include <fcntl.h>
#include <inttypes.h>
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
void temp_name(const struct job *j, const char *name, const char *kind, uint64_t old_hash,
	char out[TEMP_NAME])
{
	struct timespec now = {0};
	int len;

	clock_gettime(CLOCK_MONOTONIC, &now);
	len = snprintf(out, TEMP_NAME, ".%.*s.tl-%s-%08" PRIx32 "-%ld-%" PRIx64, NAME_PART, name,
		kind, host_hash(), (long)getpid(),
		(uint64_t)now.tv_sec * UINT64_C(1000000000) + (uint64_t)now.tv_nsec);
	if (strcmp(kind, "new") != 0)
		snprintf(out + len, TEMP_NAME - (size_t)len, "-%016" PRIx64 "-%016" PRIx64,
			old_hash, j->hash);
}

/* What stands behind ".NAME.tl-". */
static bool take_tail(const char *tail, struct leftover *o)
{
	uint64_t count;
	int got;

	*o = (struct leftover){0};
	got = sscanf(tail, "%7[a-z]-%8" SCNx32 "-%ld-%" SCNx64 "-%16" SCNx64 "-%16" SCNx64, o->kind,
		&o->host, &o->pid, &count, &o->old_hash, &o->new_hash);
	o->hashed = got == 6;
	return got >= 4 && o->pid > 0;
}

static bool is_copy(const struct leftover *o)
{
	return o->hashed && strcmp(o->kind, "copy") == 0;
}

/* Copies are looked for from every machine: whoever reads a torn file is to know. */
static bool is_left_over(const struct leftover *o)
{
	if (o->host != host_hash())
		return is_copy(o);
	return o->pid == (long)getpid() || process_is_gone(o->pid);
}

bool temp_take_apart(const char *name, const char *entry, struct leftover *o)
{
	char start[NAME_PART + 8];
	size_t len;

	snprintf(start, sizeof start, ".%.*s.tl-", NAME_PART, name);
	len = strlen(start);
	return strncmp(entry, start, len) == 0 && take_tail(entry + len, o) && is_left_over(o);
}

bool temp_copy_of(const char *entry, char name[TEMP_NAME])
{
	const char *mark = NULL, *next = entry;
	struct leftover o;

	while ((next = strstr(next, ".tl-copy-")))
		mark = next++;
	if (entry[0] != '.' || !mark || mark - entry > NAME_PART)
		return false;
	snprintf(name, TEMP_NAME, "%.*s", (int)(mark - entry - 1), entry + 1);
	return temp_take_apart(name, entry, &o) && is_copy(&o);
}

void temp_own_name(const struct job *j, char out[OWN_NAME])
{
	snprintf(out, OWN_NAME, "%016" PRIx64 ".%.*s", hash_bytes(j->target, strlen(j->target)),
		NAME_PART, j->name);
}

/* What ours in a folder are called by. */
static const char *called(const struct job *j, int dir, char own[OWN_NAME])
{
	temp_own_name(j, own);
	return dir == j->dir ? j->name : own;
}

bool temp_keep(const struct job *j, int dir, const char *temp, char out[TEMP_NAME])
{
	char own[OWN_NAME];
	const char *name = called(j, dir, own);

	for (int i = 1; i < 1000; i++) {
		snprintf(out, TEMP_NAME, "%.*s.kept-%d", NAME_PART, name, i);
		int code = path_move_new(dir, temp, dir, out);
		if (code == 0)
			return true;
		if (code != EEXIST)
			break;
	}
	snprintf(out, TEMP_NAME, "%s", temp);
	return false;
}

static bool is_either(int dir, const char *name, const struct leftover *o)
{
	struct stamp st;

	return peek(dir, name, &st) && (st.hash == o->old_hash || st.hash == o->new_hash);
}

bool temp_may_go(const struct job *j, const struct leftover *o, int dir, const char *entry)
{
	if (strcmp(o->kind, "new") == 0)
		return true;
	return o->hashed && is_either(j->dir, j->name, o) &&
	       (is_copy(o) || is_either(dir, entry, o));
}

DIR *temp_list(int dir)
{
	int fd = (int)AGAIN(openat(dir, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC));
	DIR *d = fd >= 0 ? fdopendir(fd) : NULL;

	if (!d && fd >= 0)
		close(fd);
	return d;
}

static void sweep_entry(struct job *j, int dir, const char *name, const char *entry)
{
	char kept[TEMP_NAME];
	struct leftover o;

	if (!temp_take_apart(name, entry, &o))
		return;
	if (temp_may_go(j, &o, dir, entry))
		unlinkat(dir, entry, 0);
	else if (temp_keep(j, dir, entry, kept) && !j->kept[0])
		memcpy(j->kept, kept, sizeof kept);
}

void temp_sweep(struct job *j, int dir)
{
	DIR *d = temp_list(dir); /* none: a leftover does no harm */
	char own[OWN_NAME];
	const char *name = called(j, dir, own);
	struct dirent *e;

	while (d && (e = readdir(d)))
		sweep_entry(j, dir, name, e->d_name);
	if (d)
		closedir(d);
}

void temp_sweep_list(struct job *j, const struct leftovers *l)
{
	for (size_t i = 0; i < l->n; i++)
		sweep_entry(j, j->dir, j->name, l->names[i]);
}

static bool add_leftover(struct leftovers *l, const char *entry)
{
	char(*names)[TEMP_NAME] = realloc(l->names, (l->n + 1) * sizeof *names);

	if (!names)
		return false;
	l->names = names;
	snprintf(names[l->n++], TEMP_NAME, "%s", entry);
	return true;
}

void leftovers_list(struct leftovers *l, const char *path)
{
	int dir = path_open_folder(path);
	DIR *d = dir >= 0 ? temp_list(dir) : NULL;
	struct dirent *e;

	*l = (struct leftovers){.known = d != NULL};
	while (d && l->known && (e = readdir(d)))
		if (e->d_name[0] == '.' && strstr(e->d_name, ".tl-"))
			l->known = add_leftover(l, e->d_name);
	if (d)
		closedir(d);
	if (dir >= 0)
		close(dir);
}

void leftovers_free(struct leftovers *l)
{
	free(l->names);
	*l = (struct leftovers){0};
}
