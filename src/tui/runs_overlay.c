/* The Runs page: two runs laid over each other along the lap. */
#include "tui/runs.h"

#include "model/overlay.h"

static unsigned overlay_picked(struct app *app, int item)
{
	const struct run *two = runs_current(app);
	struct overlay o;
	struct buf text;
	struct err err;
	err_clear(&err);
	if (item < 0 || !two || (size_t)item >= app->book.n_runs)
		return UI_ALL;
	if (!overlay_make(&o, &app->book, &app->book.runs[item], two, &err))
		return app_warn(app, "%s", err.text);
	buf_init(&text);
	overlay_text(&o, false, scr_cols() - 4, &text);
	overlay_free(&o);
	unsigned flags = text.failed ? app_warn(app, "out of memory")
				     : text_open(app, text.data, "Where on the lap");
	buf_free(&text);
	return flags;
}

unsigned act_overlay(struct app *app)
{
	struct runs_page *s = runs_page_of(app);
	struct buf items;
	if (app->book.n_runs < 2)
		return app_say(app, "two runs are needed to lay one over the other");
	buf_init(&items);
	for (size_t i = 0; i < app->book.n_runs; i++)
		buf_addf(&items, "%s%s%s%.16s", i ? "\n" : "", app->book.runs[i].id,
			app->book.runs[i].date[0] ? "  " : "", app->book.runs[i].date);
	unsigned flags = items.failed ? app_warn(app, "out of memory")
				      : list_open(app, overlay_picked, items.data,
						s->cursor > 0 ? s->cursor - 1 : 1,
						"Lay the run under the cursor over");
	buf_free(&items);
	return flags;
}
