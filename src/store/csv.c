#include "store/csv.h"

#include "base/text.h"
#include "store/file.h"

#include <csv.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The parser's callbacks tell no places, so bytes are fed one by one and counted here. */
struct feed {
	struct cells *t;
	size_t texts_len, cells_cap, rows_cap;
	size_t line, col;             /* of the byte being fed */
	size_t start_line, start_col; /* of the cell being read */
	bool fresh;                   /* no byte of the next cell was seen yet */
	size_t row_first;             /* first cell of the row being read */
	size_t fed;                   /* bytes taken so far */
	bool failed;                  /* out of memory */
};

void cells_free(struct cells *t)
{
	free(t->path);
	free(t->texts);
	free(t->cells);
	free(t->rows);
	memset(t, 0, sizeof *t);
}

void cells_vfault(
	const struct cells *t, const struct cell *c, struct faults *f, const char *fmt, va_list ap)
{
	faults_vadd(f, t->path, c ? c->line : 1, c ? c->col : 1, fmt, ap);
}

void cells_fault(
	const struct cells *t, const struct cell *c, struct faults *f, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	cells_vfault(t, c, f, fmt, ap);
	va_end(ap);
}

static bool grow(void **array, size_t n, size_t *cap, size_t size)
{
	if (n < *cap)
		return true;
	size_t more = *cap ? 2 * *cap : 64;
	void *grown = realloc(*array, more * size);
	if (!grown)
		return false;
	*array = grown;
	*cap = more;
	return true;
}

/* texts has room for every byte of the file and a NUL per cell. */
static void on_cell(void *bytes, size_t len, void *data)
{
	struct feed *f = data;
	struct cells *t = f->t;
	void *cells = t->cells;
	if (f->failed || !grow(&cells, t->n_cells, &f->cells_cap, sizeof *t->cells)) {
		f->failed = true;
		return;
	}
	t->cells = cells;
	char *text = t->texts + f->texts_len;
	if (len > 0)
		memcpy(text, bytes, len);
	text[len] = '\0';
	f->texts_len += len + 1;
	t->cells[t->n_cells++] = (struct cell){text, len, f->start_line, f->start_col};
	f->fresh = true;
}

static void on_row(int end, void *data)
{
	(void)end;
	struct feed *f = data;
	struct cells *t = f->t;
	void *rows = t->rows;
	if (f->failed || !grow(&rows, t->n_rows, &f->rows_cap, sizeof *t->rows)) {
		f->failed = true;
		return;
	}
	t->rows = rows;
	t->rows[t->n_rows++] =
		(struct row){f->row_first, t->n_cells - f->row_first, t->cells[f->row_first].line};
	f->row_first = t->n_cells;
}

static void begin_cell(struct feed *f, char c)
{
	bool between_rows = f->row_first == f->t->n_cells && (c == '\r' || c == '\n');
	if (!f->fresh || between_rows)
		return;
	f->start_line = f->line;
	f->start_col = f->col;
	f->fresh = false;
}

static void count_byte(struct feed *f, char c, char next)
{
	if (c == '\n' || (c == '\r' && next != '\n')) {
		f->line++;
		f->col = 1;
	} else if (((unsigned char)c & 0xC0) != 0x80) {
		f->col++;
	}
}

static bool feed_bytes(struct feed *f, struct csv_parser *p, const char *bytes, size_t size)
{
	for (size_t i = 0; i < size && !f->failed; i++) {
		begin_cell(f, bytes[i]);
		if (csv_parse(p, bytes + i, 1, on_cell, on_row, f) != 1)
			return false;
		count_byte(f, bytes[i], i + 1 < size ? bytes[i + 1] : '\0');
		f->fed++;
	}
	if (f->fresh && f->row_first < f->t->n_cells)
		begin_cell(f, ' ');
	return csv_fini(p, on_cell, on_row, f) == 0;
}

static void add_memory(struct cells *t, struct faults *faults)
{
	struct err e;
	err_clear(&e);
	err_memory(&e);
	err_at(&e, t->path ? t->path : "", 0, 0);
	faults_add(faults, &e);
}

/* Bytes that were all taken end in a field that was never closed. */
static void quote_fault(struct cells *t, const struct feed *f, size_t size, struct faults *faults)
{
	struct cell at = {.line = f->line, .col = f->col};
	if (f->fed < size) {
		cells_fault(t, &at, faults,
			"a quote stands where none may; a field with quotes is quoted "
			"whole, with \"\" for each inside");
		return;
	}
	at.line = f->start_line;
	at.col = f->start_col;
	cells_fault(
		t, &at, faults, "a quoted field begins here and is never closed; end it with \"");
}

static bool parse(struct cells *t, const char *bytes, size_t size, struct faults *faults)
{
	struct csv_parser p;
	struct feed f = {
		.t = t, .line = 1, .col = 1, .start_line = 1, .start_col = 1, .fresh = true};
	csv_init(&p, CSV_STRICT | CSV_STRICT_FINI); /* allocates nothing and cannot fail */
	bool ok = feed_bytes(&f, &p, bytes, size);
	int code = csv_error(&p);
	csv_free(&p);
	if (f.failed || code == CSV_ENOMEM) {
		add_memory(t, faults);
		return false;
	}
	if (!ok)
		quote_fault(t, &f, size, faults);
	return ok;
}

bool cells_parse(
	struct cells *t, const char *bytes, size_t size, const char *path, struct faults *faults)
{
	static const char bom[] = "\xEF\xBB\xBF";
	memset(t, 0, sizeof *t);
	if (size >= 3 && memcmp(bytes, bom, 3) == 0) {
		bytes += 3;
		size -= 3;
	}
	t->path = text_dup(path, strlen(path));
	/* Each cell takes its bytes and a NUL, and is followed by a separator or the end. */
	t->texts = malloc(2 * size + 2);
	bool ok = t->path && t->texts;
	if (!ok)
		add_memory(t, faults);
	ok = ok && parse(t, bytes, size, faults);
	if (ok && t->n_rows == 0) {
		cells_fault(t, NULL, faults,
			"is empty; a header row and a row for each lap are needed");
		ok = false;
	}
	if (!ok)
		cells_free(t);
	return ok;
}

bool cells_read(struct cells *t, const char *path, struct faults *faults)
{
	char *bytes = NULL;
	size_t size = 0;
	struct err e;
	err_clear(&e);
	memset(t, 0, sizeof *t);
	if (!file_read(path, CSV_MAX_BYTES, &bytes, &size, NULL, &e)) {
		faults_add(faults, &e);
		return false;
	}
	bool ok = cells_parse(t, bytes, size, path, faults);
	free(bytes);
	return ok;
}
