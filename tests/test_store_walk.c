/*
 * Every door to files, with the k-th allocation or the k-th system call failing, for k rising until
 * everything goes through: once and from then on, in several ways. Nothing crashes or leaks, a
 * refusal says why, and each file of the book is as before or as after, never otherwise.
 *
 * The linker's --wrap puts the functions below between our code and the system. Syncing is left
 * out: what it is for, test_save_faults.c and test_save_shim.c look at.
 */
#include "store/host.h"
#include "store/import.h"
#include "store/journal.h"
#include "store/lock.h"
#include "store/patch.h"
#include "store/plan_file.h"
#include "store/save_parts.h"
#include "store/store.h"
#include "support/savetool.h"
#include "support/small_book.h"
#include "support/support.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <sys/xattr.h>
#include <unistd.h>

/* --- what fails --- */

enum kind { MEMORY, CALLS };
static struct {
	bool armed, lasting;
	enum kind kind;
	int code;
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
	errno = kind == MEMORY ? ENOMEM : sys.code;
	return true;
}

#define WRAP_ANY(kind, type, bad, name, params, args)                                              \
	type __real_##name params;                                                                 \
	type __wrap_##name params;                                                                 \
	type __wrap_##name params                                                                  \
	{                                                                                          \
		return fails(kind) ? (bad) : __real_##name args;                                   \
	}
#define WRAP(name, params, args) WRAP_ANY(CALLS, int, -1, name, params, args)
#define WRAP_SIZE(name, params, args) WRAP_ANY(CALLS, ssize_t, -1, name, params, args)

WRAP(fstat, (int fd, struct stat *st), (fd, st))
WRAP(stat, (const char *path, struct stat *st), (path, st))
WRAP(lstat, (const char *path, struct stat *st), (path, st))
WRAP(fstatat, (int fd, const char *path, struct stat *st, int flags), (fd, path, st, flags))
WRAP_SIZE(read, (int fd, void *bytes, size_t n), (fd, bytes, n))
WRAP_SIZE(write, (int fd, const void *bytes, size_t n), (fd, bytes, n))
WRAP(renameat, (int a, const char *from, int b, const char *to), (a, from, b, to))
WRAP(renameat2, (int a, const char *from, int b, const char *to, unsigned flags),
	(a, from, b, to, flags))
WRAP(rename, (const char *from, const char *to), (from, to))
WRAP(unlinkat, (int fd, const char *path, int flags), (fd, path, flags))
WRAP(unlink, (const char *path), (path))
WRAP(rmdir, (const char *path), (path))
WRAP(mkdir, (const char *path, mode_t mode), (path, mode))
WRAP(linkat, (int a, const char *from, int b, const char *to, int flags), (a, from, b, to, flags))
WRAP(symlink, (const char *text, const char *path), (text, path))
WRAP_SIZE(readlink, (const char *path, char *text, size_t size), (path, text, size))
WRAP(ftruncate, (int fd, off_t size), (fd, size))
WRAP(fallocate, (int fd, int mode, off_t from, off_t size), (fd, mode, from, size))
WRAP(fchmod, (int fd, mode_t mode), (fd, mode))
WRAP(fchown, (int fd, uid_t uid, gid_t gid), (fd, uid, gid))
WRAP_SIZE(flistxattr, (int fd, char *list, size_t size), (fd, list, size))
WRAP_SIZE(fgetxattr, (int fd, const char *name, void *value, size_t size), (fd, name, value, size))
WRAP(fsetxattr, (int fd, const char *name, const void *value, size_t size, int flags),
	(fd, name, value, size, flags))
WRAP(fremovexattr, (int fd, const char *name), (fd, name))
WRAP(flock, (int fd, int how), (fd, how))
WRAP(faccessat, (int fd, const char *path, int mode, int flags), (fd, path, mode, flags))
WRAP(access, (const char *path, int mode), (path, mode))
WRAP(gethostname, (char *name, size_t size), (name, size))
WRAP_ANY(CALLS, off_t, -1, lseek, (int fd, off_t at, int from), (fd, at, from))
WRAP_ANY(CALLS, DIR *, NULL, opendir, (const char *path), (path))
WRAP_ANY(CALLS, DIR *, NULL, fdopendir, (int fd), (fd))

int __real_close(int fd);
int __wrap_close(int fd);
int __wrap_close(int fd)
{
	bool bad = fails(CALLS);
	int code = errno;

	__real_close(fd);
	errno = code;
	return bad ? -1 : 0;
}

