#include "store/patch_parts.h"

#include <stdlib.h>
#include <string.h>

/* A list at work: which items stay, which ids are new. */
struct ids {
	struct patch *p;
	const struct node *seq;
	const struct node **items; /* owned */
	bool *keep;                /* owned, per item */
	size_t n_items, n_kept;
	const char **fresh; /* owned, borrowed texts: ids not in the list yet */
	size_t n_fresh;
	const char **after; /* owned: what the list will hold, in order */
	size_t n_after;
	size_t cut_end; /* where the newest cut of a line ends */
};

static void ids_free(struct ids *s)
{
	free(s->items);
	free(s->keep);
	free(s->fresh);
	free(s->after);
}

static bool wanted(const struct node *item, const char *const *ids, size_t n)
{
	if (item->kind != NODE_SCALAR)
		return false;
	for (size_t i = 0; i < n; i++) {
		if (strlen(ids[i]) == item->len && memcmp(ids[i], item->text, item->len) == 0)
			return true;
	}
	return false;
}

static bool listed(const struct ids *s, const char *id)
{
	for (size_t i = 0; i < s->n_items; i++) {
		if (wanted(s->items[i], &id, 1))
			return true;
	}
	return false;
}

static bool ids_start(
	struct ids *s, struct patch *p, const struct node *seq, const char *const *ids, size_t n)
{
	*s = (struct ids){.p = p, .seq = seq, .cut_end = SIZE_MAX};
	s->items = calloc(seq->n_children + 1, sizeof *s->items);
	s->keep = calloc(seq->n_children + 1, sizeof *s->keep);
	s->fresh = calloc(n + 1, sizeof *s->fresh);
	s->after = calloc(seq->n_children + n + 1, sizeof *s->after);
	if (!s->items || !s->keep || !s->fresh || !s->after)
		return false;
	for (const struct node *item = seq->child; item; item = item->next) {
		size_t i = s->n_items++;
		s->items[i] = item;
		s->keep[i] = wanted(item, ids, n);
		if (s->keep[i]) {
			s->n_kept++;
			s->after[s->n_after++] = item->text;
		}
	}
	for (size_t i = 0; i < n; i++) {
		if (listed(s, ids[i]))
			continue;
		s->fresh[s->n_fresh++] = ids[i];
		s->after[s->n_after++] = ids[i];
	}
	return true;
}

static char *join(const char *before, const char *const *ids, size_t n, const char *between,
	const char *behind)
{
	struct buf b;

	buf_init(&b);
	buf_adds(&b, before);
	for (size_t i = 0; i < n; i++) {
		if (i > 0)
			buf_adds(&b, between);
		yaml_add_text(&b, ids[i]);
	}
	buf_adds(&b, behind);
	return buf_take(&b);
}

/* Bytes that go with an item must hold nothing else that a person wrote. */
static bool cut(struct ids *s, size_t start, size_t end, struct err *err)
{
	if (s->seq->flow && memchr(s->p->d->bytes + start, '#', end - start))
		return patch_refuse(s->p, s->seq, err,
			"a comment stands inside this list; change it in the file by hand");
	return patch_edit(s->p, start, end, text_dup("", 0), err);
}

/* The list's own way to part items, where it shows one. */
static char *flow_separator(const struct ids *s)
{
	const char *bytes = s->p->d->bytes;
	size_t from, len;

	if (s->n_items < 2)
		return text_dup(", ", 2);
	from = s->items[0]->end;
	len = s->items[1]->start - from;
	if (bytes[from] != ',')
		return text_dup(", ", 2);
	for (size_t i = 1; i < len; i++) {
		if (bytes[from + i] != ' ')
			return text_dup(", ", 2);
	}
	return text_dup(bytes + from, len);
}

static bool flow_refill(struct ids *s, const char *sep, struct err *err)
{
	size_t start = s->n_items ? s->items[0]->start : s->seq->start + 1;
	size_t end = s->n_items ? s->items[s->n_items - 1]->end : start;

	if (s->n_fresh == 0) { /* a comma behind the last item goes too */
		while (end < s->seq->end - 1 && s->p->d->bytes[end] == ' ')
			end++;
		if (s->p->d->bytes[end] == ',')
			end++;
		else
			end = s->items[s->n_items - 1]->end;
	}
	if (s->n_items && memchr(s->p->d->bytes + start, '#', end - start))
		return cut(s, start, end, err);
	return patch_edit(s->p, start, end, join("", s->fresh, s->n_fresh, sep, ""), err);
}

static bool flow_change(struct ids *s, const char *sep, struct err *err)
{
	bool seen = false;
	size_t last = 0;

	for (size_t i = 0; i < s->n_items; i++) {
		if (s->keep[i]) {
			seen = true;
			last = s->items[i]->end;
		} else if (!cut(s, seen ? s->items[i - 1]->end : s->items[i]->start,
				   seen ? s->items[i]->end : s->items[i + 1]->start, err)) {
			return false;
		}
	}
	return s->n_fresh == 0 ||
	       patch_edit(s->p, last, last, join(sep, s->fresh, s->n_fresh, sep, ""), err);
}

