/*
 * An old book's laps as this circuit would have had them: every class of segments weighed by its
 * share here over its base there. doc/borrow.md, "Per segment class".
 */
#include "model/prior_parts.h"
#include "model/segments.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Weights of the classes' figures in a reading; 0 where a class does not enter. */
struct weights {
	double by[2][SEG_CLASSES]; /* lap time, wear */
	size_t response[2];
};

static struct lesson per_lap(enum lesson_why why)
{
	return (struct lesson){.how = LESSON_LAPS, .why = why, .seen = 1};
}

static double class_base(const struct model *old, enum segment_class cls, size_t response)
{
	for (size_t i = 0; i < old->segments->n; i++)
		if (old->segments->v[i].cls == cls)
			return response_base(old, &old->segments->v[i].by[response]);
	return 0;
}

/* Share here over base there of one response's classes. */
static void weigh(const struct model *old, const struct circuit *here, size_t response,
	double *weight, struct lesson *l)
{
	const bool wear = response != RESPONSE_TIME;
	for (int c = 0; c < SEG_CLASSES; c++) {
		const double share = segments_share(here, (enum segment_class)c, wear);
		const double base = class_base(old, (enum segment_class)c, response);
		weight[c] = base > 0 ? share / base : 0;
		l->told[c] = base > 0 ? share : 0;
		l->untold[c] = base > 0 ? 0 : share;
		l->unused[c] = base > 0 && !(share > 0);
	}
}

/* Like-for-like wear is wear + rate * time, both as shares; a class is told where both are. */
static void weigh_like(const struct model *old, const struct circuit *here, size_t channel,
	const double *base, struct weights *w, struct lesson *l)
{
	struct lesson time = {0};
	const double rate = old->exchange[channel - 1].value * base[0] / base[1];
	weigh(old, here, channel, w->by[1], l);
	weigh(old, here, RESPONSE_TIME, w->by[0], &time);
	for (int c = 0; c < SEG_CLASSES; c++) {
		w->by[0][c] *= rate;
		l->untold[c] = fmax(l->untold[c], time.untold[c]);
		l->told[c] = l->untold[c] > 0 ? 0 : l->told[c];
	}
}

static void lay_weights(const struct model *old, const struct circuit *here, size_t slot,
	const double *base, struct weights *w, struct lesson *l)
{
	const size_t channel =
		slot < RESPONSES_MAX ? slot : 1 + (slot - RESPONSES_MAX) % CHANNELS_MAX;
	*w = (struct weights){.response = {RESPONSE_TIME, channel}};
	if (slot == RESPONSE_TIME || slot >= RESPONSES_MAX + CHANNELS_MAX)
		weigh(old, here, RESPONSE_TIME, w->by[0], l);
	else if (slot < RESPONSES_MAX)
		weigh(old, here, channel, w->by[1], l);
	else
		weigh_like(old, here, channel, base, w, l);
}

/* Whether by class at all: from what was told, not told and not used of the classes. */
static void decide(struct lesson *l)
{
	bool lacking = false, unused = false;
	double told = 0;
	for (int c = 0; c < SEG_CLASSES; c++) {
		lacking = lacking || l->untold[c] > 0;
		unused = unused || l->unused[c];
		told += l->told[c];
	}
	if (told > 0) {
		l->how = LESSON_CLASSES;
		l->seen = lacking ? told : 1;
	} else if (unused) {
		l->how = LESSON_NO_COMMON;
	} else {
		*l = per_lap(WHY_NONE_THERE);
	}
}

/* False where the lap has not all figures of the classes that enter. */
static bool read_weighed(const struct circuit *c, const struct lap *l, const void *what, double *y)
{
	const struct weights *w = what;
	*y = 0;
	for (int k = 0; k < 2; k++)
		for (int i = 0; i < SEG_CLASSES; i++) {
			double sum;
			if (w->by[k][i] == 0)
				continue;
			if (!segments_class_sum(c, l, (enum segment_class)i, w->response[k], &sum))
				return false;
			*y += w->by[k][i] * sum;
		}
	return true;
}

/* The readings' fit, on the columns of the old book's own. */
static bool fit_weighed(
	struct model *old, const struct weights *w, bool like, struct response *r, struct err *err)
{
	struct obs_list time = {0}, obs = {0};
	struct setup setup = {0};
	struct levels levels[FAC_N] = {{0}};
	bool ok =
		(observe_time(old->book, &time) &&
			observe_readings(old->book, &time, read_weighed, w, &obs) &&
			terms_setup(old, &time, old->responses[RESPONSE_TIME].curvature, &setup) &&
			terms_levels(old, &time, 1, levels)) ||
		err_memory(err);
	ok = ok && segments_fit_readings(old, &setup, levels, &obs, !like, r, err);
	for (int f = 0; f < FAC_N; f++)
		free(levels[f].level);
	setup_free(&setup);
	obs_free(&time);
	obs_free(&obs);
	return ok;
}

static bool tells(const struct response *r, const struct term *k)
{
	for (size_t t = 0; t < r->n_terms; t++)
		if (r->terms[t].kind == k->kind && r->terms[t].a == k->a && r->terms[t].b == k->b)
			return r->estimable[t];
	return false;
}

/* Is every set-up term that whole laps tell told by these readings too? */
static bool tells_as_much(const struct response *r, const struct response *lap)
{
	if (!r->fitted || !(r->df_run >= 1))
		return false;
	for (size_t t = 0; t < lap->n_terms; t++) {
		const struct term *k = &lap->terms[t];
		if (term_is_setup(k->kind) && lap->estimable[t] && !tells(r, k))
			return false;
	}
	return true;
}

bool classes_make(struct model *old, const struct circuit *here, size_t slot, const double *base,
	const struct response *lap, struct lesson *out, struct response *fit, struct err *err)
{
	struct weights w;
	*out = (struct lesson){.how = LESSON_NONE, .seen = 1};
	if (!lap->fitted || !(lap->df_run >= 1) || !(base[0] > 0) || !(base[1] > 0))
		return true;
	if (here->n_segments == 0 || !old->segments) {
		*out = per_lap(old->segments      ? WHY_NONE_HERE
			       : here->n_segments ? WHY_NONE_THERE
						  : WHY_NO_SEGMENTS);
		return true;
	}
	lay_weights(old, here, slot, base, &w, out);
	decide(out);
	if (out->how != LESSON_CLASSES)
		return true;
	if (!fit_weighed(old, &w, slot >= RESPONSES_MAX, fit, err))
		return false;
	if (!tells_as_much(fit, lap)) {
		response_free(fit);
		*out = per_lap(WHY_FEWER);
	}
	return true;
}
