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

/* Its path (caller frees, NULL: out of memory). */
char *plan_path(const struct book *b);

/* The same from a document. */
struct plan *load_plan(const struct doc *d, const struct car *car, struct faults *faults);

/* The plan in these bytes; NULL: there is none in them, or *memory was short. */
struct plan *plan_parse(
	const char *bytes, size_t size, const char *path, const struct car *car, bool *memory);

/* The file's text, for store_save_plan() and tests. */
void print_plan(struct buf *out, const struct car *car, const struct plan *p);

/*
 * All that changes the file holds its lock meanwhile, waits a moment for another program to let go
 * of it (change_lock_wait()), and judges the plan as it stands then; where somebody without the
 * lock comes between it is read and judged again. True with err set: done, but the disk did not
 * confirm.
 */

/* Writes the plan. A plan that has runs still to be driven is replaced only when `replace`. */
bool store_save_plan(const struct book *b, const struct plan *p, bool replace, struct err *err);

/*
 * Notes in the file that run `index` of the plan was driven as run_id; nothing else changes.
 * Refused where another run is noted there, but for the one of *seen, the plan's run as the user
 * saw it (NULL: not at all); and where its values are not those of *seen any more.
 */
bool store_tick_plan(const struct book *b, size_t index, const struct plan_run *seen,
	const char *run_id, struct err *err);

/* What a run of the book is to the plan. */
struct plan_tick {
	int at;      /* the run of the plan that it is noted at; -1: at none */
	bool before; /* it was noted there before */
	int other; /* where at is -1: a run of the plan of these values that was driven as another;
		      -1: none has these values */
};

/*
 * Notes each run where it is noted already, or else at the first run of the plan that is still to
 * be driven and has its values: all at once. list[n] receives what became of them, *left how many
 * runs of the plan are still to be driven; none and 0 where the book has no plan. False: nothing
 * was noted, err says why, and list says where the runs belong as far as the plan could be read.
 */
bool store_tick_runs(const struct book *b, const struct run *runs, size_t n, struct plan_tick *list,
	size_t *left, struct err *err);

/*
 * Takes run `index` out of the plan's file, with the lines that it stands on; nothing else changes.
 * Refused: the first run, which moves are told from; one that was driven; one whose values are not
 * `values` (the file is another by now); a file where the runs do not stand on lines of their own.
 */
bool store_strike_plan(const struct book *b, size_t index, const fix *values, struct err *err);

#endif
