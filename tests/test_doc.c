/*
 * The bounded YAML reader: right line and column, bounds, hostile files. What is valid and where it
 * goes wrong comes from the YAML 1.2.2 specification and RFC 3629 (UTF-8); the bounds are the
 * project's own (4-engineering: 1 MiB, depth 16, 100,000 events, 64 KiB a scalar, 0.5 s).
 */
#include "store/doc.h"
#include "store/explain.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

static double now(void)
{
	struct timespec t;

	/* Of this process: what else the machine does is not the reader's. */
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
	return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void check_fault(
	const char *folder, const char *name, size_t line, size_t col, const char *text)
{
	char path[4096], shown[1024];
	struct faults f;
	struct doc d;

	snprintf(path, sizeof path, "%s/%s", folder, name);
	faults_init(&f);
	ck_assert_msg(!doc_read(&d, path, &f), "%s was read", name);
	ck_assert_ptr_null(d.root);
	ck_assert_uint_ge(f.n, 1);
	ck_assert_int_eq(f.list[0].cls, ERR_INPUT);
	ck_assert_msg(
		f.list[0].line == line && f.list[0].col == col && strstr(f.list[0].text, text),
		"%s: want %zu:%zu '%s', is %zu:%zu '%s'", name, line, col, text, f.list[0].line,
		f.list[0].col, f.list[0].text);
	err_format(&f.list[0], shown, sizeof shown);
	for (const char *c = shown; *c; c++)
		ck_assert_msg((unsigned char)*c >= 0x20 && *c != 0x7f, "%s: raw byte", name);
	faults_free(&f);
}

START_TEST(hostile_files_name_line_and_column)
{
	char *folder = test_data("hostile"), *table = test_data("hostile/TABLE");
	char *text = test_slurp(table, NULL), *rest = text, *row;
	int n = 0;

	while ((row = strsep(&rest, "\n"))) {
		char *name = strsep(&row, "\t"), *line = strsep(&row, "\t"),
		     *col = strsep(&row, "\t");
		if (!col || name[0] == '#')
			continue;
		check_fault(folder, name, strtoul(line, NULL, 10), strtoul(col, NULL, 10), row);
		n++;
	}
	ck_assert_int_ge(n, 50);
	printf("hostile files: %d, each with the right line and column\n", n);
	free(text);
	free(table);
	free(folder);
}
END_TEST

/* Text repeated to `size` bytes behind a beginning, then an end. */
static char *repeat(const char *begin, const char *unit, size_t size, const char *end, size_t *len)
{
	size_t head = strlen(begin), n = strlen(unit), tail = strlen(end);
	char *bytes = malloc(size);

	ck_assert_ptr_nonnull(bytes);
	memcpy(bytes, begin, head);
	for (*len = head; *len + n + tail <= size; *len += n)
		memcpy(bytes + *len, unit, n);
	memcpy(bytes + *len, end, tail);
	*len += tail;
	return bytes;
}

static const struct {
	const char *begin, *unit, *end;
	bool fine; /* may be read */
} bombs[] = {
	{"", "[", "", false},
	{"a: ", "[", "", false},
	{"", "{a: ", "", false},
	{"", "- ", "", false},
	{"", "? ", "", false},
	{"", "?\n", "", false},
	{"", "-\n", "", false},
	{"", "[,", "", false},
	{"", "%TAG !a! tag:x\n", "", false},
	{"", "&a ", "x", false},
	{"[", "&a x,", "]", false},
	{"[", "!!str x,", "]", false},
	{"[", "*a,", "]", false},
	{"a: &a x\nb: [", "*a,", "]", false},
	{"a: [", "1,", "]", false},
	{"a: {", "k: 1,", "}", false},
	{"", "k: 1\n", "", false},
	{"", "---\n", "", false},
	{"", "...\n", "", false},
	{"", "a: ", "", false},
	{"", ": ", "", false},
	{"", "\n", "", false},
	{"", " ", "", false},
	{"", "\t", "", false},
	{"", "\r", "", false},
	{"", "#", "", false},
	{"", "# c\n", "", false},
	{"a: ", "x", "\n", false},
	{"a: ", "x ", "\n", false},
	{"a: ", "x\n ", "\n", false},
	{"a: \"", "\\n", "\"", false},
	{"a: \"", "\\U0001F600", "\"", false},
	{"a: '", "''", "'", false},
	{"a: |\n", " x\n", "", false},
	{"a: >\n", " x\n\n", "", false},
	{"a: |\n", "\n", "", true}, /* trailing blank lines are not part of the text */
	{"", "\"", "", false},
	{"", "'", "", false},
	{"", "!", "", false},
	{"!<", "a", "", false},
	{"&", "a", "", false},
	{"", "\xc3\xa9", "", false},
	{"", "\xe2\x80\xa8", "", false},
	{"", "\xf0\x9f\x98\x80: 1\n", "", false},
	{"", "]", "", false},
	{"", "}", "", false},
	{"[", "a: 1,", "]", false},
	{"[", "? a : 1,", "]", false},
	{"{", "? ", "}", false},
	{"{", "a,", "}", false},
	{"", "|\n", "", false},
	{"", "@", "", false},
	{"", "\\", "", false},
	{"", "a:\n ", "", false},
};

static double check_bomb(size_t i, size_t size)
{
	size_t len;
	char *bytes = repeat(bombs[i].begin, bombs[i].unit, size, bombs[i].end, &len);
	struct faults f;
	struct doc d;
	double start = now(), took;
	bool read;

	faults_init(&f);
	read = doc_parse(&d, bytes, len, "bomb", &f);
	took = now() - start;
	ck_assert_msg(read == bombs[i].fine, "'%s' of %zu bytes: %s", bombs[i].unit, len,
		read ? "read" : f.list[0].text);
	ck_assert(read || f.n > 0);
	doc_free(&d);
	faults_free(&f);
	free(bytes);
	return took;
}

#if defined(TL_SANITIZED)
#define SLOWER 4.0
#else
#define SLOWER 1.0
#endif

START_TEST(bombs_are_answered_in_half_a_second)
{
	double worst = 0;
	struct rusage use;
	size_t which = 0;

	for (size_t i = 0; i < sizeof bombs / sizeof *bombs; i++) {
		double took = check_bomb(i, DOC_MAX_BYTES);
		if (took > worst) {
			worst = took;
			which = i;
		}
	}
	getrusage(RUSAGE_SELF, &use);
	printf("1 MiB bombs: %zu, slowest %.3f s ('%s'), peak %ld KiB\n",
		sizeof bombs / sizeof *bombs, worst, bombs[which].unit, use.ru_maxrss);
	ck_assert_double_le(worst, 0.5 * SLOWER);
#if !defined(TL_SANITIZED)
	ck_assert_int_le(use.ru_maxrss, 64 * 1024);
#endif
}
END_TEST

START_TEST(bounds_stand_where_they_are_said_to)
{
	struct faults f;
	struct doc d;
	size_t len;
	char *bytes;

	/* 64 KiB in one value: read; one more: not. */
	for (int more = 0; more < 2; more++) {
		bytes = repeat("a: ", "x", 3 + DOC_MAX_SCALAR + (size_t)more, "", &len);
		faults_init(&f);
		ck_assert_int_eq(doc_parse(&d, bytes, len, "f", &f), !more);
		doc_free(&d);
		faults_free(&f);
		free(bytes);
	}
	/* Depth 16: read; 17: not. The mapping is the first. */
	for (int more = 0; more < 2; more++) {
		char text[64] = "a: ";
		memset(text + 3, '[', 15 + (size_t)more);
		memset(text + 18 + more, ']', 15 + (size_t)more);
		text[33 + 2 * more] = '\0';
		faults_init(&f);
		ck_assert_int_eq(doc_parse(&d, text, strlen(text), "f", &f), !more);
		doc_free(&d);
		faults_free(&f);
	}
	/* 100,000 events: stream and document (4), one list (2), the rest items. */
	for (int more = 0; more < 2; more++) {
		size_t items = DOC_MAX_EVENTS - 6 + (size_t)more;
		bytes = repeat("[1", ",1", 2 + (items - 1) * 2 + 1, "]", &len);
		faults_init(&f);
		ck_assert_int_eq(doc_parse(&d, bytes, len, "f", &f), !more);
		doc_free(&d);
		faults_free(&f);
		free(bytes);
	}
	/* 1 MiB and one byte more. */
	for (int more = 0; more < 2; more++) {
		bytes = repeat("a: 1\n", "#", DOC_MAX_BYTES + (size_t)more, "", &len);
		faults_init(&f);
		ck_assert_int_eq(doc_parse(&d, bytes, len, "f", &f), !more);
		doc_free(&d);
		faults_free(&f);
		free(bytes);
	}
}
END_TEST

static void refuse(const char *path, const char *text)
{
	struct faults f;
	struct doc d;
	double start = now();

	faults_init(&f);
	ck_assert_msg(!doc_read(&d, path, &f), "%s was read", path);
	ck_assert_uint_eq(f.n, 1);
	ck_assert_msg(strstr(f.list[0].text, text), "%s: '%s'", path, f.list[0].text);
	ck_assert_int_eq(f.list[0].cls, ERR_INPUT);
	ck_assert_double_le(now() - start, 0.5);
	faults_free(&f);
}

START_TEST(only_regular_files_are_opened)
{
	struct sockaddr_un at = {.sun_family = AF_UNIX};
	char *folder = test_folder(), path[4096];
	struct faults f;
	struct doc d;
	int s;

	refuse(folder, "is a folder");
	refuse("/dev/null", "is a device");
	refuse("/dev/zero", "is a device");
	snprintf(path, sizeof path, "%s/pipe", folder);
	ck_assert_int_eq(mkfifo(path, 0600), 0);
	refuse(path, "is a pipe");
	snprintf(path, sizeof path, "%s/none", folder);
	refuse(path, "No such file");
	snprintf(path, sizeof path, "%s/loop", folder);
	ck_assert_int_eq(symlink("loop", path), 0);
	refuse(path, "symbolic links");
	snprintf(path, sizeof path, "%s/pipe/below", folder);
	refuse(path, "Not a directory");
	snprintf(path, sizeof path, "%s/s", folder);
	s = socket(AF_UNIX, SOCK_STREAM, 0);
	snprintf(at.sun_path, sizeof at.sun_path, "%.*s", (int)sizeof at.sun_path - 1, path);
	ck_assert_int_eq(bind(s, (struct sockaddr *)&at, sizeof at), 0);
	refuse(path, "cannot be opened");
	close(s);
	/* A link to a regular file is fine. */
	snprintf(path, sizeof path, "%s/real", folder);
	test_write(path, "a: 1\n", 5);
	snprintf(path, sizeof path, "%s/link", folder);
	ck_assert_int_eq(symlink("real", path), 0);
	faults_init(&f);
	ck_assert(doc_read(&d, path, &f));
	ck_assert_uint_eq(d.stamp.size, 5);
	ck_assert_uint_eq(d.stamp.hash, d.hash);
	doc_free(&d);
	faults_free(&f);
	test_remove(folder);
	free(folder);
}
END_TEST

START_TEST(every_duplicate_is_told)
{
	static const char text[] = "a: 1\nb: {x: 1, x: 2}\na: 2\na: 3\n";
	struct faults f;
	struct doc d;

	faults_init(&f);
	ck_assert(!doc_parse(&d, text, sizeof text - 1, "f", &f));
	ck_assert_uint_eq(f.total, 3);
	ck_assert_uint_eq(f.list[0].line, 2);
	ck_assert_uint_eq(f.list[1].line, 3);
	ck_assert_uint_eq(f.list[2].line, 4);
	ck_assert_ptr_nonnull(strstr(f.list[2].text, "first on line 1, again on line 4"));
	faults_free(&f);
}
END_TEST

START_TEST(a_long_key_is_told_cut)
{
	char text[400], key[81];
	struct faults f;
	struct doc d;

	memset(key, 'k', sizeof key - 1);
	key[sizeof key - 1] = '\0';
	snprintf(text, sizeof text, "%s: 1\nb: 2\n%s: 3\n", key, key);
	faults_init(&f);
	ck_assert(!doc_parse(&d, text, strlen(text), "f", &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert_uint_eq(f.list[0].line, 3);
	key[64] = '\0';
	snprintf(text, sizeof text, "the key '%s' stands twice: first on line 1, again on line 3",
		key);
	ck_assert_ptr_nonnull(strstr(f.list[0].text, text));
	faults_free(&f);
}
END_TEST

/* Slips that are no file of their own in the hostile ones: the place and what to do. */
static const struct {
	const char *text;
	size_t line, col;
	const char *says;
} slips[] = {
	{"laps: [{time:91}, {wear:[2]}]\n", 1, 24, "a space is needed behind this ':'"},
	{"notes: *\n", 1, 8, "'*' and '&' begin no value; quote the text"},
	{"a: 1\nnotes: & so on\n", 2, 8, "'*' and '&' begin no value; quote the text"},
	{"a: 1\nnotes: | so on\n", 2, 8, "nothing can follow '|' or '>' on its line"},
	{"a: 1\nnotes: >so\n", 2, 8, "nothing can follow '|' or '>' on its line"},
	{"a: x\n\ty: 1\n", 2, 1, "a tab cannot indent; use spaces"},
	{"a: 1\nb: !<x\n", 2, 7, "is not valid YAML: did not find the expected '>' while scan"},
	{"a: '1\n--- \n", 1, 4, "this quote is not closed before the document ends"},
	{"a: \"\xc3\xa9\\q\"\n", 1, 6, "an unknown escape in double quotes"},
};

START_TEST(slips_are_told_where_they_stand)
{
	struct faults f;
	struct doc d;

	faults_init(&f);
	ck_assert_msg(!doc_parse(&d, slips[_i].text, strlen(slips[_i].text), "f", &f),
		"%s was read", slips[_i].text);
	ck_assert_uint_eq(f.total, 1);
	ck_assert_msg(f.list[0].line == slips[_i].line && f.list[0].col == slips[_i].col &&
			      strstr(f.list[0].text, slips[_i].says),
		"want %zu:%zu %s, is %zu:%zu %s", slips[_i].line, slips[_i].col, slips[_i].says,
		f.list[0].line, f.list[0].col, f.list[0].text);
	faults_free(&f);
}
END_TEST

/* A parser's complaint that nobody here knows is handed on, whatever there is of it. */
START_TEST(an_unknown_complaint_is_handed_on)
{
	static const struct {
		const char *problem, *context, *says;
	} cases[] = {
		{"trouble", "while at rest", "is not valid YAML: trouble while at rest"},
		{"trouble", NULL, "is not valid YAML: trouble"},
		{NULL, NULL, "is not valid YAML: unknown problem"},
	};
	struct scan s;
	struct err e;

	err_clear(&e);
	ck_assert(scan_start(&s, "a: 1\n", 5, &e));
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct problem p = {cases[i].problem, cases[i].context, {3, 1, 4}, {0, 1, 1}};
		explain_problem(&p, &s, &e);
		ck_assert_str_eq(e.text, cases[i].says);
		ck_assert_uint_eq(p.at.col, 4);
	}
	scan_free(&s);
}
END_TEST

/* Characters behind the last one stand where the text ends. */
START_TEST(a_place_is_never_outside_of_the_text)
{
	static const char text[] = "\xef\xbb\xbf\xc3\xa9: \xe2\x82\xac\n";
	struct place at;
	struct scan s;
	struct err e;

	err_clear(&e);
	ck_assert(scan_start(&s, text, sizeof text - 1, &e));
	for (size_t i = 5; i < 300; i += 59) {
		at = scan_char(&s, i, 0, 0);
		ck_assert_uint_eq(at.byte, sizeof text - 1);
		ck_assert(at.line == 2 && at.col == 1);
	}
	at = scan_char(&s, 3, 0, 0);
	ck_assert(at.byte == 7 && at.line == 1 && at.col == 4);
	scan_free(&s);
}
END_TEST

START_TEST(a_tree_keeps_text_order_and_style)
{
	static const char text[] =
		"kind: sheet # c\n\"a\\0b\": 'it''s'\nlist:\n- x\n- \"q\\n\"\nflow: {u: 1, v: }\n"
		"text: |\n  foo\n  bar\n\n# after\nlast: -1\n";
	const struct node *n;
	struct faults f;
	struct doc d;

	faults_init(&f);
	ck_assert(doc_parse(&d, text, sizeof text - 1, "f", &f));
	ck_assert_uint_eq(d.root->n_children, 6);
	n = node_get(d.root, "kind");
	ck_assert_str_eq(n->text, "sheet");
	ck_assert(n->style == SCALAR_PLAIN && n->line == 1 && n->col == 7);
	n = n->next;
	ck_assert_uint_eq(n->key->len, 3);
	ck_assert_int_eq(memcmp(n->key->text, "a\0b", 3), 0);
	ck_assert_str_eq(n->text, "it's");
	ck_assert_ptr_null(node_get(d.root, "a"));
	n = node_get(d.root, "list");
	ck_assert(n->kind == NODE_SEQ && !n->flow && n->n_children == 2);
	ck_assert_str_eq(n->child->next->text, "q\n");
	ck_assert_int_eq(memcmp(d.bytes + n->end - 5, "\"q\\n\"", 5), 0);
	n = node_get(d.root, "flow");
	ck_assert(n->kind == NODE_MAP && n->flow);
	ck_assert_uint_eq(node_get(n, "v")->len, 0);
	ck_assert_ptr_null(node_get(n, "w"));
	ck_assert_ptr_null(node_get(n->child, "w"));
	ck_assert_ptr_null(node_get(NULL, "w"));
	n = node_get(d.root, "text");
	ck_assert(n->style == SCALAR_BLOCK);
	ck_assert_str_eq(n->text, "foo\nbar\n");
	ck_assert_uint_eq(node_get(d.root, "last")->line, 12);
	ck_assert(!doc_fault(&d, n, &f, "%s", "x"));
	ck_assert_uint_eq(f.list[0].line, 7);
	doc_free(&d);
	faults_free(&f);
}
END_TEST

/* Marks count characters; the tree's bytes must hold exactly the scalar that was written. */
static const char *const pieces[] = {"a", "Z9", "-", "\xc3\xa9", "\xe2\x82\xac", "\xf0\x9f\x98\x80",
	"\xe6\x97\xa5\xe6\x9c\xac", "\xc2\x85", "\xe2\x80\xa8", "\xe2\x80\xa9", " x", "\xc2\xa0",
	"\xef\xbf\xbd", "\xcc\x81"};

struct written {
	size_t start, end, line, col;
};

static size_t add(char *out, size_t at, struct written *w, const char *text)
{
	for (const char *c = text; *c; c++) {
		out[at++] = *c;
		if (*c == '\n') {
			w->line++;
			w->col = 1;
		} else if (*c != '\r' && ((unsigned char)*c & 0xc0) != 0x80) {
			w->col++;
		}
	}
	return at;
}

static size_t write_random(char *out, struct written *list, size_t n, bool bom, const char *eol)
{
	struct written at = {.line = 1, .col = 1};
	size_t len = 0;

	if (bom) {
		memcpy(out, "\xef\xbb\xbf", 3);
		len = 3;
	}
	for (size_t i = 0; i < n; i++) {
		char key[32];
		const char *quote = rand() % 2 ? "'" : "\"";
		snprintf(key, sizeof key, "%sk%zu\xc3\xa9: ", rand() % 4 ? "" : "# \xe2\x82\xac\n",
			i);
		len = add(out, len, &at, key);
		list[i] = (struct written){.start = len, .line = at.line, .col = at.col};
		len = add(out, len, &at, quote);
		for (int k = rand() % 6; k >= 0; k--)
			len = add(out, len, &at,
				pieces[(size_t)rand() % (sizeof pieces / sizeof *pieces)]);
		len = add(out, len, &at, quote);
		list[i].end = len;
		len = add(out, len, &at, rand() % 3 ? "" : " # \xf0\x9f\x98\x80");
		len = add(out, len, &at, eol);
	}
	return len;
}

START_TEST(marks_are_bytes_whatever_the_characters)
{
	enum { ROUNDS = 500, SCALARS = 100 };
	char *out = malloc(SCALARS * 128);
	struct written list[SCALARS];

	srand(19);
	for (int round = 0; round < ROUNDS; round++) {
		size_t len = write_random(out, list, SCALARS, round % 2, round % 3 ? "\n" : "\r\n");
		struct faults f;
		struct doc d;
		size_t i = 0;

		faults_init(&f);
		ck_assert_msg(doc_parse(&d, out, len, "f", &f), "round %d: %zu: %s", round,
			f.n ? f.list[0].line : 0, f.n ? f.list[0].text : "");
		for (const struct node *m = d.root->child; m; m = m->next, i++)
			ck_assert_msg(m->start == list[i].start && m->end == list[i].end &&
					      m->line == list[i].line && m->col == list[i].col,
				"round %d, %zu: [%zu, %zu) %zu:%zu, want [%zu, %zu) %zu:%zu", round,
				i, m->start, m->end, m->line, m->col, list[i].start, list[i].end,
				list[i].line, list[i].col);
		ck_assert_uint_eq(i, SCALARS);
		doc_free(&d);
		faults_free(&f);
	}
	printf("marks mapped to bytes: %d scalars, 0 wrong\n", ROUNDS * SCALARS);
	free(out);
}
END_TEST

/* Cut anywhere, any file gives a tree or a fault with a place inside it. */
START_TEST(files_cut_at_every_byte)
{
	static const char *const names[] = {"comments", "quotes", "flow-lines", "unicode",
		"block-text", "markers", "explicit-keys"};
	size_t cuts = 0;

	for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
		char name[64];
		snprintf(name, sizeof name, "odd/%s.yaml", names[i]);
		char *path = test_data(name);
		size_t len;
		char *bytes = test_slurp(path, &len);
		for (size_t cut = 0; cut <= len; cut++, cuts++) {
			struct faults f;
			struct doc d;
			faults_init(&f);
			if (!doc_parse(&d, bytes, cut, "cut", &f)) {
				ck_assert_uint_ge(f.n, 1);
				ck_assert_uint_ge(f.list[0].line, 1);
				ck_assert_uint_ge(f.list[0].col, 1);
			}
			doc_free(&d);
			faults_free(&f);
		}
		free(bytes);
		free(path);
	}
	printf("files cut at every byte: %zu cuts\n", cuts);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("doc");
	TCase *c = tcase_create("reader");

	tcase_set_timeout(c, 120);
	tcase_add_test(c, hostile_files_name_line_and_column);
	tcase_add_test(c, bombs_are_answered_in_half_a_second);
	tcase_add_test(c, bounds_stand_where_they_are_said_to);
	tcase_add_test(c, only_regular_files_are_opened);
	tcase_add_test(c, every_duplicate_is_told);
	tcase_add_test(c, a_long_key_is_told_cut);
	tcase_add_loop_test(
		c, slips_are_told_where_they_stand, 0, (int)(sizeof slips / sizeof *slips));
	tcase_add_test(c, an_unknown_complaint_is_handed_on);
	tcase_add_test(c, a_place_is_never_outside_of_the_text);
	tcase_add_test(c, a_tree_keeps_text_order_and_style);
	tcase_add_test(c, marks_are_bytes_whatever_the_characters);
	tcase_add_test(c, files_cut_at_every_byte);
	suite_add_tcase(s, c);
	return s;
}
