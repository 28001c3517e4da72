#include "support/doors.h"

#include "store/host.h"
#include "store/import.h"
#include "store/journal.h"
#include "store/lock.h"
#include "store/patch.h"
#include "store/plan_file.h"
#include "store/save_parts.h"
#include "store/store.h"
#include "support/shim.h"
#include "support/small_book.h"
#include "support/support.h"
#include "support/tree.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <sys/xattr.h>
#include <unistd.h>

char *door_folder;
struct err door_err;
bool door_told;
uid_t door_owner;
#define folder door_folder
#define err door_err
#define told door_told

static char path[4096], second[4096], csv[4096];
static char beside[4200], own[4200]; /* the journal */
static struct tree pristine;
static struct book book, rich;
static pid_t dead;
static struct stamp stamp;
static struct sheet changed;
static struct run changed_run;
static struct plan *plan;
static unsigned acknowledged; /* edits that the journal has, a bit each */
static unsigned next_edit;

/* --- the fixture --- */

void doors_afresh(void)
{
	book_free(&rich);
	book_init(&rich);
	sheet_free(&changed);
	run_free(&changed_run);
	memset(&changed, 0, sizeof changed);
	memset(&changed_run, 0, sizeof changed_run);
	acknowledged = next_edit = 0;
	err_clear(&err);
	told = false;
	tree_restore(&pristine, folder, door_owner);
}

void doors_setup(void)
{
	struct faults faults;
	char *real;

	folder = test_folder();
	snprintf(path, sizeof path, "%s/sheets/base.yaml", folder);
	snprintf(second, sizeof second, "%s/sheets/second", folder);
	snprintf(csv, sizeof csv, "%s/in.csv", folder);
	snprintf(beside, sizeof beside, "%s/sheets/.base.yaml.journal", folder);
	setenv("XDG_STATE_HOME", folder, 1);
	setenv("LOGNAME", "anna", 1);
	small_book_write(folder);
	tree_take(&pristine, folder);
	real = realpath(path, NULL);
	ck_assert_ptr_nonnull(real);
	snprintf(own, sizeof own, "%s/treadlight/%016" PRIx64 ".base.yaml.journal", folder,
		hash_bytes(real, strlen(real)));
	free(real);
	door_owner = geteuid();
	faults_init(&faults);
	book_init(&book);
	book_init(&rich);
	ck_assert(store_load_book(&book, folder, &faults));
	dead = fork();
	if (dead == 0)
		_exit(0);
	ck_assert_int_eq(waitpid(dead, NULL, 0), dead);
}

void doors_teardown(void)
{
	sheet_free(&changed);
	run_free(&changed_run);
	plan_free(plan);
	plan = NULL;
	memset(&changed, 0, sizeof changed);
	memset(&changed_run, 0, sizeof changed_run);
	book_free(&book);
	book_free(&rich);
	tree_free(&pristine);
	test_remove(folder);
	free(folder);
}
/* --- the jobs --- */

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
	if (link(path, second) != 0) /* FAT: then it is replaced once more */
		printf("SKIPPED here: what needs hard links\n");
	read_stamp();
}

static bool run_aside(void)
{
	char *kept;
	const bool ok = save_aside(path, &stamp, &kept, &err);

	free(kept);
	return by_err(ok);
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
		temp_name(&j, j.name, kinds[i], i == 1 ? stamp.hash : 78, name);
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
	prepare_journal();
	ck_assert_int_eq(truncate(beside, 20), 0);
}

/* Edit after edit, whatever became of the one before; what was acknowledged must be found again. */
static bool run_edits(void)
{
	bool ok, all = true, words = true;
	struct journal j;

	if (!journal_open(&j, path, &stamp, &err))
		return by_err(false);
	for (unsigned end = next_edit + 6; next_edit < end; next_edit++) {
		char text[2] = {(char)('A' + next_edit), 0};
		struct change c = {"values.front-wing", text};
		err_clear(&err);
		ok = journal_append(&j, &c, 1, &err);
		words = words && (ok || by_err(true)) && (ok || told);
		acknowledged |= ok ? 1U << next_edit : 0;
		all = all && ok;
		if (next_edit % 2 == 0)
			continue;
		err_clear(&err);
		ok = journal_sync(&j, &err);
		words = words && (ok || by_err(true)) && (ok || told);
		all = all && ok;
	}
	journal_close(&j);
	told = words;
	return all;
}

