/*
 * The Runs page: the log with what each run measured against what the runs before it
 * predicted; Enter opens a run's laps. Logging and correcting: runs_log.c.
 */
#include "tui/runs.h"

#include "tui/fmt.h"
#include "tui/saving.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct runs_page *runs_page_of(struct app *app)
{
	return app_page_state(app, PAGE_RUNS);
}

static void runs_close(void *state)
{
	struct runs_page *s = state;
	verify_free(s->verify);
	run_free(&s->draft);
	runs_forget(&s->history);
	free(s);
}

static void *runs_open(struct app *app)
{
	struct runs_page *s = calloc(1, sizeof *s);
	if (!s)
		return NULL;
	run_init(&s->draft);
	s->stale = true;
	s->cursor = (int)app->book.n_runs - 1;
	return s;
}

static void runs_changed(struct app *app, unsigned what)
{
	struct runs_page *s = runs_page_of(app);
	if (!s || !(what & CHANGED_MODEL))
		return;
	verify_free(s->verify); /* it points into the book's runs */
	s->verify = NULL;
	s->stale = true;
}

/* Predictions stop here, and why is said where they would stand and now. */
unsigned runs_stop_verify(struct app *app, const struct err *err)
{
	struct runs_page *s = runs_page_of(app);
	snprintf(s->why, sizeof s->why, "%.190s", err->text);
	verify_free(s->verify);
	s->verify = NULL;
	return UI_BODY |
	       (err_is_memory(err) ? app_warn(app, "nothing is predicted: %s", s->why) : UI_NONE);
}

/* One fit at a time, and none while a lap is being typed. */
static unsigned runs_idle(struct app *app)
{
	struct runs_page *s = runs_page_of(app);
	struct err err;
	err_clear(&err);
	if (app->modal.kind != MODAL_NONE)
		return UI_NONE;
	if (s->stale) {
		s->stale = false;
		s->why[0] = '\0';
		s->verify = verify_start(&app->book, RUNS_VERIFIED, &err);
		return s->verify ? UI_BODY : runs_stop_verify(app, &err);
	}
	if (!s->verify || !s->verify->steps_left)
		return UI_NONE;
	return verify_step(s->verify, &err) ? UI_BODY : runs_stop_verify(app, &err);
}

const struct run *runs_current(struct app *app)
{
	struct runs_page *s = runs_page_of(app);
	if (app->book.n_runs == 0)
		return NULL;
	s->cursor = list_move(s->cursor, (int)app->book.n_runs, 1, MOVE_LEFT);
	return &app->book.runs[s->cursor];
}

const struct verified_run *runs_verified(const struct runs_page *s, int run)
{
	if (!s->verify || s->verify->n_runs == 0)
		return NULL;
	int i = run - s->verify->runs[0].run;
	return i >= 0 && (size_t)i < s->verify->n_runs ? &s->verify->runs[i] : NULL;
}

unsigned runs_take(struct app *app, const struct run *r, const struct err *saved, const char *said)
{
	if (!book_put_run(&app->book, r))
		return app_warn(app, "saved, but out of memory: leave and start again");
	runs_page_of(app)->cursor = book_find_run(&app->book, r->id);
	app_refit(app);
	return app_changed(app, CHANGED_MODEL) | app_saved(app, saved, "%s", said);
}

unsigned runs_gone(struct app *app, const char *id, const struct err *saved, const char *said)
{
	runs_page_of(app)->in_laps = false;
	book_drop_run(&app->book, id);
	app_refit(app);
	return app_changed(app, CHANGED_MODEL) | app_saved(app, saved, "%s", said);
}

static unsigned runs_move(struct app *app, enum move how)
{
	struct runs_page *s = runs_page_of(app);
	const struct run *r = runs_current(app);
	if (!r)
		return UI_NONE;
	if (how == MOVE_LEFT) {
		s->in_laps = false;
	} else if (how == MOVE_RIGHT) {
		s->lap = s->in_laps ? s->lap : 0;
		s->in_laps = true;
	} else if (s->in_laps) {
		s->lap = list_move(s->lap, (int)r->n_laps, s->screenful, how);
	} else {
		s->cursor = list_move(s->cursor, (int)app->book.n_runs, s->screenful, how);
	}
	return UI_BODY;
}

unsigned act_back(struct app *app)
{
	runs_page_of(app)->in_laps = false;
	return UI_BODY;
}

