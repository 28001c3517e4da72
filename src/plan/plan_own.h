/* Shared by the files that make a plan; nobody else includes it. */
#ifndef PLAN_PLAN_OWN_H
#define PLAN_PLAN_OWN_H

#include "plan/design.h"
#include "plan/plan.h"

/* Fills p->factors from the options; levels for the kind. */
bool plan_choose_factors(
	struct plan *p, const struct book *b, const struct plan_options *o, struct err *err);

/*
 * Factors whose effects borrowed books tell more sharply than a plan of this size would go, unless
 * they were asked for by name; a note says which. False: out of memory.
 */
bool plan_leave_borrowed(struct plan *p, const struct plan_options *o);

/* p's values with every factor moved: level -1, 0 or +1 of each is asked of `level`; at level 0
 * the factor stays at the base, or at its middle in a definitive plan. */
void plan_set_values(const struct plan *p, const fix *base, const signed char *level, fix *out);

/*
 * Order of the runs: entries are rows of the design, or -1 for the base. order has room for
 * plan_order_room(rows). Returns the number of runs, 0 when out of memory.
 */
size_t plan_order_room(size_t rows);
size_t plan_order_random(const struct design *d, bool mirrored, unsigned long seed, int *order);
/* cost: [(rows + 1)^2] garage minutes between rows, the base last. */
size_t plan_order_quick(size_t rows, const double *cost, int *order);

/* Laps of a run, detectable effects, what more would buy. Needs p->runs. */
bool plan_choose_laps(struct plan *p, const struct plan_options *o, struct err *err);
bool plan_find_detectable(
	struct plan *p, const struct book *b, const struct plan_noise *noise, struct err *err);

#endif
