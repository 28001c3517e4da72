#include "stint/project.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* Rounding may put a set that ends just on the limit a hair past it. */
#define LIMIT_SLACK 1e-9

double stint_pace_loss(const struct stint_rules *r, double worn)
{
	if (!r->has_cliff || worn <= r->cliff_at)
		return r->pace_loss * worn;
	return r->pace_loss * r->cliff_at + r->cliff * (worn - r->cliff_at);
}

/* Fuel is carried for the laps still to go, whatever the plan. */
static double fuel_loss(const struct stint_rules *r, size_t lap)
{
	double fuel = r->fuel_per_lap * (double)(r->laps - lap + 1);
	return r->fuel_slope * (fuel - r->fuel_condition);
}

/* One lap on a set of this age; worn[] is updated. Returns the time without fuel. */
static double drive(const struct stint_rules *r, const struct stint_pace *p, size_t age,
	double *worn, double *wear)
{
	double most = 0, age_off = (double)age - r->age_condition;
	for (size_t c = 0; c < r->n_channels; c++)
		most = fmax(most, worn[c]);
	for (size_t c = 0; c < r->n_channels; c++) {
		wear[c] = fmax(0, p->wear[c] + p->wear_age[c] * age_off);
		worn[c] += wear[c];
	}
	return p->time + stint_pace_loss(r, most);
}

static bool past_limit(const struct stint_rules *r, const double *worn)
{
	for (size_t c = 0; c < r->n_channels; c++)
		if (worn[c] > r->wear_limit + LIMIT_SLACK)
			return true;
	return false;
}

double stint_project_stops(const struct stint_rules *r, const struct stint_pace *p,
	const size_t *stop_after, size_t n_stops, struct stint_lap *out)
{
	double worn[CHANNELS_MAX] = {0}, wear[CHANNELS_MAX] = {0}, total = 0;
	size_t age = 0, stop = 0;
	for (size_t lap = 1; lap <= r->laps; lap++, age++) {
		double time = drive(r, p, age, worn, wear) + fuel_loss(r, lap);
		total += time;
		if (out) {
			struct stint_lap *l = &out[lap - 1];
			*l = (struct stint_lap){.time = time, .beyond = past_limit(r, worn)};
			memcpy(l->wear, wear, sizeof wear);
			memcpy(l->worn, worn, sizeof worn);
		}
		if (stop < n_stops && stop_after[stop] == lap) {
			total += r->pit_loss;
			memset(worn, 0, sizeof worn);
			age = SIZE_MAX; /* the loop makes it 0 */
			stop++;
		}
		if (out)
			out[lap - 1].cumulative = total;
	}
	return total;
}

double stint_project(const struct stint_rules *r, const struct stint_pace *p, struct stint_lap *out)
{
	return stint_project_stops(r, p, NULL, 0, out);
}

size_t stint_set_life(const struct stint_rules *r, const struct stint_pace *p)
{
	double worn[CHANNELS_MAX] = {0}, wear[CHANNELS_MAX];
	for (size_t age = 0; age < r->laps; age++) {
		drive(r, p, age, worn, wear);
		if (past_limit(r, worn))
			return age;
	}
	return r->laps;
}

/* Time of 0, 1, ... laps on one set, fuel left out: it is the same for all plans. */
static void set_costs(
	const struct stint_rules *r, const struct stint_pace *p, size_t life, double *cost)
{
	double worn[CHANNELS_MAX] = {0}, wear[CHANNELS_MAX];
	cost[0] = 0;
	for (size_t age = 0; age < life; age++)
		cost[age + 1] = cost[age] + drive(r, p, age, worn, wear);
}

/*
 * best[s][n]: least time of n laps on s + 1 sets, each of 1..life laps; first[s][n]: laps
 * of the last of these sets.
 */
static void least_cost(
	const double *cost, size_t life, size_t laps, size_t sets, double *best, size_t *last)
{
	for (size_t s = 0; s < sets; s++)
		for (size_t n = 0; n <= laps; n++) {
			double *b = &best[s * (laps + 1) + n];
			size_t *l = &last[s * (laps + 1) + n];
			*b = INFINITY;
			*l = 0;
			if (s == 0 && n >= 1 && n <= life) {
				*b = cost[n];
				*l = n;
			}
			for (size_t k = life; s > 0 && k >= 1; k--) {
				if (k >= n)
					continue;
				double c = best[(s - 1) * (laps + 1) + n - k] + cost[k];
				/* Longest last set first: of equal costs the earlier stop stays. */
				if (c < *b - 1e-9 * fabs(c)) {
					*b = c;
					*l = k;
				}
			}
		}
}

long stint_plan_stops(const struct stint_rules *r, const struct stint_pace *p, size_t *stop_after)
{
	size_t life = stint_set_life(r, p), laps = r->laps;
	if (life == 0)
		return -1;
	size_t sets = (laps + life - 1) / life;
	if (sets <= 1)
		return 0;
	double *cost = calloc(life + 1, sizeof *cost);
	double *best = calloc(sets * (laps + 1), sizeof *best);
	size_t *last = calloc(sets * (laps + 1), sizeof *last);
	long stops = -2;
	if (cost && best && last) {
		set_costs(r, p, life, cost);
		least_cost(cost, life, laps, sets, best, last);
		size_t n = laps;
		for (size_t s = sets - 1; s > 0; s--) {
			n -= last[s * (laps + 1) + n];
			stop_after[s - 1] = n;
		}
		stops = (long)sets - 1;
	}
	free(cost);
	free(best);
	free(last);
	return stops;
}

bool stint_evenly(const struct stint_rules *r)
{
	return r->pace_loss >= 0 && (!r->has_cliff || r->cliff >= 0);
}

/*
 * Wear never falls, so each lap on a set costs at least as much as the one before when
 * the loss grows with wear (a cliff less steep than the pace loss still grows): the cost
 * of a set is convex in its laps, and equal shares are the cheapest.
 */
double stint_least_total(const struct stint_rules *r, const struct stint_pace *p)
{
	size_t life = stint_set_life(r, p);
	if (life == 0)
		return INFINITY;
	size_t sets = (r->laps + life - 1) / life, share = r->laps / sets, longer = r->laps % sets;
	if (sets == 1)
		return stint_project(r, p, NULL);
	if (!r->has_pit_loss)
		return INFINITY;
	double worn[CHANNELS_MAX] = {0}, wear[CHANNELS_MAX], cost = 0, fuel = 0;
	for (size_t age = 0; age < share; age++)
		cost += drive(r, p, age, worn, wear);
	double last = longer ? drive(r, p, share, worn, wear) : 0;
	for (size_t lap = 1; lap <= r->laps; lap++)
		fuel += fuel_loss(r, lap);
	return (double)sets * cost + (double)longer * last + (double)(sets - 1) * r->pit_loss +
	       fuel;
}

size_t stint_crossover(const struct stint_lap *a, const struct stint_lap *b, size_t laps)
{
	size_t first = 0;
	for (size_t lap = laps; lap >= 1 && a[lap - 1].cumulative < b[lap - 1].cumulative; lap--)
		first = lap;
	return first;
}
