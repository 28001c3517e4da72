#include "tui/answer.h"

#include <stdlib.h>
#include <string.h>

void answer_drop(struct answer *t)
{
	footing_free(t->footing);
	t->footing = NULL;
	t->stale = true;
	for (size_t i = 0; i < REMEMBERED; i++)
		t->of[i].stands = false;
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
	for (size_t i = 0; i < REMEMBERED; i++)
		free(t->of[i].values);
	memset(t, 0, sizeof *t);
}

/* The values are all that a model and a reference leave open: equal ones, equal answers. */
static bool recall(
	const struct answer *t, const struct model *m, const fix *values, struct prediction *out)
{
	const size_t size = m->book->car.n_adjustables * sizeof *values;
	for (size_t i = 0; i < REMEMBERED; i++)
		if (t->of[i].stands && memcmp(t->of[i].values, values, size) == 0) {
			*out = t->of[i].p;
			return true;
		}
	return false;
}

/* Without memory for it nothing is remembered, and the answer is worked out again. */
static void remember(
	struct answer *t, const struct model *m, const fix *values, const struct prediction *p)
{
	const size_t n = m->book->car.n_adjustables;
	struct remembered *r = &t->of[t->oldest];
	if (!r->values)
		r->values = malloc((n + 1) * sizeof *r->values);
	if (!r->values)
		return;
	memcpy(r->values, values, n * sizeof *values);
	r->p = *p;
	r->stands = true;
	t->oldest = (t->oldest + 1) % REMEMBERED;
}

static void predict(struct answer *t, const struct model *m, const fix *values, const fix *against,
	struct prediction *out)
{
	if (recall(t, m, values, out))
		return;
	model_predict(m, values, against, t->footing, out);
	remember(t, m, values, out);
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
	predict(t, m, values, against, &t->p);
	const bool all_told = t->p.delta[RESPONSE_TIME].known && !m->borrowing;
	if (against && t->untested && !all_told)
		t->n_untested = model_untested(m, RESPONSE_TIME, values, against, t->untested);
}

void answer_foretell(struct answer *t, const struct model *m, const fix *values, const fix *against)
{
	struct prediction p;
	if (!t->stale && t->known)
		predict(t, m, values, against, &p);
}
