/*
 * A change of any document: byte 0 says what is changed, byte 1 where, then the new text up to a
 * line end, then the document. What comes out differs in that place only, and reads back as meant.
 */
#include "store/patch.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static bool parse(struct doc *d, const char *bytes, size_t size)
{
	struct faults faults;
	bool ok;

	faults_init(&faults);
	ok = doc_parse(d, bytes, size, "fuzz", &faults);
	faults_free(&faults);
	return ok;
}

/* The n-th value that is a scalar, counting on; NULL if there are fewer. */
static const struct node *nth(const struct node *at, size_t *n)
{
	if (at->kind == NODE_SCALAR)
		return (*n)-- == 0 ? at : NULL;
	for (const struct node *c = at->child; c; c = c->next) {
		const struct node *found = nth(c, n);
		if (found)
			return found;
	}
	return NULL;
}

static void check_scalar(const struct doc *d, const struct node *n, size_t at, const char *text,
	const char *out, size_t size)
{
	struct doc again;
	const struct node *now;
	size_t tail = d->size - n->end;

	if (size < n->start + tail || memcmp(out, d->bytes, n->start) != 0 ||
		memcmp(out + size - tail, d->bytes + n->end, tail) != 0 ||
		!parse(&again, out, size))
		abort();
	now = nth(again.root, &at);
	if (!now || strcmp(now->text, text) != 0)
		abort();
	doc_free(&again);
}

static void change_scalar(const struct doc *d, int type, size_t at, const char *text)
{
	size_t count = at, size;
	const struct node *n = nth(d->root, &count);
	struct patch p;
	struct err err;
	char *out;

	if (!n)
		return;
	err_clear(&err);
	patch_init(&p, d);
	patch_scalar(&p, n, type ? PATCH_NUMBER : PATCH_TEXT, text, &err);
	if (patch_apply(&p, &out, &size, &err))
		check_scalar(d, n, at, text, out, size);
	else if (err.cls == ERR_NONE)
		abort();
	free(out);
	patch_free(&p);
}

static void change_map(const struct doc *d, bool list, char *text)
{
	static const char *const after[] = {"values", "locks", NULL};
	const char *ids[8];
	size_t n = 0, size;
	struct patch p;
	struct err err;
	struct doc again;
	char *out, *rest = text;

	err_clear(&err);
	patch_init(&p, d);
	if (list) {
		while (n < 8 && rest && (ids[n] = strsep(&rest, ",")))
			n++;
		patch_ids(&p, d->root, "locks", ids, n, after, &err);
	} else {
		patch_member(&p, d->root, "notes", PATCH_TEXT, text, after, &err);
	}
	if (patch_apply(&p, &out, &size, &err)) {
		if (!parse(&again, out, size))
			abort();
		if (!list && strcmp(node_get(again.root, "notes")->text, text) != 0)
			abort();
		doc_free(&again);
	} else if (err.cls == ERR_NONE) {
		abort();
	}
	free(out);
	patch_free(&p);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	const uint8_t *end = size > 2 ? memchr(data + 2, '\n', size - 2) : NULL;
	struct doc d;
	char *text;

	if (!end)
		return 0;
	text = text_dup((const char *)data + 2, (size_t)(end - data) - 2);
	if (text && parse(&d, (const char *)end + 1, size - (size_t)(end + 1 - data))) {
		if (data[0] % 4 < 2)
			change_scalar(&d, data[0] % 4, data[1], text);
		else if (d.root->kind == NODE_MAP)
			change_map(&d, data[0] % 4 == 2, text);
		doc_free(&d);
	}
	free(text);
	return 0;
}
