/*
 * What need not be tested again. A factor is known well enough when, for lap time and for the
 * wear of every channel, what other books tell of its move from end to end has a 95 % interval
 * (their own uncertainty and the spread between circuits in it) no wider to either side than the
 * smallest effect that a two-level plan of this many runs would find with 80 % power, by the
 * noise of those books: standard error 2 s / sqrt(N), s^2 = run^2 + lap^2 / laps.
 */
#include "model/borrow.h"
#include "plan/plan_own.h"
#include "plan/power.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Runs of the smallest two-level plan for so many factors; its spare runs weigh the noise. */
static size_t plan_size(size_t factors)
{
	return 4 * (factors / 4 + 1);
}

static void put(const struct plan_factor *f, const fix *base, size_t n, fix move, fix *out)
{
	memcpy(out, base, n * sizeof *out);
	out[f->adjustable] += move;
	if (f->partner >= 0)
		out[f->partner] += move;
}

static bool told_sharply(const struct model *m, const struct prior *p, const fix *low,
	const fix *high, size_t runs, size_t laps)
{
	double mean, se;
	if (!(p->df >= 1) || !borrow_delta(m, p, high, low, &mean, &se))
		return false;
	const double s2 = p->run + p->lap / (double)laps;
	const double finds = 2 * sqrt(s2 / (double)runs) *
			     power_detectable(fmax(3, (double)runs / 4), 0.05, 0.80);
	return gsl_cdf_tdist_Pinv(0.975, p->df) * se <= finds;
}

static bool known_well(const struct plan *p, const struct plan_factor *f,
	const struct plan_options *o, fix *low, fix *high)
{
	const struct model *m = o->borrowing;
	const size_t laps = PLAN_LAPS_USUAL, runs = plan_size(p->n_factors);
	put(f, o->base->values, p->n_adjustables, f->low, low);
	put(f, o->base->values, p->n_adjustables, f->high, high);
	for (size_t y = 0; y < m->n_responses; y++)
		if (!told_sharply(m, &m->borrowing->prior[y], low, high, runs, laps))
			return false;
	return true;
}

bool plan_leave_borrowed(struct plan *p, const struct plan_options *o)
{
	if (!o->borrowing || !o->borrowing->borrowing)
		return true;
	bool *known = calloc(p->n_factors + 1, sizeof *known);
	fix *low = malloc((p->n_adjustables + 1) * sizeof *low);
	fix *high = malloc((p->n_adjustables + 1) * sizeof *high);
	char ids[PLAN_NOTE_SIZE - 120] = "";
	size_t n = 0, kept = 0;
	bool ok = known && low && high;
	for (size_t f = 0; ok && f < p->n_factors; f++) {
		const size_t len = strlen(ids);
		known[f] = known_well(p, &p->factors[f], o, low, high);
		n += known[f];
		if (known[f])
			snprintf(ids + len, sizeof ids - len, "%s%s", len ? ", " : "",
				p->factors[f].id);
	}
	const bool leave = n < p->n_factors && !o->n_factors;
	for (size_t f = 0; ok && leave && f < p->n_factors; f++)
		if (!known[f])
			p->factors[kept++] = p->factors[f];
	if (ok && leave)
		p->n_factors = kept;
	if (ok && n)
		ok = plan_note(p,
			leave ? "left out, borrowed books tell it more sharply than this plan "
				"would: "
				"%s; --factor ID tests it all the same"
			      : "borrowed books tell these more sharply "
				"than this plan would: %s",
			ids);
	free(known);
	free(low);
	free(high);
	return ok;
}
