/* Saving changes and writing new files of a book. */
#include "balance/balance.h"
#include "store/file.h"
#include "store/lock.h"
#include "store/save.h"
#include "store/store.h"
#include "store/write.h"
#include "support/support.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *folder;
static struct book b;

static void copy_file(const char *from, const char *to)
{
	size_t len;
	char *text = test_slurp(from, &len);
	test_write(to, text, len);
	free(text);
}

static char *in_folder(const char *name)
{
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/%s", folder, name), 0);
	return path;
}

static void load(void)
{
	struct faults f;
	faults_init(&f);
	book_init(&b);
	char *dir = in_folder("b");
	ck_assert_msg(store_load_book(&b, dir, &f), "%s: %s", f.n ? f.list[0].file : "",
		f.n ? f.list[0].text : "");
	free(dir);
}

static void setup(void)
{
	folder = test_folder();
	char *top = test_source("");
	setenv("TREADLIGHT_DATADIR", top, 1);
	free(top);
	static const char *const folders[] = {"b", "b/sheets", "b/runs"};
	for (int i = 0; i < 3; i++) {
		char *path = in_folder(folders[i]);
		ck_assert_int_eq(mkdir(path, 0777), 0);
		free(path);
	}
	static const char *const files[] = {"book.yaml", "sheets/quick-base.yaml"};
	for (int i = 0; i < 2; i++) {
		char name[64], source[64];
		snprintf(name, sizeof name, "b/%s", files[i]);
		snprintf(source, sizeof source, "share/demo/%s", files[i]);
		char *from = test_source(source), *to = in_folder(name);
		copy_file(from, to);
		free(from);
		free(to);
	}
	load();
}

static void teardown(void)
{
	book_free(&b);
	test_remove(folder);
	free(folder);
}

static size_t count_changed_lines(const char *a, const char *b_text)
{
	size_t n = 0;
	while (*a || *b_text) {
		size_t la = strcspn(a, "\n"), lb = strcspn(b_text, "\n");
		n += la != lb || memcmp(a, b_text, la) != 0;
		a += la + (a[la] == '\n');
		b_text += lb + (b_text[lb] == '\n');
	}
	return n;
}

START_TEST(a_nudge_changes_one_line)
{
	struct err e;
	struct sheet after;
	char *path = store_sheet_path(&b, "quick-base");
	char *before = test_slurp(path, NULL);
	sheet_init(&after);
	ck_assert(sheet_copy(&after, &b.sheets[0]));
	after.values[0] += b.car.adjustables[0].step;
	ck_assert_msg(store_save_sheet(&b, &b.sheets[0], &after, &e), "%s", e.text);
	char *text = test_slurp(path, NULL);
	ck_assert_uint_eq(count_changed_lines(before, text), 1);
	/* And back again: the very bytes. */
	ck_assert(store_save_sheet(&b, &after, &b.sheets[0], &e));
	free(text);
	text = test_slurp(path, NULL);
	ck_assert_str_eq(text, before);
	sheet_free(&after);
	free(text);
	free(before);
	free(path);
}
END_TEST

START_TEST(locks_and_freezes_are_saved)
{
	struct err e;
	struct sheet after;
	sheet_init(&after);
	ck_assert(sheet_copy(&after, &b.sheets[0]));
	for (size_t i = 0; i < after.n_pairs; i++)
		after.locked[i] = i % 2;
	after.frozen[3] = !after.frozen[3];
	size_t held = 0;
	for (size_t i = 0; i < after.n_pairs; i++) {
		after.share_held[i] = !after.locked[i] && balance_can_hold(&b.car, (int)i, &e);
		held += after.share_held[i];
	}
	ck_assert_uint_gt(held, 0);
	ck_assert_msg(store_save_sheet(&b, &b.sheets[0], &after, &e), "%s", e.text);
	book_free(&b);
	load();
	ck_assert(sheet_equal(&b.sheets[0], &after));
	sheet_free(&after);
}
END_TEST

