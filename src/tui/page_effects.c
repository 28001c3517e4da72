/*
 * The Effects page: what each adjustable does near the reference, most useful first,
 * its interval as a bar; then the exchange rates, what driver, tyres and fuel do, the noise, what
 * was left out of the fit and why, and the adjustables that were not tested.
 */
#include "tui/app.h"

#include "model/borrow.h"
#include "model/effects.h"
#include "model/segments.h"
#include "model/words.h"
#include "tui/fmt.h"
#include "tui/plot.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct effects_page {
	bool stale, ready;
	struct effects effects; /* owned */
	struct buf text;        /* the lines below the effects, made with the fit */
	int n_text;
	int cursor, top, screenful;
	size_t n_tested; /* effects with a figure stand first, those without below the text */
	size_t shown;    /* like-for-like of each channel, then lap time, then wear as driven */
	char why[256];
};

static struct effects_page *state_of(struct app *app)
{
	return app_page_state(app, PAGE_EFFECTS);
}

static void *effects_open(struct app *app)
{
	(void)app;
	struct effects_page *s = calloc(1, sizeof *s);
	if (s) {
		s->stale = true;
		buf_init(&s->text);
	}
	return s;
}

static void effects_close(void *state)
{
	struct effects_page *s = state;
	effects_free(&s->effects);
	buf_free(&s->text);
	free(s);
}

static void effects_changed(struct app *app, unsigned what)
{
	struct effects_page *s = state_of(app);
	if (s && (what & (CHANGED_MODEL | CHANGED_REFERENCE)))
		s->stale = true;
}

/* --- the lines below ------------------------------------------------------- */

static void add_line(struct effects_page *s, const char *text)
{
	if (!text[0])
		return;
	buf_addf(&s->text, "%s\n", text);
	s->n_text++;
}

/* "effort, each 1: wear front +0.0364 %/lap (0.0326 to 0.0403) real" */
static void add_figure(
	const struct app *app, struct effects_page *s, const struct term *t, size_t k, size_t term)
{
	const struct model *m = app->model;
	const struct response *r = &m->responses[k];
	char line[1024], words[WORDS_SIZE], name[WORDS_SIZE], value[FMT_SIZE], range[FMT_SIZE];
	double *l = calloc(r->n_terms, sizeof *l);
	if (!l) {
		s->text.failed = true;
		return;
	}
	l[term] = 1;
	const struct estimate e = model_contrast(r, l);
	free(l);
	const int d = e.known && e.has_interval ? words_decimals((e.high - e.low) / 2) : 3;
	int n = snprintf(line, sizeof line, "%s: %s ", words_term(m, t, words, sizeof words),
		words_response(m, k, name, sizeof name));
	if (e.known && n > 0 && n < (int)sizeof line)
		n += snprintf(line + n, sizeof line - (size_t)n, "%s %s (%s) ",
			fmt_signed(e.value, d, value), words_unit(k), fmt_interval(&e, d, range));
	if (n > 0 && n < (int)sizeof line)
		snprintf(line + n, sizeof line - (size_t)n, "%s", words_verdict(&e));
	add_line(s, line);
}

/* A line for each response that has the term. */
static void add_term(const struct app *app, struct effects_page *s, const struct term *t)
{
	for (size_t k = 0; k < app->model->n_responses; k++) {
		const struct response *r = &app->model->responses[k];
		for (size_t i = 0; i < r->n_terms; i++)
			if (strcmp(r->terms[i].id, t->id) == 0)
				add_figure(app, s, t, k, i);
	}
}

static void add_terms(const struct app *app, struct effects_page *s)
{
	const struct response *r = &app->model->responses[RESPONSE_TIME];
	add_line(s, "Driver, tyres, fuel, as told beside the set-up:");
	int before = s->n_text;
	for (size_t i = 0; i < r->n_terms; i++)
		if (r->terms[i].kind == TERM_COVARIATE || r->terms[i].kind == TERM_FACTOR)
			add_term(app, s, &r->terms[i]);
	if (s->n_text == before)
		add_line(s, "  none entered the fit");
}

