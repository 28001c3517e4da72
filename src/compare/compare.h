/*
 * Two sheets side by side: what each difference contributes. Everything is B
 * against A. The contributions of the groups add up to the predicted difference.
 */
#ifndef COMPARE_COMPARE_H
#define COMPARE_COMPARE_H

#include "model/model.h"

struct compare_group {
	size_t group; /* index into model.groups */
	bool changed;
	struct estimate by[RESPONSES_MAX];    /* known false: cannot be told by itself */
	struct like_delta like[CHANNELS_MAX]; /* part of the like-for-like delta */
};

struct compare {
	size_t n_groups, n_responses, n_channels;
	struct compare_group *groups;         /* owned, in the car's order */
	struct estimate delta[RESPONSES_MAX]; /* the whole difference */
	bool extrapolated[2];                 /* a, b: outside the driven range */
	struct like_delta like[CHANNELS_MAX];
};

bool compare_make(
	struct compare *out, const struct model *m, const fix *a, const fix *b, struct err *err);
void compare_free(struct compare *c);
/* Order for showing: indices of groups into out[n_groups]; the changed ones first if wanted. */
void compare_order(const struct compare *c, bool changed_first, size_t *out);

#endif
