/* What each change against the reference does, where the screen is wide enough. */
#include "tui/sheet.h"

#include "model/verdict.h"
#include "tui/fmt.h"

#include <stdio.h>
#include <string.h>

enum { LABEL_W = 13, FIGURE_W = 9, VALUE_W = 6 };

/* Labels and moves are as wide as this car's, as far as there is room. */
struct columns {
	int label_w, move, move_w, figures;
};

/* With four wheels the table fills its 76 columns. */
static struct columns columns_for(const struct model *m, const struct fmt_widths *w, struct area a)
{
	struct columns c = {.label_w = LABEL_W, .move_w = m->n_responses > 4 ? 16 : 18};
	int room = a.w - LABEL_W - c.move_w - 1 - (int)m->n_responses * FIGURE_W;
	const int wider = 2 * (w->value - VALUE_W);
	if (wider > 0 && room > 0) {
		c.move_w += wider < room ? wider : room;
		room -= wider;
	}
	if (w->label > LABEL_W && room > 0)
		c.label_w = w->label - LABEL_W < room ? w->label : LABEL_W + room;
	c.move = a.x + c.label_w + 1;
	c.figures = c.move + c.move_w;
	return c;
}

static void draw_figure(const struct estimate *e, int y, int x, int most)
{
	char text[FMT_SIZE];
	int d = fmt_estimate_decimals(e, most);
	bool doubt = verdict_wear(e) == VERDICT_CANT_TELL;
	if (!e->known) {
		scr_right(y, x, FIGURE_W - 1, WARN, "not told");
		return;
	}
	scr_point(y, x, FIGURE_W - 1, doubt ? DIM : PLAIN, fmt_signed(e->value, d, text), d, 3);
	if (doubt)
		scr_text(y, x + FIGURE_W - 1, 1, DIM, "?");
}

/* "-3.2 to -2.8", of a pair its front. */
static void draw_change(struct app *app, size_t group, const struct columns *c, int y, int x)
{
	const struct model *m = app->model;
	const struct adjustable *a = &app->book.car.adjustables[m->groups[group].adjustable];
	const fix *now = app_sheet(app)->values, *then = app->against.values;
	int i = m->groups[group].adjustable;
	char from[FMT_SIZE], to[FMT_SIZE], move[2 * FMT_SIZE + 16];
	int pair = m->groups[group].pair;
	if (pair >= 0 && now[i] == then[i])
		i = car_partner(&app->book.car, i);
	fmt_value(a, then[i], from);
	fmt_value(a, now[i], to);
	scr_text(y, x, c->label_w, PLAIN, a->label);
	const char *end = pair < 0 ? "" : i == app->book.car.pairs[pair].front ? " front" : " rear";
	int w = snprintf(move, sizeof move, "%s to %s%s", from, to, end);
	if (w > c->move_w && pair >= 0) /* " f" is better than half a word */
		snprintf(move, sizeof move, "%s to %s%.2s", from, to, end);
	scr_text(y, c->move, c->move_w, DIM, move);
	for (size_t r = 0; r < m->n_responses; r++) {
		struct estimate e = model_group_delta(m, r, group, now, then);
		draw_figure(&e, y, c->figures + (int)r * FIGURE_W, r == RESPONSE_TIME ? 3 : 2);
	}
}

void sheet_draw_changes(struct app *app, struct area a)
{
	const struct model *m = app->model;
	if (!m || !app->against.values || app->n_changes == 0 || a.h < 3)
		return;
	const struct columns c = columns_for(m, &sheet_page_of(app)->widths, a);
	scr_text(a.y, a.x, LABEL_W + c.move_w, DIM, "what each change does");
	for (size_t r = 0; r < m->n_responses; r++) {
		char name[32];
		if (r == RESPONSE_TIME)
			snprintf(name, sizeof name, "lap s");
		else
			snprintf(name, sizeof name, "%s %%", app->book.channels[r - 1]);
		scr_right(a.y, c.figures + (int)r * FIGURE_W, FIGURE_W - 1, DIM, name);
	}
	int y = a.y + 1;
	for (size_t g = 0; g < m->n_groups && y < a.y + a.h; g++) {
		int i = m->groups[g].adjustable, j = car_partner(&app->book.car, i);
		const fix *now = app_sheet(app)->values, *then = app->against.values;
		if (now[i] != then[i] || (j >= 0 && now[j] != then[j]))
			draw_change(app, g, &c, y++, a.x);
	}
}
