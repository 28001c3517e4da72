#include "model/effects.h"

#include "model/internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void slope_row(const struct response *r, size_t coord, const double *x, double *l)
{
	const int c = (int)coord;
	for (size_t t = 0; t < r->n_terms; t++) {
		const struct term *k = &r->terms[t];
		l[t] = 0;
		if (k->kind == TERM_LINEAR && k->a == c)
			l[t] = 1;
		else if (k->kind == TERM_SQUARE && k->a == c)
			l[t] = 2 * x[c];
		else if (k->kind == TERM_PRODUCT && (k->a == c || k->b == c))
			l[t] = x[k->a == c ? k->b : k->a];
	}
}

static void find_use(struct effect *e, int channel)
{
	if (channel < 0)
		return;
	const struct estimate *like = &e->like[channel].delta, *time = &e->by[RESPONSE_TIME];
	if (!like->known || !time->known)
		return;
	const double saved = fabs(like->value);
	const double lost = like->value > 0 ? -time->value : time->value;
	e->has_use = true;
	e->clear = like->has_interval && (like->low > 0 || like->high < 0);
	e->cost_told = time->has_interval && (time->low > 0 || time->high < 0);
	e->use = lost > 0 ? saved / (10 * lost) : INFINITY;
}

static void fill(struct effect *e, const struct model *m, const double *x, int channel, double *l)
{
	for (size_t k = 0; k < m->n_responses; k++) {
		slope_row(&m->responses[k], e->coord, x, l);
		e->by[k] = model_contrast(&m->responses[k], l);
	}
	for (size_t c = 0; c < m->book->n_channels; c++) {
		if (!m->like[c].fitted)
			continue;
		slope_row(&m->like[c], e->coord, x, l);
		e->like[c] = model_like_contrast(m, c, l);
	}
	find_use(e, channel);
}

/* Among savings that cost nothing, the larger time gain first. */
static int compare_effects(const void *a, const void *b)
{
	const struct effect *x = a, *y = b;
	if (x->has_use != y->has_use)
		return x->has_use ? -1 : 1;
	if (x->clear != y->clear)
		return x->clear ? -1 : 1;
	if (x->has_use && (x->use > y->use || x->use < y->use))
		return x->use > y->use ? -1 : 1;
	const double tx = fabs(x->by[0].value), ty = fabs(y->by[0].value);
	if (tx > ty || tx < ty)
		return tx > ty ? -1 : 1;
	return x->coord < y->coord ? -1 : x->coord > y->coord;
}

static size_t widest_row(const struct model *m)
{
	size_t n = 1;
	for (size_t k = 0; k < m->n_responses; k++)
		n = m->responses[k].n_terms > n ? m->responses[k].n_terms : n;
	for (size_t c = 0; c < m->book->n_channels; c++)
		n = m->like[c].n_terms > n ? m->like[c].n_terms : n;
	return n;
}

bool effects_make(struct effects *out, const struct model *m, const fix *at, struct err *err)
{
	double *x = malloc((m->n_coords + 1) * sizeof *x);
	double *l = malloc(widest_row(m) * sizeof *l);
	memset(out, 0, sizeof *out);
	out->v = calloc(m->n_coords + 1, sizeof *out->v);
	const bool ok = x && l && out->v;
	if (ok) {
		model_coords(m, at, x);
		out->channel = model_limiting_channel(m, at);
		out->n = m->n_coords;
		for (size_t c = 0; c < m->n_coords; c++) {
			out->v[c].coord = c;
			fill(&out->v[c], m, x, out->channel, l);
		}
		qsort(out->v, out->n, sizeof *out->v, compare_effects);
	} else {
		effects_free(out);
		err_memory(err);
	}
	free(x);
	free(l);
	return ok;
}

void effects_free(struct effects *e)
{
	free(e->v);
	memset(e, 0, sizeof *e);
}

double effects_unit(const struct model *m, size_t coord)
{
	const struct coord *c = &m->coords[coord];
	const struct car *car = &m->book->car;
	const struct adjustable *a = &car->adjustables[c->adjustable];
	fix range = a->max - a->min;
	if (c->kind != COORD_SINGLE) {
		const struct adjustable *r = &car->adjustables[car->pairs[c->pair].rear];
		range = r->max - r->min > range ? r->max - r->min : range;
	}
	return fix_to_double(range) / 2;
}
