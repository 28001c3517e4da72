/*
 * Value-only patching. What YAML 1.1 and 1.2 retype: yaml.org/type (bool, null, int, float,
 * timestamp, merge, value; from memory) and the core schema of YAML 1.2.2, 10.3.
 */
#include "store/patch_parts.h"
#include "support/support.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool parse(struct doc *d, const char *bytes, size_t size)
{
	struct faults f;
	bool ok;

	faults_init(&f);
	ok = doc_parse(d, bytes, size, "f", &f);
	faults_free(&f);
	return ok;
}

/* One change by key ("a" or "a.b"; "key=" for a list) on a text; what comes out, NULL if refused.
 */
static char *change(const char *text, const char *key, enum patch_type type, const char *value)
{
	static const char *const after[] = {"values", "locks", NULL};
	char name[64], *dot;
	struct patch p;
	struct doc d;
	struct err err;
	char *out;
	size_t size;

	err_clear(&err);
	ck_assert(parse(&d, text, strlen(text)));
	patch_init(&p, &d);
	snprintf(name, sizeof name, "%s", key);
	dot = strchr(name, '.');
	if (dot)
		*dot++ = '\0';
	patch_member(&p, dot ? node_get(d.root, name) : d.root, dot ? dot : name, type, value,
		after, &err);
	if (!patch_apply(&p, &out, &size, &err))
		ck_assert_int_ne(err.cls, ERR_NONE);
	patch_free(&p);
	doc_free(&d);
	return out;
}

static char *change_list(const char *text, const char *key, const char *list)
{
	static const char *const after[] = {"values", "locks", NULL};
	char copy[128], *rest = copy;
	const char *ids[16];
	size_t n = 0, size;
	struct patch p;
	struct doc d;
	struct err err;
	char *out;

	err_clear(&err);
	ck_assert(parse(&d, text, strlen(text)));
	snprintf(copy, sizeof copy, "%s", list);
	while (*list && (ids[n] = strsep(&rest, ",")))
		n++;
	patch_init(&p, &d);
	patch_ids(&p, d.root, key, ids, n, after, &err);
	if (!patch_apply(&p, &out, &size, &err))
		ck_assert_int_ne(err.cls, ERR_NONE);
	patch_free(&p);
	doc_free(&d);
	return out;
}

#define IS(got, want)                                                                              \
	do {                                                                                       \
		char *got_ = (got);                                                                \
		ck_assert_ptr_nonnull(got_);                                                       \
		ck_assert_str_eq(got_, want);                                                      \
		free(got_);                                                                        \
	} while (0)
#define REFUSED(got) ck_assert_ptr_null(got)

START_TEST(a_value_keeps_its_style)
{
	IS(change("a: 8.0   # c\n", "a", PATCH_NUMBER, "8.5"), "a: 8.5   # c\n");
	IS(change("a: '8.0'\n", "a", PATCH_NUMBER, "8.5"), "a: '8.5'\n");
	IS(change("a: \"8.0\"\r\nb: 1", "a", PATCH_NUMBER, "-0.25"), "a: \"-0.25\"\r\nb: 1");
	IS(change("a: x\n", "a", PATCH_TEXT, "no"), "a: \"no\"\n");
	IS(change("a: 'x'\n", "a", PATCH_TEXT, "it's"), "a: 'it''s'\n");
	IS(change("a: 'x'\n", "a", PATCH_TEXT, "two\nlines"), "a: \"two\\nlines\"\n");
	IS(change("a: x\n", "a", PATCH_TEXT, "a: b # c"), "a: \"a: b # c\"\n");
	IS(change("a: {b: 1, c: 2}\n", "a.b", PATCH_NUMBER, "3"), "a: {b: 3, c: 2}\n");
	IS(change("a: \"1:31.243\"\n", "a", PATCH_TEXT, "1:30.1"), "a: \"1:30.1\"\n");
	IS(change("a: 91.2\n", "a", PATCH_TEXT, "1:30.1"), "a: \"1:30.1\"\n");
	IS(change("a: x\n", "a", PATCH_TEXT, "x"), "a: x\n");
	IS(change("a: \"\\x78\"\n", "a", PATCH_TEXT, "x"), "a: \"\\x78\"\n");
	IS(change("a:\nb: 1\n", "a", PATCH_TEXT, "x"), "a: x\nb: 1\n");
	IS(change("a:   # none\n", "a", PATCH_TEXT, "x"), "a: x   # none\n");
	IS(change("a: {b: , c: 2}\n", "a.b", PATCH_NUMBER, "3"), "a: {b: 3, c: 2}\n");
	IS(change("a: x\n", "a", PATCH_TEXT, ""), "a: \"\"\n");
	/* No characters, U+FFFE and U+FFFF: never in a file as they are. */
	IS(change("a: 'x'\n", "a", PATCH_TEXT, "\xef\xbf\xbe!"), "a: \"\\uFFFE!\"\n");
	IS(change("a: x\n", "a", PATCH_TEXT, "\xef\xbf\xbf"), "a: \"\\uFFFF\"\n");
	IS(change("a: 'x'\n", "a", PATCH_TEXT, "\xef\xbf\xbd"), "a: '\xef\xbf\xbd'\n");
	IS(change("a: \xe2\x80\xaex\n", "a", PATCH_TEXT, "\xe2\x80\xaey"), "a: \"\\u202Ey\"\n");
}
END_TEST

