/*
 * A stint on plain numbers: lap by lap time and wear of one plan, the stops that
 * cost least. Knows nothing of sheets or models. Formulas: doc/stint.md.
 */
#ifndef STINT_PROJECT_H
#define STINT_PROJECT_H

#include "base/err.h"
#include "book/run.h"

/* What holds for all plans. */
struct stint_rules {
	size_t laps, n_channels;
	double wear_limit;                               /* % of tread */
	double fuel_slope, fuel_per_lap, fuel_condition; /* s per kg, kg, kg */
	double age_condition;                            /* laps; where time and wear are told */
	double pace_loss;                                /* s per lap for each % worn */
	bool has_cliff;
	double cliff_at, cliff; /* %; s per % above it */
	bool has_pit_loss;
	double pit_loss; /* s */
};

/* One sheet's figures at the book's conditions. */
struct stint_pace {
	double time;                   /* s */
	double wear[CHANNELS_MAX];     /* % per lap */
	double wear_age[CHANNELS_MAX]; /* % per lap for each lap of tyre age */
};

struct stint_lap {
	double time, cumulative;                       /* s */
	double wear[CHANNELS_MAX], worn[CHANNELS_MAX]; /* % on this lap; % after it */
	bool beyond;                                   /* a channel is past the limit after it */
};

/* Loss of pace at so much worn of the most worn channel. */
double stint_pace_loss(const struct stint_rules *r, double worn);
/* All laps on one set; out has room for r->laps, or is NULL. Returns the total time. */
double stint_project(
	const struct stint_rules *r, const struct stint_pace *p, struct stint_lap *out);
/* Laps that a set lasts inside the limit, at most r->laps. */
size_t stint_set_life(const struct stint_rules *r, const struct stint_pace *p);
/*
 * As many stops as the limit needs, at the laps that cost least: stop_after[] (room for
 * r->laps) gets the lap after which each stop is made; ties: earlier stops. Returns the
 * number of stops, -1 where one lap is already past the limit, -2 out of memory.
 */
long stint_plan_stops(const struct stint_rules *r, const struct stint_pace *p, size_t *stop_after);
/* Total with these stops, pit loss included. */
double stint_project_stops(const struct stint_rules *r, const struct stint_pace *p,
	const size_t *stop_after, size_t n_stops, struct stint_lap *out);
/*
 * Total time with as many stops as the limit needs at the laps that cost least, without
 * planning them: where the loss of pace never falls with wear, sets of equal length (give
 * or take a lap) are the cheapest. INFINITY where one lap is past the limit or a stop is
 * needed and has no pit loss. Only for stint_evenly(r).
 */
double stint_least_total(const struct stint_rules *r, const struct stint_pace *p);
bool stint_evenly(const struct stint_rules *r);
/* First lap from which a's cumulative time stays below b's to the end; 0 if there is none. */
size_t stint_crossover(const struct stint_lap *a, const struct stint_lap *b, size_t laps);

#endif
