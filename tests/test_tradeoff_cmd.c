/* treadlight compare, suggest and stint from outside, on the demo book. */
#include "support/support.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct test_said say(const char *cmd, const char *const *words)
{
	const char *argv[16] = {test_program(), cmd};
	char *demo = test_source("share/demo");
	size_t n = 2;
	argv[n++] = demo;
	while (*words)
		argv[n++] = *words++;
	struct test_said said = test_run(argv);
	free(demo);
	return said;
}
#define WORDS(...) ((const char *const[]){__VA_ARGS__, NULL})

static json_t *ask(const char *cmd, const char *const *words)
{
	struct test_said said = say(cmd, words);
	ck_assert_msg(said.status == 0, "%s", said.err);
	ck_assert_str_eq(said.err, "");
	json_error_t e;
	json_t *doc = json_loads(said.out, 0, &e);
	ck_assert_msg(doc != NULL, "%s", e.text);
	test_said_free(&said);
	return doc;
}

static double number(const json_t *o, const char *key)
{
	const json_t *v = json_object_get(o, key);
	ck_assert_msg(json_is_number(v), "%s is no number", key);
	return json_number_value(v);
}

/* Contributions add up to the predicted difference to 1e-12. */
START_TEST(compare_adds_up)
{
	json_t *doc = ask("compare", WORDS("quick-base", "kind", "--json"));
	json_t *parts = json_object_get(doc, "contributions"), *p, *g;
	size_t i, k;
	ck_assert_str_eq(json_string_value(json_object_get(doc, "a")), "quick-base");
	ck_assert_str_eq(json_string_value(json_object_get(doc, "b")), "kind");
	ck_assert_uint_eq(json_array_size(json_object_get(doc, "values")), 18);
	ck_assert_uint_eq(json_array_size(parts), 11);
	json_array_foreach(json_object_get(doc, "predictions"), i, p)
	{
		double sum = 0;
		const char *id = json_string_value(json_object_get(p, "response"));
		json_array_foreach(parts, k, g)
		{
			double v = number(json_object_get(g, "by"), id);
			ck_assert(json_is_true(json_object_get(g, "changed")) || v == 0);
			sum += v;
		}
		ck_assert_double_eq_tol(sum, number(p, "delta"), 1e-12);
	}
	ck_assert_uint_eq(json_array_size(json_object_get(doc, "like-for-like")), 2);
	json_decref(doc);
}
END_TEST

/* The rear camber alone was never moved: null, and said in words. */
START_TEST(compare_says_what_was_not_tested)
{
	json_t *doc = ask("compare", WORDS("quick-base", "soft-rear-camber", "--json"));
	json_t *parts = json_object_get(doc, "contributions"), *g;
	size_t i;
	json_array_foreach(parts, i, g)
		ck_assert(json_is_true(json_object_get(g, "changed")) ==
			  json_is_null(json_object_get(json_object_get(g, "by"), "time")));
	json_decref(doc);
	struct test_said said = say("compare", WORDS("quick-base", "soft-rear-camber"));
	ck_assert(strstr(said.out, "not tested: front and rear Camber always moved together") !=
		  NULL);
	test_said_free(&said);
}
END_TEST

static void centred(const json_t *p, const char *key, const char *low, const char *high)
{
	ck_assert_double_gt(number(p, high), number(p, low));
	ck_assert_double_eq_tol((number(p, high) + number(p, low)) / 2, number(p, key), 1e-9);
}

START_TEST(suggest_is_a_front)
{
	json_t *doc = ask("suggest", WORDS("--json")), *p;
	json_t *points = json_object_get(doc, "frontier");
	size_t i, n = json_array_size(points);
	ck_assert_str_eq(json_string_value(json_object_get(doc, "reference")), "quick-base");
	ck_assert(json_is_true(json_object_get(doc, "exact")));
	ck_assert_double_gt(number(doc, "candidates"), 1e6);
	ck_assert_uint_gt(n, 10);
	json_array_foreach(points, i, p)
	{
		ck_assert_uint_eq(json_object_size(json_object_get(p, "values")), 18);
		/* Drive and overrun ramps are frozen, pairs locked: their front minus rear is held.
		 */
		json_t *v = json_object_get(p, "values");
		ck_assert_double_eq(number(v, "drive-ramp"), 45);
		ck_assert_double_eq_tol(
			number(v, "front-camber") - number(v, "rear-camber"), -1.2, 1e-9);
		centred(p, "time-delta", "time-low", "time-high");
		centred(p, "wear-delta", "wear-low", "wear-high");
		centred(p, "like-for-like-delta", "like-for-like-low", "like-for-like-high");
		if (i == 0)
			continue;
		json_t *before = json_array_get(points, i - 1);
		ck_assert_double_gt(number(p, "time-delta"), number(before, "time-delta"));
		ck_assert_double_lt(number(p, "wear-delta"), number(before, "wear-delta"));
	}
	json_t *thin = ask("suggest", WORDS("--json", "--points", "5"));
	json_t *five = json_object_get(thin, "frontier");
	ck_assert_uint_eq(json_array_size(five), 5);
	ck_assert(json_equal(json_array_get(five, 0), json_array_get(points, 0)));
	ck_assert(json_equal(json_array_get(five, 4), json_array_get(points, n - 1)));
	json_decref(thin);
	json_decref(doc);
}
END_TEST

