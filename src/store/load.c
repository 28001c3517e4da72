/* A book's folder, and single profiles. */
#include "base/share.h"
#include "store/load.h"
#include "store/path.h"
#include "store/read.h"
#include "store/store.h"

#include <dirent.h>
#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void add_memory(struct faults *f, const char *path)
{
	struct err e;
	err_clear(&e);
	err_memory(&e);
	err_at(&e, path, 0, 0);
	faults_add(f, &e);
}

static void ERR_PRINTF(3, 4) add_fault(struct faults *f, const char *path, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	faults_vadd(f, path, 0, 0, fmt, ap);
	va_end(ap);
}

/* The file names of a folder that are ids, sorted. */
struct ids {
	char (*id)[ID_SIZE];
	size_t n, cap;
};

static bool ids_add(struct ids *ids, const char *name, size_t len)
{
	if (ids->n == ids->cap) {
		size_t cap = ids->cap ? 2 * ids->cap : 64;
		void *grown = realloc(ids->id, cap * sizeof *ids->id);
		if (!grown)
			return false;
		ids->id = grown;
		ids->cap = cap;
	}
	memcpy(ids->id[ids->n], name, len);
	ids->id[ids->n++][len] = '\0';
	return true;
}

static bool ends_with(const char *name, size_t len, const char *end)
{
	size_t n = strlen(end);
	return len > n && memcmp(name + len - n, end, n) == 0;
}

/*
 * Editors' backups, locks and temporaries (.name, name~, #name#) and anything not called
 * .yaml are none of ours; a .yml is taken for a slip and told.
 */
static bool take_name(struct ids *ids, const char *folder, const char *name, struct faults *f)
{
	size_t len = strlen(name);
	if (name[0] == '.' || name[0] == '#' || name[len - 1] == '~')
		return true;
	if (ends_with(name, len, ".yml"))
		add_fault(f, folder, "the file '%s' is not read; its name must end in .yaml", name);
	if (!ends_with(name, len, ".yaml"))
		return true;
	if (!text_is_id(name, len - 5)) {
		add_fault(f, folder,
			"the file name '%s' gives no id; use a-z, 0-9 and -, then .yaml", name);
		return true;
	}
	return ids_add(ids, name, len - 5);
}

static int compare_ids(const void *a, const void *b)
{
	return strcmp(a, b);
}

/* A folder that is not there holds nothing; one that only cannot be reached may. */
static void no_folder(const char *folder, int code, struct faults *f)
{
	struct err e;
	bool there;
	err_clear(&e);
	if (code != ENOENT)
		add_fault(f, folder, "cannot be read: %s", strerror(code));
	else if (!path_there(folder, &there, &e))
		faults_add(f, &e);
}

static void list_ids(struct ids *ids, const char *folder, struct faults *f)
{
	DIR *dir = opendir(folder);
	if (!dir) {
		no_folder(folder, errno, f);
		return;
	}
	struct dirent *entry;
	while ((errno = 0, entry = readdir(dir))) {
		if (!take_name(ids, folder, entry->d_name, f)) {
			add_memory(f, folder);
			break;
		}
	}
	if (!entry && errno != 0)
		add_fault(f, folder, "cannot be read: %s", strerror(errno));
	closedir(dir);
	if (ids->n > 0)
		qsort(ids->id, ids->n, sizeof *ids->id, compare_ids);
}

/* A book while it is read. */
struct work {
	struct book *b;
	struct faults *faults;
	const struct car *car;    /* NULL: not readable, values are not judged */
	const struct book *rules; /* NULL: channels not known */
	struct ids sheets, runs;
};

static char *own_name(const char *dir)
{
	char *real = realpath(dir, NULL);
	if (!real)
		return NULL;
	const char *name = strrchr(real, '/') + 1; /* it begins with one; "" for the root */
	char *copy = text_dup(name, strlen(name));
	free(real);
	return copy;
}

static char *find_profile(
	struct work *w, const struct doc *d, const struct node *n, const char *kind, const char *id)
{
	struct err e;
	if (!n)
		return NULL;
	err_clear(&e);
	char *path = store_find_profile(w->b->dir, kind, id, &e);
	if (!path) {
		err_at(&e, d->path, n->line, n->col);
		faults_add(w->faults, &e);
	}
	return path;
}

