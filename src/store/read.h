/*
 * Reading fields out of a document's nodes: what a schema reader is made of. Every
 * fault is added with its place and reading goes on, so that one run lists all.
 * A NULL node is a key that is not there: required ones were faulted by
 * read_fields() already, so all readers take NULL as "nothing to do" and return false.
 */
#ifndef STORE_READ_H
#define STORE_READ_H

#include "book/car.h"
#include "store/doc.h"

struct reader {
	const struct doc *doc;
	struct faults *faults;
	bool bad; /* a fault was found */
};

/* Add a fault at a node; returns false. */
bool read_fault(struct reader *r, const struct node *n, const char *fmt, ...) ERR_PRINTF(3, 4);
bool read_memory(struct reader *r);

struct field {
	const char *key;
	bool required;
};
/*
 * Members of a mapping by the table of its keys: out[i] is the node of fields[i] or
 * NULL. Faults: no mapping, unknown keys, missing required ones. `what` names the
 * mapping in messages ("an adjustable"). False if n is no mapping.
 */
bool read_fields(struct reader *r, const struct node *n, const char *what,
	const struct field *fields, size_t n_fields, const struct node **out);
/* `kind:` and `version:` of a file where they are there; false: it is something else, read no
 * further. Before read_fields(), which then finds them missing. */
bool read_head(struct reader *r, const struct node *root, const char *expected);

/* Is it a list, a mapping, one value? Else a fault; `what` as in "a list of pairs". */
bool read_is_list(struct reader *r, const struct node *n, const char *what);
bool read_is_map(struct reader *r, const struct node *n, const char *what);
bool read_is_scalar(struct reader *r, const struct node *n, const char *what);

/* What the allowed range of a number is; `above`: low itself is not allowed. */
struct range {
	double low, high;
	bool above;
};
/* What a run may hold, for its file and for an import alike. */
extern const struct range range_laptime, range_wear, range_effort, range_fuel, range_temp,
	range_age;
bool number_in_range(double v, struct range range);
bool read_number(struct reader *r, const struct node *n, struct range range, double *out);
void read_optional(struct reader *r, const struct node *n, struct range range, struct opt_num *out);
bool read_laptime(struct reader *r, const struct node *n, double *out);
bool read_fix(struct reader *r, const struct node *n, fix *out);
/* Free text, owned by the caller; *out stays NULL for a NULL node. */
bool read_text(struct reader *r, const struct node *n, char **out);
bool read_id(struct reader *r, const struct node *n, char out[ID_SIZE]);
/* Index of one of the words; -1 with a fault that lists them. */
int read_choice(struct reader *r, const struct node *n, const char *const *words, size_t n_words);
bool node_is(const struct node *n, const char *text);

/* The node's text or kind, cut and made safe for a message; returns buf. */
enum { SHOW_SIZE = 72 };
const char *node_show(const struct node *n, char buf[SHOW_SIZE]);
/* The member's key, or "this". */
const char *node_label(const struct node *n, char buf[SHOW_SIZE]);

/* Put the faults from index `from` on into the order of their places in the file. */
void faults_sort(struct faults *f, size_t from);

#endif
