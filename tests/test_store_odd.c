/*
 * Files that are odd and still somebody's: names without a folder, lines of %YAML, lists in every
 * shape, borrowing from books that cannot lend, and CSV files with what nobody should type.
 */
#include "store/import.h"
#include "store/journal.h"
#include "store/load.h"
#include "store/lock.h"
#include "store/patch.h"
#include "store/save.h"
#include "store/store.h"
#include "support/journals.h"
#include "support/small_book.h"
#include "support/support.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *folder;
static struct err err;

static void setup(void)
{
	folder = test_folder();
	setenv("XDG_STATE_HOME", folder, 1);
	setenv("LOGNAME", "anna", 1);
	small_book_write(folder);
	err_clear(&err);
}

static void teardown(void)
{
	ck_assert_int_eq(chdir("/"), 0);
	test_remove(folder);
	free(folder);
}

START_TEST(a_name_without_a_folder_is_here)
{
	struct change change = {"values.bias", "55"};
	struct stamp stamp = {0};
	struct recovery r;
	struct journal j;
	struct lock l;
	struct faults faults;
	struct car car;
	char *bytes;
	size_t size;

	ck_assert_int_eq(chdir(folder), 0);
	ck_assert_int_eq(chdir("sheets"), 0);
	ck_assert(file_read("base.yaml", 1 << 20, &bytes, &size, &stamp, &err));
	lock_init(&l);
	ck_assert_int_eq(lock_take(&l, "base.yaml", NULL, &err), LOCK_TAKEN);
	ck_assert_int_eq(access(".#base.yaml", F_OK), -1); /* a link to nowhere */
	ck_assert(journal_open(&j, "base.yaml", &stamp, &err));
	ck_assert(journal_append(&j, &change, 1, &err) && journal_sync(&j, &err));
	journal_close(&j);
	ck_assert_int_eq(access(".base.yaml.journal", F_OK), 0);
	ck_assert(journal_recover("base.yaml", &stamp, &r, &err) && r.found && r.same_base);
	recovery_free(&r);
	ck_assert_uint_eq(test_drop_journals("base.yaml"), 1);
	lock_release(&l);
	ck_assert_int_eq(file_save("base.yaml", bytes, size - 1, &stamp, &err), SAVE_DONE);
	free(bytes);
	ck_assert(file_create("fresh.yaml", "a: 1\n", 5, &err));
	ck_assert_int_eq(chdir("../profiles/cars"), 0);
	faults_init(&faults);
	ck_assert_msg(store_load_car(&car, "car.yaml", &faults), "%s",
		faults.n ? faults.list[0].text : "");
	ck_assert_str_eq(car.id, "car");
	car_free(&car);
	ck_assert(!store_load_car(&car, "car.yml", &faults));
	ck_assert(!store_load_car(&car, "Car.yaml", &faults));
	faults_free(&faults);
}
END_TEST

