/* Whose a journal is: a session's own while it lives, kept when it ended, taken or dropped whole.
 */
#include "store/journal.h"
#include "store/journal_text.h"
#include "support/abilities.h"
#include "support/journals.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *folder, path[4096], beside[4096], second[4096];
static struct stamp base;
static struct err err;

static void read_base(void)
{
	char *bytes;
	size_t size;

	ck_assert(file_read(path, 1 << 20, &bytes, &size, &base, &err));
	free(bytes);
}

static void setup(void)
{
	char *real;

	folder = test_folder();
	real = realpath(folder, NULL);
	ck_assert_ptr_nonnull(real);
	snprintf(path, sizeof path, "%s/kind.yaml", real);
	snprintf(beside, sizeof beside, "%s/.kind.yaml.journal", real);
	snprintf(second, sizeof second, "%s/.kind.yaml.journal-2", real);
	free(real);
	test_write(path, "kind: sheet\n", 12);
	setenv("XDG_STATE_HOME", folder, 1);
	err_clear(&err);
	read_base();
}

static void teardown(void)
{
	test_remove(folder);
	free(folder);
}

static bool is_there(const char *name)
{
	return access(name, F_OK) == 0;
}

static void said(const char *words)
{
	ck_assert_msg(strstr(err.text, words) != NULL, "said: %s", err.text);
	err_clear(&err);
}

/* A session with one edit. */
static void begin(struct journal *j, const char *value)
{
	struct change c = {"values.a", value};

	ck_assert_msg(journal_open(j, path, &base, &err), "%s", err.text);
	ck_assert_msg(journal_append(j, &c, 1, &err), "%s", err.text);
}

static void begin_and_end(const char *value)
{
	struct journal j;

	begin(&j, value);
	journal_close(&j);
}

static void holds(struct recovery *r, const char *value)
{
	ck_assert(r->found);
	ck_assert_str_eq(r->changes[r->n_changes - 1].value, value);
}

static bool knows_locks(struct journal *j)
{
	struct recovery r;

	ck_assert(journal_recover(path, &base, &r, &err) && r.found);
	const bool busy = r.busy;
	recovery_free(&r);
	if (!busy) {
		printf("SKIPPED here: what needs locks of files\n");
		journal_close(j);
	}
	return busy;
}

START_TEST(each_session_has_its_own)
{
	struct journal one, two, none;
	struct recovery r;

	begin(&one, "1");
	if (!knows_locks(&one))
		return;
	begin(&two, "2");
	ck_assert_str_eq(one.path, beside);
	ck_assert_str_eq(two.path, second);
	ck_assert(journal_recover(path, &base, &r, &err) && r.busy);
	holds(&r, "1");
	/* Nobody takes or drops what a session works on. */
	ck_assert(!journal_drop(&r, &err));
	said("another session works on them");
	ck_assert(!journal_adopt(&none, path, &base, &r, &err));
	said("another session works on them");
	ck_assert(!journal_is_open(&none));
	ck_assert(journal_recover_next(path, &base, &r, &err) && r.busy);
	holds(&r, "2");
	ck_assert(journal_recover_next(path, &base, &r, &err) && !r.found);
	ck_assert(journal_discard(&one, &err));
	ck_assert(!is_there(beside) && is_there(second));
	journal_close(&two);
	ck_assert(journal_recover(path, &base, &r, &err) && !r.busy);
	holds(&r, "2");
	ck_assert(journal_drop(&r, &err));
	recovery_free(&r);
	ck_assert(!is_there(second));
}
END_TEST

START_TEST(one_that_was_only_begun_is_left_to_its_session)
{
	struct journal one, two;
	struct recovery r;

	begin(&one, "1");
	if (!knows_locks(&one))
		return;
	ck_assert(journal_discard(&one, &err));
	ck_assert(journal_open(&one, path, &base, &err));
	ck_assert(journal_open(&two, path, &base, &err));
	ck_assert_str_eq(two.path, second);
	ck_assert(journal_recover(path, &base, &r, &err) && !r.found);
	journal_close(&one);
	journal_close(&two);
	ck_assert(journal_open(&one, path, &base, &err));
	ck_assert_str_eq(one.path, beside);
	ck_assert(journal_discard(&one, &err));
}
END_TEST