static void list_files(struct work *w)
{
	char *sheets = path_join(w->b->dir, "sheets", "", ""),
	     *runs = path_join(w->b->dir, "runs", "", "");
	if (sheets && runs) {
		list_ids(&w->sheets, sheets, w->faults);
		list_ids(&w->runs, runs, w->faults);
		save_check_folder(sheets, w->faults);
		save_check_folder(runs, w->faults);
	} else {
		add_memory(w->faults, w->b->dir);
	}
	free(sheets);
	free(runs);
}

static void check_reference(struct work *w, const struct doc *d, const struct node *n)
{
	if (!n || (w->sheets.n > 0 && bsearch(w->b->reference, w->sheets.id, w->sheets.n,
					      sizeof *w->sheets.id, compare_ids)))
		return;
	char list[300] = "none is there yet";
	size_t len = 0;
	for (size_t i = 0; i < w->sheets.n && len + ID_SIZE + 2 < sizeof list; i++)
		len += (size_t)snprintf(
			list + len, sizeof list - len, "%s%s", i ? ", " : "", w->sheets.id[i]);
	doc_fault(d, n, w->faults, "reference: there is no sheet '%s' in sheets/; its sheets: %s",
		w->b->reference, list);
}

/* book.yaml and what it names. False: no use in going on. */
static bool load_head(struct work *w)
{
	struct doc d;
	struct book_refs refs;
	struct book *b = w->b;
	size_t from = w->faults->n;
	char *path = path_join(b->dir, "book.yaml", "", "");
	if (!path) {
		add_memory(w->faults, b->dir);
		return false;
	}
	bool there;
	struct err e;
	err_clear(&e);
	if (!path_there(path, &there, &e)) {
		faults_add(w->faults, &e);
		free(path);
		return false;
	}
	if (!there) {
		add_fault(w->faults, path,
			"there is no such file; a book is a folder with book.yaml in it, "
			"made by: treadlight new %s",
			b->dir);
		free(path);
		return false;
	}
	save_is_whole(path, w->faults);
	bool read = doc_read(&d, path, w->faults);
	free(path);
	list_files(w);
	if (!read)
		return true;
	from = from < w->faults->n ? w->faults->n : from;
	load_book_file(b, &d, &refs, w->faults);
	b->car_path = find_profile(w, &d, refs.car, "cars", b->car_id);
	b->circuit_path = find_profile(w, &d, refs.circuit, "circuits", b->circuit_id);
	check_reference(w, &d, refs.reference);
	faults_sort(w->faults, from);
	w->rules = b->n_channels > 0 ? b : NULL;
	doc_free(&d);
	return true;
}

static void load_profiles(struct work *w)
{
	struct book *b = w->b;
	if (b->car_path && store_load_car(&b->car, b->car_path, w->faults))
		w->car = &b->car;
	if (b->circuit_path)
		store_load_circuit(&b->circuit, b->circuit_path, w->faults);
}

static void load_one_sheet(struct work *w, const char *path, const char *id)
{
	struct doc d;
	struct sheet *s = &w->b->sheets[w->b->n_sheets];
	if (!doc_read(&d, path, w->faults))
		return;
	if (load_sheet(s, &d, id, w->car, w->faults))
		w->b->n_sheets++;
	doc_free(&d);
}

static int compare_runs(const void *a, const void *b)
{
	return run_compare(a, b);
}

/* Runs are many and know nothing of each other: read side by side, each with its own faults. */
enum { FEW_RUNS = 64 };

struct one_run {
	struct faults faults;
	bool read;
};

struct all_runs {
	const struct work *w;
	struct one_run *one; /* in the order of the file names, as the runs are */
};

static void load_one_run(void *data, size_t i)
{
	const struct all_runs *all = data;
	const struct work *w = all->w;
	struct one_run *one = &all->one[i];
	struct doc d;
	char *path = path_join(w->b->dir, "runs", w->runs.id[i], ".yaml");
	if (!path) {
		add_memory(&one->faults, w->b->dir);
		return;
	}
	if (doc_read(&d, path, &one->faults)) {
		one->read =
			load_run(&w->b->runs[i], &d, w->runs.id[i], w->car, w->rules, &one->faults);
		doc_free(&d);
	}
	free(path);
}

