#include "cmd/commands.h"

#include <getopt.h>
#include <stdlib.h>
#include <string.h>

/* In the order of the job; the closing row ends the table. */
static const struct cmd table[] = {{"new", "DIR", 1, 1, new_options, "make a book from profiles",
					   "What is not given is asked for on a terminal. Nothing "
					   "that is there is overwritten.",
					   new_run},
	{"check", "BOOK", 1, 1, check_options, "read a book or a profile and list every fault",
		"BOOK is a book's folder, or the file of a car or circuit profile.", check_run},
	{"log", "BOOK", 1, 1, log_options, "take runs from a CSV file, all of it or nothing",
		"A header and one row a lap. Columns: run, sheet, date, driver, session, compound, "
		"fuel,\n"
		"fuel-per-lap, track-temp, tyre-age, lap, time, effort, skip; of each wear channel "
		"CH wear-CH,\n"
		"worn-CH, worn-at-start-CH, wear-total-CH; an adjustable's id where its value "
		"differs from the\n"
		"sheet's. run and time are needed. What belongs to a run may stand in its first "
		"row only.\n"
		"Runs that are in the book's stored plan are ticked off there.",
		log_run},
	{"fit", "BOOK", 1, 1, fit_options, "what the runs say of each adjustment, and how surely",
		NULL, fit_run},
	{"predict", "BOOK SHEET", 2, 2, predict_options, "what to expect of a sheet", NULL,
		predict_run},
	{"compare", "BOOK A B", 3, 3, compare_options, "two sheets side by side",
		"What each difference contributes to lap time and wear, B against A.", compare_run},
	{"suggest", "BOOK [SHEET]", 1, 2, suggest_options,
		"the exact best trade-offs of time and wear",
		"Starts from SHEET, or the reference, for what locks hold and what is frozen.",
		suggest_run},
	{"plan", "BOOK", 1, 1, plan_options, "plan test runs, and say what they can find",
		"A pair named as a factor moves both members by as much. Without --factor: pairs "
		"that the\n"
		"base locks move as one, all else by itself; what is frozen stays.",
		plan_run},
	{"stint", "BOOK SHEET", 2, 2, stint_options, "a sheet over a stint: tune, lift or stop",
		"Laps on a fresh set, told against the reference; rules from the book's stint.",
		stint_run},
	{"verify", "BOOK", 1, 1, verify_options, "hold every run against its prediction",
		"Each run is predicted from the runs before it, and from all others.", verify_run},
	{"report", "BOOK", 1, 1, report_options,
		"the debrief as one HTML page, or as text for a mail",
		"One sheet against the reference: the answer, trade-off, sheets, stint, effects, "
		"noise, what\n"
		"was not tested, the latest runs against their prediction, the plan, cautions.",
		report_run},
	{"overlay", "BOOK RUN_A RUN_B", 3, 3, overlay_options,
		"two runs over each other along the lap",
		"Where did B take more time or use more tyre than A? Segment figures of the runs' "
		"own\n"
		"laps are measured; where a run has none, the circuit's shares stand in, marked "
		"so.",
		overlay_run},
	{NULL, NULL, 0, 0, NULL, NULL, NULL, NULL}};

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

static void print_synopsis(const struct cmd *c, FILE *out)
{
	fprintf(out, "%s %s", c->name, c->words);
	for (const struct cmd_option *o = c->options; o->name; o++) {
		if (o->letter)
			fprintf(out, " [-%c", o->letter);
		else
			fprintf(out, " [--%s", o->name);
		fprintf(out, "%s%s]%s", o->value ? " " : "", o->value ? o->value : "",
			o->many ? "..." : "");
	}
	fputc('\n', out);
}

void cmd_print_usage(FILE *out)
{
	fputs("usage: treadlight [BOOK] [--sheet ID]     open the workbench\n"
	      "       treadlight SUBCOMMAND ...\n"
	      "       treadlight SUBCOMMAND --help\n"
	      "       treadlight --help | --version | --manual | --completions bash|zsh|fish\n",
		out);
	if (table[0].name)
		fputs("\nsubcommands:\n", out);
	for (const struct cmd *c = table; c->name; c++) {
		fprintf(out, "  %-8s %s\n           ", c->name, c->summary);
		print_synopsis(c, out);
	}
}

enum { LEFT_COLUMNS = 26 };

