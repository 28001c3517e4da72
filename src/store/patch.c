#include "store/patch_parts.h"

#include "base/fix.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void patch_init(struct patch *p, const struct doc *d)
{
	*p = (struct patch){.d = d};
}

static void expect_free(struct expect *e)
{
	for (size_t i = 0; i < e->n; i++)
		free(e->texts[i]);
	free(e->texts);
	free(e->key);
}

void patch_free(struct patch *p)
{
	for (size_t i = 0; i < p->n; i++)
		free(p->edits[i].text);
	for (size_t i = 0; i < p->n_expects; i++)
		expect_free(&p->expects[i]);
	free(p->edits);
	free(p->expects);
	patch_init(p, p->d);
}

bool patch_refuse(struct patch *p, const struct node *n, struct err *err, const char *fmt, ...)
{
	char text[sizeof err->text];
	va_list ap;

	va_start(ap, fmt);
	vsnprintf(text, sizeof text, fmt, ap);
	va_end(ap);
	err_input(err, "%s", text);
	err_at(err, p->d->path, n ? n->line : 0, n ? n->col : 0);
	p->failed = true;
	return false;
}

static bool patch_memory(struct patch *p, struct err *err)
{
	err_memory(err);
	err_at(err, p->d->path, 0, 0);
	p->failed = true;
	return false;
}

/* Room for one more; the array stays as it is when there is none. */
static bool grow(void **array, size_t n, size_t *cap, size_t size)
{
	size_t more = *cap ? *cap * 2 : 8;
	void *at;

	if (n < *cap)
		return true;
	at = realloc(*array, more * size);
	if (!at)
		return false;
	*array = at;
	*cap = more;
	return true;
}

bool patch_edit(struct patch *p, size_t start, size_t end, char *text, struct err *err)
{
	void *edits = p->edits;
	bool room = grow(&edits, p->n, &p->cap, sizeof *p->edits);

	p->edits = edits;
	if (!text || !room) {
		free(text);
		return patch_memory(p, err);
	}
	p->edits[p->n] = (struct edit){start, end, text, p->n};
	p->n++;
	return true;
}

bool patch_expect(struct patch *p, enum expect_kind kind, const struct node *node, const char *key,
	const char *const *texts, size_t n, struct err *err)
{
	struct expect e = {.kind = kind, .node = node};
	void *expects = p->expects;
	bool ok = grow(&expects, p->n_expects, &p->cap_expects, sizeof *p->expects);

	p->expects = expects;
	if (ok && key)
		ok = (e.key = strdup(key)) != NULL;
	if (ok && n > 0)
		ok = (e.texts = calloc(n, sizeof *e.texts)) != NULL;
	for (; ok && e.n < n; e.n++) {
		e.texts[e.n] = strdup(texts[e.n]);
		if (!e.texts[e.n])
			ok = false;
	}
	if (!ok) {
		expect_free(&e);
		return patch_memory(p, err);
	}
	p->expects[p->n_expects++] = e;
	return true;
}

const char *patch_eol(const struct doc *d)
{
	for (size_t i = 0; i < d->size; i++) {
		if (d->bytes[i] == '\n')
			return "\n";
		if (d->bytes[i] == '\r')
			return d->bytes[i + 1] == '\n' ? "\r\n" : "\r";
	}
	return "\n";
}

static bool is_break(char c)
{
	return c == '\n' || c == '\r';
}

size_t line_begin(const struct doc *d, size_t at)
{
	while (at > 0 && !is_break(d->bytes[at - 1]))
		at--;
	return at;
}

size_t line_stop(const struct doc *d, size_t at)
{
	while (at < d->size && !is_break(d->bytes[at]))
		at++;
	return at;
}

static bool check_text(struct patch *p, const struct node *n, enum patch_type type,
	const char *text, struct err *err)
{
	size_t len = strlen(text);
	double number;

	if (type == PATCH_NUMBER && num_parse(text, len, &number) != NUM_OK)
		return patch_refuse(p, n, err, "'%s' is not a number", text);
	if (!text_utf8_valid(text, len))
		return patch_refuse(p, n, err, "the text is not UTF-8");
	if (len > DOC_MAX_SCALAR)
		return patch_refuse(p, n, err, "a text of %zu bytes; at most %d can be kept", len,
			DOC_MAX_SCALAR);
	return true;
}

static bool is_one_line(const struct doc *d, const struct node *n)
{
	return n->style != SCALAR_BLOCK && !memchr(d->bytes + n->start, '\n', n->end - n->start) &&
	       !memchr(d->bytes + n->start, '\r', n->end - n->start);
}

bool patch_scalar(struct patch *p, const struct node *n, enum patch_type type, const char *text,
	struct err *err)
{
	size_t len = strlen(text);
	struct buf b;

	if (n->kind != NODE_SCALAR)
		return patch_refuse(p, n, err, "a list or mapping stands where one value should");
	if (!check_text(p, n, type, text, err))
		return false;
	if (len == n->len && memcmp(text, n->text, len) == 0)
		return true;
	if (!is_one_line(p->d, n))
		return patch_refuse(p, n, err,
			"this value is written over several lines; change it in the file by hand");
	buf_init(&b);
	/* An empty value stands behind something: a text of nothing is no document. */
	if (n->start == n->end && p->d->bytes[n->start - 1] != ' ')
		buf_adds(&b, " ");
	if (n->style == SCALAR_PLAIN && type == PATCH_NUMBER)
		buf_add(&b, text, len);
	else if (n->style == SCALAR_PLAIN)
		yaml_add_text(&b, text);
	else
		yaml_add_quoted(&b, n->style, text, len);
	return patch_edit(p, n->start, n->end, buf_take(&b), err) &&
	       patch_expect(p, EXPECT_SCALAR, n, NULL, &text, 1, err);
}

