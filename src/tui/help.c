/* The help page, made from the table of actions. */
#include "tui/app.h"

#include <stdio.h>
#include <string.h>

enum { LINE_COLUMNS = 76 }; /* inside the frame at 80 columns */

unsigned act_help(struct app *app)
{
	struct buf text;
	char keys[64], pages[96];
	buf_init(&text);
	for (int a = 0; a < ACTION_COUNT; a++) {
		const struct action_info *i = action_info((enum action)a);
		bool here = i->pages & ON(app->page);
		size_t from = text.len;
		buf_addf(
			&text, "%-13s %s", action_keys((enum action)a, keys, sizeof keys), i->help);
		action_pages((enum action)a, pages, sizeof pages);
		const bool fits = text.len - from + strlen(pages) + 4 <= LINE_COLUMNS;
		if (i->pages != ON_ALL && !here)
			buf_addf(&text, fits ? "  (%s)" : "\n              (%s)", pages);
		buf_adds(&text, "\n");
	}
	buf_adds(&text,
		"\nMarks beside a value: < differs from the reference, ! past a caution, = "
		"frozen.\n"
		"kinder: less wear at the reference's pace, clear of noise. only slower: less "
		"wear,\n"
		"but lifting would have saved more. harder: more wear at that pace.\n"
		"can't tell (?): the 95% interval covers no change at all. not tested: the runs\n"
		"driven so far cannot speak about it. extrapolated: beyond what was driven.\n"
		"\nThe tyre maker's limits and the series' rules stand above any figure here. "
		"Drive at\n"
		"licensed venues; qualified persons change the car. The program clears nothing.");
	unsigned flags = text.failed ? app_warn(app, "out of memory")
				     : text_open(app, text.data, "Keys and words");
	buf_free(&text);
	return flags;
}
