#include "model/segments.h"

#include "model/internal.h"
#include "model/words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const segment_class_places[SEG_CLASSES] = {"on straights", "under braking",
	"in slow corners", "in medium corners", "in fast corners", "in traction zones"};

bool segments_class_sum(const struct circuit *c, const struct lap *l, enum segment_class cls,
	size_t response, double *sum)
{
	bool any = false;
	*sum = 0;
	for (size_t i = 0; i < c->n_segments; i++) {
		if (c->segments[i].cls != cls)
			continue;
		if (!l->segments || i >= l->n_segments)
			return false;
		const struct lap_segment *s = &l->segments[i];
		if (response == RESPONSE_TIME ? !s->has_time : !s->has_wear[response - 1])
			return false;
		*sum += response == RESPONSE_TIME ? s->time : s->wear[response - 1];
		any = true;
	}
	return any;
}

double segments_share(const struct circuit *c, enum segment_class cls, bool wear)
{
	double sum = 0, all = 0;
	for (size_t i = 0; i < c->n_segments; i++) {
		const struct segment *s = &c->segments[i];
		const double one = wear ? s->wear_share : s->time_share;
		sum += s->cls == cls ? one : 0;
		all += one;
	}
	return all > 0 ? sum / all : 0;
}

/* One class's part of a lap. */
struct class_reading {
	enum segment_class cls;
	size_t response;
};

static bool read_class(const struct circuit *c, const struct lap *l, const void *what, double *y)
{
	const struct class_reading *w = what;
	return segments_class_sum(c, l, w->cls, w->response, y);
}

bool segments_fit_readings(const struct model *m, const struct setup *setup,
	const struct levels *levels, const struct obs_list *obs, bool effort, struct response *r,
	struct err *err)
{
	struct fit_job j = {.m = m, .setup = setup, .levels = levels, .obs = obs};
	double *y = malloc((obs->n + 1) * sizeof *y);
	if (!y)
		return err_memory(err);
	for (size_t i = 0; i < obs->n; i++)
		y[i] = obs->v[i].y;
	for (int c = 0; c < COV_N; c++)
		j.covariate[c] = (effort || c != COV_EFFORT) && !m->book->covariates[c].off &&
				 covariate_varies(obs, c);
	j.y = y;
	const bool ok = fit_response(&j, r, err);
	free(y);
	return ok;
}

static bool add_class(struct model *m, enum segment_class cls, const struct obs_list *time,
	const struct setup *setup, const struct levels *levels, struct err *err)
{
	struct segment_class_fit *f = &m->segments->v[m->segments->n];
	bool any = false, ok = true;
	memset(f, 0, sizeof *f);
	f->cls = cls;
	for (size_t i = 0; i < m->book->circuit.n_segments; i++)
		f->n_segments += m->book->circuit.segments[i].cls == cls;
	for (size_t k = 0; ok && k < m->n_responses; k++) {
		struct obs_list obs = {0};
		const struct class_reading what = {cls, k};
		ok = observe_readings(m->book, time, read_class, &what, &obs) || err_memory(err);
		any = any || obs.n > 0;
		book_response_id(m->book, k, f->by[k].id, sizeof f->by[k].id);
		ok = ok && segments_fit_readings(m, setup, levels, &obs, true, &f->by[k], err);
		obs_free(&obs);
	}
	if (ok && any)
		m->segments->n++;
	else
		for (size_t k = 0; k < m->n_responses; k++)
			response_free(&f->by[k]);
	return ok;
}

static bool any_segments(const struct book *b)
{
	for (size_t i = 0; i < b->n_runs; i++)
		for (size_t j = 0; j < b->runs[i].n_laps; j++)
			if (b->runs[i].laps[j].segments && !b->runs[i].laps[j].skip)
				return true;
	return false;
}

bool segments_fit(struct model *m, const struct obs_list *time, const struct setup *setup,
	const struct levels *levels, struct err *err)
{
	bool ok = true;
	if (!any_segments(m->book))
		return true;
	m->segments = calloc(1, sizeof *m->segments);
	if (!m->segments)
		return err_memory(err);
	for (int c = 0; ok && c < SEG_CLASSES; c++)
		ok = add_class(m, (enum segment_class)c, time, setup, levels, err);
	return ok;
}

void segments_free(struct segment_fits *s)
{
	for (size_t i = 0; s && i < s->n; i++)
		for (size_t k = 0; k < RESPONSES_MAX; k++)
			response_free(&s->v[i].by[k]);
	free(s);
}

static const struct response *class_response(const struct model *m, size_t i, size_t response)
{
	if (!m->segments || i >= m->segments->n || response >= m->n_responses)
		return NULL;
	const struct response *r = &m->segments->v[i].by[response];
	return r->fitted ? r : NULL;
}

struct estimate segments_effect(
	const struct model *m, size_t i, size_t response, size_t coord, const fix *at)
{
	const struct response *r = class_response(m, i, response);
	struct estimate e = {0};
	if (!r)
		return e;
	double *l = calloc(r->n_terms + m->n_coords + 1, sizeof *l);
	if (!l)
		return e;
	double *x = l + r->n_terms;
	model_coords(m, at, x);
	slope_row(r, coord, x, l);
	e = model_contrast(r, l);
	free(l);
	return e;
}

struct estimate segments_delta(
	const struct model *m, size_t i, size_t response, const fix *values, const fix *against)
{
	const struct response *r = class_response(m, i, response);
	struct estimate e = {0};
	if (!r)
		return e;
	double *l = calloc(2 * r->n_terms + 1, sizeof *l);
	if (!l)
		return e;
	model_row(m, r, values, l);
	model_row(m, r, against, l + r->n_terms);
	for (size_t t = 0; t < r->n_terms; t++)
		l[t] -= l[r->n_terms + t];
	e = model_contrast(r, l);
	free(l);
	return e;
}

const char *segments_words(
	const struct model *m, size_t response, size_t coord, const fix *at, char *buf, size_t size)
{
	static const char *const verb[2][2] = {{"gains", "costs"}, {"saves", "uses more"}};
	size_t n = 0, silent = 0, untold = 0;
	buf[0] = '\0';
	for (size_t i = 0; m->segments && i < m->segments->n && n < size; i++) {
		const struct estimate e = segments_effect(m, i, response, coord, at);
		const bool real = e.known && e.has_interval && (e.low > 0 || e.high < 0);
		untold += !e.known;
		silent += e.known && !real;
		if (!real)
			continue;
		n += (size_t)snprintf(buf + n, size - n, "%s%s %s (%+.*f %s)", n ? ", " : "",
			verb[response != RESPONSE_TIME][e.value > 0],
			segment_class_places[m->segments->v[i].cls],
			words_decimals((e.high - e.low) / 2), e.value,
			response == RESPONSE_TIME ? "s" : "%");
	}
	if (silent && n < size)
		snprintf(buf + n, size - n,
			n ? "; elsewhere can't tell" : "can't tell where on the lap");
	else if (untold && n == 0)
		snprintf(buf, size, "not tested where on the lap");
	return buf;
}
