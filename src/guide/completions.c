/*
 * Completions of the shells. What may follow is told by the table's own words for an argument
 * or an option's value: BOOK, SHEET, RUN..., FILE, CAR and so on, or the choices themselves
 * ("random|quick"). Ids are names of files, so completing never runs the program.
 */
#include "guide/guide.h"

#include "cmd/cmd.h"

#include <string.h>

enum { TAKES_SIZE = 128 };

/* bash and zsh share what the table says; both run it as it stands. A file's name may be anything:
 * what is no id (base/text.h) is not offered, and no name is ever expanded. */
static const char shell_ids[] =
	"_treadlight_ids() { # the ids of the files in a folder\n"
	"\tlocal f LC_ALL=C\n"
	"\tfor f in \"$1\"/*.yaml; do\n"
	"\t\t[ -f \"$f\" ] || continue\n"
	"\t\tf=${f##*/} f=${f%.yaml}\n"
	"\t\tcase $f in '' | -* | *[!a-z0-9-]*) continue ;; esac\n"
	"\t\t[ \"${#f}\" -le 64 ] && printf '%s\\n' \"$f\"\n"
	"\tdone\n"
	"}\n"
	"_treadlight_profiles() { # cars or circuits: the book's, the user's, the installed ones\n"
	"\tlocal own=${XDG_DATA_HOME:-$HOME/.local/share}/treadlight\n"
	"\t_treadlight_ids \"$2/profiles/$1\"\n"
	"\t_treadlight_ids \"$own/profiles/$1\"\n"
	"\t_treadlight_ids \"$own/$1\"\n"
	"\t_treadlight_ids \"${TREADLIGHT_DATADIR:-" PKGDATADIR "}/profiles/$1\"\n"
	"}\n"
	"_treadlight_known() { # KIND BOOK: the words there are of a kind; nothing for other "
	"kinds\n"
	"\tcase $1 in\n"
	"\tsheet) _treadlight_ids \"$2/sheets\" ;;\n"
	"\trun) _treadlight_ids \"$2/runs\" ;;\n"
	"\tcar) _treadlight_profiles cars \"$2\" ;;\n"
	"\tcircuit) _treadlight_profiles circuits \"$2\" ;;\n"
	"\t'='*) printf '%s\\n' \"${1#=}\" | tr ' ' '\\n' ;;\n"
	"\tesac\n"
	"}\n";

static const char bash_rest[] =
	"_treadlight_offer() { # those of the words, one a line, that begin as $cur; compgen -W "
	"would "
	"expand\n"
	"\tlocal word\n"
	"\twhile IFS= read -r word; do\n"
	"\t\t[[ -n $word && $word == \"$cur\"* ]] && COMPREPLY+=(\"$word\")\n"
	"\tdone <<<\"$1\"\n"
	"}\n"
	"_treadlight() {\n"
	"\tlocal cur=${COMP_WORDS[COMP_CWORD]} cmd=${COMP_WORDS[1]} book='' takes='' words=0 i\n"
	"\tCOMPREPLY=()\n"
	"\tif [ \"$COMP_CWORD\" -eq 1 ]; then\n"
	"\t\t_treadlight_offer \"$(_treadlight_subcommands; printf '%s\\n' --help --version)\"\n"
	"\t\t[ \"${#COMPREPLY[@]}\" -gt 0 ] || compopt -o filenames 2>/dev/null\n"
	"\t\tcompopt -o plusdirs 2>/dev/null\n"
	"\t\treturn\n"
	"\tfi\n"
	"\tif [ -d \"$cmd\" ]; then # the workbench\n"
	"\t\tbook=$cmd\n"
	"\t\t[ \"${COMP_WORDS[COMP_CWORD - 1]}\" = --sheet ] && takes=sheet || takes='=--sheet'\n"
	"\telse\n"
	"\t\tfor ((i = 2; i < COMP_CWORD; i++)); do\n"
	"\t\t\tcase ${COMP_WORDS[i]} in\n"
	"\t\t\t-*) takes=$(_treadlight_value \"$cmd ${COMP_WORDS[i]}\") && ((i++)) ;;\n"
	"\t\t\t*)\n"
	"\t\t\t\twords=$((words + 1)) takes=''\n"
	"\t\t\t\t[ -n \"$book\" ] || book=${COMP_WORDS[i]}\n"
	"\t\t\t\t;;\n"
	"\t\t\tesac\n"
	"\t\tdone\n"
	"\t\tif [ \"$i\" -le \"$COMP_CWORD\" ]; then # no option waits for its value\n"
	"\t\t\ttakes=$(_treadlight_word \"$cmd $((words + 1))\")\n"
	"\t\t\tcase $cur in -*) takes=\"=$(_treadlight_options \"$cmd\")\" ;; esac\n"
	"\t\tfi\n"
	"\tfi\n"
	"\tcase $takes in # folders and files: the line editor's own, which quotes them\n"
	"\tbook) compopt -o filenames -o dirnames 2>/dev/null ;;\n"
	"\tfile) compopt -o filenames -o default 2>/dev/null ;;\n"
	"\t*) _treadlight_offer \"$(_treadlight_known \"$takes\" \"${book:-.}\")\" ;;\n"
	"\tesac\n"
	"}\n"
	"complete -F _treadlight treadlight\n";

