/* Locks beside a file: the form `user@host.pid:boot` is that of the Emacs Lisp manual, "File
 * Locks". */
#include "store/host.h"
#include "store/lock.h"
#include "support/abilities.h"
#include "support/support.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char *folder, file[4096], where[4096];

static void setup(void)
{
	folder = test_folder();
	snprintf(file, sizeof file, "%s/kind.yaml", folder);
	snprintf(where, sizeof where, "%s/.#kind.yaml", folder);
	test_write(file, "x\n", 2);
}

static void teardown(void)
{
	test_remove(folder);
	free(folder);
}

static pid_t dead_pid(void)
{
	pid_t pid = fork();

	if (pid == 0)
		_exit(0);
	ck_assert_int_eq(waitpid(pid, NULL, 0), pid);
	return pid;
}

/* A link where there are links, else a file, as the store does. */
static void lay_text(const char *text)
{
	unlink(where);
	if (symlink(text, where) != 0)
		test_write(where, text, strlen(text));
}

static void lay(const char *host, long pid, int64_t boot)
{
	char text[256];

	if (boot)
		snprintf(text, sizeof text, "anna@%s.%ld:%lld", host, pid, (long long)boot);
	else
		snprintf(text, sizeof text, "anna@%s.%ld", host, pid);
	lay_text(text);
}

static enum lock_state try_take(struct lock_owner *who)
{
	struct lock l;
	struct err err;
	enum lock_state got;

	lock_init(&l);
	got = lock_take(&l, file, who, &err);
	if (got == LOCK_TAKEN)
		lock_release(&l);
	return got;
}

START_TEST(taken_and_given_back)
{
	char text[256], want[256], user[64], host[128], shown[512];
	struct lock l, again;
	struct lock_owner who;
	struct err err;
	ssize_t n;

	lock_init(&l);
	lock_init(&again);
	ck_assert(!lock_owner(file, &who));
	ck_assert_int_eq(lock_take(&l, file, NULL, &err), LOCK_TAKEN);
	if ((n = readlink(where, text, sizeof text - 1)) < 0) {
		char *whole = test_slurp(where, NULL);
		n = snprintf(text, sizeof text, "%s", whole);
		free(whole);
	}
	ck_assert_int_gt(n, 0);
	text[n] = '\0';
	user_name(user, sizeof user);
	host_name(host, sizeof host);
	snprintf(want, sizeof want, "%s@%s.%ld:", user, host, (long)getpid());
	ck_assert_int_eq(strncmp(text, want, strlen(want)), 0);
	ck_assert_int_eq(lock_take(&l, file, NULL, &err), LOCK_OURS);
	ck_assert_int_eq(lock_take(&again, file, &who, &err), LOCK_OURS);
	ck_assert(who.readable && who.same_host && !who.ended);
	ck_assert_str_eq(who.user, user);
	lock_release(&again); /* holds nothing: the other stays */
	ck_assert(lock_owner(file, &who));
	lock_describe(&who, shown, sizeof shown);
	ck_assert_ptr_nonnull(strstr(shown, user));
	ck_assert_ptr_nonnull(strstr(shown, host));
	lock_release(&l);
	ck_assert(!lock_owner(file, &who));
	lock_release(&l);
}
END_TEST

START_TEST(a_link_is_locked_where_it_leads)
{
	char link[4200];
	struct lock l;
	struct lock_owner who;
	struct err err;

	if (!test_can(folder, CAN_SYMLINK))
		return;
	snprintf(link, sizeof link, "%s/other.yaml", folder);
	ck_assert_int_eq(symlink("kind.yaml", link), 0);
	lock_init(&l);
	ck_assert_int_eq(lock_take(&l, link, NULL, &err), LOCK_TAKEN);
	ck_assert(lock_owner(file, &who));
	lock_release(&l);
}
END_TEST

