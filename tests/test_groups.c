/* Files that belong together: the runs of one log, the first files of a book. Cut short, taken up.
 */
#include "cmd/cmd.h"
#include "store/import.h"
#include "store/plan_file.h"
#include "store/store.h"
#include "support/support.h"

#include <dirent.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char *folder, *csv;
static struct book book;

/* --- what the linker puts between (--wrap) ------------------------------------------- */

/* The k-th call from now on; 0: none. */
static int rename_at, signal_sent;    /* it fails, or sends that signal and goes on */
static int unlink_at, folder_sync_at; /* it fails */
static int folders_read;

static bool now(int *at)
{
	return *at > 0 && --*at == 0;
}

int __real_renameat2(int from_dir, const char *from, int to_dir, const char *to, unsigned flags);
int __wrap_renameat2(int from_dir, const char *from, int to_dir, const char *to, unsigned flags);
int __wrap_renameat2(int from_dir, const char *from, int to_dir, const char *to, unsigned flags)
{
	if (now(&rename_at)) {
		if (!signal_sent) {
			errno = EIO;
			return -1;
		}
		kill(getpid(), signal_sent);
	}
	return __real_renameat2(from_dir, from, to_dir, to, flags);
}

int __real_unlink(const char *path);
int __wrap_unlink(const char *path);
int __wrap_unlink(const char *path)
{
	if (now(&unlink_at)) {
		errno = EIO;
		return -1;
	}
	return __real_unlink(path);
}

int __real_fsync(int fd);
int __wrap_fsync(int fd);
int __wrap_fsync(int fd)
{
	struct stat st;
	if (fstat(fd, &st) == 0 && S_ISDIR(st.st_mode) && now(&folder_sync_at)) {
		errno = EIO;
		return -1;
	}
	return __real_fsync(fd);
}

DIR *__real_fdopendir(int fd);
DIR *__wrap_fdopendir(int fd);
DIR *__wrap_fdopendir(int fd)
{
	folders_read++;
	return __real_fdopendir(fd);
}

/* --- a book, and three runs for it --------------------------------------------------- */

static char *in_folder(const char *name)
{
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/%s", folder, name), 0);
	return path;
}

static void copy_in(const char *name)
{
	char from[64];
	snprintf(from, sizeof from, "share/demo/%s", name);
	char *source = test_source(from), *target = in_folder(name);
	size_t size;
	char *bytes = test_slurp(source, &size);
	test_write(target, bytes, size);
	free(bytes);
	free(target);
	free(source);
}

static void write_csv(const char *second)
{
	char text[200];
	snprintf(text, sizeof text,
		"run,sheet,lap,time\nx1,quick-base,1,91.2\nx2,quick-base,1,%s\n"
		"x3,quick-base,1,91.4\n",
		second);
	test_write(csv, text, strlen(text));
}

static void setup(void)
{
	static const char *const folders[] = {"sheets", "runs"};
	rename_at = signal_sent = unlink_at = folder_sync_at = 0;
	folder = test_folder();
	char *top = test_source("");
	setenv("TREADLIGHT_DATADIR", top, 1);
	free(top);
	for (size_t i = 0; i < 2; i++) {
		char *path = in_folder(folders[i]);
		ck_assert_int_eq(mkdir(path, 0777), 0);
		free(path);
	}
	copy_in("book.yaml");
	copy_in("sheets/quick-base.yaml");
	csv = in_folder("laps.csv");
	write_csv("91.3");
	struct faults f;
	faults_init(&f);
	book_init(&book);
	ck_assert_msg(store_load_book(&book, folder, &f), "%s", f.n ? f.list[0].text : "");
}

static void teardown(void)
{
	book_free(&book);
	test_remove(folder);
	free(folder);
	free(csv);
}

static bool is_there(const char *name)
{
	char *path = in_folder(name);
	const bool there = access(path, F_OK) == 0;
	free(path);
	return there;
}

static int runs_there(void)
{
	return is_there("runs/x1.yaml") + is_there("runs/x2.yaml") + is_there("runs/x3.yaml");
}

