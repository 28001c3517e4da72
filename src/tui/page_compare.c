#include "tui/app.h"

unsigned compare_take(struct app *app)
{
	return app_say(app, "nothing to take yet");
}

static void compare_draw(struct app *app, struct area a)
{
	scr_printf(a.y + 1, 1, a.w - 2, PLAIN, "%s against %s: see treadlight compare.", app_sheet(app)->id,
		app->book.reference);
}

const struct page_ops page_compare = {.draw = compare_draw};
