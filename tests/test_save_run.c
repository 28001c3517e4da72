/*
 * Corrections of a run of every kind: what is wanted comes out when the file is read again, and
 * whatever else the user wrote there stays, but for layouts that cannot be changed in place. For
 * those the whole file is written anew: every figure is kept, comments are not.
 */
#include "store/lock.h"
#include "store/store.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *folder, *dir, *path;
static struct book b;

static char *in_folder(const char *name)
{
	char *p = NULL;
	ck_assert_int_ge(asprintf(&p, "%s/%s", folder, name), 0);
	return p;
}

static void copy_in(const char *name)
{
	char source[64], target[64];
	size_t len;
	snprintf(source, sizeof source, "share/demo/%s", name);
	snprintf(target, sizeof target, "b/%s", name);
	char *from = test_source(source), *to = in_folder(target), *text = test_slurp(from, &len);
	test_write(to, text, len);
	free(text);
	free(from);
	free(to);
}

static void load(struct book *book)
{
	struct faults f;
	faults_init(&f);
	book_init(book);
	ck_assert_msg(store_load_book(book, dir, &f), "%s:%zu:%zu %s", f.n ? f.list[0].file : "",
		f.n ? f.list[0].line : 0, f.n ? f.list[0].col : 0, f.n ? f.list[0].text : "");
	faults_free(&f);
}

static void setup(void)
{
	static const char *const folders[] = {"b", "b/sheets", "b/runs"};
	char *top = test_source("");
	setenv("TREADLIGHT_DATADIR", top, 1);
	free(top);
	folder = test_folder();
	for (int i = 0; i < 3; i++) {
		char *p = in_folder(folders[i]);
		ck_assert_int_eq(mkdir(p, 0777), 0);
		free(p);
	}
	copy_in("book.yaml");
	copy_in("sheets/quick-base.yaml");
	dir = in_folder("b");
	path = in_folder("b/runs/r1.yaml");
	load(&b);
}

static void teardown(void)
{
	book_free(&b);
	test_remove(folder);
	free(folder);
	free(dir);
	free(path);
}

/* --- the user's file --- */

#define HEAD "# kept\nkind: run\nversion: 1\nsheet: quick-base\n"

static void put_run(const char *head, const char *tail, bool flow)
{
	struct buf text;
	buf_init(&text);
	buf_adds(&text, head);
	buf_adds(&text, flow ? "values: {" : "values:\n");
	for (size_t i = 0; i < b.car.n_adjustables; i++) {
		char v[40];
		fix_print(b.sheets[0].values[i], v, sizeof v);
		buf_addf(&text, flow ? "%s: %s, " : "  %s: %s\n", b.car.adjustables[i].id, v);
	}
	buf_adds(&text, flow ? "}" : "");
	buf_adds(&text, tail);
	test_write(path, text.data, text.len);
	buf_free(&text);
	book_free(&b);
	load(&b);
	ck_assert_uint_eq(b.n_runs, 1);
}

/* --- corrections --- */

static void set_skip(struct lap *l, const char *skip)
{
	free(l->skip);
	l->skip = skip ? strdup(skip) : NULL;
}

static struct lap *insert_lap(struct run *r, size_t at)
{
	r->laps = realloc(r->laps, (r->n_laps + 1) * sizeof *r->laps);
	ck_assert_ptr_nonnull(r->laps);
	memmove(&r->laps[at + 1], &r->laps[at], (r->n_laps - at) * sizeof *r->laps);
	r->n_laps++;
	r->laps[at] = (struct lap){.time = 95.5};
	return &r->laps[at];
}

static void remove_laps(struct run *r, size_t from, size_t n)
{
	for (size_t i = from; i < from + n; i++)
		set_skip(&r->laps[i], NULL);
	memmove(&r->laps[from], &r->laps[from + n], (r->n_laps - from - n) * sizeof *r->laps);
	r->n_laps -= n;
}

