#include "report/block.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void blocks_init(struct blocks *b)
{
	memset(b, 0, sizeof *b);
}

void blocks_free(struct blocks *b)
{
	for (size_t i = 0; i < b->n; i++) {
		struct table *t = &b->v[i].table;
		for (size_t k = 0; k < t->rows * t->columns; k++)
			free(t->cell[k]);
		free(t->cell);
		free(b->v[i].text);
		free(b->v[i].svg);
	}
	free(b->v);
	blocks_init(b);
}

static struct block *next_block(struct blocks *b, enum block_kind kind)
{
	if (b->failed)
		return NULL;
	if (b->n == b->cap) {
		size_t cap = b->cap ? 2 * b->cap : 32;
		struct block *v = realloc(b->v, cap * sizeof *v);
		if (!v) {
			b->failed = true;
			return NULL;
		}
		b->v = v;
		b->cap = cap;
	}
	struct block *k = &b->v[b->n++];
	memset(k, 0, sizeof *k);
	k->kind = kind;
	return k;
}

void block_add(struct blocks *b, enum block_kind kind, const char *fmt, ...)
{
	va_list ap;
	struct block *k = next_block(b, kind);
	if (!k)
		return;
	va_start(ap, fmt);
	if (vasprintf(&k->text, fmt, ap) >= 0) {
		text_mend(k->text); /* a name cut at a precision may end in half a letter */
	} else {
		k->text = NULL;
		b->failed = true;
	}
	va_end(ap);
}

struct table *block_table(struct blocks *b, const char *align, const char *caption)
{
	struct block *k = next_block(b, BLOCK_TABLE);
	if (!k)
		return NULL;
	k->table.columns = strlen(align);
	for (size_t i = 0; i < k->table.columns; i++)
		k->table.right[i] = align[i] == 'r';
	if (caption && !(k->text = strdup(caption)))
		b->failed = true;
	if (k->text)
		text_mend(k->text);
	return &k->table;
}

void table_row(struct blocks *b, struct table *t, const char *const *cells)
{
	if (b->failed || !t)
		return;
	if (t->rows == t->cap) {
		size_t cap = t->cap ? 2 * t->cap : 16;
		char **cell = realloc(t->cell, cap * t->columns * sizeof *cell);
		if (!cell) {
			b->failed = true;
			return;
		}
		t->cell = cell;
		t->cap = cap;
	}
	char **row = t->cell + t->rows * t->columns;
	for (size_t i = 0; i < t->columns; i++) {
		row[i] = strdup(cells[i] ? cells[i] : "");
		if (row[i]) {
			text_mend(row[i]);
			continue;
		}
		while (i > 0)
			free(row[--i]);
		b->failed = true;
		return;
	}
	t->rows++;
}

void block_figure(struct blocks *b, struct buf *svg, const char *caption)
{
	struct block *k = next_block(b, BLOCK_FIGURE);
	char *drawing = buf_take(svg);
	if (!k) {
		free(drawing);
		return;
	}
	k->svg = drawing;
	k->text = strdup(caption);
	if (!k->svg || !k->text)
		b->failed = true;
}
