/*
 * A save killed at every system call, and every system call of a save failing, once and from then
 * on. strace injects; where it may not trace, that is said and nothing is claimed.
 *
 * The points are (system call, occurrence) pairs of a first, undisturbed run, from the first call
 * that names the file: `when=K` counts per call's name.
 */
#include "store/save_parts.h"
#include "support/abilities.h"
#include "support/savetool.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/xattr.h>
#include <unistd.h>

enum { MAX_POINTS = 400 };

enum scenario {
	REPLACE,  /* by exchange, with owner, access list and attributes to keep */
	IN_PLACE, /* a second name */
	CREATE,
};
static const char *const scenario_names[] = {"replace", "in place", "create"};

struct point {
	char name[32];
	int k;
};

static char *folder, *outside, path[4096], second[4096], new_path[4096], trace[4096];
static char *old_text, *new_text;
static size_t old_size, new_size;

static void setup(void)
{
	folder = test_folder();
	outside = test_folder();
	snprintf(path, sizeof path, "%s/kind.yaml", folder);
	snprintf(second, sizeof second, "%s/second", folder);
	snprintf(new_path, sizeof new_path, "%s/new", outside);
	snprintf(trace, sizeof trace, "%s/trace", outside);
	setenv("XDG_STATE_HOME", outside, 1);
	/* The leak checker cannot run under a tracer. */
	setenv("ASAN_OPTIONS", "detect_leaks=0", 1);
}

static void teardown(void)
{
	test_remove(folder);
	test_remove(outside);
	free(folder);
	free(outside);
	free(old_text);
	free(new_text);
}

/* Text of so many bytes that starts with `tag`. */
static char *text_of(char tag, size_t size)
{
	char *text = malloc(size + 1);

	ck_assert_ptr_nonnull(text);
	for (size_t i = 0; i < size; i++)
		text[i] = i % 64 == 63 ? '\n' : (char)(tag + (char)(i % 7));
	text[size] = '\0';
	return text;
}

static void prepare(enum scenario what)
{
	unlink(path);
	unlink(second);
	if (what == CREATE)
		return;
	test_write(path, old_text, old_size);
	if (what == IN_PLACE) {
		ck_assert_int_eq(link(path, second), 0);
		return;
	}
	if (setxattr(path, "user.origin", "x", 1, 0) != 0)
		return; /* not on every file system */
	if (geteuid() == 0)
		ck_assert_int_eq(chown(path, 1234, 2345), 0);
	ck_assert_int_eq(chmod(path, 0640), 0);
}

static void sizes(size_t old, size_t new)
{
	free(old_text);
	free(new_text);
	old_text = text_of('a', old_size = old);
	new_text = text_of('n', new_size = new);
	test_write(new_path, new_text, new_size);
}

static const char *find_strace(void)
{
	static const char *const places[] = {
		"/usr/bin/strace", "/bin/strace", "/usr/local/bin/strace"};

	for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
		if (access(places[i], X_OK) == 0)
			return places[i];
	}
	return NULL;
}

static struct test_said run(enum scenario what, const char *inject, const char *out)
{
	const char *argv[] = {find_strace(), "-o", out, "-e", inject, test_savetool(),
		what == CREATE ? "create" : "save", path, new_path, NULL};
	struct test_said said;

	/* In a coverage build the killed one's counts must not tear the others'. */
	setenv("GCOV_PREFIX", outside, 1);
	said = test_run(argv);
	unsetenv("GCOV_PREFIX");
	return said;
}

/* The points of an undisturbed save; 0 where nothing can be traced. */
static size_t find_points(enum scenario what, struct point *points)
{
	struct point seen[100];
	size_t n = 0, n_seen = 0;
	bool ours = false;
	char *text, *rest, *line;

	prepare(what);
	if (!find_strace())
		return 0;
	struct test_said said = run(what, "trace=all", trace);
	int status = said.status;
	test_said_free(&said);
	if (status != 0 || access(trace, R_OK) != 0)
		return 0;
	text = rest = test_slurp(trace, NULL);
	while ((line = strsep(&rest, "\n"))) {
		size_t len = strspn(line, "abcdefghijklmnopqrstuvwxyz_0123456789"), i;
		if (len == 0 || len > 31 || line[len] != '(')
			continue;
		if (ours && strstr(line, outside))
			break; /* counts of a coverage build */
		ours = ours || (strstr(line, path) && strncmp(line, "execve", 6) != 0);
		line[len] = '\0';
		for (i = 0; i < n_seen && strcmp(seen[i].name, line) != 0; i++)
			;
		if (i == n_seen) {
			ck_assert_uint_lt(n_seen, 100);
			snprintf(seen[n_seen].name, sizeof seen->name, "%.31s", line);
			seen[n_seen++].k = 0;
		}
		seen[i].k++;
		if (ours && strcmp(line, "exit_group") != 0 && n < MAX_POINTS)
			points[n++] = seen[i];
	}
	free(text);
	return n;
}

