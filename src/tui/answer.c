#include "tui/answer.h"

#include <stdlib.h>
#include <string.h>

void answer_drop(struct answer *t)
{
	footing_free(t->footing);
	t->footing = NULL;
	t->stale = true;
	for (size_t i = 0; i < FORETOLD; i++)
		t->ahead[i].stands = false;
}

bool answer_take_model(struct answer *t, const struct model *m)
{
	answer_drop(t);
	free(t->untested);
	t->untested = NULL;
	if (m)
		t->untested = calloc(m->responses[RESPONSE_TIME].n_terms + 1, sizeof *t->untested);
	return !m || t->untested;
}

void answer_free(struct answer *t)
{
	answer_drop(t);
	free(t->untested);
	for (size_t i = 0; i < FORETOLD; i++)
		free(t->ahead[i].values);
	memset(t, 0, sizeof *t);
}

/* The two never differ in more than what is compared: a model's coordinates are made of the
 * sheet's values. NULL: not worked out ahead. */
static const struct foretold *find_ahead(
	const struct answer *t, const struct model *m, const fix *values)
{
	const size_t size = m->book->car.n_adjustables * sizeof *values;
	for (size_t i = 0; i < FORETOLD; i++)
		if (t->ahead[i].stands && memcmp(t->ahead[i].values, values, size) == 0)
			return &t->ahead[i];
	return NULL;
}

void answer_update(struct answer *t, const struct model *m, const fix *values, const fix *against)
{
	if (!t->stale)
		return;
	t->stale = false;
	t->known = m && m->responses[RESPONSE_TIME].fitted;
	t->n_untested = 0;
	if (!t->known)
		return;
	if (against && !t->footing)
		t->footing = footing_new(m, against);
	const struct foretold *ahead = find_ahead(t, m, values);
	if (ahead)
		t->p = ahead->p;
	else
		model_predict(m, values, against, t->footing, &t->p);
	const bool all_told = t->p.delta[RESPONSE_TIME].known && !m->borrowing;
	if (against && t->untested && !all_told)
		t->n_untested = model_untested(m, RESPONSE_TIME, values, against, t->untested);
}

void answer_foretell(struct answer *t, size_t i, const struct model *m, const fix *values, size_t n,
	const fix *against)
{
	struct foretold *f = &t->ahead[i];
	if (t->stale || !t->known)
		return;
	if (!f->values)
		f->values = malloc((n + 1) * sizeof *f->values);
	if (!f->values || (f->stands && memcmp(f->values, values, n * sizeof *values) == 0))
		return;
	memcpy(f->values, values, n * sizeof *values);
	model_predict(m, values, against, t->footing, &f->p);
	f->stands = true;
}
