#include "tui/app.h"

#include "book/caution.h"
#include "store/store.h"
#include "tui/saving.h"
#include "tui/session.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LAPS_AT_ONCE = 2000 };

static const struct page_ops *const pages[PAGES] = {
	&page_sheet, &page_compare, &page_effects, &page_runs, &page_plan, &page_stint};

void *app_page_state(struct app *app, enum page page)
{
	return app->state[page];
}

const struct sheet *app_sheet(const struct app *app)
{
	return edit_sheet(app->edit);
}

bool app_dirty(const struct app *app)
{
	return app->edit && !edit_is_clean(app->edit);
}

const char *app_sheet_name(const struct app *app)
{
	return app_dirty(app) ? "this sheet" : app_sheet(app)->id;
}

static unsigned say(struct app *app, bool warns, const char *fmt, va_list ap)
{
	vsnprintf(app->message, sizeof app->message, fmt, ap);
	app->message_warns = warns;
	return UI_FOOT;
}

unsigned app_say(struct app *app, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	say(app, false, fmt, ap);
	va_end(ap);
	return UI_FOOT;
}

unsigned app_warn(struct app *app, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	say(app, true, fmt, ap);
	va_end(ap);
	return UI_FOOT;
}

/* Groups that differ from the reference: a pair is one change. */
static size_t count_changes(const struct app *app)
{
	const struct car *car = &app->book.car;
	const fix *now = app_sheet(app)->values, *then = app->against.values;
	size_t n = 0;
	for (size_t i = 0; then && i < car->n_adjustables; i++) {
		int partner = car_partner(car, (int)i);
		if (partner >= 0 && partner < (int)i) /* counted with its partner */
			continue;
		n += now[i] != then[i] || (partner >= 0 && now[partner] != then[partner]);
	}
	return n;
}

unsigned app_changed(struct app *app, unsigned what)
{
	app->told.stale = true;
	app->n_changes = count_changes(app);
	for (int p = 0; p < PAGES; p++)
		if (pages[p]->changed)
			pages[p]->changed(app, what);
	return what == CHANGED_SHEET ? UI_BODY : UI_ALL; /* the title: see app_paint() */
}

void app_refit(struct app *app)
{
	struct err err;
	err_clear(&err);
	app->fit_waits = false;
	model_free(app->model);
	app->model = model_new(&app->book, &err);
	const struct response *time = app->model ? &app->model->responses[RESPONSE_TIME] : NULL;
	snprintf(app->model_why, sizeof app->model_why, "%.250s",
		!time          ? err.text
		: time->fitted ? ""
			       : time->why);
	app->conditions[0] = app->beyond[0] = '\0';
	if (app->model) {
		words_conditions(app->model, app->conditions, sizeof app->conditions);
		words_beyond(app->model, app->beyond, sizeof app->beyond);
	}
	if (!answer_take_model(
		    &app->told, app->model)) { /* untested could not be told from tested */
		model_free(app->model);
		app->model = NULL;
		snprintf(app->model_why, sizeof app->model_why, "out of memory");
	}
}

const char *app_nothing_told(const struct app *app, char *buf, size_t size)
{
	if (app->fit_waits)
		snprintf(buf, size, "%s", app->model_why);
	else if (app->model_why[0])
		snprintf(buf, size,
			"Nothing can be told yet: %.160s. Log runs (page 4); "
			"page 5 plans which ones tell most.",
			app->model_why);
	else
		snprintf(buf, size,
			"Nothing can be told yet: the book has no reference; "
			"reference: in book.yaml names a sheet.");
	return buf;
}

bool app_take_reference(struct app *app)
{
	const struct sheet *r = book_reference(&app->book);
	struct sheet fresh;
	sheet_init(&fresh);
	if (r && !sheet_copy(&fresh, r))
		return false;
	answer_drop(&app->told);
	sheet_free(&app->against);
	app->against = fresh;
	return true;
}

static bool open_pages(struct app *app)
{
	for (int p = 0; p < PAGES; p++) {
		if (!pages[p]->open)
			continue;
		app->state[p] = pages[p]->open(app);
		if (!app->state[p])
			return false;
	}
	return true;
}

static bool memory_fault(struct faults *faults)
{
	struct err err;
	err_clear(&err);
	err_memory(&err);
	faults_add(faults, &err);
	return false;
}

/* A season's runs take a tenth of a second to fit: the sheet is shown before that. */
static void start_fit(struct app *app)
{
	size_t laps = 0;
	for (size_t i = 0; i < app->book.n_runs; i++)
		laps += app->book.runs[i].n_laps;
	app->fit_waits = laps > LAPS_AT_ONCE;
	if (!app->fit_waits)
		app_refit(app);
	else
		snprintf(app->model_why, sizeof app->model_why, "fitting %zu laps of %zu runs ...",
			laps, app->book.n_runs);
}

