#include "store/doc.h"

#include "store/arena.h"
#include "store/explain.h"
#include "store/file.h"
#include "store/scan.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <yaml.h>

/* An open collection while its events come in. */
struct level {
	struct node *node;
	struct node *last; /* newest child */
	struct node *key;  /* of a mapping: waiting for its value */
};

struct build {
	struct doc *d;
	struct scan *scan;
	struct faults *faults;
	struct level open[DOC_MAX_DEPTH];
	size_t depth;
	size_t events, documents;
	bool failed; /* any fault so far */
	bool stop;   /* no use in going on */
};

bool doc_fault(const struct doc *d, const struct node *n, struct faults *f, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	faults_vadd(f, d->path, n->line, n->col, fmt, ap);
	va_end(ap);
	return false;
}

static void ERR_PRINTF(3, 4) build_fault(struct build *b, struct place at, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	faults_vadd(b->faults, b->d->path, at.line, at.col, fmt, ap);
	va_end(ap);
	b->failed = true;
}

static void build_memory(struct build *b)
{
	struct err e;

	err_clear(&e);
	err_memory(&e);
	err_at(&e, b->d->path, 0, 0);
	faults_add(b->faults, &e);
	b->failed = b->stop = true;
}

static struct place place_of(const struct build *b, const yaml_mark_t *m)
{
	return scan_char(b->scan, m->index, m->line, m->column);
}

static struct node *node_new(struct build *b, enum node_kind kind, const yaml_event_t *ev)
{
	struct arena *a = b->d->arena;
	struct node *n = arena_take(&a, sizeof *n);
	struct place at = place_of(b, &ev->start_mark);

	b->d->arena = a;
	if (!n) {
		build_memory(b);
		return NULL;
	}
	n->kind = kind;
	n->start = at.byte;
	n->end = place_of(b, &ev->end_mark).byte;
	n->line = at.line;
	n->col = at.col;
	return n;
}

static bool node_take_text(struct build *b, struct node *n, const yaml_event_t *ev)
{
	struct arena *a = b->d->arena;
	char *text = arena_take(&a, ev->data.scalar.length + 1);

	b->d->arena = a;
	if (!text) {
		build_memory(b);
		return false;
	}
	memcpy(text, ev->data.scalar.value, ev->data.scalar.length);
	n->text = text;
	n->len = ev->data.scalar.length;
	return true;
}

static enum scalar_style style_of(yaml_scalar_style_t style)
{
	switch (style) {
	case YAML_SINGLE_QUOTED_SCALAR_STYLE:
		return SCALAR_SINGLE;
	case YAML_DOUBLE_QUOTED_SCALAR_STYLE:
		return SCALAR_DOUBLE;
	case YAML_LITERAL_SCALAR_STYLE:
	case YAML_FOLDED_SCALAR_STYLE:
		return SCALAR_BLOCK;
	default:
		return SCALAR_PLAIN;
	}
}

/* Put a finished scalar, or a collection that has just begun, where it belongs. */
static void build_place(struct build *b, struct node *n)
{
	struct level *top;

	if (b->depth == 0) {
		b->d->root = n;
		return;
	}
	top = &b->open[b->depth - 1];
	if (top->node->kind == NODE_MAP && !top->key) {
		top->key = n;
		if (n->kind == NODE_SCALAR)
			return;
		build_fault(b, (struct place){n->start, n->line, n->col},
			"a key must be a single word, not a list or a mapping");
		b->stop = true;
		return;
	}
	n->key = top->key;
	top->key = NULL;
	if (top->last)
		top->last->next = n;
	else
		top->node->child = n;
	top->last = n;
	top->node->n_children++;
}

static void build_scalar(struct build *b, const yaml_event_t *ev)
{
	struct node *n;

	if (ev->data.scalar.length > DOC_MAX_SCALAR) {
		build_fault(b, place_of(b, &ev->start_mark),
			"is a text of %zu bytes; at most %d are read in one value",
			ev->data.scalar.length, DOC_MAX_SCALAR);
		b->stop = true;
		return;
	}
	n = node_new(b, NODE_SCALAR, ev);
	if (!n || !node_take_text(b, n, ev))
		return;
	n->style = style_of(ev->data.scalar.style);
	build_place(b, n);
}

