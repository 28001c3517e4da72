/* What each change against the reference does, where the screen is wide enough. */
#include "tui/sheet.h"

#include "model/verdict.h"
#include "tui/fmt.h"

#include <stdio.h>
#include <string.h>

enum { LABEL_W = 13, FIGURE_W = 9 };

/* With four wheels the table fills its 76 columns. */
static int move_width(const struct model *m)
{
	return m->n_responses > 4 ? 16 : 18;
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
static void draw_change(struct app *app, size_t group, int y, int x)
{
	const struct model *m = app->model;
	const struct adjustable *a = &app->book.car.adjustables[m->groups[group].adjustable];
	const fix *now = app_sheet(app)->values, *then = app->against.values;
	int i = m->groups[group].adjustable;
	char from[32], to[32], move[96];
	const int width = move_width(m);
	int pair = m->groups[group].pair;
	if (pair >= 0 && now[i] == then[i])
		i = car_partner(&app->book.car, i);
	int d = fix_decimals(a->step);
	fix_print_min(then[i], d, from, sizeof from);
	fix_print_min(now[i], d, to, sizeof to);
	scr_text(y, x, LABEL_W, PLAIN, a->label);
	const char *end = pair < 0 ? "" : i == app->book.car.pairs[pair].front ? " front" : " rear";
	int w = snprintf(move, sizeof move, "%s to %s%s", from, to, end);
	if (w > width && pair >= 0) /* " f" is better than half a word */
		snprintf(move, sizeof move, "%s to %s%.2s", from, to, end);
	scr_cut(y, x + LABEL_W + 1, width, DIM, move);
	x += LABEL_W + width + 1;
	for (size_t r = 0; r < m->n_responses; r++) {
		struct estimate e = model_group_delta(m, r, group, now, then);
		draw_figure(&e, y, x + (int)r * FIGURE_W, r == RESPONSE_TIME ? 3 : 2);
	}
}

void sheet_draw_changes(struct app *app, struct area a)
{
	const struct model *m = app->model;
	if (!m || !app->against.values || app->n_changes == 0 || a.h < 3)
		return;
	const int width = move_width(m);
	int figures = a.x + LABEL_W + width + 1;
	scr_text(a.y, a.x, LABEL_W + width, DIM, "what each change does");
	for (size_t r = 0; r < m->n_responses; r++) {
		char name[32];
		if (r == RESPONSE_TIME)
			snprintf(name, sizeof name, "lap s");
		else
			snprintf(name, sizeof name, "%s %%", app->book.channels[r - 1]);
		scr_right(a.y, figures + (int)r * FIGURE_W, FIGURE_W - 1, DIM, name);
	}
	int y = a.y + 1;
	for (size_t g = 0; g < m->n_groups && y < a.y + a.h; g++) {
		int i = m->groups[g].adjustable, j = car_partner(&app->book.car, i);
		const fix *now = app_sheet(app)->values, *then = app->against.values;
		if (now[i] != then[i] || (j >= 0 && now[j] != then[j]))
			draw_change(app, g, y++, a.x);
	}
}