static void finer_time(struct run *r)
{
	r->laps[0].time = 91.2431;
}
static void plain_time(struct run *r)
{
	r->laps[1].time = 91.103;
}
static void quoted_time(struct run *r)
{
	r->laps[0].time = 92.5;
}
static void effort(struct run *r)
{
	r->laps[0].effort = 96.5;
}
static void other_skip(struct run *r)
{
	set_skip(&r->laps[1], "pit: in");
}
static void new_skip(struct run *r)
{
	set_skip(&r->laps[0], "cold");
}
static void no_effort(struct run *r)
{
	r->laps[0].has_effort = false;
}
static void worn(struct run *r)
{
	r->laps[2].worn[1] = 18;
}
static void worn_falls(struct run *r)
{
	r->laps[2].worn[1] = 5;
}
static void no_worn(struct run *r)
{
	r->laps[2].has_worn[1] = false;
}
static void no_wear(struct run *r)
{
	r->laps[1].has_wear[0] = false;
}
static void other_value(struct run *r)
{
	r->values[0] += b.car.adjustables[0].step;
}
static void no_notes(struct run *r)
{
	r->notes[0] = '\0';
}
static void no_session(struct run *r)
{
	r->session[0] = '\0';
}
static void first_lap(struct run *r)
{
	insert_lap(r, 0);
}
static void last_lap(struct run *r)
{
	insert_lap(r, r->n_laps);
}
static void two_laps(struct run *r)
{
	insert_lap(r, 1);
	insert_lap(r, 1)->time = 96.5;
}
static void middle_gone(struct run *r)
{
	remove_laps(r, 1, 1);
}
static void one_gone_one_other(struct run *r)
{
	remove_laps(r, 0, 1), r->laps[0].time = 99;
}
static void fuel_gone(struct run *r)
{
	r->fuel.has = false;
}
static void other_fuel(struct run *r)
{
	r->fuel.v = 23.25;
}

static void new_notes(struct run *r)
{
	free(r->notes);
	r->notes = strdup("rain: at the end");
}

static void worn_at_start(struct run *r)
{
	r->has_worn_at_start[0] = true;
	r->worn_at_start[0] = 4.5;
}

static void no_worn_at_start(struct run *r)
{
	r->has_worn_at_start[0] = r->has_worn_at_start[1] = false;
}

static void wear_total(struct run *r)
{
	r->has_wear_total[0] = true;
	r->wear_total[0] = 7.25;
}

static void other_wear_total(struct run *r)
{
	r->wear_total[0] = 8.5;
}

static void many_at_once(struct run *r)
{
	no_notes(r);
	no_session(r);
	fuel_gone(r);
	worn_at_start(r);
	last_lap(r);
	r->tyre_age = (struct opt_num){true, 3};
	strcpy(r->driver, "y");
}

static void split_segments(struct run *r)
{
	struct lap *l = &r->laps[1];
	l->n_segments = b.circuit.n_segments;
	l->segments = calloc(l->n_segments, sizeof *l->segments);
	ck_assert_ptr_nonnull(l->segments);
	l->segments[0].has_time = true;
	l->segments[0].time = 6.5;
	l->segments[1].has_wear[0] = true;
	l->segments[1].wear[0] = 0.25;
	l->segments[2] = l->segments[1];
	l->segments[2].has_time = true;
	l->segments[2].time = 4.5;
}

static void other_segment(struct run *r)
{
	r->laps[0].segments[0].time = 6.75;
}

#define LAPS                                                                                       \
	"laps: # of the morning\n  - {time: \"1:31.243\", wear: {front: 2.41}, effort: 97} # "     \
	"cold\n"                                                                                   \
	"  - {time: 91.102, wear: {front: 2.38}, skip: traffic}\n"                                 \
	"  - {time: 91.200, worn: {rear: 17.5}}   # last\n"
#define START "worn-at-start: {rear: 10}\n"

