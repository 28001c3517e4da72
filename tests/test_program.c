/* The program from outside: what it says without a book. */
#include "support/support.h"

#include <stdlib.h>
#include <string.h>

static struct test_said say(const char *word)
{
	const char *argv[] = {test_program(), word, NULL};
	return test_run(argv);
}

START_TEST(version_is_the_package_s)
{
	struct test_said said = say("--version");
	ck_assert_int_eq(said.status, 0);
	ck_assert_str_eq(said.out, PACKAGE_STRING "\n");
	ck_assert_str_eq(said.err, "");
	test_said_free(&said);
}
END_TEST

START_TEST(help_goes_to_stdout)
{
	struct test_said said = say("--help");
	ck_assert_int_eq(said.status, 0);
	ck_assert_int_eq(strncmp(said.out, "usage: treadlight", 17), 0);
	ck_assert_str_eq(said.err, "");
	test_said_free(&said);
}
END_TEST

START_TEST(unknown_word_is_bad_use)
{
	struct test_said said = say("no-such-word");
	ck_assert_int_eq(said.status, 2);
	ck_assert_str_eq(said.out, "");
	ck_assert_ptr_nonnull(strstr(said.err, "no-such-word"));
	test_said_free(&said);
}
END_TEST

START_TEST(book_without_a_terminal_is_told)
{
	char *demo = test_source("share/demo");
	struct test_said said = say(demo);
	ck_assert_int_ne(said.status, 0);
	ck_assert_int_lt(said.status, 3);
	ck_assert_str_eq(said.out, "");
	ck_assert_int_eq(strncmp(said.err, "treadlight: ", 12), 0);
	test_said_free(&said);
	free(demo);
}
END_TEST

START_TEST(options_are_checked)
{
	const char *words[] = {"--no-such", "--sheet", "-x"};
	struct test_said said = say(words[_i]);
	ck_assert_int_eq(said.status, 2);
	ck_assert_ptr_nonnull(strstr(said.err, words[_i]));
	test_said_free(&said);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("program");
	TCase *t = tcase_create("words");
	tcase_add_test(t, version_is_the_package_s);
	tcase_add_test(t, help_goes_to_stdout);
	tcase_add_test(t, unknown_word_is_bad_use);
	tcase_add_test(t, book_without_a_terminal_is_told);
	tcase_add_loop_test(t, options_are_checked, 0, 3);
	suite_add_tcase(s, t);
	return s;
}
