/*
 * The table of subcommands. A subcommand is one file of this folder with one
 * function of type cmd_fn, and one row in cmd.c; the usage text is made from
 * the table.
 *
 * A cmd_fn gets its own words: argv[0] is the subcommand's name. It writes to
 * stdout, tells errors on stderr, and returns the program's exit status.
 */
#ifndef TREADLIGHT_CMD_CMD_H
#define TREADLIGHT_CMD_CMD_H

#include <stddef.h>
#include <stdio.h>

enum cmd_status {
	CMD_OK = 0,
	CMD_FAILED = 1,	/* an operation failed */
	CMD_USAGE = 2	/* bad use or bad input */
};

typedef int (*cmd_fn)(int argc, char **argv);

struct cmd {
	const char *name;
	const char *usage;	/* its arguments */
	const char *summary;	/* one line for --help */
	cmd_fn run;
};

/* The row of that name, or NULL. */
const struct cmd *cmd_find(const char *name);

/* All rows; *n receives their number. */
const struct cmd *cmd_table(size_t *n);

/* The program's usage, from the table. */
void cmd_print_usage(FILE *out);

#endif
