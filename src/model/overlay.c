#include "model/overlay.h"

#include "model/internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One run and response while its side is made. */
struct work {
	const struct book *b;
	const struct run *run;
	int index; /* of the run in the book */
	size_t response;
	size_t n;
};

static bool segment_value(const struct work *w, const struct lap *l, size_t i, double *v)
{
	if (!l->segments || i >= l->n_segments)
		return false;
	const struct lap_segment *s = &l->segments[i];
	*v = w->response == RESPONSE_TIME ? s->time : s->wear[w->response - 1];
	return w->response == RESPONSE_TIME ? s->has_time : s->has_wear[w->response - 1];
}

static size_t segments_given(const struct work *w, const struct lap *l)
{
	size_t given = 0;
	double v;
	for (size_t i = 0; i < w->n; i++)
		given += segment_value(w, l, i, &v);
	return given;
}

/* The lap's own figure; where wear is not written, the sum of a full set of segments. */
static bool lap_value(const struct work *w, const struct lap *l, double *v)
{
	if (w->response == RESPONSE_TIME) {
		*v = l->time;
		return true;
	}
	if (l->has_wear[w->response - 1]) {
		*v = l->wear[w->response - 1];
		return true;
	}
	*v = 0;
	for (size_t i = 0; i < w->n; i++) {
		double s;
		if (!segment_value(w, l, i, &s))
			return false;
		*v += s;
	}
	return true;
}

/* Is this lap among those that stand for the run? `full`: only laps with all segments. */
static bool lap_counts(const struct work *w, const struct lap *l, bool full, double *v)
{
	const size_t given = segments_given(w, l);
	return !l->skip && (full ? given == w->n : given > 0) && lap_value(w, l, v);
}

static size_t count_laps(const struct work *w, bool full)
{
	size_t n = 0;
	double v;
	for (size_t j = 0; j < w->run->n_laps; j++)
		n += lap_counts(w, &w->run->laps[j], full, &v);
	return n;
}

/* Means and variances over the laps that count, of the segments that all of them have. */
static void take_measured(const struct work *w, bool full, struct overlay_side *s)
{
	for (size_t i = 0; i < w->n; i++)
		s->measured[i] = true;
	s->lap = 0;
	for (size_t j = 0; j < w->run->n_laps; j++) {
		double lap, v;
		if (!lap_counts(w, &w->run->laps[j], full, &lap))
			continue;
		s->lap += lap / (double)s->laps;
		for (size_t i = 0; i < w->n; i++)
			if (!segment_value(w, &w->run->laps[j], i, &v))
				s->measured[i] = false;
			else
				s->value[i] += v / (double)s->laps;
	}
	for (size_t j = 0; s->laps > 1 && j < w->run->n_laps; j++) {
		double lap, v;
		if (!lap_counts(w, &w->run->laps[j], full, &lap))
			continue;
		for (size_t i = 0; i < w->n; i++)
			if (s->measured[i] && segment_value(w, &w->run->laps[j], i, &v))
				s->var[i] += (v - s->value[i]) * (v - s->value[i]) /
					     (double)(s->laps - 1) / (double)s->laps;
	}
}

static double share_of(const struct work *w, size_t i)
{
	const struct segment *s = &w->b->circuit.segments[i];
	return w->response == RESPONSE_TIME ? s->time_share : s->wear_share;
}

/* What is not measured gets the rest of the lap by the circuit's shares. */
static void spread_rest(const struct work *w, struct overlay_side *s)
{
	double rest = s->lap, shares = 0;
	size_t open = 0, measured = 0;
	for (size_t i = 0; i < w->n; i++) {
		if (s->measured[i]) {
			rest -= s->value[i];
			measured++;
			continue;
		}
		shares += share_of(w, i);
		open++;
	}
	for (size_t i = 0; i < w->n; i++)
		if (!s->measured[i])
			s->value[i] =
				shares > 0 ? rest * share_of(w, i) / shares : rest / (double)open;
	s->source = open == 0 ? OVERLAY_MEASURED : measured ? OVERLAY_PARTLY : OVERLAY_SPREAD;
}

/* The run's mean of a lap, from whatever readings the fit would take. */
static bool take_lap(const struct work *w, struct overlay_side *s)
{
	struct obs_list o = {0};
	const bool ok = w->response == RESPONSE_TIME ? observe_time(w->b, &o)
						     : observe_wear(w->b, w->response - 1, &o);
	for (size_t i = 0; ok && i < o.n; i++) {
		if (o.v[i].run != w->index)
			continue;
		s->lap += o.v[i].y * (double)o.v[i].n;
		s->laps += o.v[i].n;
	}
	if (s->laps)
		s->lap /= (double)s->laps;
	obs_free(&o);
	return ok;
}

