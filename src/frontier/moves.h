/*
 * What each group of a sheet can do: its moves from a start sheet inside limits, soft
 * limits, the driven range and what was tested, and what they do to every response.
 */
#ifndef FRONTIER_MOVES_H
#define FRONTIER_MOVES_H

#include "frontier/frontier.h"
#include "frontier/sum.h"

/* What a move does to each: lap time, wear of each channel, like-for-like of each channel. */
enum {
	EFFECT_TIME = 0,
	EFFECT_WEAR = 1,
	EFFECT_LIKE = 1 + CHANNELS_MAX,
	EFFECTS_MAX = 1 + 2 * CHANNELS_MAX
};

struct effects {
	bool known[EFFECTS_MAX];
	double v[EFFECTS_MAX];
};

/* Why moves of a group were left out; the counts are of values, not of moves tried twice. */
struct moves_left_out {
	bool frozen;
	size_t caution, range, untested;
};

/* The values one group may take; the first is to stay. */
struct moves {
	size_t group;
	int member[2]; /* adjustables; member[1] is -1 for a single */
	size_t n, cap;
	struct front_level *levels; /* owned; time and wear of the objective, against staying */
	fix (*values)[2];           /* owned */
	struct moves_left_out out;
};

/* The response behind an effect; NULL where it is not fitted. */
const struct response *moves_response(const struct model *m, size_t effect);

/* The effects that the wear objective is the mean of, into list; returns their number. */
size_t moves_objective(const struct model *m, const struct save_target *t, size_t *list);

/* False: out of memory, the end of patience, or more combinations than can be tried (err says what
 * to do). */
bool moves_make(struct moves *out, const struct model *m, const struct sheet *start, size_t group,
	const struct frontier_options *o, struct err *err);
void moves_free(struct moves *mv);

/* Effects of one move against staying. scratch: n_adjustables values equal to the start
 * sheet's, and again so afterwards. False: out of memory. */
bool moves_effects(const struct model *m, const struct moves *mv, size_t level, fix *scratch,
	struct effects *out);

#endif
