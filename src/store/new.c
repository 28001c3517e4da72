/* New files: written whole, read back before they are, never over one that is there. */
#include "store/change.h"
#include "store/load.h"
#include "store/path.h"
#include "store/store.h"
#include "store/write.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Make a folder; one that is there is as good. *made tells whether it is new. */
static bool make_folder(const char *path, bool *made, struct err *err)
{
	*made = mkdir(path, 0777) == 0;
	if (*made || errno == EEXIST)
		return true;
	err_failed(err, "the folder cannot be made: %s", strerror(errno));
	err_at(err, path, 0, 0);
	return false;
}

static bool make_sub(const char *dir, const char *name, bool *made, struct err *err)
{
	struct buf b;
	buf_init(&b);
	buf_addf(&b, "%s/%s", dir, name);
	char *path = buf_take(&b);
	if (!path)
		return err_memory(err);
	bool ok = make_folder(path, made, err);
	free(path);
	return ok;
}

/* The place of a fault is left out: nothing stands there yet. */
static bool first_fault(struct faults *f, const char *path, struct err *err)
{
	if (f->n > 0)
		*err = f->list[0];
	else
		err_memory(err);
	err_at(err, path, 0, 0);
	faults_free(f);
	return false;
}

/* What was written must read back without a fault: the same rules for our files as for others'. */
static bool reads_back_sheet(const struct buf *text, const char *path, const struct sheet *s,
	const struct car *car, struct err *err)
{
	struct doc d;
	struct sheet again;
	struct faults f;
	faults_init(&f);
	if (!doc_parse(&d, text->data, text->len, path, &f))
		return first_fault(&f, path, err);
	bool ok = load_sheet(&again, &d, s->id, car, &f);
	doc_free(&d);
	if (!ok)
		return first_fault(&f, path, err);
	ok = sheet_equal(&again, s);
	sheet_free(&again);
	if (!ok)
		err_failed(err, "the sheet would not read back as it is; nothing was written");
	return ok;
}

static bool reads_back_run(const struct buf *text, const char *path, const struct run *r,
	const struct book *b, struct err *err)
{
	struct doc d;
	struct run again;
	struct faults f;
	faults_init(&f);
	if (!doc_parse(&d, text->data, text->len, path, &f))
		return first_fault(&f, path, err);
	bool ok = load_run(&again, &d, r->id, &b->car, b, &f);
	doc_free(&d);
	if (!ok)
		return first_fault(&f, path, err);
	ok = run_equal(&again, r);
	run_free(&again);
	if (!ok)
		err_failed(err, "the run would not read back as it is; nothing was written");
	return ok;
}

static bool check_new_id(const char *id, const char *what, struct err *err)
{
	if (text_is_id(id, strlen(id)))
		return true;
	return err_input(err,
		"%s: '%.80s' is no id; use a-z, 0-9 and -, beginning with a letter or digit", what,
		id);
}

/* *text is complete or failed; writes it to FOLDER/ID.yaml. l may be NULL. */
static bool create(const struct book *b, const char *folder, const char *path,
	const struct buf *text, const struct leftovers *l, struct err *err)
{
	bool made;
	return make_sub(b->dir, folder, &made, err) &&
	       file_create_among(path, text->data, text->len, l, err);
}

/* Make the text of a sheet and judge it; the caller frees both. */
static bool prepare_sheet(
	const struct book *b, const struct sheet *s, struct buf *text, char **path, struct err *err)
{
	buf_init(text);
	*path = NULL;
	if (!check_new_id(s->id, "the sheet", err))
		return false;
	*path = store_sheet_path(b, s->id);
	write_sheet(text, &b->car, s);
	if (!*path || text->failed)
		return err_memory(err);
	return reads_back_sheet(text, *path, s, &b->car, err);
}

bool store_new_sheet(const struct book *b, const struct sheet *s, struct err *err)
{
	struct buf text;
	char *path;
	bool ok = prepare_sheet(b, s, &text, &path, err) &&
		  create(b, "sheets", path, &text, NULL, err);
	buf_free(&text);
	free(path);
	return ok;
}

/* Make the text of a run and judge it; the caller frees both. */
static bool prepare_run(
	const struct book *b, const struct run *r, struct buf *text, char **path, struct err *err)
{
	buf_init(text);
	*path = NULL;
	if (!check_new_id(r->id, "the run", err))
		return false;
	*path = path_join(b->dir, "runs", r->id, ".yaml");
	write_run(text, b, r);
	if (!*path || text->failed)
		return err_memory(err);
	return reads_back_run(text, *path, r, b, err);
}

bool store_check_run(const struct book *b, const struct run *r, struct err *err)
{
	struct buf text;
	char *path;
	bool ok = prepare_run(b, r, &text, &path, err);
	buf_free(&text);
	free(path);
	return ok;
}

static bool new_run(
	const struct book *b, const struct run *r, const struct leftovers *l, struct err *err)
{
	struct buf text;
	char *path;
	bool ok = prepare_run(b, r, &text, &path, err) && create(b, "runs", path, &text, l, err);
	buf_free(&text);
	free(path);
	return ok;
}

