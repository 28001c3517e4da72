/* What the savers of sheets, runs and books share: a file read, patched, saved under its lock. */
#ifndef STORE_CHANGE_H
#define STORE_CHANGE_H

#include "book/book.h"
#include "store/doc.h"
#include "store/patch.h"
#include "store/save.h"

/* Read the file; on a fault *err is the first one, with its place. One that a kill left half
 * rewritten is none to change. */
bool change_read(struct doc *d, const char *path, struct err *err);
/* Patch a number, which the reader took for one, with at least as many decimals as stand there now.
 */
bool change_fix(struct patch *p, const struct node *n, fix v, struct err *err);
/* Apply and save; *stamp must be what the doc was read with. */
enum save_outcome change_save(
	struct patch *p, const char *path, struct stamp *stamp, struct err *err);
/* For savers without a screen: the outcome as yes or no. */
bool change_done(enum save_outcome outcome);

/* Does the run's file, as read, still hold what the caller has of it? False with err. */
bool change_is_run(const struct book *b, const struct run *r, const struct doc *d, struct err *err);

/* Hold the file's lock around a change; false: someone else has it, err says who (err->held). */
struct lock;
bool change_lock(struct lock *l, bool *ours, const char *path, struct err *err);
/* The same for a file that programs hold for a moment only: while it goes from hand to hand it is
 * waited for, some seconds for one and the same that keeps it. */
bool change_lock_wait(struct lock *l, bool *ours, const char *path, struct err *err);
/* A few hundredths of a second, not as many for two programs that wait for each other. */
void change_wait(void);

#endif