static bool flow_ids(struct ids *s, struct err *err)
{
	char *sep = flow_separator(s);
	bool ok;

	if (!sep)
		return patch_edit(s->p, 0, 0, NULL, err);
	ok = s->n_kept ? flow_change(s, sep, err) : flow_refill(s, sep, err);
	free(sep);
	return ok;
}

/* Take out the line of a block list's item, its own comment with it; lines that follow each other
 * make one cut. */
static bool cut_line(struct ids *s, const struct node *item, struct err *err)
{
	const struct doc *d = s->p->d;
	size_t start = line_begin(d, item->start), end = line_stop(d, item->end);

	if (s->cut_end == start) {
		struct edit *before = &s->p->edits[s->p->n - 1];
		start = before->start;
		free(before->text);
		s->p->n--;
	}
	if (end == d->size) { /* the last line of a file: its line end is the one before */
		start--;
		if (d->bytes[start] == '\n' && d->bytes[start - 1] == '\r')
			start--;
	} else {
		end += d->bytes[end] == '\r' && d->bytes[end + 1] == '\n' ? 2 : 1;
	}
	s->cut_end = end;
	return cut(s, start, end, err);
}

/* The list is a mapping's member, so no item stands on the file's first line. */
static bool is_own_line(const struct doc *d, const struct node *item)
{
	size_t dashes = 0;

	for (size_t at = line_begin(d, item->start); at < item->start; at++) {
		if (d->bytes[at] == '-')
			dashes++;
		else if (d->bytes[at] != ' ')
			return false;
	}
	return dashes == 1 && item->kind == NODE_SCALAR && item->style != SCALAR_BLOCK &&
	       line_stop(d, item->start) >= item->end;
}

/* New items, each on a line like that of `like`: in place of it, its own comment going with it, or
 * behind it. */
static bool add_lines(struct ids *s, const struct node *like, bool instead, struct err *err)
{
	const struct doc *d = s->p->d;
	size_t begin = line_begin(d, like->start), stop = line_stop(d, like->end);
	struct buf b;

	buf_init(&b);
	for (size_t i = 0; i < s->n_fresh; i++) {
		if (i > 0 || !instead) {
			buf_adds(&b, patch_eol(d));
			buf_add(&b, d->bytes + begin, like->start - begin);
		}
		yaml_add_text(&b, s->fresh[i]);
	}
	return patch_edit(s->p, instead ? like->start : stop, stop, buf_take(&b), err);
}

static bool block_empty(struct ids *s, struct err *err)
{
	const struct doc *d = s->p->d;
	size_t at = s->seq->key->end;

	while (d->bytes[at] == ' ')
		at++;
	if (d->bytes[at] != ':')
		return patch_refuse(s->p, s->seq, err,
			"this list cannot be emptied here; change it in the file by hand");
	return patch_edit(s->p, at + 1, at + 1, text_dup(" []", 3), err);
}

static bool block_ids(struct ids *s, struct err *err)
{
	const struct node *last = NULL;
	bool ok = true;

	for (size_t i = 0; i < s->n_items; i++) {
		if (!is_own_line(s->p->d, s->items[i]))
			return patch_refuse(s->p, s->items[i], err,
				"this item does not stand on a line of its own; change the list in "
				"the file by hand");
		if (s->keep[i])
			last = s->items[i];
	}
	if (s->n_fresh > 0) /* a block list has an item */
		ok = add_lines(s, last ? last : s->seq->child, !last, err);
	else if (!last)
		ok = block_empty(s, err);
	for (size_t i = !last && s->n_fresh > 0; ok && i < s->n_items; i++) {
		if (!s->keep[i])
			ok = cut_line(s, s->items[i], err);
	}
	return ok;
}

static bool change_list(
	struct patch *p, const struct node *seq, const char *const *ids, size_t n, struct err *err)
{
	struct ids s;
	bool ok;

	if (!ids_start(&s, p, seq, ids, n)) {
		ids_free(&s);
		return patch_edit(p, 0, 0, NULL, err);
	}
	if (s.n_kept == s.n_items && s.n_fresh == 0)
		ok = true;
	else
		ok = (seq->flow ? flow_ids(&s, err) : block_ids(&s, err)) &&
		     patch_expect(p, EXPECT_IDS, seq, NULL, s.after, s.n_after, err);
	ids_free(&s);
	return ok;
}

bool patch_ids(struct patch *p, const struct node *map, const char *key, const char *const *ids,
	size_t n, const char *const *after, struct err *err)
{
	const struct node *seq = node_get(map, key);
	char *list;
	bool ok;

	if (seq && seq->kind == NODE_SEQ)
		return change_list(p, seq, ids, n, err);
	if (seq && (seq->kind != NODE_SCALAR || seq->style != SCALAR_PLAIN || seq->len > 0))
		return patch_refuse(p, seq, err, "'%s' is not a list", key);
	if (n == 0)
		return true;
	list = join(seq ? " [" : "[", ids, n, ", ", "]");
	if (!list)
		return patch_edit(p, 0, 0, NULL, err);
	if (seq)
		return patch_edit(p, seq->start, seq->end, list, err) &&
		       patch_expect(p, EXPECT_IDS, seq, NULL, ids, n, err);
	ok = patch_add_member(p, map, key, list, after, err) &&
	     patch_expect(p, EXPECT_NEW_IDS, map, key, ids, n, err);
	free(list);
	return ok;
}