START_TEST(a_journal_in_the_user_s_own_folder_is_found)
{
	struct change change = {"values.bias", "55"};
	char path[4200], beside[4200], own[4500];
	struct stamp stamp = {0};
	struct recovery r;
	struct journal j;
	char *bytes, *real;
	size_t size;

	snprintf(path, sizeof path, "%s/sheets/base.yaml", folder);
	snprintf(beside, sizeof beside, "%s/sheets/.base.yaml.journal", folder);
	real = realpath(path, NULL);
	ck_assert_ptr_nonnull(real);
	snprintf(own, sizeof own, "%s/treadlight", folder);
	ck_assert_int_eq(mkdir(own, 0700), 0);
	snprintf(own, sizeof own, "%s/treadlight/%016" PRIx64 ".base.yaml.journal", folder,
		hash_bytes(real, strlen(real)));
	free(real);
	ck_assert(file_read(path, 1 << 20, &bytes, &size, &stamp, &err));
	free(bytes);
	journal_init(&j);
	ck_assert(!journal_append(&j, &change, 1, &err)); /* not open */
	ck_assert(journal_sync(&j, &err) && journal_discard(&j, &err));
	ck_assert_int_eq(journal_due(&j), -1);
	ck_assert(journal_open(&j, path, &stamp, &err));
	ck_assert(journal_append(&j, &change, 1, &err));
	ck_assert_int_ge(journal_due(&j), 0);
	journal_close(&j);
	ck_assert_int_eq(rename(beside, own), 0);
	ck_assert(journal_recover(path, &stamp, &r, &err) && r.found && r.n_records == 1);
	recovery_free(&r);
	/* Taken, it goes on beside the sheet. */
	ck_assert(journal_recover(path, &stamp, &r, &err));
	ck_assert(journal_adopt(&j, path, &stamp, &r, &err));
	recovery_free(&r);
	ck_assert_int_ne(access(own, F_OK), 0);
	ck_assert(journal_append(&j, &change, 1, &err) && journal_sync(&j, &err));
	journal_close(&j);
	ck_assert(journal_recover(path, &stamp, &r, &err) && r.n_records == 2);
	recovery_free(&r);
	ck_assert_uint_eq(test_drop_journals(path), 1);
	ck_assert_int_ne(access(beside, F_OK), 0);
	ck_assert_int_ne(access(own, F_OK), 0);
	ck_assert(journal_recover(path, &stamp, &r, &err) && !r.found);
	/* One that cannot be read is told. */
	ck_assert_int_eq(mkdir(own, 0700), 0);
	ck_assert(!journal_recover(path, &stamp, &r, &err));
	ck_assert_ptr_nonnull(strstr(err.text, "folder"));
}
END_TEST

START_TEST(a_book_of_many_sheets_names_some)
{
	char name[4300], *text;
	struct faults faults;
	struct book b;
	size_t len;

	snprintf(name, sizeof name, "%s/sheets/base.yaml", folder);
	text = test_slurp(name, &len);
	for (int i = 0; i < 150; i++) {
		snprintf(
			name, sizeof name, "%s/sheets/a-sheet-of-a-long-name-%03d.yaml", folder, i);
		test_write(name, text, len);
	}
	free(text);
	faults_init(&faults);
	book_init(&b);
	ck_assert(store_load_book(&b, folder, &faults));
	ck_assert_uint_eq(b.n_sheets, 151);
	book_free(&b);
	snprintf(name, sizeof name, "%s/book.yaml", folder);
	text = test_slurp(name, &len);
	memcpy(strstr(text, "reference: base") + strlen("reference: "), "none", 4);
	test_write(name, text, len);
	free(text);
	book_init(&b);
	ck_assert(!store_load_book(&b, folder, &faults));
	ck_assert_ptr_nonnull(
		strstr(faults.list[0].text, "no sheet 'none' in sheets/; its sheets: a-sheet"));
	book_free(&b);
	faults_free(&faults);
}
END_TEST

static const struct {
	const char *text;
	bool good;
} directives[] = {
	{"%YAML 1.2\n---\na: 1\n", true},
	{"%YAML 1.1\n---\na: 1\n", true},
	{"%YAML\t1.2\n---\na: 1\n", true},
	{"%YAML  \t1.2\n---\na: 1\n", true},
	{"%YAML 1.2 # c\n---\na: 1\n", true},
	{"%YAML 1.2\t\n---\na: 1\n", true},
	{"%YAML 1.2\r\n---\r\na: 1\r\n", true},
	{"%YAML 1.2", false},
	{"%YAML 1.2x\n---\na: 1\n", false},
	{"%YAML 1.3\n---\na: 1\n", false},
	{"%YAML 1", false},
	{"%YAML    ", false},
	{"%YAML      1", false},
	{"%YAMLx1.2\n---\na: 1\n", false},
	{"%TAG ! tag:x\n---\na: 1\n", false},
	{"%", false},
	{"a: \xe6\x97\xa5\n%YAML 1.2\n", false},
};

