/*
 * A plan's options on one line, as the workbench asks for them:
 *   laps=80 minutes=300 sigma-run=0.08 sigma-lap=0.15 order=random rng=1 fold-over=no
 *   factors=wing,camber=-0.4:0.4
 * A key left out or empty stands for its default; `factors` empty: all that are not frozen.
 * A factor's levels as --range has them: values of an adjustable, moves from the base of a pair.
 * A scatter is lap time's, or as sigma-run=time=0.08,wear-front=0.03.
 */
#ifndef PLAN_PLAN_LINE_H
#define PLAN_PLAN_LINE_H

#include "plan/plan.h"

struct plan_line {
	char text[4096]; /* owns the ids below */
	const char *factors[PLAN_FACTORS_MAX];
	struct plan_range ranges[PLAN_FACTORS_MAX];
};

/* Fills the options that the line names and resets the others of them; kind and base stay, and the
 * noise where the line gives none. The ids point into *line. False: err says what is allowed. */
bool plan_parse_line(const struct book *b, struct plan_options *o, struct plan_line *line,
	const char *text, struct err *err);

/* "camber, toe, rear-wing": what may be a factor, pairs by their own name; returns buf. */
const char *plan_factor_ids(const struct car *c, char *buf, size_t size);

#endif
