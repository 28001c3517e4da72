/*
 * Inside of the import: a CSV file at work, and what its cells say. A cell that cannot be taken is
 * a fault at its place.
 */
#ifndef STORE_IMPORT_PARTS_H
#define STORE_IMPORT_PARTS_H

#include "store/csv.h"
#include "store/import.h"
#include "store/read.h"

enum column {
	C_RUN,
	C_SHEET,
	C_DATE,
	C_DRIVER,
	C_SESSION,
	C_COMPOUND,
	C_FUEL,
	C_FUEL_PER_LAP,
	C_TRACK_TEMP,
	C_TYRE_AGE,
	C_LAP,
	C_TIME,
	C_EFFORT,
	C_SKIP,
	C_FIXED,
	C_WEAR = C_FIXED,
	C_WORN,
	C_WORN_AT_START,
	C_WEAR_TOTAL,
	C_SEGMENT_TIME,
	C_SEGMENT_WEAR,
	C_VALUE
};

/*
 * Words of the file and of the book, and where each was met first: a balanced tree (POSIX
 * tsearch), so that a file of nothing but different words is read in n log n steps. The words are
 * borrowed.
 */
struct words {
	void *root; /* owned */
};
enum { WORDS_MEMORY = -1 };
/* The place the word was met at before, else `place`, which is kept; WORDS_MEMORY: out of it. */
ptrdiff_t words_place(struct words *w, const char *word, ptrdiff_t place);
void words_free(struct words *w);

struct head {
	enum column what;
	size_t index;   /* channel or adjustable */
	size_t segment; /* of the circuit, for the two of segments */
};

/* A run while its rows come in: which cell gave each run-level column first. */
struct draft {
	struct run *run;
	const struct cell *first;   /* its first `run` cell */
	const struct cell **given;  /* owned: per column of the file, NULL while blank */
	const struct cell **lap_at; /* owned: per lap, the cell to point at */
	long *number;               /* owned: per lap, from `lap`, or its place; 0: bad, told */
	size_t laps_cap;
	size_t taken; /* the book has a run of this id: its place there and 1; 0: none */
};

struct work {
	const struct book *b;
	struct faults *faults;
	struct cells t;
	struct head *heads; /* owned, per column */
	size_t n_heads;
	struct draft *drafts; /* owned */
	size_t n, cap;
	struct words ids;   /* of the file's runs: their places in drafts */
	struct words taken; /* the book's own: their places there and 1 */
	struct import *in;
	bool memory; /* out of it */
	bool full;   /* more runs than are taken; the rest is not looked at */
};

void import_fault(struct work *w, const struct cell *c, const char *fmt, ...) ERR_PRINTF(3, 4);
const char *import_show(const struct cell *c, char buf[SHOW_SIZE]);
bool import_number(struct work *w, const struct cell *c, struct range range, double *out);
void import_optional(struct work *w, const struct cell *c, struct range range, struct opt_num *out);
void import_time(struct work *w, const struct cell *c, double *out);
bool import_id(struct work *w, const struct cell *c, char out[ID_SIZE]);
void import_date(struct work *w, const struct cell *c, struct run *r);
void import_value(struct work *w, const struct cell *c, size_t a, struct run *r);
void import_skip(struct work *w, const struct cell *c, struct lap *lap);

#endif
