/* The journal of unsaved edits: any cut gives the valid prefix, nothing acknowledged is lost. */
#include "store/journal.h"
#include "store/journal_text.h"
#include "support/abilities.h"
#include "support/journals.h"
#include "support/savetool.h"
#include "support/support.h"

#include <dirent.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char *folder, path[4096], beside[4096];

static void setup(void)
{
	folder = test_folder();
	snprintf(path, sizeof path, "%s/kind.yaml", folder);
	snprintf(beside, sizeof beside, "%s/.kind.yaml.journal", folder);
	test_write(path, "kind: sheet\n", 12);
	setenv("XDG_STATE_HOME", folder, 1);
}

static void teardown(void)
{
	test_remove(folder);
	free(folder);
}

static struct stamp stamp_of(const char *name)
{
	struct stamp s = {0};
	struct err err;
	char *bytes;
	size_t size;

	err_clear(&err);
	if (file_read(name, 1 << 20, &bytes, &size, &s, &err))
		free(bytes);
	return s;
}

static void append(struct journal *j, const char *key, const char *value)
{
	struct change c = {key, value};
	struct err err;

	err_clear(&err);
	ck_assert_msg(journal_append(j, &c, 1, &err), "%s", err.text);
}

START_TEST(what_goes_in_comes_out)
{
	struct change two[] = {{"values.front-wing", "8.5"}, {"values.rear-wing", "12.5"}};
	struct change odd = {"no%tes=\n", "a=b\n%41\x01\x7f \xc3\xa9\t"};
	struct stamp base = stamp_of(path);
	struct recovery r;
	struct journal j;
	struct err err;

	err_clear(&err);
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert(!r.found);
	ck_assert(journal_open(&j, path, &base, &err));
	ck_assert(journal_is_open(&j));
	ck_assert(journal_append(&j, two, 2, &err));
	ck_assert(journal_append(&j, &odd, 1, &err));
	ck_assert(journal_append(&j, NULL, 0, &err));
	ck_assert_int_ge(journal_due(&j), 2);
	ck_assert_int_le(journal_due(&j), JOURNAL_SYNC_SECONDS);
	ck_assert(journal_sync(&j, &err));
	ck_assert_int_eq(j.since, 0);
	journal_close(&j);
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert(r.found && !r.busy && r.same_base && r.whole);
	ck_assert_str_eq(strrchr(r.path, '/'), strrchr(beside, '/'));
	ck_assert_uint_eq(r.n_records, 3);
	ck_assert_uint_eq(r.n_changes, 3);
	ck_assert_str_eq(r.changes[1].key, "values.rear-wing");
	ck_assert_str_eq(r.changes[1].value, "12.5");
	ck_assert_str_eq(r.changes[2].key, odd.key);
	ck_assert_str_eq(r.changes[2].value, odd.value);
	recovery_free(&r);
	/* One that was left behind is nobody else's to go on with. */
	ck_assert(journal_open(&j, path, &base, &err));
	ck_assert_str_ne(j.path, beside);
	append(&j, "locks.wing", "1");
	ck_assert(journal_discard(&j, &err));
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert_uint_eq(r.n_records, 3);
	recovery_free(&r);
	ck_assert_uint_eq(test_drop_journals(path), 1);
	ck_assert_int_ne(access(beside, F_OK), 0);
	ck_assert(!journal_append(&j, NULL, 0, &err));
	ck_assert(!journal_rebase(&j, &base, NULL, 0, &err));
	ck_assert(journal_sync(&j, &err));
	ck_assert_int_eq(journal_due(&j), -1);
}
END_TEST

START_TEST(another_base_is_told_and_not_overwritten)
{
	struct stamp base = stamp_of(path), other = base;
	struct recovery r;
	struct journal j;
	struct err err;

	err_clear(&err);
	ck_assert(journal_open(&j, path, &base, &err));
	append(&j, "values.a", "1");
	journal_close(&j);
	other.hash++;
	ck_assert(journal_recover(path, &other, &r, &err));
	ck_assert(r.found && !r.same_base);
	recovery_free(&r);
	ck_assert(journal_open(&j, path, &other, &err));
	ck_assert_str_ne(j.path, beside);
	append(&j, "values.a", "2");
	ck_assert(journal_discard(&j, &err));
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert(r.found && r.same_base && r.n_records == 1);
	ck_assert_str_eq(r.changes[0].value, "1");
	recovery_free(&r);
	ck_assert_uint_eq(test_drop_journals(path), 1);
	/* One without records is no loss, whatever its base. */
	ck_assert(journal_open(&j, path, &other, &err));
	journal_close(&j);
	ck_assert(journal_open(&j, path, &base, &err));
	ck_assert_str_eq(strrchr(j.path, '/'), strrchr(beside, '/'));
	append(&j, "values.a", "1");
	journal_close(&j);
	/* A file that does not exist yet has a journal too. */
	char fresh[4200];
	struct stamp none = {0};
	snprintf(fresh, sizeof fresh, "%s/new.yaml", folder);
	ck_assert(journal_open(&j, fresh, &none, &err));
	append(&j, "values.a", "2");
	journal_close(&j);
	ck_assert(journal_recover(fresh, &none, &r, &err));
	ck_assert(r.found && r.same_base);
	recovery_free(&r);
}
END_TEST

