/*
 * The store's writers from a shell, for tests that kill, fail or race them:
 *   savetool save FILE NEW [LOADED]      replace FILE by NEW's bytes if it still is as read (or as
 *                                        LOADED is)
 *   savetool create FILE NEW             a new file
 *   savetool count FILE N TAG            N times: lock, read, append a line, save, unlock
 *   savetool race FILE N TAG             the same without the lock: only the content check holds
 *   savetool edit FILE N PAUSE           journal N edits, telling each on stdout once it is safe
 *   savetool recover FILE                print what the journal of FILE holds
 *   savetool locked FILE SECONDS         take the lock and hold it
 * Exit status: 0 done, 3 written but not confirmed, 4 conflict, 5 failed; the error on stderr.
 */
#include "store/journal.h"
#include "store/lock.h"
#include "store/save.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MAX = 16 * 1024 * 1024 };

static int tell(const struct err *e, int status)
{
	char text[1024];

	err_format(e, text, sizeof text);
	fprintf(stderr, "%s\n", text);
	return status;
}

static int outcome(enum save_outcome got, const struct err *e)
{
	switch (got) {
	case SAVE_DONE:
		return 0;
	case SAVE_UNCONFIRMED:
		return tell(e, 3);
	case SAVE_CONFLICT:
		return tell(e, 4);
	case SAVE_FAILED:
		break;
	}
	return tell(e, 5);
}

static bool slurp(const char *path, char **bytes, size_t *size)
{
	struct err err;

	err_clear(&err);
	return file_read(path, MAX, bytes, size, NULL, &err) || tell(&err, 0);
}

static int save(const char *path, const char *from, const char *loaded)
{
	struct stamp stamp;
	struct err err;
	char *old, *bytes;
	size_t old_size, size;
	int status;

	err_clear(&err);
	if (!slurp(from, &bytes, &size))
		return 5;
	if (file_read(loaded, MAX, &old, &old_size, &stamp, &err)) {
		free(old);
		status = outcome(file_save(path, bytes, size, &stamp, &err), &err);
	} else {
		status = tell(&err, 5);
	}
	free(bytes);
	return status;
}

static int create(const char *path, const char *from)
{
	struct stamp stamp = {0};
	struct err err;
	char *bytes;
	size_t size;
	int status;

	if (!slurp(from, &bytes, &size))
		return 5;
	status = outcome(file_save(path, bytes, size, &stamp, &err), &err);
	free(bytes);
	return status;
}

/* One line more; 0, 4 or 5. */
static int add_line(const char *path, const char *tag, int i, struct err *err)
{
	struct stamp stamp;
	char *old, *bytes;
	size_t size;
	int len;
	enum save_outcome got;

	if (!file_read(path, MAX, &old, &size, &stamp, err))
		return 5;
	bytes = malloc(size + 64);
	memcpy(bytes, old, size);
	len = snprintf(bytes + size, 64, "%s %d\n", tag, i);
	got = file_save(path, bytes, size + (size_t)len, &stamp, err);
	free(old);
	free(bytes);
	return got == SAVE_DONE ? 0 : got == SAVE_CONFLICT ? 4 : 5;
}

static int count(const char *path, int n, const char *tag, bool locked)
{
	int conflicts = 0;

	for (int i = 0; i < n;) {
		struct lock lock;
		struct err err;
		int got;

		lock_init(&lock);
		err_clear(&err);
		if (locked && lock_take(&lock, path, NULL, &err) != LOCK_TAKEN) {
			if (err.cls != ERR_NONE)
				return tell(&err, 5);
			usleep(200);
			continue;
		}
		got = add_line(path, tag, i, &err);
		lock_release(&lock);
		if (got == 5)
			return tell(&err, 5);
		if (got == 0)
			i++;
		else
			conflicts++;
	}
	printf("%d\n", conflicts);
	return 0;
}

static int edit(const char *path, int n, int pause)
{
	struct journal j;
	struct stamp stamp;
	struct err err;
	char *bytes, value[32];
	size_t size;

	err_clear(&err);
	if (!file_read(path, MAX, &bytes, &size, &stamp, &err))
		return tell(&err, 5);
	free(bytes);
	if (!journal_open(&j, path, &stamp, &err))
		return tell(&err, 5);
	for (int i = 1; i <= n; i++) {
		struct change change = {"values.front-wing", value};
		snprintf(value, sizeof value, "%d", i);
		if (!journal_append(&j, &change, 1, &err))
			return tell(&err, 5);
		printf("%d\n", i);
		fflush(stdout);
		if (journal_due(&j) == 0 && !journal_sync(&j, &err))
			return tell(&err, 5);
		if (pause)
			usleep((unsigned)pause);
	}
	if (!journal_sync(&j, &err))
		return tell(&err, 5);
	journal_close(&j);
	return 0;
}

static int recover(const char *path)
{
	struct recovery r;
	struct stamp stamp = {0};
	struct err err;
	char *bytes;
	size_t size;

	err_clear(&err);
	if (file_read(path, MAX, &bytes, &size, &stamp, &err))
		free(bytes);
	if (!journal_recover(path, &stamp, &r, &err))
		return tell(&err, 5);
	if (!r.found)
		return 1;
	printf("records %zu whole %d same %d\n", r.n_records, r.whole, r.same_base);
	for (size_t i = 0; i < r.n_changes; i++)
		printf("%s=%s\n", r.changes[i].key, r.changes[i].value);
	recovery_free(&r);
	return 0;
}

static int locked(const char *path, int seconds)
{
	struct lock lock;
	struct lock_owner who;
	struct err err;
	char text[512];
	enum lock_state got;

	lock_init(&lock);
	got = lock_take(&lock, path, &who, &err);
	if (got == LOCK_HELD) {
		lock_describe(&who, text, sizeof text);
		fprintf(stderr, "held by %s\n", text);
		return 4;
	}
	if (got == LOCK_FAILED)
		return tell(&err, 5);
	printf("taken\n");
	fflush(stdout);
	sleep((unsigned)seconds);
	lock_release(&lock);
	return 0;
}

int main(int argc, char **argv)
{
	const char *what = argc > 2 ? argv[1] : "";

	signal(SIGXFSZ, SIG_IGN);
	if (strcmp(what, "save") == 0 && argc >= 4)
		return save(argv[2], argv[3], argc > 4 ? argv[4] : argv[2]);
	if (strcmp(what, "create") == 0 && argc == 4)
		return create(argv[2], argv[3]);
	if (strcmp(what, "count") == 0 && argc == 5)
		return count(argv[2], atoi(argv[3]), argv[4], true);
	if (strcmp(what, "race") == 0 && argc == 5)
		return count(argv[2], atoi(argv[3]), argv[4], false);
	if (strcmp(what, "edit") == 0 && argc == 5)
		return edit(argv[2], atoi(argv[3]), atoi(argv[4]));
	if (strcmp(what, "recover") == 0)
		return recover(argv[2]);
	if (strcmp(what, "locked") == 0 && argc == 4)
		return locked(argv[2], atoi(argv[3]));
	fprintf(stderr, "savetool: see the head of savetool.c\n");
	return 2;
}