unsigned act_predictions(struct app *app)
{
	struct buf text;
	buf_init(&text);
	runs_tell(app, &text);
	unsigned flags =
		text_open(app, modal_text(app, &text), "Predictions held against the track");
	buf_free(&text);
	return flags;
}

/* --- painting --------------------------------------------------------------- */

enum { ID_X = 3, ID_W = 9, DATE_W = 11, SHEET_W = 13, LAPS_W = 5, TIME_W = 10, WEAR_W = 7 };
/* "as predicted"; what says which adjustable was not tested, for which sheets' ids are cut. */
enum { WORD_LEAST = 13, WORD_W = 36 };

/* Where the columns of the log stand; below 0: no room. */
struct columns {
	int id_w, date, sheet, sheet_w, laps, time, wear, verdict;
	size_t n_wear;
};

static void lay_columns(struct columns *c, int id_w, int sheet_w)
{
	int x = ID_X + id_w;
	c->id_w = id_w;
	c->sheet_w = sheet_w;
	if (c->date >= 0) {
		c->date = x;
		x += DATE_W + 1;
	}
	if (c->sheet >= 0) {
		c->sheet = x;
		x += sheet_w + 1;
	}
	c->laps = x;
	c->time = x + LAPS_W;
	c->wear = c->time + TIME_W;
	c->verdict = c->wear + (int)c->n_wear * WEAR_W + 1;
}

/* The longest ids of runs, with a blank behind, and of the sheets they came from. */
static void longest_ids(const struct book *b, int *run, int *sheet)
{
	for (size_t i = 0; i < b->n_runs; i++) {
		const int r = (int)strlen(b->runs[i].id) + 1, s = (int)strlen(b->runs[i].sheet);
		*run = r > *run ? r : *run;
		*sheet = s > *sheet ? s : *sheet;
	}
}

/* Ids have the room that the word behind all leaves, that of the run first. */
static struct columns columns_for(const struct app *app, int width)
{
	struct columns c = {.date = -1, .sheet = -1, .n_wear = app->book.n_channels};
	int id_w = ID_W, sheet_w = SHEET_W;
	if (width >= (c.n_wear > 2 ? 90 : 60)) /* all wheels are worth more than the date */
		c.date = 0;
	if (width >= (c.n_wear > 2 ? 116 : 96))
		c.sheet = 0;
	lay_columns(&c, id_w, sheet_w);
	while (c.n_wear > 0 && c.verdict + WORD_LEAST > width) {
		c.n_wear--;
		lay_columns(&c, id_w, sheet_w);
	}
	int room = width - c.verdict - WORD_LEAST;
	longest_ids(&app->book, &id_w, &sheet_w);
	room = room > 0 ? room : 0;
	id_w = id_w > ID_W + room ? ID_W + room : id_w;
	room -= id_w - ID_W + WORD_W - WORD_LEAST;
	room = room > 0 ? room : 0;
	sheet_w = sheet_w > SHEET_W + room ? SHEET_W + room : sheet_w;
	lay_columns(&c, id_w, sheet_w);
	return c;
}

static void draw_heading(const struct app *app, const struct columns *c, int y, int width)
{
	static const char marks[] = "+ skip ! odd";
	const int room = width - c->verdict - 12;
	scr_text(y, ID_X, c->id_w, DIM, "run");
	if (c->date >= 0)
		scr_text(y, c->date, DATE_W, DIM, "date");
	if (c->sheet >= 0)
		scr_text(y, c->sheet, c->sheet_w, DIM, "from sheet");
	scr_right(y, c->laps, LAPS_W, DIM, "laps");
	scr_right(y, c->time, TIME_W, DIM, "mean");
	for (size_t i = 0; i < c->n_wear; i++)
		scr_right(y, c->wear + (int)i * WEAR_W, WEAR_W, DIM, app->book.channels[i]);
	scr_text(y, c->verdict, width - c->verdict, DIM, "prediction");
	if (room >= (int)strlen(marks))
		scr_right(y, c->verdict + 11, room, DIM, marks);
}

