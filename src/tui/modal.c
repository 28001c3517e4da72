#include "tui/app.h"

#include "tui/term.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void set_title(struct modal *m, const char *fmt, va_list ap)
{
	vsnprintf(m->title, sizeof m->title, fmt, ap);
}

/* Empty the modal for a new use; the text is its own copy. */
static struct modal *start(struct app *app, enum modal_kind kind, const char *text)
{
	struct modal *m = &app->modal;
	struct buf fresh;
	buf_init(&fresh);
	buf_adds(&fresh, text);
	buf_free(&m->text);
	memset(m, 0, sizeof *m);
	m->text = fresh;
	m->kind = kind;
	if (fresh.failed)
		app_warn(app, "out of memory: what is shown here is cut");
	return m;
}

const char *modal_text(struct app *app, const struct buf *b)
{
	if (b->failed)
		app_warn(app, "out of memory: what is shown here is cut");
	return b->data ? b->data : "";
}

void modal_free(struct modal *m)
{
	buf_free(&m->text);
	memset(m, 0, sizeof *m);
}

static const char *text_of(const struct modal *m)
{
	return m->text.data ? m->text.data : "";
}

static int count_lines(const char *s)
{
	int n = 0;
	while (*s) {
		n++;
		s = strchr(s, '\n');
		if (!s)
			break;
		s++;
	}
	return n;
}

/* Line i of a text into buf; returns buf. */
static const char *line_of(const char *s, int i, char *buf, size_t size)
{
	while (i-- > 0) {
		s = strchr(s, '\n');
		if (!s)
			break;
		s++;
	}
	size_t n = s ? strcspn(s, "\n") : 0;
	if (n >= size)
		n = size - 1;
	memcpy(buf, s ? s : "", n);
	buf[n] = '\0';
	return buf;
}

unsigned field_open(struct app *app, typed_fn done, const char *initial, const char *fmt, ...)
{
	struct modal *m = start(app, MODAL_FIELD, initial);
	va_list ap;
	va_start(ap, fmt);
	set_title(m, fmt, ap);
	va_end(ap);
	m->typed = done;
	m->caret = m->text.len;
	return UI_ALL;
}

void field_keep(struct app *app)
{
	app->keep_field = true;
}

unsigned question_open(struct app *app, answer_fn done, const struct choice *choices,
	size_t n_choices, const char *body, const char *fmt, ...)
{
	struct modal *m = start(app, MODAL_QUESTION, body);
	va_list ap;
	va_start(ap, fmt);
	set_title(m, fmt, ap);
	va_end(ap);
	m->n_choices = n_choices < CHOICES_MAX ? n_choices : CHOICES_MAX;
	memcpy(m->choices, choices, m->n_choices * sizeof *choices);
	m->answered = done;
	m->n = count_lines(text_of(m));
	return UI_ALL;
}

unsigned list_open(
	struct app *app, picked_fn done, const char *items, int cursor, const char *title)
{
	struct modal *m = start(app, MODAL_LIST, items);
	snprintf(m->title, sizeof m->title, "%s", title);
	m->picked = done;
	m->n = count_lines(text_of(m));
	m->cursor = cursor < 0 ? 0 : cursor;
	return UI_ALL;
}

unsigned text_open(struct app *app, const char *body, const char *title)
{
	struct modal *m = start(app, MODAL_TEXT, body);
	snprintf(m->title, sizeof m->title, "%s", title);
	m->n = count_lines(text_of(m));
	return UI_ALL;
}

/* --- the field ----------------------------------------------------------- */

/* Bytes of the character before / at the caret. */
static size_t char_before(const struct modal *m)
{
	size_t n = 0;
	while (n < m->caret && (n == 0 || (m->text.data[m->caret - n] & 0xc0) == 0x80))
		n++;
	return n;
}

static size_t char_at(const struct modal *m)
{
	size_t n = 0;
	while (m->caret + n < m->text.len &&
		(n == 0 || (m->text.data[m->caret + n] & 0xc0) == 0x80))
		n++;
	return n;
}

static void field_cut(struct modal *m, size_t at, size_t n)
{
	if (n == 0)
		return;
	memmove(m->text.data + at, m->text.data + at + n, m->text.len - at - n + 1);
	m->text.len -= n;
}