static bool is_text(const char *name, const char *text, size_t size)
{
	size_t len;
	char *bytes;
	bool same;

	if (access(name, F_OK) != 0)
		return false;
	bytes = test_slurp(name, &len);
	same = len == size && memcmp(bytes, text, size) == 0;
	free(bytes);
	return same;
}

static bool is_old(enum scenario what)
{
	return what == CREATE ? access(path, F_OK) != 0 : is_text(path, old_text, old_size);
}

static bool skip(size_t n)
{
	if (n > 0)
		return false;
	printf("SKIPPED here: strace is missing or may not trace; no save was killed\n");
	return true;
}

struct kills {
	int points, old, new, told; /* told: torn, and save_interrupted() has the old text */
};

/* Where no rename replaces, every save is a rewrite in place. */
static bool may_tear(enum scenario what)
{
	return what == IN_PLACE || (what == REPLACE && !test_can(folder, CAN_REPLACE));
}

/* Whatever the kill left, the next save works and sweeps up. */
static void save_after(enum scenario what)
{
	struct stamp s = {0};
	struct err err;
	char *bytes;
	size_t size;

	err_clear(&err);
	if (file_read(path, 1 << 24, &bytes, &size, &s, &err))
		free(bytes);
	ck_assert_msg(file_save(path, "after\n", 6, &s, &err) == SAVE_DONE, "%s", err.text);
	ck_assert(is_text(path, "after\n", 6));
	if (what != IN_PLACE)
		ck_assert_int_eq(test_entries(folder), 1);
}

static void kill_at(enum scenario what, const struct point *p, struct kills *k)
{
	char inject[160], *copy = NULL;
	struct test_said said;
	int status;

	prepare(what);
	snprintf(inject, sizeof inject, "inject=%.31s:signal=KILL:when=%d", p->name, p->k);
	said = run(what, inject, "/dev/null");
	status = said.status;
	test_said_free(&said);
	ck_assert_msg(status == 128 + 9, "%s %d: status %d", p->name, p->k, status);
	k->points++;
	if (is_old(what)) {
		k->old++;
	} else if (is_text(path, new_text, new_size)) {
		k->new ++;
	} else {
		ck_assert_msg(may_tear(what), "%s %d: neither old nor new", p->name, p->k);
		ck_assert_msg(save_interrupted(path, &copy), "%s %d: torn, untold", p->name, p->k);
		ck_assert(is_text(copy, old_text, old_size));
		ck_assert_int_eq(unlink(copy), 0);
		free(copy);
		k->told++;
	}
	save_after(what);
}

static void kill_everywhere(enum scenario what, size_t old, size_t new)
{
	struct point points[MAX_POINTS];
	struct kills k = {0};
	size_t n;

	sizes(old, new);
	n = find_points(what, points);
	if (skip(n))
		return;
	ck_assert_uint_ge(n, 15);
	ck_assert_uint_lt(n, MAX_POINTS);
	for (size_t i = 0; i < n; i++)
		kill_at(what, &points[i], &k);
	printf("kill -9, %s, %zu to %zu bytes: %d points, %d old, %d new, %d torn with the old "
	       "text "
	       "set aside, 0 other\n",
		scenario_names[what], old, new, k.points, k.old, k.new, k.told);
	if (what != IN_PLACE)
		ck_assert_int_eq(k.old + k.new, k.points);
	ck_assert_int_ge(k.old, 1);
	ck_assert_int_ge(k.new, 1);
}

static const size_t some_sizes[] = {60, 3000, 1000000};

/* The checks before a landing make do with the first size. */
static bool leave_out(int size)
{
	return test_quick() && size > 0;
}

START_TEST(killed_while_it_replaces)
{
	if (leave_out(_i))
		return;
	kill_everywhere(REPLACE, some_sizes[_i], some_sizes[_i] + 7);
}
END_TEST

START_TEST(killed_while_it_makes_a_new_file)
{
	if (leave_out(_i))
		return;
	kill_everywhere(CREATE, some_sizes[_i], some_sizes[_i]);
}
END_TEST

START_TEST(killed_while_it_rewrites_in_place)
{
	if (!test_can(folder, CAN_LINK))
		return;
	if (leave_out(_i))
		return;
	kill_everywhere(IN_PLACE, some_sizes[_i], some_sizes[_i] / 2);
}
END_TEST

/* --- errors --- */

static const struct {
	const char *name;
	int code;
} codes[] = {
	{"ENOSPC", ENOSPC}, {"EIO", EIO}, {"EDQUOT", EDQUOT}, {"EACCES", EACCES}, {"EROFS", EROFS}};

/* Calls on files; others cannot fail in these ways. */
static bool can_fail(const char *name)
{
	static const char *const calls[] = {"openat", "read", "write", "close", "fsync", "fchown",
		"fchmod", "flistxattr", "fgetxattr", "fsetxattr", "fremovexattr", "renameat",
		"renameat2", "unlinkat", "getdents64", "faccessat2", "faccessat", "lseek",
		"ftruncate", "fallocate", "linkat", "newfstatat", "fstat", "lstat", "readlink",
		"statx"};

	for (size_t i = 0; i < sizeof calls / sizeof *calls; i++) {
		if (strcmp(calls[i], name) == 0)
			return true;
	}
	return false;
}