START_TEST(a_line_of_yaml_stands_or_is_refused)
{
	const size_t i = (size_t)_i;
	struct faults faults;
	struct doc d;

	faults_init(&faults);
	bool ok = doc_parse(&d, directives[i].text, strlen(directives[i].text), "f", &faults);
	ck_assert_msg(ok == directives[i].good, "%s", directives[i].text);
	ck_assert(ok || faults.list[0].line >= 1);
	if (ok)
		doc_free(&d);
	faults_free(&faults);
}
END_TEST

/* A list `l` before and after; ids are one letter each. NULL: refused. */
static const struct {
	const char *before, *ids, *after;
} lists[] = {
	{"l: []\n", "a", "l: [a]\n"},
	{"l: [ ]\n", "a", "l: [a ]\n"},
	{"l: [a]\n", "", "l: []\n"},
	{"l: [a, ]\n", "", "l: [ ]\n"},
	{"l: [a ,]\n", "b", "l: [b ,]\n"},
	{"l: [a,b]\n", "abc", "l: [a,b,c]\n"},
	{"l: [a,  b]\n", "abc", "l: [a,  b,  c]\n"},
	{"l: [a , b]\n", "abc", "l: [a , b, c]\n"},
	{"l: [a,\n  b]\n", "abc", "l: [a,\n  b, c]\n"},
	{"l: [a, b]\n", "b", "l: [b]\n"},
	{"l: [a, b]\n", "a", "l: [a]\n"},
	{"l: [a, b, c]\n", "ac", "l: [a, c]\n"},
	{"l: [a, b, c]\n", "c", "l: [c]\n"},
	{"l: [a, b, c]\n", "xpq", "l: [x, p, q]\n"},
	{"l: [a, # why\n  b]\n", "a", NULL},
	{"l: [a, # why\n  b]\n", "x", NULL},
	{"l: [a, # why\n  b]\n", "", NULL},
	{"l:\n- a\n- b\n", "a", "l:\n- a\n"},
	{"l:\n- a\n- b\n", "b", "l:\n- b\n"},
	{"l:\n- a\n- b\n", "", "l: []\n"},
	{"l:\n- a\n- b", "a", "l:\n- a"},
	{"l:\r\n- a\r\n- b", "a", "l:\r\n- a"},
	{"l:\r\n- a\r\n- b\r\n", "b", "l:\r\n- b\r\n"},
	{"l:\r- a\r- b\r", "b", "l:\r- b\r"},
	{"l:\r- a\r- b", "ac", "l:\r- a\r- c"},
	{"l:\n- a # one\n- b # two\n", "x", "l:\n- x\n"},
	{"l:\n  - a\n  - b\n  - c\nm: 1\n", "bxp", "l:\n  - b\n  - x\n  - p\nm: 1\n"},
	{"l:\n- a\n- b\n- c\n", "", "l: []\n"},
	{"l :\n- a\n", "", "l : []\n"},
	{"? l\n:\n- a\n", "", NULL},
	{"? l\n: - a\n  - b\n", "c", NULL},
	{"l:\n-\n  a\n- b\n", "b", NULL},
	{"l:\n- - a\n- b\n", "b", NULL},
	{"l:\n- {x: 1}\n- b\n", "b", NULL},
	{"l:\n- - a\n", "b", NULL},
	{"l:\n- {x: 1}\n", "b", NULL},
	{"l:\n- >\n  a\n", "b", NULL},
	{"l:\n- a\n  b\n", "b", NULL},
	{"l:\n-   a\n", "ab", "l:\n-   a\n-   b\n"},
	{"l:\n", "a", "l: [a]\n"},
	{"l:\n", "", "l:\n"},
	{"l: ~\n", "a", NULL},
	{"l: ''\n", "a", NULL},
	{"l: {a: 1}\n", "a", NULL},
	{"l: |\n  a\n", "a", NULL},
	{"k: 1\n", "ab", "k: 1\nl: [a, b]\n"},
	{"k: 1", "a", "k: 1\nl: [a]"},
	{"k: 1\r\n", "a", "k: 1\r\nl: [a]\r\n"},
	{"k: |\n  t\n", "a", "k: |\n  t\nl: [a]\n"},
	{"k: |\r\n  t\r\n", "a", "k: |\r\n  t\r\nl: [a]\r\n"},
	{"k: |\n  t", "a", NULL},
	{"k: |\n", "a", "k: |\nl: [a]\n"},
	{"{k: 1}\n", "a", "{k: 1, l: [a]}\n"},
	{"{}\n", "a", "{l: [a]}\n"},
	{"\xef\xbb\xbfl:\n- a\n- b\n", "b", "\xef\xbb\xbfl:\n- b\n"},
	{"[1]\n", "a", NULL},
};