/* The word that a driver needs: what missed, else that all came as predicted. */
static const char *run_word(const struct verified_run *v, size_t n_responses, enum style *style)
{
	bool known = false;
	*style = PLAIN;
	for (size_t y = 0; y < n_responses; y++) {
		const struct forecast *f = &v->by[y].ahead;
		known = known || f->known;
		if (f->known && f->missed) {
			*style = WARN;
			return verify_word(y, f, v->by[y].mean);
		}
	}
	*style = known ? PLAIN : DIM;
	return known ? "as predicted" : v->by[0].ahead.done ? v->by[0].ahead.why : "";
}

/* Plain means of the laps that count, where the run is not held against a prediction yet. */
static void draw_plain_means(
	const struct app *app, const struct columns *c, int y, const struct run *r)
{
	char text[FMT_SIZE];
	for (size_t k = 0; k <= c->n_wear && k <= app->book.n_channels; k++) {
		double sum = 0;
		size_t n = 0;
		for (size_t i = 0; i < r->n_laps; i++) {
			const struct lap *l = &r->laps[i];
			if (l->skip || (k && !l->has_wear[k - 1]))
				continue;
			sum += k ? l->wear[k - 1] : l->time;
			n++;
		}
		if (n && k)
			scr_right(y, c->wear + (int)(k - 1) * WEAR_W, WEAR_W, PLAIN,
				fmt_plain(sum / (double)n, 2, text));
		else if (n)
			scr_right(y, c->time, TIME_W, PLAIN, fmt_lap(sum / (double)n, 3, text));
	}
}

static void draw_means(
	const struct app *app, const struct columns *c, int y, const struct verified_run *v)
{
	char text[FMT_SIZE];
	if (v->by[RESPONSE_TIME].measured)
		scr_right(y, c->time, TIME_W, PLAIN, fmt_lap(v->by[RESPONSE_TIME].mean, 3, text));
	for (size_t i = 0; i < c->n_wear; i++)
		if (v->by[1 + i].measured)
			scr_right(y, c->wear + (int)i * WEAR_W, WEAR_W, PLAIN,
				fmt_plain(v->by[1 + i].mean, 2, text));
	(void)app;
}

static bool has_suspects(const struct app *app, int run)
{
	for (size_t i = 0; app->model && i < app->model->n_suspects; i++)
		if (app->model->suspects[i].run == run)
			return true;
	return false;
}

static void draw_run(const struct app *app, const struct runs_page *s, const struct columns *c,
	int y, int width, int index)
{
	const struct run *r = &app->book.runs[index];
	const struct verified_run *v = runs_verified(s, index);
	size_t fitted = run_fitted_laps(r);
	if (index == s->cursor)
		scr_text(y, 1, 1, ACCENT, ">");
	scr_text(y, ID_X, c->id_w - 1, index == s->cursor ? BOLD : PLAIN, r->id);
	if (c->date >= 0 && strlen(r->date) >= 16)
		scr_printf(y, c->date, DATE_W, PLAIN, "%.5s %.5s", r->date + 5, r->date + 11);
	if (c->sheet >= 0)
		scr_text(y, c->sheet, c->sheet_w, PLAIN, r->sheet);
	scr_printf(y, c->laps, LAPS_W, PLAIN, "%*zu", LAPS_W, fitted);
	if (has_suspects(app, index)) /* Enter shows which */
		scr_text(y, c->laps + LAPS_W, 1, WARN, "!");
	else if (fitted < r->n_laps)
		scr_text(y, c->laps + LAPS_W, 1, DIM, "+");
	if (!v) {
		draw_plain_means(app, c, y, r);
		return;
	}
	enum style style;
	char word[sizeof v->by->ahead.why];
	snprintf(word, sizeof word, "%s", run_word(v, s->verify->n_responses, &style));
	draw_means(app, c, y, v);
	scr_text(y, c->verdict, width - c->verdict, style, fmt_shorter(word, width - c->verdict));
}