START_TEST(only_the_owner_reads_it)
{
	struct stamp base = stamp_of(path);
	struct journal j;
	struct stat st;
	struct err err;

	err_clear(&err);
	umask(0);
	ck_assert_int_eq(chmod(path, 0666), 0);
	ck_assert(journal_open(&j, path, &base, &err));
	ck_assert_int_eq(stat(beside, &st), 0);
	const bool modes = test_can(folder, CAN_MODE);
	if (modes)
		ck_assert_uint_eq(st.st_mode & 07777, 0600);
	ck_assert(journal_discard(&j, &err));
	/* Of a sheet that nobody may write too: its owner has to go on with it. */
	ck_assert_int_eq(chmod(path, 0444), 0);
	ck_assert(journal_open(&j, path, &base, &err));
	ck_assert_int_eq(stat(beside, &st), 0);
	if (modes)
		ck_assert_uint_eq(st.st_mode & 07777, 0600);
	ck_assert(journal_discard(&j, &err));
	if (!test_can(folder, CAN_SYMLINK))
		return;
	/* A link laid in its place is not followed. */
	char target[4200];
	snprintf(target, sizeof target, "%s/victim", folder);
	test_write(target, "x", 1);
	ck_assert_int_eq(symlink("victim", beside), 0);
	ck_assert(journal_open(&j, path, &base, &err));
	ck_assert_str_ne(strrchr(j.path, '/'), strrchr(beside, '/'));
	ck_assert(journal_discard(&j, &err));
	ck_assert_uint_eq(stamp_of(target).size, 1);
}
END_TEST

START_TEST(a_folder_that_cannot_be_written)
{
	struct stamp base = stamp_of(path);
	struct recovery r;
	struct journal j;
	struct err err;
	char book[4200], sheet[4300];

	if (!test_can(folder, CAN_MODE) || !test_can(folder, CAN_ADMIT))
		return;
	err_clear(&err);
	snprintf(book, sizeof book, "%s/book", folder);
	snprintf(sheet, sizeof sheet, "%s/kind.yaml", book);
	ck_assert_int_eq(mkdir(book, 0755), 0);
	test_write(sheet, "kind: sheet\n", 12);
	base = stamp_of(sheet);
	ck_assert_int_eq(chmod(folder, 0777), 0);
	ck_assert_int_eq(chmod(sheet, 0666), 0);
	if (geteuid() != 0) {
		ck_assert_int_eq(chmod(book, 0555), 0);
	} else {
		ck_assert_int_eq(setgid(65534), 0);
		ck_assert_int_eq(setuid(65534), 0);
	}
	ck_assert_msg(journal_open(&j, sheet, &base, &err), "%s", err.text);
	append(&j, "values.a", "1");
	ck_assert(journal_sync(&j, &err));
	journal_close(&j);
	ck_assert(journal_recover(sheet, &base, &r, &err));
	ck_assert(r.found && r.same_base);
	ck_assert(journal_adopt(&j, sheet, &base, &r, &err));
	recovery_free(&r);
	append(&j, "values.a", "2");
	journal_close(&j);
	ck_assert(journal_recover(sheet, &base, &r, &err));
	ck_assert_uint_eq(r.n_records, 2);
	recovery_free(&r);
	ck_assert_uint_eq(test_drop_journals(sheet), 1);
	ck_assert(journal_recover(sheet, &base, &r, &err));
	ck_assert(!r.found);
	chmod(book, 0755);
}
END_TEST