static unsigned field_insert(struct app *app, const char *s, size_t n)
{
	struct modal *m = &app->modal;
	unsigned flags = UI_FOOT;
	if (n > FIELD_MAX - m->text.len) {
		n = FIELD_MAX - m->text.len;
		while (n > 0 && (s[n] & 0xc0) == 0x80)
			n--;
		flags |= app_warn(app, "the text is cut: a field takes %d bytes", FIELD_MAX);
	}
	size_t old = m->text.len;
	buf_add(&m->text, s, n);
	if (m->text.failed || m->text.len != old + n) {
		m->text.failed = false;
		return flags | app_warn(app, "out of memory: the text was not taken");
	}
	if (n == 0)
		return flags;
	memmove(m->text.data + m->caret + n, m->text.data + m->caret, old - m->caret);
	memcpy(m->text.data + m->caret, s, n);
	m->caret += n;
	return flags;
}

static unsigned field_paste(struct app *app)
{
	size_t len;
	const char *pasted = term_pasted(&len);
	char *line = pasted ? text_dup(pasted, len) : NULL;
	if (!line)
		return app_warn(app, "out of memory: the text was not taken");
	while (len > 0 && (line[len - 1] == '\n' || line[len - 1] == '\r'))
		len--;
	for (size_t i = 0; i < len; i++)
		if ((unsigned char)line[i] < 0x20 || line[i] == 0x7f)
			line[i] = ' '; /* one field is one line */
	unsigned flags = field_insert(app, line, len);
	free(line);
	return flags;
}

static unsigned field_done(struct app *app)
{
	struct modal *m = &app->modal;
	char *text = text_dup(text_of(m), m->text.len);
	if (!text)
		return app_warn(app, "out of memory: try again");
	size_t caret = m->caret;
	typed_fn done = m->typed;
	m->kind = MODAL_NONE;
	app->keep_field = false;
	m->answering = true;
	unsigned flags = done(app, text);
	m->answering = false;
	if (app->keep_field && m->kind == MODAL_NONE) {
		m->kind = MODAL_FIELD;
		m->caret = caret;
	}
	free(text);
	return flags | UI_ALL;
}

/* Of a line such as "fuel=24 tyre-age=": behind the next value, or the one before, and round. */
static void field_next_value(struct modal *m, bool back)
{
	const char *text = text_of(m);
	size_t first = m->text.len, last = 0, before = 0, after = m->text.len;
	bool has_before = false, has_after = false;
	for (size_t i = 0; i < m->text.len; i++) {
		if (text[i] != '=')
			continue;
		size_t end = i + 1 + strcspn(text + i + 1, " ");
		first = end < first ? end : first;
		last = end;
		if (end < m->caret) {
			before = end;
			has_before = true;
		}
		if (end > m->caret && !has_after) {
			after = end;
			has_after = true;
		}
	}
	if (last)
		m->caret = back ? (has_before ? before : last) : (has_after ? after : first);
}

static unsigned field_key(struct app *app, int key)
{
	struct modal *m = &app->modal;
	size_t n;
	switch (key) {
	case K_TAB:
	case K_BACKTAB:
		field_next_value(m, key == K_BACKTAB);
		return UI_FOOT;
	case K_ESC:
		m->kind = MODAL_NONE;
		m->late_ok = true;
		return UI_ALL;
	case K_CTRL('c'):
		m->kind = MODAL_NONE;
		return UI_ALL;
	case K_ENTER:
		return field_done(app);
	case K_PASTE:
		return field_paste(app);
	case K_BACKSPACE:
		n = char_before(m);
		m->caret -= n;
		field_cut(m, m->caret, n);
		return UI_FOOT;
	case K_DELETE:
		field_cut(m, m->caret, char_at(m));
		return UI_FOOT;
	case K_CTRL('u'):
		field_cut(m, 0, m->caret);
		m->caret = 0;
		return UI_FOOT;
	case K_LEFT:
		m->caret -= char_before(m);
		return UI_FOOT;
	case K_RIGHT:
		m->caret += char_at(m);
		return UI_FOOT;
	case K_HOME:
	case K_CTRL('a'):
		m->caret = 0;
		return UI_FOOT;
	case K_END:
	case K_CTRL('e'):
		m->caret = m->text.len;
		return UI_FOOT;
	default:
		break;
	}
	if (key < 32 || key >= K_NAMED)
		return UI_NONE;
	char utf8[4];
	return field_insert(app, utf8, text_utf8_put((unsigned)key, utf8));
}

/* --- questions, lists, texts --------------------------------------------- */

static unsigned question_answer(struct app *app, int choice)
{
	answer_fn done = app->modal.answered;
	app->modal.kind = MODAL_NONE;
	return done(app, choice) | UI_ALL;
}

