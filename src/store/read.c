#include "store/read.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

bool read_fault(struct reader *r, const struct node *n, const char *fmt, ...)
{
	char text[512];
	va_list ap;
	va_start(ap, fmt);
	vsnprintf(text, sizeof text, fmt, ap);
	va_end(ap);
	r->bad = true;
	return doc_fault(r->doc, n, r->faults, "%s", text);
}

bool read_memory(struct reader *r)
{
	struct err e;
	err_clear(&e);
	err_memory(&e);
	err_at(&e, r->doc->path, 0, 0);
	faults_add(r->faults, &e);
	r->bad = true;
	return false;
}

static const char *show(const char *text, size_t len, char buf[SHOW_SIZE])
{
	size_t n = text_safe(buf, SHOW_SIZE - 3, text, len);
	if (n < len) /* nothing is shown shorter than it is: there was no room for the rest */
		memcpy(buf + n, "...", 4);
	return buf;
}

const char *node_show(const struct node *n, char buf[SHOW_SIZE])
{
	if (n->kind == NODE_SCALAR)
		return show(n->text, n->len, buf);
	snprintf(buf, SHOW_SIZE, "%s", n->kind == NODE_SEQ ? "a list" : "a mapping");
	return buf;
}

const char *node_label(const struct node *n, char buf[SHOW_SIZE])
{
	if (n->key)
		return show(n->key->text, n->key->len, buf);
	snprintf(buf, SHOW_SIZE, "this");
	return buf;
}

bool node_is(const struct node *n, const char *text)
{
	size_t len = strlen(text);
	return n && n->kind == NODE_SCALAR && n->len == len && memcmp(n->text, text, len) == 0;
}

/* Adds to a list with commas, as far as there is room. */
static void list_word(char *list, size_t size, const char *word)
{
	const size_t len = strlen(list);
	snprintf(list + len, size - len, "%s%s", len ? ", " : "", word);
}

static void unknown_key(struct reader *r, const struct node *key, const char *what,
	const struct field *fields, size_t n_fields)
{
	char list[400] = "", shown[SHOW_SIZE];
	for (size_t i = 0; i < n_fields; i++)
		list_word(list, sizeof list, fields[i].key);
	read_fault(
		r, key, "unknown key '%s' in %s; allowed: %s", node_show(key, shown), what, list);
}

static size_t find_field(const struct field *fields, size_t n, size_t guess, const struct node *key)
{
	for (size_t k = 0; k < n; k++) {
		size_t i = (guess + k) % n;
		if (node_is(key, fields[i].key))
			return i;
	}
	return n;
}

bool read_fields(struct reader *r, const struct node *n, const char *what,
	const struct field *fields, size_t n_fields, const struct node **out)
{
	for (size_t i = 0; i < n_fields; i++)
		out[i] = NULL;
	if (!n)
		return false;
	if (n->kind != NODE_MAP) {
		char shown[SHOW_SIZE];
		if (n->kind == NODE_SEQ)
			return read_fault(
				r, n, "this is a list; %s is written as key: value", what);
		return read_fault(r, n, "'%s' is no mapping; %s is written as key: value",
			node_show(n, shown), what);
	}
	size_t guess = 0;
	for (const struct node *m = n->child; m; m = m->next) {
		size_t i = find_field(fields, n_fields, guess, m->key);
		if (i == n_fields)
			unknown_key(r, m->key, what, fields, n_fields);
		else
			out[i] = m;
		guess = i + 1;
	}
	for (size_t i = 0; i < n_fields; i++)
		if (fields[i].required && !out[i])
			read_fault(
				r, n, "the key '%s' is missing; %s needs it", fields[i].key, what);
	return true;
}

bool read_head(struct reader *r, const struct node *root, const char *expected)
{
	const struct node *kind = node_get(root, "kind"), *version = node_get(root, "version");
	char shown[SHOW_SIZE];
	if (kind && !node_is(kind, expected))
		return read_fault(r, kind, "kind is '%s'; here it must be '%s'",
			node_show(kind, shown), expected);
	if (version && !node_is(version, "1"))
		return read_fault(r, version,
			"version '%s' is not known; this program reads version 1",
			node_show(version, shown));
	return true;
}

static bool read_is(struct reader *r, const struct node *n, enum node_kind kind, const char *what)
{
	char label[SHOW_SIZE], shown[SHOW_SIZE];
	if (!n)
		return false;
	if (n->kind == kind)
		return true;
	if (n->kind == NODE_SCALAR && n->len == 0)
		return read_fault(r, n, "%s is empty; it must be %s", node_label(n, label), what);
	return read_fault(r, n, "%s is %s%s%s; it must be %s", node_label(n, label),
		n->kind == NODE_SCALAR ? "'" : "", node_show(n, shown),
		n->kind == NODE_SCALAR ? "'" : "", what);
}

bool read_is_list(struct reader *r, const struct node *n, const char *what)
{
	return read_is(r, n, NODE_SEQ, what);
}

