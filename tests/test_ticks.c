/* Runs of a book noted in its plan: by several programs at once, and where something is in the way.
 */
#include "plan/plan.h"
#include "store/plan_file.h"
#include "store/store.h"
#include "support/support.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

enum { ALIKE = 16 };

static char *folder, *plan_file;
static struct book book;

/* --- what the linker puts between (--wrap) ------------------------------------------- */

static bool unseen; /* plan.yaml cannot be looked at */
int __real_stat(const char *path, struct stat *st);
int __wrap_stat(const char *path, struct stat *st);
int __wrap_stat(const char *path, struct stat *st)
{
	if (unseen && strcmp(path, plan_file) == 0) {
		errno = EIO;
		return -1;
	}
	return __real_stat(path, st);
}

static int strangers; /* so often somebody without the lock writes to plan.yaml during a save */
int __real_faccessat(int dir, const char *path, int mode, int flags);
int __wrap_faccessat(int dir, const char *path, int mode, int flags);
int __wrap_faccessat(int dir, const char *path, int mode, int flags)
{
	if (strangers > 0) {
		strangers--;
		FILE *f = fopen(plan_file, "a");
		ck_assert_ptr_nonnull(f);
		fputs("# a stranger's\n", f);
		fclose(f);
	}
	return __real_faccessat(dir, path, mode, flags);
}

/* --- a book whose plan is the base, sixteen times ------------------------------------ */

static char *in_book(const char *name)
{
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/%s", folder, name), 0);
	return path;
}

static void copy_in(const char *from, const char *name)
{
	char *source = test_source(from), *target = in_book(name);
	size_t size;
	char *bytes = test_slurp(source, &size);
	test_write(target, bytes, size);
	free(bytes);
	free(target);
	free(source);
}

static void write_plan(void)
{
	struct err e;
	struct buf text, out;
	struct plan_options o = {.kind = PLAN_SCREENING, .base = &book.sheets[0], .rng = 3};
	err_clear(&e);
	struct plan *p = plan_new(&book, &o, &e);
	ck_assert_msg(p != NULL, "%s", e.text);
	buf_init(&text);
	buf_init(&out);
	print_plan(&text, &book.car, p);
	const char *first = strstr(text.data, "  - role"), *second = strstr(first + 1, "  - role");
	buf_add(&out, text.data, (size_t)(first - text.data));
	for (int i = 0; i < ALIKE; i++)
		buf_add(&out, first, (size_t)(second - first));
	test_write(plan_file, out.data, out.len);
	buf_free(&text);
	buf_free(&out);
	plan_free(p);
}

static void setup(void)
{
	static const char *const folders[] = {"sheets", "runs"};
	folder = test_folder();
	char *top = test_source("");
	setenv("TREADLIGHT_DATADIR", top, 1);
	free(top);
	for (size_t i = 0; i < 2; i++) {
		char *path = in_book(folders[i]);
		ck_assert_int_eq(mkdir(path, 0777), 0);
		free(path);
	}
	copy_in("share/demo/book.yaml", "book.yaml");
	copy_in("share/demo/sheets/quick-base.yaml", "sheets/quick-base.yaml");
	copy_in("share/demo/runs/r01.yaml", "runs/r01.yaml");
	plan_file = in_book("plan.yaml");
	struct faults f;
	faults_init(&f);
	book_init(&book);
	ck_assert_msg(store_load_book(&book, folder, &f), "%s", f.n ? f.list[0].text : "");
	write_plan();
}

static void teardown(void)
{
	book_free(&book);
	test_remove(folder);
	free(folder);
	free(plan_file);
}

static struct plan *load(void)
{
	struct faults f;
	struct plan *p;
	faults_init(&f);
	ck_assert_msg(store_load_plan(&p, &book, &f) && p, "%s", f.n ? f.list[0].text : "");
	return p;
}

static char *slurp(void)
{
	size_t size;
	return test_slurp(plan_file, &size);
}

/* A run of that id on the base, one lap; in a file for log. */
static char *csv_of(const char *id)
{
	char name[64], text[200];
	snprintf(name, sizeof name, "%s.csv", id);
	snprintf(text, sizeof text, "run,sheet,lap,time\n%s,quick-base,1,91.2\n", id);
	char *path = in_book(name);
	test_write(path, text, strlen(text));
	return path;
}

static struct run run_of(const char *id)
{
	struct run r;
	run_init(&r);
	ck_assert(run_copy(&r, &book.runs[0]));
	snprintf(r.id, sizeof r.id, "%s", id);
	memcpy(r.values, book.sheets[0].values, r.n_values * sizeof *r.values);
	return r;
}