static void add_records(struct buf *b, int n, size_t *ends)
{
	struct stamp base = {.size = 12, .hash = 34};

	buf_init(b);
	journal_add_header(b, &base);
	ends[0] = b->len;
	for (int i = 1; i <= n; i++) {
		char value[32];
		struct change c[] = {{"values.front-wing", value}, {"note=s\n", "50 % = half\n"}};
		snprintf(value, sizeof value, "%d.5", i);
		journal_add_record(b, c, (size_t)(i % 3));
		ends[i] = b->len;
	}
}

START_TEST(cut_at_every_byte)
{
	enum { RECORDS = 40 };
	size_t ends[RECORDS + 1];
	struct buf b;

	add_records(&b, RECORDS, ends);
	for (size_t cut = 0; cut <= b.len; cut++) {
		char *bytes = malloc(cut ? cut : 1); /* exactly as long, for the sanitizer */
		struct recovery r;
		struct stamp base;
		size_t want = 0;

		memcpy(bytes, b.data, cut);
		ck_assert(journal_parse(bytes, cut, &r, &base));
		while (want < RECORDS && ends[want + 1] <= cut)
			want++;
		ck_assert_int_eq(r.found, cut >= ends[0]);
		ck_assert_uint_eq(r.n_records, want);
		if (r.found) {
			ck_assert_uint_eq(base.hash, 34);
			ck_assert_int_eq(r.whole, cut == ends[want]);
		}
		for (size_t i = 0, k = 0; i < r.n_changes; i++) {
			if (strcmp(r.changes[i].key, "values.front-wing") != 0)
				continue;
			do
				k++;
			while (k % 3 == 0);
			ck_assert_int_eq(atoi(r.changes[i].value), (int)k);
		}
		recovery_free(&r);
		free(bytes);
	}
	printf("journal cut at every byte: %zu cuts, valid prefix each time\n", b.len + 1);
	buf_free(&b);
}
END_TEST

START_TEST(one_wrong_bit_anywhere)
{
	enum { RECORDS = 6 };
	size_t ends[RECORDS + 1];
	struct buf b;

	add_records(&b, RECORDS, ends);
	for (size_t bit = 0; bit < b.len * 8; bit++) {
		struct recovery r;
		size_t before = 0;

		b.data[bit / 8] = (char)(b.data[bit / 8] ^ (1 << bit % 8));
		ck_assert(journal_parse(b.data, b.len, &r, NULL));
		while (before < RECORDS && ends[before + 1] <= bit / 8)
			before++;
		/* Nothing behind the wrong bit is believed; in the header it only changes the base.
		 */
		if (bit / 8 >= ends[0])
			ck_assert_uint_eq(r.n_records, before);
		recovery_free(&r);
		b.data[bit / 8] = (char)(b.data[bit / 8] ^ (1 << bit % 8));
	}
	printf("journal with one wrong bit: %zu bits\n", b.len * 8);
	buf_free(&b);
}
END_TEST

/* Records of the right hash that nobody of ours wrote: what stands before them counts. */
START_TEST(records_of_no_form_end_the_journal)
{
	static const char *const bodies[] = {"a=%zz\n", "a=%4\n", "a=%4z\n", "a=%00\n", "%00=1\n",
		"a=%", "a=1", "a\n", "a", "=", "a=1\nb\n"};
	struct stamp base = {.size = 12, .hash = 34};
	struct change change = {"values.a", "1"};
	struct recovery r;

	for (size_t i = 0; i <= sizeof bodies / sizeof *bodies; i++) {
		const char *body = i > 0 ? bodies[i - 1] : "a=1\0\n";
		const size_t len = i > 0 ? strlen(body) : 5;
		struct buf b;
		buf_init(&b);
		journal_add_header(&b, &base);
		journal_add_record(&b, &change, 1);
		buf_addf(&b, "+%zu %016llx\n", len, (unsigned long long)hash_bytes(body, len));
		buf_add(&b, body, len);
		buf_adds(&b, "\n");
		ck_assert(journal_parse(b.data, b.len, &r, NULL));
		ck_assert_msg(r.found && r.n_records == 1 && !r.whole, "%s", body);
		ck_assert_uint_eq(r.n_changes, 1);
		ck_assert_str_eq(r.changes[0].value, "1");
		recovery_free(&r);
		buf_free(&b);
	}
	/* A length of more digits than any has. */
	struct buf b;
	buf_init(&b);
	journal_add_header(&b, &base);
	buf_adds(&b, "+1234567890 0000000000000000\na=1\n\n");
	ck_assert(journal_parse(b.data, b.len, &r, NULL) && r.found && r.n_records == 0);
	recovery_free(&r);
	buf_free(&b);
}
END_TEST

