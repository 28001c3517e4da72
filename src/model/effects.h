/*
 * What each adjustment does near a sheet: the slope along one coordinate, told for a move
 * of one unit of it (from the middle of the limits to their end), sorted by use.
 */
#ifndef MODEL_EFFECTS_H
#define MODEL_EFFECTS_H

#include "model/model.h"

struct effect {
	size_t coord;
	struct estimate by[RESPONSES_MAX];
	struct like_delta like[CHANNELS_MAX];
	bool has_use;
	bool clear;     /* the like-for-like effect stands clear of noise */
	bool cost_told; /* the lap time effect stands clear of noise too: `use` means something */
	double use; /* like-for-like wear saved per tenth of a second lost, in the direction that
		     * saves; INFINITY where saving costs no time */
};

struct effects {
	size_t n;
	struct effect
		*v;  /* owned; those clear of noise first, then by use, without a figure last */
	int channel; /* that `use` speaks of: the one that limits on `at`; -1 without wear */
};

bool effects_make(struct effects *out, const struct model *m, const fix *at, struct err *err);
void effects_free(struct effects *e);
/* Adjustable units that one unit of a coordinate stands for: half the (wider) range. */
double effects_unit(const struct model *m, size_t coord);

#endif