START_TEST(only_a_dead_process_of_this_host_loses_its_lock)
{
	char host[128];
	struct lock_owner who;
	pid_t dead = dead_pid();

	host_name(host, sizeof host);
	lay(host, (long)dead, boot_time());
	ck_assert_int_eq(try_take(&who), LOCK_TAKEN);
	lay(host, (long)dead, boot_time() + 1);
	ck_assert_int_eq(try_take(&who), LOCK_TAKEN);
	/* Alive: its parent. */
	lay(host, (long)getppid(), boot_time());
	ck_assert_int_eq(try_take(&who), LOCK_HELD);
	ck_assert_str_eq(who.user, "anna");
	ck_assert_int_eq(who.pid, getppid());
	/* Of another machine that cannot be known. */
	lay("elsewhere.example", (long)dead, boot_time());
	ck_assert_int_eq(try_take(&who), LOCK_HELD);
	ck_assert_str_eq(who.host, "elsewhere.example");
	ck_assert(!who.same_host && !who.ended);
	/* Started anew since, or the clock was set: no process has that pid. */
	lay(host, (long)dead, boot_time() - 86400);
	ck_assert(lock_owner(file, &who) && who.ended);
	char shown[512];
	lock_describe(&who, shown, sizeof shown);
	ck_assert_ptr_nonnull(strstr(shown, ", which has ended)"));
	ck_assert_int_eq(try_take(&who), LOCK_TAKEN);
	lay(host, (long)dead, 0);
	ck_assert_int_eq(try_take(&who), LOCK_TAKEN);
	ck_assert_int_eq(access(file, F_OK), 0);
}
END_TEST

/* A lock taken `up` seconds after the machine was started, when its clock was `step` ahead of
 * what it is now. */
static void lay_then(long pid, int64_t up, int64_t step)
{
	char host[128];
	const int64_t boot = boot_time() + step;
	const struct timespec when[2] = {{.tv_sec = boot + up}, {.tv_sec = boot + up}};

	host_name(host, sizeof host);
	lay(host, pid, boot);
	ck_assert_int_eq(utimensat(AT_FDCWD, where, when, AT_SYMLINK_NOFOLLOW), 0);
}

/* A process that waits to be killed, of our kind or of another. */
static pid_t living(bool ours)
{
	int ready[2];
	char byte;
	ck_assert_int_eq(pipe(ready), 0);
	pid_t pid = fork();
	if (pid == 0) {
		if (!ours)
			prctl(PR_SET_NAME, "somebody) else");
		close(ready[0]);
		if (write(ready[1], "", 1) == 1)
			pause();
		_exit(0);
	}
	close(ready[1]);
	ck_assert_int_eq(read(ready[0], &byte, 1), 1);
	close(ready[0]);
	return pid;
}

static const int64_t steps[] = {
	-400 * 86400, -86400 / 2, -3600, -100, 0, 100, 3600, 86400 / 2, 400 * 86400};
enum { STEPS = sizeof steps / sizeof *steps };

START_TEST(a_clock_that_is_set_ends_nobody)
{
	const pid_t pid = living(true);
	struct lock_owner who;

	for (int i = 0; i < STEPS; i++) {
		lay_then(pid, uptime_seconds(), steps[i]);
		ck_assert_msg(try_take(&who) == LOCK_HELD, "%lld", (long long)steps[i]);
		ck_assert(!who.ended);
	}
	kill(pid, SIGKILL);
	/* Not yet waited for, and yet it is gone. */
	siginfo_t info;
	ck_assert_int_eq(waitid(P_PID, (id_t)pid, &info, WEXITED | WNOWAIT), 0);
	ck_assert_int_eq(try_take(&who), LOCK_TAKEN);
	waitpid(pid, NULL, 0);
}
END_TEST

START_TEST(a_pid_that_another_program_has_by_now)
{
	const pid_t pid = living(false);
	const int64_t up = uptime_seconds();
	struct lock_owner who;

	for (int i = 0; i < STEPS; i++) {
		/* It may be an editor that honours locks, and holds this one. */
		lay_then(pid, up, steps[i]);
		const bool told = steps[i] < -86400;
		ck_assert_msg(try_take(&who) == (told ? LOCK_TAKEN : LOCK_HELD), "%lld",
			(long long)steps[i]);
		/* Started long after: it is not. */
		lay_then(pid, up - 3600, steps[i]);
		ck_assert_int_eq(try_take(&who), LOCK_TAKEN);
		/* Later than this machine has been running: before it was started anew. */
		lay_then(pid, up + 3600, steps[i]);
		ck_assert_int_eq(try_take(&who), steps[i] ? LOCK_TAKEN : LOCK_HELD);
	}
	kill(pid, SIGKILL);
	waitpid(pid, NULL, 0);
}
END_TEST