static const char zsh_rest[] =
	"_treadlight() {\n"
	"\temulate -L zsh\n\tsetopt null_glob\n"
	"\tlocal cmd=$words[2] book='' takes='' i\n"
	"\tlocal -i n=0\n"
	"\tif ((CURRENT == 2)); then\n"
	"\t\tcompadd -- ${(f)\"$(_treadlight_subcommands)\"} --help --version\n"
	"\t\t_path_files -/\n"
	"\t\treturn\n"
	"\tfi\n"
	"\tif [[ -d $cmd ]]; then # the workbench\n"
	"\t\tbook=$cmd\n"
	"\t\t[[ $words[CURRENT-1] == --sheet ]] && takes=sheet || takes='=--sheet'\n"
	"\telse\n"
	"\t\tfor ((i = 3; i < CURRENT; i++)); do\n"
	"\t\t\tcase $words[i] in\n"
	"\t\t\t-*) takes=$(_treadlight_value \"$cmd $words[i]\") && ((i++)) ;;\n"
	"\t\t\t*)\n"
	"\t\t\t\t((n += 1))\n"
	"\t\t\t\t[[ -n $book ]] || book=$words[i]\n"
	"\t\t\t\t;;\n"
	"\t\t\tesac\n"
	"\t\tdone\n"
	"\t\tif ((i <= CURRENT)); then # no option waits for its value\n"
	"\t\t\ttakes=$(_treadlight_word \"$cmd $((n + 1))\")\n"
	"\t\t\t[[ $PREFIX == -* ]] && takes=\"=$(_treadlight_options $cmd)\"\n"
	"\t\tfi\n"
	"\tfi\n"
	"\tcase $takes in\n"
	"\tbook) _path_files -/ ;;\n"
	"\tfile) _path_files ;;\n"
	"\t'') ;;\n"
	"\t*)\n"
	"\t\tlocal -a known=(${(f)\"$(_treadlight_known $takes ${book:-.})\"})\n"
	"\t\tcompadd -- $known\n"
	"\t\t;;\n"
	"\tesac\n"
	"}\n"
	"if [ \"$funcstack[1]\" = _treadlight ]; then\n"
	"\t_treadlight \"$@\"\n"
	"elif (($+functions[compdef])); then\n"
	"\tcompdef _treadlight treadlight\n"
	"fi\n";

