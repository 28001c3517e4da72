/*
 * Memory that runs out: the k-th allocation of load, edit, journal, save, fit and decide fails,
 * once or from then on, for k rising until everything goes through (as in SQLite's
 * testing.html, 3.1). Nothing crashes, nothing leaks, the file is the old one or the new one, and
 * an error is told.
 *
 * Allocations are failed for the whole process, libyaml's and GSL's too; in a build with
 * sanitizers only our own (the linker's --wrap), because there malloc() is theirs.
 */
#include "book/edit.h"
#include "compare/compare.h"
#include "frontier/frontier.h"
#include "model/borrow.h"
#include "model/model.h"
#include "model/verify.h"
#include "plan/plan.h"
#include "stint/stint.h"
#include "store/journal.h"
#include "store/plan_file.h"
#include "store/store.h"
#include "support/savetool.h"
#include "support/small_book.h"
#include "support/support.h"

#include <errno.h>
#include <gsl/gsl_errno.h>
#include <link.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct {
	bool armed, lasting;
	long at;   /* fails when this many were made since arming */
	long made; /* since arming */
	long failed;
	long live; /* not freed yet */
} mem;

static bool fails(void)
{
	if (!mem.armed)
		return false;
	mem.made++;
	if (mem.made == mem.at || (mem.lasting && mem.made > mem.at)) {
		mem.failed++;
		errno = ENOMEM;
		return true;
	}
	return false;
}

/*
 * GSL 2.7 loses the head of a vector or matrix when the memory for its elements is missing
 * (gsl_matrix_alloc() returns without freeing it): allocations that it makes for itself are failed
 * like all others, but not counted as living.
 */
static struct {
	uintptr_t from, to;
} gsl;

static int find_gsl(struct dl_phdr_info *info, size_t size, void *data)
{
	(void)size;
	(void)data;
	if (!strstr(info->dlpi_name, "libgsl.so"))
		return 0;
	for (int i = 0; i < info->dlpi_phnum; i++) {
		const ElfW(Phdr) *h = &info->dlpi_phdr[i];
		if (h->p_type == PT_LOAD && (h->p_flags & PF_X)) {
			gsl.from = (uintptr_t)(info->dlpi_addr + h->p_vaddr);
			gsl.to = gsl.from + h->p_memsz;
		}
	}
	return 1;
}

/* What GSL allocated and has not freed; found again by address, for its frees may be ours. */
static void *gsl_blocks[4096];
static size_t n_gsl_blocks;

static void count(void *p, const void *caller)
{
	if (!p)
		return;
	if ((uintptr_t)caller < gsl.from || (uintptr_t)caller >= gsl.to)
		mem.live++;
	else if (n_gsl_blocks < sizeof gsl_blocks / sizeof *gsl_blocks)
		gsl_blocks[n_gsl_blocks++] = p;
	else
		abort(); /* the table is too small */
}

static void uncount(void *p)
{
	if (!p)
		return;
	for (size_t i = n_gsl_blocks; i-- > 0;) {
		if (gsl_blocks[i] == p) {
			gsl_blocks[i] = gsl_blocks[--n_gsl_blocks];
			return;
		}
	}
	mem.live--;
}
#define CALLER __builtin_return_address(0)

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

void *OURS(malloc)(size_t n)
{
	void *p = fails() ? NULL : REAL(malloc)(n);

	count(p, CALLER);
	return p;
}

void *OURS(calloc)(size_t n, size_t size)
{
	void *p = fails() ? NULL : REAL(calloc)(n, size);

	count(p, CALLER);
	return p;
}

void *OURS(realloc)(void *old, size_t n)
{
	void *p = fails() ? NULL : REAL(realloc)(old, n);

	if (!old)
		count(p, CALLER);
	return p;
}

void OURS(free)(void *p)
{
	uncount(p);
	REAL(free)(p);
}

#ifdef TL_SANITIZED
char *__real_strdup(const char *text);
char *__wrap_strdup(const char *text);
char *__wrap_strdup(const char *text)
{
	return fails() ? NULL : __real_strdup(text);
}
#endif

static char *folder, sheet[4096], *old_text, *new_text;
static size_t old_size, new_size;

static void setup(void)
{
	folder = test_folder();
	snprintf(sheet, sizeof sheet, "%s/sheets/base.yaml", folder);
	small_book_write(folder);
	setenv("XDG_STATE_HOME", folder, 1);
	setenv("LOGNAME", "anna", 1); /* else the C library loads what it keeps to ask for it */
	gsl_set_error_handler_off();
	dl_iterate_phdr(find_gsl, NULL);
	old_text = test_slurp(sheet, &old_size);
}

static void teardown(void)
{
	test_remove(folder);
	free(folder);
	free(old_text);
	free(new_text);
}

enum step { LOADED = 1, EDITED, JOURNALLED, SAVED, FITTED, ALL };

