/* What the files of the plan subcommand share. */
#ifndef TREADLIGHT_CMD_PLAN_H
#define TREADLIGHT_CMD_PLAN_H

#include "cmd/cmd.h"
#include "plan/plan.h"

/* The document of `plan --json`; NULL when out of memory. */
json_t *cmd_plan_json(const struct plan *p, const struct book *b);
/* The runs still to be driven as CSV, a row for each lap, to fill in for `log --csv`. */
void cmd_plan_csv(const struct plan *p, const struct book *b);
/* Tables for people on stdout. */
void cmd_plan_table(const struct plan *p, const struct book *b, const struct plan_noise *noise);

#endif
