#include "store/explain.h"

#include <string.h>

/* libyaml 0.2.5's texts that a user meets, and what to do about them. */
static const struct {
	const char *problem, *text;
	bool from; /* look where the thing began, not where the file ended */
} known[] = {
	{"found unexpected end of stream", "this quote is never closed", true},
	{"found unexpected document indicator", "this quote is not closed before the document ends",
		true},
	{"did not find expected ',' or ']'",
		"a comma or ']' is missing in the list that began on line %zu; write [one, two]",
		false},
	{"did not find expected ',' or '}'",
		"a comma or '}' is missing in the mapping that began on line %zu; write {key: "
		"value, key: value}",
		false},
	{"mapping values are not allowed in this context",
		"a ': ' cannot stand here; check the indentation, or quote the text", false},
	{"could not find expected ':'", "a ':' is missing behind this key; write `key: value`",
		true},
	{"found unexpected ':'", "a space is needed behind this ':'; write `key: value`", false},
	{"did not find expected key",
		"a key was expected here; check the indentation against line %zu", false},
	{"did not find expected '-' indicator",
		"a '- ' was expected here; check the indentation against line %zu", false},
	{"block sequence entries are not allowed in this context",
		"a list ('- ') cannot begin here; put it on a line of its own", false},
	{"mapping keys are not allowed in this context",
		"a key cannot begin here; put it on a line of its own", false},
	{"block collections are not allowed in this context",
		"a list or mapping cannot begin here; put it on a line of its own", false},
	{"did not find expected <document start>",
		"text behind the end of the document; a file holds one", false},
	{"did not find expected node content",
		"a value was expected here; quote the text if it is one", false},
	{"did not find expected alphabetic or numeric character",
		"'*' and '&' begin no value; quote the text", true},
	{"did not find expected comment or line break",
		"nothing can follow '|' or '>' on its line; quote the text", true},
	{"found duplicate %YAML directive", "%%YAML stands twice; keep one", false},
	{"found incompatible YAML document", "only %%YAML 1.2 is read", false},
	{"found invalid Unicode character escape code", "this escape is no character", false},
	{"found unknown escape character",
		"an unknown escape in double quotes; write \\\\ for a backslash", false},
	{"did not find expected hexdecimal number", "hexadecimal digits are missing in this escape",
		false},
	{"found a tab character where an indentation space is expected",
		"a tab cannot indent; use spaces", false},
	{"found a tab character that violates indentation", "a tab cannot indent; use spaces",
		false},
	{"found character that cannot start any token",
		"no value can begin with this character; quote the text", false},
};

void explain_problem(struct problem *p, const struct scan *s, struct err *err)
{
	const char *problem = p->problem ? p->problem : "unknown problem";
	const char *context = p->context ? p->context : "";

	/* Never at the end, where a token can start: there is a byte. */
	if (strstr(problem, "cannot start any token") && s->bytes[p->at.byte] == '\t') {
		err_input(err, "a tab cannot indent; use spaces");
		return;
	}
	for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
		if (strcmp(known[i].problem, problem) != 0)
			continue;
		if (known[i].from)
			p->at = p->from;
		if (strstr(context, "quoted scalar") && strstr(known[i].text, "this escape")) {
			p->at.byte -= 2; /* noticed behind the two characters of "\\x" */
			p->at.col -= 2;
		}
		err_input(err, known[i].text, p->from.line);
		return;
	}
	err_input(err, "is not valid YAML: %s%s%s", problem, *context ? " " : "", context);
}