static struct test_said log_run(const char *id)
{
	char *csv = csv_of(id);
	const char *argv[] = {test_program(), "log", folder, "--csv", csv, NULL};
	struct test_said said = test_run(argv);
	free(csv);
	return said;
}

static void put_lock(void)
{
	char *lock = in_book(".#plan.yaml");
	ck_assert_int_eq(symlink("joe@elsewhere.5:1", lock), 0);
	free(lock);
}

/* --- tests --------------------------------------------------------------------------- */

START_TEST(programs_at_once_tick_off_a_run_each)
{
	pid_t pids[ALIKE];
	char id[16];
	for (int i = 0; i < ALIKE; i++) {
		snprintf(id, sizeof id, "x%02d", i);
		char *csv = csv_of(id);
		pids[i] = fork();
		ck_assert_int_ge(pids[i], 0);
		if (pids[i] == 0) {
			ck_assert_ptr_nonnull(freopen("/dev/null", "w", stdout));
			execl(test_program(), test_program(), "log", folder, "--csv", csv, NULL);
			_exit(99);
		}
		free(csv);
	}
	for (int i = 0; i < ALIKE; i++) {
		int status;
		ck_assert_int_eq(waitpid(pids[i], &status, 0), pids[i]);
		ck_assert(WIFEXITED(status) && WEXITSTATUS(status) == 0);
	}
	bool seen[ALIKE] = {false};
	struct plan *p = load();
	for (int i = 0; i < ALIKE; i++) {
		ck_assert_msg(p->runs[i].done[0] == 'x', "run %d: '%s'", i + 1, p->runs[i].done);
		seen[strtol(p->runs[i].done + 1, NULL, 10)] = true;
	}
	for (int i = 0; i < ALIKE; i++) {
		ck_assert_msg(seen[i], "x%02d", i);
		snprintf(id, sizeof id, "runs/x%02d.yaml", i);
		char *run = in_book(id);
		ck_assert_int_eq(access(run, F_OK), 0);
		free(run);
	}
	plan_free(p);
}
END_TEST

/* Whoever holds the lock of plan.yaml is told of, and not written over; the run itself is logged.
 */
START_TEST(a_lock_of_somebody_else_is_respected)
{
	char *before = slurp(), *after, want[4400];
	put_lock();
	struct test_said said = log_run("x1");
	ck_assert_int_eq(said.status, 1);
	ck_assert_ptr_nonnull(strstr(said.err, "is being edited by joe on elsewhere"));
	snprintf(want, sizeof want, "later: treadlight plan %s --done 1=x1\n", folder);
	ck_assert_msg(strstr(said.err, want) != NULL, "%s", said.err);
	ck_assert_ptr_nonnull(strstr(said.out, "x1: 1 lap"));
	ck_assert_ptr_null(strstr(said.out, "ticked off"));
	test_said_free(&said);
	char *run = in_book("runs/x1.yaml");
	ck_assert_int_eq(access(run, F_OK), 0);
	free(run);
	static const char *const words[][6] = {
		{"--done", "1=x1"}, {"--kind", "screening", "--store", "--replace"}};
	for (size_t i = 0; i < 2; i++) {
		const char *argv[10] = {test_program(), "plan", folder};
		memcpy(argv + 3, words[i], sizeof words[i]);
		said = test_run(argv);
		ck_assert_int_eq(said.status, 1);
		ck_assert_ptr_nonnull(strstr(said.err, "is being edited by joe on elsewhere"));
		test_said_free(&said);
	}
	after = slurp();
	ck_assert_str_eq(before, after);
	free(before);
	free(after);
}
END_TEST

/* A lock in which there is nothing to write is no hindrance. */
START_TEST(a_run_of_no_plan_asks_for_no_lock)
{
	size_t left;
	struct err e;
	struct plan_tick t;
	struct run r = run_of("x1");
	r.values[0] += book.car.adjustables[0].step;
	put_lock();
	err_clear(&e);
	ck_assert_msg(store_tick_runs(&book, &r, 1, &t, &left, &e), "%s", e.text);
	ck_assert(t.at == -1 && t.other == -1 && !t.before);
	ck_assert_uint_eq(left, ALIKE);
	ck_assert_int_eq(remove(plan_file), 0);
	ck_assert(store_tick_runs(&book, &r, 1, &t, &left, &e));
	ck_assert(t.at == -1 && left == 0);
	run_free(&r);
}
END_TEST

