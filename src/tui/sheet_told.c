#include "tui/sheet.h"

#include "model/verdict.h"
#include "model/words.h"
#include "tui/fmt.h"

#include <stdio.h>
#include <string.h>

static struct told_columns told_columns(int width)
{
	struct told_columns c;
	c.narrow = width < 47;
	c.name_w = c.narrow ? 6 : 11;
	c.value = c.name_w;
	c.value_w = c.narrow ? 8 : 10;
	c.change = c.value + c.value_w - c.narrow;
	c.change_w = c.narrow ? 6 : 7;
	c.interval = c.change + c.change_w + 1;
	c.interval_w = c.narrow ? width - c.interval - 1 : 16; /* a mark of doubt may follow */
	c.time_decimals = c.narrow ? 2 : 3;
	return c;
}

static void response_name(const struct app *app, size_t r, bool narrow, char *buf, size_t size)
{
	const bool time = r == RESPONSE_TIME;
	const char *first = time ? "lap" : narrow ? "" : "wear ";
	const char *rest = !time ? app->book.channels[r - 1] : narrow ? "" : " time";
	buf[0] = '\0';
	strncat(buf, first, size - 1);
	strncat(buf, rest, size - 1 - strlen(buf));
}

/* "lap time slower", and below it "front kinder, rear can't tell": the answer in words,
 * before any figure. */
static void headline_time(const struct app *app, char *buf, size_t size)
{
	const struct answer *t = &app->told;
	if (app->n_changes == 0)
		snprintf(buf, size, "as %s", app->book.reference);
	else
		snprintf(buf, size, "%slap time %s", t->p.extrapolated ? "extrapolated: " : "",
			verdict_word(verdict_time(&t->p.delta[RESPONSE_TIME])));
}

static void headline_wear(const struct app *app, char *buf, size_t size)
{
	const struct answer *t = &app->told;
	size_t n = 0, channels = app->book.n_channels;
	bool alike = channels > 2;
	buf[0] = '\0';
	if (!app->n_changes)
		return;
	for (size_t c = 1; c < channels; c++)
		alike = alike && verdict_like(&t->p.like[c], &t->p.delta[1 + c]) ==
					 verdict_like(&t->p.like[0], &t->p.delta[1]);
	if (alike) {
		snprintf(buf, size, "at equal pace all four %s",
			verdict_word(verdict_like(&t->p.like[0], &t->p.delta[1])));
		return;
	}
	if (channels > 2) /* the wear as driven, below, may be told all the same */
		n = (size_t)snprintf(buf, size, "equal pace: ");
	for (size_t c = 0; c < channels && n < size; c++)
		n += (size_t)snprintf(buf + n, size - n, "%s%s %s", c ? ", " : "",
			app->book.channels[c],
			verdict_word(verdict_like(&t->p.like[c], &t->p.delta[1 + c])));
}

static void draw_change(
	const struct told_columns *c, int y, int x, const struct estimate *e, int most, int point)
{
	char text[FMT_SIZE];
	int d = fmt_estimate_decimals(e, most);
	bool doubt = verdict_wear(e) == VERDICT_CANT_TELL;
	enum style style = doubt ? DIM : PLAIN;
	if (!e->known) {
		scr_right(y, x + c->interval, c->interval_w, WARN, "not tested");
		return;
	}
	scr_point(y, x + c->change, c->change_w, style, fmt_signed(e->value, d, text), d, point);
	scr_right(y, x + c->interval, c->interval_w, style, fmt_interval(e, d, text));
	if (doubt)
		scr_text(y, x + c->interval + c->interval_w + !c->narrow, 1, style, "?");
}

static void draw_response(
	const struct app *app, const struct told_columns *c, int y, int x, size_t r)
{
	const struct answer *t = &app->told;
	char name[48], text[FMT_SIZE];
	bool time = r == RESPONSE_TIME;
	int most = time ? c->time_decimals : 2;
	int point = c->narrow ? 2 : 3;
	response_name(app, r, c->narrow, name, sizeof name);
	scr_text(y, x, c->name_w, PLAIN, name);
	const struct estimate *v = &t->p.value[r];
	int d = fmt_estimate_decimals(v, most);
	if (!v->known)
		scr_right(y, x + c->value, c->value_w - 1, DIM, "-");
	else
		scr_point(y, x + c->value, c->value_w - 1, PLAIN,
			time ? fmt_lap(v->value, d, text) : fmt_plain(v->value, d, text), d, point);
	draw_change(c, y, x, &t->p.delta[r], most, point);
}