START_TEST(what_changed_meanwhile_is_not_taken)
{
	struct change more = {"values.b", "2"};
	struct recovery r;
	struct journal j;
	struct buf b;

	begin_and_end("1");
	ck_assert(journal_recover(path, &base, &r, &err));
	buf_init(&b);
	journal_add_header(&b, &base);
	journal_add_record(&b, &more, 1);
	test_write(beside, b.data, b.len);
	ck_assert(!journal_drop(&r, &err));
	said("was changed since it was read");
	ck_assert(!journal_adopt(&j, path, &base, &r, &err));
	said("was changed since it was read");
	buf_free(&b);
	ck_assert_int_eq(unlink(beside), 0);
	ck_assert(!journal_adopt(&j, path, &base, &r, &err));
	said("taken or dropped elsewhere");
	recovery_free(&r);
	ck_assert(!is_there(second));
}
END_TEST

START_TEST(taken_they_are_of_the_file_as_it_is)
{
	struct change more = {"values.b", "3"};
	struct recovery r;
	struct journal j;

	begin_and_end("1");
	begin_and_end("2");
	test_write(path, "kind: sheet \n", 13);
	read_base();
	ck_assert(journal_recover(path, &base, &r, &err) && r.found && !r.same_base);
	ck_assert(journal_adopt(&j, path, &base, &r, &err));
	ck_assert_str_eq(err.text, "");
	recovery_free(&r);
	ck_assert_str_eq(j.path, beside);
	ck_assert(journal_append(&j, &more, 1, &err) && journal_sync(&j, &err));
	journal_close(&j);
	ck_assert(journal_recover(path, &base, &r, &err) && r.same_base);
	ck_assert_uint_eq(r.n_changes, 2);
	ck_assert_str_eq(r.changes[0].value, "1");
	holds(&r, "3");
	ck_assert(journal_recover_next(path, &base, &r, &err));
	holds(&r, "2");
	recovery_free(&r);
	ck_assert_uint_eq(test_drop_journals(path), 2);
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

START_TEST(on_another_base)
{
	struct change change = {"values.c", "7"};
	struct stamp other = base;
	struct recovery r;
	struct journal j;

	begin(&j, "1");
	other.hash++;
	ck_assert(journal_rebase(&j, &other, &change, 1, &err));
	ck_assert(stamp_same_bytes(&j.base, &other));
	journal_close(&j);
	ck_assert(journal_recover(path, &other, &r, &err) && r.same_base && r.n_changes == 1);
	holds(&r, "7");
	recovery_free(&r);
	ck_assert_int_eq(test_entries(folder), 2);
}
END_TEST

START_TEST(as_many_as_there_are_names)
{
	char own[4200];
	struct journal j;

	snprintf(own, sizeof own, "%s/treadlight", folder);
	for (int i = 0; i < 2 * JOURNALS_MAX; i++)
		begin_and_end("1");
	ck_assert_int_eq(test_entries(own), JOURNALS_MAX);
	ck_assert(!journal_open(&j, path, &base, &err));
	said("9 journals of unsaved edits wait");
	ck_assert_uint_eq(test_drop_journals(path), 2 * JOURNALS_MAX);
	begin(&j, "1");
	ck_assert_str_eq(j.path, beside);
	journal_close(&j);
}
END_TEST

/* Nothing waits to be synced, and yet it is noticed. */
START_TEST(deleted_or_replaced_while_nothing_waits)
{
	struct recovery r;
	struct journal j;

	begin(&j, "1");
	ck_assert(journal_sync(&j, &err));
	ck_assert_int_eq(j.since, 0);
	ck_assert_int_ge(journal_due(&j), 0);
	ck_assert_int_eq(unlink(beside), 0);
	ck_assert(journal_sync(&j, &err));
	ck_assert(journal_recover(path, &base, &r, &err));
	holds(&r, "1");
	recovery_free(&r);
	/* Another's in its place is not touched. */
	ck_assert_int_eq(unlink(beside), 0);
	test_write(second, "theirs", 6);
	ck_assert_int_eq(rename(second, beside), 0);
	ck_assert(journal_sync(&j, &err));
	ck_assert_str_eq(j.path, second);
	ck_assert(journal_discard(&j, &err));
	ck_assert(is_there(beside) && !is_there(second));
	/* Nor removed. */
	ck_assert_int_eq(unlink(beside), 0);
	begin(&j, "1");
	ck_assert_int_eq(unlink(beside), 0);
	test_write(beside, "theirs", 6);
	ck_assert(journal_discard(&j, &err));
	ck_assert(is_there(beside));
}
END_TEST

START_TEST(damaged_from_the_start_it_is_told_and_kept)
{
	struct recovery r;
	struct journal j;
	size_t size;
	char *bytes;

	begin_and_end("1");
	bytes = test_slurp(beside, &size);
	bytes[0] = 'T';
	test_write(beside, bytes, size);
	begin(&j, "2");
	ck_assert_str_eq(j.path, second);
	journal_close(&j);
	ck_assert(!journal_recover(path, &base, &r, &err));
	said("is damaged from its start; it is kept until you remove it");
	ck_assert(journal_recover_next(path, &base, &r, &err));
	holds(&r, "2");
	recovery_free(&r);
	/* A first record that was not written to its end was never told as safe. */
	bytes[0] = 't';
	for (size_t n = 0; n < size; n++) {
		test_write(beside, bytes, n);
		ck_assert_msg(journal_recover(path, &base, &r, &err), "%zu: %s", n, err.text);
		recovery_free(&r);
	}
	/* One of the right length with a wrong byte was. */
	bytes[size - 3] = 'x';
	test_write(beside, bytes, size);
	ck_assert(!journal_recover(path, &base, &r, &err));
	free(bytes);
}
END_TEST

/* As somebody else than the superuser, in a folder that all may write. */
static bool as_nobody(void)
{
	if (!test_can(folder, CAN_MODE) || !test_can(folder, CAN_ADMIT))
		return false;
	ck_assert_int_eq(chmod(folder, 0777), 0);
	if (geteuid() == 0) {
		ck_assert_int_eq(setgid(65534), 0);
		ck_assert_int_eq(setuid(65534), 0);
	}
	return true;
}

START_TEST(one_that_cannot_be_read_is_left_there)
{
	struct recovery r;
	struct journal j;

	begin_and_end("1");
	ck_assert_int_eq(chmod(beside, 0), 0);
	if (!as_nobody())
		return;
	ck_assert(!journal_recover(path, &base, &r, &err));
	said("cannot be opened");
	begin(&j, "2");
	ck_assert_str_eq(j.path, second);
	journal_close(&j);
	ck_assert(!journal_recover(path, &base, &r, &err));
	ck_assert(journal_recover_next(path, &base, &r, &err));
	holds(&r, "2");
	recovery_free(&r);
	ck_assert(is_there(beside));
}
END_TEST

/* As earlier versions made that of a sheet which nobody may write. */
START_TEST(one_that_may_only_be_read_can_be_taken)
{
	struct recovery r;
	struct journal j;
	struct stat st;

	if (!as_nobody())
		return;
	begin_and_end("1");
	ck_assert_int_eq(chmod(beside, 0400), 0);
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert_msg(journal_adopt(&j, path, &base, &r, &err), "%s", err.text);
	recovery_free(&r);
	journal_close(&j);
	ck_assert_int_eq(stat(beside, &st), 0);
	ck_assert_uint_eq(st.st_mode & 07777, 0600);
}
END_TEST

START_TEST(taken_where_the_old_one_cannot_be_removed)
{
	struct recovery r;
	struct journal j;
	char book[4000];

	if (!as_nobody())
		return;
	snprintf(book, sizeof book, "%.3000s/book", folder);
	snprintf(path, sizeof path, "%s/kind.yaml", book);
	ck_assert_int_eq(mkdir(book, 0755), 0);
	test_write(path, "kind: sheet\n", 12);
	begin_and_end("1");
	ck_assert_int_eq(chmod(book, 0555), 0);
	ck_assert(journal_recover(path, &base, &r, &err));
	ck_assert(journal_adopt(&j, path, &base, &r, &err));
	said("the journal cannot be removed");
	ck_assert_ptr_nonnull(strstr(j.path, "/treadlight/"));
	ck_assert(!journal_drop(&r, &err));
	recovery_free(&r);
	journal_close(&j);
	ck_assert_int_eq(chmod(book, 0755), 0);
	ck_assert_uint_eq(test_drop_journals(path), 2);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("whose journals are");
	TCase *c = tcase_create("journals");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 60);
	tcase_add_test(c, each_session_has_its_own);
	tcase_add_test(c, one_that_was_only_begun_is_left_to_its_session);
	tcase_add_test(c, what_changed_meanwhile_is_not_taken);
	tcase_add_test(c, taken_they_are_of_the_file_as_it_is);
	tcase_add_test(c, on_another_base);
	tcase_add_test(c, as_many_as_there_are_names);
	tcase_add_test(c, deleted_or_replaced_while_nothing_waits);
	tcase_add_test(c, damaged_from_the_start_it_is_told_and_kept);
	tcase_add_test(c, one_that_cannot_be_read_is_left_there);
	tcase_add_test(c, one_that_may_only_be_read_can_be_taken);
	tcase_add_test(c, taken_where_the_old_one_cannot_be_removed);
	suite_add_tcase(s, c);
	return s;
}
