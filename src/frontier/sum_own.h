/* What sum.c (groups, budgets, stages) and sum_build.c (one front) share. */
#ifndef FRONTIER_SUM_OWN_H
#define FRONTIER_SUM_OWN_H

#include "frontier/sum.h"

#include <stdint.h>

/*
 * Groups are taken in one after the other. After stage s there is one front for each
 * pair of budgets (changes, minutes) that later groups may leave over; a front under
 * budgets holds the best partial sums that keep to them. A budget larger than all that
 * the groups so far could spend is cut to that, so without bounds there is one front
 * a stage.
 */
struct point {
	double time, wear;
	uint32_t from;  /* index into the front of the stage before */
	uint32_t level; /* index into the group's levels */
};
struct front {
	struct point *p; /* owned */
	size_t n, cap;
};
struct budget {
	unsigned changes;
	fix minutes;
};
/* Levels of one group that cost the same, pruned; time ascending: a front of their own. */
struct level_class {
	unsigned changes;
	fix minutes;
	size_t n, first;    /* into stage.order */
	struct front front; /* the same as points, once a long class has to be moved as a whole */
};
struct stage {
	size_t group; /* index into the caller's groups */
	const struct front_level *levels;
	uint32_t *order; /* owned: level indices, class by class */
	size_t n_levels; /* in order */
	size_t n_classes;
	struct level_class *classes; /* owned */
	uint32_t *class_of;          /* owned: by level index */
	size_t n_budgets;
	struct budget *budgets; /* owned */
	uint32_t *before; /* owned [n_budgets * n_classes]: budget of the stage before, or NONE */
	struct front *fronts; /* owned [n_budgets] */
};
#define NONE UINT32_MAX

struct sum {
	size_t n_stages, n_groups;
	struct stage *stages; /* owned; stages[0] is the empty sum */
	double tol_time, tol_wear;
	unsigned *choice_a, *choice_b; /* owned [n_groups], for ties */
	struct patience *patience;     /* NULL: no end of it */
};

/* A partial sum that need not be in a front yet: stage, budget, and the point. */
struct partial {
	size_t stage, budget;
	struct point p;
};

/*
 * A front moved in the plane: that of the stage before by one level, or where the levels of a
 * class are many more than its points, the class by one of the points.
 */
struct shifted {
	const struct front *base;
	double time, wear; /* how far */
	uint32_t index;    /* of the level; by_point: of the point */
	bool by_point;
	size_t at; /* the first point not yet looked at */
};

/* Room for fronts under construction, kept from one to the next. */
struct workspace {
	struct front local, spare, grown; /* owned */
	size_t cap_lists, cap_edges;
	struct shifted *lists; /* owned */
	double *edges;         /* owned */
};

/* The levels chosen behind a partial sum, and what they cost. choice has room for n_groups. */
void partial_decode(
	const struct sum *s, struct partial x, unsigned *choice, unsigned *changes, fix *minutes);
/* The front of a stage under a budget, from the fronts of the stage before. False: out of memory,
 * or the end of patience. */
bool front_build(struct sum *s, size_t stage, size_t budget, struct workspace *w);

#endif
