/*
 * Bounded reading of one YAML document into a tree with marks. libyaml events
 * only; bounds are enforced before and while parsing; aliases, anchors, tags,
 * directives, duplicate keys and a second document are faults. All scalars are kept as text with
 * their byte range in the file, so that a value can be patched in place.
 *
 * Ownership: a doc owns its bytes and nodes; nodes live as long as the doc.
 */
#ifndef STORE_DOC_H
#define STORE_DOC_H

#include "base/err.h"
#include "store/file.h"
#include <stdint.h>

#define DOC_MAX_BYTES (1024 * 1024)
#define DOC_MAX_DEPTH 16
#define DOC_MAX_EVENTS 100000
#define DOC_MAX_SCALAR (64 * 1024)

enum node_kind { NODE_SCALAR, NODE_SEQ, NODE_MAP };
enum scalar_style { SCALAR_PLAIN, SCALAR_SINGLE, SCALAR_DOUBLE, SCALAR_BLOCK };

struct node {
	enum node_kind kind;
	enum scalar_style style;
	bool flow;        /* sequence or mapping written as [..] or {..} */
	const char *text; /* scalar: decoded, NUL-terminated; may hold NULs, see len */
	size_t len;
	size_t start, end;      /* bytes of the node in the file, quotes and brackets included */
	size_t line, col;       /* 1-based, as an editor counts (columns in characters) */
	const struct node *key; /* of a mapping's member; NULL otherwise */
	struct node *child;     /* first item or member, file order */
	struct node *next;
	size_t n_children;
};

struct doc {
	char *path;  /* owned; for messages */
	char *bytes; /* owned: the file as it is */
	size_t size;
	uint64_t hash;      /* of the bytes */
	struct stamp stamp; /* doc_read: the file as it was read, for file_save; else zero */
	struct node *root;
	void *arena; /* owned */
};

/* Read a file; refuses what is not a regular file (a link to one is fine). A missing file, a
 * folder or a device is a fault too. False: faults has why, d is empty. */
bool doc_read(struct doc *d, const char *path, struct faults *faults);
/* The same from memory (copied); path is only for messages. */
bool doc_parse(
	struct doc *d, const char *bytes, size_t size, const char *path, struct faults *faults);
void doc_free(struct doc *d);

/* Member of a mapping; NULL if absent or n is no mapping. */
struct node *node_get(const struct node *n, const char *key);
/* Add a fault at a node. Always returns false. */
bool doc_fault(const struct doc *d, const struct node *n, struct faults *f, const char *fmt, ...)
	ERR_PRINTF(4, 5);

#endif