START_TEST(what_cannot_be_patched_is_refused)
{
	REFUSED(change("a: |\n  x\n", "a", PATCH_TEXT, "y"));
	REFUSED(change("a: x\n  y\n", "a", PATCH_TEXT, "y"));
	REFUSED(change("a: x\r  y\r", "a", PATCH_TEXT, "y"));
	REFUSED(change("a: x\n", "b", PATCH_NUMBER, "1,5"));
	REFUSED(change("a: x\n", "b", PATCH_TEXT, "\xff"));
	REFUSED(change("a: \"x\n  y\"\n", "a", PATCH_TEXT, "y"));
	REFUSED(change("a: [x]\n", "a", PATCH_TEXT, "y"));
	REFUSED(change("a: 1\n", "a", PATCH_NUMBER, "1,5"));
	REFUSED(change("a: 1\n", "a", PATCH_NUMBER, "nan"));
	REFUSED(change("a: 1\n", "a", PATCH_NUMBER, "1 # x"));
	REFUSED(change("a: x\n", "a", PATCH_TEXT, "\xff"));
	REFUSED(change("[a]\n", "b", PATCH_TEXT, "x"));
	REFUSED(change_list("a: x\n", "a", "y"));
	REFUSED(change_list("a: [x, # why\n y]\n", "a", "x"));
	REFUSED(change_list("a:\n- x\n- - y\n", "a", "x"));
	REFUSED(change_list("a:\n- x\n- {y: 1}\n", "a", "x"));
}
END_TEST

START_TEST(an_absent_key_comes_in_the_files_own_style)
{
	IS(change_list("values: {a: 1}\n", "locks", "x,on"),
		"values: {a: 1}\nlocks: [x, \"on\"]\n");
	IS(change_list("values:\r\n  a: 1 # c\r\nnotes: x\r\n", "locks", "x"),
		"values:\r\n  a: 1 # c\r\nlocks: [x]\r\nnotes: x\r\n");
	IS(change_list("values: {a: 1}", "locks", "x"), "values: {a: 1}\nlocks: [x]");
	IS(change_list("{values: {a: 1}, n: x}\n", "locks", "x"),
		"{values: {a: 1}, locks: [x], n: x}\n");
	IS(change_list("{}\n", "locks", "x"), "{locks: [x]}\n");
	IS(change_list("values: {a: 1}\n", "locks", ""), "values: {a: 1}\n");
	IS(change("  a: 1\n  b: 2\n", "notes", PATCH_TEXT, "hard: stop"),
		"  a: 1\n  b: 2\n  notes: \"hard: stop\"\n");
	IS(change("notes: |+\n  x\n\n\n", "a", PATCH_NUMBER, "1"), "notes: |+\n  x\n\n\na: 1\n");
	IS(change("notes: |\r\n  x\r\n", "a", PATCH_NUMBER, "1"), "notes: |\r\n  x\r\na: 1\r\n");
	IS(change("notes: |\r  x\r", "a", PATCH_NUMBER, "1"), "notes: |\r  x\ra: 1\r");
	IS(change("a: 1\n...\n", "b", PATCH_NUMBER, "2"), "a: 1\nb: 2\n...\n");
}
END_TEST

