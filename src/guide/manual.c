#include "guide/guide.h"

#include "cmd/cmd.h"
#include "tui/actions.h"

#include <string.h>

/* The date of what the manual describes, so that a build is the same on any day. */
#define MANUAL_DATE "2026-11-25"

enum { LINE_COLUMNS = 66 }; /* after which prose breaks: the source stays readable */

/* Text as roff shows it: no escapes, no requests; literal: one line, hyphens that can be copied. */
static void put_text(FILE *out, const char *text, bool literal)
{
	int column = 0;
	for (const char *c = text; *c; c++) {
		if (column == 0 && (*c == '.' || *c == '\''))
			fputs("\\&", out);
		if (!literal && *c == ' ' && (column > LINE_COLUMNS || (column && c[-1] == '.'))) {
			fputc('\n', out);
			column = 0;
			continue;
		}
		column = *c == '\n' ? 0 : column + 1;
		if (*c == '\\')
			fputs("\\e", out);
		else if (*c == '-' && literal)
			fputs("\\-", out);
		else if (*c == '\'')
			fputs("\\(aq", out);
		else
			fputc(*c, out);
	}
}

static void put_bold(FILE *out, const char *text)
{
	fputs("\\fB", out);
	put_text(out, text, true);
	fputs("\\fR", out);
}

/* What stands for something else in italics; what is typed as it is in bold. */
static void put_value(FILE *out, const char *value)
{
	for (const char *c = value; *c;) {
		const size_t n = strcspn(c, "|");
		char word[64];
		snprintf(word, sizeof word, "%.*s", (int)n, c);
		const bool typed = word[0] >= 'a' && word[0] <= 'z';
		fputs(typed ? "\\fB" : "\\fI", out);
		put_text(out, word, true);
		fputs("\\fR", out);
		c += n;
		if (*c == '|')
			fputc(*c++, out);
	}
}

static void put_option(FILE *out, const struct cmd_option *o)
{
	char name[64];
	if (o->letter) {
		snprintf(name, sizeof name, "-%c", o->letter);
		put_bold(out, name);
		fputs(", ", out);
	}
	snprintf(name, sizeof name, "--%s", o->name);
	put_bold(out, name);
	if (o->value) {
		fputc(' ', out);
		put_value(out, o->value);
	}
}

static void put_paragraph(FILE *out, const char *text)
{
	put_text(out, text, false);
	fputc('\n', out);
}

static void put_words(FILE *out, const char *words)
{
	fputs("\\fI", out);
	put_text(out, words, true);
	fputs("\\fR", out);
}

static void put_subcommand(FILE *out, const struct cmd *c)
{
	fputs(".SS \"", out);
	put_text(out, c->name, true);
	fputc(' ', out);
	put_words(out, c->words);
	fputs("\"\n", out);
	/* A summary begins a sentence here. */
	char first = c->summary[0];
	fputc(first >= 'a' && first <= 'z' ? first - 'a' + 'A' : first, out);
	put_text(out, c->summary + 1, false);
	fputs(".\n", out);
	if (c->help)
		put_paragraph(out, c->help);
	for (const struct cmd_option *o = c->options; o->name; o++) {
		fputs(".TP\n", out);
		put_option(out, o);
		fputc('\n', out);
		put_text(out, o->help, false);
		fputs(o->many ? "\n(may be given more than once)\n" : "\n", out);
	}
}

static void put_subcommands(FILE *out)
{
	size_t n;
	const struct cmd *table = cmd_table(&n);
	fputs(".SH SUBCOMMANDS\n"
	      "Each prints a table for people; most, with\n.BR \\-\\-json ,\n"
	      "a document for other programs.\nEach takes\n.BR \\-\\-help .\n",
		out);
	for (size_t i = 0; i < n; i++)
		put_subcommand(out, &table[i]);
}

static void put_key(FILE *out, enum action a)
{
	const struct action_info *i = action_info(a);
	char keys[64], pages[96];
	fputs(".TP\n\\fB", out);
	put_text(out, action_keys(a, keys, sizeof keys), true);
	fputs("\\fR\n", out);
	put_text(out, i->help, false);
	if (i->pages != ON_ALL)
		fprintf(out, " (%s)", action_pages(a, pages, sizeof pages));
	fputc('\n', out);
}

static void put_keys(FILE *out)
{
	fputs(".SH KEYS OF THE WORKBENCH\n"
	      "The bottom line shows those that matter on the page one is on;\n.B ?\nshows all.\n",
		out);
	for (int a = 0; a < ACTION_COUNT; a++)
		put_key(out, (enum action)a);
	fputs(".PP\nA character with Alt is Esc and that character; the mouse does nothing.\n"
	      "Esc acts after\n.B ESCDELAY\nmilliseconds (100 if it is not set), since the keys "
	      "that send more "
	      "than "
	      "one byte\nbegin with it. A paste whose end does not come is ended by Ctrl-C.\n",
		out);
}

