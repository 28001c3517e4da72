/*
 * `fit` and `predict` as a user and a script meet them, on the demo book: the JSON documents'
 * keys and kinds are the contract; tables say in words what was not tested; bad use is told.
 */
#include "support/support.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

static struct test_said run(const char *a, const char *b, const char *c, const char *d)
{
	char *demo = test_source("share/demo");
	const char *argv[] = {test_program(), a, demo, b, c, d, NULL};
	struct test_said said = test_run(argv);
	free(demo);
	return said;
}

static json_t *document(const char *a, const char *b, const char *c, const char *d)
{
	struct test_said said = run(a, b, c, d);
	json_error_t error;
	ck_assert_msg(said.status == 0, "%s", said.err);
	json_t *doc = json_loads(said.out, 0, &error);
	ck_assert_msg(doc != NULL, "%s", error.text);
	test_said_free(&said);
	return doc;
}

enum kind { NUMBER, NUMBER_OR_NULL, TEXT, YES_NO, LIST, ANYTHING };

static void has(const json_t *o, const char *key, enum kind kind)
{
	const json_t *v = json_object_get(o, key);
	ck_assert_msg(v != NULL, "no %s", key);
	const bool ok = kind == NUMBER           ? json_is_number(v)
			: kind == TEXT           ? json_is_string(v)
			: kind == YES_NO         ? json_is_boolean(v)
			: kind == LIST           ? json_is_array(v)
			: kind == NUMBER_OR_NULL ? json_is_number(v) || json_is_null(v)
						 : true;
	ck_assert_msg(ok, "%s is of another kind", key);
}

static void check_fitted(const json_t *r)
{
	static const char *const figures[] = {"estimate", "se", "df", "t", "p"};
	size_t i;
	json_t *t;
	has(r, "id", TEXT);
	has(r, "unit", TEXT);
	has(r, "sigma-run", NUMBER);
	has(r, "sigma-lap", NUMBER);
	has(r, "curvature", YES_NO);
	has(r, "df-run", NUMBER);
	has(r, "df-lap", NUMBER);
	has(r, "log-reml", NUMBER_OR_NULL);
	has(r, "lack-of-fit", ANYTHING);
	json_array_foreach(json_object_get(r, "terms"), i, t)
	{
		has(t, "id", TEXT);
		for (size_t k = 0; k < 5; k++)
			has(t, figures[k], NUMBER_OR_NULL);
	}
	ck_assert_uint_gt(i, 10);
	json_array_foreach(json_object_get(r, "not-estimable"), i, t)
	{
		has(t, "id", TEXT);
		has(t, "with", LIST);
	}
}

START_TEST(fit_document)
{
	json_t *doc = document("fit", "--json", NULL, NULL), *e;
	size_t i;
	has(doc, "book", TEXT);
	has(doc, "runs", NUMBER);
	has(doc, "laps", NUMBER);
	has(doc, "skipped", NUMBER);
	json_array_foreach(json_object_get(doc, "responses"), i, e) check_fitted(e);
	ck_assert_uint_eq(i, 3);
	json_array_foreach(json_object_get(doc, "exchange-rates"), i, e)
	{
		has(e, "channel", TEXT);
		has(e, "value", NUMBER);
		has(e, "se", NUMBER);
		has(e, "low", NUMBER);
		has(e, "high", NUMBER);
		has(e, "method", TEXT);
	}
	ck_assert_uint_eq(i, 2);
	json_decref(doc);
}
END_TEST

START_TEST(predict_document)
{
	static const char *const figures[] = {
		"value", "low", "high", "delta", "delta-se", "delta-low", "delta-high"};
	json_t *doc = document("predict", "kind", "--json", NULL), *e;
	size_t i;
	ck_assert_str_eq(json_string_value(json_object_get(doc, "sheet")), "kind");
	ck_assert_str_eq(json_string_value(json_object_get(doc, "reference")), "quick-base");
	json_array_foreach(json_object_get(doc, "predictions"), i, e)
	{
		has(e, "response", TEXT);
		for (size_t k = 0; k < 7; k++)
			has(e, figures[k], NUMBER);
		has(e, "tested", YES_NO);
	}
	ck_assert_uint_eq(i, 3);
	json_array_foreach(json_object_get(doc, "like-for-like"), i, e)
	{
		has(e, "channel", TEXT);
		has(e, "delta", NUMBER);
		has(e, "delta-low", NUMBER);
		has(e, "delta-high", NUMBER);
		has(e, "chance-better", NUMBER);
	}
	ck_assert_uint_eq(i, 2);
	has(doc, "untested", LIST);
	has(json_object_get(json_object_get(doc, "balance"), "sheet"), "aero-front-share", NUMBER);
	json_decref(doc);
}
END_TEST

START_TEST(against_another_sheet)
{
	json_t *there = document("predict", "kind", "--against=fast", "--json");
	json_t *back = document("predict", "fast", "--against=kind", "--json");
	const json_t *a = json_array_get(json_object_get(there, "predictions"), 0);
	const json_t *b = json_array_get(json_object_get(back, "predictions"), 0);
	ck_assert_double_eq_tol(json_number_value(json_object_get(a, "delta")),
		-json_number_value(json_object_get(b, "delta")), 1e-12);
	json_decref(there);
	json_decref(back);
}
END_TEST

START_TEST(tables_speak)
{
	struct test_said said = run("fit", NULL, NULL, NULL);
	ck_assert_int_eq(said.status, 0);
	ck_assert(strstr(said.out, "not tested: front and rear Camber always moved together"));
	ck_assert(strstr(said.out, "never moved"));
	ck_assert(strstr(said.out, "from run to run"));
	ck_assert(strstr(said.out, "exchange rate"));
	test_said_free(&said);
	said = run("predict", "kind", NULL, NULL);
	ck_assert(strstr(said.out, "kind against quick-base"));
	ck_assert(strstr(said.out, "in 100"));
	test_said_free(&said);
}
END_TEST

START_TEST(bad_use)
{
	struct test_said said = run("predict", "nowhere", NULL, NULL);
	ck_assert_int_eq(said.status, 2);
	ck_assert(strstr(said.err, "nowhere") && strstr(said.err, "quick-base"));
	ck_assert_uint_eq(said.out_len, 0);
	test_said_free(&said);
	const char *argv[] = {test_program(), "fit", "/nowhere/at/all", NULL};
	said = test_run(argv);
	ck_assert_int_eq(said.status, 2);
	test_said_free(&said);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("fit and predict");
	TCase *c = tcase_create("demo");
	tcase_set_timeout(c, 30);
	tcase_add_test(c, fit_document);
	tcase_add_test(c, predict_document);
	tcase_add_test(c, against_another_sheet);
	tcase_add_test(c, tables_speak);
	tcase_add_test(c, bad_use);
	suite_add_tcase(s, c);
	return s;
}