struct faulted {
	int all, saved, unconfirmed, failed, damaged;
};

/* A save that says it is damaged must have the old text set aside, and say where. */
static void check_damage(const char *what)
{
	char *copy;

	ck_assert_msg(save_interrupted(path, &copy), "%s: damaged, no copy", what);
	ck_assert_msg(is_text(copy, old_text, old_size), "%s: the copy is not the old text", what);
	ck_assert_int_eq(unlink(copy), 0);
	free(copy);
}

static void check_outcome(enum scenario what, const char *inject, int code, bool lasting,
	const struct test_said *said, struct faulted *f)
{
	bool is_new = is_text(path, new_text, new_size);

	switch (said->status) {
	case 0:
		ck_assert_msg(is_new, "%s: success, and not the new text", inject);
		f->saved++;
		return;
	case 3:
		ck_assert_msg(
			is_new && strstr(said->err, "not confirmed"), "%s: %s", inject, said->err);
		f->unconfirmed++;
		return;
	case 5:
		/* Where every write fails, the tool's own message does too. Where no rename
		 * replaces, that may be the reason told. */
		ck_assert_msg(strstr(said->err, strerror(code)) ||
				      (lasting && strstr(inject, "=write:")) ||
				      (strstr(said->err, "renaming failed") && may_tear(what)),
			"%s: silent: %s", inject, said->err);
		if (strstr(said->err, "is damaged")) {
			ck_assert_msg(may_tear(what) && lasting, "%s: damaged", inject);
			check_damage(inject);
			f->damaged++;
			return;
		}
		ck_assert_msg(is_old(what), "%s: failed, and not the old text", inject);
		f->failed++;
		/* A copy may stay where a sync failed, what cannot be unlinked, and what cannot be
		 * told from another program's text any more. */
		if (!may_tear(what) && !strstr(inject, "unlinkat") &&
			!(lasting && strstr(inject, "newfstatat")))
			ck_assert_msg(test_entries(folder) == (what == CREATE ? 0 : 1),
				"%s: left over", inject);
		return;
	default:
		ck_abort_msg("%s: status %d: %s", inject, said->status, said->err);
	}
}

static void clean_folder(void)
{
	test_remove(folder);
	ck_assert_int_eq(mkdir(folder, 0700), 0);
}

static void fail_at(enum scenario what, const struct point *p, struct faulted *f)
{
	for (size_t i = 0; i < 2 * (sizeof codes / sizeof *codes); i++) {
		bool lasting = i % 2;
		char inject[160];
		struct test_said said;

		/* In the short run one of the codes at each point, another one at the next. */
		if (!test_long() && (i / 2 + (size_t)p->k) % 5 != 0)
			continue;
		clean_folder();
		prepare(what);
		snprintf(inject, sizeof inject, "inject=%.31s:error=%s:when=%d%s", p->name,
			codes[i / 2].name, p->k, lasting ? "+" : "");
		said = run(what, inject, "/dev/null");
		check_outcome(what, inject, codes[i / 2].code, lasting, &said, f);
		test_said_free(&said);
		f->all++;
	}
}

static void fail_everywhere(enum scenario what, size_t old, size_t new)
{
	struct point points[MAX_POINTS];
	struct faulted f = {0};
	size_t n;

	sizes(old, new);
	n = find_points(what, points);
	if (skip(n))
		return;
	for (size_t i = 0; i < n; i++) {
		if (can_fail(points[i].name))
			fail_at(what, &points[i], &f);
	}
	printf("errors, %s: %d injected, %d failed loudly with the old text in place, %d saved all "
	       "the "
	       "same, %d saved but not confirmed, %d damaged with the old text set aside and "
	       "told\n",
		scenario_names[what], f.all, f.failed, f.saved, f.unconfirmed, f.damaged);
	ck_assert_int_ge(f.all, 20);
	ck_assert_int_ge(f.failed, 10);
}

START_TEST(every_call_fails_while_it_replaces)
{
	fail_everywhere(REPLACE, 300, 307);
}
END_TEST

START_TEST(every_call_fails_while_it_makes_a_new_file)
{
	fail_everywhere(CREATE, 300, 307);
}
END_TEST

START_TEST(every_call_fails_while_it_rewrites_in_place)
{
	if (!test_can(folder, CAN_LINK))
		return;
	fail_everywhere(IN_PLACE, 300, 200);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("save killed and failing");
	TCase *c = tcase_create("faults");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 900);
	tcase_add_loop_test(c, killed_while_it_replaces, 0, 3);
	tcase_add_loop_test(c, killed_while_it_makes_a_new_file, 0, 3);
	tcase_add_loop_test(c, killed_while_it_rewrites_in_place, 0, 3);
	tcase_add_test(c, every_call_fails_while_it_replaces);
	tcase_add_test(c, every_call_fails_while_it_makes_a_new_file);
	tcase_add_test(c, every_call_fails_while_it_rewrites_in_place);
	suite_add_tcase(s, c);
	return s;
}