/* The next open run alike is taken; one that is noted stays noted; what has no place says so. */
START_TEST(each_run_has_one_place)
{
	size_t left;
	struct err e;
	struct plan_tick t[ALIKE];
	struct run runs[ALIKE];
	char id[16];
	err_clear(&e);
	for (int i = 0; i < ALIKE; i++) {
		snprintf(id, sizeof id, "x%d", i);
		runs[i] = run_of(id);
	}
	ck_assert(store_tick_plan(&book, 1, NULL, "x9", &e));
	ck_assert_msg(store_tick_runs(&book, runs, 3, t, &left, &e), "%s", e.text);
	ck_assert(t[0].at == 0 && t[1].at == 2 && t[2].at == 3 && left == ALIKE - 4);
	ck_assert_msg(store_tick_runs(&book, runs, ALIKE, t, &left, &e), "%s", e.text);
	ck_assert(t[0].before && t[0].at == 0 && t[2].before && t[2].at == 3);
	ck_assert(t[9].before && t[9].at == 1 && t[15].at == 15 && !t[15].before && left == 0);
	struct run last = run_of("y");
	ck_assert(store_tick_runs(&book, &last, 1, t, &left, &e));
	ck_assert(t[0].at == -1 && t[0].other == 0);
	struct plan *p = load();
	ck_assert_str_eq(p->runs[1].done, "x9");
	plan_free(p);
	run_free(&last);
	for (int i = 0; i < ALIKE; i++)
		run_free(&runs[i]);
}
END_TEST

/* What was seen there may be replaced, and nothing else. */
START_TEST(a_tick_of_another_run_stays)
{
	struct err e;
	struct plan *p = load();
	struct plan_run seen = p->runs[2];
	err_clear(&e);
	ck_assert(store_tick_plan(&book, 2, NULL, "r90", &e));
	ck_assert(store_tick_plan(&book, 2, NULL, "r90", &e)); /* as it is */
	ck_assert(!store_tick_plan(&book, 2, NULL, "r01", &e));
	ck_assert_str_eq(e.text, "run 3 of the plan was driven as r90 already");
	ck_assert(!store_tick_plan(&book, 2, &seen, "r01", &e));
	ck_assert_str_eq(e.text, "run 3 of the plan was driven as r90 meanwhile");
	memcpy(seen.done, "r90", 4);
	ck_assert_msg(store_tick_plan(&book, 2, &seen, "r01", &e), "%s", e.text);
	fix *other = malloc(p->n_adjustables * sizeof *other);
	ck_assert_ptr_nonnull(other);
	memcpy(other, seen.values, p->n_adjustables * sizeof *other);
	other[0]++;
	seen.values = other;
	ck_assert(!store_tick_plan(&book, 3, &seen, "r01", &e));
	ck_assert_str_eq(e.text, "plan.yaml has changed meanwhile; look at it again");
	free(other);
	plan_free(p);
	p = load();
	ck_assert_str_eq(p->runs[2].done, "r01");
	ck_assert_str_eq(p->runs[3].done, "");
	plan_free(p);
	const char *argv[] = {test_program(), "plan", folder, "--done", "3=r01", NULL, NULL};
	struct test_said said = test_run(argv);
	ck_assert_int_eq(said.status, 0);
	test_said_free(&said);
	ck_assert(store_tick_plan(&book, 3, NULL, "r90", &e));
	argv[4] = "4=r01";
	said = test_run(argv);
	ck_assert_int_eq(said.status, 2);
	ck_assert_ptr_nonnull(strstr(said.err, "run 4 of the plan was driven as r90 already"));
	test_said_free(&said);
	argv[5] = "--replace";
	said = test_run(argv);
	ck_assert_msg(said.status == 0, "%s", said.err);
	test_said_free(&said);
	p = load();
	ck_assert_str_eq(p->runs[3].done, "r01");
	plan_free(p);
}
END_TEST

/* The same once more ticks off no other run. */
START_TEST(a_run_is_ticked_off_once)
{
	for (int again = 0; again < 2; again++) {
		struct test_said said = log_run("x1");
		ck_assert_msg(said.status == 0, "%s", said.err);
		ck_assert_msg(strstr(said.out, again ? "the plan: 1 run ticked off, 15 left; 1 of "
						       "them was before\n"
						     : "the plan: 1 run ticked off, 15 left\n"),
			"%s", said.out);
		test_said_free(&said);
	}
	struct plan *p = load();
	ck_assert_str_eq(p->runs[0].done, "x1");
	ck_assert_int_eq(plan_next_run(p), 1);
	plan_free(p);
}
END_TEST