bool app_open(struct app *app, const char *dir, const char *sheet_id, struct faults *faults)
{
	memset(app, 0, sizeof *app);
	sheet_init(&app->saved);
	sheet_init(&app->against);
	buf_init(&app->modal.text);
	book_init(&app->book);
	if (!store_load_book(&app->book, dir, faults))
		return false;
	struct err err;
	err_clear(&err);
	if (!session_first_sheet(app, sheet_id, &err)) {
		faults_add(faults, &err);
		return false;
	}
	app->caution_seen = calloc(app->book.car.n_adjustables + 1, sizeof *app->caution_seen);
	if (!app->caution_seen || !app_take_reference(app))
		return memory_fault(faults);
	start_fit(app);
	if (!open_pages(app))
		return memory_fault(faults);
	app_changed(app, CHANGED_SHEET | CHANGED_REFERENCE | CHANGED_MODEL);
	return true;
}

void app_close(struct app *app)
{
	session_close(app);
	for (int p = 0; p < PAGES; p++)
		if (pages[p]->close && app->state[p])
			pages[p]->close(app->state[p]);
	modal_free(&app->modal);
	held_free(app);
	answer_free(&app->told);
	free(app->caution_seen);
	model_free(app->model);
	edit_free(app->edit);
	sheet_free(&app->saved);
	sheet_free(&app->against);
	book_free(&app->book);
	memset(app, 0, sizeof *app);
}

unsigned app_show(struct app *app, enum page page)
{
	app->page = page;
	if (pages[page]->enter)
		pages[page]->enter(app);
	return UI_ALL;
}

unsigned app_idle(struct app *app)
{
	if (app->fit_waits) {
		app_refit(app);
		return app_changed(app, CHANGED_MODEL);
	}
	return pages[app->page]->idle ? pages[app->page]->idle(app) : UI_NONE;
}

/* --- keys ---------------------------------------------------------------- */

static unsigned (*const functions[ACTION_COUNT])(struct app *) = {
#define ACTION(name, pages, keys, hint, help) act_##name,
	ACTIONS
#undef ACTION
};

unsigned app_key(struct app *app, int key)
{
	unsigned flags = UI_NONE;
	if (app->message[0] && key != K_LATE && !app->message_stays) {
		app->message[0] = '\0';
		flags |= UI_FOOT;
	}
	app->message_stays = false;
	if (key == K_PASTE_OPEN)
		return flags | app_say(app, "the end of the pasted text has not come yet; "
					    "Ctrl-C ends it here");
	if (action_find(app->page, key) == ACT_suspend) /* whatever is open stays open */
		return flags | act_suspend(app);
	if (app->modal.kind != MODAL_NONE || key == K_LATE)
		return flags | modal_key(app, key);
	app->modal.late_ok = false;
	if (key == K_PASTE)
		return flags | app_say(app, "pasted text is only taken while a value or a name "
					    "is being typed");
	enum action a = action_find(app->page, key);
	if (a != ACTION_COUNT)
		return flags | functions[a](app);
	if (key == K_ESC || key >= K_NAMED)
		return flags;
	char name[16];
	return flags | app_say(app, "%s does nothing on this page; ? lists the keys",
			       key_label(key, name, sizeof name));
}

static unsigned move_on_page(struct app *app, enum move how)
{
	return pages[app->page]->move ? pages[app->page]->move(app, how) : UI_NONE;
}

#define MOVE_ACTION(name, how)                                                                     \
	unsigned act_##name(struct app *app)                                                       \
	{                                                                                          \
		return move_on_page(app, how);                                                     \
	}
MOVE_ACTION(up, MOVE_UP)
MOVE_ACTION(down, MOVE_DOWN)
MOVE_ACTION(left, MOVE_LEFT)
MOVE_ACTION(right, MOVE_RIGHT)
MOVE_ACTION(first, MOVE_FIRST)
MOVE_ACTION(last, MOVE_LAST)
MOVE_ACTION(page_up, MOVE_PAGE_UP)
MOVE_ACTION(page_down, MOVE_PAGE_DOWN)

#define PAGE_ACTION(name, p)                                                                       \
	unsigned act_##name(struct app *app)                                                       \
	{                                                                                          \
		return app_show(app, p);                                                           \
	}
PAGE_ACTION(page1, PAGE_SHEET)
PAGE_ACTION(page2, PAGE_COMPARE)
PAGE_ACTION(page3, PAGE_EFFECTS)
PAGE_ACTION(page4, PAGE_RUNS)
PAGE_ACTION(page5, PAGE_PLAN)
PAGE_ACTION(page6, PAGE_STINT)

unsigned act_next_page(struct app *app)
{
	return app_show(app, (enum page)((app->page + 1) % PAGES));
}