START_TEST(suggest_keeps_to_its_bounds)
{
	json_t *doc = ask("suggest",
		       WORDS("--json", "--max-changes", "2", "--minutes", "30", "--save", "front")),
	       *p;
	size_t i;
	ck_assert_str_eq(json_string_value(json_object_get(doc, "save")), "front");
	ck_assert_uint_gt(json_array_size(json_object_get(doc, "frontier")), 1);
	json_array_foreach(json_object_get(doc, "frontier"), i, p)
	{
		ck_assert_double_le(number(p, "changes"), 2);
		ck_assert_double_le(number(p, "minutes"), 30);
	}
	json_decref(doc);
	/* No change at all: the reference itself. */
	doc = ask("suggest", WORDS("--json", "--max-changes", "0"));
	ck_assert_uint_eq(json_array_size(json_object_get(doc, "frontier")), 1);
	p = json_array_get(json_object_get(doc, "frontier"), 0);
	ck_assert_double_eq(number(p, "time-delta"), 0);
	ck_assert_double_eq(number(p, "stint-delta"), 0);
	json_decref(doc);
}
END_TEST

START_TEST(stint_has_four_plans)
{
	static const char *const plans[] = {
		"reference", "sheet", "reference-lifting", "reference-stopping"};
	json_t *doc = ask("stint", WORDS("kind", "--json")), *rows = json_object_get(doc, "rows");
	double base = number(json_array_get(rows, 0), "total");
	ck_assert_uint_eq(json_array_size(rows), 4);
	ck_assert_uint_eq(
		json_array_size(json_object_get(doc, "curve")), (size_t)number(doc, "laps"));
	for (size_t i = 0; i < 4; i++) {
		json_t *r = json_array_get(rows, i);
		ck_assert_str_eq(json_string_value(json_object_get(r, "plan")), plans[i]);
		ck_assert_double_eq_tol(number(r, "total") - base, number(r, "delta"), 1e-9);
		ck_assert_double_le(number(r, "delta-low"), number(r, "delta"));
		ck_assert_double_ge(number(r, "delta-high"), number(r, "delta"));
	}
	json_t *last =
		json_array_get(json_object_get(doc, "curve"), (size_t)number(doc, "laps") - 1);
	ck_assert_double_eq_tol(
		number(json_object_get(last, "reference"), "cumulative-time"), base, 1e-6);
	json_decref(doc);
	doc = ask("stint", WORDS("kind", "--json", "--laps", "7"));
	ck_assert_double_eq(number(doc, "laps"), 7);
	json_decref(doc);
}
END_TEST

static void refused(const char *cmd, const char *const *words, const char *text)
{
	struct test_said said = say(cmd, words);
	ck_assert_int_eq(said.status, 2);
	ck_assert_str_eq(said.out, "");
	ck_assert(strncmp(said.err, "treadlight: ", 12) == 0);
	ck_assert_msg(strstr(said.err, text) != NULL, "%s", said.err);
	test_said_free(&said);
}

START_TEST(bad_use_is_refused)
{
	refused("compare", WORDS("quick-base", "nobody"), "nobody");
	refused("suggest", WORDS("nobody"), "nobody");
	refused("suggest", WORDS("--save", "tyres"), "front, rear, mean");
	refused("suggest", WORDS("--points", "1"), "--points");
	refused("suggest", WORDS("--max-changes", "-1"), "--max-changes");
	refused("suggest", WORDS("--minutes", "1,5"), "--minutes");
	refused("stint", WORDS("kind", "--laps", "0"), "--laps");
	refused("stint", WORDS("kind", "--laps", "2.5"), "--laps");
}
END_TEST

/* Every table prints and says the answer in words. */
START_TEST(tables_speak)
{
	struct test_said said = say("stint", WORDS("kind"));
	ck_assert_int_eq(said.status, 0);
	ck_assert(strstr(said.out, "over 24 laps") != NULL);
	test_said_free(&said);
	said = say("suggest", WORDS("kind", "--beyond"));
	ck_assert_int_eq(said.status, 0);
	ck_assert(strstr(said.out, "stays, frozen") != NULL);
	ck_assert(strstr(said.out, "the best of many estimates") != NULL);
	ck_assert(strstr(said.out, "95% of `at pace`: suggest --json, or compare") != NULL);
	ck_assert(strstr(said.out, "95% of `stint`: the command stint") != NULL);
	test_said_free(&said);
	said = say("suggest", WORDS("--save", "like-for-like", "--points", "3"));
	ck_assert(strstr(said.out, "95% of `wear`: suggest --json, or compare") != NULL);
	test_said_free(&said);
	said = say("compare", WORDS("quick-base", "kind", "--changed-first"));
	ck_assert_int_eq(said.status, 0);
	ck_assert(strstr(said.out, "at the same pace (like for like)") != NULL);
	test_said_free(&said);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("tradeoff_cmd");
	TCase *t = tcase_create("demo");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, compare_adds_up);
	tcase_add_test(t, compare_says_what_was_not_tested);
	tcase_add_test(t, suggest_is_a_front);
	tcase_add_test(t, suggest_keeps_to_its_bounds);
	tcase_add_test(t, stint_has_four_plans);
	tcase_add_test(t, bad_use_is_refused);
	tcase_add_test(t, tables_speak);
	suite_add_tcase(s, t);
	return s;
}
