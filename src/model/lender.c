/* The books that lend: their own fits, and by class of segments for the circuit here. */
#include "model/prior_parts.h"

#include <stdlib.h>

void lenders_free(struct lenders *l)
{
	if (!l)
		return;
	for (size_t i = 0; i < l->n; i++) {
		model_free(l->v[i].m);
		for (size_t k = 0; k < PRIOR_SLOTS; k++)
			response_free(&l->v[i].fit[k]);
	}
	free(l->v);
	free(l);
}

/* All responses of an old book, by class of segments where both sides have them. */
static bool find_lessons(const struct book *here, struct lender *s, struct err *err)
{
	bool ok = true;
	for (size_t slot = 0; ok && slot < PRIOR_SLOTS; slot++) {
		size_t theirs;
		if (!prior_old_slot(here, s->m, slot, &theirs) || !borrow_response(s->m, theirs))
			continue;
		const double base[2] = {prior_base(s->m, RESPONSE_TIME), prior_base(s->m, theirs)};
		ok = classes_make(s->m, &here->circuit, theirs, base, borrow_response(s->m, theirs),
			&s->lesson[slot], &s->fit[slot], err);
	}
	return ok;
}

static bool add_lender(
	const struct book *here, const struct borrow *from, struct lenders *l, struct err *err)
{
	struct lender *s = &l->v[l->n];
	s->from = from;
	s->m = model_new(from->book, err);
	if (!s->m)
		return false;
	l->n++;
	return find_lessons(here, s, err);
}

struct lenders *lenders_new(const struct book *b, struct err *err)
{
	struct lenders *l = calloc(1, sizeof *l);
	bool ok = l && (l->v = calloc(b->n_borrow + 1, sizeof *l->v));
	if (!ok)
		err_memory(err);
	for (size_t i = 0; ok && i < b->n_borrow; i++)
		if (b->borrow[i].book)
			ok = add_lender(b, &b->borrow[i], l, err);
	if (ok)
		return l;
	lenders_free(l);
	return NULL;
}
