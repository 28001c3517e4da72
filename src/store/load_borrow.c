/* `borrow` of book.yaml, and the books that it names. */
#include "store/load.h"
#include "store/path.h"
#include "store/read.h"
#include "store/store.h"

#include <libgen.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { BORROW_MAX = 32 };

static void load_without(struct reader *r, const struct node *n, struct borrow *w)
{
	if (!read_is_list(r, n, "a list of pairs and adjustables, such as [camber]"))
		return;
	w->without = calloc(n->n_children + 1, sizeof *w->without);
	if (!w->without) {
		read_memory(r);
		return;
	}
	for (const struct node *m = n->child; m; m = m->next)
		if (read_id(r, m, w->without[w->n_without]))
			w->n_without++;
}

static void load_entry(struct reader *r, const struct node *n, struct borrow *w)
{
	static const struct field fields[] = {
		{"book", true}, {"trust", false}, {"spread", false}, {"without", false}};
	static const struct range trust = {0, 1, true}, spread = {0, 100, false};
	const struct node *at[4];
	w->trust = 1;
	w->line = n->line;
	w->col = n->col;
	if (!read_fields(r, n, "an entry of borrow", fields, 4, at))
		return;
	if (read_text(r, at[0], &w->path) && !w->path[0])
		read_fault(
			r, at[0], "book is empty; a folder, told from this book's own, is allowed");
	if (at[1])
		read_number(r, at[1], trust, &w->trust);
	read_optional(r, at[2], spread, &w->spread);
	load_without(r, at[3], w);
}

void load_borrow(struct reader *r, const struct node *n, struct book *b)
{
	if (!read_is_list(r, n, "a list of books, such as [{book: ../last-test, trust: 0.5}]"))
		return;
	if (n->n_children > BORROW_MAX) {
		read_fault(r, n, "borrow names %zu books; at most %d are allowed", n->n_children,
			BORROW_MAX);
		return;
	}
	b->borrow = calloc(n->n_children + 1, sizeof *b->borrow);
	if (!b->borrow) {
		read_memory(r);
		return;
	}
	for (const struct node *m = n->child; m; m = m->next)
		load_entry(r, m, &b->borrow[b->n_borrow++]);
}

static char *join(const char *dir, const char *path)
{
	struct buf s;
	buf_init(&s);
	if (path[0] != '/')
		buf_addf(&s, "%s/", dir);
	buf_adds(&s, path);
	return buf_take(&s);
}

/* At an entry of b's book.yaml. */
static void ERR_PRINTF(4, 5) entry_fault(
	const struct book *b, const struct borrow *w, struct faults *faults, const char *fmt, ...)
{
	char *file = join(b->dir, "book.yaml");
	va_list ap;
	va_start(ap, fmt);
	faults_vadd(faults, file ? file : "book.yaml", w->line, w->col, fmt, ap);
	va_end(ap);
	free(file);
}

static void memory_fault(const struct book *b, struct faults *faults)
{
	struct err e;
	err_clear(&e);
	err_memory(&e);
	err_at(&e, b->dir, 0, 0);
	faults_add(faults, &e);
}

static bool same_folder(const char *a, const char *b)
{
	struct stat x, y;
	return stat(a, &x) == 0 && stat(b, &y) == 0 && x.st_dev == y.st_dev && x.st_ino == y.st_ino;
}

/* Would the old book learn from the one that borrows it? The same runs would count twice. */
static bool borrows_back(const struct book *old, const struct book *b)
{
	bool back = false;
	for (size_t i = 0; i < old->n_borrow && !back; i++) {
		char *dir = join(old->dir, old->borrow[i].path);
		back = dir && same_folder(dir, b->dir);
		free(dir);
	}
	return back;
}

/* Coordinates are told in the limits, so these must be the same. The first that is not, or NULL. */
static const char *other_limits(const struct car *a, const struct car *b)
{
	for (size_t i = 0; i < a->n_adjustables; i++) {
		const struct adjustable *x = &a->adjustables[i];
		const int k = car_find_adjustable(b, x->id);
		if (k != (int)i || b->adjustables[k].min != x->min ||
			b->adjustables[k].max != x->max ||
			strcmp(x->pair < 0 ? "" : a->pairs[x->pair].id,
				b->adjustables[k].pair < 0
					? ""
					: b->pairs[b->adjustables[k].pair].id) != 0)
			return x->id;
	}
	return a->n_adjustables == b->n_adjustables ? NULL : "another number of adjustables";
}