int __wrap_fsync(int fd);
int __wrap_fsync(int fd)
{
	(void)fd;
	return fails(CALLS) ? -1 : 0;
}

int __real_open(const char *path, int flags, ...);
int __wrap_open(const char *path, int flags, ...);
int __wrap_open(const char *path, int flags, ...)
{
	va_list ap;
	mode_t mode;

	va_start(ap, flags);
	mode = flags & O_CREAT ? va_arg(ap, mode_t) : 0;
	va_end(ap);
	return fails(CALLS) ? -1 : __real_open(path, flags, mode);
}

int __real_openat(int fd, const char *path, int flags, ...);
int __wrap_openat(int fd, const char *path, int flags, ...);
int __wrap_openat(int fd, const char *path, int flags, ...)
{
	va_list ap;
	mode_t mode;

	va_start(ap, flags);
	mode = flags & O_CREAT ? va_arg(ap, mode_t) : 0;
	va_end(ap);
	return fails(CALLS) ? -1 : __real_openat(fd, path, flags, mode);
}

static void *counted(void *p)
{
	sys.live += p != NULL;
	return p;
}

#define WRAP_MEMORY(type, name, params, args)                                                      \
	type __real_##name params;                                                                 \
	type __wrap_##name params;                                                                 \
	type __wrap_##name params                                                                  \
	{                                                                                          \
		return fails(MEMORY) ? NULL : counted(__real_##name args);                         \
	}
WRAP_MEMORY(void *, malloc, (size_t n), (n))
WRAP_MEMORY(void *, calloc, (size_t n, size_t size), (n, size))
WRAP_MEMORY(char *, strdup, (const char *text), (text))

char *__real_realpath(const char *path, char *out);
char *__wrap_realpath(const char *path, char *out);
char *__wrap_realpath(const char *path, char *out)
{
	return fails(MEMORY) || fails(CALLS) ? NULL : counted(__real_realpath(path, out));
}

void *__real_realloc(void *old, size_t n);
void *__wrap_realloc(void *old, size_t n);
void *__wrap_realloc(void *old, size_t n)
{
	if (fails(MEMORY))
		return NULL;
	return old ? __real_realloc(old, n) : counted(__real_realloc(old, n));
}

void __real_free(void *p);
void __wrap_free(void *p);
void __wrap_free(void *p)
{
	sys.live -= p != NULL;
	__real_free(p);
}

/* --- a book, and what becomes of its files --- */

static char *folder, path[4096], second[4096], csv[4096];
static struct book book;
static pid_t dead;

enum { MAX_FILES = 64 };
struct tree {
	size_t n;
	struct {
		char name[256];
		char *bytes;
		size_t size;
	} files[MAX_FILES];
};
static struct tree before, after;
static struct tree *filling;

static int add_file(const char *name, const struct stat *st, int flag, struct FTW *at)
{
	const char *base = name + at->base;

	(void)st;
	/* Hidden ones are ours, and kept ones are kept. */
	if (flag != FTW_F || base[0] == '.' || strstr(base, ".kept-") || strstr(base, ".journal"))
		return 0;
	ck_assert_uint_lt(filling->n, MAX_FILES);
	snprintf(filling->files[filling->n].name, sizeof filling->files->name, "%s",
		name + strlen(folder) + 1);
	filling->files[filling->n].bytes = test_slurp(name, &filling->files[filling->n].size);
	filling->n++;
	return 0;
}

static void take_tree(struct tree *t)
{
	t->n = 0;
	filling = t;
	nftw(folder, add_file, 16, FTW_PHYS);
	filling = NULL;
}

static void free_tree(struct tree *t)
{
	for (size_t i = 0; i < t->n; i++)
		free(t->files[i].bytes);
	t->n = 0;
}

static bool holds(const struct tree *t, const char *name, const char *bytes, size_t size)
{
	for (size_t i = 0; i < t->n; i++) {
		if (strcmp(t->files[i].name, name) == 0)
			return bytes && t->files[i].size == size &&
			       memcmp(t->files[i].bytes, bytes, size) == 0;
	}
	return !bytes;
}

/* The name of a file that is neither as before nor as after. */
static const char *find_other(const struct tree *now)
{
	for (size_t i = 0; i < now->n; i++) {
		if (!holds(&before, now->files[i].name, now->files[i].bytes, now->files[i].size) &&
			!holds(&after, now->files[i].name, now->files[i].bytes, now->files[i].size))
			return now->files[i].name;
	}
	for (size_t i = 0; i < before.n; i++) {
		if (holds(now, before.files[i].name, NULL, 0) &&
			!holds(&after, before.files[i].name, NULL, 0))
			return before.files[i].name;
	}
	return NULL;
}

static int drop(const char *name, const struct stat *st, int flag, struct FTW *at)
{
	(void)st;
	(void)flag;
	return at->level > 0 ? remove(name) : 0;
}

static void fresh_folder(void)
{
	nftw(folder, drop, 16, FTW_DEPTH | FTW_PHYS);
	small_book_write(folder);
}

static void setup(void)
{
	struct faults faults;

	folder = test_folder();
	snprintf(path, sizeof path, "%s/sheets/base.yaml", folder);
	snprintf(second, sizeof second, "%s/sheets/second", folder);
	snprintf(csv, sizeof csv, "%s/in.csv", folder);
	setenv("XDG_STATE_HOME", folder, 1);
	setenv("LOGNAME", "anna", 1);
	small_book_write(folder);
	faults_init(&faults);
	book_init(&book);
	ck_assert(store_load_book(&book, folder, &faults));
	dead = fork();
	if (dead == 0)
		_exit(0);
	ck_assert_int_eq(waitpid(dead, NULL, 0), dead);
}

static void teardown(void)
{
	book_free(&book);
	test_remove(folder);
	free(folder);
}

/* --- jobs: true if done, else `told` says whether there was a word about it --- */

static struct err err;
static struct stamp stamp;
static bool told;

static bool by_err(bool ok)
{
	told = err.cls != ERR_NONE && err.text[0];
	return ok;
}

static bool by_faults(bool ok, struct faults *faults)
{
	told = faults->total > 0;
	faults_free(faults);
	return ok;
}

static bool by_outcome(enum save_outcome got)
{
	return by_err(got == SAVE_DONE || got == SAVE_UNCONFIRMED);
}

static void read_stamp(void)
{
	char *bytes;
	size_t size;

	ck_assert(file_read(path, 1 << 20, &bytes, &size, &stamp, &err));
	free(bytes);
}

static void prepare_replace(void)
{
	if (setxattr(path, "user.origin", "x", 1, 0) == 0 && geteuid() == 0)
		ck_assert_int_eq(chown(path, 1234, 2345), 0);
	read_stamp();
}

static bool run_replace(void)
{
	return by_outcome(file_save(path, "kind: x\n", 8, &stamp, &err));
}

static void prepare_in_place(void)
{
	ck_assert_int_eq(link(path, second), 0);
	read_stamp();
}

static bool run_create(void)
{
	struct stamp none = {0};

	return by_outcome(file_save(second, "kind: x\n", 8, &none, &err));
}

static bool run_interrupted(void)
{
	char *copy;

	told = true;
	if (save_interrupted(path, &copy))
		free(copy);
	return true;
}

/* Leftovers of a dead process, one of each kind. */
static void prepare_leftovers(void)
{
	static const char *const kinds[] = {"new", "swap", "copy"};

	read_stamp();
	for (int i = 0; i < 3; i++) {
		struct job j = {.name = "base.yaml", .stamp = &stamp, .hash = 77};
		char name[TEMP_NAME], mine[32], at[4400], *cut;
		temp_name(&j, kinds[i], i == 1 ? stamp.hash : 78, name);
		snprintf(mine, sizeof mine, "-%ld-", (long)getpid());
		cut = strstr(name, mine);
		snprintf(at, sizeof at, "%s/sheets/%.*s-%ld-%s", folder, (int)(cut - name), name,
			(long)dead, cut + strlen(mine));
		test_write(at, "somebody's", 10);
	}
}

static bool session(void)
{
	struct change changes[] = {{"values.front-wing", "8.5"}, {"lo%cks=\n", "1"}};
	struct journal j;
	bool ok;

	if (!journal_open(&j, path, &stamp, &err))
		return by_err(false);
	ok = journal_append(&j, changes, 2, &err) && journal_append(&j, changes, 1, &err) &&
	     journal_sync(&j, &err);
	journal_close(&j);
	return by_err(ok);
}

static void prepare_journal(void)
{
	read_stamp();
	ck_assert(session());
}

static void prepare_other_journal(void)
{
	prepare_journal();
	stamp.hash++;
}

static void prepare_torn_journal(void)
{
	char name[4200];

	prepare_journal();
	snprintf(name, sizeof name, "%s/sheets/.base.yaml.journal", folder);
	ck_assert_int_eq(truncate(name, 20), 0);
}

static bool run_recover(void)
{
	struct recovery r;
	bool ok = journal_recover(path, &stamp, &r, &err);

	recovery_free(&r);
	return by_err(ok);
}

static bool run_forget(void)
{
	return by_err(journal_remove(path, &err));
}

static bool run_discard(void)
{
	struct journal j;

	return by_err(journal_open(&j, path, &stamp, &err) && journal_discard(&j, &err));
}

/* A journal that grows over its bound is squeezed. */
static char big[100001];

static bool run_squeeze(void)
{
	memset(big, 'x', sizeof big - 1);
	struct change c = {"values.front-wing", "8.5"};
	struct journal j;
	bool ok = journal_open(&j, path, &stamp, &err);

	if (!ok)
		return by_err(false);
	/* The eleventh is over the bound. */
	for (int i = 0; ok && i < 11; i++) {
		struct change filler = {"values.rear-wing", big};
		ok = journal_append(&j, &filler, 1, &err);
	}
	for (int i = 0; ok && i < 2; i++)
		ok = journal_append(&j, &c, 1, &err);
	ok = ok && journal_discard(&j, &err);
	journal_close(&j);
	return by_err(ok);
}

static bool run_lock(void)
{
	struct lock l;
	struct lock_owner who;
	enum lock_state got;

	lock_init(&l);
	got = lock_take(&l, path, &who, &err);
	lock_release(&l);
	told = got == LOCK_HELD || err.cls != ERR_NONE;
	return got == LOCK_TAKEN;
}

static void prepare_stale_lock(void)
{
	char text[256], host[128], at[4200];

	host_name(host, sizeof host);
	snprintf(text, sizeof text, "anna@%s.%ld:%lld", host, (long)dead, (long long)boot_time());
	snprintf(at, sizeof at, "%s/sheets/.#base.yaml", folder);
	ck_assert_int_eq(symlink(text, at), 0);
}

static bool run_owner(void)
{
	struct lock_owner who;
	char text[300];

	told = true;
	if (lock_owner(path, &who))
		lock_describe(&who, text, sizeof text);
	return true;
}

static bool run_load(void)
{
	struct faults faults;
	struct book b;
	bool ok;

	faults_init(&faults);
	book_init(&b);
	ok = store_load_book(&b, folder, &faults);
	book_free(&b);
	return by_faults(ok, &faults);
}

/* The change itself is made before anything fails. */
static struct sheet changed;
static struct run changed_run;

static void prepare_sheet(void)
{
	ck_assert(sheet_copy(&changed, &book.sheets[0]));
	changed.values[0] += FIX_ONE;
	changed.values[2] += FIX_ONE;
	changed.locked[0] = true;
	changed.frozen[1] = changed.frozen[2] = true;
}

static bool run_save_sheet(void)
{
	return by_err(store_save_sheet(&book, &book.sheets[0], &changed, &err));
}

static void prepare_new_sheet(void)
{
	prepare_sheet();
	snprintf(changed.id, sizeof changed.id, "fresh");
}

static bool run_new_sheet(void)
{
	return by_err(store_new_sheet(&book, &changed, &err));
}

static void prepare_run(void)
{
	ck_assert(run_copy(&changed_run, &book.runs[0]));
	changed_run.laps[0].time += 1;
	changed_run.n_laps--;
	free(changed_run.laps[changed_run.n_laps].skip);
}

static bool run_save_run(void)
{
	return by_err(store_save_run(&book, &book.runs[0], &changed_run, &err));
}

static void prepare_new_run(void)
{
	prepare_run();
	snprintf(changed_run.id, sizeof changed_run.id, "fresh");
}

static bool run_new_run(void)
{
	return by_err(store_new_run(&book, &changed_run, &err));
}

static bool run_reference(void)
{
	return by_err(store_set_reference(&book, "base", &err));
}

static void prepare_csv(void)
{
	static const char text[] =
		"run,sheet,date,driver,fuel,lap,time,effort,skip,wear-front,front-wing\n"
		"n1,base,2026-03-15T10:00,a,20,1,1:31.2,97,,2.4,9\nn1,base,,,,2,91.5,98,,2.5,\n"
		"\"n2\",base,2026-03-15T11:00,a,20,1,91.2,97,\"rain, a lot\",2.4,\n";

	test_write(csv, text, sizeof text - 1);
}

static bool run_import(void)
{
	struct faults faults;
	struct import in;
	bool ok;

	faults_init(&faults);
	ok = import_csv(&in, &book, csv, &faults);
	if (!ok)
		return by_faults(false, &faults);
	faults_free(&faults);
	ok = store_new_runs(&book, in.runs, in.n, &err);
	import_free(&in);
	return by_err(ok);
}

static bool run_new_book(void)
{
	struct book b = book;
	char dir[4200];

	snprintf(dir, sizeof dir, "%s/more", folder);
	b.dir = dir;
	return by_err(store_new_book(&b, &book.sheets[0], &err));
}

static bool run_profiles(void)
{
	char(*ids)[ID_SIZE];
	char *found;
	size_t n;

	if (!store_list_profiles(folder, "cars", &ids, &n)) {
		told = true; /* out of memory, as its header says */
		return false;
	}
	free(ids);
	found = store_find_profile(folder, "cars", "car", &err);
	free(found);
	return by_err(found != NULL);
}

static struct plan *plan;

static void prepare_plan(void)
{
	struct plan_options o = {.kind = PLAN_ONE_AT_A_TIME, .base = &book.sheets[0]};

	plan_free(plan);
	plan = plan_new(&book, &o, &err);
	ck_assert_msg(plan != NULL, "%s", err.text);
}

static bool run_save_plan(void)
{
	return by_err(store_save_plan(&book, plan, true, &err));
}

static void prepare_tick(void)
{
	prepare_plan();
	ck_assert(run_save_plan());
}

static bool run_tick(void)
{
	return by_err(store_tick_plan(&book, 0, "r00", &err));
}

static bool run_load_plan(void)
{
	struct faults faults;
	struct plan *p = NULL;
	bool ok;

	faults_init(&faults);
	ok = store_load_plan(&p, &book, &faults);
	plan_free(p);
	return by_faults(ok, &faults);
}

static bool run_strike(void)
{
	return by_err(store_strike_plan(&book, 1, plan->runs[1].values, &err));
}

static bool run_drop(void)
{
	return by_err(store_drop_run(&book, &book.runs[0], &err));
}

static void prepare_dropped(void)
{
	ck_assert_msg(run_drop(), "%s", err.text);
}

static bool run_return(void)
{
	return by_err(store_return_run(&book, &book.runs[0], &err));
}

/* A book that borrows from one beside it, read; and one that is told where to borrow. */
static void prepare_borrow(void)
{
	char other[4200], name[4300];
	size_t len;
	char *text;

	snprintf(other, sizeof other, "%s/other", folder);
	ck_assert_int_eq(mkdir(other, 0755), 0);
	small_book_write(other);
	snprintf(name, sizeof name, "%s/book.yaml", folder);
	text = test_slurp(name, &len);
	text = realloc(text, len + 80);
	ck_assert_ptr_nonnull(text);
	strcat(text, "borrow:\n  - {book: other, trust: 0.5, without: [wing, bias]}\n");
	test_write(name, text, strlen(text));
	free(text);
}

static bool run_borrow(void)
{
	struct faults faults;
	struct book b;
	char other[4200];
	const char *folders[] = {other};
	bool ok;

	snprintf(other, sizeof other, "%s/other", folder);
	faults_init(&faults);
	book_init(&b);
	ok = store_load_book(&b, folder, &faults);
	book_free(&b);
	book_init(&b);
	if (ok && store_load_book(&b, other, &faults)) {
		b.dir[strlen(folder)] = '\0'; /* a book as new as can be, there */
		ok = store_borrow(&b, folders, 1, &faults);
	} else {
		ok = false;
	}
	book_free(&b);
	return by_faults(ok, &faults);
}

/* Patches of many kinds, in memory. */
static bool patch_one(const struct doc *d, int what)
{
	static const char *const ids[] = {"wing", "on"}, *const place[] = {"values", NULL};
	struct patch p;
	char *out = NULL;
	size_t size;
	bool ok;

	patch_init(&p, d);
	switch (what) {
	case 0:
		ok = patch_member(
			&p, node_get(d->root, "values"), "a", PATCH_NUMBER, "8.5", NULL, &err);
		break;
	case 1:
		ok = patch_member(&p, d->root, "notes", PATCH_TEXT, "a: b", place, &err);
		break;
	case 2:
		ok = patch_ids(&p, d->root, "flow", ids, 2, place, &err);
		break;
	case 3:
		ok = patch_ids(&p, d->root, "block", ids, 2, place, &err);
		break;
	case 4:
		ok = patch_ids(&p, d->root, "block", ids, 0, place, &err);
		break;
	case 5:
		ok = patch_ids(&p, d->root, "absent", ids, 2, place, &err);
		break;
	case 6:
		ok = patch_ids(&p, d->root, "none", ids, 1, place, &err);
		break;
	case 7:
		ok = patch_ids(&p, d->root, "flow", ids, 0, place, &err);
		break;
	case 8:
		ok = patch_raw(&p, node_get(d->root, "block"), "- q", &err);
		break;
	default:
		ok = patch_member(
			&p, d->root, "name", PATCH_TEXT, "it's \xe2\x80\xae\n", place, &err);
	}
	ok = patch_apply(&p, &out, &size, &err) && ok;
	free(out);
	patch_free(&p);
	return ok;
}

static bool run_patches(void)
{
	static const char text[] = "kind: sheet\nvalues: {a: 1, b: 2}\nflow: [wing, x]\nblock:\n"
				   "- wing # c\n- y\nnone:\nname: '\xe6\x97\xa5'\n";
	struct faults faults;
	struct doc d;
	bool ok = true;

	faults_init(&faults);
	if (!doc_parse(&d, text, sizeof text - 1, "f", &faults))
		return by_faults(false, &faults);
	for (int i = 0; ok && i < 10; i++)
		ok = patch_one(&d, i);
	doc_free(&d);
	faults_free(&faults);
	return by_err(ok);
}

static bool run_bad_documents(void)
{
	static const char *const texts[] = {"a: \"", "a: 1\na: 2\n", "[[[[[[[[[[[[[[[[[[", "*a",
		"a: \xff", "\xe6\x97\xa5: !x 1\n", "? [a]\n", "--- a\n--- b\n", ""};
	bool ok = true;

	told = true;
	for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
		struct faults faults;
		struct doc d;
		faults_init(&faults);
		ok = !doc_parse(&d, texts[i], strlen(texts[i]), "f", &faults) && faults.total > 0 &&
		     ok;
		doc_free(&d);
		faults_free(&faults);
	}
	return ok;
}