static bool make_side(const struct work *w, struct overlay_side *s)
{
	s->measured = calloc(w->n, sizeof *s->measured);
	s->value = calloc(w->n, sizeof *s->value);
	s->var = calloc(w->n, sizeof *s->var);
	if (!s->measured || !s->value || !s->var)
		return false;
	const size_t full = count_laps(w, true), some = full ? full : count_laps(w, false);
	s->laps = some;
	if (some)
		take_measured(w, full > 0, s);
	else if (!take_lap(w, s))
		return false;
	if (s->laps)
		spread_rest(w, s);
	return true;
}

bool overlay_is_measured(const struct overlay *o, size_t response, size_t segment)
{
	const struct overlay_response *r = &o->by[response];
	return r->has && r->side[0].measured[segment] && r->side[1].measured[segment];
}

static int goes_before(const struct overlay *o, size_t response, size_t a, size_t b)
{
	const struct overlay_response *r = &o->by[response];
	const bool ma = overlay_is_measured(o, response, a),
		   mb = overlay_is_measured(o, response, b);
	const double da = fabs(r->difference[a]), db = fabs(r->difference[b]);
	if (ma != mb)
		return ma;
	return da > db || (!(da < db) && a < b);
}

static void sort_order(struct overlay *o, size_t response)
{
	size_t *order = o->by[response].order;
	for (size_t i = 0; i < o->n; i++) {
		size_t k = i;
		for (; k > 0 && goes_before(o, response, i, order[k - 1]); k--)
			order[k] = order[k - 1];
		order[k] = i;
	}
}

static bool lay_response(struct overlay *o, const int index[2], size_t response)
{
	struct overlay_response *r = &o->by[response];
	r->difference = calloc(o->n, sizeof *r->difference);
	r->se = calloc(o->n, sizeof *r->se);
	r->order = calloc(o->n, sizeof *r->order);
	if (!r->difference || !r->se || !r->order)
		return false;
	for (int k = 0; k < 2; k++) {
		const struct work w = {o->book, o->run[k], index[k], response, o->n};
		if (!make_side(&w, &r->side[k]))
			return false;
	}
	const struct overlay_side *a = &r->side[0], *b = &r->side[1];
	r->has = a->source != OVERLAY_NONE && b->source != OVERLAY_NONE;
	r->lap = b->lap - a->lap;
	for (size_t i = 0; i < o->n; i++) {
		const bool measured = overlay_is_measured(o, response, i);
		r->difference[i] = b->value[i] - a->value[i];
		r->se[i] =
			measured && a->laps > 1 && b->laps > 1 ? sqrt(a->var[i] + b->var[i]) : NAN;
	}
	sort_order(o, response);
	return true;
}

bool overlay_make(struct overlay *out, const struct book *b, const struct run *one,
	const struct run *two, struct err *err)
{
	const int index[2] = {(int)(one - b->runs), (int)(two - b->runs)};
	memset(out, 0, sizeof *out);
	if (b->circuit.n_segments == 0)
		return err_input(err,
			"the circuit '%s' has no segments; add them to its profile to lay "
			"runs over each other along the lap",
			b->circuit.id);
	out->book = b;
	out->run[0] = one;
	out->run[1] = two;
	out->n = b->circuit.n_segments;
	bool ok = true;
	for (size_t k = 0; ok && k < 1 + b->n_channels; k++)
		ok = lay_response(out, index, k);
	if (ok)
		return true;
	overlay_free(out);
	return err_memory(err);
}

void overlay_free(struct overlay *o)
{
	for (size_t k = 0; k < RESPONSES_MAX; k++) {
		struct overlay_response *r = &o->by[k];
		for (int i = 0; i < 2; i++) {
			free(r->side[i].measured);
			free(r->side[i].value);
			free(r->side[i].var);
		}
		free(r->difference);
		free(r->se);
		free(r->order);
	}
	memset(o, 0, sizeof *o);
}

const char *overlay_source_words(const struct overlay_side *s, char *buf, size_t size)
{
	const char *laps = s->laps == 1 ? "lap" : "laps";
	switch (s->source) {
	case OVERLAY_NONE:
		snprintf(buf, size, "no reading");
		break;
	case OVERLAY_SPREAD:
		snprintf(buf, size, "spread by the circuit's shares, not measured (%zu %s)",
			s->laps, laps);
		break;
	case OVERLAY_PARTLY:
		snprintf(buf, size,
			"measured in part on %zu %s, the rest spread by the circuit's shares",
			s->laps, laps);
		break;
	case OVERLAY_MEASURED:
		snprintf(buf, size, "measured on %zu %s", s->laps, laps);
		break;
	}
	return buf;
}
