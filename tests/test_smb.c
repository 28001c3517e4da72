/*
 * Journals, saves and locks on a share whose server keeps names as SMB does (support/shim.h): a
 * rename over a file that anybody has open fails and takes the file away.
 */
#include "store/host.h"
#include "store/journal.h"
#include "store/lock.h"
#include "store/save_parts.h"
#include "support/journals.h"
#include "support/shim.h"
#include "support/support.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static const struct lack share[] = {{"renameat2", EINVAL}, {"symlink", EOPNOTSUPP}, {NULL, 0}};
static const struct fault none;
static char *folder, path[4096], at[4200], beside[4096];
static struct stamp stamp;
static struct err err;

static void setup(void)
{
	char *bytes;
	size_t size;

	folder = test_folder();
	snprintf(path, sizeof path, "%s/f.yaml", folder);
	snprintf(beside, sizeof beside, "%s/.f.yaml.journal", folder);
	test_write(path, "old\n", 4);
	setenv("XDG_STATE_HOME", folder, 1);
	err_clear(&err);
	ck_assert(file_read(path, 1 << 20, &bytes, &size, &stamp, &err));
	free(bytes);
	shim.smb = true;
	shim.lacks = share;
	shim.pending = 0;
}

static void teardown(void)
{
	shim.armed = shim.smb = shim.colons = false;
	shim.on_wait = NULL;
	shim.lacks = NULL;
	test_remove(folder);
	free(folder);
}

static void arm(void)
{
	shim_arm(none, none);
}

static void disarm(void)
{
	shim.armed = false;
}

static int hold(const char *name)
{
	int fd = open(name, O_RDONLY | O_CLOEXEC);

	ck_assert_int_ge(fd, 0);
	return fd;
}

/* --- journals --- */

static void begin(struct journal *j)
{
	static const struct change a = {"values.a", "1"};

	arm();
	ck_assert_msg(journal_open(j, path, &stamp, &err), "%s", err.text);
	ck_assert_msg(journal_append(j, &a, 1, &err), "%s", err.text);
}

/* Written anew, and one edit more; whatever a crash leaves must have both. */
static void goes_on(struct journal *j)
{
	static const struct change a = {"values.a", "2"}, b = {"values.b", "3"};
	struct recovery r;

	ck_assert_msg(journal_rebase(j, &stamp, &a, 1, &err), "%s", err.text);
	ck_assert_msg(journal_append(j, &b, 1, &err), "%s", err.text);
	ck_assert_msg(journal_sync(j, &err), "%s", err.text);
	disarm();
	journal_close(j);
	ck_assert_msg(journal_recover(path, &stamp, &r, &err), "%s", err.text);
	ck_assert(r.found);
	ck_assert_uint_eq(r.n_changes, 2);
	ck_assert_str_eq(r.changes[0].value, "2");
	ck_assert_str_eq(r.changes[1].value, "3");
	recovery_free(&r);
	ck_assert_uint_eq(test_drop_journals(path), 1);
}

START_TEST(a_journal_is_written_anew)
{
	struct journal j;

	begin(&j);
	goes_on(&j);
}
END_TEST

/* While somebody reads it: its name is lost, the edits are not. */
START_TEST(a_journal_that_somebody_reads_is_written_anew)
{
	struct journal j;

	shim.pending = _i;
	begin(&j);
	int fd = hold(beside);
	goes_on(&j);
	close(fd);
}
END_TEST

static const char *nth(int n)
{
	static char name[4200];

	snprintf(name, sizeof name, "%s-%d", beside, n);
	return name;
}

/* And then no other name can be had: every edit is refused aloud until one can. */
START_TEST(a_journal_without_a_name_says_so)
{
	const struct change a = {"values.a", "2"};
	struct journal j;

	snprintf(at, sizeof at, "%s/treadlight", folder); /* no folder of the user's own */
	test_write(at, "", 0);
	for (int n = 2; n <= JOURNALS_MAX; n++)
		ck_assert_int_eq(mkdir(nth(n), 0700), 0);
	shim.pending = 1000;
	begin(&j);
	int fd = hold(beside);
	ck_assert(!journal_rebase(&j, &stamp, &a, 1, &err));
	ck_assert(access(beside, F_OK) != 0);
	for (int i = 0; i < 3; i++) {
		ck_assert(journal_is_open(&j));
		ck_assert(!journal_append(&j, &a, 1, &err));
		ck_assert(!journal_sync(&j, &err));
	}
	for (int n = 2; n <= JOURNALS_MAX; n++)
		ck_assert_int_eq(rmdir(nth(n)), 0);
	goes_on(&j);
	close(fd);
}
END_TEST

