#include "model/internal.h"

#include <stdlib.h>
#include <string.h>

void obs_free(struct obs_list *o)
{
	free(o->v);
	memset(o, 0, sizeof *o);
}

static bool obs_add(struct obs_list *o, const struct obs *x)
{
	if (o->n == o->cap) {
		const size_t cap = o->cap ? 2 * o->cap : 64;
		struct obs *v = realloc(o->v, cap * sizeof *v);
		if (!v)
			return false;
		o->v = v;
		o->cap = cap;
	}
	o->v[o->n++] = *x;
	o->laps += x->n;
	return true;
}

static void lap_covariates(const struct run *r, size_t lap, double *cov, bool *has)
{
	const struct lap *l = &r->laps[lap];
	const double j = (double)lap;
	has[COV_EFFORT] = l->has_effort;
	cov[COV_EFFORT] = l->effort;
	has[COV_TYRE_AGE] = r->tyre_age.has;
	cov[COV_TYRE_AGE] = r->tyre_age.v + j;
	has[COV_FUEL] = r->fuel.has && (r->fuel_per_lap.has || lap == 0);
	cov[COV_FUEL] = r->fuel.v - r->fuel_per_lap.v * j;
	has[COV_TRACK_TEMP] = r->track_temp.has;
	cov[COV_TRACK_TEMP] = r->track_temp.v;
	for (int c = 0; c < COV_N; c++)
		if (!has[c])
			cov[c] = 0;
}

static struct obs lap_obs(const struct run *r, int run, size_t lap)
{
	struct obs o = {.run = run, .lap = lap, .n = 1, .time = r->laps[lap].time};
	lap_covariates(r, lap, o.cov, o.has);
	return o;
}

/*
 * Laps whose wear is still to be read. Means are the first value plus the mean distance
 * from it, so that a covariate that stood still stays exactly what it was.
 */
struct gap {
	struct obs first;
	double time, cov[COV_N]; /* sums of distances */
};

static void gap_add(struct gap *g, const struct run *r, int run, size_t lap)
{
	const struct obs o = lap_obs(r, run, lap);
	if (g->first.n == 0) {
		memset(g, 0, sizeof *g);
		g->first = o;
		return;
	}
	g->first.n++;
	g->first.lap = lap;
	g->time += o.time - g->first.time;
	for (int c = 0; c < COV_N; c++) {
		g->first.has[c] = g->first.has[c] && o.has[c];
		g->cov[c] += o.cov[c] - g->first.cov[c];
	}
}

static struct obs gap_mean(const struct gap *g, double used)
{
	struct obs o = g->first;
	const double n = (double)o.n;
	o.y = used / n;
	o.time += g->time / n;
	for (int c = 0; c < COV_N; c++)
		o.cov[c] += g->cov[c] / n;
	return o;
}

bool observe_time(const struct book *b, struct obs_list *o)
{
	for (size_t i = 0; i < b->n_runs; i++)
		for (size_t j = 0; j < b->runs[i].n_laps; j++) {
			if (b->runs[i].laps[j].skip)
				continue;
			struct obs x = lap_obs(&b->runs[i], (int)i, j);
			x.y = x.time;
			if (!obs_add(o, &x))
				return false;
		}
	return true;
}

static bool observe_total(const struct run *r, int run, size_t channel, struct obs_list *o)
{
	struct gap g = {0};
	for (size_t j = 0; j < r->n_laps; j++)
		gap_add(&g, r, run, j);
	struct obs x = gap_mean(&g, r->wear_total[channel]);
	x.whole_run = true;
	return obs_add(o, &x);
}

/*
 * Laps one by one. A lap with `wear` stands for itself; a lap with `worn` settles what the
 * laps since the last reading used, itself included. `worn` goes on where the reading
 * before it stopped, plus what laps in between told of themselves.
 */
static bool observe_laps(const struct run *r, int run, size_t c, struct obs_list *o)
{
	bool chained = r->has_worn_at_start[c];
	double last = r->worn_at_start[c];
	struct gap g = {0};
	for (size_t j = 0; j < r->n_laps; j++) {
		const struct lap *l = &r->laps[j];
		if (l->has_wear[c]) {
			struct obs x = lap_obs(r, run, j);
			x.y = l->wear[c];
			if (!l->skip && !obs_add(o, &x))
				return false;
			last += l->wear[c];
		} else {
			gap_add(&g, r, run, j);
		}
		if (!l->has_worn[c])
			continue;
		if (chained && g.first.n && !l->skip && !l->has_wear[c]) {
			const struct obs x = gap_mean(&g, l->worn[c] - last);
			if (!obs_add(o, &x))
				return false;
		}
		chained = true;
		last = l->worn[c];
		g.first.n = 0;
	}
	return true;
}

static bool has_lap_readings(const struct run *r, size_t c)
{
	for (size_t j = 0; j < r->n_laps; j++)
		if (r->laps[j].has_wear[c] || r->laps[j].has_worn[c])
			return true;
	return false;
}

bool observe_wear(const struct book *b, size_t channel, struct obs_list *o)
{
	for (size_t i = 0; i < b->n_runs; i++) {
		const struct run *r = &b->runs[i];
		bool ok = true;
		if (has_lap_readings(r, channel))
			ok = observe_laps(r, (int)i, channel, o);
		else if (r->has_wear_total[channel] && r->n_laps > 0)
			ok = observe_total(r, (int)i, channel, o);
		if (!ok)
			return false;
	}
	return true;
}

bool observe_readings(const struct book *b, const struct obs_list *time, lap_reading *read,
	const void *what, struct obs_list *out)
{
	out->v = calloc(time->n + 1, sizeof *out->v);
	if (!out->v)
		return false;
	for (size_t i = 0; i < time->n; i++) {
		struct obs o = time->v[i];
		if (!read(&b->circuit, &b->runs[o.run].laps[o.lap], what, &o.y))
			continue;
		out->v[out->n++] = o;
		out->laps++;
	}
	return true;
}
