/*
 * Value-only patching: the bytes of changed values are replaced, all others
 * stay: comments, order, quotes, spacing, line ends, a missing last newline. The result is
 * parsed again and must be the same document but for the changes, else the patch is
 * refused and nothing comes out.
 *
 * Call order: patch_init() on a doc that outlives it; any number of patch_*() calls (each
 * node once); patch_apply(); patch_free(). A failed call spoils the patch: patch_apply()
 * then refuses too.
 */
#ifndef STORE_PATCH_H
#define STORE_PATCH_H

#include "base/text.h"
#include "store/doc.h"

enum patch_type {
	PATCH_NUMBER, /* text is of the number grammar and is written as it is */
	PATCH_TEXT,   /* quoted wherever YAML 1.1 or 1.2 would read it as something else */
};

struct edit;
struct expect;
struct patch {
	const struct doc *d; /* borrowed */
	struct edit *edits;  /* owned: bytes to replace */
	size_t n, cap;
	struct expect *expects; /* owned: what the parsed result must hold */
	size_t n_expects, cap_expects;
	bool failed;
};

void patch_init(struct patch *p, const struct doc *d);
void patch_free(struct patch *p);

/* A scalar on one line, plain or quoted; its quotes are kept where they can be. An unchanged
 * text changes nothing. */
bool patch_scalar(struct patch *p, const struct node *n, enum patch_type type, const char *text,
	struct err *err);

/*
 * The member `key` of the mapping `map`: patched if there, else added behind the last of the
 * members `after` (NULL-ended, may be NULL) that is there, else at the end, in the mapping's
 * own style.
 */
bool patch_member(struct patch *p, const struct node *map, const char *key, enum patch_type type,
	const char *text, const char *const *after, struct err *err);

/*
 * A list of ids as a set (`locks`, `frozen`): ids no longer wanted go, new ones come at the
 * end, the others stay as they are. Flow and block lists, [] and an absent key (added as
 * patch_member() does, unless n is 0) alike.
 */
bool patch_ids(struct patch *p, const struct node *map, const char *key, const char *const *ids,
	size_t n, const char *const *after, struct err *err);

/*
 * Replace a node by YAML text as given (a list of laps written anew). Its value may be anything
 * that the bounds allow; the rest of the document must come out unchanged. Text for a block
 * collection stands from the first item's column, without a line end behind the last.
 */
bool patch_raw(struct patch *p, const struct node *n, const char *yaml, struct err *err);

/* The patched file: *bytes is the caller's. */
bool patch_apply(struct patch *p, char **bytes, size_t *size, struct err *err);

/* Append text as a YAML scalar for one line: plain where that is safe, else in double quotes.
 * For writers of new files. */
void yaml_add_text(struct buf *b, const char *text);
/* Would plain text be read back as this very string by YAML 1.1 and 1.2, in lists and mappings of
 * either style? */
bool yaml_is_plain(const char *text, size_t len);

#endif