static const struct correction {
	const char *head, *tail;
	void (*change)(struct run *);
	const char *says; /* stands there afterwards */
	bool gone;        /* rather: does not */
	bool anew;        /* and comments are lost */
	bool flow;
} corrections[] = {
	/* Values in place. */
	{HEAD, START LAPS, finer_time,
		"{time: \"91.2431\", wear: {front: 2.41}, effort: 97} # cold", 0, 0, 0},
	{HEAD, START LAPS, plain_time, "{time: 91.103, wear: {front: 2.38}, skip: traffic}", 0, 0,
		0},
	{HEAD, START LAPS, quoted_time, "{time: \"1:32.500\", wear", 0, 0, 0},
	{HEAD, START LAPS, effort, "effort: 96.5} # cold", 0, 0, 0},
	{HEAD, START LAPS, other_skip, "skip: \"pit: in\"}", 0, 0, 0},
	{HEAD, START LAPS, worn, "worn: {rear: 18}}   # last", 0, 0, 0},
	{HEAD, START LAPS, other_value, ":", 0, 0, 0},
	{HEAD, "fuel: 24 # full\n" START LAPS, other_fuel, "fuel: 23.25 # full", 0, 0, 0},
	{HEAD, "wear-total: {front: 7} # measured\nlaps:\n  - {time: 91}\n", other_wear_total,
		"wear-total: {front: 8.5} # measured", 0, 0, 0},
	/* Laps of another shape. */
	{HEAD, START LAPS, new_skip, "effort: 97, skip: cold} # cold", 0, 0, 0},
	{HEAD, START LAPS, no_effort, "effort", 1, 0, 0},
	{HEAD, START LAPS, no_worn, "  - {time: \"1:31.200\"}   # last", 0, 0, 0},
	{HEAD, START LAPS, no_wear, "  - {time: \"1:31.102\", skip: traffic}\n", 0, 0, 0},
	{HEAD, START LAPS, split_segments,
		"skip: traffic, segments: {s1: {time: 6.5}, s2: {wear: {front: 0.25}}, "
		"s3: {time: 4.5, wear: {front: 0.25}}}}",
		0, 0, 0},
	{HEAD, "laps:\n  - {time: 91, segments: {s1: {time: 6.5}}} # split\n  - {time: 92}\n",
		other_segment, "segments: {s1: {time: 6.75}}} # split", 0, 0, 0},
	/* Lines that come and go. */
	{HEAD, START LAPS "notes: end\n", no_notes, "notes", 1, 0, 0},
	{HEAD, START LAPS "notes: |\n  first\n  second\n", no_notes, "second", 1, 0, 0},
	{HEAD, START LAPS, new_notes, "notes: \"rain: at the end\"", 0, 0, 0},
	{HEAD, START LAPS "notes: \"a\n  b\"\n", no_notes, "b\"", 1, 0, 0},
	{HEAD "session: x # heat\n", START LAPS, no_session, "heat", 1, 0, 0},
	{HEAD, START LAPS, worn_at_start, "worn-at-start: {front: 4.5, rear: 10}\nlaps:", 0, 0, 0},
	{HEAD, START LAPS, worn_falls, NULL, 0, 0, 0},
	{HEAD, START "laps:\n  - {time: 91}\n", no_worn_at_start, "worn", 1, 0, 0},
	{HEAD, "laps:\n  - {time: 91}\n", wear_total, "wear-total: {front: 7.25}\nlaps:", 0, 0, 0},
	{HEAD, START LAPS, first_lap, "laps: # of the morning\n  - {time: \"1:35.500\"}\n", 0, 0,
		0},
	{HEAD, START LAPS, two_laps, "# cold\n  - {time: \"1:36.500\"}\n  - {time: \"1:35.500\"}\n",
		0, 0, 0},
	{HEAD, START "laps:\n  - {time: 91}", last_lap, "{time: 91}\n  - {time: \"1:35.500\"}\n", 0,
		0, 0},
	{HEAD, START LAPS, middle_gone, "traffic", 1, 0, 0},
	{HEAD, START LAPS, one_gone_one_other,
		"laps: # of the morning\n  - {time: \"1:39.000\", wear: {front: 2.38}, skip: "
		"traffic} # cold\n",
		0, 0, 0},
	{"notes: x\n" HEAD "driver: z\nfuel: 9\nsession: s\n", START LAPS, many_at_once,
		"driver: \"y\"\n", 0, 0, 0},
	{HEAD "session: s\n", "laps:\n  - time: 91 # own\n    skip: x\n  - time: 92\n", last_lap,
		"  - time: 92\n  - {time: \"1:35.500\"}\n", 0, 0, 0},
	/* Not to be had in place. */
	{HEAD, "laps: [{time: 91, skip: x}, {time: 92}]\n", last_lap, "{time: \"1:35.500\"}", 0, 1,
		0},
	{HEAD, "laps:\n  - time: 91\n    skip: |-\n      one\n  - time: 92\n    effort: 99\n", NULL,
		NULL, 0, 1, 0},
	{"{kind: run, version: 1, # kept\n session: s, driver: d, ", ", laps: [{time: 91}]}\n",
		no_session, "driver: d", 0, 1, 1},
	{"{kind: run, version: 1, # kept\n session: s, driver: d, fuel: 3, notes: x, ",
		", laps: [{time: 91}]}\n", many_at_once, "driver: \"y\"", 0, 1, 1},
	{HEAD, "fuel: >-\n  24\n" START LAPS, other_fuel, "fuel: 23.25", 0, 1, 0},
};