static struct import import(void)
{
	struct faults f;
	struct import in;
	faults_init(&f);
	ck_assert_msg(import_csv(&in, &book, csv, &f), "%s", f.n ? f.list[0].text : "");
	ck_assert_uint_eq(in.n, 3);
	return in;
}

/* `log` in a process of its own, the k-th rename sending a signal; how that process ended. */
static int log_signalled(int k, int number)
{
	int status;
	char words[][8] = {"log", "--csv"};
	char *argv[] = {words[0], folder, words[1], csv, NULL};
	const pid_t pid = fork();
	ck_assert_int_ge(pid, 0);
	if (pid == 0) {
		signal(SIGINT, SIG_DFL);
		rename_at = k;
		signal_sent = number;
		ck_assert_ptr_nonnull(freopen("/dev/null", "w", stderr));
		_exit(cmd_run(cmd_find("log"), 4, argv));
	}
	ck_assert_int_eq(waitpid(pid, &status, 0), pid);
	return status;
}

static struct test_said log_again(void)
{
	const char *argv[] = {test_program(), "log", folder, "--csv", csv, NULL};
	return test_run(argv);
}

/* --- runs ---------------------------------------------------------------------------- */

/* Killed at the k-th run, the same command completes it, and says what stood. */
START_TEST(a_killed_log_is_completed_by_the_same)
{
	const int status = log_signalled(_i, SIGKILL);
	char *runs = in_folder("runs");
	ck_assert(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
	ck_assert_int_eq(runs_there(), _i - 1);
	ck_assert_int_eq(test_entries(runs), _i); /* and one half done */
	for (int again = 0; again < 2; again++) {
		struct test_said said = log_again();
		ck_assert_msg(said.status == 0, "%s", said.err);
		ck_assert_int_eq(strstr(said.out, "x1: 1 lap, on quick-base; in the book already, "
						  "just so\n") != NULL,
			again || _i > 1);
		ck_assert_int_eq(strstr(said.out, "x3: 1 lap, on quick-base\n") != NULL, !again);
		test_said_free(&said);
		ck_assert_int_eq(runs_there(), 3);
		ck_assert_int_eq(test_entries(runs), 3); /* nothing left over */
	}
	free(runs);
}
END_TEST

/* A run of the same id that is another one is refused, and with it the file. */
START_TEST(another_run_of_the_id_is_refused)
{
	struct test_said said = log_again();
	ck_assert_int_eq(said.status, 0);
	test_said_free(&said);
	char *third = in_folder("runs/x3.yaml");
	ck_assert_int_eq(remove(third), 0);
	free(third);
	write_csv("91.5");
	said = log_again();
	ck_assert_int_eq(said.status, 2);
	ck_assert_ptr_nonnull(
		strstr(said.err, "laps.csv:3:1: the book has a run 'x2' already, another "
				 "one; choose another id"));
	ck_assert_ptr_null(strstr(said.err, "x1"));
	test_said_free(&said);
	ck_assert_int_eq(runs_there(), 2);
}
END_TEST

/* Ctrl-C waits until the group is whole, then ends the program. */
START_TEST(ctrl_c_waits_for_the_group)
{
	const int status = log_signalled(2, SIGINT);
	ck_assert(WIFSIGNALED(status) && WTERMSIG(status) == SIGINT);
	ck_assert_int_eq(runs_there(), 3);
}
END_TEST

/* What cannot be removed again is named. */
START_TEST(what_stays_of_a_failed_group_is_told)
{
	struct err e;
	struct import in = import();
	err_clear(&e);
	rename_at = 3;
	unlink_at = 2;
	ck_assert(!store_new_runs(&book, in.runs, in.n, &e));
	ck_assert_int_eq(runs_there(), 1);
	ck_assert_msg(strstr(e.text, "x1 stands in the book and could not be removed again "
				     "(Input/output error)") != NULL,
		"%s", e.text);
	ck_assert_ptr_nonnull(strstr(e.file, "x3.yaml"));
	import_free(&in);
}
END_TEST

START_TEST(a_group_looks_through_its_folder_once)
{
	struct err e;
	struct import in = import();
	err_clear(&e);
	folders_read = 0;
	ck_assert(store_new_runs(&book, in.runs, in.n, &e));
	ck_assert_int_eq(folders_read, 1);
	ck_assert_int_eq(e.cls, ERR_NONE);
	import_free(&in);
}
END_TEST

/* --- not confirmed ------------------------------------------------------------------- */

static bool not_confirmed(const struct err *e, const char *file)
{
	return strstr(e->file, file) && strstr(e->text, "is written, not confirmed on disk: ");
}

/* Whichever file of a group it is: done, and told. */
START_TEST(what_the_disk_did_not_confirm_is_told)
{
	static const char *const files[] = {"x1.yaml", "x2.yaml", "x3.yaml"};
	struct err e;
	struct import in = import();
	err_clear(&e);
	folder_sync_at = _i + 1;
	ck_assert(store_new_runs(&book, in.runs, in.n, &e));
	ck_assert_msg(not_confirmed(&e, files[_i]), "%s: %s", e.file, e.text);
	ck_assert_int_eq(runs_there(), 3);
	import_free(&in);
}
END_TEST

START_TEST(an_unconfirmed_plan_is_told)
{
	struct err e;
	size_t left;
	struct plan_tick t[3];
	struct plan_options o = {.kind = PLAN_SCREENING, .base = &book.sheets[0], .rng = 3};
	struct import in = import();
	err_clear(&e);
	struct plan *p = plan_new(&book, &o, &e);
	ck_assert_ptr_nonnull(p);
	folder_sync_at = 1;
	ck_assert(store_save_plan(&book, p, false, &e) && not_confirmed(&e, "plan.yaml"));
	err_clear(&e);
	folder_sync_at = 1;
	ck_assert(store_tick_runs(&book, in.runs, in.n, t, &left, &e));
	ck_assert(t[0].at == 0 && not_confirmed(&e, "plan.yaml"));
	import_free(&in);
	plan_free(p);
}
END_TEST

/* What a subcommand says on stderr, the sync of the k-th folder failing; it succeeds. */
static char *said_by(int k, int argc, char **argv)
{
	char *path = in_folder("said");
	int status;
	size_t size;
	const pid_t pid = fork();
	ck_assert_int_ge(pid, 0);
	if (pid == 0) {
		folder_sync_at = k;
		ck_assert_ptr_nonnull(freopen(path, "w", stderr));
		ck_assert_ptr_nonnull(freopen("/dev/null", "w", stdout));
		status = cmd_run(cmd_find(argv[0]), argc, argv);
		fflush(stderr);
		_exit(status);
	}
	ck_assert_int_eq(waitpid(pid, &status, 0), pid);
	ck_assert_msg(WIFEXITED(status) && WEXITSTATUS(status) == 0, "%s: %d", argv[0], status);
	char *said = test_slurp(path, &size);
	free(path);
	return said;
}

START_TEST(the_subcommands_tell_it)
{
	char words[][16] = {
		"log", "--csv", "plan", "--kind", "screening", "--store", "--done", "5=x1", "new"};
	char *dir = in_folder("more"), car[] = "--car=larkspur-20",
	     circuit[] = "--circuit=harrow-fen";
	char *store[] = {words[2], folder, words[3], words[4], words[5], NULL};
	char *log[] = {words[0], folder, words[1], csv, NULL};
	char *done[] = {words[2], folder, words[6], words[7], NULL};
	char *make[] = {words[8], dir, car, circuit, NULL};
	const struct {
		char **argv;
		int argc, k;
		const char *file;
	} jobs[] = {{log, 4, 2, "runs/x2.yaml: "}, {store, 5, 1, "plan.yaml: "},
		{log, 4, 1, "plan.yaml: "}, {done, 4, 1, "plan.yaml: "},
		{make, 4, 1, "sheets/base.yaml: "}};
	for (size_t i = 0; i < sizeof jobs / sizeof *jobs; i++) {
		char *said = said_by(jobs[i].k, jobs[i].argc, jobs[i].argv);
		const char *at = strstr(said, jobs[i].file);
		ck_assert_msg(at && strstr(at, "is written, not confirmed on disk: "), "%zu: %s", i,
			said);
		free(said);
	}
	free(dir);
}
END_TEST

/* --- a new book ---------------------------------------------------------------------- */

static struct book more(char *dir)
{
	struct book b = book;
	b.dir = dir;
	return b;
}

/* What an earlier turn had written is taken; something else there is refused and stays. */
START_TEST(a_half_done_book_is_completed)
{
	struct err e;
	struct stat before, after;
	char *dir = in_folder("more"), *sheet = in_folder("more/sheets/quick-base.yaml");
	struct book b = more(dir);
	err_clear(&e);
	rename_at = 2;
	signal_sent = SIGKILL;
	const pid_t pid = fork();
	ck_assert_int_ge(pid, 0);
	if (pid == 0) {
		store_new_book(&b, &book.sheets[0], &e);
		_exit(0);
	}
	rename_at = signal_sent = 0;
	ck_assert_int_eq(waitpid(pid, NULL, 0), pid);
	ck_assert(is_there("more/sheets/quick-base.yaml") && !is_there("more/book.yaml"));
	ck_assert_int_eq(stat(sheet, &before), 0);
	if (_i) { /* but for one byte */
		ck_assert_int_eq(truncate(sheet, before.st_size - 1), 0);
		ck_assert(!store_new_book(&b, &book.sheets[0], &e));
		ck_assert_ptr_nonnull(strstr(e.text, "a file of this name is there already"));
		ck_assert(is_there("more/sheets/quick-base.yaml") && !is_there("more/book.yaml"));
	} else {
		rename_at = 1; /* what was found is not ours to remove */
		ck_assert(!store_new_book(&b, &book.sheets[0], &e));
		ck_assert(is_there("more/sheets/quick-base.yaml") && !is_there("more/book.yaml"));
		ck_assert_msg(store_new_book(&b, &book.sheets[0], &e), "%s", e.text);
		ck_assert(is_there("more/book.yaml") && e.cls == ERR_NONE);
		ck_assert_int_eq(stat(sheet, &after), 0);
		ck_assert_uint_eq(before.st_ino, after.st_ino);
		ck_assert_int_eq(test_entries(dir), 3);
		ck_assert(!store_new_book(&b, &book.sheets[0], &e));
		ck_assert_ptr_nonnull(strstr(e.text, "there is a book already"));
	}
	free(dir);
	free(sheet);
}
END_TEST

START_TEST(an_unconfirmed_book_is_told)
{
	static const char *const files[] = {"more/sheets/quick-base.yaml", "more/book.yaml"};
	struct err e;
	char *dir = in_folder("more");
	struct book b = more(dir);
	err_clear(&e);
	folder_sync_at = _i + 1;
	ck_assert_msg(store_new_book(&b, &book.sheets[0], &e), "%s", e.text);
	ck_assert_msg(not_confirmed(&e, files[_i]), "%s: %s", e.file, e.text);
	free(dir);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("groups");
	TCase *t = tcase_create("files");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_loop_test(t, a_killed_log_is_completed_by_the_same, 1, 4);
	tcase_add_test(t, another_run_of_the_id_is_refused);
	tcase_add_test(t, ctrl_c_waits_for_the_group);
	tcase_add_test(t, what_stays_of_a_failed_group_is_told);
	tcase_add_test(t, a_group_looks_through_its_folder_once);
	tcase_add_loop_test(t, what_the_disk_did_not_confirm_is_told, 0, 3);
	tcase_add_test(t, an_unconfirmed_plan_is_told);
	tcase_add_test(t, the_subcommands_tell_it);
	tcase_add_loop_test(t, a_half_done_book_is_completed, 0, 2);
	tcase_add_loop_test(t, an_unconfirmed_book_is_told, 0, 2);
	suite_add_tcase(s, t);
	return s;
}
