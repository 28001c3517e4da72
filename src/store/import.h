/* Runs out of a CSV file, judged against a book; nothing is written here. */
#ifndef STORE_IMPORT_H
#define STORE_IMPORT_H

#include "base/err.h"
#include "book/book.h"

/* Each run is judged as its file would be, so that a file of more is not worth the wait. */
enum { IMPORT_RUNS_MAX = 3000 };

struct import {
	size_t n;
	struct run *runs; /* owned, in the order of their first rows */
	bool *stands;     /* owned, per run: the book has it already, with all that it holds */
};

/*
 * One row a lap. Columns: run, time (both needed); lap (else the order of rows counts), sheet,
 * date, driver, session, compound, fuel, fuel-per-lap, track-temp, tyre-age, effort, skip,
 * wear-CH, worn-CH, worn-at-start-CH, wear-total-CH, segment-ID-time, segment-ID-wear-CH, and any
 * adjustable's id for values that differ from the sheet's. What belongs to a run may stand in one
 * of its rows or in all, alike. A run that the book has must be the same as there. False: every
 * fault was added, with line and column, and `in` is empty; of more than IMPORT_RUNS_MAX runs the
 * rest is not looked at. The time taken grows with the file's size, whatever stands in it.
 */
bool import_csv(struct import *in, const struct book *b, const char *path, struct faults *faults);
void import_free(struct import *in);

#endif
