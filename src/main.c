/* Which subcommand: everything else is in the libraries. */
#include "cmd/cmd.h"

#include <gsl/gsl_errno.h>
#include <locale.h>
#include <stdio.h>
#include <string.h>

int main(int argc, char **argv)
{
	setlocale(LC_ALL, "");
	setlocale(LC_NUMERIC, "C");
	gsl_set_error_handler_off();
	if (argc > 1 && strcmp(argv[1], "--help") == 0) {
		cmd_print_usage(stdout);
		return CMD_OK;
	}
	if (argc > 1 && strcmp(argv[1], "--version") == 0) {
		puts(PACKAGE_STRING);
		return CMD_OK;
	}
	const struct cmd *c = argc > 1 ? cmd_find(argv[1]) : NULL;
	if (c)
		return cmd_run(c, argc - 1, argv + 1);
	if (argc > 1)
		fprintf(stderr, "treadlight: no subcommand '%s'; see treadlight --help\n", argv[1]);
	else
		cmd_print_usage(stderr);
	return CMD_USAGE;
}