static void nothing(void)
{
}

static const struct job_row {
	const char *name;
	void (*prepare)(void);
	bool (*run)(void);
	bool may_tear; /* rewritten in place: told as damaged, or nothing */
	bool long_one;
} jobs[] = {
	{"replace", prepare_replace, run_replace, false, false},
	{"rewrite in place", prepare_in_place, run_replace, true, false},
	{"create", nothing, run_create, false, false},
	{"sweep", prepare_leftovers, run_replace, false, false},
	{"look for a torn file", prepare_leftovers, run_interrupted, false, false},
	{"journal", read_stamp, session, false, false},
	{"journal, going on", prepare_journal, session, false, false},
	{"journal, torn head", prepare_torn_journal, session, false, false},
	{"journal, other base", prepare_other_journal, run_recover, false, false},
	{"recover", prepare_journal, run_recover, false, false},
	{"forget", prepare_journal, run_forget, false, false},
	{"discard", prepare_journal, run_discard, false, false},
	{"squeeze", read_stamp, run_squeeze, false, false},
	{"lock", nothing, run_lock, false, false},
	{"lock, stale", prepare_stale_lock, run_lock, false, false},
	{"lock, whose", prepare_stale_lock, run_owner, false, false},
	{"load a book", nothing, run_load, false, true},
	{"save a sheet", prepare_sheet, run_save_sheet, false, false},
	{"new sheet", prepare_new_sheet, run_new_sheet, false, false},
	{"save a run", prepare_run, run_save_run, false, false},
	{"new run", prepare_new_run, run_new_run, false, false},
	{"set the reference", nothing, run_reference, false, false},
	{"import", prepare_csv, run_import, false, false},
	{"new book", nothing, run_new_book, false, true},
	{"profiles", nothing, run_profiles, false, false},
	{"save a plan", prepare_plan, run_save_plan, false, false},
	{"tick a plan", prepare_tick, run_tick, false, false},
	{"load a plan", prepare_tick, run_load_plan, false, false},
	{"strike a plan's run", prepare_tick, run_strike, false, false},
	{"drop a run", nothing, run_drop, false, false},
	{"return a run", prepare_dropped, run_return, false, false},
	{"load a book that borrows", prepare_borrow, run_borrow, false, true},
	{"patches", nothing, run_patches, false, false},
	{"bad documents", nothing, run_bad_documents, false, false},
};
enum { JOBS = sizeof jobs / sizeof *jobs };

