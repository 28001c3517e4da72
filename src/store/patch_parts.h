/* What the parts of the patcher share; callers use patch.h. */
#ifndef STORE_PATCH_PARTS_H
#define STORE_PATCH_PARTS_H

#include "store/patch.h"

/* Replace bytes [start, end) by text. Edits at one place keep the order in which they were added.
 */
struct edit {
	size_t start, end;
	char *text; /* owned */
	size_t seq;
};

/* What must stand at `node` of the old document in the new one. */
enum expect_kind {
	EXPECT_SCALAR,     /* texts[0] */
	EXPECT_IDS,        /* a list of texts */
	EXPECT_RAW,        /* anything */
	EXPECT_NEW_SCALAR, /* node is a mapping that gets a member `key` with texts[0] */
	EXPECT_NEW_IDS,    /* node is a mapping that gets a member `key`, a list of texts */
};
struct expect {
	enum expect_kind kind;
	const struct node *node;
	char *key;    /* owned; NULL if none */
	char **texts; /* owned */
	size_t n;
};

/* All set p->failed and return false on a fault. text is taken over, NULL meaning no memory. */
bool patch_edit(struct patch *p, size_t start, size_t end, char *text, struct err *err);
/* The texts are copied. */
bool patch_expect(struct patch *p, enum expect_kind kind, const struct node *node, const char *key,
	const char *const *texts, size_t n, struct err *err);
bool patch_refuse(struct patch *p, const struct node *n, struct err *err, const char *fmt, ...)
	ERR_PRINTF(4, 5);
/* Add "key: value" to a mapping, value being YAML text already. */
bool patch_add_member(struct patch *p, const struct node *map, const char *key, const char *value,
	const char *const *after, struct err *err);

/* The file's own line end: of its first line. */
const char *patch_eol(const struct doc *d);
/* First byte of the line that holds `at`; end of its text, before the line end. */
size_t line_begin(const struct doc *d, size_t at);
size_t line_stop(const struct doc *d, size_t at);

/* Is `d` the old document but for what p expects? */
bool patch_verify(const struct patch *p, const struct doc *d);

/* Text in quotes of this style, or in double quotes where that style cannot hold it. */
void yaml_add_quoted(struct buf *b, enum scalar_style style, const char *text, size_t len);

#endif
