/* Which subcommand, or the workbench: everything else is in the libraries. */
#include "base/text.h"
#include "base/watch.h"
#include "cmd/cmd.h"
#include "guide/guide.h"
#include "tui/tui.h"

#include <gsl/gsl_errno.h>
#include <locale.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool is_folder(const char *path)
{
	struct stat st;
	return stat(path, &st) == 0 && S_ISDIR(st.st_mode);
}

static int bad_use(const char *what, const char *word)
{
	char safe[256];
	text_safe(safe, sizeof safe, word, strlen(word));
	fprintf(stderr, "treadlight: %s '%s'; see treadlight --help\n", what, safe);
	return CMD_USAGE;
}

/* [BOOK] [--sheet ID], in any order; without BOOK the folder one stands in. */
static int workbench(int argc, char **argv)
{
	const char *dir = NULL, *sheet = NULL;
	for (int i = 1; i < argc; i++) {
		if (strcmp(argv[i], "--sheet") == 0) {
			if (i + 1 == argc)
				return bad_use("the id of a sheet is missing behind", argv[i]);
			sheet = argv[++i];
		} else if (strncmp(argv[i], "--sheet=", 8) == 0) {
			sheet = argv[i] + 8;
		} else if (argv[i][0] == '-') {
			return bad_use("no option", argv[i]);
		} else if (dir) {
			return bad_use("one book at a time, not also", argv[i]);
		} else if (!is_folder(argv[i])) {
			return bad_use("no subcommand and no book's folder (treadlight new DIR "
				       "makes one):",
				argv[i]);
		} else {
			dir = argv[i];
		}
	}
	return tui_run(dir ? dir : ".", sheet);
}

/* What the program says of itself; -1: something else was asked for. */
static int about(int argc, char **argv)
{
	const char *word = argc > 1 ? argv[1] : "";
	if (strcmp(word, "--help") == 0)
		cmd_print_usage(stdout);
	else if (strcmp(word, "--version") == 0)
		puts(PACKAGE_STRING);
	else if (strcmp(word, "--manual") == 0)
		manual_print(stdout);
	else if (strcmp(word, "--completions") != 0)
		return -1;
	else if (argc < 3 || !completions_print(stdout, argv[2]))
		return bad_use("bash, zsh or fish is needed behind", word);
	return cmd_finish();
}

static void say_on_stderr(const char *words)
{
	fprintf(stderr, "treadlight: %s\n", words);
}

int main(int argc, char **argv)
{
	setlocale(LC_ALL, "");
	setlocale(LC_NUMERIC, "C");
	gsl_set_error_handler_off();
	signal(SIGXFSZ,
		SIG_IGN); /* a limit on the size of files is an error of a save, not an end */
	const int told = about(argc, argv);
	if (told >= 0)
		return told;
	/* Not before a pager, that may be read for long and has the screen. */
	if (isatty(STDOUT_FILENO) && isatty(STDERR_FILENO))
		watch_open(say_on_stderr);
	const struct cmd *c = argc > 1 ? cmd_find(argv[1]) : NULL;
	const int status = c ? cmd_run(c, argc - 1, argv + 1) : workbench(argc, argv);
	watch_close();
	return status;
}