bool read_is_map(struct reader *r, const struct node *n, const char *what)
{
	return read_is(r, n, NODE_MAP, what);
}

bool read_is_scalar(struct reader *r, const struct node *n, const char *what)
{
	return read_is(r, n, NODE_SCALAR, what);
}

static bool not_a_number(struct reader *r, const struct node *n, enum num_result res)
{
	char label[SHOW_SIZE], shown[SHOW_SIZE];
	if (n->len == 0)
		return read_fault(r, n, "%s is empty; it must be a number", node_label(n, label));
	return read_fault(
		r, n, "%s: '%s' %s", node_label(n, label), node_show(n, shown), num_explain(res));
}

static bool out_of_range(struct reader *r, const struct node *n, struct range range)
{
	char label[SHOW_SIZE], shown[SHOW_SIZE], low[40], high[40];
	num_print(range.low, low, sizeof low);
	num_print(range.high, high, sizeof high);
	return read_fault(r, n, "%s: %s is out of range; %s %s and at most %s is allowed",
		node_label(n, label), node_show(n, shown), range.above ? "above" : "at least", low,
		high);
}

const struct range range_laptime = {0, 1e7, true}, range_wear = {0, 100, false},
		   range_effort = {0, 150, true}, range_fuel = {0, 10000, false},
		   range_temp = {-60, 100, false}, range_age = {0, 10000, false};

bool number_in_range(double v, struct range range)
{
	return v <= range.high && (range.above ? v > range.low : v >= range.low);
}

bool read_number(struct reader *r, const struct node *n, struct range range, double *out)
{
	double v;
	if (!read_is_scalar(r, n, "a number"))
		return false;
	enum num_result res = num_parse(n->text, n->len, &v);
	if (res != NUM_OK)
		return not_a_number(r, n, res);
	if (!number_in_range(v, range))
		return out_of_range(r, n, range);
	*out = v;
	return true;
}

void read_optional(struct reader *r, const struct node *n, struct range range, struct opt_num *out)
{
	out->has = read_number(r, n, range, &out->v);
}

bool read_laptime(struct reader *r, const struct node *n, double *out)
{
	char label[SHOW_SIZE], shown[SHOW_SIZE];
	double v;
	if (!read_is_scalar(r, n, "a lap time"))
		return false;
	enum num_result res = laptime_parse(n->text, n->len, &v);
	if (res == NUM_COMMA)
		return not_a_number(r, n, res);
	if (res != NUM_OK)
		return read_fault(r, n,
			"%s: '%s' is not a lap time; write seconds (91.243) or M:SS.mmm",
			node_label(n, label), node_show(n, shown));
	if (!number_in_range(v, range_laptime))
		return out_of_range(r, n, range_laptime);
	*out = v;
	return true;
}

bool read_fix(struct reader *r, const struct node *n, fix *out)
{
	if (!read_is_scalar(r, n, "a number"))
		return false;
	enum num_result res = fix_parse(n->text, n->len, out);
	if (res != NUM_OK)
		return not_a_number(r, n, res);
	return true;
}

bool read_text(struct reader *r, const struct node *n, char **out)
{
	char label[SHOW_SIZE];
	if (!read_is_scalar(r, n, "a text"))
		return false;
	if (memchr(n->text, '\0', n->len))
		return read_fault(
			r, n, "%s holds a NUL character; leave it out", node_label(n, label));
	*out = text_dup(n->text, n->len);
	if (!*out)
		return read_memory(r);
	return true;
}

bool read_id(struct reader *r, const struct node *n, char out[ID_SIZE])
{
	char label[SHOW_SIZE], shown[SHOW_SIZE];
	if (!read_is_scalar(r, n, "an id"))
		return false;
	if (!text_is_id(n->text, n->len))
		return read_fault(r, n,
			"%s: '%s' is no id; use a-z, 0-9 and -, beginning with a letter or digit, "
			"at most %d",
			node_label(n, label), node_show(n, shown), ID_MAX);
	memcpy(out, n->text, n->len);
	out[n->len] = '\0';
	return true;
}

int read_choice(struct reader *r, const struct node *n, const char *const *words, size_t n_words)
{
	char label[SHOW_SIZE], shown[SHOW_SIZE], list[200] = "";
	if (!n)
		return -1;
	for (size_t i = 0; i < n_words; i++)
		if (node_is(n, words[i]))
			return (int)i;
	for (size_t i = 0; i < n_words; i++)
		list_word(list, sizeof list, words[i]);
	read_fault(r, n, "%s: '%s' is not known; allowed: %s", node_label(n, label),
		node_show(n, shown), list);
	return -1;
}

static bool comes_after(const struct err *a, const struct err *b)
{
	return a->line != b->line ? a->line > b->line : a->col > b->col;
}

void faults_sort(struct faults *f, size_t from)
{
	for (size_t i = from + 1; i < f->n; i++) {
		struct err e = f->list[i];
		size_t k = i;
		for (; k > from && comes_after(&f->list[k - 1], &e); k--)
			f->list[k] = f->list[k - 1];
		f->list[k] = e;
	}
}
