/*
 * A report as a list of blocks, so that one account of the book can be written as
 * an HTML page or as plain text. Texts are raw: each writer makes them safe.
 *
 * Ownership: a doc of blocks owns all texts (copied when added). After a failed
 * allocation `failed` is set, adds do nothing, and writing says out of memory.
 */
#ifndef REPORT_BLOCK_H
#define REPORT_BLOCK_H

#include "base/text.h"

enum block_kind {
	BLOCK_TITLE,
	BLOCK_HEADING,
	BLOCK_TEXT,
	BLOCK_ANSWER,
	BLOCK_CAUTION,
	BLOCK_ITEM,
	BLOCK_TABLE,
	BLOCK_FIGURE
};

enum { TABLE_COLUMNS = 12 };
struct table {
	size_t columns, rows; /* row 0 is the heading */
	size_t cap;
	bool right[TABLE_COLUMNS]; /* figures stand to the right */
	char **cell;               /* owned [rows * columns], each owned, never NULL */
};

struct block {
	enum block_kind kind;
	char *text; /* owned: words; a figure's caption; a table's caption or NULL */
	char *svg;  /* owned: a figure's drawing, made by src/report/svg */
	struct table table;
};

struct blocks {
	size_t n, cap;
	struct block *v; /* owned */
	bool failed;
};

void blocks_init(struct blocks *b);
void blocks_free(struct blocks *b);
void block_add(struct blocks *b, enum block_kind kind, const char *fmt, ...)
	__attribute__((format(printf, 3, 4)));
/* align: one letter a column, 'l' or 'r'. NULL after a failed allocation; adding to NULL does
 * nothing. */
struct table *block_table(struct blocks *b, const char *align, const char *caption);
/* A row of cells, as many as the table has columns; NULL stands for an empty one. */
void table_row(struct blocks *b, struct table *t, const char *const *cells);
/* Takes the drawing over. */
void block_figure(struct blocks *b, struct buf *svg, const char *caption);

/* Both write the whole account; out->failed tells of a failed allocation. */
void blocks_html(const struct blocks *b, const char *title, struct buf *out);
void blocks_plain(const struct blocks *b, struct buf *out);

#endif
