/*
 * The debrief, from outside: what stands in it agrees with the other subcommands, it needs
 * nothing from elsewhere, no name in a book can break out of the page, and it writes over
 * nothing but an earlier report.
 */
#include "base/text.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static struct test_said report(const char *book, const char *a, const char *b, const char *c)
{
	const char *argv[] = {test_program(), "report", book, a, b, c, NULL};
	return test_run(argv);
}

static char *demo(void)
{
	return test_source("share/demo");
}

START_TEST(page_stands_by_itself)
{
	char *book = demo();
	struct test_said said = report(book, NULL, NULL, NULL);
	ck_assert_int_eq(said.status, 0);
	ck_assert_int_eq(strncmp(said.out, "<!DOCTYPE html>", 15), 0);
	static const char *const absent[] = {
		"<script", "http", "src=", "@import", "url(", "nan", "inf%"};
	for (size_t i = 0; i < sizeof absent / sizeof absent[0]; i++)
		ck_assert_msg(
			strstr(said.out, absent[i]) == NULL, "%s stands in the page", absent[i]);
	static const char *const present[] = {"<svg", "Trade-off of lap time and wear",
		"Set-up sheet", "Over the stint", "What each adjustment does",
		"Noise, and the driver's part", "Not tested", "Prediction against the track",
		"Test plan", "licensed venues", "prefers-color-scheme", "size:A4", "</html>"};
	for (size_t i = 0; i < sizeof present / sizeof present[0]; i++)
		ck_assert_msg(strstr(said.out, present[i]) != NULL, "%s is missing", present[i]);
	test_said_free(&said);
	free(book);
}
END_TEST

/* The stint's sentence is the one that `stint` prints. */
START_TEST(answer_is_the_stint_s)
{
	char *book = demo();
	const char *argv[] = {test_program(), "stint", book, "kind", NULL};
	struct test_said stint = test_run(argv), said = report(book, "--sheet", "kind", NULL);
	ck_assert_int_eq(stint.status, 0);
	ck_assert_int_eq(said.status, 0);
	char *answer = strstr(said.out, "class=\"answer\">");
	ck_assert_ptr_nonnull(answer);
	answer += strlen("class=\"answer\">") + 1; /* past its capital */
	*strchr(answer, ',') = '\0';
	ck_assert_ptr_nonnull(strstr(stint.out, answer));
	test_said_free(&stint);
	test_said_free(&said);
	free(book);
}
END_TEST

/* A copy of the demo whose book, sheet and notes carry markup and control characters. */
START_TEST(names_cannot_break_out)
{
	char *book = demo(), *folder = test_folder(), *copy = NULL, *file = NULL;
	ck_assert_int_ge(asprintf(&copy, "%s/book", folder), 0);
	const char *cp[] = {"/bin/cp", "-R", book, copy, NULL};
	struct test_said copied = test_run(cp);
	ck_assert_int_eq(copied.status, 0);
	test_said_free(&copied);
	ck_assert_int_ge(asprintf(&file, "%s/book.yaml", copy), 0);
	char *text = test_slurp(file, NULL), *at = strstr(text, "name: "), *end = strchr(at, '\n'),
	     *patched;
	ck_assert_int_ge(
		asprintf(&patched, "%.*sname: \"</title><script>x</script>\\e[31m\\u202E&\"%s",
			(int)(at - text), text, end),
		0);
	const char *rm[] = {"/bin/chmod", "-R", "u+w", copy, NULL};
	struct test_said ran = test_run(rm);
	test_said_free(&ran);
	test_write(file, patched, strlen(patched));
	struct test_said said = report(copy, NULL, NULL, NULL);
	ck_assert_int_eq(said.status, 0);
	ck_assert_ptr_null(strstr(said.out, "<script"));
	ck_assert_ptr_null(strchr(said.out, '\033'));
	ck_assert_ptr_null(strstr(said.out, "\xE2\x80\xAE"));
	ck_assert_ptr_nonnull(strstr(said.out, "&lt;script&gt;"));
	test_said_free(&said);
	said = report(copy, "--text", NULL, NULL);
	ck_assert_int_eq(said.status, 0);
	ck_assert_ptr_null(strchr(said.out, '\033'));
	test_said_free(&said);
	test_remove(folder);
	free(text);
	free(patched);
	free(file);
	free(copy);
	free(folder);
	free(book);
}
END_TEST