bool store_new_run(const struct book *b, const struct run *r, struct err *err)
{
	return new_run(b, r, NULL, err);
}

/* Ours and new; 0, or errno where it stays. */
static int remove_run(const struct book *b, const struct run *r)
{
	char *path = path_join(b->dir, "runs", r->id, ".yaml");
	int code = path ? 0 : ENOMEM;
	if (path && unlink(path) != 0 && errno != ENOENT)
		code = errno;
	free(path);
	return code;
}

/* Behind why not all could be written: what was written and stays all the same. */
static void remove_runs(const struct book *b, const struct run *runs, size_t n, struct err *err)
{
	size_t stay = 0, len = strlen(err->text);
	const char *first = "";
	int why = 0;
	for (size_t i = n; i > 0; i--) {
		int code = remove_run(b, &runs[i - 1]);
		if (!code)
			continue;
		first = runs[i - 1].id;
		why = code;
		stay++;
	}
	if (!stay)
		return;
	snprintf(err->text + len, sizeof err->text - len, "; %s stands in the book", first);
	len = strlen(err->text);
	if (stay > 1)
		snprintf(err->text + len, sizeof err->text - len, ", and %zu more", stay - 1);
	len = strlen(err->text);
	snprintf(err->text + len, sizeof err->text - len,
		" and could not be removed again (%s); the same once more completes the rest",
		strerror(why));
}

bool store_new_runs(const struct book *b, const struct run *runs, size_t n, struct err *err)
{
	struct leftovers left = {0};
	struct err told;
	bool ok = true;
	for (size_t i = 0; i < n; i++)
		if (!store_check_run(b, &runs[i], err))
			return false;
	char *any = path_join(b->dir, "runs", "any", "");
	if (!any)
		return err_memory(err);
	leftovers_list(&left, any);
	free(any);
	err_clear(&told);
	for (size_t i = 0; ok && i < n; i++) {
		ok = new_run(b, &runs[i], &left, err);
		if (!ok)
			remove_runs(b, runs, i, err);
		else if (told.cls == ERR_NONE)
			told = *err;
	}
	leftovers_free(&left);
	if (ok)
		*err = told;
	return ok;
}

/* Folders that a failed store_new_book() takes away again, if they are empty. */
struct made {
	bool dir, sheets, runs;
};

static void unmake(const struct book *b, const struct sheet *s, const struct made *m, bool sheet)
{
	char *path = sheet ? store_sheet_path(b, s->id) : NULL;
	if (path)
		unlink(path);
	free(path);
	static const char *const names[] = {"sheets", "runs"};
	for (int i = 0; i < 2; i++) {
		struct buf p;
		buf_init(&p);
		buf_addf(&p, "%s/%s", b->dir, names[i]);
		if ((i == 0 ? m->sheets : m->runs) && !p.failed)
			rmdir(p.data);
		buf_free(&p);
	}
	if (m->dir)
		rmdir(b->dir);
}

/* Do these very bytes stand there, of an earlier turn that was cut short? */
static bool stands(const char *path, const struct buf *text)
{
	char *bytes;
	size_t size;
	struct err ignored;
	err_clear(&ignored);
	if (!file_read(path, text->len, &bytes, &size, NULL, &ignored))
		return false;
	const bool same = size == text->len && memcmp(bytes, text->data, size) == 0;
	free(bytes);
	return same;
}

/* The first sheet, written or taken as it stands; *made: it is ours to remove. */
static bool put_first(const struct book *b, const struct sheet *s, bool *made, struct err *err)
{
	struct buf text;
	char *path;
	*made = false;
	bool ok = prepare_sheet(b, s, &text, &path, err);
	if (ok && stands(path, &text)) {
		if (!path_sync_folder(path)) {
			err_failed(err, "is written, not confirmed on disk: %s", strerror(errno));
			err_at(err, path, 0, 0);
		}
	} else if (ok) {
		ok = *made = create(b, "sheets", path, &text, NULL, err);
	}
	buf_free(&text);
	free(path);
	return ok;
}

bool store_new_book(const struct book *b, const struct sheet *first, struct err *err)
{
	struct made made = {false, false, false};
	struct buf text;
	struct err told;
	char *path = path_join(b->dir, "", "book", ".yaml");
	bool sheet = false;
	err_clear(err);
	buf_init(&text);
	write_book(&text, b);
	bool ok = path && !text.failed;
	if (!ok) {
		err_memory(err);
	} else if (access(path, F_OK) == 0) {
		ok = err_input(err, "there is a book already; choose another folder");
		err_at(err, path, 0, 0);
	}
	ok = ok && make_folder(b->dir, &made.dir, err) &&
	     make_sub(b->dir, "sheets", &made.sheets, err) &&
	     make_sub(b->dir, "runs", &made.runs, err) && put_first(b, first, &sheet, err);
	/* Last: before, no program takes the folder for a book. */
	told = *err;
	ok = ok && file_create(path, text.data, text.len, err);
	if (!ok)
		unmake(b, first, &made, sheet);
	else if (err->cls == ERR_NONE)
		*err = told;
	buf_free(&text);
	free(path);
	return ok;
}
