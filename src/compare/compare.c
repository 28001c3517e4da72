#include "compare/compare.h"

#include <stdlib.h>
#include <string.h>

static bool group_changed(const struct model *m, size_t group, const fix *a, const fix *b)
{
	const struct group *g = &m->groups[group];
	if (g->pair < 0)
		return a[g->adjustable] != b[g->adjustable];
	const struct pair *p = &m->book->car.pairs[g->pair];
	return a[p->front] != b[p->front] || a[p->rear] != b[p->rear];
}

/* Nothing moved, nothing contributed: known, whatever was tested. */
static struct estimate nothing(void)
{
	return (struct estimate){.known = true, .has_interval = true};
}

static void compare_group(
	struct compare_group *g, const struct model *m, size_t group, const fix *a, const fix *b)
{
	g->group = group;
	g->changed = group_changed(m, group, a, b);
	for (size_t r = 0; r < m->n_responses; r++) {
		if (!m->responses[r].fitted)
			continue;
		g->by[r] = g->changed ? model_group_delta(m, r, group, b, a) : nothing();
	}
	for (size_t c = 0; c < m->book->n_channels; c++) {
		if (!m->like[c].fitted)
			continue;
		if (g->changed)
			g->like[c] = model_like_group(m, c, group, b, a);
		else
			g->like[c].delta = nothing();
	}
}

bool compare_make(
	struct compare *out, const struct model *m, const fix *a, const fix *b, struct err *err)
{
	memset(out, 0, sizeof *out);
	out->groups = calloc(m->n_groups + 1, sizeof *out->groups);
	if (!out->groups)
		return err_memory(err);
	out->n_groups = m->n_groups;
	out->n_responses = m->n_responses;
	out->n_channels = m->book->n_channels;
	for (size_t g = 0; g < m->n_groups; g++)
		compare_group(&out->groups[g], m, g, a, b);
	for (size_t r = 0; r < m->n_responses; r++)
		if (m->responses[r].fitted)
			out->delta[r] = model_delta(m, r, b, a);
	for (size_t c = 0; c < out->n_channels; c++)
		if (m->like[c].fitted)
			out->like[c] = model_like(m, c, b, a);
	out->extrapolated[0] = model_extrapolated(m, a, NULL);
	out->extrapolated[1] = model_extrapolated(m, b, NULL);
	return true;
}

void compare_free(struct compare *c)
{
	free(c->groups);
	memset(c, 0, sizeof *c);
}

void compare_order(const struct compare *c, bool changed_first, size_t *out)
{
	size_t n = 0;
	for (int pass = 0; pass < (changed_first ? 2 : 1); pass++)
		for (size_t g = 0; g < c->n_groups; g++)
			if (!changed_first || c->groups[g].changed == (pass == 0))
				out[n++] = g;
}