static const char fish_head[] =
	"function __treadlight_words # words after the subcommand that are no options, one a line\n"
	"\tset -l tokens (commandline -opc)\n"
	"\tset -l skip 0\n"
	"\tfor word in $tokens[3..-1]\n"
	"\t\tif test $skip = 1\n"
	"\t\t\tset skip 0\n"
	"\t\telse if not string match -q -- '-*' $word\n"
	"\t\t\techo $word\n"
	"\t\telse if contains -- \"$tokens[2] $word\" $__treadlight_with_value\n"
	"\t\t\tset skip 1\n"
	"\t\tend\n"
	"\tend\n"
	"end\n"
	"function __treadlight_in # SUBCOMMAND [N]: is it this one, and so many words behind it\n"
	"\tset -l tokens (commandline -opc)\n"
	"\ttest (count $tokens) -ge 2; and test $tokens[2] = $argv[1]; or return 1\n"
	"\ttest (count $argv) -eq 1; and return 0\n"
	"\ttest (count (__treadlight_words)) -eq $argv[2]\n"
	"end\n"
	"function __treadlight_first\n"
	"\ttest (count (commandline -opc)) -eq 1\n"
	"end\n"
	"function __treadlight_workbench\n"
	"\tset -l tokens (commandline -opc)\n"
	"\ttest (count $tokens) -ge 2; and test -d $tokens[2]\n"
	"end\n"
	"function __treadlight_files # ids of the files in folders\n"
	"\tfor folder in $argv\n"
	"\t\tfor f in $folder/*.yaml\n"
	"\t\t\ttest -f $f; and string replace -rf "
	"'(?s)\\A.*/([a-z0-9][a-z0-9-]{0,63})\\.yaml\\z' '$1' -- $f\n"
	"\t\tend\n"
	"\tend\n"
	"end\n"
	"function __treadlight_ids # sheets or runs of the book\n"
	"\tset -l words (__treadlight_words)\n"
	"\tset -l tokens (commandline -opc)\n"
	"\tset -q tokens[2]; and test -d $tokens[2]; and set words $tokens[2]\n"
	"\tset -q words[1]; and __treadlight_files $words[1]/$argv[1]\n"
	"end\n"
	"function __treadlight_profiles # cars or circuits\n"
	"\tset -l own ~/.local/share/treadlight\n"
	"\tset -q XDG_DATA_HOME; and set own $XDG_DATA_HOME/treadlight\n"
	"\tset -l data " PKGDATADIR "\n"
	"\tset -q TREADLIGHT_DATADIR; and set data $TREADLIGHT_DATADIR\n"
	"\tset -l words (__treadlight_words)\n"
	"\tset -q words[1]; and __treadlight_files $words[1]/profiles/$argv[1]\n"
	"\t__treadlight_files $own/profiles/$argv[1] $own/$argv[1] $data/profiles/$argv[1]\n"
	"end\n"
	"complete -c treadlight -f\n"
	"complete -c treadlight -n __treadlight_first -l help -d 'usage'\n"
	"complete -c treadlight -n __treadlight_first -l version\n"
	"complete -c treadlight -n __treadlight_first -a '(__fish_complete_directories)'\n"
	"complete -c treadlight -n __treadlight_workbench -l sheet -x -a '(__treadlight_ids "
	"sheets)' "
	"-d 'open this sheet'\n";

/* One word of the table as a kind of completion; "" where there is nothing to offer. */
static void take(const char *word, char takes[TAKES_SIZE])
{
	static const struct {
		const char *word, *takes;
	} kinds[] = {{"BOOK", "book"}, {"DIR", "book"}, {"FILE", "file"}, {"SHEET", "sheet"},
		{"A", "sheet"}, {"B", "sheet"}, {"RUN_A", "run"}, {"RUN_B", "run"}, {"RUN", "run"},
		{"CAR", "car"}, {"CIRCUIT", "circuit"}};
	takes[0] = '\0';
	for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
		if (strcmp(word, kinds[i].word) == 0)
			snprintf(takes, TAKES_SIZE, "%s", kinds[i].takes);
	if (!strchr(word, '|'))
		return;
	/* The choices that are typed as they stand; CHANNEL among them is the user's own. */
	size_t len = 0;
	for (const char *c = word; *c;) {
		const size_t n = strcspn(c, "|");
		if (*c >= 'a' && *c <= 'z')
			len += (size_t)snprintf(takes + len, TAKES_SIZE - len, "%s%.*s",
				len ? " " : "=", (int)n, c);
		c += n + (c[n] == '|');
	}
}

/* The n-th word (from 1) of a subcommand, brackets off; false beyond the last. */
static bool nth_word(const struct cmd *c, size_t n, char takes[TAKES_SIZE])
{
	const char *at = c->words;
	char word[64];
	while (--n && at)
		at = strchr(at, ' ') ? strchr(at, ' ') + 1 : NULL;
	if (!at)
		return false;
	at += *at == '[';
	snprintf(word, sizeof word, "%.*s", (int)strcspn(at, " ]"), at);
	take(word, takes);
	return true;
}

static void put_words(FILE *out)
{
	size_t n;
	const struct cmd *table = cmd_table(&n);
	char takes[TAKES_SIZE];
	fputs("_treadlight_word() { # \"SUBCOMMAND N\": the kind of its N-th word\n\tcase $1 in\n",
		out);
	for (size_t i = 0; i < n; i++)
		for (size_t w = 1; nth_word(&table[i], w, takes); w++)
			if (takes[0])
				fprintf(out, "\t'%s %zu') echo '%s' ;;\n", table[i].name, w, takes);
	fputs("\tesac\n}\n", out);
}

static void put_value(FILE *out, const struct cmd *c, const struct cmd_option *o)
{
	char takes[TAKES_SIZE];
	take(o->value, takes);
	fprintf(out, "\t'%s --%s'", c->name, o->name);
	if (o->letter)
		fprintf(out, " | '%s -%c'", c->name, o->letter);
	fprintf(out, ") echo '%s' ;;\n", takes);
}