START_TEST(a_sync_that_is_late_is_due_now)
{
	struct stamp base = stamp_of(path);
	struct journal j;
	struct err err;

	ck_assert(journal_open(&j, path, &base, &err));
	append(&j, "values.a", "1");
	ck_assert_int_le(journal_due(&j), JOURNAL_SYNC_SECONDS);
	j.since -= JOURNAL_SYNC_SECONDS;
	ck_assert_int_eq(journal_due(&j), 0);
	ck_assert(journal_sync(&j, &err));
	ck_assert_int_eq(j.since, 0);
	/* Nothing waits; whether it was deleted is looked at all the same. */
	j.looked -= JOURNAL_LOOK_SECONDS;
	ck_assert_int_eq(journal_due(&j), 0);
	ck_assert(journal_sync(&j, &err));
	ck_assert_int_gt(j.looked, 0);
	journal_close(&j);
}
END_TEST

START_TEST(a_torn_end_is_cut_off_before_going_on)
{
	struct stamp base = stamp_of(path);
	struct recovery r;
	struct journal j;
	struct err err;
	struct stat st;
	off_t whole;

	err_clear(&err);
	ck_assert(journal_open(&j, path, &base, &err));
	append(&j, "values.a", "1");
	whole = (off_t)j.text.len;
	append(&j, "values.a", "2");
	journal_close(&j);
	ck_assert_int_eq(truncate(beside, whole + 5), 0);
	ck_assert(journal_recover(path, &base, &r, &err) && !r.whole);
	ck_assert(journal_adopt(&j, path, &base, &r, &err));
	recovery_free(&r);
	ck_assert_int_eq(stat(beside, &st), 0);
	ck_assert_int_eq(st.st_size, whole);
	append(&j, "values.a", "3");
	journal_close(&j);
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert_uint_eq(r.n_records, 2);
	ck_assert(r.whole);
	ck_assert_str_eq(r.changes[1].value, "3");
	recovery_free(&r);
	/* Cut inside the header: no edits were in it. */
	ck_assert_int_eq(truncate(beside, 7), 0);
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert(!r.found);
	ck_assert(journal_open(&j, path, &base, &err));
	append(&j, "values.a", "4");
	journal_close(&j);
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert_uint_eq(r.n_records, 1);
	recovery_free(&r);
}
END_TEST

START_TEST(a_long_session_stays_bounded)
{
	struct stamp base = stamp_of(path);
	struct recovery r;
	struct journal j;
	struct err err;
	struct stat st;

	err_clear(&err);
	ck_assert(journal_open(&j, path, &base, &err));
	for (int i = 1; i <= 60000; i++) {
		char key[32], value[32];
		snprintf(key, sizeof key, "values.a%d", i % 20);
		snprintf(value, sizeof value, "%d", i);
		append(&j, key, value);
	}
	ck_assert_int_eq(stat(beside, &st), 0);
	ck_assert_int_le(st.st_size, JOURNAL_MAX_BYTES + 200);
	journal_close(&j);
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert(r.found && r.whole && r.same_base);
	size_t n = changes_squeeze(r.changes, r.n_changes);
	ck_assert_uint_eq(n, 20);
	ck_assert_str_eq(r.changes[n - 1].key, "values.a0");
	ck_assert_str_eq(r.changes[n - 1].value, "60000");
	recovery_free(&r);
}
END_TEST

/* More than fits, of different keys: said, however often, and all that was taken is there. */
START_TEST(a_journal_that_is_full_says_so)
{
	enum { SIZE = 100 * 1024 };
	struct stamp base = stamp_of(path);
	char *big = malloc(SIZE), key[32];
	struct recovery r;
	struct journal j;
	struct err err;
	int n = 0;

	memset(big, 'x', SIZE);
	big[SIZE - 1] = '\0';
	err_clear(&err);
	ck_assert(journal_open(&j, path, &base, &err));
	for (bool ok = true; ok; n++) {
		struct change c = {key, big};
		snprintf(key, sizeof key, "notes-%d", n);
		ok = journal_append(&j, &c, 1, &err);
		ck_assert_int_lt(n, 20);
	}
	ck_assert_ptr_nonnull(strstr(err.text, "is full; save"));
	ck_assert_int_ge(n, 5);
	for (int i = 0; i < 30; i++) {
		struct change c = {key, big};
		ck_assert(!journal_append(&j, &c, 1, &err));
	}
	ck_assert(journal_sync(&j, &err));
	journal_close(&j);
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert(r.whole && r.n_records == (size_t)n - 1);
	recovery_free(&r);
	free(big);
}
END_TEST