START_TEST(a_list_changes_as_a_set)
{
	IS(change_list("a: [x, y] # c\n", "a", "y,x"), "a: [x, y] # c\n");
	IS(change_list("a: [x, y] # c\n", "a", "y"), "a: [y] # c\n");
	IS(change_list("a: [x, y]\n", "a", "x"), "a: [x]\n");
	IS(change_list("a: [x,y]\n", "a", "x,y,z"), "a: [x,y,z]\n");
	IS(change_list("a: [ x, y ]\n", "a", "z"), "a: [ z ]\n");
	IS(change_list("a: [x, y, z]\n", "a", "x,z"), "a: [x, z]\n");
	IS(change_list("a: [x, y, z]\n", "a", "y"), "a: [y]\n");
	IS(change_list("a: [x, y,]\n", "a", ""), "a: []\n");
	IS(change_list("a: ['x', \"y\"]\n", "a", "y,z"), "a: [\"y\", z]\n");
	IS(change_list("a: []\n", "a", "x,v"), "a: [x, v]\n");
	IS(change_list("a:\nb: 1\n", "a", "x"), "a: [x]\nb: 1\n");
	IS(change_list("a:\nb: 1\n", "a", ""), "a:\nb: 1\n");
	IS(change_list("a:\n- x # c\n- y\nb: 1\n", "a", "y"), "a:\n- y\nb: 1\n");
	IS(change_list("a:\n  -  x\n\n  # c\n", "a", "x,v"), "a:\n  -  x\n  -  v\n\n  # c\n");
	IS(change_list("a:\n- x\n- y\n", "a", "z"), "a:\n- z\n");
	IS(change_list("a: # c\r\n- x\r\n- y\r\nb: 1\r\n", "a", ""), "a: [] # c\r\nb: 1\r\n");
	IS(change_list("a:\n- x\n- y", "a", ""), "a: []");
	IS(change_list("a:\n- x\n- y", "a", "x"), "a:\n- x");
	IS(change_list("a:\n- x\n- y", "a", "y"), "a:\n- y");
	IS(change_list("a:\n- x\n- y\n- z", "a", "x"), "a:\n- x");
	IS(change_list("a:\r\n- x\r\n- y\r\n- z", "a", ""), "a: []");
	IS(change_list("a:\n- x\n- y", "a", "x,y,z"), "a:\n- x\n- y\n- z");
	/* What goes is not always side by side. */
	IS(change_list("a:\n- u\n- v\n- w\n- x\n- y\nb: 1\n", "a", "w"), "a:\n- w\nb: 1\n");
	IS(change_list("a:\n- u\n# c\n- v\n- w\n", "a", "w"), "a:\n# c\n- w\n");
	IS(change_list("a:\n- u\n- v\n- w\n", "a", "v,z"), "a:\n- v\n- z\n");
}
END_TEST

