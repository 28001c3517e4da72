/* treadlight plan from outside, on the demo book. */
#include "support/support.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

static struct test_said say(const char *const *words)
{
	const char *argv[16] = {test_program(), "plan"};
	char *demo = test_source("share/demo");
	size_t n = 2;
	argv[n++] = demo;
	while (*words)
		argv[n++] = *words++;
	struct test_said said = test_run(argv);
	free(demo);
	return said;
}

static json_t *ask(const char *const *words)
{
	struct test_said said = say(words);
	ck_assert_msg(said.status == 0, "%s", said.err);
	ck_assert_str_eq(said.err, "");
	json_t *doc = json_loads(said.out, 0, NULL);
	ck_assert_ptr_nonnull(doc);
	test_said_free(&said);
	return doc;
}

static bool is_base(json_t *run)
{
	return strcmp(json_string_value(json_object_get(run, "role")), "baseline") == 0;
}

/* The base opens, closes and returns at least every fifth run; order counts from one. */
static void check_bases(json_t *doc)
{
	json_t *runs = json_object_get(doc, "runs"), *first = json_array_get(runs, 0);
	size_t n = json_array_size(runs), since = 0;
	ck_assert(is_base(first) && is_base(json_array_get(runs, n - 1)));
	for (size_t i = 0; i < n; i++) {
		json_t *run = json_array_get(runs, i);
		ck_assert_int_eq(json_integer_value(json_object_get(run, "order")), (int)i + 1);
		since = is_base(run) ? 0 : since + 1;
		ck_assert_uint_le(since, 4);
		if (is_base(run))
			ck_assert(json_equal(
				json_object_get(run, "values"), json_object_get(first, "values")));
	}
}

START_TEST(every_kind_keeps_its_form)
{
	static const char *const kinds[] = {"one-at-a-time", "screening", "definitive"};
	static const size_t runs[] = {18 + 6, 12 + 4, 21 + 7};
	const char *words[] = {"--json", "--kind", kinds[_i], NULL};
	json_t *doc = ask(words), *again = ask(words);
	ck_assert(json_equal(doc, again));
	ck_assert_str_eq(json_string_value(json_object_get(doc, "kind")), kinds[_i]);
	ck_assert_uint_eq(json_array_size(json_object_get(doc, "runs")), runs[_i]);
	ck_assert_int_eq(json_integer_value(json_object_get(doc, "laps")), 5);
	check_bases(doc);
	json_t *detect = json_object_get(doc, "detectable"), *one;
	size_t i;
	ck_assert_uint_ge(json_array_size(detect), 9 * 3);
	json_array_foreach(detect, i, one)
		ck_assert(json_real_value(json_object_get(one, "effect")) > 0);
	json_decref(doc);
	json_decref(again);
}
END_TEST

START_TEST(next_is_one_run)
{
	json_t *doc = ask((const char *const[]){"--json", "--kind", "next", NULL});
	json_t *runs = json_object_get(doc, "runs");
	ck_assert_uint_eq(json_array_size(runs), 1);
	ck_assert_str_eq(
		json_string_value(json_object_get(json_array_get(runs, 0), "role")), "test");
	ck_assert_uint_eq(json_object_size(json_object_get(json_array_get(runs, 0), "values")), 18);
	json_decref(doc);
}
END_TEST

START_TEST(seeds_and_budgets_count)
{
	json_t *a = ask((const char *const[]){"--json", "--kind", "screening", "--rng", "7", NULL});
	json_t *b = ask((const char *const[]){
		"--json", "--kind", "screening", "--rng", "8", "--laps", "112", NULL});
	ck_assert(!json_equal(json_object_get(a, "runs"), json_object_get(b, "runs")));
	ck_assert_int_eq(json_integer_value(json_object_get(b, "laps")), 7);
	json_decref(a);
	json_decref(b);
}
END_TEST

static void refuse(const char *const *words, const char *said_word)
{
	struct test_said said = say(words);
	ck_assert_int_eq(said.status, 2);
	ck_assert_str_eq(said.out, "");
	ck_assert_msg(strstr(said.err, said_word) != NULL, "%s", said.err);
	test_said_free(&said);
}

START_TEST(bad_use_is_told)
{
	refuse((const char *const[]){"--kind", "latin", NULL}, "screening");
	refuse((const char *const[]){"--json", "--laps", "9", "--kind", "screening", NULL},
		"at least 16");
	refuse((const char *const[]){"--kind", "screening", "--base", "none", NULL}, "quick-base");
	refuse((const char *const[]){"--kind", "screening", "--factor", "drive-ramp", NULL},
		"frozen");
	refuse((const char *const[]){"--kind", "screening", "--order", "slow", NULL}, "quick");
	refuse((const char *const[]){"--kind", "screening", "--range", "wing", NULL}, "LOW:HIGH");
	refuse((const char *const[]){"--kind", "screening", "--sigma-run", "grip=1", NULL}, "time");
	refuse((const char *const[]){"--kind", "definitive", "--fold-over", NULL}, "screening");
}
END_TEST

START_TEST(tables_are_for_people)
{
	struct test_said said = say((const char *const[]){
		"--kind", "screening", "--order", "quick", "--minutes", "60", NULL});
	ck_assert_int_eq(said.status, 0);
	ck_assert_ptr_nonnull(strstr(said.out, "wing.common"));
	ck_assert_ptr_nonnull(strstr(said.out, "drift"));
	ck_assert_ptr_nonnull(strstr(said.out, "over the garage time"));
	test_said_free(&said);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("plan subcommand");
	TCase *t = tcase_create("demo");
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, every_kind_keeps_its_form, 0, 3);
	tcase_add_test(t, next_is_one_run);
	tcase_add_test(t, seeds_and_budgets_count);
	tcase_add_test(t, bad_use_is_told);
	tcase_add_test(t, tables_are_for_people);
	suite_add_tcase(s, t);
	return s;
}
