#include "tui/app.h"

static void plan_draw(struct app *app, struct area a)
{
	(void)app;
	scr_text(a.y + 1, 1, a.w - 2, PLAIN, "No plan in this book yet: treadlight plan makes one.");
}

const struct page_ops page_plan = {.draw = plan_draw};
