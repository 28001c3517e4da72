/* New files: written whole, read back before they are, never over one that is there. */
#include "store/change.h"
#include "store/load.h"
#include "store/path.h"
#include "store/store.h"
#include "store/write.h"

#include <errno.h>
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

/* *text is complete or failed; writes it to FOLDER/ID.yaml. */
static bool create(const struct book *b, const char *folder, const char *path,
	const struct buf *text, struct err *err)
{
	bool made;
	return make_sub(b->dir, folder, &made, err) &&
	       file_create(path, text->data, text->len, err);
}

bool store_new_sheet(const struct book *b, const struct sheet *s, struct err *err)
{
	struct buf text;
	if (!check_new_id(s->id, "the sheet", err))
		return false;
	char *path = store_sheet_path(b, s->id);
	buf_init(&text);
	write_sheet(&text, &b->car, s);
	bool ok = path && !text.failed ? reads_back_sheet(&text, path, s, &b->car, err) &&
						 create(b, "sheets", path, &text, err)
				       : err_memory(err);
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

bool store_new_run(const struct book *b, const struct run *r, struct err *err)
{
	struct buf text;
	char *path;
	bool ok = prepare_run(b, r, &text, &path, err) && create(b, "runs", path, &text, err);
	buf_free(&text);
	free(path);
	return ok;
}

static void remove_run(const struct book *b, const struct run *r)
{
	char *path = path_join(b->dir, "runs", r->id, ".yaml");
	if (path)
		unlink(path);
	free(path);
}

bool store_new_runs(const struct book *b, const struct run *runs, size_t n, struct err *err)
{
	for (size_t i = 0; i < n; i++)
		if (!store_check_run(b, &runs[i], err))
			return false;
	for (size_t i = 0; i < n; i++) {
		if (store_new_run(b, &runs[i], err))
			continue;
		/* Ours and new: what was written before goes again, so that all or nothing stands.
		 */
		while (i > 0)
			remove_run(b, &runs[--i]);
		return false;
	}
	return true;
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

bool store_new_book(const struct book *b, const struct sheet *first, struct err *err)
{
	struct made made = {false, false, false};
	struct buf text;
	char *path = path_join(b->dir, "", "book", ".yaml");
	bool sheet = false;
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
	     make_sub(b->dir, "runs", &made.runs, err);
	if (ok)
		ok = sheet = store_new_sheet(b, first, err);
	ok = ok && file_create(path, text.data, text.len, err);
	if (!ok)
		unmake(b, first, &made, sheet);
	buf_free(&text);
	free(path);
	return ok;
}
