/*
 * BOOK/plan.yaml: the test plan of a book, ticked off run by run. Its form: doc/plans.md.
 * A plan's struct is the one of src/plan; what is reckoned from it is not in the file.
 */
#ifndef STORE_PLAN_FILE_H
#define STORE_PLAN_FILE_H

#include "base/text.h"
#include "plan/plan.h"
#include "store/doc.h"
#include "store/save.h"

/* The book's plan, to be completed by plan_complete(); *p is NULL where the book has none. False:
 * the faults have why. */
bool store_load_plan(struct plan **p, const struct book *b, struct faults *faults);

/* The same from a document, for tests and fuzzing. */
struct plan *load_plan(const struct doc *d, const struct car *car, struct faults *faults);

/* The file's text, for store_save_plan() and tests. */
void print_plan(struct buf *out, const struct car *car, const struct plan *p);

/* Writes the plan. A plan that has runs still to be driven is replaced only when `replace`. */
bool store_save_plan(const struct book *b, const struct plan *p, bool replace, struct err *err);

/* Notes in the file that run `index` of the plan was driven as run_id; nothing else changes. */
bool store_tick_plan(const struct book *b, size_t index, const char *run_id, struct err *err);

/*
 * Takes run `index` out of the plan's file, with the lines that it stands on; nothing else changes.
 * Refused: the first run, which moves are told from; one that was driven; one whose values are not
 * `values` (the file is another by now); a file where the runs do not stand on lines of their own.
 */
bool store_strike_plan(const struct book *b, size_t index, const fix *values, struct err *err);

#endif