static bool moves(int key, enum move *how)
{
	static const struct {
		int key;
		enum move how;
	} table[] = {{K_UP, MOVE_UP}, {'k', MOVE_UP}, {K_DOWN, MOVE_DOWN}, {'j', MOVE_DOWN},
		{K_HOME, MOVE_FIRST}, {'g', MOVE_FIRST}, {K_END, MOVE_LAST}, {'G', MOVE_LAST},
		{K_PAGE_UP, MOVE_PAGE_UP}, {K_PAGE_DOWN, MOVE_PAGE_DOWN},
		{K_SPACE, MOVE_PAGE_DOWN}};
	for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
		if (table[i].key == key) {
			*how = table[i].how;
			return true;
		}
	return false;
}

static int body_rows(const struct modal *m)
{
	int room = scr_rows() - 4 - (int)m->n_choices - (m->n_choices ? 1 : 0);
	return room < 1 ? 1 : room;
}

static unsigned question_key(struct app *app, int key)
{
	struct modal *m = &app->modal;
	enum move how;
	if (key == K_ESC || key == K_CTRL('c'))
		return question_answer(app, 0);
	if (key == K_ENTER)
		return question_answer(app, m->cursor);
	for (size_t i = 0; i < m->n_choices; i++)
		if (m->choices[i].key == key)
			return question_answer(app, (int)i);
	if (!moves(key, &how))
		return UI_NONE;
	if (how == MOVE_UP || how == MOVE_DOWN)
		m->cursor = list_move(m->cursor, (int)m->n_choices, (int)m->n_choices, how);
	else
		m->top = list_scroll(
			list_move(m->top, m->n, body_rows(m), how), m->top, m->n, body_rows(m));
	return UI_BODY;
}

static unsigned list_key(struct app *app, int key)
{
	struct modal *m = &app->modal;
	picked_fn done = m->picked;
	enum move how;
	if (key == K_ESC || key == K_CTRL('c') || key == 'q' || (key == K_ENTER && m->n == 0)) {
		m->kind = MODAL_NONE;
		return done(app, -1) | UI_ALL;
	}
	if (key == K_ENTER) {
		m->kind = MODAL_NONE;
		return done(app, m->cursor) | UI_ALL;
	}
	if (moves(key, &how))
		m->cursor = list_move(m->cursor, m->n, body_rows(m), how);
	return UI_BODY;
}

static unsigned reading_key(struct app *app, int key)
{
	struct modal *m = &app->modal;
	enum move how;
	if (!moves(key, &how)) {
		m->kind = MODAL_NONE;
		return UI_ALL;
	}
	int rows = body_rows(m), last = m->n - rows > 0 ? m->n - rows : 0;
	m->top = list_move(m->top, m->n, rows, how);
	if (m->top > last)
		m->top = last;
	return UI_BODY;
}

unsigned modal_key(struct app *app, int key)
{
	if (key == K_LATE) { /* the Esc before was the start of an arrow key */
		if (app->modal.kind == MODAL_NONE && app->modal.late_ok)
			app->modal.kind = MODAL_FIELD;
		app->modal.late_ok = false;
		return UI_ALL;
	}
	switch (app->modal.kind) {
	case MODAL_FIELD:
		return field_key(app, key);
	case MODAL_QUESTION:
		return question_key(app, key);
	case MODAL_LIST:
		return list_key(app, key);
	case MODAL_TEXT:
		return reading_key(app, key);
	case MODAL_NONE:
		break;
	}
	return UI_NONE;
}

/* --- painting ------------------------------------------------------------ */

/* The message, on two lines where one is too short for it, or what the keys do. */
static void draw_above_field(
	const struct modal *m, const char *message, bool warns, int y, int cols)
{
	int lines = scr_width(message) > cols - 2 ? 2 : 1;
	scr_blank((struct area){y - lines, 0, lines, cols});
	if (message[0])
		scr_wrap(y - lines, 1, cols - 2, lines, warns ? WARN : PLAIN, message);
	else
		scr_printf(y - 1, 1, cols - 2, DIM, "Enter takes it   Esc leaves it as it was%s",
			strchr(text_of(m), '=') ? "   Tab goes to the next value" : "");
}