unsigned act_previous_page(struct app *app)
{
	return app_show(app, (enum page)((app->page + PAGES - 1) % PAGES));
}

unsigned act_repaint(struct app *app)
{
	(void)app;
	return UI_ALL | UI_REPAINT;
}

/* --- painting ------------------------------------------------------------ */

enum { COLS_LEAST = 40, ROWS_LEAST = 10, TOP_LINES = 2, FOOT_LINES = 2, STATE_COLS = 21 };
enum { ID_COLS = 18, ID_LEAST = 10 }; /* of the title, where there is no room for whole ids */

/* "3 changes, unsaved, 1 caution". */
static void state_words(const struct app *app, size_t cautions, char *buf, size_t size)
{
	char past[48] = "";
	if (cautions)
		snprintf(past, sizeof past, ", %zu caution%s", cautions, cautions == 1 ? "" : "s");
	snprintf(buf, size, "(%zu %s%s%s)", app->n_changes,
		app->n_changes == 1 ? "change" : "changes", app_dirty(app) ? ", unsaved" : "",
		past);
}

/* Ids may be long: the sheet's is cut before its state, the reference or the car go. */
static void draw_title(struct app *app, int cols)
{
	const struct book *b = &app->book;
	const struct sheet *s = app_sheet(app);
	char state[96];
	const size_t cautions = caution_list(&b->car, s->values, NULL);
	state_words(app, cautions, state, sizeof state);
	const int help = cols >= 60 ? 7 : 0, state_w = (int)strlen(state);
	const int most = cols >= 80 && state_w < STATE_COLS ? STATE_COLS : state_w;
	const int id = (int)strlen(s->id), ref = (int)strlen(b->reference);
	int x = 1, left = cols - help - 1;
	if (cols >= 80) {
		const char *circuit = b->circuit.name ? b->circuit.name : b->circuit_id;
		const char *car = b->car.name ? b->car.name : b->car_id;
		const int room = left - (id < ID_COLS ? id : ID_COLS) - most - 6 -
				 (ref < ID_COLS ? ref : ID_COLS) - 8;
		char where[256];
		snprintf(where, sizeof where, "%s, %s", circuit, car);
		if (room > 8)
			x += scr_text(0, x, room, PLAIN, where) + 2;
	}
	int id_room = left - x - 1 - most - 1 - (ref ? 8 + (ref < ID_COLS ? ref : ID_COLS) : 0);
	if (id_room < (id < ID_LEAST ? id : ID_LEAST)) /* the reference is cut then */
		id_room = left - x - 1 - state_w < ID_LEAST ? left - x - 1 - state_w : ID_LEAST;
	x += scr_text(0, x, id_room, BOLD, s->id) + 1;
	int used = scr_text(0, x, left - x, app_dirty(app) || cautions ? WARN : PLAIN, state);
	x += (cols >= 80 && used < STATE_COLS ? STATE_COLS : used) + 1; /* so that nothing jumps */
	if (b->reference[0] && left - x > 8) {
		x += scr_text(0, x, left - x, PLAIN, "against ");
		scr_text(0, x, left - x, PLAIN, b->reference);
	}
	if (help)
		scr_text(0, cols - help, help, DIM, "? keys");
}

static void draw_tabs(struct app *app, int cols)
{
	int x = 1;
	for (int p = 0; p < PAGES && x < cols; p++) {
		bool on = p == (int)app->page;
		if (cols >= 70)
			x += scr_printf(1, x, cols - x, on ? ACCENT : PLAIN,
				     on ? "[%s %d]" : " %s %d ", page_names[p], p + 1) +
			     1;
		else if (cols >= 56 || on)
			x += scr_printf(1, x, cols - x, on ? ACCENT : PLAIN, on ? "[%s]" : "%s",
				     page_names[p]) +
			     1;
		else
			x += scr_printf(1, x, cols - x, PLAIN, "%d", p + 1) + 1;
	}
}

enum hints { HINTS_ALL, HINTS_OWN, HINTS_GENERAL };

/* From the table: "+ - nudge   Enter type"; neighbours with one hint share it. Returns the next
 * column, beyond `cols` where not all had room. */
static int draw_some_hints(struct app *app, enum hints which, int y, int x, int cols)
{
	for (int a = 0; a < ACTION_COUNT; a++) {
		const struct action_info *i = action_info((enum action)a);
		if (!i->hint || !(i->pages & ON(app->page)))
			continue;
		if (which != HINTS_ALL &&
			action_is_general((enum action)a) != (which == HINTS_GENERAL))
			continue;
		char keys[32], one[16];
		snprintf(keys, sizeof keys, "%s", key_label(i->keys[0], one, sizeof one));
		while (a + 1 < ACTION_COUNT && !action_info((enum action)(a + 1))->hint &&
			action_info((enum action)(a + 1))->pages == i->pages &&
			strncmp(action_info((enum action)(a + 1))->help, i->help, 14) == 0) {
			a++;
			size_t n = strlen(keys);
			snprintf(keys + n, sizeof keys - n, " %s",
				key_label(action_info((enum action)a)->keys[0], one, sizeof one));
		}
		int need = scr_width(keys) + 1 + scr_width(i->hint);
		if (x + need > cols - 1)
			return cols + 1;
		x += scr_text(y, x, cols - x, BOLD, keys) + 1;
		x += scr_text(y, x, cols - x, PLAIN, i->hint) + 2;
	}
	return x;
}