START_TEST(several_changes_at_once)
{
	static const char text[] = "values: {a: 1, b: 2}\nlaps:\n  - {t: 1}\n  - {t: 2}\n# end\n";
	static const char *const after[] = {"values", NULL}, *const ids[] = {"w"};
	struct patch p;
	struct doc d;
	struct err err;
	char *out;
	size_t size;

	err_clear(&err);
	ck_assert(parse(&d, text, sizeof text - 1));
	patch_init(&p, &d);
	ck_assert(patch_raw(&p, node_get(d.root, "laps"), "- {t: 3}", &err));
	ck_assert(patch_member(&p, node_get(d.root, "values"), "b", PATCH_NUMBER, "5", NULL, &err));
	ck_assert(patch_ids(&p, d.root, "locks", ids, 1, after, &err));
	ck_assert(patch_ids(&p, d.root, "frozen", ids, 1, after, &err));
	ck_assert(patch_member(&p, node_get(d.root, "values"), "a", PATCH_NUMBER, "4", NULL, &err));
	ck_assert(patch_apply(&p, &out, &size, &err));
	ck_assert_str_eq(
		out, "values: {a: 4, b: 5}\nlocks: [w]\nfrozen: [w]\nlaps:\n  - {t: 3}\n# end\n");
	free(out);
	patch_free(&p);
	/* Two changes of one value, and raw text that spills over into other keys. */
	patch_init(&p, &d);
	patch_member(&p, node_get(d.root, "values"), "b", PATCH_NUMBER, "5", NULL, &err);
	patch_member(&p, node_get(d.root, "values"), "b", PATCH_NUMBER, "6", NULL, &err);
	ck_assert(!patch_apply(&p, &out, &size, &err));
	patch_free(&p);
	patch_init(&p, &d);
	patch_raw(&p, node_get(d.root, "values"), "{}\nkind: x", &err);
	ck_assert(!patch_apply(&p, &out, &size, &err));
	patch_free(&p);
	patch_init(&p, &d);
	patch_raw(&p, node_get(d.root, "values"), "[", &err);
	ck_assert(!patch_apply(&p, &out, &size, &err));
	ck_assert_ptr_nonnull(strstr(err.text, "could not be read back"));
	patch_free(&p);
	doc_free(&d);
}
END_TEST

/* A patch that failed once stays so, and says so to who asks anew. */
START_TEST(a_spoilt_patch_comes_to_nothing)
{
	static const char text[] = "a: 1\nb: 2\n";
	char *out, *much;
	struct patch p;
	struct doc d;
	struct err err;
	size_t size;

	ck_assert(parse(&d, text, sizeof text - 1));
	patch_init(&p, &d);
	err_clear(&err);
	ck_assert(!patch_member(&p, d.root, "a", PATCH_NUMBER, "one", NULL, &err));
	ck_assert(patch_member(&p, d.root, "b", PATCH_NUMBER, "3", NULL, &err));
	ck_assert(!patch_apply(&p, &out, &size, &err) && !out && size == 0);
	ck_assert_ptr_nonnull(strstr(err.text, "'one' is not a number"));
	ck_assert(err.line == 1 && err.col == 4 && err.cls == ERR_INPUT);
	err_clear(&err);
	ck_assert(!patch_apply(&p, &out, &size, &err) && !out && size == 0);
	ck_assert_str_eq(err.text, "a change could not be made");
	ck_assert_int_eq(err.cls, ERR_FAILED);
	patch_free(&p);
	/* Nothing is left of the document. */
	patch_init(&p, &d);
	err_clear(&err);
	ck_assert(patch_raw(&p, d.root, "", &err));
	ck_assert(patch_apply(&p, &out, &size, &err) == false && !out);
	ck_assert_ptr_nonnull(strstr(err.text, "could not be read back (is empty"));
	patch_free(&p);
	/* A value may be as long as one can be read, and no longer. */
	much = calloc(1, DOC_MAX_SCALAR + 2);
	ck_assert_ptr_nonnull(much);
	memset(much, 'x', DOC_MAX_SCALAR);
	for (int more = 0; more < 2; more++) {
		much[DOC_MAX_SCALAR] = more ? 'x' : '\0';
		err_clear(&err);
		patch_init(&p, &d);
		ck_assert_int_eq(
			patch_member(&p, d.root, "a", PATCH_TEXT, much, NULL, &err), !more);
		ck_assert_int_eq(patch_apply(&p, &out, &size, &err), !more);
		if (more)
			ck_assert_ptr_nonnull(strstr(err.text, "at most 65536 can be kept"));
		else
			ck_assert_uint_eq(size, sizeof text - 1 - 1 + DOC_MAX_SCALAR);
		free(out);
		patch_free(&p);
	}
	free(much);
	doc_free(&d);
}
END_TEST

/* Text that is no UTF-8 never gets here from a file; if it did, it would be cut before the byte. */
START_TEST(bytes_that_are_no_text_are_not_written)
{
	struct buf b;

	buf_init(&b);
	yaml_add_text(&b, "ab\xff");
	yaml_add_quoted(&b, SCALAR_SINGLE, "c\xff", 2);
	yaml_add_quoted(&b, SCALAR_SINGLE, "it's", 4);
	ck_assert_str_eq(b.data, "\"ab\"\"c\"'it''s'");
	buf_free(&b);
}
END_TEST