START_TEST(someone_else_s_change_is_never_lost)
{
	struct err e;
	struct sheet after;
	sheet_init(&after);
	ck_assert(sheet_copy(&after, &b.sheets[0]));
	after.values[0] += b.car.adjustables[0].step;
	ck_assert(store_save_sheet(&b, &b.sheets[0], &after, &e));
	char *path = store_sheet_path(&b, "quick-base");
	char *now = test_slurp(path, NULL);
	after.values[1] += b.car.adjustables[1].step;
	err_clear(&e);
	ck_assert(!store_save_sheet(&b, &b.sheets[0], &after, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "changed by someone else"));
	struct stamp stale = {0};
	ck_assert_int_eq(store_save_sheet_at(&b, &b.sheets[0], &after, &stale, &e), SAVE_CONFLICT);
	char *same = test_slurp(path, NULL);
	ck_assert_str_eq(same, now);
	free(same);
	free(now);
	free(path);
	sheet_free(&after);
}
END_TEST

START_TEST(an_open_sheet_is_saved_by_its_stamp)
{
	struct err e;
	struct faults f;
	struct stamp stamp;
	struct sheet open, after;
	faults_init(&f);
	sheet_init(&open);
	sheet_init(&after);
	ck_assert(store_load_sheet(&open, &b, "quick-base", &stamp, &f));
	ck_assert(sheet_copy(&after, &open));
	for (int i = 0; i < 5; i++) {
		after.values[0] += b.car.adjustables[0].step;
		ck_assert_int_eq(store_save_sheet_at(&b, &open, &after, &stamp, &e), SAVE_DONE);
		ck_assert(sheet_copy(&open, &after));
	}
	ck_assert(!store_load_sheet(&open, &b, "none", &stamp, &f));
	ck_assert_uint_eq(f.total, 1);
	faults_free(&f);
	sheet_free(&open);
	sheet_free(&after);
}
END_TEST

START_TEST(a_new_sheet_and_the_reference)
{
	struct err e;
	struct sheet s;
	sheet_init(&s);
	ck_assert(sheet_copy(&s, &b.sheets[0]));
	strcpy(s.id, "no");
	free(s.name);
	s.name = strdup("yes: # it's\n\"quoted\"\t\xC3\xA9 ~");
	free(s.notes);
	s.notes = strdup("1e3");
	ck_assert_msg(store_new_sheet(&b, &s, &e), "%s", e.text);
	ck_assert(!store_new_sheet(&b, &s, &e));
	ck_assert(!store_set_reference(&b, "no", &e));
	book_free(&b);
	load();
	int i = book_find_sheet(&b, "no");
	ck_assert_int_ge(i, 0);
	ck_assert(sheet_equal(&b.sheets[i], &s));
	ck_assert_str_eq(b.sheets[i].name, s.name);
	ck_assert_str_eq(b.sheets[i].notes, "1e3");
	char *path = in_folder("b/book.yaml");
	char *before = test_slurp(path, NULL);
	ck_assert_msg(store_set_reference(&b, "no", &e), "%s", e.text);
	char *after = test_slurp(path, NULL);
	ck_assert_uint_eq(count_changed_lines(before, after), 1);
	book_free(&b);
	load();
	ck_assert_str_eq(b.reference, "no");
	strcpy(s.id, "../x");
	ck_assert(!store_new_sheet(&b, &s, &e));
	free(before);
	free(after);
	free(path);
	sheet_free(&s);
}
END_TEST