START_TEST(a_list_is_changed_in_its_own_shape)
{
	const char *before = lists[_i].before, *after = lists[_i].after;
	const char *ids[8];
	char letters[8][2];
	struct faults faults;
	struct patch p;
	struct doc d;
	char *bytes = NULL;
	size_t size = 0, n = strlen(lists[_i].ids);

	for (size_t i = 0; i < n; i++) {
		letters[i][0] = lists[_i].ids[i];
		letters[i][1] = '\0';
		ids[i] = letters[i];
	}
	faults_init(&faults);
	ck_assert_msg(doc_parse(&d, before, strlen(before), "f", &faults), "%s", before);
	patch_init(&p, &d);
	bool ok = patch_ids(&p, d.root, "l", ids, n, NULL, &err) &&
		  patch_apply(&p, &bytes, &size, &err);
	if (!after) {
		ck_assert_msg(!ok && err.cls == ERR_INPUT, "%s became %s", before, bytes);
	} else {
		ck_assert_msg(ok, "%s: %s", before, err.text);
		ck_assert_str_eq(bytes, after);
	}
	free(bytes);
	patch_free(&p);
	doc_free(&d);
	faults_free(&faults);
}
END_TEST

/* What book.yaml says about borrowing, and the fault; NULL: none. */
static const struct {
	const char *borrow, *fault;
} borrows[] = {
	{"[{book: other}]", NULL},
	{"[{book: ./other, trust: 0.1, spread: 2, without: [wing]}]", NULL},
	{"[]", NULL},
	{"", "a list of books"},
	{"x", "a list of books"},
	{"[x]", "an entry of borrow"},
	{"[{trust: 1}]", "book"},
	{"[{book: ''}]", "book is empty"},
	{"[{book: [x]}]", ""},
	{"[{book: other, trust: 2}]", "trust"},
	{"[{book: other, without: x}]", "a list of pairs"},
	{"[{book: other, without: [Bad Id]}]", ""},
	{"[{book: other, without: [none]}]", "no pair or adjustable 'none'"},
	{"[{book: nowhere}]", "there is no book 'nowhere'"},
	{"[{book: book.yaml}]", "there is no book 'book.yaml'"},
	{"[{book: .}]", "cannot borrow from itself"},
	{"[{book: other}, {book: other/../other}]", "named twice"},
	{"[{book: nowhere}, {book: other}]", "there is no book 'nowhere'"},
	{"[{book: runs}]", ""},
	/* A folder of another file system; and a lender told from the root. */
	{"[{book: /proc}]", "there is no such file; a book is a folder with book.yaml in it"},
	{"[{book: other}, {book: third}]", NULL},
	{"[{book: other}, {book: third}, {book: ./other}]", "'./other' is named twice"},
	{"[{book: other, without: [bias, wing]}]", NULL},
	{"[{book: other, without: []}]", NULL},
	{"[{book: other, spread: -1}]", "spread: -1 is out of range"},
};

