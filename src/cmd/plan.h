/* What the files of the plan subcommand share. */
#ifndef TREADLIGHT_CMD_PLAN_H
#define TREADLIGHT_CMD_PLAN_H

#include "cmd/cmd.h"
#include "plan/plan.h"

/* The document of `plan --json`; NULL when out of memory. */
json_t *cmd_plan_json(const struct plan *p, const struct book *b);
/* Tables for people on stdout. */
void cmd_plan_table(const struct plan *p, const struct book *b, const struct plan_noise *noise);

#endif