static void make_run(struct run *r, const char *id)
{
	run_init(r);
	strcpy(r->id, id);
	strcpy(r->date, "2026-03-14T10:20");
	strcpy(r->sheet, "quick-base");
	strcpy(r->driver, "on");
	strcpy(r->session, "007");
	r->n_values = b.car.n_adjustables;
	r->values = calloc(r->n_values, sizeof *r->values);
	memcpy(r->values, b.sheets[0].values, r->n_values * sizeof *r->values);
	r->fuel = (struct opt_num){true, 24.1};
	r->has_worn_at_start[1] = true;
	r->worn_at_start[1] = 3.25;
	r->n_laps = 3;
	r->laps = calloc(3, sizeof *r->laps);
	r->laps[0] = (struct lap){.time = 91.243,
		.has_wear = {true},
		.wear = {2.41},
		.has_worn = {false, true},
		.worn = {0, 6},
		.has_effort = true,
		.effort = 97.5};
	r->laps[1] = (struct lap){.time = 91.0 / 3, .skip = strdup("traffic: blue car # 7")};
	r->laps[2] = (struct lap){.time = 59.5};
	r->notes = strdup("two\nlines");
}

static void check_same_run(const struct run *a, const struct run *c)
{
	ck_assert_str_eq(a->date, c->date);
	ck_assert_str_eq(a->driver, c->driver);
	ck_assert_str_eq(a->session, c->session);
	ck_assert_str_eq(a->notes, c->notes);
	ck_assert(a->fuel.v == c->fuel.v && a->worn_at_start[1] == c->worn_at_start[1]);
	ck_assert_uint_eq(a->n_laps, c->n_laps);
	for (size_t i = 0; i < a->n_laps; i++) {
		const struct lap *x = &a->laps[i], *y = &c->laps[i];
		ck_assert(x->time == y->time && x->has_effort == y->has_effort &&
			  x->effort == y->effort);
		ck_assert(x->has_wear[0] == y->has_wear[0] && x->wear[0] == y->wear[0]);
		ck_assert(x->has_worn[1] == y->has_worn[1] && x->worn[1] == y->worn[1]);
		ck_assert(!x->skip == !y->skip && (!x->skip || strcmp(x->skip, y->skip) == 0));
	}
}

START_TEST(a_new_run_reads_back)
{
	struct err e;
	struct run r;
	make_run(&r, "r1");
	ck_assert_msg(store_new_run(&b, &r, &e), "%s", e.text);
	ck_assert(!store_new_run(&b, &r, &e));
	struct book was = b;
	load();
	ck_assert_int_eq(book_find_run(&b, "r1"), 0);
	check_same_run(&b.runs[0], &r);
	book_free(&was);
	run_free(&r);
}
END_TEST

START_TEST(runs_come_all_or_none)
{
	struct err e;
	struct run r[3];
	for (int i = 0; i < 3; i++) {
		char id[16];
		snprintf(id, sizeof id, "r%d", i);
		make_run(&r[i], id);
	}
	char *blocked = in_folder("b/runs/r2.yaml");
	char *first = in_folder("b/runs/r0.yaml");
	test_write(blocked, "mine", 4);
	ck_assert(!store_new_runs(&b, r, 3, &e));
	ck_assert_int_ne(access(first, F_OK), 0);
	char *text = test_slurp(blocked, NULL);
	ck_assert_str_eq(text, "mine");
	free(text);
	unlink(blocked);
	r[2].laps[0].worn[1] = 1;
	ck_assert(!store_new_runs(&b, r, 3, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "worn so far falls"));
	ck_assert_int_ne(access(first, F_OK), 0);
	r[2].laps[0].worn[1] = 6;
	ck_assert(store_new_runs(&b, r, 3, &e));
	for (int i = 0; i < 3; i++)
		run_free(&r[i]);
	free(blocked);
	free(first);
}
END_TEST

/* A run's file with comments and its own layout, as a user keeps it. */
static const char kept_head[] =
	"# first outing\nkind: run\nversion: 1\ndate: 2026-03-14T10:20 # local\n"
	"sheet: quick-base\ndriver: a  # him\n";
static const char kept_tail[] = "fuel: 24.00   # full\ntyre-age: 0\nworn-at-start: {rear: 10}\n"
				"laps:\n  # out of the box\n"
				"  - {time: \"1:31.243\", wear: {front: 2.41}, effort: 97} # cold\n"
				"  - {time: 91.102, wear: {front: 2.38}, skip: traffic}\n"
				"  - {time: 91.200, worn: {rear: 17.5}}   # last\n"
				"notes: end\n";

