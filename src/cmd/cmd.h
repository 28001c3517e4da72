/*
 * The table of subcommands, and what they share: reading arguments, telling
 * errors, writing JSON. A subcommand is one file of this folder with one function
 * of type cmd_fn, its options, and one row in cmd.c; usage and help texts are made
 * from the table.
 *
 * A cmd_fn gets its arguments read and counted already. It writes to stdout, tells
 * errors on stderr, and returns the program's exit status.
 */
#ifndef TREADLIGHT_CMD_CMD_H
#define TREADLIGHT_CMD_CMD_H

#include "base/err.h"
#include "book/book.h"

#include <jansson.h>
#include <signal.h>
#include <stdio.h>

enum cmd_status {
	CMD_OK = 0,
	CMD_FAILED = 1, /* an operation failed */
	CMD_USAGE = 2   /* bad use or bad input */
};

/* An option: --name, or --name VALUE where `value` names what follows. */
struct cmd_option {
	const char *name;  /* without dashes; NULL ends the list */
	char letter;       /* -o; 0 if none */
	const char *value; /* "ID"; NULL for a switch */
	bool many;         /* may be given more than once */
	const char *help;  /* one line */
};
#define CMD_OPTION_JSON                                                                            \
	{                                                                                          \
		"json", 0, NULL, false, "the result as a JSON document"                            \
	}
#define CMD_OPTION_END                                                                             \
	{                                                                                          \
		NULL, 0, NULL, false, NULL                                                         \
	}

enum { CMD_ARGS_MAX = 8, CMD_OPTIONS_MAX = 64 };

/* What the user wrote. Texts point into argv. */
struct cmd_args {
	const struct cmd *cmd;
	size_t n; /* words that are no options */
	const char *word[CMD_ARGS_MAX];
	size_t n_given;
	struct {
		const struct cmd_option *option;
		const char *value; /* NULL for a switch */
	} given[CMD_OPTIONS_MAX];
};

typedef int (*cmd_fn)(const struct cmd_args *args);

struct cmd {
	const char *name;
	const char *words; /* its arguments: "BOOK SHEET", "BOOK [SHEET]" */
	size_t min_words, max_words;
	const struct cmd_option *options; /* closed by CMD_OPTION_END */
	const char *summary;              /* one line for --help */
	const char *help;                 /* further lines for CMD --help; NULL if none */
	cmd_fn run;
};

/* The row of that name, or NULL. */
const struct cmd *cmd_find(const char *name);
/* All rows; *n receives their number. */
const struct cmd *cmd_table(size_t *n);
/* The program's usage, from the table. */
void cmd_print_usage(FILE *out);
/* Usage and options of one subcommand. */
void cmd_print_help(const struct cmd *c, FILE *out);
/* Read the arguments (argv[0] is the subcommand's name) and run; --help is answered here. */
int cmd_run(const struct cmd *c, int argc, char **argv);

/* Was the switch or option given? */
bool cmd_has(const struct cmd_args *a, const char *name);
/* Value of the option, the last one given; NULL if not given. */
const char *cmd_value(const struct cmd_args *a, const char *name);
/* The i-th value of an option that may come several times; NULL beyond the last. */
const char *cmd_value_nth(const struct cmd_args *a, const char *name, size_t i);
/*
 * A number given as an option. Not given: *v is left alone. False: bad, told on
 * stderr (a caller returns CMD_USAGE).
 */
bool cmd_number(const struct cmd_args *a, const char *name, double low, double high, double *v);
bool cmd_whole(const struct cmd_args *a, const char *name, long low, long high, long *v);

/* Tell on stderr; return the exit status that goes with it. */
int cmd_fail(const struct err *e);
int cmd_fail_faults(const struct faults *f);
/* After a save that went through: what there is to tell of it all the same (see file_create()), and
 * cleared. */
void cmd_unconfirmed(struct err *e);
/*
 * Ctrl-C, the end of the line and a request to end wait while what belongs together is written, and
 * come when they are let go; false: one came meanwhile.
 */
void cmd_hold_signals(sigset_t *before);
bool cmd_may_go_on(void);
void cmd_let_signals_go(const sigset_t *before);
/* "treadlight: ..." bad use: returns CMD_USAGE. */
int cmd_bad(const char *fmt, ...) ERR_PRINTF(1, 2);

/* User's text made safe for stdout in the present locale, cut to size; returns buf. */
const char *cmd_safe(const char *text, char *buf, size_t size);
/* Columns that a UTF-8 text takes on screen; for padding tables. */
int cmd_width(const char *text);
/* The text, made safe, and then spaces up to `columns` (negative: spaces first). */
void cmd_pad(FILE *out, const char *text, int columns);
/* A line to stdout, made safe whole: for what holds texts of files, whoever put them together. Of
 * more than CMD_LINE_MAX bytes the rest is left out. */
enum { CMD_LINE_MAX = 4000 };
void cmd_line(const char *fmt, ...) ERR_PRINTF(1, 2);
/* The text to stdout, made safe and broken at blanks at 88 columns, all lines indented alike. */
void cmd_wrap(int indent, const char *text);

/* A JSON number, null where there is none (NaN, infinite). NULL when out of memory. */
json_t *cmd_json_number(double v);
/* A text of the user's, or made from one: bytes that are no UTF-8 are left out, so that a
 * document never fails for a name. NULL when out of memory. */
json_t *cmd_json_text(const char *text);
/* Write the document and a line end to stdout, drop it, return the exit status. NULL: out of
 * memory. */
int cmd_print_json(json_t *doc);
/* A part of a document to stdout, with jansson's flags; false: no memory, or no document. What a
 * terminal would act on, or nobody would see (base/text.h), is written as \uXXXX; all else beyond
 * ASCII stays as it is. */
bool cmd_put_json(const json_t *part, size_t flags);
/* Flush stdout; CMD_FAILED with a message if what was written did not arrive. */
int cmd_finish(void);

/* Load a book; false: all faults were told and *status is the exit status. b need not be
 * initialised. */
bool cmd_load_book(struct book *b, const char *dir, int *status);
/* A book without a run: what to do first, in words, and true. */
bool cmd_say_empty(const struct book *b, FILE *out);
/* The sheet of that id; NULL: told on stderr, with the ids there are (return CMD_USAGE). */
const struct sheet *cmd_sheet(const struct book *b, const char *id);

#endif
