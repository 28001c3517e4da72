#include "support.h"

#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

extern char **environ;

static const char *need_env(const char *name)
{
	const char *value = getenv(name);
	if (!value)
		ck_abort_msg("%s is not set; run the suites by make check", name);
	return value;
}

static char *join(const char *a, const char *b, const char *c)
{
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s%s%s", a, b, c), 0);
	return path;
}

bool test_quick(void)
{
	const char *value = getenv("TREADLIGHT_QUICK");
	return value && *value;
}

char *test_source(const char *name)
{
	return join(need_env("TREADLIGHT_SRCDIR"), "/", name);
}

char *test_data(const char *name)
{
	return join(need_env("TREADLIGHT_SRCDIR"), "/tests/data/", name);
}

const char *test_program(void)
{
	return need_env("TREADLIGHT_BIN");
}

char *test_folder(void)
{
	const char *tmp = getenv("TMPDIR");
	char *path = join(tmp && *tmp ? tmp : "/tmp", "/", "treadlight-XXXXXX");
	ck_assert_ptr_nonnull(mkdtemp(path));
	return path;
}

static int remove_one(const char *path, const struct stat *st, int flag, struct FTW *ftw)
{
	(void)st;
	(void)flag;
	(void)ftw;
	return remove(path);
}

void test_remove(const char *path)
{
	nftw(path, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

static char *slurp_stream(FILE *f, size_t *len)
{
	size_t cap = 4096, n = 0, got;
	char *bytes = malloc(cap + 1);
	ck_assert_ptr_nonnull(bytes);
	while ((got = fread(bytes + n, 1, cap - n, f)) > 0) {
		n += got;
		if (n == cap) {
			cap *= 2;
			bytes = realloc(bytes, cap + 1);
			ck_assert_ptr_nonnull(bytes);
		}
	}
	bytes[n] = '\0';
	if (len)
		*len = n;
	return bytes;
}

int test_entries(const char *folder)
{
	char command[4200];
	int n;
	snprintf(command, sizeof command, "ls -A '%s' | wc -l", folder);
	FILE *f = popen(command, "r");
	ck_assert_int_eq(fscanf(f, "%d", &n), 1);
	pclose(f);
	return n;
}

char *test_slurp(const char *path, size_t *len)
{
	FILE *f = fopen(path, "rb");
	if (!f)
		ck_abort_msg("%s: %s", path, strerror(errno));
	char *bytes = slurp_stream(f, len);
	fclose(f);
	return bytes;
}

void test_write(const char *path, const char *bytes, size_t len)
{
	FILE *f = fopen(path, "wb");
	if (!f)
		ck_abort_msg("%s: %s", path, strerror(errno));
	ck_assert_uint_eq(fwrite(bytes, 1, len, f), len);
	ck_assert_int_eq(fclose(f), 0);
}

/* Output goes to unlinked files, so no pipe can fill up and nothing has to be polled. */
struct test_said test_run(const char *const *argv)
{
	struct test_said said = {0};
	FILE *out = tmpfile(), *err = tmpfile();
	ck_assert_ptr_nonnull(out);
	ck_assert_ptr_nonnull(err);
	posix_spawn_file_actions_t acts;
	posix_spawn_file_actions_init(&acts);
	posix_spawn_file_actions_addopen(&acts, 0, "/dev/null", O_RDONLY, 0);
	posix_spawn_file_actions_adddup2(&acts, fileno(out), 1);
	posix_spawn_file_actions_adddup2(&acts, fileno(err), 2);
	pid_t pid;
	int rc = posix_spawn(&pid, argv[0], &acts, NULL, (char *const *)argv, environ);
	posix_spawn_file_actions_destroy(&acts);
	if (rc != 0)
		ck_abort_msg("%s: %s", argv[0], strerror(rc));
	int status;
	while (waitpid(pid, &status, 0) < 0)
		ck_assert_int_eq(errno, EINTR);
	said.status = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
	rewind(out);
	rewind(err);
	said.out = slurp_stream(out, &said.out_len);
	said.err = slurp_stream(err, &said.err_len);
	fclose(out);
	fclose(err);
	return said;
}

void test_said_free(struct test_said *said)
{
	free(said->out);
	free(said->err);
	memset(said, 0, sizeof *said);
}