static void add_noise(const struct app *app, struct effects_page *s)
{
	const struct model *m = app->model;
	char line[512], words[WORDS_SIZE];
	for (size_t k = 0; k < m->n_responses; k++) {
		const struct response *r = &m->responses[k];
		const char *name = words_response(m, k, words, sizeof words), *unit = words_unit(k);
		if (!r->fitted)
			snprintf(line, sizeof line, "%s: %s", name, r->why);
		else if (r->one_obs_a_run)
			snprintf(line, sizeof line,
				"Noise of %s%s: %.3f %s from run to run, one reading a run", name,
				words_noise_source(r), r->sigma_run, unit);
		else if (isfinite(r->sigma_run) && isfinite(r->sigma_lap))
			snprintf(line, sizeof line,
				"Noise of %s%s: %.3f %s from run to run, %.3f from lap to lap "
				"(%zu readings, %zu runs)",
				name, words_noise_source(r), r->sigma_run, unit, r->sigma_lap,
				r->n_obs, r->n_runs);
		else if (isfinite(r->sigma_lap))
			snprintf(line, sizeof line,
				"Noise of %s%s: %.3f %s from lap to lap; from run to run "
				"unknown, no set-up was driven twice",
				name, words_noise_source(r), r->sigma_lap, unit);
		else
			snprintf(line, sizeof line, "Noise of %s: unknown, nothing was repeated",
				name);
		add_line(s, line);
		add_line(s, words_lack_of_fit(r, words, sizeof words));
	}
}

static void add_exchange(const struct app *app, struct effects_page *s)
{
	const struct model *m = app->model;
	char line[512], rate[40], span[80];
	for (size_t c = 0; c < app->book.n_channels; c++) {
		const struct exchange *e = &m->exchange[c];
		const char *channel = app->book.channels[c];
		if (e->method == EXCHANGE_NONE)
			snprintf(line, sizeof line, "Exchange rate, %s: unknown; %s", channel,
				e->note);
		else
			snprintf(line, sizeof line,
				"Exchange rate, %s: %s %% for each s lifted%s, %s%s%s", channel,
				words_rate(e, 2, rate, sizeof rate),
				words_rate_interval(e, 2, span, sizeof span), words_rate_origin(e),
				e->note[0] ? "; " : "", e->note);
		add_line(s, line);
	}
}

/* What other books tell, and where the runs here contradict them. */
static void add_borrowed(const struct app *app, struct effects_page *s)
{
	const struct model *m = app->model;
	const struct borrowing *b = m->borrowing;
	char line[2 * WORDS_SIZE];
	bool any = false;
	if (!b)
		return;
	for (size_t i = 0; i < b->n_conflicts; i++) {
		const struct conflict *c = &b->conflicts[i];
		if (!c->beyond || c->slot >= RESPONSES_MAX + CHANNELS_MAX)
			continue;
		add_line(s, words_conflict(m, c, line, sizeof line));
		any = true;
	}
	snprintf(line, sizeof line,
		"Borrowed from %zu book%s of this car; a borrowed figure counts as not tested.%s "
		"without: [ID] in book.yaml drops an adjustable",
		b->n_books, b->n_books == 1 ? "" : "s",
		!any                   ? ""
		: m->book->borrow_keep ? " What conflicts was kept, and is disputed."
				       : " What conflicts was widened by as much as they differ.");
	add_line(s, line);
	for (size_t i = 0; i < b->n_notes; i++)
		add_line(s, b->notes[i]);
}

static void add_remarks(const struct app *app, struct effects_page *s)
{
	const struct model *m = app->model;
	char line[512];
	add_line(s, m->curvature_note);
	snprintf(line, sizeof line, "%s", words_tangled(m)); /* two lines there, one row here */
	if (strchr(line, '\n'))
		*strchr(line, '\n') = ' ';
	add_line(s, line);
	for (size_t i = 0; i < m->n_notes; i++)
		add_line(s, m->notes[i]);
	if (m->n_suspects) {
		snprintf(line, sizeof line,
			"%zu lap reading%s far off the others; the Runs page shows which",
			m->n_suspects, m->n_suspects == 1 ? " stands" : "s stand");
		add_line(s, line);
	}
}