/* The last of the members named that is there; the last of all if none is. */
static const struct node *find_place(const struct node *map, const char *const *after)
{
	const struct node *last = NULL, *named = NULL;

	for (const struct node *m = map->child; m; m = m->next) {
		last = m;
		for (size_t i = 0; after && after[i]; i++) {
			if (strcmp(after[i], m->key->text) == 0)
				named = m;
		}
	}
	return named ? named : last;
}

/* Behind the text of the line on which the member ends. */
static size_t place_behind(const struct doc *d, const struct node *m)
{
	size_t at = m->end;

	if (m->kind == NODE_SCALAR && m->style == SCALAR_BLOCK && is_break(d->bytes[at - 1])) {
		at--; /* its key stands before */
		return d->bytes[at] == '\n' && d->bytes[at - 1] == '\r' ? at - 1 : at;
	}
	return line_stop(d, at);
}

bool patch_add_member(struct patch *p, const struct node *map, const char *key, const char *value,
	const char *const *after, struct err *err)
{
	const struct node *m;
	struct buf b;
	size_t at;

	if (map->kind != NODE_MAP)
		return patch_refuse(p, map, err, "'%s' can only be added to a mapping", key);
	m = find_place(map, after); /* a block mapping has a member */
	buf_init(&b);
	if (map->flow) {
		at = m ? m->end : map->start + 1;
		buf_addf(&b, "%s%s: %s", m ? ", " : "", key, value);
	} else {
		at = place_behind(p->d, m);
		buf_addf(&b, "%s%*s%s: %s", patch_eol(p->d), (int)(map->col - 1), "", key, value);
	}
	return patch_edit(p, at, at, buf_take(&b), err);
}

bool patch_member(struct patch *p, const struct node *map, const char *key, enum patch_type type,
	const char *text, const char *const *after, struct err *err)
{
	const struct node *n = node_get(map, key);
	struct buf b;
	char *value;
	bool ok;

	if (n)
		return patch_scalar(p, n, type, text, err);
	if (!check_text(p, map, type, text, err))
		return false;
	buf_init(&b);
	if (type == PATCH_NUMBER)
		buf_adds(&b, text);
	else
		yaml_add_text(&b, text);
	value = buf_take(&b);
	if (!value)
		return patch_memory(p, err);
	ok = patch_add_member(p, map, key, value, after, err) &&
	     patch_expect(p, EXPECT_NEW_SCALAR, map, key, &text, 1, err);
	free(value);
	return ok;
}

bool patch_raw(struct patch *p, const struct node *n, const char *yaml, struct err *err)
{
	return patch_edit(p, n->start, n->end, text_dup(yaml, strlen(yaml)), err) &&
	       patch_expect(p, EXPECT_RAW, n, NULL, NULL, 0, err);
}

static int compare_edits(const void *pa, const void *pb)
{
	const struct edit *a = pa, *b = pb;

	if (a->start != b->start)
		return a->start < b->start ? -1 : 1;
	/* An insertion comes before what replaces the bytes that follow it. */
	if ((a->end == a->start) != (b->end == b->start))
		return a->end == a->start ? -1 : 1;
	return (a->seq > b->seq) - (a->seq < b->seq);
}

static bool patch_write(struct patch *p, struct buf *out, struct err *err)
{
	size_t at = 0;

	if (p->n > 1)
		qsort(p->edits, p->n, sizeof *p->edits, compare_edits);
	for (size_t i = 0; i < p->n; i++) {
		const struct edit *e = &p->edits[i];
		if (e->start < at)
			return patch_refuse(p, NULL, err, "two changes meet in one place");
		buf_add(out, p->d->bytes + at, e->start - at);
		buf_adds(out, e->text);
		at = e->end;
	}
	buf_add(out, p->d->bytes + at, p->d->size - at);
	if (out->failed)
		return patch_memory(p, err);
	return true;
}

/* Read it back: the same document but for the changes, or nothing is saved. */
static bool patch_recheck(struct patch *p, const struct buf *out, struct err *err)
{
	struct faults faults;
	struct doc again;
	bool ok;

	faults_init(&faults);
	ok = doc_parse(&again, out->data, out->len, p->d->path, &faults);
	if (ok) {
		ok = patch_verify(p, &again);
		doc_free(&again);
		if (!ok)
			patch_refuse(p, NULL, err,
				"this change cannot be made without touching "
				"other values; make it in the file by hand");
	} else if (faults_class(&faults) == ERR_FAILED) {
		patch_memory(p, err);
	} else {
		patch_refuse(p, NULL, err,
			"the changed file could not be read back (%s); make "
			"the change in the file by hand",
			faults.list[0].text);
	}
	faults_free(&faults);
	return ok;
}

bool patch_apply(struct patch *p, char **bytes, size_t *size, struct err *err)
{
	struct buf out;

	*bytes = NULL;
	*size = 0;
	if (p->failed) {
		if (err->cls == ERR_NONE)
			err_failed(err, "a change could not be made");
		return false;
	}
	buf_init(&out);
	if (!patch_write(p, &out, err) || !patch_recheck(p, &out, err)) {
		buf_free(&out);
		return false;
	}
	*size = out.len;
	*bytes = buf_take(&out); /* no document is empty: there is a text */
	return true;
}