static void draw_like(const struct app *app, const struct told_columns *c, int y, int x, size_t ch)
{
	const struct like_delta *l = &app->told.p.like[ch];
	char name[48], text[FMT_SIZE];
	response_name(app, 1 + ch, c->narrow, name, sizeof name);
	scr_text(y, x, c->name_w, PLAIN, name);
	if (!l->delta.known && app->told.p.delta[1 + ch].known) {
		scr_right(y, x + c->interval - 2, c->interval_w + 2, DIM, "no exchange rate");
		return;
	}
	if (l->has_chance && app->n_changes > 0)
		scr_right(y, x + c->value, c->narrow ? c->value_w - 1 : c->value_w, PLAIN,
			l->bound ? "rate?" : fmt_chance(l->chance_better, c->narrow, text));
	draw_change(c, y, x, &l->delta, 2, c->narrow ? 2 : 3);
	const enum verdict v = verdict_wear(&l->delta);
	if (l->leans && (v == VERDICT_LESS || v == VERDICT_MORE)) /* another rate would turn it */
		scr_text(y, x + c->interval + c->interval_w + !c->narrow, 1, DIM, "?");
}

/* --- what cannot be told --------------------------------------------------- */

static void untested_words(const struct app *app, char *buf, size_t size)
{
	const struct answer *t = &app->told;
	const struct response *r = &app->model->responses[RESPONSE_TIME];
	size_t n = (size_t)snprintf(buf, size, "not tested: ");
	size_t start = n;
	for (size_t i = 0; i < t->n_untested && n < size; i++) {
		char words[WORDS_SIZE];
		words_untested(app->model, r, (size_t)t->untested[i], words, sizeof words);
		if (words[0] && !strstr(buf, words))
			n += (size_t)snprintf(
				buf + n, size - n, "%s%s", n > start ? "; " : "", words);
	}
	if (n == start)
		buf[0] = '\0';
}

static void extrapolated_words(const struct app *app, char *buf, size_t size)
{
	const struct model *m = app->model;
	bool out[256];
	buf[0] = '\0';
	if (!app->told.p.extrapolated || m->n_coords > 256)
		return;
	model_extrapolated(m, app_sheet(app)->values, out);
	size_t n = (size_t)snprintf(buf, size, "extrapolated, beyond what was driven: ");
	size_t start = n;
	int last = -1;
	for (size_t i = 0; i < m->n_coords && n < size; i++) {
		if (!out[i] || m->coords[i].group == last)
			continue;
		char label[96];
		const char *l = app->book.car.adjustables[m->coords[i].adjustable].label;
		text_safe(label, sizeof label, l, strlen(l));
		n += (size_t)snprintf(buf + n, size - n, "%s%s", n > start ? ", " : "", label);
		last = m->coords[i].group;
	}
}

int sheet_told_height(const struct app *app, int width)
{
	int balance = sheet_balance_height(app);
	int n = (int)app->book.n_channels;
	/* headline 2, conditions, heading, responses, heading, channels, balance, and two lines
	 * for what cannot be told, kept free so that the picture does not jump */
	return 4 + 1 + n + 1 + n + balance + 2 + (width < 47 && n > 2);
}

static int draw_heads(const struct app *app, const struct told_columns *c, struct area a, int y)
{
	char text[512];
	headline_time(app, text, sizeof text);
	scr_text(y++, a.x, a.w, app->told.p.extrapolated ? WARN : BOLD, text);
	headline_wear(app, text, sizeof text);
	int used = scr_wrap(y, a.x, a.w, 2, BOLD, text);
	y += used > 1 ? 2 : 1;
	snprintf(text, sizeof text, "%s", app->conditions);
	const bool far = app->beyond[0] != '\0';
	const char *units[] = {" of fuel", " deg", "effort "};
	const int room = a.w - (far && c->narrow ? (int)strlen(" beyond") : 0);
	for (int i = 0; i < 3 && scr_width(text) > room; i++) { /* shorter where room is short */
		char *cut = strstr(text, units[i]);
		if (cut)
			memmove(cut, cut + strlen(units[i]), strlen(cut + strlen(units[i])) + 1);
	}
	int x = scr_text(y, a.x, room, far ? WARN : DIM, text);
	if (room < a.w) /* the sentence below may have no room here */
		scr_text(y, a.x + x, a.w - x, WARN, " beyond");
	y++;
	scr_right(y, a.x + c->change, c->change_w, DIM, "change");
	scr_right(y, a.x + c->interval, c->interval_w, DIM, "95% interval");
	if (!c->narrow)
		scr_text(y, a.x, c->name_w, DIM, "s, % a lap");
	return y + 1;
}