/* "time 1 of 33 missed, wear-front 4 of 33: too often", once all is done. */
static void draw_summary(const struct app *app, const struct runs_page *s, int y, int width)
{
	char line[400] = "", id[32];
	bool often = false;
	const struct verify *v = s->verify;
	size_t predicted = 0;
	if (!v || v->steps_left) {
		scr_text(y, 1, width - 2, DIM,
			s->why[0] ? s->why
			: v       ? "holding the runs against their "
				    "predictions..."
				  : "");
		return;
	}
	bool alike = true; /* as many of each, told once */
	for (size_t k = 1; k < v->n_responses; k++)
		alike = alike && v->ahead[k].predicted == v->ahead[0].predicted;
	alike = alike && v->n_responses > 3;
	if (alike)
		snprintf(line, sizeof line, "missed of %zu: ", v->ahead[0].predicted);
	for (size_t k = 0; k < v->n_responses; k++) {
		const struct tally *t = &v->ahead[k];
		size_t len = strlen(line);
		often = often || t->too_often;
		predicted += t->predicted;
		len += (size_t)snprintf(line + len, sizeof line - len, "%s%s %zu",
			k       ? ", "
			: alike ? ""
				: "missed: ",
			book_response_id(&app->book, k, id, sizeof id), t->missed);
		if (!alike)
			len += (size_t)snprintf(
				line + len, sizeof line - len, " of %zu", t->predicted);
		if (t->too_often)
			snprintf(line + len, sizeof line - len, " TOO OFTEN");
	}
	if (!predicted)
		snprintf(line, sizeof line, "no run could be predicted yet from those before it");
	scr_printf(y, 1, width - 2, often ? WARN : DIM, "%s; v tells more", line);
}

static void draw_log(struct app *app, struct runs_page *s, struct area a)
{
	struct columns c = columns_for(app, a.w);
	int n = (int)app->book.n_runs;
	s->screenful = a.h - 2 > 0 ? a.h - 2 : 1;
	if (n == 0) {
		scr_wrap(a.y + 1, 1, a.w - 2, 3, PLAIN,
			"No run in this book yet: n logs one. treadlight log "
			"--csv takes a whole day's.");
		return;
	}
	s->cursor = list_move(s->cursor, n, 1, MOVE_LEFT);
	s->top = list_scroll(s->top, s->cursor, n, s->screenful);
	draw_heading(app, &c, a.y, a.w);
	for (int i = 0; i < s->screenful && s->top + i < n; i++)
		draw_run(app, s, &c, a.y + 1 + i, a.w, s->top + i);
	draw_summary(app, s, a.y + a.h - 1, a.w);
}

/* What a suspect lap is suspect of, "" if it is not. */
static const char *suspicion(const struct app *app, int run, size_t lap, char *buf, size_t size)
{
	char id[32];
	buf[0] = '\0';
	for (size_t i = 0; app->model && i < app->model->n_suspects; i++) {
		const struct suspect *x = &app->model->suspects[i];
		size_t len = strlen(buf);
		if (x->run == run && x->lap == lap)
			snprintf(buf + len, size - len, "%s%s", len ? ", " : "suspect: ",
				book_response_id(&app->book, x->response, id, sizeof id));
	}
	return buf;
}

static void draw_lap(struct app *app, const struct runs_page *s, const struct run *r, size_t lap,
	int y, int width)
{
	const struct lap *l = &r->laps[lap];
	char text[FMT_SIZE], mark[120] = "";
	enum style style = l->skip ? DIM : PLAIN;
	if ((int)lap == s->lap)
		scr_text(y, 1, 1, ACCENT, ">");
	scr_printf(y, 3, 4, style, "%3zu", lap + 1);
	scr_right(y, 7, 10, style, fmt_lap(l->time, 3, text));
	int x = 17;
	for (size_t c = 0; c < app->book.n_channels && x + 8 < width; c++, x += 8) {
		bool worn = !l->has_wear[c] && l->has_worn[c];
		if (l->has_wear[c] || worn)
			scr_right(
				y, x, 8, style, fmt_plain(worn ? l->worn[c] : l->wear[c], 2, text));
	}
	if (l->has_effort && x + 8 < width)
		scr_right(y, x, 8, style, fmt_plain(l->effort, 0, text));
	x += 10;
	suspicion(app, s->cursor, lap, mark, sizeof mark);
	if (x + 8 > width) /* no words have room: the log's marks */
		scr_text(y, 6, 1, l->skip ? DIM : WARN, l->skip ? "+" : mark[0] ? "!" : "");
	else if (l->skip)
		scr_printf(y, x, width - x, style, "skipped: %s", l->skip);
	else
		scr_text(y, x, width - x, WARN, mark);
}