/* Left by a process that had our pid before us. */
START_TEST(our_own_pid_is_not_yet_our_lock)
{
	struct lock_owner who;

	lay_then(getpid(), uptime_seconds(), 0);
	ck_assert_int_eq(try_take(&who), LOCK_OURS);
	lay_then(getpid(), uptime_seconds() - 3600, 0);
	ck_assert_int_eq(try_take(&who), LOCK_TAKEN);
	lay_then(getpid(), uptime_seconds() + 3600, -86400 / 2);
	ck_assert_int_eq(try_take(&who), LOCK_TAKEN);
}
END_TEST

/* What the machine is called and when it says that it was started may change meanwhile. */
START_TEST(a_lock_is_given_back_by_what_was_written)
{
	struct lock l;
	struct lock_owner who;
	struct err err;

	lock_init(&l);
	ck_assert_int_eq(lock_take(&l, file, NULL, &err), LOCK_TAKEN);
	lay("renamed.example", getpid(), boot_time() + 3600);
	snprintf(l.text, sizeof l.text, "anna@renamed.example.%ld:%lld", (long)getpid(),
		(long long)boot_time() + 3600);
	lock_release(&l);
	ck_assert(!lock_owner(file, &who));
}
END_TEST

START_TEST(what_is_no_lock_of_ours_holds_too)
{
	static const char *const odd[] = {"nonsense", "a@b", "a@b.c:1", "a@b.12x:1", "a@b.12:x",
		"@.1:1", "a@b.0:1", "a@b.99999999999999999999:1", "a@b.-5:1"};
	struct lock_owner who;
	char shown[512], long_text[300];

	for (size_t i = 0; i < sizeof odd / sizeof *odd; i++) {
		lay_text(odd[i]);
		ck_assert_int_eq(try_take(&who), LOCK_HELD);
		ck_assert_msg(who.readable == (strcmp(odd[i], "@.1:1") == 0), "%s", odd[i]);
	}
	/* Control bytes do not reach the screen. */
	lay_text("e\x1b[31m\xe2\x80\xaevil@b.12:1");
	ck_assert_int_eq(try_take(&who), LOCK_HELD);
	lock_describe(&who, shown, sizeof shown);
	for (const char *c = shown; *c; c++)
		ck_assert_int_ge((unsigned char)*c, 0x20);
	ck_assert_ptr_null(strstr(shown, "\xe2\x80\xae"));
	/* Longer than anybody writes. */
	memset(long_text, 'a', sizeof long_text - 1);
	long_text[sizeof long_text - 1] = '\0';
	lay_text(long_text);
	ck_assert_int_eq(try_take(&who), LOCK_HELD);
	ck_assert(!who.readable);
	/* A folder, and a file as programs write it where there are no links. */
	unlink(where);
	ck_assert_int_eq(mkdir(where, 0700), 0);
	ck_assert_int_eq(try_take(&who), LOCK_HELD);
	rmdir(where);
	test_write(where, "anna@far.12:5", 13);
	ck_assert_int_eq(try_take(&who), LOCK_HELD);
	ck_assert(who.readable);
	ck_assert_str_eq(who.host, "far");
}
END_TEST

