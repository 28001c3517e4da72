/*
 * Reading with the k-th allocation failing, or the k-th look into a folder, for k rising until
 * everything goes through: once and from then on. Nothing crashes or leaks, and what was stopped
 * says why. Most files here are faulty, so that memory also lacks while a fault is told.
 *
 * Allocations are failed for the whole process, those of libyaml and libcsv too; in a build with
 * sanitizers only our own (the linker's --wrap), because there malloc() is theirs.
 */
#include "store/import.h"
#include "store/patch.h"
#include "store/plan_file.h"
#include "store/store.h"
#include "support/savetool.h"
#include "support/small_book.h"
#include "support/support.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum kind { MEMORY, FOLDER };
static struct {
	bool armed, lasting;
	enum kind kind;
	long at, made, failed, live;
} sys;

static bool fails(enum kind kind)
{
	if (!sys.armed || sys.kind != kind)
		return false;
	sys.made++;
	if (sys.made != sys.at && !(sys.lasting && sys.made > sys.at))
		return false;
	sys.failed++;
	errno = kind == MEMORY ? ENOMEM : EIO;
	return true;
}

#ifdef TL_SANITIZED
#define OURS(name) __wrap_##name
#define REAL(name) __real_##name
#else
#define OURS(name) name
#define REAL(name) __libc_##name
#endif
void *REAL(malloc)(size_t n);
void *REAL(calloc)(size_t n, size_t size);
void *REAL(realloc)(void *old, size_t n);
void REAL(free)(void *p);
void *OURS(malloc)(size_t n);
void *OURS(calloc)(size_t n, size_t size);
void *OURS(realloc)(void *old, size_t n);
void OURS(free)(void *p);

static void *counted(void *p)
{
	sys.live += p != NULL;
	return p;
}

void *OURS(malloc)(size_t n)
{
	return fails(MEMORY) ? NULL : counted(REAL(malloc)(n));
}

void *OURS(calloc)(size_t n, size_t size)
{
	return fails(MEMORY) ? NULL : counted(REAL(calloc)(n, size));
}

void *OURS(realloc)(void *old, size_t n)
{
	if (fails(MEMORY))
		return NULL;
	return old ? REAL(realloc)(old, n) : counted(REAL(realloc)(old, n));
}

void OURS(free)(void *p)
{
	sys.live -= p != NULL;
	REAL(free)(p);
}

#ifdef TL_SANITIZED
char *__real_strdup(const char *text);
char *__wrap_strdup(const char *text);
char *__wrap_strdup(const char *text)
{
	return fails(MEMORY) ? NULL : __real_strdup(text);
}
#endif

struct dirent *__real_readdir(DIR *dir);
struct dirent *__wrap_readdir(DIR *dir);
struct dirent *__wrap_readdir(DIR *dir)
{
	return fails(FOLDER) ? NULL : __real_readdir(dir);
}

/* --- what is read --- */

static char *folder;
static struct book book;
static struct plan *plan;
static char *plan_text;
static struct err err;

static char *in_folder(const char *name)
{
	static char path[4200];
	snprintf(path, sizeof path, "%s/%s", folder, name);
	return path;
}

static void put(const char *name, const char *text)
{
	test_write(in_folder(name), text, strlen(text));
}

static bool told_by(bool ok, struct faults *faults)
{
	const bool told = ok || faults->total > 0;
	faults_free(faults);
	return told;
}

static bool told(bool ok)
{
	return ok || (err.cls != ERR_NONE && err.text[0]);
}

static bool load_a_book(void)
{
	struct faults faults;
	struct book b;
	faults_init(&faults);
	book_init(&b);
	const bool ok = store_load_book(&b, folder, &faults);
	book_free(&b);
	return told_by(ok, &faults);
}

static void prepare_borrowing(void)
{
	put("book.yaml", "kind: book\nversion: 1\nname: Test\nnotes: n\ncar: car\ncircuit: track\n"
			 "reference: base\nwear-channels: [front, rear]\nwear-limit: 60\n"
			 "borrow:\n- {book: nowhere}\n- {book: old, without: [none]}\n"
			 "- {book: ./old}\n- {book: .}\n");
	/* The lender would learn from this one in turn. */
	put("old/book.yaml",
		"kind: book\nversion: 1\ncar: car\ncircuit: track\nreference: base\n"
		"wear-channels: [front, rear]\nwear-limit: 60\nborrow: [{book: ../}]\n");
}