static void draw_field(const struct app *app, const struct modal *m, int *cursor_y, int *cursor_x)
{
	int cols = scr_cols(), y = scr_rows() - 1;
	scr_blank((struct area){y, 0, 1, cols});
	draw_above_field(m, app->message, app->message_warns, y, cols);
	int x = 1 + scr_text(y, 1, cols - 12, BOLD, m->title);
	x += scr_text(y, x, 2, BOLD, ": ");
	const char *text = text_of(m);
	int room = cols - x - 2;
	size_t from = 0; /* show the part around the caret */
	while (from < m->caret) {
		char part[2048];
		size_t n = m->caret - from;
		if (n < sizeof part) {
			memcpy(part, text + from, n);
			part[n] = '\0';
			if (scr_width(part) < room)
				break;
		}
		from++;
		while (from < m->caret && (text[from] & 0xc0) == 0x80)
			from++;
		if (m->caret - from > 4096)
			from = m->caret - 4096;
	}
	char part[2048];
	size_t n = m->caret - from < sizeof part ? m->caret - from : sizeof part - 1;
	memcpy(part, text + from, n);
	part[n] = '\0';
	int used = scr_text(y, x, room, PLAIN, part);
	char rest[512];
	snprintf(rest, sizeof rest, "%.500s", text + m->caret);
	scr_text(y, x + used, room - used, PLAIN, rest);
	*cursor_y = y;
	*cursor_x = x + used;
}

/* A frame of plain characters around h lines of w columns; returns the inside. */
static struct area draw_box(int h, int w, const char *title)
{
	int rows = scr_rows(), cols = scr_cols();
	if (w > cols - 4)
		w = cols - 4;
	if (h > rows - 4)
		h = rows - 4;
	struct area in = {(rows - h) / 2, (cols - w) / 2, h, w};
	struct area out = {in.y - 1, in.x - 2, h + 2, w + 4};
	scr_blank(out);
	for (int x = out.x; x < out.x + out.w; x++) {
		scr_glyph(out.y, x, DIM, 0x2500, '-');
		scr_glyph(out.y + out.h - 1, x, DIM, 0x2500, '-');
	}
	for (int y = out.y; y < out.y + out.h; y++) {
		bool edge = y == out.y || y == out.y + out.h - 1;
		scr_glyph(y, out.x, DIM, edge ? (y == out.y ? 0x250c : 0x2514) : 0x2502,
			edge ? '+' : '|');
		scr_glyph(y, out.x + out.w - 1, DIM, edge ? (y == out.y ? 0x2510 : 0x2518) : 0x2502,
			edge ? '+' : '|');
	}
	scr_printf(out.y, out.x + 2, w, BOLD, " %s ", title);
	return in;
}

static int widest(const struct modal *m)
{
	char line[512];
	int w = scr_width(m->title) + 4;
	for (int i = 0; i < m->n; i++) {
		int l = scr_width(line_of(text_of(m), i, line, sizeof line));
		w = l + 2 > w ? l + 2 : w;
	}
	for (size_t i = 0; i < m->n_choices; i++) {
		int l = scr_width(m->choices[i].text) + 6;
		w = l > w ? l : w;
	}
	return w;
}

static void draw_choices(const struct modal *m, struct area in, int y)
{
	for (size_t i = 0; i < m->n_choices; i++) {
		bool on = (int)i == m->cursor;
		char key[16];
		scr_printf(y + (int)i, in.x, in.w, on ? BOLD : PLAIN, "%c %s  %s", on ? '>' : ' ',
			key_label(m->choices[i].key, key, sizeof key), m->choices[i].text);
	}
}

static void draw_lines(struct modal *m, struct area in, int rows)
{
	char line[512];
	bool list = m->kind == MODAL_LIST;
	if (list)
		m->top = list_scroll(m->top, m->cursor, m->n, rows);
	for (int i = 0; i < rows && m->top + i < m->n; i++) {
		bool on = list && m->top + i == m->cursor;
		const char *text = line_of(text_of(m), m->top + i, line, sizeof line);
		if (list)
			scr_text(in.y + i, in.x, 2, PLAIN, on ? "> " : "  ");
		scr_text(in.y + i, in.x + (list ? 2 : 0), in.w - (list ? 2 : 0), on ? BOLD : PLAIN,
			text);
	}
	if (m->n > rows)
		scr_printf(in.y + in.h, in.x + 2, in.w, DIM, " %d to %d of %d ", m->top + 1,
			m->top + rows < m->n ? m->top + rows : m->n, m->n);
}

void modal_draw(struct app *app, int *cursor_y, int *cursor_x)
{
	struct modal *m = &app->modal;
	if (m->kind == MODAL_FIELD) {
		draw_field(app, m, cursor_y, cursor_x);
		return;
	}
	int rows = body_rows(m);
	rows = m->n < rows ? m->n : rows;
	int gap = m->n && m->n_choices ? 1 : 0;
	struct area in = draw_box(rows + gap + (int)m->n_choices, widest(m), m->title);
	draw_lines(m, in, rows);
	draw_choices(m, in, in.y + rows + gap);
}