/* --- saves --- */

static void holds(const char *name, const char *text)
{
	char *bytes;

	snprintf(at, sizeof at, "%s/%s", folder, name);
	bytes = test_slurp(at, NULL);
	ck_assert_str_eq(bytes, text);
	free(bytes);
}

/* What a process leaves that is killed with this text, and that name of it, in hand. */
static void killed_with(const char *text)
{
	pid_t pid = fork();

	if (pid == 0) {
		struct job j = {
			.name = "f.yaml", .stamp = &stamp, .hash = hash_bytes(text, strlen(text))};
		char name[TEMP_NAME];
		temp_name(&j, j.name, "swap", stamp.hash, name);
		snprintf(at, sizeof at, "%s/%s", folder, name);
		test_write(at, text, strlen(text));
		_exit(0);
	}
	ck_assert_int_eq(waitpid(pid, NULL, 0), pid);
}

/* Killed when the rename had failed, and the file was gone: nobody else has the new text. */
START_TEST(the_only_copy_is_kept)
{
	killed_with("new\n");
	ck_assert_int_eq(unlink(path), 0);
	ck_assert(file_create(path, "other\n", 6, &err));
	ck_assert_msg(strstr(err.text, "f.yaml.kept-1"), "%s", err.text);
	holds("f.yaml", "other\n");
	holds("f.yaml.kept-1", "new\n");
	/* One that another program wrote since makes it no less. */
	killed_with("newer\n");
	ck_assert_int_eq(file_save(path, "more\n", 5, &stamp, &err), SAVE_CONFLICT);
	ck_assert_msg(strstr(err.text, "f.yaml.kept-2"), "%s", err.text);
	holds("f.yaml.kept-2", "newer\n");
}
END_TEST

static enum save_outcome put(const char *text)
{
	enum save_outcome got;

	arm();
	got = file_save(path, text, strlen(text), &stamp, &err);
	disarm();
	return got;
}

static bool is_there(const char *name)
{
	snprintf(at, sizeof at, "%s/%s", folder, name);
	return access(at, F_OK) == 0;
}

static ino_t number(void)
{
	struct stat st;

	ck_assert_int_eq(stat(path, &st), 0);
	return st.st_ino;
}

/* In place: nothing else leaves it where it is. */
START_TEST(a_file_that_somebody_reads_is_saved)
{
	const ino_t was = number();
	int fd = hold(path);

	ck_assert_msg(put("new\n") == SAVE_DONE, "%s", err.text);
	holds("f.yaml", "new\n");
	ck_assert_msg(put("newer text\n") == SAVE_DONE, "%s", err.text);
	holds("f.yaml", "newer text\n");
	ck_assert(number() == was);
	close(fd);
}
END_TEST

/* Else replaced as a whole: who reads it in that moment has the old text or the new one. */
START_TEST(a_file_that_nobody_reads_is_replaced)
{
	const ino_t was = number();

	ck_assert_msg(put("new\n") == SAVE_DONE, "%s", err.text);
	holds("f.yaml", "new\n");
	ck_assert(number() != was);
}
END_TEST

/* A server that does not say what it is: the old file is lost, so ours goes there, at once or when
 * its name is free. */
START_TEST(a_file_taken_away_is_put_there)
{
	static const struct lack unknown[] = {
		{"renameat2", EINVAL}, {"fstatfs", ENOSYS}, {NULL, 0}};
	int fd = hold(path);

	shim.lacks = unknown;
	shim.pending = _i;
	ck_assert_msg(put("new\n") == SAVE_DONE, "%s", err.text);
	ck_assert_int_eq(shim.slept, _i);
	holds("f.yaml", "new\n");
	ck_assert(!is_there("f.yaml.kept-1"));
	close(fd);
	ck_assert_msg(put("more\n") == SAVE_DONE, "%s", err.text);
	holds("f.yaml", "more\n");
}
END_TEST

/* Who has the old file open never lets go: the new text is where the message says. */
START_TEST(a_file_whose_name_is_not_free)
{
	static const struct lack unknown[] = {
		{"renameat2", EINVAL}, {"fstatfs", ENOSYS}, {NULL, 0}};
	int fd = hold(path);

	shim.lacks = unknown;
	shim.pending = 1000;
	ck_assert_int_eq(put("new\n"), SAVE_FAILED);
	ck_assert_msg(strstr(err.text, "the new text is in f.yaml.kept-1"), "%s", err.text);
	holds("f.yaml.kept-1", "new\n");
	close(fd);
}
END_TEST

