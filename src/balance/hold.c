#include "balance/hold.h"

#include <math.h>
#include <stdlib.h>

static bool part_is(const struct part *p, int adjustable)
{
	return p->kind == PART_ADJUSTABLE && p->adjustable == adjustable;
}

bool balance_bears_on_transfer(const struct car *car, int a)
{
	const struct chassis *c = &car->chassis;
	return car->has_chassis && (part_is(&c->front.spring, a) || part_is(&c->rear.spring, a) ||
					   part_is(&c->front.bar, a) || part_is(&c->rear.bar, a));
}

bool balance_bears_on_aero(const struct car *car, int a)
{
	const struct chassis *c = &car->chassis;
	return car->has_chassis && (part_is(&c->front.wing, a) || part_is(&c->rear.wing, a));
}

/* How far the share lies off the anchor with `other` at v. */
static double off_anchor(const struct car *car, fix *values, int other, fix v, double anchor)
{
	values[other] = v;
	const struct opt_num share = balance_share(car, values);
	return share.has ? share.v - anchor : INFINITY;
}

/* The share rises or falls all along with one end's stiffness, so halving finds the place. */
fix balance_hold_step(const struct car *car, fix *values, int other, double anchor)
{
	const struct adjustable *ad = &car->adjustables[other];
	fix lo = -1, hi = (ad->max - ad->min) / ad->step + 1, now = values[other];
	const double at_min = off_anchor(car, values, other, ad->min, anchor);
	const bool rising = off_anchor(car, values, other, ad->max, anchor) > at_min;
	while (hi - lo > 1) {
		fix mid = lo + (hi - lo) / 2;
		double off = off_anchor(car, values, other, ad->min + mid * ad->step, anchor);
		if (rising ? off > 0 : off < 0)
			hi = mid;
		else
			lo = mid;
	}
	fix a = ad->min + lo * ad->step, b = ad->min + hi * ad->step;
	double da = fabs(off_anchor(car, values, other, a, anchor));
	double db = fabs(off_anchor(car, values, other, b, anchor));
	values[other] = now;
	if (fabs(da - db) < 1e-12)
		return llabs(a - now) <= llabs(b - now) ? a : b;
	return da < db ? a : b;
}