START_TEST(words_that_yaml_retypes_are_quoted)
{
	static const char *const words[] = {"y", "Y", "n", "N", "yes", "Yes", "YES", "no", "No",
		"NO", "true", "True", "TRUE", "false", "False", "FALSE", "on", "On", "ON", "off",
		"Off", "OFF", "null", "Null", "NULL", "~", "", "1", "-1", "+1", "0x1F", "0o17",
		"0b1", "1_000", "1.5", "1e3", "1E+3", ".5", "-.5", ".inf", "-.Inf", ".NaN",
		"12:30:45", "190:20:30.15", "2026-03-14", "2026-03-14T10:20:00Z", "=", "<<", "-",
		"- a", "? a", ": a", "a:", "a: b", "a #b", "#a", "[a", "{a", "]a", "}a", ",a",
		"a,b", "&a", "*a", "!a", "|", ">", "'a", "\"a", "%a", "@a", "`a", " a", "a ",
		"a\tb", "a\nb", "---", "...", "a\x01", "\xc2\x85", "\xe2\x80\xa8", "\xef\xbb\xbf",
		"\xff", "a]", "a}"};
	static const char *const plain[] = {"wing", "front-wing", "quick-base", "nope", "yesterday",
		"Quick base (wet)", "Stra\303\237e", "\xe6\x97\xa5\xe6\x9c\xac", "x1", "traffic",
		"onward", "a/b_c.d+e", "it's"};

	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		ck_assert_msg(!yaml_is_plain(words[i], strlen(words[i])), "'%s'", words[i]);
	ck_assert(!yaml_is_plain("a\0b", 3));
	for (size_t i = 0; i < sizeof plain / sizeof *plain; i++)
		ck_assert_msg(yaml_is_plain(plain[i], strlen(plain[i])), "'%s'", plain[i]);
}
END_TEST

/* --- random edits over the corpus of odd files --- */

enum { MAX_FILES = 64 };
static struct {
	char name[64];
	char *bytes;
	size_t size;
} files[MAX_FILES];
static size_t n_files;

static void load_corpus(void)
{
	char *folder = test_data("odd");
	struct dirent **list;
	int n = scandir(folder, &list, NULL, alphasort);

	for (int i = 0; i < n; i++) {
		size_t len = strlen(list[i]->d_name);
		if (len > 5 && strcmp(list[i]->d_name + len - 5, ".yaml") == 0) {
			char path[4096];
			snprintf(path, sizeof path, "%s/%s", folder, list[i]->d_name);
			snprintf(files[n_files].name, sizeof files->name, "%.63s", list[i]->d_name);
			files[n_files].bytes = test_slurp(path, &files[n_files].size);
			n_files++;
		}
		free(list[i]);
	}
	free(list);
	free(folder);
	ck_assert_uint_ge(n_files, 20);
}

static void free_corpus(void)
{
	for (size_t i = 0; i < n_files; i++)
		free(files[i].bytes);
}

/* All scalars, keys too, in file order. */
enum { MAX_FLAT = 256 };
struct flat {
	const struct node *node[MAX_FLAT];
	bool key[MAX_FLAT];
	size_t n;
};

static void flatten(struct flat *f, const struct node *n)
{
	if (n->key) {
		f->node[f->n] = n->key;
		f->key[f->n++] = true;
	}
	ck_assert_uint_lt(f->n + 1, MAX_FLAT);
	f->node[f->n] = n;
	f->key[f->n++] = false;
	for (const struct node *c = n->child; c; c = c->next)
		flatten(f, c);
}

static bool patchable(const struct doc *d, const struct node *n)
{
	return n->kind == NODE_SCALAR && n->style != SCALAR_BLOCK &&
	       !memchr(d->bytes + n->start, '\n', n->end - n->start) &&
	       !memchr(d->bytes + n->start, '\r', n->end - n->start);
}