static bool is_tested(const struct effect *x, size_t n_responses, size_t n_channels)
{
	for (size_t k = 0; k < n_responses; k++)
		if (x->by[k].known)
			return true;
	for (size_t c = 0; c < n_channels; c++)
		if (x->like[c].delta.known)
			return true;
	return false;
}

/* Those with a figure to the front, in the order they have. */
static void part_tested(struct effects_page *s, size_t n_responses, size_t n_channels)
{
	struct effect *v = s->effects.v;
	s->n_tested = 0;
	for (size_t i = 0; i < s->effects.n; i++) {
		if (!is_tested(&v[i], n_responses, n_channels))
			continue;
		const struct effect x = v[i];
		memmove(v + s->n_tested + 1, v + s->n_tested, (i - s->n_tested) * sizeof *v);
		v[s->n_tested++] = x;
	}
}

/* The effect of a row; NULL where the row is one of the lines between. */
static const struct effect *effect_at(const struct effects_page *s, int row)
{
	const int tested = (int)s->n_tested;
	if (row < tested)
		return &s->effects.v[row];
	return row < tested + s->n_text ? NULL : &s->effects.v[row - s->n_text];
}

static void update(struct app *app, struct effects_page *s)
{
	struct err err;
	err_clear(&err);
	if (!s->stale)
		return;
	s->stale = false;
	effects_free(&s->effects);
	memset(&s->effects, 0, sizeof s->effects);
	s->n_tested = 0;
	buf_free(&s->text);
	buf_init(&s->text);
	s->n_text = 0;
	s->ready = false;
	const struct sheet *ref = book_reference(&app->book);
	if (!app->model || app->model_why[0] || !ref) {
		app_nothing_told(app, s->why, sizeof s->why);
		return;
	}
	s->ready = effects_make(&s->effects, app->model, ref->values, &err);
	if (!s->ready) {
		snprintf(s->why, sizeof s->why, "%.250s", err.text);
		return;
	}
	part_tested(s, app->model->n_responses, app->book.n_channels);
	add_borrowed(app, s);
	add_exchange(app, s);
	add_terms(app, s);
	add_noise(app, s);
	add_remarks(app, s);
	if (s->n_tested < s->effects.n)
		add_line(s, "Not tested by these runs:");
	if (s->effects.channel >= 0)
		s->shown = (size_t)s->effects.channel;
	if (s->text.failed) { /* half of the lines would mislead */
		s->ready = false;
		s->n_tested = 0;
		s->n_text = 0;
		snprintf(s->why, sizeof s->why, "out of memory");
	}
}

/* --- keys ----------------------------------------------------------------- */

static size_t n_shown(const struct app *app)
{
	return 2 * app->book.n_channels + 1;
}

unsigned effects_next_response(struct app *app)
{
	struct effects_page *s = state_of(app);
	s->shown = (s->shown + 1) % n_shown(app);
	return UI_BODY;
}

static unsigned effects_move(struct app *app, enum move how)
{
	struct effects_page *s = state_of(app);
	update(app, s); /* a key may come before the first painting */
	s->cursor = list_move(s->cursor, (int)s->effects.n + s->n_text, s->screenful, how);
	return UI_BODY;
}

/* --- painting ------------------------------------------------------------- */

/* The figure that the bars show, of one effect. */
static const struct estimate *figure_of(
	const struct app *app, const struct effects_page *s, const struct effect *x)
{
	size_t n = app->book.n_channels;
	if (s->shown < n)
		return &x->like[s->shown].delta;
	return &x->by[s->shown - n];
}

static void figure_name(const struct app *app, const struct effects_page *s, char *buf, size_t size)
{
	size_t n = app->book.n_channels;
	if (s->shown < n)
		snprintf(buf, size, "wear %s at equal pace", app->book.channels[s->shown]);
	else if (s->shown == n)
		snprintf(buf, size, "lap time");
	else
		snprintf(buf, size, "wear %s as driven", app->book.channels[s->shown - n - 1]);
}