static void judge(const struct book *b, const struct borrow *w, struct faults *faults)
{
	const struct book *old = w->book;
	const char *off = NULL;
	if (strcmp(old->car_id, b->car_id) != 0)
		entry_fault(b, w, faults,
			"'%.80s' is about the car '%s', this book about '%s'; only books "
			"of the same car can be borrowed",
			w->path, old->car_id, b->car_id);
	else if ((off = other_limits(&b->car, &old->car)))
		entry_fault(b, w, faults,
			"'%.80s' has a profile of this car with other adjustables or "
			"limits (%s); bring the two profiles together",
			w->path, off);
	if (borrows_back(old, b))
		entry_fault(b, w, faults,
			"'%.80s' borrows from this book in turn; take one of the two out", w->path);
}

static bool entry_stands(struct book *b, size_t i, const char *dir, struct faults *faults)
{
	const struct borrow *w = &b->borrow[i];
	struct stat st;
	struct err e;
	bool there;
	err_clear(&e);
	if (!path_there(dir, &there, &e)) {
		entry_fault(b, w, faults, "%s %s", e.file, e.text);
		return false;
	}
	if (stat(dir, &st) != 0 || !S_ISDIR(st.st_mode)) {
		entry_fault(b, w, faults,
			"there is no book '%.200s'; give its folder, told from this "
			"book's own",
			w->path);
		return false;
	}
	if (same_folder(dir, b->dir)) {
		entry_fault(b, w, faults, "a book cannot borrow from itself");
		return false;
	}
	for (size_t k = 0; k < i; k++)
		if (b->borrow[k].book && same_folder(b->borrow[k].book->dir, dir)) {
			entry_fault(
				b, w, faults, "'%.200s' is named twice; once is allowed", w->path);
			return false;
		}
	for (size_t k = 0; k < w->n_without; k++)
		if (car_find_pair(&b->car, w->without[k]) < 0 &&
			car_find_adjustable(&b->car, w->without[k]) < 0)
			entry_fault(b, w, faults, "without: the car has no pair or adjustable '%s'",
				w->without[k]);
	return true;
}

void load_borrowed(struct book *b, struct faults *faults)
{
	for (size_t i = 0; i < b->n_borrow; i++) {
		struct borrow *w = &b->borrow[i];
		char *dir = join(b->dir, w->path);
		struct book *old = malloc(sizeof *old);
		if (!dir || !old)
			memory_fault(b, faults);
		else if (entry_stands(b, i, dir, faults)) {
			book_init(old);
			if (load_book_alone(old, dir, faults)) {
				w->book = old;
				old = NULL;
				judge(b, w, faults);
			}
		}
		free(dir);
		free(old);
	}
}

/* A folder's place told from beside `dir`, where it stands there or below, else from the root. */
static char *told_from(const char *dir, const char *place)
{
	struct buf out;
	char *there = realpath(dir, NULL); /* an empty folder may stand there, and be "." */
	char *copy = there ? there : text_dup(dir, strlen(dir));
	char *beside = copy ? realpath(dirname(copy), NULL) : NULL;
	const size_t len = beside ? strlen(beside) : 0;
	const bool root = len == 1;
	buf_init(&out);
	if (len && strncmp(place, beside, len) == 0 && (root || place[len] == '/'))
		buf_addf(&out, "../%s", place + len + !root);
	else
		buf_adds(&out, place);
	free(copy);
	free(beside);
	return buf_take(&out);
}

static bool add_folder(struct book *b, const char *folder)
{
	struct borrow *w = &b->borrow[b->n_borrow];
	char *path = realpath(folder, NULL);
	if (!path)
		path = text_dup(folder, strlen(folder));
	if (!path)
		return false;
	w->trust = 1;
	w->path = path;
	b->n_borrow++;
	return true;
}

static bool tell_from(struct book *b)
{
	for (size_t i = 0; i < b->n_borrow; i++) {
		char *path = told_from(b->dir, b->borrow[i].path);
		if (!path)
			return false;
		free(b->borrow[i].path);
		b->borrow[i].path = path;
	}
	return true;
}

bool store_borrow(struct book *b, const char *const *folders, size_t n, struct faults *faults)
{
	const size_t before = faults->total;
	b->borrow = calloc(n + 1, sizeof *b->borrow);
	b->n_borrow = 0;
	bool ok = b->borrow != NULL;
	for (size_t i = 0; ok && i < n; i++)
		ok = add_folder(b, folders[i]);
	if (ok)
		load_borrowed(b, faults);
	if (ok && faults->total == before)
		ok = tell_from(b);
	if (!ok)
		memory_fault(b, faults);
	return faults->total == before;
}