static const char *const texts[] = {"wing", "front-camber", "no", "~", "null", "", "1e3", "0x10",
	"a: b", "a #b", "#b", " lead", "trail ", "it's", "\"quoted\"", "back\\slash", "two\nlines",
	"tab\there", "-", "- a", "? a", "[a", "]", "{a: b}", ",", "%TAG", "---", "...", "&a", "*a",
	"!a", "|", ">", "@", "`", "\xc3\xa9", "\xe6\x97\xa5\xe6\x9c\xac", "\xf0\x9f\x98\x80",
	"\342\200\256evil", "\xc2\x85", "\xe2\x80\xa8", "\x1b[31m", "\x7f", "2026-03-14",
	"1:31.243", "Quick base (wet), new tyres"};
static const char *const numbers[] = {
	"0", "8.5", "-3.2", "130", "0.000001", "-0.5", "91.243", "1e3", "123456789.123456"};

struct tally {
	int edits, refused, same;
};

static void same_but(const struct doc *old, const struct doc *new, const struct flat *a, size_t at,
	const char *text)
{
	struct flat b = {.n = 0};

	flatten(&b, new->root);
	ck_assert_uint_eq(a->n, b.n);
	for (size_t i = 0; i < a->n; i++) {
		const struct node *x = a->node[i], *y = b.node[i];
		ck_assert_int_eq(x->kind, y->kind);
		ck_assert_int_eq(x->flow, y->flow);
		if (i == at) {
			ck_assert_str_eq(y->text, text);
		} else if (x->kind == NODE_SCALAR) {
			ck_assert_uint_eq(x->len, y->len);
			ck_assert_int_eq(memcmp(x->text, y->text, x->len), 0);
			ck_assert_int_eq(x->style, y->style);
		}
	}
	(void)old;
}

/* One random edit; the new bytes, NULL if it was refused or nothing could be edited. */
static char *random_edit(
	const char *name, const char *bytes, size_t size, size_t *out_size, struct tally *t)
{
	struct flat flat = {.n = 0};
	struct doc d, again;
	struct patch p;
	struct err err;
	size_t at, tail;
	char *out;

	ck_assert_msg(parse(&d, bytes, size), "%s", name);
	flatten(&flat, d.root);
	do
		at = (size_t)rand() % flat.n;
	while (flat.key[at] || !patchable(&d, flat.node[at]));
	const struct node *n = flat.node[at];
	bool number = rand() % 2;
	const char *text = number ? numbers[(size_t)rand() % (sizeof numbers / sizeof *numbers)]
				  : texts[(size_t)rand() % (sizeof texts / sizeof *texts)];
	err_clear(&err);
	patch_init(&p, &d);
	patch_scalar(&p, n, number ? PATCH_NUMBER : PATCH_TEXT, text, &err);
	if (patch_apply(&p, &out, out_size, &err)) {
		t->edits++;
		t->same += *out_size == size && memcmp(out, bytes, size) == 0;
		tail = size - n->end;
		ck_assert_uint_ge(*out_size, n->start + tail);
		ck_assert_msg(memcmp(out, bytes, n->start) == 0, "%s: '%s'", name, text);
		ck_assert_msg(memcmp(out + *out_size - tail, bytes + n->end, tail) == 0, "%s: '%s'",
			name, text);
		ck_assert_msg(parse(&again, out, *out_size), "%s: '%s'", name, text);
		same_but(&d, &again, &flat, at, text);
		doc_free(&again);
	} else {
		t->refused++;
		printf("refused in %s: '%s' at %zu:%zu: %s\n", name, text, n->line, n->col,
			err.text);
	}
	patch_free(&p);
	doc_free(&d);
	return out;
}

START_TEST(ten_thousand_random_edits)
{
	struct tally t = {0};

	load_corpus();
	srand(20);
	/* Now and then on top of each other, so that one edit's style meets the next. */
	for (int i = 0; t.edits < 10000; i++) {
		size_t f = (size_t)i % n_files, size = files[f].size;
		char *bytes = malloc(size + 1);
		memcpy(bytes, files[f].bytes, size + 1);
		for (int k = 0; k < 5 && bytes; k++) {
			char *next = random_edit(files[f].name, bytes, size, &size, &t);
			free(bytes);
			bytes = next;
		}
		free(bytes);
		ck_assert_int_lt(t.refused, 100);
	}
	printf("random edits: %d over %zu files, other bytes identical in all; %d refused, %d "
	       "without "
	       "a change\n",
		t.edits, n_files, t.refused, t.same);
	ck_assert_int_eq(t.refused, 0);
	free_corpus();
}
END_TEST