/* A system that says "no such thing" of what is there: then nobody can find it. */
static bool lied(void)
{
	static const int codes[] = {ENOENT, ENOTDIR, EACCES, ENAMETOOLONG, ELOOP};

	for (size_t i = 0; i < sizeof codes / sizeof *codes; i++)
		if (shim.first.code == codes[i] || shim.second.code == codes[i])
			return true;
	return false;
}

static unsigned edits_in(const struct recovery *r)
{
	unsigned found = 0;

	for (size_t i = 0; i < r->n_changes; i++)
		found |= 1U << (r->changes[i].value[0] - 'A');
	return found;
}

static unsigned edits_of_file(const char *name)
{
	struct recovery r;
	unsigned found;
	size_t size;
	char *bytes;

	if (access(name, F_OK) != 0)
		return 0;
	bytes = test_slurp(name, &size);
	ck_assert(journal_parse(bytes, size, &r, NULL));
	free(bytes);
	found = edits_in(&r);
	recovery_free(&r);
	return found;
}

static const char *check_edits(void)
{
	struct recovery r = {0};
	unsigned found = 0;

	do {
		if (!journal_recover_next(path, &stamp, &r, &err)) {
			recovery_free(&r);
			return "the journal cannot be read";
		}
		found |= edits_in(&r);
	} while (r.found);
	if (lied())
		found |= edits_of_file(beside) | edits_of_file(own);
	return (found & acknowledged) == acknowledged ? NULL : "an edit is lost from the journal";
}

/* A journal that was begun in the user's own folder, the sheet's being closed at that time. */
static void prepare_own_journal(void)
{
	char *slash = strrchr(own, '/');

	read_stamp();
	ck_assert(run_edits() && acknowledged == 63);
	*slash = '\0';
	ck_assert_int_eq(mkdir(own, 0700), 0);
	*slash = '/';
	ck_assert_int_eq(rename(beside, own), 0);
}

/* Found, or it is told that it could not be looked for. */
static bool run_recover_own(void)
{
	struct recovery r;
	bool ok = journal_recover(path, &stamp, &r, &err), found = ok && r.found;

	recovery_free(&r);
	by_err(ok);
	told = told || (ok && lied());
	return found;
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
	struct recovery r;
	bool ok = journal_recover(path, &stamp, &r, &err) && journal_drop(&r, &err);

	recovery_free(&r);
	return by_err(ok);
}

/* Go on with the edits of a session that ended; what it had and what is added is found again. */
static bool run_adopt(void)
{
	struct change more = {"values.front-wing", "Z"};
	struct recovery r;
	struct journal j;
	bool ok = journal_recover(path, &stamp, &r, &err);

	if (ok && r.found) {
		ok = journal_adopt(&j, path, &stamp, &r, &err);
		if (ok && (ok = journal_append(&j, &more, 1, &err)))
			acknowledged |= 1U << ('Z' - 'A');
		journal_close(&j);
	}
	recovery_free(&r);
	return by_err(ok);
}

/* The file was read anew under the edits. */
static bool run_rebase(void)
{
	struct change change = {"values.front-wing", "G"};
	struct stamp other = stamp;
	struct journal j;
	bool ok;

	other.hash++;
	acknowledged = 0;
	if (!journal_open(&j, path, &stamp, &err))
		return by_err(false);
	ok = journal_append(&j, &change, 1, &err);
	acknowledged = ok ? 64 : 0;
	ok = ok && journal_rebase(&j, &other, &change, 1, &err);
	journal_close(&j);
	return by_err(ok);
}

static void prepare_edits(void)
{
	read_stamp();
	ck_assert(run_edits() && acknowledged == 63);
	acknowledged = 1U << 5; /* the last of the values; the others are of no more use */
}

