/*
 * A book from elsewhere whose every text holds what a terminal acts on: no subcommand lets it
 * through, neither for people nor as JSON (RFC 8259 allows DEL and all beyond ASCII in a string as
 * it stands; readers of terminals do not).
 */
#include "base/text.h"
#include "support/support.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Clear the screen, set the title, ring; C1; turn the direction; line separator; mark; DEL; a tag.
 */
#define ODD "\\e[2J\\e]0;x\\a\\x9b2J\\u202e\\u2028\\ufeff\\x7f\\U000E0041"
static const char odd_bytes[] = "\x1b[2J\x1b]0;x\x07\xC2\x9B"
				"2J\xE2\x80\xAE\xE2\x80\xA8\xEF\xBB\xBF\x7F\xF3\xA0\x81\x81";
enum { LETTERS = 200 };

static char *folder, *book, *old;

static char *in_folder(const char *name)
{
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/%s", folder, name), 0);
	return path;
}

static void copy(const char *from, const char *to)
{
	char *source = test_source(from);
	const char *cp[] = {"/bin/cp", "-r", source, to, NULL},
		   *w[] = {"/bin/chmod", "-R", "u+w", to, NULL};
	struct test_said said = test_run(cp);
	ck_assert_int_eq(said.status, 0);
	test_said_free(&said);
	said = test_run(w);
	ck_assert_int_eq(said.status, 0);
	test_said_free(&said);
	free(source);
}

/* Long enough that every cut at a size or precision falls into it, half way through a letter. */
static void add_odd(struct buf *out, const char *key)
{
	buf_addf(out, "%s\"W", key);
	for (int i = 0; i < LETTERS; i++)
		buf_adds(out, "\xC3\xA9");
	buf_adds(out, " " ODD "\"\n");
}

/* The text of these keys, where they stand alone on a line, made odd. */
static void make_odd(const char *path, const char *const *keys, const char *more)
{
	size_t len;
	char *text = test_slurp(path, &len), *rest = NULL;
	struct buf out;
	buf_init(&out);
	for (char *line = strtok_r(text, "\n", &rest); line; line = strtok_r(NULL, "\n", &rest)) {
		size_t k = 0;
		while (keys[k] && strncmp(line, keys[k], strlen(keys[k])) != 0)
			k++;
		if (!keys[k])
			buf_addf(&out, "%s\n", line);
		else if (strcmp(keys[k], "    unit: ") == 0)
			buf_addf(&out, "%s\"u" ODD "\"\n", keys[k]);
		else
			add_odd(&out, keys[k]);
	}
	buf_adds(&out, more);
	test_write(path, out.data, out.len);
	buf_free(&out);
	free(text);
}

static void make_file_odd(const char *name, const char *const *keys, const char *more)
{
	char *path = in_folder(name);
	make_odd(path, keys, more);
	free(path);
}

/* The first of them can tell little; and two fits a run take their time. */
static void leave_few_runs(void)
{
	for (int i = 13; i < 100; i++) {
		char *path = NULL;
		ck_assert_int_ge(asprintf(&path, "%s/runs/r%02d.yaml", old, i), 0);
		unlink(path);
		free(path);
	}
}

/* Both books have the odd car. */
static void replace_profiles(void)
{
	static const char name[] = "profiles/cars/larkspur-20.yaml";
	char *from = NULL, *to = NULL;
	ck_assert_int_ge(asprintf(&from, "%s/%s", book, name), 0);
	ck_assert_int_ge(asprintf(&to, "%s/%s", old, name), 0);
	size_t len;
	char *text = test_slurp(from, &len);
	test_write(to, text, len);
	free(text);
	free(from);
	free(to);
}

static void setup(void)
{
	static const char *const names[] = {"name: ", NULL};
	static const char *const car[] = {"name: ", "    label: ", "    unit: ", NULL};
	folder = test_folder();
	book = in_folder("b");
	ck_assert_int_ge(asprintf(&old, "%s/old\xC3\xA9%s", folder, odd_bytes), 0);
	copy("share/demo", book);
	copy("share/demo", old);
	leave_few_runs();
	make_file_odd("b/profiles/cars/larkspur-20.yaml", car, "");
	make_file_odd("b/profiles/circuits/harrow-fen.yaml", names, "");
	make_file_odd("b/sheets/fast.yaml", names, "");
	make_file_odd("b/sheets/quick-base.yaml", names, "");
	make_file_odd("b/book.yaml", names, "borrow: [{book: \"../old\xC3\xA9" ODD "\"}]\n");
	make_file_odd("b/runs/r01.yaml", names, "");
	replace_profiles();
	char *top = test_source("");
	setenv("TREADLIGHT_DATADIR", top, 1);
	free(top);
	setenv("LC_ALL", "C.UTF-8", 1);
}

static void teardown(void)
{
	test_remove(folder);
	free(folder);
	free(book);
	free(old);
}

/* Whole characters, none that is hidden but ends of lines and of the run sheets' pages; no byte
 * told as one of half a letter. */
