/*
 * The only door to files. Loading fills the plain structs of src/book; every
 * fault is listed with file, line and column, and nothing is guessed. Saving
 * patches the bytes of changed values and replaces files whole or not at all.
 *
 * Book layout: DIR/book.yaml, DIR/sheets/ID.yaml, DIR/runs/ID.yaml, and own
 * profiles in DIR/profiles/cars/ID.yaml and DIR/profiles/circuits/ID.yaml.
 */
#ifndef STORE_STORE_H
#define STORE_STORE_H

#include "base/err.h"
#include "book/book.h"
#include "store/save.h"

/*
 * Read the whole book. True if it can be worked with: every file read without a
 * fault. Otherwise *faults lists all of them and b is empty. b must be initialised.
 */
bool store_load_book(struct book *b, const char *dir, struct faults *faults);

/* Single files, for `check`, `new` and tests. */
bool store_load_car(struct car *c, const char *path, struct faults *faults);
bool store_load_circuit(struct circuit *c, const char *path, struct faults *faults);

/* A profile file of either kind, by its `kind:`; *kind is "car", "circuit" or NULL (static). */
bool store_check_profile(const char *path, const char **kind, struct faults *faults);

/* Bring the sheet's file from `before` (as last read or saved) to `after`: values,
 * locks, frozen. Only the bytes of what changed are touched. */
bool store_save_sheet(const struct book *b, const struct sheet *before, const struct sheet *after,
	struct err *err);
/*
 * For the workbench, which keeps a sheet open for long. The path of a sheet's file (caller
 * frees, NULL: out of memory); the sheet as its file stands now, with the stamp to save it by;
 * and saving against that stamp (see save.h: a conflict writes nothing, *stamp is renewed
 * when the file was written). s must be initialised.
 */
char *store_sheet_path(const struct book *b, const char *id);
bool store_load_sheet(struct sheet *s, const struct book *b, const char *id, struct stamp *stamp,
	struct faults *faults);
enum save_outcome store_save_sheet_at(const struct book *b, const struct sheet *before,
	const struct sheet *after, struct stamp *stamp, struct err *err);
/* Write a new sheet file; an existing one is never overwritten. */
bool store_new_sheet(const struct book *b, const struct sheet *s, struct err *err);
/* Has the run a file, whoever wrote it? */
bool store_run_is_there(const struct book *b, const char *id);
/* Patch `reference:` in book.yaml. */
bool store_set_reference(const struct book *b, const char *sheet_id, struct err *err);
/* Write a new run file; an existing one is never overwritten. */
bool store_new_run(const struct book *b, const struct run *r, struct err *err);
/* Could this run be written? The reader's own rules; store_new_run() asks the same. */
bool store_check_run(const struct book *b, const struct run *r, struct err *err);
/* All of them or none: what was written before one failed is removed again; what then cannot be is
 * told. True with err set: see file_create(). */
bool store_new_runs(const struct book *b, const struct run *runs, size_t n, struct err *err);
/*
 * A new book's folder: book.yaml, sheets/ with the reference, runs/. Uses of b: dir, name,
 * car, car_id, circuit_id, reference, channels, wear_limit, the paths of borrow. A folder that is
 * there is used, a book in it never overwritten; nor is the sheet, but where it holds what would be
 * written now (of an earlier turn that was cut short) it is taken. book.yaml comes last. On failure
 * what was made is removed again. True with err set: see file_create().
 */
bool store_new_book(const struct book *b, const struct sheet *first, struct err *err);
/*
 * For a new book with its car: the folders that it is to borrow from, as the user names them, into
 * b->borrow, read and judged; paths are told from b->dir, whose own folder need not be there yet.
 * False: a fault was told.
 */
bool store_borrow(struct book *b, const char *const *folders, size_t n, struct faults *faults);
/* Rewrite one run after the user corrected it: value patches where the shape is the
 * same, the laps list rewritten where laps came or went. */
bool store_save_run(
	const struct book *b, const struct run *before, const struct run *after, struct err *err);
/*
 * Take a run out of the book: its file is moved aside, whole, to runs/ID.dropped-N, the first N
 * that is free, which no program reads. And bring the last of them back, where it still holds that
 * run and no other has its id. r: the run as its file has it; on failure nothing moved.
 */
bool store_drop_run(const struct book *b, const struct run *r, struct err *err);
bool store_return_run(const struct book *b, const struct run *r, struct err *err);

/* Ids of all profiles of a kind that a book in `dir` (NULL: none) would find, sorted, each
 * once; *ids is the caller's. False: out of memory. */
bool store_list_profiles(const char *dir, const char *kind, char (**ids)[ID_SIZE], size_t *n);
/* Path of a profile by the lookup order of the book; NULL with err if there is none.
 * kind is "cars" or "circuits"; dir may be NULL (no book yet). Caller frees. */
char *store_find_profile(const char *dir, const char *kind, const char *id, struct err *err);

#endif