static void block_skip(struct run *r)
{
	set_skip(&r->laps[0], "two");
}

START_TEST(a_correction_is_read_back)
{
	const struct correction *c = &corrections[_i];
	struct run before, after;
	struct err e;
	struct book again;
	char *text;
	put_run(c->head, c->tail, c->flow);
	run_init(&before);
	run_init(&after);
	ck_assert(run_copy(&before, &b.runs[0]) && run_copy(&after, &b.runs[0]));
	(c->change ? c->change : block_skip)(&after);
	ck_assert(!run_equal(&before, &after));
	err_clear(&e);
	bool ok = store_save_run(&b, &before, &after, &e);
	if (!c->says && !c->anew) { /* a run that the reader would refuse */
		text = test_slurp(path, NULL);
		ck_assert(!ok && e.cls == ERR_INPUT && strstr(text, c->tail) != NULL);
	} else {
		ck_assert_msg(ok, "%s", e.text);
		text = test_slurp(path, NULL);
		load(&again);
		ck_assert_msg(run_equal(&again.runs[0], &after), "%s", text);
		book_free(&again);
		ck_assert_msg((strstr(text, "# kept") == NULL) == c->anew, "%s", text);
		if (c->says)
			ck_assert_msg((strstr(text, c->says) == NULL) == c->gone, "%s", text);
	}
	free(text);
	run_free(&before);
	run_free(&after);
}
END_TEST

START_TEST(line_ends_stay_as_they_are)
{
	struct run before, after;
	struct err e;
	put_run("# kept\r\nkind: run\r\nversion: 1\r\n", "fuel: 3\r\nlaps:\r\n  - {time: 91}\r\n",
		false);
	run_init(&before);
	run_init(&after);
	ck_assert(run_copy(&before, &b.runs[0]) && run_copy(&after, &b.runs[0]));
	last_lap(&after);
	worn_at_start(&after);
	fuel_gone(&after);
	ck_assert_msg(store_save_run(&b, &before, &after, &e), "%s", e.text);
	char *text = test_slurp(path, NULL);
	ck_assert_msg(strstr(text, "worn-at-start: {front: 4.5}\r\nlaps:\r\n  - {time: 91}\r\n"
				   "  - {time: \"1:35.500\"}\r\n") != NULL,
		"%s", text);
	free(text);
	run_free(&before);
	run_free(&after);
}
END_TEST