static void write_borrow(const char *dir, const char *borrow)
{
	char name[4200], text[2000];

	snprintf(name, sizeof name, "%s/%s/book.yaml", folder, dir);
	snprintf(text, sizeof text,
		"kind: book\nversion: 1\ncar: car\ncircuit: track\nreference: base\n"
		"wear-channels: [front, rear]\nwear-limit: 60\nborrow: %s\n",
		borrow);
	test_write(name, text, strlen(text));
}

static bool load_says(const char *text, struct faults *faults)
{
	struct book b;

	faults_init(faults);
	book_init(&b);
	bool ok = store_load_book(&b, folder, faults);
	book_free(&b);
	if (!text)
		return ok;
	for (size_t i = 0; i < faults->n; i++)
		if (strstr(faults->list[i].text, text))
			return !ok;
	return false;
}

static void make_book(const char *name)
{
	char other[4200];

	snprintf(other, sizeof other, "%s/%s", folder, name);
	ck_assert_int_eq(mkdir(other, 0755), 0);
	small_book_write(other);
}

static void make_other(void)
{
	make_book("other");
}

START_TEST(a_book_borrows_from_what_is_there)
{
	struct faults faults;

	make_other();
	make_book("third");
	write_borrow(".", borrows[_i].borrow);
	ck_assert_msg(load_says(borrows[_i].fault, &faults), "%s: %s", borrows[_i].borrow,
		faults.n ? faults.list[0].text : "no fault");
	faults_free(&faults);
}
END_TEST

START_TEST(a_book_that_borrows_back_cannot_lend)
{
	struct faults faults;

	make_other();
	write_borrow(".", "[{book: other}]");
	write_borrow("other", "[{book: ../nothing}, {book: ../}, {book: ../runs}]");
	ck_assert(load_says("borrows from this book in turn", &faults));
	faults_free(&faults);
	/* And a book has only so many lenders. */
	char many[33 * 15 + 3] = "[";
	for (int i = 0; i < 33; i++)
		strcat(many, i ? ", {book: other}" : "{book: other}");
	strcat(many, "]");
	write_borrow(".", many);
	ck_assert(load_says("at most 32 are allowed", &faults));
	faults_free(&faults);
}
END_TEST

/* The lender's car is another, in one limit; its sheet is one of that car. */
static const struct {
	const char *from, *to, *values, *says;
} cars[] = {
	{"min: 4, max: 16", "min: 5, max: 16", "", "limits (front-wing)"},
	{"min: 4, max: 16", "min: 4, max: 17", "", "limits (front-wing)"},
	{"min: 4, max: 20", "min: 4, max: 19", "", "limits (rear-wing)"},
	{"pair: wing, ", "pair: flap, ", "", "limits (front-wing)"},
	{"pair: wing, ", "", "", "limits (front-wing)"},
	{"id: bias", "id: bios", "bios", "limits (bias)"},
	/* The same ones in another place; and one more than here. */
	{"adjustables:\n",
		"adjustables:\n  - {id: more, label: More, axle: car, unit: mm, min: 1, max: 60, "
		"step: 1}\n",
		"more", "limits (front-wing)"},
	{"step: 1}\n",
		"step: 1.0}\n  - {id: more, label: More, axle: car, unit: mm, min: 1, max: 60, "
		"step: 1.0}\n",
		"more", "limits (another number of adjustables)"},
};

/* All of `from` in a file of the book `other`. */
static void rewrite_other(const char *file, const char *from, const char *to)
{
	char name[4200], *text, *at, *all = NULL;

	snprintf(name, sizeof name, "%s/other/%s", folder, file);
	text = test_slurp(name, NULL);
	while ((at = strstr(text, from))) {
		ck_assert_int_ge(
			asprintf(&all, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from)),
			0);
		free(text);
		text = all;
		if (strstr(to, from))
			break;
	}
	test_write(name, text, strlen(text));
	free(text);
}

