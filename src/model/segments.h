/*
 * Where on the lap a change works: time and wear of each class of segments, fitted with the
 * columns of the main model on the laps whose own segment figures cover the class. Figures
 * spread by the circuit's shares never enter. Known slopes of the book are for whole laps and
 * are not used here: covariates that vary are estimated. Method: doc/balance.md.
 */
#ifndef MODEL_SEGMENTS_H
#define MODEL_SEGMENTS_H

#include "model/model.h"

struct segment_class_fit {
	enum segment_class cls;
	size_t n_segments;                 /* of the class on this circuit */
	struct response by[RESPONSES_MAX]; /* owned; s and % per lap, all segments of the class */
};
struct segment_fits {
	size_t n; /* classes with a figure, in the order of the classes */
	struct segment_class_fit v[SEG_CLASSES];
};

/* A class's share of a lap by the circuit's profile, all classes made to add up to 1. */
double segments_share(const struct circuit *c, enum segment_class cls, bool wear);
/* What one unit of a coordinate more does in a class, near the values `at`; as effects.h. */
struct estimate segments_effect(
	const struct model *m, size_t i, size_t response, size_t coord, const fix *at);
/* The difference of two sets of values in a class. */
struct estimate segments_delta(
	const struct model *m, size_t i, size_t response, const fix *values, const fix *against);
/*
 * "gains in fast corners (-0.12 s), costs on straights (+0.08 s); elsewhere can't tell" of a
 * coordinate's effect; "" where no run has segment figures. Into buf; returns buf.
 */
const char *segments_words(const struct model *m, size_t response, size_t coord, const fix *at,
	char *buf, size_t size);
/* "on straights", "under braking", "in fast corners"... */
extern const char *const segment_class_places[SEG_CLASSES];

#endif