/* --- locks --- */

static enum lock_state take(struct lock *l, struct lock_owner *who)
{
	enum lock_state got;

	lock_init(l);
	arm();
	got = lock_take(l, path, who, &err);
	disarm();
	return got;
}

static void lay(const char *text)
{
	snprintf(at, sizeof at, "%s/.#f.yaml", folder);
	test_write(at, text, strlen(text));
}

/* Servers get the bytes when it is closed: nobody could know whose an empty one is. */
START_TEST(a_lock_that_did_not_reach_the_server)
{
	static const struct lack full[] = {
		{"renameat2", EINVAL}, {"symlink", EOPNOTSUPP}, {"close", ENOSPC}, {NULL, 0}};
	struct lock l;

	shim.lacks = full;
	ck_assert_int_eq(take(&l, NULL), LOCK_FAILED);
	ck_assert_msg(strstr(err.text, strerror(ENOSPC)), "%s", err.text);
	ck_assert(!is_there(".#f.yaml"));
}
END_TEST

/* Made, and its maker cut off from the server before it had a text: it does not stay for ever. */
START_TEST(a_lock_that_stays_empty_goes)
{
	struct lock l;

	lay("");
	ck_assert_int_eq(take(&l, NULL), LOCK_TAKEN);
	ck_assert_int_ge(shim.slept, 15);
	lock_release(&l);
	ck_assert(!is_there(".#f.yaml"));
}
END_TEST

static void written_now(void)
{
	if (shim.slept == 9)
		lay("anna@far.12:5");
}

START_TEST(a_lock_that_is_being_written_stays)
{
	struct lock_owner who;
	struct lock l;

	lay("");
	shim.on_wait = written_now;
	ck_assert_int_eq(take(&l, &who), LOCK_HELD);
	ck_assert_str_eq(who.host, "far");
	holds(".#f.yaml", "anna@far.12:5");
}
END_TEST

/* Let go by its owner, while another client has it open still. */
START_TEST(a_lock_whose_name_is_not_free_yet)
{
	struct lock l;

	lay("anna@far.12:5");
	int fd = hold(at);
	shim.pending = 12;
	arm();
	ck_assert_int_eq(unlink(at), 0);
	lock_init(&l);
	ck_assert_msg(lock_take(&l, path, NULL, &err) == LOCK_TAKEN, "%s", err.text);
	disarm();
	close(fd);
	lock_release(&l);
}
END_TEST

START_TEST(a_link_that_is_kept_otherwise)
{
	static const struct lack one[] = {{"renameat2", EINVAL}, {NULL, 0}};
	struct lock_owner who;
	struct lock l;

	shim.lacks = one;
	shim.colons = true;
	ck_assert_int_eq(take(&l, NULL), LOCK_TAKEN);
	ck_assert(lock_owner(path, &who));
	ck_assert(who.readable && who.pid == (long)getpid() && who.boot == boot_time());
	lock_release(&l);
	ck_assert(!is_there(".#f.yaml"));
}
END_TEST

START_TEST(a_lock_whose_time_was_changed)
{
	struct lock_owner who;
	struct lock l;

	lay("anna@far.12:5");
	ck_assert_int_eq(take(&l, &who), LOCK_HELD);
	who.since -= 3;
	arm();
	ck_assert_int_eq(lock_take_over(&l, path, &who, &err), LOCK_TAKEN);
	disarm();
	lock_release(&l);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("smb");
	TCase *c = tcase_create("a share");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 60);
	tcase_add_test(c, a_journal_is_written_anew);
	tcase_add_loop_test(c, a_journal_that_somebody_reads_is_written_anew, 0, 4);
	tcase_add_test(c, a_journal_without_a_name_says_so);
	tcase_add_test(c, the_only_copy_is_kept);
	tcase_add_test(c, a_file_that_somebody_reads_is_saved);
	tcase_add_test(c, a_file_that_nobody_reads_is_replaced);
	tcase_add_loop_test(c, a_file_taken_away_is_put_there, 0, 4);
	tcase_add_test(c, a_file_whose_name_is_not_free);
	tcase_add_test(c, a_lock_that_did_not_reach_the_server);
	tcase_add_test(c, a_lock_that_stays_empty_goes);
	tcase_add_test(c, a_lock_that_is_being_written_stays);
	tcase_add_test(c, a_lock_whose_name_is_not_free_yet);
	tcase_add_test(c, a_link_that_is_kept_otherwise);
	tcase_add_test(c, a_lock_whose_time_was_changed);
	suite_add_tcase(s, c);
	return s;
}
