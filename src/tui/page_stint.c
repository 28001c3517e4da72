#include "tui/app.h"

static void stint_draw(struct app *app, struct area a)
{
	(void)app;
	scr_text(a.y + 1, 1, a.w - 2, PLAIN, "See treadlight stint.");
}

const struct page_ops page_stint = {.draw = stint_draw};