static int draw_likes(struct app *app, const struct told_columns *c, struct area a, int y)
{
	char text[160];
	if (c->narrow)
		snprintf(text, sizeof text, "at equal pace");
	else
		snprintf(text, sizeof text, "at %s's pace", app->book.reference);
	scr_right(y, a.x + c->change + 1, c->interval + c->interval_w - c->change - 1, DIM, text);
	if (c->narrow) /* over "93/100" */
		scr_right(y, a.x, c->value + c->value_w - 1, DIM, "kinder in");
	else
		scr_right(y, a.x + c->value, c->value_w, DIM, "kinder");
	y++;
	bool stretched = false;
	const int end = a.y + a.h;
	for (size_t ch = 0; ch < app->book.n_channels && y < end; ch++) {
		draw_like(app, c, y++, a.x, ch);
		stretched = stretched || app->told.p.like[ch].stretched;
	}
	if (stretched && y < end)
		scr_text(y++, a.x, a.w, WARN,
			c->narrow ? "pace rate beyond what was seen"
				  : "the pace difference is beyond what was seen");
	return y;
}

void sheet_draw_told(struct app *app, struct area a)
{
	struct told_columns c = told_columns(a.w);
	char text[600];
	int y = a.y, end = a.y + a.h;
	if (!app->told.known) {
		if (app->fit_waits)
			snprintf(text, sizeof text, "%s", app->model_why);
		else
			snprintf(text, sizeof text,
				"Nothing can be predicted yet: %s. Log runs (page 4); "
				"page 5 plans which ones tell most.",
				app->model_why);
		y += scr_wrap(y, a.x, a.w, 6, PLAIN, text) + 1;
		if (y + sheet_balance_height(app) <= end)
			sheet_draw_balance(app, &c, y, a.x);
		return;
	}
	if (a.h < 6) { /* no room for a table */
		sheet_draw_brief(app, a);
		return;
	}
	y = draw_heads(app, &c, a, y);
	for (size_t r = 0; r <= app->book.n_channels && y < end; r++)
		draw_response(app, &c, y++, a.x, r);
	if (app->against.values && y < end)
		y = draw_likes(app, &c, a, y);
	int balance = sheet_balance_height(app);
	if (balance && y + balance <= end) {
		y += sheet_draw_balance(app, &c, y, a.x);
	}
	text[0] = '\0';
	if (app->against.values)
		words_borrowed_delta(
			app->model, app_sheet(app)->values, app->against.values, text, sizeof text);
	if (text[0] && y < end)
		y += scr_wrap(y, a.x, a.w, end - y < 4 ? end - y : 4, WARN, text);
	untested_words(app, text, sizeof text);
	if (text[0] && y < end)
		y += scr_wrap(y, a.x, a.w, end - y < 3 ? end - y : 3, WARN, text);
	extrapolated_words(app, text, sizeof text);
	if (text[0] && y < end)
		y += scr_wrap(y, a.x, a.w, end - y < 3 ? end - y : 3, WARN, text);
	if ((end - y) * a.w > scr_width(app->beyond)) /* the whole sentence or none */
		scr_wrap(y, a.x, a.w, end - y < 3 ? end - y : 3, WARN, app->beyond);
}

void sheet_draw_brief(struct app *app, struct area a)
{
	char text[600], d[FMT_SIZE];
	const struct answer *t = &app->told;
	if (!t->known) {
		snprintf(text, sizeof text, "Nothing can be predicted yet: %s", app->model_why);
		scr_wrap(a.y, a.x, a.w, a.h, PLAIN, text);
		return;
	}
	char wear[400];
	headline_time(app, text, sizeof text);
	headline_wear(app, wear, sizeof wear);
	size_t at = strlen(text);
	snprintf(text + at, sizeof text - at, "%s%.380s", wear[0] ? ", " : "", wear);
	for (size_t r = 0; r <= app->book.n_channels; r++) {
		const struct estimate *e = &t->p.delta[r];
		size_t n = strlen(text);
		char name[48], range[FMT_SIZE];
		if (!e->known)
			continue;
		response_name(app, r, true, name, sizeof name);
		int dec = fmt_estimate_decimals(e, 2);
		snprintf(text + n, sizeof text - n, "%s %s %s (%s)", r ? "," : ".", name,
			fmt_signed(e->value, dec, d), fmt_interval(e, dec, range));
	}
	scr_wrap(a.y, a.x, a.w, a.h, PLAIN, text);
}