static double widest(const struct app *app, const struct effects_page *s)
{
	double w = 0;
	for (size_t i = 0; i < s->effects.n; i++) {
		const struct estimate *e = figure_of(app, s, &s->effects.v[i]);
		if (!e->known)
			continue;
		w = fmax(w, fabs(e->value));
		if (e->has_interval) /* a very wide one would flatten all others */
			w = fmax(w, fmin(fmax(fabs(e->low), fabs(e->high)), 4 * fabs(e->value)));
	}
	return w > 0 ? w : 1;
}

/* 0: no room, or nothing to say in it. */
struct effect_columns {
	int label_w, bar, bar_w, figure, time, use, word;
	int source;           /* where the book borrows */
	int figure_d, time_d; /* decimals, the same in all rows */
};

/* One number of decimals for a column: what its surest figure supports, one more than what its
 * least sure one does at most. */
static int column_decimals(const struct app *app, const struct effects_page *s, bool time)
{
	int least = 9, most = 0;
	for (size_t i = 0; i < s->n_tested; i++) {
		const struct effect *x = &s->effects.v[i];
		const struct estimate *e = time ? &x->by[RESPONSE_TIME] : figure_of(app, s, x);
		if (!e->known)
			continue;
		const int d = fmt_estimate_decimals(e, 3);
		least = d < least ? d : least;
		most = d > most ? d : most;
	}
	return most > least + 1 ? least + 1 : most;
}

enum { BAR_LEAST = 7 }; /* columns in which it can be seen whether an interval holds nought */

/* What has no room beside a label goes: the bar, what is saved for a tenth, lap time, what is
 * borrowed. */
static struct effect_columns columns_for(int width, bool borrows)
{
	enum { LABEL_LEAST = 14, USE_W = 9 };
	struct effect_columns c = {.source = 0};
	const bool tight = borrows && width < BAR_LEAST + 82; /* or no bar had room */
	const int figure_w = tight ? 8 : 9, source_w = borrows ? (tight ? 9 : 10) : 0;
	c.label_w = tight ? 24 : width >= 110 ? 34 : width >= 96 ? 28 : 26;
	c.word = width - (tight ? 11 : 12);
	const int room = c.word - 4 - figure_w; /* for the label and what stands beside it */
	const bool source = borrows && room >= LABEL_LEAST + source_w;
	const bool time = room >= LABEL_LEAST + (source ? source_w : 0) + figure_w;
	const bool use = room >= c.label_w + source_w + figure_w + USE_W;
	int x = c.word;
	if (source)
		c.source = x -= source_w;
	if (use)
		c.use = x -= USE_W;
	if (time)
		c.time = x -= figure_w;
	c.figure = x - figure_w;
	c.bar = 3 + c.label_w + 1;
	c.bar_w = use ? c.figure - c.bar - !tight : 0; /* figures stand to the right */
	if (c.label_w > c.figure - 4)
		c.label_w = c.figure - 4;
	if (c.bar_w > 61)
		c.bar_w = 61;
	c.bar_w -= c.bar_w > 0 && c.bar_w % 2 == 0;
	return c;
}

/* Do the runs here contradict what is borrowed of the figure shown? */
static enum dispute dispute_of(
	const struct app *app, const struct effects_page *s, const struct effect *x)
{
	const struct term t = {.kind = TERM_LINEAR, .a = (int)x->coord};
	const size_t n = app->book.n_channels;
	return words_dispute(
		app->model, s->shown < n ? RESPONSES_MAX + s->shown : s->shown - n, &t);
}