/* A page's own keys first; on the Sheet page, whose own are many, in the table's order. */
static void draw_hints(struct app *app, int y, int cols)
{
	bool all = app->page == PAGE_SHEET;
	int x = draw_some_hints(app, all ? HINTS_ALL : HINTS_OWN, y, 1, cols);
	if (!all && x <= cols)
		draw_some_hints(app, HINTS_GENERAL, y, x, cols);
}

static void draw_foot(struct app *app, int rows, int cols)
{
	if (app->message[0]) {
		enum style style = app->message_warns ? WARN : PLAIN;
		if (scr_width(app->message) <= cols - 2)
			scr_text(rows - 2, 1, cols - 2, style, app->message);
		else { /* two lines are better than half a sentence */
			scr_wrap(rows - 2, 1, cols - 2, 2, style, app->message);
			return;
		}
	}
	draw_hints(app, rows - 1, cols);
}

/* Only what is asked for is painted anew; the rest of the screen is as it was. */
static void draw(struct app *app, unsigned flags, int *cursor_y, int *cursor_x)
{
	int rows = scr_rows(), cols = scr_cols();
	struct area a = {TOP_LINES, 0, rows - TOP_LINES - FOOT_LINES, cols};
	if (rows < ROWS_LEAST || cols < COLS_LEAST) {
		char line[96];
		snprintf(line, sizeof line,
			"The workbench needs %d columns and %d lines; here are %d "
			"and %d.",
			COLS_LEAST, ROWS_LEAST, cols, rows);
		scr_erase();
		scr_wrap(0, 0, cols, rows, PLAIN, line);
		return;
	}
	if (flags & UI_FRAME) {
		scr_erase_lines(0, TOP_LINES);
		draw_title(app, cols);
		draw_tabs(app, cols);
	}
	if (flags & UI_BODY) {
		scr_erase_lines(a.y, a.h);
		pages[app->page]->draw(app, a);
	}
	if (flags & UI_FOOT) {
		scr_erase_lines(rows - FOOT_LINES, FOOT_LINES);
		draw_foot(app, rows, cols);
	}
	if (app->modal.kind != MODAL_NONE)
		modal_draw(app, cursor_y, cursor_x);
}

void app_paint(struct app *app, unsigned flags)
{
	int y = -1, x = -1;
	bool covers = app->modal.kind != MODAL_NONE;
	if (!(flags & UI_ALL))
		return;
	if (covers || app->covered)
		flags |= UI_ALL;
	const char *id = app_sheet(app)->id;
	if (app->shown_changes != app->n_changes || app->shown_dirty != app_dirty(app) ||
		strcmp(app->shown_id, id) != 0)
		flags |= UI_FRAME;
	snprintf(app->shown_id, sizeof app->shown_id, "%s", id);
	app->covered = covers;
	app->shown_changes = app->n_changes;
	app->shown_dirty = app_dirty(app);
	answer_update(&app->told, app->model, app_sheet(app)->values, app->against.values);
	draw(app, flags, &y, &x);
	scr_stage(y, x);
}

/* --- lists --------------------------------------------------------------- */

int list_move(int cursor, int n, int rows, enum move how)
{
	int step = rows > 1 ? rows - 1 : 1;
	switch (how) {
	case MOVE_UP:
		cursor--;
		break;
	case MOVE_DOWN:
		cursor++;
		break;
	case MOVE_FIRST:
		cursor = 0;
		break;
	case MOVE_LAST:
		cursor = n - 1;
		break;
	case MOVE_PAGE_UP:
		cursor -= step;
		break;
	case MOVE_PAGE_DOWN:
		cursor += step;
		break;
	case MOVE_LEFT:
	case MOVE_RIGHT:
		break;
	}
	if (cursor >= n)
		cursor = n - 1;
	return cursor < 0 ? 0 : cursor;
}

int list_scroll(int top, int cursor, int n, int rows)
{
	if (rows < 1)
		rows = 1;
	if (top > n - rows)
		top = n - rows;
	if (cursor < top)
		top = cursor;
	if (cursor >= top + rows)
		top = cursor - rows + 1;
	return top < 0 ? 0 : top;
}
