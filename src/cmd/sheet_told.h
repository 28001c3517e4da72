/* What predict, compare, suggest and stint say of a sheet besides the model: its balance, and
 * the soft limits that it passes. */
#ifndef TREADLIGHT_CMD_SHEET_TOLD_H
#define TREADLIGHT_CMD_SHEET_TOLD_H

#include "book/book.h"

#include <jansson.h>

/* The `balance` document of predict: both sheets' figures; null without a chassis. */
json_t *told_balance_json(const struct book *b, const fix *values, const fix *against);
/* The same as a table, with what is beyond its band or missing in words. */
void told_balance(const struct book *b, const fix *values, const fix *against);

/* [{"id", "value", "text"}] of the adjustables past their soft limits. */
json_t *told_cautions_json(const struct book *b, const fix *values);
/* A line for each, `who` before it; true if there was any. */
bool told_cautions(const struct book *b, const char *who, const fix *values);
/* Of two sheets (the second may be the first again), a blank line before and the reminder of
 * what stands above behind; nothing where neither passes a limit. */
void told_cautions_of(const struct book *b, const struct sheet *one, const struct sheet *two);

#endif
