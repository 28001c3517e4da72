#include "store/patch_parts.h"

#include <string.h>

static bool same_text(const struct node *n, const char *text, size_t len)
{
	return n->kind == NODE_SCALAR && n->len == len && memcmp(n->text, text, len) == 0;
}

static bool same_list(const struct node *n, char *const *texts, size_t count)
{
	const struct node *item = n->child;

	if (n->kind != NODE_SEQ || n->n_children != count)
		return false;
	for (size_t i = 0; i < count; i++, item = item->next) {
		if (!same_text(item, texts[i], strlen(texts[i])))
			return false;
	}
	return true;
}

static bool meets(const struct expect *e, const struct node *now)
{
	if (e->kind == EXPECT_RAW)
		return true;
	if (e->kind == EXPECT_IDS || e->kind == EXPECT_NEW_IDS)
		return same_list(now, e->texts, e->n);
	return same_text(now, e->texts[0], strlen(e->texts[0]));
}

static bool is_addition(const struct expect *e)
{
	return e->kind == EXPECT_NEW_SCALAR || e->kind == EXPECT_NEW_IDS;
}

static const struct expect *find_change(const struct patch *p, const struct node *old)
{
	for (size_t i = 0; i < p->n_expects; i++) {
		if (p->expects[i].node == old && !is_addition(&p->expects[i]))
			return &p->expects[i];
	}
	return NULL;
}

/* The member that the mapping was to get, if `now` is it. What is expected at a node whose members
 * are compared are additions: any other change of it takes the place of its members. */
static const struct expect *find_addition(
	const struct patch *p, const struct node *map, const struct node *now)
{
	for (size_t i = 0; now->key && i < p->n_expects; i++) {
		const struct expect *e = &p->expects[i];
		if (e->node == map && same_text(now->key, e->key, strlen(e->key)))
			return e;
	}
	return NULL;
}

static size_t count_additions(const struct patch *p, const struct node *map)
{
	size_t n = 0;

	for (size_t i = 0; i < p->n_expects; i++)
		n += p->expects[i].node == map;
	return n;
}

static bool same_node(const struct patch *p, const struct node *old, const struct node *now);

static bool same_children(const struct patch *p, const struct node *old, const struct node *now)
{
	const struct node *a = old->child, *b = now->child;

	if (now->n_children != old->n_children + count_additions(p, old))
		return false;
	while (b) {
		const struct expect *added = find_addition(p, old, b);
		if (added) {
			if (!meets(added, b))
				return false;
		} else {
			if (!a ||
				(a->key && (!same_text(b->key, a->key->text, a->key->len) ||
						   b->key->style != a->key->style)) ||
				!same_node(p, a, b))
				return false;
			a = a->next;
		}
		b = b->next;
	}
	return !a;
}

/* No deeper than the bound on depth. */
static bool same_node(const struct patch *p, const struct node *old, const struct node *now)
{
	const struct expect *e = find_change(p, old);

	if (e)
		return meets(e, now);
	if (old->kind != now->kind || old->style != now->style || old->flow != now->flow)
		return false;
	if (old->kind == NODE_SCALAR)
		return same_text(now, old->text, old->len);
	return same_children(p, old, now);
}

bool patch_verify(const struct patch *p, const struct doc *d)
{
	return same_node(p, p->d->root, d->root);
}