/* A new book that is to borrow. */
static bool borrow_for_a_new_book(void)
{
	char old[4300], dir[4300];
	const char *const folders[] = {old};
	struct faults faults;
	struct book b = book;
	snprintf(old, sizeof old, "%s/old", folder);
	snprintf(dir, sizeof dir, "%s/new", folder);
	faults_init(&faults);
	b.dir = dir; /* all but what it borrows is the other's */
	b.borrow = NULL;
	b.n_borrow = 0;
	const bool ok = store_borrow(&b, folders, 1, &faults);
	struct book lent;
	book_init(&lent);
	lent.borrow = b.borrow;
	lent.n_borrow = b.n_borrow;
	book_free(&lent);
	return told_by(ok, &faults);
}

static void prepare_faults(void)
{
	put("book.yaml", "kind: book\nversion: 1\ncar: nobody\ncircuit: track\nreference: none\n"
			 "wear-channels: [front, back]\nwear-limit: 60\nconditions: 1\n");
	put("sheets/base.yaml", "kind: sheet\nversion: 1\nname: x\nvalues: {bias: x}\n");
	put("runs/r01.yaml", "kind: run\nversion: 1\nvalues: {}\nlaps: []\nlaps: []\n");
	put("runs/r02.yaml", "kind: run\n- 1\n");
	put("runs/Bad.yaml", "");
	put("profiles/circuits/track.yaml", "kind: circuit\nversion: 1\nlength: 4\nsegments: []\n");
}

static void prepare_runs_with_segments(void)
{
	put("runs/r01.yaml",
		"kind: run\nversion: 1\nsheet: base\nnotes: n\n"
		"values: {front-wing: 8, rear-wing: 14, bias: 54}\nlaps:\n"
		"- {time: 91, segments: {s1: {time: 40, wear: {front: 1}}}, skip: why}\n");
}

static bool import_a_file(void)
{
	struct faults faults;
	struct import in;
	faults_init(&faults);
	const bool ok = import_csv(&in, &book, in_folder("laps.csv"), &faults);
	import_free(&in);
	return told_by(ok, &faults);
}

static void prepare_csv(void)
{
	struct buf text;
	buf_init(&text);
	buf_adds(&text, "run,sheet,time,skip,segment-s1-time,segment-s2-wear-front,wear-front\n");
	for (int i = 0; i < 20; i++)
		for (int lap = 0; lap < 18; lap++)
			buf_addf(&text, "n%d,base,91.5,\"%s\",%s,%s,2.4\n", i,
				i % 7 || lap ? "" : "rain, and much of it", lap ? "" : "40.1",
				lap == 1 ? "1.1" : "");
	put("laps.csv", text.data);
	buf_free(&text);
}

static void prepare_bad_csv(void)
{
	put("laps.csv", "run,sheet,time,lap\nn1,base,91,1\nn1,base,x,2\nn2,none,91,3\nN3,,,\n");
}

/* Opened by another's mistake: a quote where none may stand, and one that is never closed. */
static void prepare_torn_csv(void)
{
	put("laps.csv", "run,sheet,time\nn1,base,\"91\n");
}

static void prepare_plan(void)
{
	struct plan_options o = {.kind = PLAN_ONE_AT_A_TIME, .base = &book.sheets[0]};
	plan = plan_new(&book, &o, &err);
	ck_assert_msg(plan != NULL, "%s", err.text);
	ck_assert_msg(store_save_plan(&book, plan, true, &err), "%s", err.text);
	plan_text = test_slurp(in_folder("plan.yaml"), NULL);
}

static bool read_a_plan(void)
{
	struct faults faults;
	struct plan *p = NULL;
	faults_init(&faults);
	const bool ok = store_load_plan(&p, &book, &faults);
	plan_free(p);
	return told_by(ok, &faults);
}

