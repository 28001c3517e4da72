/* Blocks as plain text for a mail: 78 columns, tables padded, pictures left out. */
#include "report/block.h"

#include <stdlib.h>
#include <string.h>
#include <wchar.h>

enum { MAIL_COLUMNS = 78 };

/* Columns of a text: its characters; what is wide or narrow is left to the reader's font. */
static size_t width(const char *s)
{
	size_t n = 0;
	for (; *s; s++)
		n += ((unsigned char)*s & 0xC0) != 0x80;
	return n;
}

static char *safe_copy(const char *text)
{
	const size_t len = strlen(text), size = 8 * len + 16;
	char *copy = malloc(size);
	if (copy)
		text_safe(copy, size, text, len);
	return copy;
}

/* Words broken at spaces; `first` before the first line, as many spaces before the rest. */
static void write_wrapped(struct buf *out, const char *first, const char *text)
{
	char *safe = safe_copy(text);
	const size_t indent = strlen(first);
	size_t col = indent;
	if (!safe) {
		out->failed = true;
		return;
	}
	buf_adds(out, first);
	char *rest = NULL;
	bool fresh = true;
	for (char *w = strtok_r(safe, " ", &rest); w; w = strtok_r(NULL, " ", &rest)) {
		if (!fresh && col + 1 + width(w) > MAIL_COLUMNS) {
			buf_addf(out, "\n%*s", (int)indent, "");
			col = indent;
			fresh = true;
		}
		buf_addf(out, "%s%s", fresh ? "" : " ", w);
		col += width(w) + (fresh ? 0 : 1);
		fresh = false;
	}
	buf_adds(out, "\n");
	free(safe);
}

static void write_cell(struct buf *out, const char *cell, size_t columns, bool right, bool last)
{
	const size_t have = width(cell), pad = columns > have ? columns - have : 0;
	if (right)
		buf_addf(out, "%*s%s", (int)pad, "", cell);
	else if (last)
		buf_adds(out, cell);
	else
		buf_addf(out, "%s%*s", cell, (int)pad, "");
}

static void write_table(const struct block *k, struct buf *out)
{
	const struct table *t = &k->table;
	const size_t n = t->rows * t->columns;
	size_t columns[TABLE_COLUMNS] = {0};
	char **safe = calloc(n + 1, sizeof *safe);
	bool ok = safe != NULL;
	for (size_t i = 0; ok && i < n; i++) {
		ok = (safe[i] = safe_copy(t->cell[i])) != NULL;
		if (ok && width(safe[i]) > columns[i % t->columns])
			columns[i % t->columns] = width(safe[i]);
	}
	if (k->text)
		write_wrapped(out, "", k->text);
	for (size_t i = 0; ok && i < n; i++) {
		const size_t c = i % t->columns;
		const bool last = c + 1 == t->columns;
		write_cell(out, safe[i], columns[c], t->right[c], last);
		buf_adds(out, last ? "\n" : "  ");
	}
	out->failed = out->failed || !ok;
	for (size_t i = 0; safe && i < n; i++)
		free(safe[i]);
	free(safe);
}

static void write_heading(struct buf *out, const char *text)
{
	write_wrapped(out, "", text);
	for (size_t i = width(text); i > 0; i--)
		buf_adds(out, "-");
	buf_adds(out, "\n");
}

void blocks_plain(const struct blocks *b, struct buf *out)
{
	if (b->failed)
		out->failed = true;
	for (size_t i = 0; !out->failed && i < b->n; i++) {
		const struct block *k = &b->v[i];
		const bool item = k->kind == BLOCK_ITEM;
		if (k->kind == BLOCK_FIGURE)
			continue;
		if (i > 0 && !(item && b->v[i - 1].kind == BLOCK_ITEM))
			buf_adds(out, "\n");
		if (k->kind == BLOCK_TABLE)
			write_table(k, out);
		else if (k->kind == BLOCK_TITLE || k->kind == BLOCK_HEADING)
			write_heading(out, k->text);
		else
			write_wrapped(out,
				k->kind == BLOCK_CAUTION ? "CAUTION: "
				: item                   ? "- "
							 : "",
				k->text);
	}
}