START_TEST(taken_over_only_from_whom_was_shown)
{
	struct lock_owner seen, who;
	struct lock l;
	struct err err;

	lay("elsewhere", 12, 1000);
	ck_assert_int_eq(try_take(&seen), LOCK_HELD);
	/* By now somebody else holds it. */
	lay("elsewhere", 13, 1000);
	lock_init(&l);
	who = seen;
	ck_assert_int_eq(lock_take_over(&l, file, &who, &err), LOCK_HELD);
	ck_assert_int_eq(who.pid, 13);
	ck_assert_int_eq(lock_take_over(&l, file, &who, &err), LOCK_TAKEN);
	/* Somebody took it over from us: we do not remove theirs. */
	lay("elsewhere", 14, 1000);
	lock_release(&l);
	ck_assert(lock_owner(file, &who));
	ck_assert_int_eq(who.pid, 14);
}
END_TEST

START_TEST(a_folder_that_cannot_be_written)
{
	struct lock l;
	struct err err;

	if (!test_can(folder, CAN_MODE) || !test_can(folder, CAN_ADMIT))
		return;
	if (geteuid() == 0) {
		ck_assert_int_eq(chmod(folder, 0755), 0);
		ck_assert_int_eq(setuid(65534), 0);
	} else {
		ck_assert_int_eq(chmod(folder, 0555), 0);
	}
	lock_init(&l);
	ck_assert_int_eq(lock_take(&l, file, NULL, &err), LOCK_FAILED);
	ck_assert_ptr_nonnull(strstr(err.text, strerror(EACCES)));
	chmod(folder, 0755);
}
END_TEST

static void race(int go, int told, int end)
{
	struct lock l;
	struct err err;
	char byte = 0;

	if (read(go, &byte, 1) < 0)
		_exit(9);
	lock_init(&l);
	byte = lock_take(&l, file, NULL, &err) == LOCK_TAKEN;
	/* Alive while the others look: a dead one's lock would be theirs in turn. */
	if (write(told, &byte, 1) != 1 || read(end, &byte, 1) < 0)
		_exit(9);
	_exit(0);
}

/* Many see the same stale lock at once: one gets it. */
static int race_once(pid_t dead)
{
	enum { RACERS = 6 };
	char host[128], byte;
	int go[2], told[2], end[2], got = 0;
	pid_t pids[RACERS];

	host_name(host, sizeof host);
	lay(host, (long)dead, boot_time());
	ck_assert_int_eq(pipe(go), 0);
	ck_assert_int_eq(pipe(told), 0);
	ck_assert_int_eq(pipe(end), 0);
	for (int i = 0; i < RACERS; i++) {
		pids[i] = fork();
		if (pids[i] == 0) {
			close(go[1]);
			close(end[1]);
			race(go[0], told[1], end[0]);
		}
	}
	close(go[0]);
	close(go[1]);
	for (int i = 0; i < RACERS; i++) {
		ck_assert_int_eq(read(told[0], &byte, 1), 1);
		got += byte;
	}
	close(end[1]);
	for (int i = 0; i < RACERS; i++) {
		int status;
		ck_assert_int_eq(waitpid(pids[i], &status, 0), pids[i]);
		ck_assert_int_eq(status, 0);
	}
	close(end[0]);
	close(told[0]);
	close(told[1]);
	return got;
}

START_TEST(a_stale_lock_goes_to_one)
{
	pid_t dead = dead_pid();

	for (int i = 0; i < 100; i++)
		ck_assert_int_eq(race_once(dead), 1);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("lock");
	TCase *c = tcase_create("lock");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 60);
	tcase_add_test(c, taken_and_given_back);
	tcase_add_test(c, a_link_is_locked_where_it_leads);
	tcase_add_test(c, only_a_dead_process_of_this_host_loses_its_lock);
	tcase_add_test(c, a_clock_that_is_set_ends_nobody);
	tcase_add_test(c, a_pid_that_another_program_has_by_now);
	tcase_add_test(c, our_own_pid_is_not_yet_our_lock);
	tcase_add_test(c, a_lock_is_given_back_by_what_was_written);
	tcase_add_test(c, what_is_no_lock_of_ours_holds_too);
	tcase_add_test(c, taken_over_only_from_whom_was_shown);
	tcase_add_test(c, a_folder_that_cannot_be_written);
	tcase_add_test(c, a_stale_lock_goes_to_one);
	suite_add_tcase(s, c);
	return s;
}