static bool edit_and_journal(const struct edit *e, struct err *err, enum step *done)
{
	struct change changes[] = {{"values.front-wing", "8.5"}, {"locks.wing", "1"}};
	struct stamp none = {0};
	struct journal j;
	bool ok;

	(void)e;
	*done = EDITED;
	ok = journal_open(&j, sheet, &none, err);
	if (!ok)
		return false;
	ok = journal_append(&j, changes, 2, err) && journal_sync(&j, err);
	if (ok)
		*done = JOURNALLED;
	journal_discard(&j, err);
	return ok;
}

/* A plan made, kept and read again; the next run; the last run held against its prediction. */
static bool plan_and_verify(const struct model *m, const struct book *b, struct err *err)
{
	struct plan_options o = {.kind = PLAN_SCREENING, .base = &b->sheets[0], .rng = 1};
	struct faults faults;
	struct plan *p = plan_new(b, &o, err), *again = NULL;
	bool ok = p != NULL && store_save_plan(b, p, true, err) &&
		  store_tick_plan(b, 0, NULL, "r1", err);

	plan_free(p);
	faults_init(&faults);
	if (ok && !store_load_plan(&again, b, &faults))
		ok = err_memory(err);
	ok = ok && plan_complete(again, b, o.noise, err);
	plan_free(again);
	faults_free(&faults);
	o.kind = PLAN_NEXT;
	p = ok ? plan_next(m, &o, err) : NULL;
	ok = p != NULL;
	plan_free(p);
	struct verify *v = ok ? verify_new(b, 1, err) : NULL;
	ok = v != NULL;
	verify_free(v);
	return ok;
}

/* Frontier, stint and comparison of a book with a second sheet of its runs. */
static bool decide(const struct model *m, const struct book *b, struct err *err)
{
	const struct sheet *base = &b->sheets[0];
	const struct stint_options so = {.laps = 20, .draws = 50};
	struct frontier_options fo = {.points = 5, .has_max_changes = true, .max_changes = 2};
	struct compare c;

	if (!save_parse(m, "front", &fo.save, err))
		return false;
	struct frontier *f = frontier_new(m, base, base, &fo, err);
	if (!f)
		return false;
	frontier_free(f);
	struct stint *s = stint_new(m, b->runs[1].values, base->values, "a", "b", &so, err);
	if (!s)
		return false;
	stint_free(s);
	if (!compare_make(&c, m, base->values, b->runs[1].values, err))
		return false;
	compare_free(&c);
	return plan_and_verify(m, b, err);
}

static bool work_on(struct book *b, struct err *err, enum step *done)
{
	struct edit_change change;
	struct model *m;
	struct edit *e = edit_new(&b->car, &b->sheets[0]);
	bool ok;

	if (!e)
		return err_memory(err);
	ok = edit_nudge(e, 0, 1, &change, err) && edit_lock(e, 0, true, err);
	if (ok)
		ok = edit_and_journal(e, err, done);
	if (ok)
		ok = store_save_sheet(b, &b->sheets[0], edit_sheet(e), err);
	if (ok)
		*done = SAVED;
	edit_free(e);
	if (!ok)
		return false;
	m = model_new(b, err);
	if (!m)
		return false;
	*done = FITTED;
	ok = decide(m, b, err);
	model_free(m);
	return ok;
}

/* Load, edit, journal, save, fit; how far it came. *told: an error was told where it stopped. */
static enum step run_all(bool *told)
{
	struct faults faults;
	struct book b;
	struct err err;
	enum step done = 0;

	err_clear(&err);
	faults_init(&faults);
	book_init(&b);
	if (store_load_book(&b, folder, &faults)) {
		done = LOADED;
		*told = work_on(&b, &err, &done);
		if (*told)
			done = ALL;
		else
			*told = err.cls != ERR_NONE && err.text[0];
	} else {
		*told = faults.total > 0;
	}
	book_free(&b);
	faults_free(&faults);
	return done;
}

static bool is_text(const char *text, size_t size)
{
	size_t len;
	char *bytes = test_slurp(sheet, &len);
	bool same = len == size && memcmp(bytes, text, size) == 0;

	free(bytes);
	return same;
}