/* Refused for its runs that are still to be driven; without memory for that, never as no plan. */
static bool save_over_a_plan(void)
{
	return told(store_save_plan(&book, plan, false, &err)) &&
	       !strstr(err.text, "cannot be read as a plan");
}

static bool strike_a_run(void)
{
	return told(store_strike_plan(&book, 1, plan->runs[1].values, &err)) &&
	       !strstr(err.text, "could not be taken out");
}

static bool tick_a_run(void)
{
	return told(store_tick_plan(&book, 0, NULL, "r01", &err));
}

static bool check_profiles(void)
{
	static const char *const names[] = {"profiles/cars/car.yaml",
		"profiles/circuits/track.yaml", "book.yaml", "profiles/cars/none.yaml"};
	bool all = true;
	for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
		struct faults faults;
		const char *kind;
		faults_init(&faults);
		const bool ok = store_check_profile(in_folder(names[i]), &kind, &faults);
		all = told_by(ok, &faults) && all;
	}
	return all;
}

/* The nodes fill what is set aside for them first, so that room for the list of members, the last
 * that is needed, must be asked for: so with one of the counts of keys. */
static int n_keys = 17;
static bool read_some_keys(void)
{
	struct faults faults;
	struct doc d;
	char text[600] = "";
	for (int i = 0; i < n_keys; i++)
		sprintf(text + strlen(text), i < 4 ? "a-key-of-a-long-name-%d:\n" : "k%d:\n", i);
	faults_init(&faults);
	const bool ok = doc_parse(&d, text, strlen(text), "f", &faults);
	doc_free(&d);
	return told_by(ok, &faults);
}

static const char document[] =
	"a: 1\nlist: [x, y]\nrows:\n- x # c\n- y\n- z\ntext: 'q'\n\xc3\xa9: v\nnone:\n";

/* One change of a document, by number. */
static bool change(struct patch *p, int what)
{
	static const char *const ids[] = {"y", "w", "on"};
	const struct node *root = p->d->root;
	switch (what) {
	case 0:
		return patch_raw(p, node_get(root, "rows"), "- 1", &err);
	case 1:
		return patch_member(p, root, "text", PATCH_TEXT, "it's", NULL, &err);
	case 2:
		return patch_member(p, root, "new", PATCH_TEXT, "a: b", NULL, &err);
	case 3:
		return patch_ids(p, root, "list", ids, 3, NULL, &err);
	case 4:
		return patch_ids(p, root, "list", ids, 0, NULL, &err);
	case 5:
		return patch_ids(p, root, "rows", ids, 3, NULL, &err);
	case 6:
		return patch_ids(p, root, "rows", ids, 1, NULL, &err);
	case 7:
		return patch_ids(p, root, "other", ids, 3, NULL, &err);
	case 8:
		return patch_ids(p, root, "none", ids, 2, NULL, &err);
	case 9:
		return patch_member(p, root, "a", PATCH_NUMBER, "one", NULL, &err);
	default:
		return patch_raw(p, node_get(root, "a"), "[", &err);
	}
}

static bool patch_a_document(void)
{
	struct faults faults;
	struct doc d;
	bool all = true;
	faults_init(&faults);
	if (!doc_parse(&d, document, sizeof document - 1, "f", &faults))
		return told_by(false, &faults);
	for (int i = 0; i < 11; i++) {
		struct patch p;
		char *out = NULL;
		size_t size;
		err_clear(&err);
		patch_init(&p, &d);
		const bool made = change(&p, i);
		const bool ok = patch_apply(&p, &out, &size, &err) && made;
		all = told(ok) && ok == (out != NULL) && all;
		free(out);
		patch_free(&p);
	}
	doc_free(&d);
	return all;
}

static void nothing(void)
{
}