static char *run_path;

static struct run *put_run(void)
{
	struct buf text;
	buf_init(&text);
	buf_adds(&text, kept_head);
	buf_adds(&text, "values:\n");
	for (size_t i = 0; i < b.car.n_adjustables; i++) {
		char v[40];
		fix_print(b.sheets[0].values[i], v, sizeof v);
		buf_addf(&text, "  %s: %s\n", b.car.adjustables[i].id, v);
	}
	buf_adds(&text, kept_tail);
	run_path = in_folder("b/runs/r1.yaml");
	test_write(run_path, text.data, text.len);
	buf_free(&text);
	book_free(&b);
	load();
	return &b.runs[0];
}

/* Save `after`, read it back, and say how many lines are other than before. */
static void save_and_compare(const struct run *before, const struct run *after, size_t changed)
{
	struct err e;
	char *was = test_slurp(run_path, NULL);
	ck_assert_msg(store_save_run(&b, before, after, &e), "%s", e.text);
	char *is = test_slurp(run_path, NULL);
	struct book old = b;
	load();
	ck_assert(run_equal(&b.runs[0], after));
	struct book now = b;
	b = old;
	book_free(&now);
	/* Every comment is still there. */
	static const char *const comments[] = {"# first outing", "# local", "# out of the box"};
	for (int i = 0; i < 3; i++)
		ck_assert_msg(strstr(is, comments[i]) != NULL, "%s", is);
	if (changed != (size_t)-1)
		ck_assert_msg(count_changed_lines(was, is) == changed, "%s", is);
	free(was);
	free(is);
}

START_TEST(a_corrected_run_keeps_the_rest)
{
	struct run *r = put_run();
	struct run after, before;
	run_init(&after);
	run_init(&before);
	ck_assert(run_copy(&before, r) && run_copy(&after, r));
	after.laps[0].time = 90.999;
	after.laps[0].wear[0] = 2.5;
	save_and_compare(&before, &after, 1);
	ck_assert(run_copy(&before, &after));
	after.fuel.v = 23.5;
	strcpy(after.driver, "no");
	after.worn_at_start[1] = 9.5;
	save_and_compare(&before, &after, 3);
	ck_assert(run_copy(&before, &after));
	/* A lap of another shape is one line, too. */
	after.laps[1].has_effort = true;
	after.laps[1].effort = 99;
	free(after.laps[1].skip);
	after.laps[1].skip = NULL;
	save_and_compare(&before, &after, 1);
	/* Keys that come and go. */
	ck_assert(run_copy(&before, &after));
	after.driver[0] = '\0';
	after.tyre_age.has = false;
	after.track_temp = (struct opt_num){true, 31};
	strcpy(after.compound, "soft");
	save_and_compare(&before, &after, (size_t)-1);
	run_free(&before);
	run_free(&after);
	free(run_path);
}
END_TEST

START_TEST(laps_come_and_go)
{
	struct run *r = put_run();
	struct run after, before;
	run_init(&after);
	run_init(&before);
	ck_assert(run_copy(&before, r) && run_copy(&after, r));
	after.laps = realloc(after.laps, 6 * sizeof *after.laps);
	ck_assert_ptr_nonnull(after.laps);
	after.laps[3] = (struct lap){.time = 91.5, .skip = strdup("pit: in")};
	after.n_laps = 4;
	save_and_compare(&before, &after, (size_t)-1);
	char *text = test_slurp(run_path, NULL);
	ck_assert_ptr_nonnull(
		strstr(text, "# last\n  - {time: \"1:31.500\", skip: \"pit: in\"}\nnotes: end\n"));
	ck_assert_ptr_nonnull(strstr(text, "effort: 97} # cold\n"));
	free(text);
	/* Out of the middle. */
	ck_assert(run_copy(&before, &after));
	free(after.laps[1].skip);
	memmove(&after.laps[1], &after.laps[2], 2 * sizeof *after.laps);
	after.n_laps = 3;
	save_and_compare(&before, &after, (size_t)-1);
	text = test_slurp(run_path, NULL);
	ck_assert_ptr_null(strstr(text, "traffic"));
	ck_assert_ptr_nonnull(strstr(text, "   # last\n"));
	free(text);
	/* A run cannot be saved broken, nor over another's change. */
	struct err e;
	ck_assert(run_copy(&before, &after));
	after.laps[1].worn[1] = 1;
	ck_assert(!store_save_run(&b, &before, &after, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "worn so far falls"));
	after.laps[1].worn[1] = 18;
	before.fuel.v = 1;
	ck_assert(!store_save_run(&b, &before, &after, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "changed by someone else"));
	run_free(&before);
	run_free(&after);
	free(run_path);
}
END_TEST