static void draw_effect(struct app *app, const struct effects_page *s,
	const struct effect_columns *c, const struct effect *x, double scale, int y)
{
	char words[WORDS_SIZE], text[FMT_SIZE];
	const struct term t = {.kind = TERM_LINEAR, .a = (int)x->coord};
	const struct estimate *e = figure_of(app, s, x), *time = &x->by[RESPONSE_TIME];
	words_term(app->model, &t, words, sizeof words);
	scr_text(y, 3, c->label_w, PLAIN, fmt_shorter(words, c->label_w));
	if (c->bar_w >= BAR_LEAST)
		plot_bar(y, c->bar, c->bar_w, e->known ? &e->value : NULL,
			e->has_interval ? (double[]){e->low, e->high} : NULL, scale);
	if (e->known)
		scr_point(y, c->figure, 8, PLAIN, fmt_signed(e->value, c->figure_d, text),
			c->figure_d, 3);
	if (time->known && c->time)
		scr_point(y, c->time, 8, PLAIN, fmt_signed(time->value, c->time_d, text), c->time_d,
			3);
	if (x->clear && x->has_use && !x->cost_told)
		snprintf(text, sizeof text, "?");
	else if (x->clear && x->has_use && isfinite(x->use))
		snprintf(text, sizeof text, "%.2f", x->use);
	else
		snprintf(text, sizeof text, "%s", x->clear && x->has_use ? "free" : "");
	if (c->use)
		scr_right(y, c->use, 8, PLAIN, text);
	if (c->source && e->known && words_source_of(e) != SOURCE_DRIVEN) {
		snprintf(text, sizeof text, "%.0f %%", 100 * e->borrowed);
		scr_right(y, c->source, 8, PLAIN, text);
	}
	const bool disputed = dispute_of(app, s, x) == DISPUTE_KEPT;
	scr_text(y, c->word, 11, e->known && !disputed ? PLAIN : WARN,
		disputed ? "disputed" : words_verdict(e));
}

static void draw_head(struct app *app, const struct effects_page *s, const struct effect_columns *c,
	int y, int width)
{
	char name[64];
	figure_name(app, s, name, sizeof name);
	scr_printf(y, 1, width - 2, BOLD, "%s, each up by half its range, near %s", name,
		app->book.reference);
	scr_text(y + 1, 3, c->label_w, DIM, "adjustable");
	if (c->bar_w >= 24)
		scr_text(y + 1, c->bar + c->bar_w / 2 - 8, 18, DIM, "saves <-> costs");
	scr_right(y + 1, c->figure, 8, DIM, s->shown == app->book.n_channels ? "s" : "% a lap");
	if (c->time)
		scr_right(y + 1, c->time, 8, DIM, "lap s");
	bool uses = false;
	for (size_t i = 0; i < s->n_tested; i++)
		uses = uses || (s->effects.v[i].clear && s->effects.v[i].has_use);
	if (uses && c->use)
		scr_right(y + 1, c->use, 8, DIM, "%/0.1 s");
	if (c->source)
		scr_right(y + 1, c->source, 8, DIM, "borrowed");
}

/* Line i of the text, and where the next one starts. */
static const char *text_line(const struct effects_page *s, int i, char *buf, size_t size)
{
	const char *p = s->text.data ? s->text.data : "";
	while (i-- > 0 && (p = strchr(p, '\n')))
		p++;
	size_t n = p ? strcspn(p, "\n") : 0;
	n = n < size ? n : size - 1;
	memcpy(buf, p ? p : "", n);
	buf[n] = '\0';
	return buf;
}