static const struct job {
	const char *name;
	void (*prepare)(void);
	bool (*run)(void); /* true: done, or told why not */
} jobs[] = {
	{"a book that borrows", nothing, load_a_book},
	{"a book that borrows what it cannot", prepare_borrowing, load_a_book},
	{"a new book that is to borrow", nothing, borrow_for_a_new_book},
	{"a book of faults", prepare_faults, load_a_book},
	{"a document of some keys", nothing, read_some_keys},
	{"runs with segments", prepare_runs_with_segments, load_a_book},
	{"runs from CSV", prepare_csv, import_a_file},
	{"faults from CSV", prepare_bad_csv, import_a_file},
	{"torn CSV", prepare_torn_csv, import_a_file},
	{"a plan", prepare_plan, read_a_plan},
	{"a plan to write over", prepare_plan, save_over_a_plan},
	{"a run to strike", prepare_plan, strike_a_run},
	{"a run to tick", prepare_plan, tick_a_run},
	{"profiles", nothing, check_profiles},
	{"patches", nothing, patch_a_document},
};

static void fresh_folder(void)
{
	test_remove(folder);
	ck_assert_int_eq(mkdir(folder, 0755), 0);
	small_book_borrowing(folder);
}

static void setup(void)
{
	struct faults faults;
	folder = test_folder();
	setenv("XDG_STATE_HOME", folder, 1);
	setenv("LOGNAME", "anna", 1); /* else the C library loads what it keeps to ask for it */
	small_book_borrowing(folder);
	faults_init(&faults);
	book_init(&book);
	ck_assert_msg(store_load_book(&book, folder, &faults), "%s", faults.list[0].text);
	err_clear(&err);
}

static void teardown(void)
{
	plan_free(plan);
	plan = NULL;
	free(plan_text);
	plan_text = NULL;
	book_free(&book);
	test_remove(folder);
	free(folder);
}

/* --- the walk --- */

/* True when nothing failed any more. */
static bool fail_at(const struct job *job, long k)
{
	if (plan_text)
		put("plan.yaml", plan_text); /* as it was before a run went or was ticked */
	err_clear(&err);
	const long live = sys.live;
	sys.at = k;
	sys.made = sys.failed = 0;
	sys.armed = true;
	const bool said = job->run();
	sys.armed = false; /* Check allocates too */
	ck_assert_msg(
		said, "%s, %ld%s: stopped without a word", job->name, k, sys.lasting ? "+" : "");
#ifndef TL_SANITIZED
	ck_assert_msg(sys.live == live, "%s, %ld%s: %ld not freed", job->name, k,
		sys.lasting ? "+" : "", sys.live - live);
#else
	(void)live; /* the leak checker counts */
#endif
	return sys.failed == 0;
}

/* Each one under TREADLIGHT_LONG; else a few hundred, the first ones all. */
static long walk(const struct job *job, enum kind kind, bool lasting)
{
	long tried = 0;
	sys.kind = kind;
	sys.lasting = lasting;
	ck_assert(fail_at(job, 1L << 60)); /* what libraries keep is made here */
	const long most = test_long() ? 1L << 60 : test_quick() ? 40 : 120;
	const long stride = sys.made / most + 1;
	for (long k = 1; !fail_at(job, k); tried++)
		k += stride > 1 && k > 30 ? 1 + (k * 7919) % (2 * stride - 1) : 1;
	return tried;
}

START_TEST(reading_stops_with_a_word)
{
	const struct job *job = &jobs[_i];
	long memory = 0, folders = 0;
	fresh_folder();
	job->prepare();
	for (int lasting = 0; lasting < 2; lasting++) {
		memory += walk(job, MEMORY, lasting);
		folders += walk(job, FOLDER, lasting);
	}
	printf("%s: %ld allocations and %ld looks into a folder failed\n", job->name, memory,
		folders);
}
END_TEST

START_TEST(a_tree_lacks_memory_at_its_very_end)
{
	static const struct job job = {"keys", nothing, read_some_keys};
	sys.kind = MEMORY;
	sys.lasting = false;
	for (n_keys = 13; n_keys < 22; n_keys++) {
		ck_assert(fail_at(&job, 1L << 60));
		const long all = sys.made;
		for (long k = all > 12 ? all - 12 : 1; k <= all; k++)
			ck_assert(!fail_at(&job, k));
	}
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("read walk");
	TCase *c = tcase_create("walk");
	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 600);
	tcase_add_loop_test(c, reading_stops_with_a_word, 0, (int)(sizeof jobs / sizeof *jobs));
	tcase_add_test(c, a_tree_lacks_memory_at_its_very_end);
	suite_add_tcase(s, c);
	return s;
}
