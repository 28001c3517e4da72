/* The help page, made from the table of actions. */
#include "tui/app.h"

#include <stdio.h>
#include <string.h>

/* Adds text broken at blanks, so that no line is wider than `width`, the later ones indented. */
static void add_wrapped(struct buf *out, const char *text, int width, int indent)
{
	int column = 0;
	while (*text) {
		size_t n = strcspn(text, " ");
		n += n == 0 ? 1 : 0;
		if (*text != ' ' && column > indent && column + (int)n > width) {
			buf_addf(out, "\n%*s", indent, "");
			column = indent;
		}
		if (*text != ' ' || column + 1 < width || column < indent) {
			buf_add(out, text, n);
			column += (int)n;
		}
		text += n;
	}
	buf_adds(out, "\n");
}

/* One action: its keys, what it does, and the pages where it works if that is not here. */
static void add_action(struct buf *out, const struct app *app, enum action a, int width)
{
	enum { KEYS_W = 16 };
	char keys[64], pages[96], line[400];
	const struct action_info *i = action_info(a);
	size_t n = (size_t)snprintf(
		line, sizeof line, "%-*s%s", KEYS_W, action_keys(a, keys, sizeof keys), i->help);
	if (i->pages != ON_ALL && !(i->pages & ON(app->page)) && n < sizeof line)
		snprintf(line + n, sizeof line - n, " (%s)", action_pages(a, pages, sizeof pages));
	add_wrapped(out, line, width, KEYS_W);
}

enum where { HERE, EVERYWHERE, ELSEWHERE };

static enum where place_of(const struct app *app, enum action a)
{
	return action_is_general(a)                    ? EVERYWHERE
	       : action_info(a)->pages & ON(app->page) ? HERE
						       : ELSEWHERE;
}

/* The keys of the page at hand come first. */
static void add_actions(struct buf *out, const struct app *app, int width)
{
	for (int where = HERE; where <= ELSEWHERE; where++) {
		buf_addf(out, "%s%s:\n",
			where == HERE         ? page_names[app->page]
			: where == EVERYWHERE ? "Every"
					      : "Other",
			where == ELSEWHERE ? " pages" : " page");
		for (int a = 0; a < ACTION_COUNT; a++)
			if (place_of(app, (enum action)a) == (enum where)where)
				add_action(out, app, (enum action)a, width);
		buf_adds(out, "\n");
	}
}

unsigned act_help(struct app *app)
{
	static const char *const words[] = {
		"Marks beside a value: < differs from the reference, ! past a caution, = frozen.",
		"kinder: less wear at the reference's pace, clear of noise. only slower: less "
		"wear, "
		"but lifting would have saved more. harder: more wear at that pace.",
		"can't tell (?): the 95% interval covers no change at all. not tested: the runs "
		"driven "
		"so far cannot speak about it. extrapolated: beyond what was driven.",
		"effort: how hard the driver pushed, 100 = flat out. at equal pace: the wear "
		"brought to "
		"the reference's lap time by the exchange rate, the wear that a second a lap of "
		"lifting "
		"saves on the same set-up. frontier: the sheets that no other beats in both lap "
		"time "
		"and wear.",
		"",
		"The tyre maker's limits and the series' rules stand above any figure here. Drive "
		"at "
		"licensed venues; qualified persons change the car. The program clears nothing.",
	};
	const int room = scr_cols() - 8, width = room < 20 ? 20 : room > 84 ? 84 : room;
	struct buf text;
	buf_init(&text);
	add_actions(&text, app, width);
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		add_wrapped(&text, words[i], width, 0);
	unsigned flags = text.failed ? app_warn(app, "out of memory")
				     : text_open(app, text.data, "Keys and words");
	buf_free(&text);
	return flags;
}
