/*
 * What cannot be reached is not absent: a folder that may not be searched, a link that leads
 * nowhere (a disk that is not plugged in) or in a circle. Only what is surely not there counts as
 * absent.
 */
#include "store/plan_file.h"
#include "store/store.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *folder, *dir;

/* A path below the book, in one of two buffers by turns. */
static const char *at(const char *name)
{
	static char text[2][512];
	static int turn;
	turn = !turn;
	snprintf(text[turn], sizeof text[turn], "%s/%s", dir, name);
	return text[turn];
}

static void run(const char *const *argv)
{
	struct test_said said = test_run(argv);
	ck_assert_msg(said.status == 0, "%s", said.err);
	test_said_free(&said);
}

static void setup(void)
{
	char *demo = test_source("share/demo"), *top = test_source("");
	folder = test_folder();
	ck_assert_int_ge(asprintf(&dir, "%s/b", folder), 0);
	const char *cp[] = {"/bin/cp", "-r", demo, dir, NULL},
		   *open[] = {"/bin/chmod", "-R", "u+w,a+rX", folder, NULL};
	run(cp);
	run(open);
	setenv("TREADLIGHT_DATADIR", top, 1);
	setenv("XDG_DATA_HOME", folder, 1);
	free(top);
	free(demo);
}

static void teardown(void)
{
	ck_assert_int_eq(seteuid(getuid()), 0);
	chmod(at("profiles"), 0755);
	test_remove(folder);
	free(folder);
	free(dir);
}

/* Neither the owner of the files nor the superuser, whom no mode stops. */
static void be_someone_else(void)
{
	if (geteuid() == 0)
		ck_assert_int_eq(seteuid(65534), 0);
}

/* The plan is read too, as `check` does. False: *f has why. */
static bool load(struct book *b, struct faults *f)
{
	struct plan *plan = NULL;
	faults_init(f);
	book_init(b);
	if (!store_load_book(b, dir, f))
		return false;
	const bool ok = store_load_plan(&plan, b, f);
	plan_free(plan);
	book_free(b);
	return ok;
}

/* What is moved away, and the link that takes its place; where to: NULL is the link itself. */
static const struct {
	const char *name, *to, *says;
} links[] = {{"profiles", "/nowhere/disk", "b/profiles is a link that leads nowhere"},
	{"profiles", NULL, "cannot be looked at: Too many levels"},
	{"profiles/cars", "/nowhere/disk", "b/profiles/cars is a link that leads nowhere"},
	{"profiles/cars/larkspur-20.yaml", "gone.yaml",
		"larkspur-20.yaml is a link that leads nowhere"},
	{"profiles/cars/larkspur-20.yaml", NULL, "larkspur-20.yaml cannot be looked at: Too many"},
	{"runs", "/nowhere/disk", "is a link that leads nowhere"},
	{"runs", NULL, "cannot be read: Too many levels"},
	{"sheets", "/nowhere/disk", "is a link that leads nowhere"},
	{"runs/r01.yaml", "gone.yaml", "cannot be opened: No such file"},
	{"plan.yaml", "gone.yaml", "is a link that leads nowhere"},
	{"plan.yaml", NULL, "cannot be looked at: Too many levels"},
	{"book.yaml", "gone.yaml", "is a link that leads nowhere"}};

START_TEST(a_link_that_leads_nowhere_is_told)
{
	struct book b;
	struct faults f;
	char *name = strdup(at(links[_i].name)), *away = NULL;
	ck_assert_int_ge(asprintf(&away, "%s/away", folder), 0);
	if (access(name, F_OK) == 0)
		ck_assert_int_eq(rename(name, away), 0);
	const char *last = strrchr(links[_i].name, '/');
	const char *self = last ? last + 1 : links[_i].name;
	ck_assert_int_eq(symlink(links[_i].to ? links[_i].to : self, name), 0);
	ck_assert(!load(&b, &f));
	bool told = false;
	for (size_t i = 0; i < f.n; i++)
		told = told || strstr(f.list[i].text, links[_i].says);
	ck_assert_msg(told, "%s: %s", f.list[0].file, f.list[0].text);
	ck_assert_msg(strncmp(f.list[0].file, dir, strlen(dir)) == 0, "%s", f.list[0].file);
	faults_free(&f);
	free(name);
	free(away);
}
END_TEST

