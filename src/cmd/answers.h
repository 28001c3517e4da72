/* JSON and table parts that several subcommands print of the model's answers. */
#ifndef TREADLIGHT_CMD_ANSWERS_H
#define TREADLIGHT_CMD_ANSWERS_H

#include "model/model.h"

#include <jansson.h>
#include <stdio.h>

/* "time", "wear-front": the ids of 2-formats. */
const char *answer_response_id(const struct model *m, size_t response, char *buf, size_t size);
/* The `predictions` array: values, against. NULL: out of memory. */
json_t *answer_predictions(const struct model *m, const fix *values, const fix *against);
/* The `like-for-like` array, one entry a channel. */
json_t *answer_like(const struct model *m, const fix *values, const fix *against);
/* The same as a table, with what could not be told in words. */
void answer_table(const struct model *m, const fix *values, const fix *against);
/* In a book that borrows: `source` and `borrowed-share` of a figure into its object. */
void answer_source(const struct model *m, json_t *o, const struct estimate *e);
/* A signed figure with its unit: "+0.18". */
void answer_signed(char *buf, size_t size, double v, int decimals);
/* Is the delta of this response tested: told, and both sides inside the driven range? */
bool answer_tested(const struct model *m, size_t response, const struct estimate *delta,
	const fix *values, const fix *against);

#endif
