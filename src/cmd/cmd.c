#include "cmd/cmd.h"

#include <string.h>

/* In the order of the job; the closing row ends the table. */
static const struct cmd table[] = {
	{NULL, NULL, NULL, NULL}
};

const struct cmd *cmd_find(const char *name)
{
	for (const struct cmd *c = table; c->name; c++)
		if (strcmp(c->name, name) == 0)
			return c;
	return NULL;
}

const struct cmd *cmd_table(size_t *n)
{
	*n = sizeof table / sizeof table[0] - 1;
	return table;
}

void cmd_print_usage(FILE *out)
{
	fputs("usage: treadlight [BOOK] [--sheet ID]     open the workbench\n"
	      "       treadlight SUBCOMMAND ...\n"
	      "       treadlight --help | --version\n",
	      out);
	if (table[0].name)
		fputs("\nsubcommands:\n", out);
	for (const struct cmd *c = table; c->name; c++)
		fprintf(out, "  %-8s %s\n           %s\n", c->name, c->summary, c->usage);
}