/* Random sets for locks and frozen: the bytes of all that is no item, no separator and no new line
 * of the list stay in place, and the rest of the document is the same. */
static const char *const some_ids[] = {
	"wing", "camber", "front-wing", "rear-wing", "on", "x", "bar-2"};

static size_t pick_ids(const char **ids)
{
	size_t n = 0;

	for (size_t i = 0; i < sizeof some_ids / sizeof *some_ids; i++) {
		if (rand() % 3 == 0)
			ids[n++] = some_ids[i];
	}
	return n;
}

static void check_ids(const struct doc *d, const char *key, const char **ids, size_t n)
{
	const struct node *list = node_get(d->root, key);
	size_t found = 0;

	if (!list || list->kind == NODE_SCALAR) {
		ck_assert_uint_eq(n, 0);
		return;
	}
	ck_assert_uint_eq(list->n_children, n);
	for (const struct node *item = list->child; item; item = item->next) {
		for (size_t i = 0; i < n; i++)
			found += strcmp(item->text, ids[i]) == 0;
	}
	ck_assert_uint_eq(found, n);
}

START_TEST(random_sets)
{
	static const char *const after[] = {"values", "locks", NULL};
	int done = 0, refused = 0;

	load_corpus();
	srand(21);
	for (int i = 0; i < 5000; i++) {
		size_t f = (size_t)i % n_files, size;
		const char *key = rand() % 2 ? "locks" : "frozen", *ids[16];
		size_t n = pick_ids(ids);
		struct doc d, again;
		struct patch p;
		struct err err;
		char *out;

		err_clear(&err);
		ck_assert(parse(&d, files[f].bytes, files[f].size));
		patch_init(&p, &d);
		patch_ids(&p, d.root, key, ids, n, after, &err);
		if (patch_apply(&p, &out, &size, &err)) {
			ck_assert(parse(&again, out, size));
			check_ids(&again, key, ids, n);
			doc_free(&again);
			free(out);
			done++;
		} else {
			/* Only where a comment stands inside the list, or where a text without a
			 * last line end cannot be followed by anything. */
			ck_assert_msg(strcmp(files[f].name, "flow-lines.yaml") == 0, "%s: %s",
				files[f].name, err.text);
			refused++;
		}
		patch_free(&p);
		doc_free(&d);
	}
	printf("random sets: %d done, %d refused for a comment inside the list\n", done, refused);
	ck_assert_int_ge(done, 4500);
	free_corpus();
}
END_TEST

START_TEST(nothing_changed_is_the_same_bytes)
{
	load_corpus();
	for (size_t i = 0; i < n_files; i++) {
		struct patch p;
		struct doc d;
		struct err err;
		char *out;
		size_t size;

		err_clear(&err);
		ck_assert(parse(&d, files[i].bytes, files[i].size));
		patch_init(&p, &d);
		ck_assert(patch_apply(&p, &out, &size, &err));
		ck_assert_uint_eq(size, files[i].size);
		ck_assert_int_eq(memcmp(out, files[i].bytes, size), 0);
		free(out);
		patch_free(&p);
		doc_free(&d);
	}
	free_corpus();
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("patch");
	TCase *c = tcase_create("patch");

	tcase_set_timeout(c, 120);
	tcase_add_test(c, a_value_keeps_its_style);
	tcase_add_test(c, what_cannot_be_patched_is_refused);
	tcase_add_test(c, an_absent_key_comes_in_the_files_own_style);
	tcase_add_test(c, a_list_changes_as_a_set);
	tcase_add_test(c, several_changes_at_once);
	tcase_add_test(c, a_spoilt_patch_comes_to_nothing);
	tcase_add_test(c, bytes_that_are_no_text_are_not_written);
	tcase_add_test(c, words_that_yaml_retypes_are_quoted);
	tcase_add_test(c, ten_thousand_random_edits);
	tcase_add_test(c, random_sets);
	tcase_add_test(c, nothing_changed_is_the_same_bytes);
	suite_add_tcase(s, c);
	return s;
}