/* One walk with the k-th allocation failing; true when nothing failed any more. */
static bool fail_at(long k, bool lasting, int *stopped)
{
	enum step done;
	bool told;
	long live;

	test_write(sheet, old_text, old_size);
	live = mem.live;
	n_gsl_blocks = 0; /* those of the walk before are lost, not freed */
	mem.at = k;
	mem.lasting = lasting;
	mem.made = mem.failed = 0;
	mem.armed = true;
	done = run_all(&told);
	mem.armed = false; /* Check allocates too */
	ck_assert_msg(told, "allocation %ld: stopped without a word", k);
#ifdef TL_SANITIZED
	live = mem.live; /* the leak checker counts; strdup() and realpath() are not ours to count
			    here */
#endif
	ck_assert_msg(mem.live == live, "allocation %ld%s: %ld not freed", k, lasting ? "+" : "",
		mem.live - live);
	if (done >= SAVED)
		ck_assert_msg(is_text(new_text, new_size), "allocation %ld: saved, and not new", k);
	else if (done < JOURNALLED)
		ck_assert_msg(is_text(old_text, old_size), "allocation %ld: not old", k);
	else
		ck_assert_msg(is_text(old_text, old_size) || is_text(new_text, new_size),
			"allocation %ld: neither old nor new", k);
	stopped[done]++;
	return mem.failed == 0;
}

static void walk(bool lasting)
{
	int stopped[ALL + 1] = {0};
	long k = 1, tried = 0, stride = 1;
	bool told;

	/* Once to know the new text, and to let libraries make what they keep. */
	ck_assert_int_eq(run_all(&told), ALL);
	new_text = test_slurp(sheet, &new_size);
	ck_assert_ptr_nonnull(strstr(new_text, "front-wing: 8.5 # kept"));
	ck_assert_ptr_nonnull(strstr(new_text, "locks: [wing]"));
	fail_at(1L << 60, false, stopped);
	stopped[ALL] = 0;
	if (!test_long() && mem.made > (test_quick() ? 200 : 1000))
		stride = mem.made / (test_quick() ? 200 : 1000);
	long all = mem.made;
	while (!fail_at(k, lasting, stopped)) {
		tried++;
		/* Another remainder each time round would need more rounds; steps vary instead. */
		k += stride > 1 ? 1 + (k * 7919) % (2 * stride - 1) : 1;
	}
	printf("allocations failing %s: %ld of %ld tried; stopped while loading %d, editing %d, "
	       "journalling %d, saving %d, fitting %d, deciding %d; went through %d\n",
		lasting ? "from the k-th on" : "once", tried, all, stopped[0], stopped[LOADED],
		stopped[EDITED], stopped[JOURNALLED], stopped[SAVED], stopped[FITTED],
		stopped[ALL]);
	ck_assert_int_gt(stopped[0], 0);
}

START_TEST(one_allocation_fails)
{
	walk(false);
}
END_TEST

START_TEST(all_allocations_fail_from_one_on)
{
	walk(true);
}
END_TEST

/* Load, fit and verify a book that borrows; *got: all went through. False: stopped without a word.
 */
static bool borrow_all(bool *got, bool *classes)
{
	struct faults faults;
	struct book b;
	struct err err;
	bool told;

	err_clear(&err);
	faults_init(&faults);
	book_init(&b);
	*got = *classes = false;
	if (store_load_book(&b, folder, &faults)) {
		struct model *m = model_new(&b, &err);
		struct verify *v = m ? verify_new(&b, 1, &err) : NULL;
		*got = v != NULL;
		*classes = m && m->borrowing && m->borrowing->prior[RESPONSE_TIME].n_classed == 1;
		told = v || (err.cls != ERR_NONE && err.text[0]);
		verify_free(v);
		model_free(m);
	} else {
		told = faults.total > 0;
	}
	book_free(&b);
	faults_free(&faults);
	return told;
}

START_TEST(borrowing_without_memory)
{
	bool got, classes;
	long all = 0, tried = 0, fits = 0;

	small_book_borrowing(folder);
	ck_assert(borrow_all(&got, &classes) && got);
	ck_assert(classes);
	for (long k = 1L << 60; k > 0;) {
		const long live = mem.live;
		n_gsl_blocks = 0;
		mem.at = k;
		mem.lasting = false;
		mem.made = mem.failed = 0;
		mem.armed = true;
		const bool told = borrow_all(&got, &classes);
		mem.armed = false;
		ck_assert_msg(told, "allocation %ld: stopped without a word", k);
#ifndef TL_SANITIZED
		ck_assert_msg(
			mem.live == live, "allocation %ld: %ld not freed", k, mem.live - live);
#else
		(void)live;
#endif
		fits += got;
		tried++;
		if (!all) {
			all = mem.made;
			k = 0;
		} else if (mem.failed == 0) {
			break;
		}
		const long stride = test_long() ? 1 : 1 + all / (test_quick() ? 200 : 1000);
		k += stride > 1 ? 1 + (k * 7919) % (2 * stride - 1) : 1;
	}
	printf("borrowing: %ld of %ld tried, %ld went through\n", tried, all, fits);
	ck_assert_int_lt(fits, tried);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("memory");
	TCase *c = tcase_create("memory");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 900);
	tcase_add_test(c, one_allocation_fails);
	tcase_add_test(c, all_allocations_fail_from_one_on);
	tcase_add_test(c, borrowing_without_memory);
	suite_add_tcase(s, c);
	return s;
}