/* --- the walk --- */

static void forget_changes(void)
{
	sheet_free(&changed);
	run_free(&changed_run);
	memset(&changed, 0, sizeof changed);
	memset(&changed_run, 0, sizeof changed_run);
}

static bool once(const struct job_row *job, long k, long *live)
{
	bool ok;

	fresh_folder();
	forget_changes();
	job->prepare();
	*live = sys.live;
	err_clear(&err);
	told = false;
	sys.at = k;
	sys.made = sys.failed = 0;
	sys.armed = true;
	ok = job->run();
	sys.armed = false; /* Check allocates too */
	return ok;
}

/* True when nothing failed any more. */
static bool fail_at(const struct job_row *job, long k)
{
	struct tree now;
	const char *other;
	long live;
	bool ok;

	ok = once(job, k, &live);
	ck_assert_msg(sys.live == live, "%s, %s %ld%s (%s): %ld not freed", job->name,
		sys.kind == MEMORY ? "allocation" : "call", k, sys.lasting ? "+" : "",
		strerror(sys.code), sys.live - live);
	ck_assert_msg(ok || told, "%s, %s %ld%s (%s): refused without a word", job->name,
		sys.kind == MEMORY ? "allocation" : "call", k, sys.lasting ? "+" : "",
		strerror(sys.code));
	take_tree(&now);
	other = find_other(&now);
	if (other && !(job->may_tear && strstr(err.text, "is damaged")))
		ck_abort_msg("%s, %s %ld%s (%s): %s is neither as before nor as after", job->name,
			sys.kind == MEMORY ? "allocation" : "call", k, sys.lasting ? "+" : "",
			strerror(sys.code), other);
	free_tree(&now);
	return sys.failed == 0;
}