START_TEST(a_lender_s_car_has_the_same_limits)
{
	char name[4200], value[80];
	struct faults faults;

	make_other();
	write_borrow(".", "[{book: other}]");
	rewrite_other("profiles/cars/car.yaml", cars[_i].from, cars[_i].to);
	for (int i = 0; i < 8; i++) {
		snprintf(name, sizeof name, "%s/other/runs/r%02d.yaml", folder, i);
		ck_assert_int_eq(unlink(name), 0);
	}
	if (cars[_i].values[0]) {
		const bool is_more = strcmp(cars[_i].values, "more") == 0;
		snprintf(value, sizeof value, "  %s: 54\n%s", cars[_i].values,
			is_more ? "  bias:  54\n" : "");
		rewrite_other("sheets/base.yaml", "  bias: 54\n", value);
	}
	ck_assert_msg(load_says(cars[_i].says, &faults), "%s: %s", cars[_i].says,
		faults.n ? faults.list[0].text : "no fault");
	ck_assert_uint_eq(faults.total, 1);
	ck_assert_ptr_nonnull(strstr(faults.list[0].file, "/book.yaml"));
	ck_assert_uint_eq(faults.list[0].line, 8);
	faults_free(&faults);
}
END_TEST

START_TEST(a_new_book_may_borrow)
{
	struct faults faults;
	char other[4200], third[4200], deep[4300], none[4300], below[4300], *real;
	const char *one[] = {other}, *twice[] = {other, other}, *bad[] = {none},
		   *both[] = {other, third};
	const struct {
		const char *dir;
		const char *const *folders;
		size_t n;
		const char *path; /* NULL: refused */
	} cases[] = {{"new", one, 1, "../other"}, {"deep/new", one, 1, "/"},
		{"new", twice, 2, NULL}, {"new", bad, 1, NULL},
		/* Beside the root's folders all is below; nowhere, nothing is beside. */
		{"/treadlight-test-new-book", one, 1, below}, {"none/deep/new", one, 1, "/"},
		{"new", both, 2, "../other"}, {"oth/new", one, 1, "/"}};

	make_other();
	ck_assert_int_eq(chdir(folder), 0);
	snprintf(other, sizeof other, "%s/other", folder);
	snprintf(none, sizeof none, "%s/none", folder);
	snprintf(third, sizeof third, "%s/third", folder);
	real = realpath(other, NULL);
	snprintf(below, sizeof below, "..%s", real);
	free(real);
	make_book("third");
	/* "oth" begins as "other" does, and is another folder. */
	snprintf(deep, sizeof deep, "%s/oth", folder);
	ck_assert_int_eq(mkdir(deep, 0755), 0);
	snprintf(deep, sizeof deep, "%s/deep", folder);
	ck_assert_int_eq(mkdir(deep, 0755), 0);
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct book b, like;
		faults_init(&faults);
		book_init(&like);
		book_init(&b);
		ck_assert(store_load_book(&like, folder, &faults));
		free(like.dir);
		like.dir = strdup(cases[i].dir);
		b = like;
		bool ok = store_borrow(&b, cases[i].folders, cases[i].n, &faults);
		ck_assert_msg(ok == (cases[i].path != NULL), "%zu: %s", i,
			faults.n ? faults.list[0].text : "");
		if (ok)
			ck_assert_msg(strncmp(b.borrow[0].path, cases[i].path,
					      strlen(cases[i].path)) == 0,
				"%s", b.borrow[0].path);
		book_free(&b);
		faults_free(&faults);
	}
}
END_TEST