/* Names longer than a sentence has room for are cut between letters, in words and in JSON. */
START_TEST(long_names_are_cut_between_letters)
{
	char *book = demo(), *folder = test_folder(), *copy = NULL, name[400] = "";
	ck_assert_int_ge(asprintf(&copy, "%s/book", folder), 0);
	const char *cp[] = {"/bin/cp", "-R", book, copy, NULL};
	struct test_said said = test_run(cp);
	test_said_free(&said);
	const char *rm[] = {"/bin/chmod", "-R", "u+w", copy, NULL};
	said = test_run(rm);
	test_said_free(&said);
	for (int i = 0; i < 100; i++)
		strcat(name, "\xE7\xBF\xBC");
	for (int ahead = 0; ahead < 3; ahead++) {
		static const char *const ids[] = {"kind", "quick-base"};
		for (int i = 0; i < 2; i++) {
			char *file = NULL, *patched = NULL;
			ck_assert_int_ge(asprintf(&file, "%s/sheets/%s.yaml", copy, ids[i]), 0);
			char *text = test_slurp(file, NULL), *at = strstr(text, "name: ");
			ck_assert_int_ge(asprintf(&patched, "%.*sname: %.*s%s%s", (int)(at - text),
						 text, ahead, "aa", name, strchr(at, '\n')),
				0);
			test_write(file, patched, strlen(patched));
			free(text);
			free(patched);
			free(file);
		}
		for (int way = 0; way < 3; way++) {
			const char *argv[] = {test_program(), way < 2 ? "stint" : "report", copy,
				way < 2 ? "kind" : "--text", way == 0 ? "--json" : NULL, NULL};
			said = test_run(argv);
			ck_assert_msg(said.status == 0, "%s", said.err);
			ck_assert_ptr_null(strstr(said.out, "<xE7>"));
			ck_assert(text_utf8_valid(said.out, said.out_len));
			test_said_free(&said);
		}
	}
	test_remove(folder);
	free(copy);
	free(folder);
	free(book);
}
END_TEST

START_TEST(writes_over_reports_only)
{
	char *book = demo(), *folder = test_folder(), *file = NULL;
	ck_assert_int_ge(asprintf(&file, "%s/out.html", folder), 0);
	for (int i = 0; i < 2; i++) {
		struct test_said said = report(book, "-o", file, NULL);
		ck_assert_int_eq(said.status, 0);
		test_said_free(&said);
	}
	test_write(file, "my own notes\n", 13);
	struct test_said said = report(book, "-o", file, NULL);
	ck_assert_int_eq(said.status, 2);
	ck_assert_ptr_nonnull(strstr(said.err, "--force"));
	test_said_free(&said);
	char *kept = test_slurp(file, NULL);
	ck_assert_str_eq(kept, "my own notes\n");
	free(kept);
	said = report(book, "-o", file, "--force");
	ck_assert_int_eq(said.status, 0);
	test_said_free(&said);
	test_remove(folder);
	free(file);
	free(folder);
	free(book);
}
END_TEST

/* What --force may write over is what a save reads again; larger is refused as such. */
START_TEST(writes_over_large_files_when_told_to)
{
	char *book = demo(), *folder = test_folder(), *file = NULL, *other = NULL;
	ck_assert_int_ge(asprintf(&file, "%s/out.html", folder), 0);
	ck_assert_int_ge(asprintf(&other, "%s/other.html", folder), 0);
	static const struct {
		off_t size;
		bool two_names; /* then it is rewritten in place */
		int status;
	} cases[] = {{20 << 20, false, 0}, {20 << 20, true, 0}, {(64 << 20) + 1, false, 2}};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		unlink(other);
		test_write(file, "mine", 4);
		ck_assert_int_eq(truncate(file, cases[i].size), 0);
		if (cases[i].two_names)
			ck_assert_int_eq(link(file, other), 0);
		struct test_said said = report(book, "-o", file, "--force");
		ck_assert_msg(said.status == cases[i].status, "%zu: %s", i, said.err);
		ck_assert(said.status == 0 || strstr(said.err, "is larger than 67108864 bytes"));
		test_said_free(&said);
		size_t len;
		char *now = test_slurp(file, &len);
		ck_assert((strncmp(now, "<!DOCTYPE", 9) == 0) == (cases[i].status == 0));
		ck_assert((off_t)len < cases[i].size || cases[i].status);
		free(now);
	}
	test_remove(folder);
	free(file);
	free(other);
	free(folder);
	free(book);
}
END_TEST

/* An empty file holds nothing to lose; --json tells what was written. */
START_TEST(fills_an_empty_file_and_tells)
{
	char *book = demo(), *folder = test_folder(), *file = NULL;
	ck_assert_int_ge(asprintf(&file, "%s/out.html", folder), 0);
	test_write(file, "", 0);
	const char *argv[] = {test_program(), "report", book, "-o", file, "--json", NULL};
	struct test_said said = test_run(argv);
	ck_assert_int_eq(said.status, 0);
	size_t len;
	free(test_slurp(file, &len));
	char bytes[64];
	snprintf(bytes, sizeof bytes, "\"bytes\": %zu", len);
	ck_assert_msg(len > 1000 && strstr(said.out, bytes) != NULL, "%s", said.out);
	test_said_free(&said);
	said = report(book, "--json", NULL, NULL);
	ck_assert_int_eq(said.status, 2);
	ck_assert_ptr_nonnull(strstr(said.err, "-o FILE"));
	test_said_free(&said);
	test_remove(folder);
	free(file);
	free(folder);
	free(book);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("report");
	TCase *t = tcase_create("debrief");
	tcase_set_timeout(t, 120);
	tcase_add_test(t, page_stands_by_itself);
	tcase_add_test(t, answer_is_the_stint_s);
	tcase_add_test(t, names_cannot_break_out);
	tcase_add_test(t, long_names_are_cut_between_letters);
	tcase_add_test(t, writes_over_reports_only);
	tcase_add_test(t, writes_over_large_files_when_told_to);
	tcase_add_test(t, fills_an_empty_file_and_tells);
	suite_add_tcase(s, t);
	return s;
}