/* Measured against predicted, a line each. */
static void draw_forecasts(
	const struct app *app, const struct runs_page *s, int y, int end, int width)
{
	const struct verified_run *v = runs_verified(s, s->cursor);
	char id[32], m[FMT_SIZE], lo[FMT_SIZE], hi[FMT_SIZE];
	for (size_t k = 0; v && k < s->verify->n_responses && y < end; k++) {
		const struct verified *by = &v->by[k];
		const struct forecast *f = &by->ahead;
		if (!by->measured)
			continue;
		const char *(*fmt)(double, int, char *) = k ? fmt_plain : fmt_lap;
		scr_printf(y, 3, 12, DIM, "%s", book_response_id(&app->book, k, id, sizeof id));
		if (f->known)
			scr_printf(y, 15, width - 16, f->missed ? WARN : PLAIN,
				"%s, predicted %s to %s: %s%s", fmt(by->mean, 2, m),
				fmt(f->low, 2, lo), fmt(f->high, 2, hi),
				verify_word(k, f, by->mean),
				f->extrapolated ? ", beyond what was driven" : "");
		else
			scr_printf(y, 15, width - 16, PLAIN, "%s%s%s", fmt(by->mean, 2, m),
				f->done ? ", not predicted: " : "", f->done ? f->why : "");
		y++;
	}
}

/* Of "fuel=24 track-temp= tyre-age=3" what is known; returns text, or words if nothing is. */
static const char *only_known(char *text)
{
	size_t out = 0;
	for (const char *t = text; *t; t += strspn(t, " ")) {
		size_t len = strcspn(t, " ");
		if (t[len - 1] != '=') {
			if (out)
				text[out++] = ' ';
			memmove(text + out, t, len);
			out += len;
		}
		t += len;
	}
	text[out] = '\0';
	return out ? text : "no conditions are known; c sets them";
}

static void draw_laps(struct app *app, struct runs_page *s, struct area a)
{
	const struct run *r = runs_current(app);
	char conditions[ENTRY_SIZE], id[32];
	if (!r)
		return;
	int n_lines = 1 + (int)app->book.n_channels, x = 17;
	if (n_lines > a.h - 5) /* two laps at least */
		n_lines = a.h > 5 ? a.h - 5 : 0;
	scr_printf(a.y, 1, a.w - 2, PLAIN, "Laps of %s, %s%s%s", r->id,
		r->date[0] ? r->date : "no date", r->sheet[0] ? ", from " : "", r->sheet);
	entry_print_conditions(r, app->book.n_channels, conditions, sizeof conditions);
	scr_text(a.y + 1, 1, a.w - 2, DIM, only_known(conditions));
	scr_right(a.y + 2, 7, 10, DIM, "time");
	for (size_t c = 0; c < app->book.n_channels && x + 8 < a.w; c++, x += 8)
		scr_right(a.y + 2, x, 8, DIM, app->book.channels[c]);
	if (x + 8 < a.w)
		scr_right(a.y + 2, x, 8, DIM, "effort");
	if (entry_mode_of(r) == ENTRY_WORN)
		scr_text(a.y + 2, x + 10, a.w - x - 10, DIM, "wear: totals after the lap");
	int rows = a.h - 3 - n_lines - (a.h > 8);
	s->screenful = rows > 0 ? rows : 1;
	s->lap = list_move(s->lap, (int)r->n_laps, 1, MOVE_LEFT);
	s->lap_top = list_scroll(s->lap_top, s->lap, (int)r->n_laps, s->screenful);
	int y = a.y + 3;
	for (int i = 0; i < s->screenful && s->lap_top + i < (int)r->n_laps; i++)
		draw_lap(app, s, r, (size_t)s->lap_top + (size_t)i, y++, a.w);
	for (size_t c = 0; c < app->book.n_channels; c++)
		if (r->has_wear_total[c] && y < a.y + a.h - n_lines)
			scr_printf(y++, 3, a.w - 4, PLAIN, "%s of the whole run: %.2f %%",
				book_response_id(&app->book, 1 + c, id, sizeof id),
				r->wear_total[c]);
	draw_forecasts(app, s, a.y + a.h - n_lines, a.y + a.h, a.w);
}

static void runs_draw(struct app *app, struct area a)
{
	struct runs_page *s = runs_page_of(app);
	if (s->in_laps && app->book.n_runs)
		draw_laps(app, s, a);
	else
		draw_log(app, s, a);
}

const struct page_ops page_runs = {
	.open = runs_open,
	.close = runs_close,
	.changed = runs_changed,
	.draw = runs_draw,
	.move = runs_move,
	.idle = runs_idle,
};
