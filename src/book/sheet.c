#include "book/sheet.h"

#include <stdlib.h>
#include <string.h>

void sheet_init(struct sheet *s)
{
	memset(s, 0, sizeof *s);
}

void sheet_free(struct sheet *s)
{
	free(s->name);
	free(s->notes);
	free(s->values);
	free(s->locked);
	free(s->share_held);
	free(s->frozen);
	sheet_init(s);
}

/* One more than needed, so that a car without pairs is no special case. */
static bool alloc_arrays(struct sheet *s, size_t n_values, size_t n_pairs)
{
	s->n_values = n_values;
	s->n_pairs = n_pairs;
	s->values = calloc(n_values + 1, sizeof *s->values);
	s->locked = calloc(n_pairs + 1, sizeof *s->locked);
	s->share_held = calloc(n_pairs + 1, sizeof *s->share_held);
	s->frozen = calloc(n_values + 1, sizeof *s->frozen);
	return s->values && s->locked && s->share_held && s->frozen;
}

bool sheet_alloc(struct sheet *s, const struct car *c)
{
	sheet_init(s);
	if (!alloc_arrays(s, c->n_adjustables, c->n_pairs)) {
		sheet_free(s);
		return false;
	}
	for (size_t i = 0; i < c->n_adjustables; i++)
		s->values[i] = c->adjustables[i].min;
	return true;
}

static bool copy_text(char **dst, const char *src)
{
	*dst = src ? text_dup(src, strlen(src)) : NULL;
	return !src || *dst;
}

bool sheet_copy(struct sheet *dst, const struct sheet *src)
{
	struct sheet s;
	sheet_init(&s);
	memcpy(s.id, src->id, sizeof s.id);
	bool ok = alloc_arrays(&s, src->n_values, src->n_pairs) && copy_text(&s.name, src->name) &&
		  copy_text(&s.notes, src->notes);
	if (!ok) {
		sheet_free(&s);
		sheet_free(dst);
		return false;
	}
	for (size_t i = 0; i < s.n_values; i++) {
		s.values[i] = src->values[i];
		s.frozen[i] = src->frozen[i];
	}
	for (size_t i = 0; i < s.n_pairs; i++) {
		s.locked[i] = src->locked[i];
		s.share_held[i] = src->share_held[i];
	}
	sheet_free(dst);
	*dst = s;
	return true;
}

bool sheet_equal(const struct sheet *a, const struct sheet *b)
{
	if (a->n_values != b->n_values || a->n_pairs != b->n_pairs)
		return false;
	for (size_t i = 0; i < a->n_values; i++)
		if (a->values[i] != b->values[i] || a->frozen[i] != b->frozen[i])
			return false;
	for (size_t i = 0; i < a->n_pairs; i++)
		if (a->locked[i] != b->locked[i] || a->share_held[i] != b->share_held[i])
			return false;
	return true;
}

size_t sheet_count_changes(const struct sheet *a, const struct sheet *b)
{
	size_t n = 0;
	for (size_t i = 0; i < a->n_values && i < b->n_values; i++)
		n += a->values[i] != b->values[i];
	return n;
}
