/* Balance, bands, cautions and runs along the lap from outside, on a copy of the demo book. */
#include "support/support.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *book;

static void copy_book(void)
{
	char *demo = test_source("share/demo"), *dir = test_folder();
	ck_assert_int_ge(asprintf(&book, "%s/demo", dir), 0);
	const char *argv[] = {"/bin/cp", "-r", demo, book, NULL};
	struct test_said said = test_run(argv);
	ck_assert_int_eq(said.status, 0);
	test_said_free(&said);
	const char *writable[] = {"/bin/chmod", "-R", "u+w", book, NULL};
	said = test_run(writable);
	test_said_free(&said);
	free(demo);
	free(dir);
}

static void drop_book(void)
{
	*strrchr(book, '/') = '\0';
	test_remove(book);
	free(book);
}

/* Replace the first `from` in a file of the book. */
static void change(const char *file, const char *from, const char *to)
{
	char path[600], *text, *out = NULL;
	snprintf(path, sizeof path, "%s/%s", book, file);
	text = test_slurp(path, NULL);
	char *at = strstr(text, from);
	ck_assert_msg(at != NULL, "no %s in %s", from, file);
	int n = asprintf(&out, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
	ck_assert_int_ge(n, 0);
	test_write(path, out, (size_t)n);
	free(out);
	free(text);
}

static struct test_said say(
	const char *cmd, const char *a, const char *b, const char *c, const char *d, const char *e)
{
	const char *argv[] = {test_program(), cmd, book, a, b, c, d, e, NULL};
	return test_run(argv);
}

static json_t *ask(
	const char *cmd, const char *a, const char *b, const char *c, const char *d, const char *e)
{
	struct test_said said = say(cmd, a, b, c, d, e);
	ck_assert_msg(said.status == 0, "%s", said.err);
	json_t *doc = json_loads(said.out, 0, NULL);
	ck_assert_ptr_nonnull(doc);
	test_said_free(&said);
	return doc;
}

static double number(const json_t *o, const char *key)
{
	const json_t *v = json_object_get(o, key);
	ck_assert_msg(json_is_number(v), "%s is no number", key);
	return json_number_value(v);
}

static void near(double got, double want, double tol)
{
	ck_assert_msg(fabs(got - want) <= tol, "%.9g, expected %.9g", got, want);
}

/* SM, the single-seater's base sheet: worked by hand; tyres in series as its profile gives them. */
START_TEST(predict_tells_the_worked_numbers)
{
	change("book.yaml", "wear-limit:",
		"balance: {temperatures: {cold: 20, hot: 90}, hot-pressure: "
		"{front: 150}}\nwear-limit:");
	json_t *doc = ask("predict", "quick-base", "--json", NULL, NULL, NULL);
	const json_t *b = json_object_get(doc, "balance"), *s = json_object_get(b, "sheet");
	ck_assert(json_equal(s, json_object_get(b, "reference")));
	near(number(s, "roll-stiffness-front"), 138881, 0.5);
	near(number(s, "roll-stiffness-rear"), 118464, 0.5);
	near(number(s, "aero-front-share"), 0.417, 5e-4);
	near(number(s, "brake-front-share"), 0.596, 5e-4);
	near(number(s, "ideal-brake-front-share"), 0.582, 5e-4);
	near(number(s, "downforce-front"), 1500, 1e-6);
	near(number(s, "downforce-rear"), 2100, 1e-6);
	near(number(s, "hot-pressure-front"), 160.5, 0.05);
	near(number(s, "cold-pressure-for-target-front"), 101.6, 0.05);
	ck_assert(json_is_null(json_object_get(s, "cold-pressure-for-target-rear")));
	/* elastic share 0.5269: 48.3 + 2191.9 * 0.5269 / 1.5 and 142.2 + 2191.9 * 0.4731 / 1.46 */
	near(number(s, "load-transfer-front"), 48.3 + 2191.9 * 0.5269 / 1.5, 0.2);
	near(number(s, "load-transfer-rear"), 142.2 + 2191.9 * 0.4731 / 1.46, 0.2);
	near(number(s, "load-transfer-front-share"),
		number(s, "load-transfer-front") /
			(number(s, "load-transfer-front") + number(s, "load-transfer-rear")),
		1e-12);
	json_decref(doc);
}
END_TEST

START_TEST(a_missing_part_loses_only_its_figure)
{
	change("profiles/cars/larkspur-20.yaml", "roll-centre: 0.045, ", "");
	json_t *doc = ask("predict", "kind", "--json", NULL, NULL, NULL);
	const json_t *s = json_object_get(json_object_get(doc, "balance"), "sheet");
	ck_assert(json_is_null(json_object_get(s, "load-transfer-front-share")));
	ck_assert(json_is_null(json_object_get(s, "load-transfer-front")));
	ck_assert(json_is_number(json_object_get(s, "aero-front-share")));
	ck_assert(json_is_number(json_object_get(s, "roll-stiffness-rear")));
	json_decref(doc);
	struct test_said said = say("predict", "kind", NULL, NULL, NULL, NULL);
	ck_assert_msg(strstr(said.out, "not told: the car profile lacks rear: roll-centre"), "%s",
		said.out);
	test_said_free(&said);
	said = say("suggest", "--hold-share", "1", NULL, NULL, NULL);
	ck_assert_int_eq(said.status, 2);
	ck_assert_msg(strstr(said.err, "the car profile lacks rear: roll-centre"), "%s", said.err);
	test_said_free(&said);
}
END_TEST

START_TEST(suggestions_stay_inside_the_bands)
{
	json_t *ref = ask("predict", "quick-base", "--json", NULL, NULL, NULL);
	const json_t *s = json_object_get(json_object_get(ref, "balance"), "reference");
	json_t *doc = ask("suggest", "--json", "--hold-share", "0.2", "--hold-aero", "0.1");
	json_t *all = ask("suggest", "--json", NULL, NULL, NULL, NULL);
	const json_t *points = json_object_get(doc, "frontier");
	ck_assert(json_is_true(json_object_get(doc, "exact")) && json_array_size(points) > 2);
	ck_assert(number(doc, "candidates") < number(all, "candidates"));
	for (size_t i = 0; i < json_array_size(points); i++) {
		const json_t *p = json_array_get(points, i);
		near(number(p, "load-transfer-front-share"), number(s, "load-transfer-front-share"),
			0.002 + 1e-9);
		near(number(p, "aero-front-share"), number(s, "aero-front-share"), 0.001 + 1e-9);
	}
	/* A bound can only cost: nothing inside is better than the best without. */
	const json_t *fastest = json_array_get(json_object_get(all, "frontier"), 0);
	ck_assert(number(json_array_get(points, 0), "time-delta") >=
		  number(fastest, "time-delta") - 1e-12);
	json_decref(ref);
	json_decref(doc);
	json_decref(all);
}
END_TEST

START_TEST(cautions_are_named_everywhere)
{
	static const char *const cmds[][3] = {{"predict", "kind", NULL},
		{"compare", "quick-base", "kind"}, {"suggest", "kind", NULL},
		{"stint", "kind", NULL}};
	change("sheets/kind.yaml", "rear-camber: -1.6", "rear-camber: -2.6");
	change("sheets/kind.yaml", "locks: [", "locks: []\n# [");
	for (size_t i = 0; i < 4; i++) {
		struct test_said said = say(cmds[i][0], cmds[i][1], cmds[i][2], NULL, NULL, NULL);
		/* What kind does to the camber was never driven: suggest may refuse to start there.
		 */
		if (said.status == 0)
			ck_assert_msg(
				strstr(said.out,
					"caution, kind: Camber rear at -2.6 deg is below -2.5 deg, "
					"the soft limit of larkspur-20: beyond the tyre maker's "
					"maximum camber"),
				"%s: %s", cmds[i][0], said.out);
		else
			ck_assert_str_eq(cmds[i][0], "suggest");
		test_said_free(&said);
	}
	json_t *doc = ask("predict", "kind", "--json", NULL, NULL, NULL);
	const json_t *c = json_array_get(json_object_get(doc, "cautions"), 0);
	ck_assert_str_eq(json_string_value(json_object_get(c, "id")), "rear-camber");
	json_decref(doc);
}
END_TEST

/* Every response's segments add up to its lap; nothing is called measured that was not. */
static void check_sums(const json_t *doc, bool measured)
{
	size_t i, k;
	json_t *r, *row;
	json_array_foreach(json_object_get(doc, "responses"), i, r)
	{
		double a = 0, b = 0, d = 0;
		json_array_foreach(json_object_get(r, "segments"), k, row)
		{
			a += number(row, "a");
			b += number(row, "b");
			d += number(row, "difference");
			if (!measured)
				ck_assert(json_is_false(json_object_get(row, "measured")));
		}
		near(a, number(json_object_get(r, "a"), "lap"), 1e-9);
		near(b, number(json_object_get(r, "b"), "lap"), 1e-9);
		near(d, number(r, "difference"), 1e-9);
	}
}

START_TEST(runs_along_the_lap)
{
	json_t *doc = ask("overlay", "r01", "r08", "--json", NULL, NULL);
	check_sums(doc, false);
	json_decref(doc);
	change("runs/r01.yaml", "effort: 99}",
		"effort: 99, segments: {s1: {time: 10.2}, s14: {time: 11.1}}}");
	change("runs/r08.yaml", "effort: 97}\n", "effort: 97, segments: {s1: {time: 10.6}}}\n");
	doc = ask("overlay", "r01", "r08", "--json", NULL, NULL);
	check_sums(doc, true);
	const json_t *time = json_array_get(json_object_get(doc, "responses"), 0);
	const json_t *s1 = json_array_get(json_object_get(time, "segments"), 0);
	const json_t *s14 = json_array_get(json_object_get(time, "segments"), 13);
	ck_assert(json_is_true(json_object_get(s1, "measured")));
	near(number(s1, "difference"), 0.4, 1e-9);
	ck_assert(json_is_false(json_object_get(s14, "measured")));
	json_decref(doc);
	struct test_said said = say("overlay", "r01", "nobody", NULL, NULL, NULL);
	ck_assert_int_eq(said.status, 2);
	ck_assert_msg(strstr(said.err, "no run 'nobody'"), "%s", said.err);
	test_said_free(&said);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("balance commands");
	TCase *t = tcase_create("commands");
	tcase_add_checked_fixture(t, copy_book, drop_book);
	tcase_set_timeout(t, 60);
	tcase_add_test(t, predict_tells_the_worked_numbers);
	tcase_add_test(t, a_missing_part_loses_only_its_figure);
	tcase_add_test(t, suggestions_stay_inside_the_bands);
	tcase_add_test(t, cautions_are_named_everywhere);
	tcase_add_test(t, runs_along_the_lap);
	suite_add_tcase(s, t);
	return s;
}
