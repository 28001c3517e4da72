/*
 * Groups that bear on a bounded share, taken as one. A share of load transfer or downforce does
 * not add up over groups, so a bound on it cannot be kept group by group. But only a
 * few groups bear on it: their combinations are gone through one by one, those outside
 * the band are left out, and what is left is one group of the sum like any other. The frontier
 * stays exact.
 */
#ifndef FRONTIER_JOINT_H
#define FRONTIER_JOINT_H

#include "frontier/moves.h"

enum { JOINT_SHARES = 2 }; /* load transfer, aero */

/* What goes into the sum: single groups as they are, joint ones as combinations. */
struct joint {
	size_t n_parts;
	size_t *part; /* owned: indices of moves */
	size_t n;
	const struct front_level
		*levels;         /* owned where n_parts > 1 or bounded, else the moves' own */
	struct front_level *own; /* owned; NULL for an unbounded single */
	unsigned *choice;        /* owned [n * n_parts] with `own` */
};
struct joints {
	size_t n;
	struct joint *v; /* owned */
};

/*
 * Lay out moves[n_groups] for the sum under the bands of o, around the reference's shares.
 * False: out of memory, a share that the car cannot tell, or more combinations than can be tried.
 */
bool joints_make(struct joints *out, const struct model *m, const struct sheet *start,
	const struct sheet *reference, const struct moves *moves, size_t n_groups,
	const struct frontier_options *o, struct err *err);
void joints_free(struct joints *j);
/* One point's choice among joints to the level of each group. */
void joints_expand(const struct joints *j, const unsigned *choice, unsigned *levels);

#endif
