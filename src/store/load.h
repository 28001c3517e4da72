/*
 * Schema readers over parsed documents, one a kind of file. Each fills its struct and
 * adds every fault it finds; false: at least one, and the struct is left empty. `id` is
 * the file's name without .yaml.
 *
 * `car` and `book` may be NULL in load_sheet() and load_run() where they could not be
 * read: what depends on them is then not judged, and the struct is not to be used.
 */
#ifndef STORE_LOAD_H
#define STORE_LOAD_H

#include "book/book.h"
#include "store/doc.h"

bool load_car(struct car *c, const struct doc *d, const char *id, struct faults *faults);
bool load_circuit(struct circuit *c, const struct doc *d, const char *id, struct faults *faults);
bool load_sheet(struct sheet *s, const struct doc *d, const char *id, const struct car *car,
	struct faults *faults);
/* book: for its wear channels and the circuit's segments. */
bool load_run(struct run *r, const struct doc *d, const char *id, const struct car *car,
	const struct book *book, struct faults *faults);
/* `segments` (n, may be NULL) of the lap at lap_node, whose time and wear were read already. */
struct reader;
void load_lap_segments(struct reader *r, const struct node *lap_node, const struct node *n,
	const struct book *book, struct lap *lap);
/*
 * book.yaml alone: ids, channels and rules. *car_at, *circuit_at and *reference_at are the
 * nodes that name other files, NULL if they are bad.
 */
struct book_refs {
	const struct node *car, *circuit, *reference;
};
bool load_book_file(
	struct book *b, const struct doc *d, struct book_refs *refs, struct faults *faults);

/* `borrow` of book.yaml (n, may be NULL) into b->borrow, no book loaded yet. */
void load_borrow(struct reader *r, const struct node *n, struct book *b);
/* The books that b borrows from, read whole; b's own files were read without a fault. What those
 * books borrow themselves is not followed. */
void load_borrowed(struct book *b, struct faults *faults);
/* A book without those that it borrows from. */
bool load_book_alone(struct book *b, const char *dir, struct faults *faults);

/* The `values` mapping of a sheet or run into v[car.n_adjustables]. */
void load_values(struct reader *r, const struct node *n, const struct car *car, fix *v);

#endif