/* Ticks that were made are told, whatever fails behind them. */
START_TEST(ticks_before_a_failure_are_told)
{
	const char *argv[] = {
		test_program(), "plan", folder, "--done", "1=r01", "--done", "2=r77", NULL};
	struct test_said said = test_run(argv);
	ck_assert_int_eq(said.status, 2);
	ck_assert_ptr_nonnull(strstr(said.err, "ticked off: 1=r01; but then:\n"));
	ck_assert_ptr_nonnull(strstr(said.err, "the book has no run 'r77'"));
	test_said_free(&said);
	struct plan *p = load();
	ck_assert_str_eq(p->runs[0].done, "r01");
	plan_free(p);
}
END_TEST

/* Somebody who takes no lock writes to the file while it is saved: it is read and judged again. */
START_TEST(what_comes_between_is_kept)
{
	struct err e;
	err_clear(&e);
	strangers = 3;
	ck_assert_msg(store_tick_plan(&book, 0, NULL, "r01", &e), "%s", e.text);
	ck_assert_int_eq(strangers, 0);
	char *text = slurp();
	ck_assert_ptr_nonnull(strstr(text, "# a stranger's\n# a stranger's\n# a stranger's\n"));
	ck_assert_ptr_nonnull(strstr(text, "    done: r01\n"));
	free(text);
	strangers = 1000; /* without an end it is told */
	ck_assert(!store_tick_plan(&book, 1, NULL, "r01", &e));
	ck_assert_ptr_nonnull(strstr(e.text, "another program changed it"));
	strangers = 0;
}
END_TEST

/* What cannot be looked at is not "no plan"; nor is a link that leads nowhere. */
START_TEST(a_plan_out_of_reach_is_told)
{
	size_t left;
	struct err e;
	struct faults f;
	struct plan *p;
	struct plan_tick t;
	struct run r = run_of("x1");
	for (int i = 0; i < 2; i++) {
		unseen = i == 0;
		if (i) {
			ck_assert_int_eq(remove(plan_file), 0);
			ck_assert_int_eq(symlink("nowhere/plan.yaml", plan_file), 0);
		}
		faults_init(&f);
		ck_assert(!store_load_plan(&p, &book, &f));
		ck_assert(f.total == 1 && strcmp(f.list[0].file, plan_file) == 0);
		faults_free(&f);
		err_clear(&e);
		ck_assert(!store_tick_runs(&book, &r, 1, &t, &left, &e));
		ck_assert(e.cls != ERR_NONE && t.at == -1);
	}
	struct test_said said = log_run("x1");
	ck_assert_int_eq(said.status, 1);
	ck_assert_ptr_nonnull(strstr(said.err, "--done N=RUN\n"));
	test_said_free(&said);
	run_free(&r);
}
END_TEST

/* The plan is ticked off before a word is said: a full disk or a closed pipe there loses words. */
START_TEST(words_that_do_not_arrive_lose_no_tick)
{
	static const char *const outputs[] = {"> /dev/full", ">&-", "| true"};
	for (int i = 0; i < 3; i++) {
		char id[16], line[9000];
		snprintf(id, sizeof id, "x%d", i);
		char *csv = csv_of(id);
		snprintf(line, sizeof line, "'%s' log '%s' --csv '%s' %s", test_program(), folder,
			csv, outputs[i]);
		const char *argv[] = {"/bin/sh", "-c", line, NULL};
		struct test_said said = test_run(argv);
		test_said_free(&said);
		free(csv);
		struct plan *p = load();
		ck_assert_str_eq(p->runs[i].done, id);
		plan_free(p);
	}
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("ticks");
	TCase *t = tcase_create("plan");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, programs_at_once_tick_off_a_run_each);
	tcase_add_test(t, a_lock_of_somebody_else_is_respected);
	tcase_add_test(t, a_run_of_no_plan_asks_for_no_lock);
	tcase_add_test(t, each_run_has_one_place);
	tcase_add_test(t, a_tick_of_another_run_stays);
	tcase_add_test(t, a_run_is_ticked_off_once);
	tcase_add_test(t, ticks_before_a_failure_are_told);
	tcase_add_test(t, what_comes_between_is_kept);
	tcase_add_test(t, a_plan_out_of_reach_is_told);
	tcase_add_test(t, words_that_do_not_arrive_lose_no_tick);
	suite_add_tcase(s, t);
	return s;
}