static void walk(const struct job_row *job, enum kind kind, int code, bool lasting, long *tried)
{
	sys.kind = kind;
	sys.code = code;
	sys.lasting = lasting;
	/* The long run takes every one, make check every third, the checks before a landing every
	 * eleventh. */
	for (long k = 1; !fail_at(job, k); k += test_long() ? 1 : test_quick() ? 11 : 3)
		++*tried;
}

START_TEST(every_door_fails_at_every_step)
{
	/* The first seven always. */
	static const int codes[] = {EIO, EACCES, EINTR, ENOENT, ENOSPC, ENOTSUP, EEXIST, EPERM,
		EROFS, EINVAL, ENOSYS, ENOTDIR, EDQUOT, EFBIG, ELOOP};
	const struct job_row *job = &jobs[_i];
	long memory = 0, calls = 0, live;

	fresh_folder();
	job->prepare();
	take_tree(&before);
	sys.kind = CALLS;
	ck_assert_msg(once(job, 1L << 60, &live), "%s: %s", job->name, err.text);
	take_tree(&after);
	walk(job, MEMORY, ENOMEM, false, &memory);
	walk(job, MEMORY, ENOMEM, true, &memory);
	for (size_t i = 0; i < sizeof codes / sizeof *codes; i++) {
		if (i > 6 && !test_long())
			break;
		/* A book of a dozen files is read over and over: two ways to fail will do. */
		if (i > 1 && job->long_one && !test_long())
			break;
		walk(job, CALLS, codes[i], false, &calls);
		/* A signal does not interrupt for ever. */
		if (codes[i] != EINTR && (test_long() || i == 0))
			walk(job, CALLS, codes[i], true, &calls);
	}
	printf("%s: %ld allocations and %ld calls failed\n", job->name, memory, calls);
	forget_changes();
	plan_free(plan);
	free_tree(&before);
	free_tree(&after);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("every door");
	TCase *c = tcase_create("walk");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 600);
	tcase_add_loop_test(c, every_door_fails_at_every_step, 0, JOBS);
	suite_add_tcase(s, c);
	return s;
}