/* Of the row under the cursor: its interval in figures, or why it has none. */
static void draw_detail(struct app *app, const struct effects_page *s, struct area a)
{
	char line[1024], words[WORDS_SIZE], name[64], range[FMT_SIZE], value[FMT_SIZE];
	const struct effect *x = effect_at(s, s->cursor);
	if (!x) {
		scr_wrap(a.y, 3, a.w - 4, a.h, PLAIN,
			text_line(s, s->cursor - (int)s->n_tested, line, sizeof line));
		return;
	}
	const struct estimate *e = figure_of(app, s, x);
	const struct model *m = app->model;
	const struct coord *c = &m->coords[x->coord];
	const char *unit = app->book.car.adjustables[c->adjustable].unit;
	const struct response *r = &m->responses[RESPONSE_TIME];
	figure_name(app, s, name, sizeof name);
	if (e->known) {
		int d = fmt_estimate_decimals(e, 3);
		words_source(e, words, sizeof words);
		const enum dispute dispute = dispute_of(app, s, x);
		int len = snprintf(line, sizeof line,
			"%s: %s, 95%% interval %s, for %.4g %s more%s%.60s%s%s", name,
			fmt_signed(e->value, d, value), fmt_interval(e, d, range),
			effects_unit(m, x->coord), unit, words[0] ? "; " : "", words,
			dispute ? ", " : "", dispute_words[dispute]);
		if (x->clear && x->has_use && len > 0 && len < (int)sizeof line) {
			if (x->cost_told && isfinite(x->use))
				snprintf(line + len, sizeof line - (size_t)len,
					"; saves %.2f %% at equal pace for each 0.1 s lost",
					x->use);
			else
				snprintf(line + len, sizeof line - (size_t)len, "; %s",
					x->cost_told
						? "what saves costs no time"
						: "what saving costs in lap time can't be told");
		}
	} else {
		snprintf(line, sizeof line, "not tested");
		for (size_t t = 0; t < r->n_terms; t++)
			if (r->terms[t].kind == TERM_LINEAR && r->terms[t].a == (int)x->coord &&
				!r->estimable[t])
				snprintf(line, sizeof line, "not tested: %s",
					words_untested(m, r, t, words, sizeof words));
	}
	const int used = scr_wrap(a.y, 3, a.w - 4, a.h, PLAIN, line);
	const struct sheet *ref = book_reference(&app->book);
	if (!m->segments || !ref || used >= a.h)
		return;
	const size_t response =
		s->shown < app->book.n_channels ? 1 + s->shown : s->shown - app->book.n_channels;
	segments_words(m, response, x->coord, ref->values, words, sizeof words);
	if (words[0])
		snprintf(line, sizeof line, "on the lap, %s: %.480s",
			words_response(m, response, name, sizeof name), words);
	if (words[0])
		scr_wrap(a.y + used, 3, a.w - 4, a.h - used, PLAIN, line);
}

static void effects_draw(struct app *app, struct area a)
{
	struct effects_page *s = state_of(app);
	char line[1024];
	update(app, s);
	if (!s->ready) {
		scr_wrap(a.y + 1, 1, a.w - 2, 4, PLAIN, s->why);
		return;
	}
	struct effect_columns c = columns_for(a.w, app->model && app->model->borrowing);
	int n = (int)s->effects.n + s->n_text;
	/* what stands above the heading and below the rows, where lines are few */
	const int above = a.h >= 9, below = a.h >= 9 ? 3 : a.h >= 6 ? 2 : 1;
	int rows = a.h - 2 - above - below;
	rows = rows < 1 ? 1 : rows;
	s->screenful = rows;
	s->cursor = list_move(s->cursor, n, rows, MOVE_LEFT);
	s->top = list_scroll(s->top, s->cursor, n, rows);
	c.figure_d = column_decimals(app, s, false);
	c.time_d = column_decimals(app, s, true);
	draw_head(app, s, &c, a.y + above, a.w);
	if (n > rows && above)
		scr_printf(a.y, 1, a.w - 2, DIM, "%d to %d of %d", s->top + 1,
			s->top + rows < n ? s->top + rows : n, n);
	double scale = widest(app, s);
	for (int i = 0; i < rows && s->top + i < n; i++) {
		int at = s->top + i, y = a.y + above + 2 + i;
		scr_text(y, 1, 1, ACCENT, at == s->cursor ? ">" : " ");
		const struct effect *x = effect_at(s, at);
		if (x)
			draw_effect(app, s, &c, x, scale, y);
		else
			scr_text(y, 3, a.w - 4, PLAIN,
				text_line(s, at - (int)s->n_tested, line, sizeof line));
	}
	draw_detail(app, s, (struct area){a.y + a.h - below, 0, below, a.w});
}

const struct page_ops page_effects = {
	.open = effects_open,
	.close = effects_close,
	.changed = effects_changed,
	.draw = effects_draw,
	.move = effects_move,
};