START_TEST(all_laps_can_go)
{
	struct run *r = put_run();
	struct run after, none;
	struct err e;
	run_init(&after);
	run_init(&none);
	ck_assert(run_copy(&after, r) && run_copy(&none, r));
	for (size_t i = 0; i < none.n_laps; i++)
		free(none.laps[i].skip);
	none.n_laps = 0;
	ck_assert_msg(store_save_run(&b, &after, &none, &e), "%s", e.text);
	ck_assert_msg(store_save_run(&b, &none, &after, &e), "%s", e.text);
	book_free(&b);
	load();
	ck_assert(run_equal(&b.runs[0], &after));
	run_free(&after);
	run_free(&none);
	free(run_path);
}
END_TEST

/* Before a version is replaced by one that knows nothing of it. */
START_TEST(a_version_is_kept_aside)
{
	char *path = in_folder("b/sheets/quick-base.yaml"), *kept, *again;
	struct stamp stamp;
	struct stat st;
	struct err e;
	char *bytes, *copy;
	size_t size, len;

	err_clear(&e);
	ck_assert_int_eq(chmod(path, 0640), 0);
	ck_assert(file_read(path, 1 << 20, &bytes, &size, &stamp, &e));
	ck_assert_msg(save_aside(path, &stamp, &kept, &e), "%s", e.text);
	ck_assert_str_eq(strrchr(kept, '/'), "/quick-base.yaml.kept-1");
	copy = test_slurp(kept, &len);
	ck_assert(len == size && memcmp(copy, bytes, size) == 0);
	ck_assert_int_eq(stat(kept, &st), 0);
	ck_assert_uint_eq(st.st_mode & 0137, 0);
	/* Nothing is written over. */
	test_write(kept, "kept", 4);
	ck_assert(save_aside(path, &stamp, &again, &e));
	ck_assert_str_eq(strrchr(again, '/'), "/quick-base.yaml.kept-2");
	free(copy);
	copy = test_slurp(kept, &len);
	ck_assert_str_eq(copy, "kept");
	free(again);
	/* Only of what was seen. */
	test_write(path, "kind: sheet\n", 12);
	ck_assert(!save_aside(path, &stamp, &again, &e));
	ck_assert_ptr_null(again);
	ck_assert_ptr_nonnull(strstr(e.text, "changed it again"));
	ck_assert_int_eq(unlink(path), 0);
	ck_assert(!save_aside(path, &stamp, &again, &e));
	free(kept);
	free(copy);
	free(bytes);
	free(path);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("files");
	TCase *t = tcase_create("files");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, a_nudge_changes_one_line);
	tcase_add_test(t, locks_and_freezes_are_saved);
	tcase_add_test(t, someone_else_s_change_is_never_lost);
	tcase_add_test(t, an_open_sheet_is_saved_by_its_stamp);
	tcase_add_test(t, a_new_sheet_and_the_reference);
	tcase_add_test(t, a_new_run_reads_back);
	tcase_add_test(t, runs_come_all_or_none);
	tcase_add_test(t, a_corrected_run_keeps_the_rest);
	tcase_add_test(t, laps_come_and_go);
	tcase_add_test(t, all_laps_can_go);
	tcase_add_test(t, a_version_is_kept_aside);
	suite_add_tcase(s, t);
	return s;
}