static void build_open(struct build *b, const yaml_event_t *ev)
{
	bool map = ev->type == YAML_MAPPING_START_EVENT;
	struct node *n;

	if (b->depth == DOC_MAX_DEPTH) {
		build_fault(b, place_of(b, &ev->start_mark),
			"lists and mappings stand more than %d deep here; no file needs that",
			DOC_MAX_DEPTH);
		b->stop = true;
		return;
	}
	n = node_new(b, map ? NODE_MAP : NODE_SEQ, ev);
	if (!n)
		return;
	n->flow = map ? ev->data.mapping_start.style == YAML_FLOW_MAPPING_STYLE
		      : ev->data.sequence_start.style == YAML_FLOW_SEQUENCE_STYLE;
	build_place(b, n);
	b->open[b->depth++] = (struct level){.node = n};
}

static int compare_keys(const void *pa, const void *pb)
{
	const struct node *a = *(struct node *const *)pa, *b = *(struct node *const *)pb;
	size_t len = a->key->len < b->key->len ? a->key->len : b->key->len;
	int order = memcmp(a->key->text, b->key->text, len);

	if (order == 0 && a->key->len != b->key->len)
		order = a->key->len < b->key->len ? -1 : 1;
	if (order == 0)
		order = (a->key->start > b->key->start) - (a->key->start < b->key->start);
	return order;
}

static bool same_key(const struct node *a, const struct node *b)
{
	return a->key->len == b->key->len && memcmp(a->key->text, b->key->text, a->key->len) == 0;
}

/* libyaml lets a key stand twice; which of the two is meant cannot be known. */
static void check_duplicates(struct build *b, const struct node *map)
{
	struct arena *a = b->d->arena;
	const struct node **members;
	size_t n = 0;

	if (map->n_children < 2)
		return;
	members = arena_take(&a, map->n_children * sizeof *members);
	b->d->arena = a;
	if (!members) {
		build_memory(b);
		return;
	}
	for (const struct node *m = map->child; m; m = m->next)
		members[n++] = m;
	qsort(members, n, sizeof *members, compare_keys);
	for (size_t i = 1, first = 0; i < n; i++) {
		const struct node *key = members[i]->key;
		if (!same_key(members[first], members[i])) {
			first = i;
			continue;
		}
		build_fault(b, (struct place){key->start, key->line, key->col},
			"the key '%.*s' stands twice: first on line %zu, again on line %zu; "
			"keep one",
			(int)(key->len < 64 ? key->len : 64), key->text, members[first]->key->line,
			key->line);
	}
}

static void build_close(struct build *b, const yaml_event_t *ev)
{
	struct level *top = &b->open[--b->depth];
	struct node *n = top->node;

	if (n->flow)
		n->end = place_of(b, &ev->end_mark).byte;
	else if (top->last)
		n->end = top->last->end; /* the parser's own mark lies behind later comments */
	if (n->kind == NODE_MAP)
		check_duplicates(b, n);
}

static void check_plain_data(
	struct build *b, const yaml_event_t *ev, const yaml_char_t *anchor, const yaml_char_t *tag)
{
	if (anchor)
		build_fault(b, place_of(b, &ev->start_mark),
			"anchors (&name) are not read; write the value where it is needed");
	if (tag)
		build_fault(b, place_of(b, &ev->start_mark),
			"tags (!name) are not read; write the plain value");
}

static void build_document(struct build *b, const yaml_event_t *ev)
{
	if (++b->documents > 1) {
		build_fault(b, place_of(b, &ev->start_mark),
			"a second document begins here; a file holds one");
		b->stop = true;
	}
}

static void build_event(struct build *b, const yaml_event_t *ev)
{
	switch (ev->type) {
	case YAML_DOCUMENT_START_EVENT:
		build_document(b, ev);
		break;
	case YAML_ALIAS_EVENT:
		build_fault(b, place_of(b, &ev->start_mark),
			"aliases (*name) are not read; write the value itself, or quote it");
		b->stop = true;
		break;
	case YAML_SCALAR_EVENT:
		check_plain_data(b, ev, ev->data.scalar.anchor, ev->data.scalar.tag);
		build_scalar(b, ev);
		break;
	case YAML_SEQUENCE_START_EVENT:
		check_plain_data(
			b, ev, ev->data.sequence_start.anchor, ev->data.sequence_start.tag);
		build_open(b, ev);
		break;
	case YAML_MAPPING_START_EVENT:
		check_plain_data(b, ev, ev->data.mapping_start.anchor, ev->data.mapping_start.tag);
		build_open(b, ev);
		break;
	case YAML_SEQUENCE_END_EVENT:
	case YAML_MAPPING_END_EVENT:
		build_close(b, ev);
		break;
	default:
		break;
	}
}

