/* The subcommands' options and functions, one file each; the table in cmd.c lists them. */
#ifndef TREADLIGHT_CMD_COMMANDS_H
#define TREADLIGHT_CMD_COMMANDS_H

#include "cmd/cmd.h"

extern const struct cmd_option new_options[];
int new_run(const struct cmd_args *args);

extern const struct cmd_option check_options[];
int check_run(const struct cmd_args *args);

extern const struct cmd_option log_options[];
int log_run(const struct cmd_args *args);
extern const struct cmd_option plan_options[];
int plan_run(const struct cmd_args *args);
extern const struct cmd_option verify_options[];
int verify_run(const struct cmd_args *args);

extern const struct cmd_option fit_options[];
int fit_run(const struct cmd_args *args);

extern const struct cmd_option predict_options[];
int predict_run(const struct cmd_args *args);

extern const struct cmd_option overlay_options[];
int overlay_run(const struct cmd_args *args);

extern const struct cmd_option compare_options[];
int compare_run(const struct cmd_args *args);

extern const struct cmd_option stint_options[];
int stint_run(const struct cmd_args *args);

extern const struct cmd_option suggest_options[];
int suggest_run(const struct cmd_args *args);

extern const struct cmd_option report_options[];
int report_run(const struct cmd_args *args);

#endif