/* CSV cells that nobody should type, and what is said. */
static const struct {
	const char *text, *fault;
} tables[] = {
	{"run;sheet;time\nn1;base;91\n", "semicolons"},
	{"run;sheet,time\nn1,91\n", "unknown column"},
	{"run,time,sheet,fuel\nn1,91.2,base,-1\n", "at least 0"},
	{"run,time,sheet\nn1,-1,base\n", "not a lap time"},
	{"run,time,sheet\nn1,,base\n", "the time is missing"},
	{"run,time,sheet,front-wing\nn1,91.2,base,x\n", "is not a number"},
	{"run,time,sheet,front-wing\nn1,91.2,base,99\n", "limits"},
	{"run,time,sheet,skip\nn1,91.2,base,\xff\n", "UTF-8"},
	{"run,time,sheet,lap\nn1,91.2,base,0\n", "whole number"},
	{"run,time,sheet,lap\nn1,91.2,base,1.5\n", "whole number"},
	{"run,time,sheet,lap\nn1,91.2,base,1000000\n", "whole number"},
	{"run,time,sheet,lap\nn1,91.2,base,2\n", "none with number 1"},
	{"run,time,sheet,lap\nn1,91.2,base,1\nn1,91.2,base,1\n", "stands twice"},
	{"run,time,sheet,lap\nn1,91.2,base,1\nn1,91.2,base,3\n", "none with number 2"},
	{"run,time,sheet\nr00,91.2,base\n", "already"},
	{"run,time\nn1,91.2\n", "names no sheet"},
	{"run,time,sheet\nn1,91.2,none\n", "no sheet 'none'"},
	{"run,time,sheet,run\nn1,91.2,base,n1\n", "stands twice"},
	{"run,time,sheet\nn1,91.2\n", "2 fields"},
	{"run,sheet\nn1,base\n", "'time' is missing"},
	{"run,time,sheet,date\nn1,91.2,base,yesterday\n", "no date"},
	{"run,time,sheet,fuel\nn1,91.2,base,1e999\n", "is"},
	{"run,time,sheet,date\n\"N 1\",91.2,base,2026-01-01T10:00\n", "no id"},
	{"run,time,sheet,date,fuel\nn1,91.2,base,2026-01-01T10:00,5\nn1,91.3,base,,6\n",
		"differs from"},
};

START_TEST(a_bad_cell_is_told_at_its_place)
{
	char name[4200];
	struct faults faults;
	struct import in;
	struct book b;

	snprintf(name, sizeof name, "%s/in.csv", folder);
	test_write(name, tables[_i].text, strlen(tables[_i].text));
	faults_init(&faults);
	book_init(&b);
	ck_assert(store_load_book(&b, folder, &faults));
	ck_assert_msg(!import_csv(&in, &b, name, &faults), "%s", tables[_i].text);
	bool said = false;
	for (size_t i = 0; i < faults.n; i++)
		said = said || strstr(faults.list[i].text, tables[_i].fault);
	ck_assert_msg(said, "%s: %s", tables[_i].text, faults.list[0].text);
	ck_assert_uint_ge(faults.list[0].line, 1);
	book_free(&b);
	faults_free(&faults);
}
END_TEST

#define COUNT(list) (int)(sizeof(list) / sizeof *(list))

Suite *suite(void)
{
	Suite *s = suite_create("odd");
	TCase *c = tcase_create("odd");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_add_test(c, a_name_without_a_folder_is_here);
	tcase_add_test(c, a_journal_in_the_user_s_own_folder_is_found);
	tcase_add_test(c, a_book_of_many_sheets_names_some);
	tcase_add_loop_test(c, a_line_of_yaml_stands_or_is_refused, 0, COUNT(directives));
	tcase_add_loop_test(c, a_list_is_changed_in_its_own_shape, 0, COUNT(lists));
	tcase_add_loop_test(c, a_book_borrows_from_what_is_there, 0, COUNT(borrows));
	tcase_add_test(c, a_book_that_borrows_back_cannot_lend);
	tcase_add_loop_test(c, a_lender_s_car_has_the_same_limits, 0, COUNT(cars));
	tcase_add_test(c, a_new_book_may_borrow);
	tcase_add_loop_test(c, a_bad_cell_is_told_at_its_place, 0, COUNT(tables));
	suite_add_tcase(s, c);
	return s;
}