static const struct {
	const char *name, *says;
} closed[] = {{"profiles", "cannot be looked at: Permission denied"},
	{"profiles/cars", "cannot be looked at: Permission denied"},
	{"profiles/cars/larkspur-20.yaml", "cannot be opened: Permission denied"},
	{"runs", "cannot be read: Permission denied"}};

START_TEST(what_may_not_be_read_is_told)
{
	struct book b;
	struct faults f;
	ck_assert_int_eq(chmod(at(closed[_i].name), 0), 0);
	be_someone_else();
	ck_assert(!load(&b, &f));
	ck_assert_msg(strstr(f.list[0].text, closed[_i].says) != NULL, "%s", f.list[0].text);
	faults_free(&f);
}
END_TEST

/* Nor is the user's own car passed over for the installed one. */
START_TEST(the_user_s_folder_counts_too)
{
	struct book b;
	struct faults f;
	char *own = NULL;
	const char *rm[] = {"/bin/rm", "-r", at("profiles"), NULL};
	run(rm);
	ck_assert_int_ge(asprintf(&own, "%s/treadlight", folder), 0);
	ck_assert(load(&b, &f)); /* nothing is there: the installed car */
	ck_assert_int_eq(symlink("/nowhere/home", own), 0);
	ck_assert(!load(&b, &f));
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "treadlight is a link that leads nowhere"));
	ck_assert(f.list[0].line > 0 && strstr(f.list[0].file, "book.yaml"));
	faults_free(&f);
	free(own);
}
END_TEST

/* What is not there stays absent; a file in the place of a folder holds nothing. */
START_TEST(what_is_not_there_is_absent)
{
	struct book b;
	struct faults f;
	const char *rm[] = {"/bin/rm", "-r", at("profiles"), at("runs"), NULL};
	run(rm);
	ck_assert_msg(load(&b, &f), "%s", f.n ? f.list[0].text : "");
	test_write(at("profiles"), "", 0);
	ck_assert_msg(load(&b, &f), "%s", f.n ? f.list[0].text : "");
}
END_TEST

/* A link that leads somewhere is as good as what it leads to. */
START_TEST(links_are_followed)
{
	struct book b;
	struct faults f;
	static const char *const names[] = {"profiles", "runs", "sheets", "book.yaml"};
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
		char *name = strdup(at(names[i])), *away = NULL;
		ck_assert_int_ge(asprintf(&away, "%s/away-%s", folder, names[i]), 0);
		ck_assert_int_eq(rename(name, away), 0);
		ck_assert_int_eq(symlink(away, name), 0);
		free(name);
		free(away);
	}
	ck_assert_msg(load(&b, &f), "%s", f.n ? f.list[0].text : "");
}
END_TEST

START_TEST(borrowed_books_count_too)
{
	struct book b;
	struct faults f;
	size_t len;
	struct buf text;
	char *was = test_slurp(at("book.yaml"), &len);
	buf_init(&text);
	buf_addf(&text, "%sborrow: [{book: ../old}]\n", was);
	test_write(at("book.yaml"), text.data, text.len);
	ck_assert_int_eq(symlink("/nowhere/disk", at("../old")), 0);
	ck_assert(!load(&b, &f));
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "old is a link that leads nowhere"));
	faults_free(&f);
	buf_free(&text);
	free(was);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("reach");
	TCase *t = tcase_create("not absent");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_loop_test(
		t, a_link_that_leads_nowhere_is_told, 0, sizeof links / sizeof links[0]);
	tcase_add_loop_test(t, what_may_not_be_read_is_told, 0, sizeof closed / sizeof closed[0]);
	tcase_add_test(t, the_user_s_folder_counts_too);
	tcase_add_test(t, what_is_not_there_is_absent);
	tcase_add_test(t, links_are_followed);
	tcase_add_test(t, borrowed_books_count_too);
	suite_add_tcase(s, t);
	return s;
}