static void check_safe(const char *what, const char *text, size_t len)
{
	for (size_t i = 0, n; i < len; i += n) {
		unsigned cp = 0;
		n = text_utf8_next(text + i, len - i, &cp);
		ck_assert_msg(n > 0, "%s: half a character at byte %zu", what, i);
		ck_assert_msg(cp == '\n' || cp == '\f' || !text_is_hidden(cp),
			"%s: U+%04X at byte %zu: %.60s", what, cp, i, text + (i < 50 ? 0 : i - 50));
	}
	ck_assert_msg(!strstr(text, "<xC3>") && !strstr(text, "<xA9>"), "%s: a letter was cut: %s",
		what, text);
}

static const struct {
	const char *words[4];
	bool json; /* has --json */
	int status;
} asked[] = {{{"check"}, true, 0}, {{"fit"}, true, 0}, {{"fit", "--no-borrowed"}, true, 0},
	{{"predict", "fast"}, true, 0}, {{"compare", "quick-base", "fast"}, true, 0},
	{{"suggest", "--max-changes", "1"}, true, 0},
	{{"suggest", "--borrowed", "--max-changes", "1"}, true, 0},
	{{"plan", "--kind", "one-at-a-time"}, true, 0},
	{{"plan", "--kind", "one-at-a-time", "--print"}, false, 0},
	{{"plan", "--kind", "next"}, true, 0}, {{"stint", "fast"}, true, 0}, {{"verify"}, true, 0},
	{{"report"}, false, 0}, {{"report", "--text"}, false, 0},
	{{"overlay", "r01", "r02"}, true, 0}, {{"predict", odd_bytes}, false, 2},
	{{"overlay", "r01", odd_bytes}, false, 2}, {{"suggest", "--save", odd_bytes}, false, 2},
	{{"plan", "--kind", odd_bytes}, false, 2}, {{"log", "--csv", odd_bytes}, false, 2}};

static void ask(size_t i, bool json)
{
	const char *argv[10] = {test_program(), asked[i].words[0],
		strcmp(asked[i].words[0], "verify") == 0 ? old : book};
	size_t n = 3;
	for (size_t k = 1; k < 4 && asked[i].words[k]; k++)
		argv[n++] = asked[i].words[k];
	argv[n] = json ? "--json" : NULL;
	struct test_said said = test_run(argv);
	ck_assert_msg(said.status == asked[i].status, "%s: %d %s", argv[1], said.status, said.err);
	check_safe(argv[1], said.out, said.out_len);
	check_safe(argv[1], said.err, said.err_len);
	if (json) {
		json_t *doc = json_loads(said.out, 0, NULL);
		ck_assert_msg(doc != NULL, "%s: no JSON", argv[1]);
		json_decref(doc);
	}
	test_said_free(&said);
}

START_TEST(texts_of_a_book_are_told_safely)
{
	ask((size_t)_i, false);
}
END_TEST

START_TEST(and_as_json)
{
	if (asked[_i].json)
		ask((size_t)_i, true);
}
END_TEST

/* What is escaped says the same; what can be seen is not. */
START_TEST(json_keeps_the_text)
{
	const char *argv[] = {test_program(), "check", old, "--json", NULL};
	struct test_said said = test_run(argv);
	json_t *doc = json_loads(said.out, 0, NULL);
	ck_assert_ptr_nonnull(doc);
	ck_assert_str_eq(json_string_value(json_object_get(doc, "path")), old);
	ck_assert_ptr_nonnull(
		strstr(said.out, "old\xC3\xA9\\u001B[2J\\u001B]0;"
				 "x\\u0007\\u009B2J\\u202E\\u2028\\uFEFF\\u007F\\uDB40\\uDC41"));
	json_decref(doc);
	test_said_free(&said);
}
END_TEST

/* The rest of what prints: a new book, runs that are logged, a file with faults. */
START_TEST(writers_tell_safely)
{
	char *made = NULL, *csv = in_folder("laps.csv");
	static const char laps[] = "run,sheet,time,skip\nx1,fast,91,\"a\x1b[2J\"\n";
	static const char bad[] = "run,sheet,\x1b[2J\xC2\x9B\nx1,fast,91\n";
	ck_assert_int_ge(asprintf(&made, "%s/new%s", folder, odd_bytes), 0);
	const char *make[] = {test_program(), "new", made, "--car", "larkspur-20", "--circuit",
		"harrow-fen", "--name", odd_bytes, "--borrow", old, NULL, NULL};
	const char *log[] = {test_program(), "log", book, "--csv", csv, "--dry-run", NULL};
	for (int json = 0; json < 2; json++) {
		make[11] = json ? "--json" : NULL;
		made[strlen(made) - 1] ^= json ? 1 : 0;
		struct test_said said = test_run(make);
		ck_assert_msg(said.status == 0, "%s", said.err);
		check_safe("new", said.out, said.out_len);
		test_said_free(&said);
		test_write(csv, json ? bad : laps, (json ? sizeof bad : sizeof laps) - 1);
		said = test_run(log);
		ck_assert_int_eq(said.status, json ? 2 : 0);
		check_safe("log", said.out, said.out_len);
		check_safe("log", said.err, said.err_len);
		test_said_free(&said);
	}
	free(made);
	free(csv);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("safe output");
	TCase *t = tcase_create("odd texts");
	const int n = sizeof asked / sizeof asked[0];
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_loop_test(t, texts_of_a_book_are_told_safely, 0, n);
	tcase_add_loop_test(t, and_as_json, 0, n);
	tcase_add_test(t, json_keeps_the_text);
	tcase_add_test(t, writers_tell_safely);
	suite_add_tcase(s, t);
	return s;
}
