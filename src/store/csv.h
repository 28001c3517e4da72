/* A CSV file (RFC 4180, by libcsv) as rows of cells that know where they stand. */
#ifndef STORE_CSV_H
#define STORE_CSV_H

#include "base/err.h"

#define CSV_MAX_BYTES (16 * 1024 * 1024)

struct cell {
	const char *text; /* NUL-terminated */
	size_t len;
	size_t line, col; /* 1-based; columns in characters */
};

struct row {
	size_t first, n; /* cells[first] .. */
	size_t line;
};

struct cells {
	char *path;  /* owned */
	char *texts; /* owned: of the cells */
	size_t n_cells, n_rows;
	struct cell *cells; /* owned */
	struct row *rows;   /* owned; rows[0] is the header */
};

/* False: faults has why, t is empty. */
bool cells_read(struct cells *t, const char *path, struct faults *faults);
/* The same from memory, for tests. */
bool cells_parse(
	struct cells *t, const char *bytes, size_t size, const char *path, struct faults *faults);
void cells_free(struct cells *t);

/* Add a fault at a cell (NULL: at the top of the file). */
void cells_fault(const struct cells *t, const struct cell *c, struct faults *f, const char *fmt,
	...) ERR_PRINTF(4, 5);
void cells_vfault(const struct cells *t, const struct cell *c, struct faults *f, const char *fmt,
	va_list ap) ERR_PRINTF(4, 0);

#endif