static void put_head(FILE *out)
{
	fprintf(out,
		".\\\" Made by treadlight --manual from the program's tables; do not edit.\n"
		".TH TREADLIGHT 1 \"%s\" \"%s\" \"User Commands\"\n",
		MANUAL_DATE, PACKAGE_STRING);
	fputs(".SH NAME\n"
	      "treadlight \\- make tyres last on a circuit without giving away lap time\n"
	      ".SH SYNOPSIS\n"
	      ".B treadlight\n[\\fIBOOK\\fR] [\\fB\\-\\-sheet\\fR \\fISHEET\\fR]\n.br\n"
	      ".B treadlight\n\\fISUBCOMMAND\\fR [\\fIARGUMENT\\fR ...]\n.br\n"
	      ".B treadlight\n\\fISUBCOMMAND\\fR \\fB\\-\\-help\\fR\n.br\n"
	      ".B treadlight \\-\\-help\n|\n.B \\-\\-version\n|\n.B \\-\\-manual\n|\n"
	      ".B \\-\\-completions\n\\fBbash\\fR|\\fBzsh\\fR|\\fBfish\\fR\n"
	      ".SH DESCRIPTION\n"
	      "A\n.I book\n"
	      "is a folder: one car at one circuit, its set-up sheets, the runs driven\n"
	      "on them.\n"
	      "Without a subcommand treadlight opens the workbench on a book, or on the\n"
	      "folder one stands in: it edits a sheet and shows at every key what the\n"
	      "runs say of lap time and tyre wear, with 95% intervals, and in words what\n"
	      "they cannot tell.\n"
	      ".PP\n"
	      "SHEET and RUN are ids: names of files in the book's folders\n.I sheets\nand\n.I "
	      "runs\n"
	      "without .yaml.\n"
	      "FACTOR is an adjustable of the car or a pair, CHANNEL one of the book's\n"
	      "wear channels, RESPONSE\n.B time\nor\n.B wear\\-\\c\n.IR CHANNEL .\n",
		out);
}

static void put_rest(FILE *out)
{
	fputs(".SH EXIT STATUS\n"
	      ".TP\n.B 0\ndone\n"
	      ".TP\n.B 1\nan operation failed: disk, memory, numerics, output\n"
	      ".TP\n.B 2\nbad use or bad input\n"
	      ".SH ENVIRONMENT\n"
	      ".TP\n.B XDG_DATA_HOME\n"
	      "where own profiles are, below treadlight/profiles; else ~/.local/share\n"
	      ".TP\n.B XDG_STATE_HOME\n"
	      "where unsaved edits are kept when the book cannot be written;\nelse ~/.local/state\n"
	      ".TP\n.B TREADLIGHT_DATADIR\nthe installed data, when it was moved\n"
	      ".TP\n.B NO_COLOR\nwhen set, the workbench uses no colour\n"
	      ".TP\n.BR TERM ,\\  LANG ,\\  LC_ALL\n"
	      "as usual; numbers are written with a point in every locale\n"
	      ".SH FILES\n"
	      ".TP\n.I BOOK/book.yaml\nwhat the book is about, and its rules\n"
	      ".TP\n.I BOOK/sheets/ID.yaml, BOOK/runs/ID.yaml\nset-up sheets and runs\n"
	      ".TP\n.I BOOK/plan.yaml\nthe stored test plan\n"
	      ".TP\n.I BOOK/profiles/cars/ID.yaml, BOOK/profiles/circuits/ID.yaml\n"
	      "profiles; the user's and the installed ones are looked for after them\n"
	      ".PP\nformats.md beside the program's other documents tells all of them,\nand the "
	      "JSON.\n"
	      ".SH CAUTIONS\n"
	      "The tyre maker's limits and the rules of the series stand above any\nfigure here.\n"
	      "Drive at licensed venues, under their licence and insurance terms.\n"
	      "Qualified persons change the car.\n"
	      "treadlight estimates from the runs it is given; it clears nothing.\n"
	      ".SH EXAMPLES\n.nf\n"
	      "treadlight new spring\\-test \\-\\-car larkspur\\-20 \\-\\-circuit harrow\\-fen\n"
	      "treadlight plan spring\\-test \\-\\-kind screening \\-\\-factor wing \\-\\-store\n"
	      "treadlight log spring\\-test \\-\\-csv saturday.csv\n"
	      "treadlight suggest spring\\-test \\-\\-max\\-changes 2\n"
	      "treadlight report spring\\-test \\-o debrief.html\n"
	      ".fi\n",
		out);
}

void manual_print(FILE *out)
{
	put_head(out);
	put_subcommands(out);
	put_keys(out);
	put_rest(out);
}