static void load_runs(struct work *w)
{
	struct book *b = w->b;
	struct all_runs all = {w, calloc(w->runs.n + 1, sizeof *all.one)};
	if (!all.one) {
		add_memory(w->faults, b->dir);
		return;
	}
	share_out(w->runs.n, FEW_RUNS, load_one_run, &all);
	for (size_t i = 0; i < w->runs.n; i++) {
		faults_join(w->faults, &all.one[i].faults);
		if (all.one[i].read)
			b->runs[b->n_runs++] = b->runs[i];
	}
	free(all.one);
	qsort(b->runs, b->n_runs, sizeof *b->runs, compare_runs);
}

static void load_sheets(struct work *w)
{
	for (size_t i = 0; i < w->sheets.n; i++) {
		char *path = path_join(w->b->dir, "sheets", w->sheets.id[i], ".yaml");
		if (!path) {
			add_memory(w->faults, w->b->dir);
			return;
		}
		load_one_sheet(w, path, w->sheets.id[i]);
		free(path);
	}
}

static void load_files(struct work *w)
{
	struct book *b = w->b;
	b->sheets = calloc(w->sheets.n + 1, sizeof *b->sheets);
	b->runs = calloc(w->runs.n + 1, sizeof *b->runs);
	if (!b->sheets || !b->runs) {
		add_memory(w->faults, b->dir);
		return;
	}
	load_sheets(w);
	load_runs(w);
}

bool load_book_alone(struct book *b, const char *dir, struct faults *faults)
{
	struct work w = {.b = b, .faults = faults};
	size_t before = faults->total;
	b->dir = text_dup(dir, strlen(dir));
	if (!b->dir) {
		add_memory(faults, dir);
		return false;
	}
	if (load_head(&w)) {
		load_profiles(&w);
		load_files(&w);
		b->id = own_name(dir);
		if (!b->id)
			add_fault(faults, dir, "cannot be resolved: %s", strerror(errno));
	}
	free(w.sheets.id);
	free(w.runs.id);
	if (faults->total == before)
		return true;
	book_free(b);
	return false;
}

bool store_load_book(struct book *b, const char *dir, struct faults *faults)
{
	const size_t before = faults->total;
	if (!load_book_alone(b, dir, faults))
		return false;
	load_borrowed(b, faults);
	if (faults->total == before)
		return true;
	book_free(b);
	return false;
}

/* The id that a profile's file name gives; false with a fault if it gives none. */
static bool id_of_path(const char *path, char id[ID_SIZE], struct faults *faults)
{
	const char *slash = strrchr(path, '/');
	const char *name = slash ? slash + 1 : path;
	size_t len = strlen(name);
	if (!ends_with(name, len, ".yaml") || !text_is_id(name, len - 5)) {
		add_fault(
			faults, path, "the file name gives no id; use a-z, 0-9 and -, then .yaml");
		return false;
	}
	memcpy(id, name, len - 5);
	id[len - 5] = '\0';
	return true;
}

bool store_load_car(struct car *c, const char *path, struct faults *faults)
{
	struct doc d;
	char id[ID_SIZE];
	car_init(c);
	if (!id_of_path(path, id, faults) || !doc_read(&d, path, faults))
		return false;
	bool ok = load_car(c, &d, id, faults);
	doc_free(&d);
	return ok;
}

bool store_load_circuit(struct circuit *c, const char *path, struct faults *faults)
{
	struct doc d;
	char id[ID_SIZE];
	circuit_init(c);
	if (!id_of_path(path, id, faults) || !doc_read(&d, path, faults))
		return false;
	bool ok = load_circuit(c, &d, id, faults);
	doc_free(&d);
	return ok;
}

static bool check_kind(
	const struct doc *d, const char *id, struct faults *faults, const char **kind)
{
	const struct node *n = node_get(d->root, "kind");
	struct car car;
	struct circuit circuit;
	if (node_is(n, "car")) {
		*kind = "car";
		bool ok = load_car(&car, d, id, faults);
		car_free(&car);
		return ok;
	}
	if (node_is(n, "circuit")) {
		*kind = "circuit";
		bool ok = load_circuit(&circuit, d, id, faults);
		circuit_free(&circuit);
		return ok;
	}
	return doc_fault(d, n ? n : d->root, faults,
		"is no profile (kind: car or circuit); of a book, its sheets and runs check the "
		"folder");
}

bool store_check_profile(const char *path, const char **kind, struct faults *faults)
{
	struct doc d;
	char id[ID_SIZE];
	*kind = NULL;
	if (!id_of_path(path, id, faults) || !doc_read(&d, path, faults))
		return false;
	bool ok = check_kind(&d, id, faults, kind);
	doc_free(&d);
	return ok;
}