START_TEST(what_is_no_correction_is_told)
{
	struct run before, after;
	struct lock lock;
	struct err e;
	size_t len;
	put_run(HEAD, START LAPS, false);
	char *was = test_slurp(path, &len);
	run_init(&before);
	run_init(&after);
	ck_assert(run_copy(&before, &b.runs[0]) && run_copy(&after, &b.runs[0]));
	/* Nothing to do. */
	ck_assert(store_save_run(&b, &before, &after, &e));
	/* Another run. */
	strcpy(after.id, "r2");
	ck_assert(!store_save_run(&b, &before, &after, &e) && strstr(e.text, "'r2' is not 'r1'"));
	strcpy(after.id, "r1");
	after.laps[0].time = 90;
	/* Somebody else is at it: a live process of this machine. */
	lock_init(&lock);
	int pid = getppid();
	ck_assert_int_eq(lock_take(&lock, path, NULL, &e), LOCK_TAKEN);
	char owner[300];
	ssize_t n = readlink(lock.path, owner, sizeof owner - 1);
	const bool links = n > 0; /* else a file holds the owner */
	char *whole = links ? NULL : test_slurp(lock.path, NULL);
	if (whole)
		n = snprintf(owner, sizeof owner, "%.298s", whole);
	owner[n] = '\0';
	free(whole);
	char *at = strrchr(owner, '.'), *boot = strrchr(owner, ':'), *other = NULL;
	ck_assert(at && boot);
	ck_assert_int_ge(asprintf(&other, "%.*s.%d%s", (int)(at - owner), owner, pid, boot), 0);
	ck_assert_int_eq(unlink(lock.path), 0);
	if (links)
		ck_assert_int_eq(symlink(other, lock.path), 0);
	else
		test_write(lock.path, other, strlen(other));
	ck_assert(!store_save_run(&b, &before, &after, &e));
	ck_assert_msg(strstr(e.text, "is being edited by") != NULL, "%s", e.text);
	ck_assert_ptr_nonnull(strstr(e.text, "or remove the lock .#r1.yaml beside it"));
	ck_assert(e.held);
	err_failed(&e, "another");
	ck_assert(!e.held);
	ck_assert_int_eq(unlink(lock.path), 0);
	lock_release(&lock);
	free(other);
	/* The file went away, then came back as something else. */
	ck_assert_int_eq(unlink(path), 0);
	ck_assert(!store_save_run(&b, &before, &after, &e) && e.cls == ERR_INPUT);
	test_write(path, "kind: run\nversion: 1\n", 21);
	ck_assert(!store_save_run(&b, &before, &after, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "changed by someone else"));
	test_write(path, was, len);
	ck_assert(store_save_run(&b, &before, &after, &e));
	free(was);
	run_free(&before);
	run_free(&after);
}
END_TEST

static size_t runs_now(void)
{
	struct book now;
	load(&now);
	size_t n = now.n_runs;
	book_free(&now);
	return n;
}

/* A run dropped is out of the book and byte for byte aside; back it is as it was. */
START_TEST(a_dropped_run_is_kept_aside)
{
	struct err e;
	size_t len, len_aside;
	put_run(HEAD, START LAPS, false);
	char *was = test_slurp(path, &len), *aside = in_folder("b/runs/r1.dropped-1");
	const struct run *r = &b.runs[0];
	ck_assert(!store_return_run(&b, r, &e) && strstr(e.text, "no runs/r1.dropped-1"));
	ck_assert(store_drop_run(&b, r, &e));
	ck_assert_uint_eq(runs_now(), 0);
	char *text = test_slurp(aside, &len_aside);
	ck_assert(len_aside == len && memcmp(text, was, len) == 0);
	/* Gone already; another run of that id logged meanwhile is not written over. */
	ck_assert(!store_drop_run(&b, r, &e));
	test_write(path, was, len);
	ck_assert(!store_return_run(&b, r, &e));
	ck_assert_msg(strstr(e.text, "could not be moved") != NULL, "%s", e.text);
	/* Dropped too, it stands beside the first, and is the first to come back. */
	ck_assert(store_drop_run(&b, r, &e));
	test_write(aside, "kind: run\nversion: 1\n", 21);
	ck_assert(store_return_run(&b, r, &e));
	ck_assert_uint_eq(runs_now(), 1);
	/* What someone changed is not taken for the run. */
	ck_assert_int_eq(unlink(path), 0);
	ck_assert(!store_return_run(&b, r, &e));
	test_write(path, "kind: run\nversion: 1\n", 21);
	ck_assert(!store_drop_run(&b, r, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "changed by someone else"));
	free(text);
	free(aside);
	free(was);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("save_run");
	TCase *t = tcase_create("save_run");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_loop_test(
		t, a_correction_is_read_back, 0, sizeof corrections / sizeof corrections[0]);
	tcase_add_test(t, line_ends_stay_as_they_are);
	tcase_add_test(t, what_is_no_correction_is_told);
	tcase_add_test(t, a_dropped_run_is_kept_aside);
	suite_add_tcase(s, t);
	return s;
}
