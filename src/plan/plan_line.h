/*
 * A plan's options on one line, as the workbench asks for them:
 *   laps=80 minutes=300 order=random rng=1 fold-over=no factors=wing,camber
 * A key left out or empty stands for its default; `factors` empty: all that are not frozen.
 */
#ifndef PLAN_PLAN_LINE_H
#define PLAN_PLAN_LINE_H

#include "plan/plan.h"

struct plan_line {
	char text[4096]; /* owns the ids below */
	const char *factors[PLAN_FACTORS_MAX];
};

/* Fills the options that the line names and resets the others of them; kind, base, noise and ranges
 * stay. The ids point into *line. False: err says what is allowed. */
bool plan_parse_line(
	struct plan_options *o, struct plan_line *line, const char *text, struct err *err);

#endif
