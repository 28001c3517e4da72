#include "tui/app.h"

static void runs_draw(struct app *app, struct area a)
{
	scr_printf(a.y + 1, 1, a.w - 2, PLAIN, "%zu runs in this book", app->book.n_runs);
}

const struct page_ops page_runs = {.draw = runs_draw};