static void prepare_edits_of_other(void)
{
	prepare_edits();
	stamp.hash++;
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

/* A link, or a file where there are no links, as the store does. */
static void lay_lock(const char *text, const char *at)
{
	if (symlink(text, at) != 0)
		test_write(at, text, strlen(text));
}

static void prepare_stale_lock(void)
{
	char text[256], host[128], at[4200];

	host_name(host, sizeof host);
	snprintf(text, sizeof text, "anna@%s.%ld:%lld", host, (long)dead, (long long)boot_time());
	snprintf(at, sizeof at, "%s/sheets/.#base.yaml", folder);
	lay_lock(text, at);
}

/* Somebody's, of another machine. */
static void prepare_held_lock(void)
{
	char at[4200];

	snprintf(at, sizeof at, "%s/sheets/.#base.yaml", folder);
	lay_lock("zoe@far.example.12:99", at);
}

static bool run_take_over(void)
{
	struct lock l;
	struct lock_owner who;
	enum lock_state got;

	lock_init(&l);
	if (!lock_owner(path, &who)) {
		told = true;
		return false;
	}
	got = lock_take_over(&l, path, &who, &err);
	lock_release(&l);
	told = got == LOCK_HELD || err.cls != ERR_NONE;
	return got == LOCK_TAKEN;
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

/* One that is larger than may be, and one whose size nobody knows before it is read. */
static void prepare_large(void)
{
	memset(big, 'x', sizeof big - 1);
	test_write(second, big, sizeof big - 1);
}

static bool run_large(void)
{
	char *bytes;
	size_t size;

	if (file_read(second, 50000, &bytes, &size, NULL, &err)) {
		free(bytes);
		return by_err(false);
	}
	if (!strstr(err.text, "larger than 50000 bytes"))
		return by_err(false);
	err_clear(&err);
	if (!file_read("/proc/self/smaps", 1 << 22, &bytes, &size, NULL, &err))
		return by_err(false);
	free(bytes);
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

/* As the workbench saves. */
static void prepare_open_sheet(void)
{
	prepare_sheet();
	read_stamp();
}

static bool run_save_sheet_at(void)
{
	return by_outcome(store_save_sheet_at(&book, &book.sheets[0], &changed, &stamp, &err));
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

/* A run with a figure of every kind, and a correction of every kind. */
static void prepare_rich(const char *laps)
{
	char text[900], at[4200];
	struct faults faults;

	snprintf(text, sizeof text,
		"kind: run\nversion: 1\ndate: 2026-03-14T10:20\nsheet: base\ndriver: a\n"
		"values: {front-wing: 8, rear-wing: 14, bias: 54}\nfuel: 20\ntrack-temp: 30\n"
		"worn-at-start: {front: 10}\nlaps:%s\nnotes: wet\n",
		laps);
	snprintf(at, sizeof at, "%s/runs/r00.yaml", folder);
	test_write(at, text, strlen(text));
	faults_init(&faults);
	ck_assert(store_load_book(&rich, folder, &faults));
	ck_assert(run_copy(&changed_run, &rich.runs[0]));
	struct run *r = &changed_run;
	r->laps = realloc(r->laps, (r->n_laps + 1) * sizeof *r->laps);
	ck_assert_ptr_nonnull(r->laps);
	r->laps[r->n_laps++] = (struct lap){.time = 95.5};
	r->laps[0].time = 92.5;
	r->laps[0].effort = 98;
	r->laps[0].worn[0] = 11.5;
	strcpy(r->laps[1].skip, "rain");
	r->laps[2].has_effort = true;
	r->laps[2].effort = 99;
	r->fuel.v = 21;
	r->track_temp.has = false;
	r->laps[0].wear[1] = 2.5;
	r->worn_at_start[0] = 9;
	r->values[0] += FIX_ONE;
	r->notes[0] = '\0';
	strcpy(r->driver, "b");
}

static void prepare_correction(void)
{
	prepare_rich("\n  - {time: \"1:31.243\", wear: {rear: 2.4}, worn: {front: 11}, effort: 97} "
		     "# kept\n"
		     "  - {time: 91.5, worn: {front: 12}, skip: traffic}\n  - {time: 92}");
}

/* Its list of laps cannot grow in place. */
static void prepare_anew(void)
{
	prepare_rich(" [{time: 91, wear: {rear: 2.4}, worn: {front: 11}, effort: 97}, {time: 91, "
		     "skip: traffic}, "
		     "{time: 92}]");
}

static bool run_correction(void)
{
	return by_err(store_save_run(&rich, &rich.runs[0], &changed_run, &err));
}

/* Another sheet is the reference. */
static void prepare_reference(void)
{
	char at[4200], *text, *name;
	size_t size;

	snprintf(at, sizeof at, "%s/book.yaml", folder);
	text = test_slurp(at, &size);
	name = strstr(text, "reference: base");
	ck_assert_ptr_nonnull(name);
	memcpy(name + strlen("reference: "), "fast", 4);
	test_write(at, text, size);
	free(text);
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

static void prepare_plan(void)
{
	struct plan_options o = {.kind = PLAN_ONE_AT_A_TIME, .base = &book.sheets[0]};

	if (plan) /* it takes long to make */
		return;
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
	return by_err(store_tick_plan(&book, 0, NULL, "r00", &err));
}

/* Two runs as planned: one file, both or none. */
static bool run_tick_runs(void)
{
	struct plan_tick ticks[2];
	struct run runs[2];
	size_t left;
	bool ok = true;

	for (size_t i = 0; i < 2; i++) {
		run_init(&runs[i]);
		ok = run_copy(&runs[i], &book.runs[0]) && ok;
		snprintf(runs[i].id, sizeof runs[i].id, "t%zu", i);
		if (ok)
			memcpy(runs[i].values, plan->runs[i].values,
				runs[i].n_values * sizeof *runs[i].values);
	}
	if (!ok)
		err_memory(&err);
	ok = ok && store_tick_runs(&book, runs, 2, ticks, &left, &err);
	run_free(&runs[0]);
	run_free(&runs[1]);
	return by_err(ok);
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

const struct door doors[] = {
	{"replace", prepare_replace, run_replace, NULL, false, false},
	{"rewrite in place", prepare_in_place, run_replace, NULL, true, false},
	{"keep aside", read_stamp, run_aside, NULL, false, false},
	{"create", nothing, run_create, NULL, false, false},
	{"sweep", prepare_leftovers, run_replace, NULL, false, false},
	{"look for a torn file", prepare_leftovers, run_interrupted, NULL, false, false},
	{"journal", read_stamp, session, NULL, false, false},
	{"journal, going on", prepare_journal, session, NULL, false, false},
	{"journal, torn head", prepare_torn_journal, session, NULL, false, false},
	{"journal, other base", prepare_other_journal, run_recover, NULL, false, false},
	{"journal, edits", read_stamp, run_edits, check_edits, false, false},
	{"journal, in the own folder", prepare_own_journal, run_edits, check_edits, false, false},
	{"recover, from the own folder", prepare_own_journal, run_recover_own, check_edits, false,
		false},
	{"recover", prepare_journal, run_recover, NULL, false, false},
	{"adopt", prepare_edits, run_adopt, check_edits, false, false},
	{"adopt, file changed", prepare_edits_of_other, run_adopt, check_edits, false, false},
	{"rebase", read_stamp, run_rebase, check_edits, false, false},
	{"forget", prepare_journal, run_forget, NULL, false, false},
	{"discard", prepare_journal, run_discard, NULL, false, false},
	{"squeeze", read_stamp, run_squeeze, NULL, false, true},
	{"lock", nothing, run_lock, NULL, false, false},
	{"lock, stale", prepare_stale_lock, run_lock, NULL, false, false},
	{"lock, taken over", prepare_held_lock, run_take_over, NULL, false, false},
	{"lock, whose", prepare_stale_lock, run_owner, NULL, false, false},
	{"read a large file", prepare_large, run_large, NULL, false, false},
	{"load a book", nothing, run_load, NULL, false, true},
	{"save a sheet", prepare_sheet, run_save_sheet, NULL, false, false},
	{"save an open sheet", prepare_open_sheet, run_save_sheet_at, NULL, false, false},
	{"new sheet", prepare_new_sheet, run_new_sheet, NULL, false, false},
	{"save a run", prepare_run, run_save_run, NULL, false, false},
	{"correct a run", prepare_correction, run_correction, NULL, false, false},
	{"write a run anew", prepare_anew, run_correction, NULL, false, false},
	{"new run", prepare_new_run, run_new_run, NULL, false, false},
	{"set the reference", prepare_reference, run_reference, NULL, false, false},
	{"import", prepare_csv, run_import, NULL, false, false},
	{"new book", nothing, run_new_book, NULL, false, true},
	{"profiles", nothing, run_profiles, NULL, false, false},
	{"save a plan", prepare_plan, run_save_plan, NULL, false, false},
	{"tick a plan", prepare_tick, run_tick, NULL, false, false},
	{"tick runs of a plan", prepare_tick, run_tick_runs, NULL, false, false},
	{"load a plan", prepare_tick, run_load_plan, NULL, false, false},
	{"strike a plan's run", prepare_tick, run_strike, NULL, false, false},
	{"drop a run", nothing, run_drop, NULL, false, false},
	{"return a run", prepare_dropped, run_return, NULL, false, false},
	{"load a book that borrows", prepare_borrow, run_borrow, NULL, false, true},
	{"patches", nothing, run_patches, NULL, false, false},
	{"bad documents", nothing, run_bad_documents, NULL, false, false},
};
const int n_doors = sizeof doors / sizeof *doors;