START_TEST(deleted_under_us_it_is_written_anew)
{
	struct stamp base = stamp_of(path);
	char hidden[4200];

	snprintf(hidden, sizeof hidden, "%s/.nfs0001", folder);
	for (int i = 0; i < 2; i++) {
		struct recovery r;
		struct journal j;
		struct err err;
		err_clear(&err);
		ck_assert(journal_open(&j, path, &base, &err));
		append(&j, "values.a", "1");
		/* Truly, and as NFS deletes what is open. */
		ck_assert_int_eq(i ? rename(beside, hidden) : unlink(beside), 0);
		append(&j, "values.a", "2");
		ck_assert(journal_sync(&j, &err));
		append(&j, "values.a", "3");
		journal_close(&j);
		ck_assert(journal_recover(path, &base, &r, &err));
		ck_assert_uint_eq(r.n_records, 3);
		recovery_free(&r);
		test_drop_journals(path);
	}
}
END_TEST

/* Let the tool edit, kill it at a random moment: every edit that it told is in the journal. late:
 * the clock starts with its first edit, however slowly the machine starts it. */
static int kill_once(bool late, int *told)
{
	const char *tool = test_savetool();
	struct stamp base = stamp_of(path);
	struct recovery r;
	struct err err;
	int pipes[2], status, lost;
	char text[1 << 16];
	size_t n = 0;
	ssize_t got;

	ck_assert_int_eq(pipe(pipes), 0);
	pid_t pid = fork();
	if (pid == 0) {
		dup2(pipes[1], 1);
		close(pipes[0]);
		close(pipes[1]);
		setenv("GCOV_PREFIX", folder, 1); /* as in test_save_faults.c */
		execl(tool, tool, "edit", path, "2000", "100", (char *)NULL);
		_exit(127);
	}
	close(pipes[1]);
	if (late)
		ck_assert_int_eq(poll(&(struct pollfd){pipes[0], POLLIN, 0}, 1, 60000), 1);
	usleep((unsigned)(rand() % 25000));
	ck_assert_int_eq(kill(pid, SIGKILL), 0);
	ck_assert_int_eq(waitpid(pid, &status, 0), pid);
	while ((got = read(pipes[0], text + n, sizeof text - 1 - n)) > 0)
		n += (size_t)got;
	close(pipes[0]);
	text[n] = '\0';
	for (*told = 0; n > 0; n--)
		*told += text[n - 1] == '\n';
	err_clear(&err);
	ck_assert(journal_recover(path, &base, &r, &err));
	lost = *told - (int)r.n_records;
	for (size_t i = 0; i < r.n_changes; i++)
		ck_assert_int_eq(atoi(r.changes[i].value), (int)i + 1);
	recovery_free(&r);
	test_drop_journals(path);
	return lost > 0 ? lost : 0;
}

START_TEST(two_hundred_kills)
{
	int lost = 0, told, all = 0, early = 0;

	srand(11);
	for (int i = 0; i < 200; i++) {
		lost += kill_once(i % 4 != 0, &told);
		all += told;
		early += told == 0;
	}
	printf("journal: 200 kill -9, %d edits told, %d lost (%d kills before the first edit)\n",
		all, lost, early);
	ck_assert_int_eq(lost, 0);
	ck_assert_int_le(early, 50);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("journal");
	TCase *c = tcase_create("journal");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 120);
	tcase_add_test(c, what_goes_in_comes_out);
	tcase_add_test(c, another_base_is_told_and_not_overwritten);
	tcase_add_test(c, only_the_owner_reads_it);
	tcase_add_test(c, a_folder_that_cannot_be_written);
	tcase_add_test(c, cut_at_every_byte);
	tcase_add_test(c, one_wrong_bit_anywhere);
	tcase_add_test(c, records_of_no_form_end_the_journal);
	tcase_add_test(c, a_sync_that_is_late_is_due_now);
	tcase_add_test(c, a_torn_end_is_cut_off_before_going_on);
	tcase_add_test(c, a_long_session_stays_bounded);
	tcase_add_test(c, a_journal_that_is_full_says_so);
	tcase_add_test(c, deleted_under_us_it_is_written_anew);
	tcase_add_test(c, two_hundred_kills);
	suite_add_tcase(s, c);
	return s;
}