static void build_problem(struct build *b, const yaml_parser_t *p)
{
	struct problem pr = {.problem = p->problem, .context = p->context};
	struct err e;

	if (p->error == YAML_MEMORY_ERROR) {
		build_memory(b);
		return;
	}
	/* Not the reader's: scan_start() let no byte pass that libyaml's reader refuses. */
	pr.at = place_of(b, &p->problem_mark);
	pr.from = place_of(b, &p->context_mark);
	err_clear(&e);
	explain_problem(&pr, b->scan, &e);
	err_at(&e, b->d->path, pr.at.line, pr.at.col);
	faults_add(b->faults, &e);
	b->failed = b->stop = true;
}

static void build_all(struct build *b, yaml_parser_t *p)
{
	bool end = false;

	while (!end && !b->stop) {
		yaml_event_t ev;
		if (!yaml_parser_parse(p, &ev)) {
			build_problem(b, p);
			return;
		}
		if (++b->events > DOC_MAX_EVENTS) {
			build_fault(b, place_of(b, &ev.start_mark),
				"more than %d values and brackets up to here; the file is too long",
				DOC_MAX_EVENTS);
			b->stop = true;
		} else {
			build_event(b, &ev);
		}
		end = ev.type == YAML_STREAM_END_EVENT;
		yaml_event_delete(&ev);
	}
	if (!b->stop && !b->d->root)
		build_fault(b, (struct place){0, 1, 1}, "is empty; a document is needed");
}

static void parse_scanned(struct build *b)
{
	yaml_parser_t p;
	struct doc *d = b->d;

	if (!yaml_parser_initialize(&p)) {
		build_memory(b);
		return;
	}
	yaml_parser_set_encoding(&p, YAML_UTF8_ENCODING);
	yaml_parser_set_input_string(
		&p, (const unsigned char *)d->bytes + b->scan->bom, d->size - b->scan->bom);
	build_all(b, &p);
	yaml_parser_delete(&p);
}

/* d has its bytes and its path; on a fault it is emptied. */
static bool doc_build(struct doc *d, struct faults *faults)
{
	struct scan scan;
	struct build b = {.d = d, .scan = &scan, .faults = faults};
	struct err e;

	err_clear(&e);
	if (!scan_start(&scan, d->bytes, d->size, &e)) {
		err_at(&e, d->path, e.line, e.col);
		faults_add(faults, &e);
		doc_free(d);
		return false;
	}
	parse_scanned(&b);
	scan_free(&scan);
	if (b.failed)
		doc_free(d);
	return !b.failed;
}

static bool doc_named(struct doc *d, const char *path, struct faults *faults)
{
	struct err e;

	*d = (struct doc){.path = strdup(path)};
	if (d->path)
		return true;
	err_clear(&e);
	err_memory(&e);
	err_at(&e, path, 0, 0);
	faults_add(faults, &e);
	return false;
}

bool doc_read(struct doc *d, const char *path, struct faults *faults)
{
	struct err e;

	if (!doc_named(d, path, faults))
		return false;
	err_clear(&e);
	if (!file_read(path, DOC_MAX_BYTES, &d->bytes, &d->size, &d->stamp, &e)) {
		faults_add(faults, &e);
		doc_free(d);
		return false;
	}
	d->hash = d->stamp.hash;
	return doc_build(d, faults);
}

bool doc_parse(
	struct doc *d, const char *bytes, size_t size, const char *path, struct faults *faults)
{
	struct err e;

	if (!doc_named(d, path, faults))
		return false;
	err_clear(&e);
	if (size > DOC_MAX_BYTES)
		err_input(&e, "is larger than %d bytes, the most that is read", DOC_MAX_BYTES);
	else if (!(d->bytes = malloc(size + 1)))
		err_memory(&e);
	if (!d->bytes) {
		err_at(&e, path, 0, 0);
		faults_add(faults, &e);
		doc_free(d);
		return false;
	}
	if (size > 0)
		memcpy(d->bytes, bytes, size);
	d->bytes[size] = '\0';
	d->size = size;
	d->hash = hash_bytes(d->bytes, size);
	return doc_build(d, faults);
}

void doc_free(struct doc *d)
{
	arena_free(d->arena);
	free(d->bytes);
	free(d->path);
	*d = (struct doc){0};
}

struct node *node_get(const struct node *n, const char *key)
{
	size_t len = strlen(key);

	if (!n || n->kind != NODE_MAP)
		return NULL;
	for (struct node *m = n->child; m; m = m->next) {
		if (m->key->len == len && memcmp(m->key->text, key, len) == 0)
			return m;
	}
	return NULL;
}