void cmd_print_help(const struct cmd *c, FILE *out)
{
	fputs("usage: treadlight ", out);
	print_synopsis(c, out);
	fprintf(out, "\n%s\n", c->summary);
	if (c->help)
		fprintf(out, "\n%s\n", c->help);
	if (c->options->name)
		fputc('\n', out);
	for (const struct cmd_option *o = c->options; o->name; o++) {
		char left[64];
		int n = snprintf(left, sizeof left, "--%s%s%s", o->name, o->value ? " " : "",
			o->value ? o->value : "");
		if (o->letter && n >= 0 && n < (int)sizeof left)
			snprintf(left + n, sizeof left - (size_t)n, ", -%c", o->letter);
		if (strlen(left) <= LEFT_COLUMNS)
			fprintf(out, "  %-*s %s\n", LEFT_COLUMNS, left, o->help);
		else
			fprintf(out, "  %s\n  %-*s %s\n", left, LEFT_COLUMNS, "", o->help);
	}
	fprintf(out, "  %-*s %s\n", LEFT_COLUMNS, "--help", "this text");
}

/* getopt's tables; the index of an option is its place in c->options. */
static size_t fill_getopt(const struct cmd *c, struct option *longs, char *shorts)
{
	size_t n = 0, s = 0;
	shorts[s++] = ':';
	for (; c->options[n].name && n < CMD_OPTIONS_MAX; n++) {
		const struct cmd_option *o = &c->options[n];
		longs[n] = (struct option){
			o->name, o->value ? required_argument : no_argument, NULL, 256 + (int)n};
		if (o->letter) {
			shorts[s++] = o->letter;
			if (o->value)
				shorts[s++] = ':';
		}
	}
	shorts[s] = '\0';
	longs[n] = (struct option){"help", no_argument, NULL, 1};
	longs[n + 1] = (struct option){NULL, 0, NULL, 0};
	return n;
}

static const struct cmd_option *option_of(const struct cmd *c, int got, size_t n)
{
	if (got >= 256)
		return &c->options[got - 256];
	for (size_t i = 0; i < n; i++)
		if (c->options[i].letter == got)
			return &c->options[i];
	return NULL;
}

static bool note_option(struct cmd_args *a, const struct cmd_option *o, const char *value)
{
	if (!o->many && cmd_has(a, o->name)) {
		cmd_bad("--%s is given twice; once is enough", o->name);
		return false;
	}
	if (a->n_given == CMD_OPTIONS_MAX) {
		cmd_bad("too many options; at most %d are read", CMD_OPTIONS_MAX);
		return false;
	}
	a->given[a->n_given].option = o;
	a->given[a->n_given++].value = value;
	return true;
}

/* -1: go on; else the exit status. */
static int read_options(const struct cmd *c, int argc, char **argv, struct cmd_args *a)
{
	struct option longs[CMD_OPTIONS_MAX + 2];
	char shorts[2 * CMD_OPTIONS_MAX + 2];
	size_t n = fill_getopt(c, longs, shorts);
	opterr = 0;
	optind = 0;
	for (int got; (got = getopt_long(argc, argv, shorts, longs, NULL)) != -1;) {
		if (got == 1) {
			cmd_print_help(c, stdout);
			return cmd_finish();
		}
		const char *word = argv[optind > 0 ? optind - 1 : 0];
		if (got == '?')
			return cmd_bad(
				"no option %s here; see treadlight %s --help", word, c->name);
		if (got == ':')
			return cmd_bad("%s needs a value; see treadlight %s --help", word, c->name);
		if (!note_option(a, option_of(c, got, n), optarg))
			return CMD_USAGE;
	}
	return -1;
}

int cmd_run(const struct cmd *c, int argc, char **argv)
{
	struct cmd_args a = {.cmd = c};
	int status = read_options(c, argc, argv, &a);
	if (status >= 0)
		return status;
	for (int i = optind; i < argc; i++) {
		if (a.n == c->max_words || a.n == CMD_ARGS_MAX)
			return cmd_bad("'%s' is one word too many; usage: treadlight %s %s",
				argv[i], c->name, c->words);
		a.word[a.n++] = argv[i];
	}
	if (a.n < c->min_words)
		return cmd_bad("%s is missing; usage: treadlight %s %s",
			a.n == 0 ? "an argument" : "a further argument", c->name, c->words);
	return c->run(&a);
}

void cmd_wrap(int indent, const char *text)
{
	char word[256], safe[2 * sizeof word];
	int column = 0;
	while (*text) {
		const size_t len = strcspn(text, " ");
		snprintf(word, sizeof word, "%.*s", (int)len, text);
		text_mend(word);
		const int width = cmd_width(cmd_safe(word, safe, sizeof safe));
		if (column && column + 1 + width > 88) {
			putchar('\n');
			column = 0;
		}
		printf("%*s%s", column ? 1 : indent, "", safe);
		column += (column ? 1 : indent) + width;
		text += len + strspn(text + len, " ");
	}
	if (column)
		putchar('\n');
}
