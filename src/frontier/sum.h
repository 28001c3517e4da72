/*
 * The exact Pareto frontier of a sum over groups, on plain arrays; knows nothing
 * of cars. Each group offers levels, one of each group is taken, and two figures
 * add up: `time` and `wear`, both wanted small. The pruned sum of the groups' own
 * fronts is the frontier of all combinations (a dominated partial sum stays
 * dominated whatever is added to it), so it is found without trying them.
 *
 * Figures closer than FRONT_TOL of the largest sum that can occur count as equal.
 * A combination is left out when another is no worse in both figures and better in
 * one. Of combinations equal in both one is kept: fewest changes, then fewest
 * minutes, then the first in the order of levels (first group first).
 */
#ifndef FRONTIER_SUM_H
#define FRONTIER_SUM_H

#include "base/err.h"
#include "base/fix.h"
#include "base/patience.h"

#define FRONT_TOL 1e-12

struct front_level {
	double time, wear;
	unsigned changes;
	fix minutes; /* millionths of a minute, 0 or more */
};
struct front_group {
	size_t n;
	const struct front_level *levels;
};
struct front_bounds {
	bool has_changes, has_minutes;
	unsigned changes;          /* at most */
	fix minutes;               /* at most */
	struct patience *patience; /* NULL: no end of it */
};
struct front_total {
	double time, wear; /* sums in the order of groups */
	unsigned changes;
	fix minutes;
};
struct front_result {
	size_t n, n_groups;
	struct front_total *totals; /* owned [n], by time, fastest first */
	unsigned *choice;           /* owned [n * n_groups]: the level taken of each group */
	double candidates;          /* product of the groups' numbers of levels */
};

/* False: out of memory, or the end of patience. n is 0 where a group has no level or nothing keeps
 * to the bounds; with no groups at all there is one combination, the empty one. */
bool front_sum(const struct front_group *groups, size_t n_groups, const struct front_bounds *bounds,
	struct front_result *out, struct err *err);
void front_free(struct front_result *r);

#endif
