#include "tui/app.h"

unsigned effects_next_response(struct app *app)
{
	(void)app;
	return UI_NONE;
}

static void effects_draw(struct app *app, struct area a)
{
	(void)app;
	scr_text(a.y + 1, 1, a.w - 2, PLAIN, "See treadlight fit.");
}

const struct page_ops page_effects = {.draw = effects_draw};