static void put_values(FILE *out)
{
	size_t n;
	const struct cmd *table = cmd_table(&n);
	fputs("_treadlight_value() { # \"SUBCOMMAND OPTION\": the kind of its value; fails without "
	      "one\n"
	      "\tcase $1 in\n",
		out);
	for (size_t i = 0; i < n; i++)
		for (const struct cmd_option *o = table[i].options; o->name; o++)
			if (o->value)
				put_value(out, &table[i], o);
	fputs("\t*) return 1 ;;\n\tesac\n}\n", out);
}

static void put_options(FILE *out)
{
	size_t n;
	const struct cmd *table = cmd_table(&n);
	fputs("_treadlight_subcommands() {\n\tprintf '%s\\n'", out);
	for (size_t i = 0; i < n; i++)
		fprintf(out, " %s", table[i].name);
	fputs("\n}\n_treadlight_options() { # of a subcommand\n\tcase $1 in\n", out);
	for (size_t i = 0; i < n; i++) {
		fprintf(out, "\t%s) echo '", table[i].name);
		for (const struct cmd_option *o = table[i].options; o->name; o++)
			fprintf(out, "--%s ", o->name);
		fputs("--help' ;;\n", out);
	}
	fputs("\tesac\n}\n", out);
}

static void put_quoted(FILE *out, const char *text)
{
	fputc('\'', out);
	for (const char *c = text; *c; c++)
		fputs(*c == '\'' ? "\\'" : *c == '\\' ? "\\\\" : (char[]){*c, '\0'}, out);
	fputc('\'', out);
}

/* What fish is to offer for a kind; "" for nothing. */
static void put_fish_kind(FILE *out, const char *takes)
{
	if (strcmp(takes, "book") == 0)
		fputs(" -a '(__fish_complete_directories)'", out);
	else if (strcmp(takes, "sheet") == 0 || strcmp(takes, "run") == 0)
		fprintf(out, " -a '(__treadlight_ids %ss)'", takes);
	else if (strcmp(takes, "car") == 0 || strcmp(takes, "circuit") == 0)
		fprintf(out, " -a '(__treadlight_profiles %ss)'", takes);
	else if (takes[0] == '=')
		fprintf(out, " -a '%s'", takes + 1);
}

static void put_fish_option(FILE *out, const struct cmd *c, const struct cmd_option *o)
{
	char takes[TAKES_SIZE] = "";
	fprintf(out, "complete -c treadlight -n '__treadlight_in %s' -l %s", c->name, o->name);
	if (o->letter)
		fprintf(out, " -s %c", o->letter);
	if (o->value) {
		take(o->value, takes);
		fputs(strcmp(takes, "file") == 0 ? " -r -F" : " -x", out);
		put_fish_kind(out, takes);
	}
	fputs(" -d ", out);
	put_quoted(out, o->help);
	fputc('\n', out);
}

static void put_fish(FILE *out)
{
	size_t n;
	const struct cmd *table = cmd_table(&n);
	char takes[TAKES_SIZE];
	fputs("set -g __treadlight_with_value", out);
	for (size_t i = 0; i < n; i++)
		for (const struct cmd_option *o = table[i].options; o->name; o++)
			if (o->value)
				fprintf(out, " '%s --%s'", table[i].name, o->name);
	fputc('\n', out);
	fputs(fish_head, out);
	for (size_t i = 0; i < n; i++) {
		const struct cmd *c = &table[i];
		fprintf(out, "complete -c treadlight -n __treadlight_first -a %s -d ", c->name);
		put_quoted(out, c->summary);
		fputc('\n', out);
		for (size_t w = 1; nth_word(c, w, takes); w++) {
			fprintf(out, "complete -c treadlight -n '__treadlight_in %s %zu'", c->name,
				w - 1);
			put_fish_kind(out, takes);
			fputc('\n', out);
		}
		for (const struct cmd_option *o = c->options; o->name; o++)
			put_fish_option(out, c, o);
		fprintf(out,
			"complete -c treadlight -n '__treadlight_in %s' -l help -d 'its usage'\n",
			c->name);
	}
}

bool completions_print(FILE *out, const char *shell)
{
	const bool zsh = strcmp(shell, "zsh") == 0;
	if (strcmp(shell, "fish") == 0) {
		put_fish(out);
		return true;
	}
	if (!zsh && strcmp(shell, "bash") != 0)
		return false;
	if (zsh)
		fputs("#compdef treadlight\n", out);
	fputs(shell_ids, out);
	put_words(out);
	put_values(out);
	put_options(out);
	fputs(zsh ? zsh_rest : bash_rest, out);
	return true;
}
