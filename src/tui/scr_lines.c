#include "tui/scr_lines.h"

#include "base/text.h"
#include "tui/term.h"

#include <curses.h>
#include <stdlib.h>
#include <string.h>
#include <wchar.h>

/*
 * One piece of a line, cols columns from x on; its text follows it in the buffer. wide: it has
 * characters of two columns.
 */
struct piece {
	unsigned short x, cols, len;
	unsigned char style, wide;
};

struct line {
	struct buf now;   /* its pieces; failed: some are missing */
	struct buf shown; /* the pieces that curses has; failed: not known */
};

/* The screen as it shall be; of one terminal, as curses is. */
static struct {
	struct line *lines; /* owned */
	int rows, cols;     /* what the lines were made for */
	char *halves;       /* owned [cols]: of the line being painted, see paint_wide() */
	attr_t attrs[STYLES];
	short pairs[STYLES];
	struct buf *copy; /* of what is added, each piece behind its line's number; or NULL */
} screen;

/* --- texts ------------------------------------------------------------------ */

enum { LINE_MAX_BYTES = 2048 };

static bool plain_ascii(const char *text, size_t len)
{
	for (size_t i = 0; i < len; i++)
		if (text[i] < 0x20 || text[i] > 0x7e)
			return false;
	return true;
}

/* A text as the screen shows it. */
struct wide_text {
	wchar_t text[LINE_MAX_BYTES];
	int n, cols;
	size_t used;  /* bytes of the text that it was made of */
	bool doubles; /* some character has two columns */
};

/* The character or invalid byte at `text`, made safe, to the end of `to`, where it fits into
 * `width` columns. Returns the bytes used; 0: no room. */
static size_t widen_one(struct wide_text *to, const char *text, size_t len, int width)
{
	char safe[16];
	unsigned c;
	const size_t bytes = text_utf8_next(text, len, &c), used = bytes ? bytes : 1;
	const size_t n = term_is_utf8() ? text_safe(safe, sizeof safe, text, used)
					: text_safe_ascii(safe, sizeof safe, text, used);
	int cols = to->cols, at = to->n;
	for (size_t i = 0, step; i < n && (step = text_utf8_next(safe + i, n - i, &c)); i += step) {
		int w = wcwidth((wchar_t)c);
		if (w < 0) { /* this machine's tables do not know it */
			c = '?';
			w = 1;
		}
		cols += w;
		if (cols > width || at + 1 >= LINE_MAX_BYTES)
			return 0;
		to->text[at++] = (wchar_t)c;
		to->doubles = to->doubles || w > 1;
	}
	to->n = at;
	to->cols = cols;
	return used;
}

/* Safe text as wide characters, cut at `width` columns: nothing that was made visible in several
 * characters is cut inside. */
static void make_wide(struct wide_text *to, const char *text, size_t len, int width)
{
	to->n = to->cols = 0;
	to->used = 0;
	to->doubles = false;
	for (size_t n; to->used < len; to->used += n)
		if (!(n = widen_one(to, text + to->used, len - to->used, width)))
			break;
}

int lines_width(const char *text, size_t len, int width, size_t *used)
{
	struct wide_text wide;
	if (plain_ascii(text, len)) {
		*used = len < (size_t)width ? len : (size_t)width;
		return (int)*used;
	}
	make_wide(&wide, text, len, width);
	*used = wide.used;
	return wide.cols;
}

/* --- lines ------------------------------------------------------------------ */

static void make_styles(void)
{
	attr_t has = termattrs();
	memset(screen.pairs, 0, sizeof screen.pairs);
	screen.attrs[BOLD] = A_BOLD & has;
	screen.attrs[DIM] = A_DIM & has;
	screen.attrs[ACCENT] = A_BOLD & has;
	screen.attrs[WARN] = A_BOLD & has;
	if (!term_has_colour())
		return;
	init_pair(1, COLOR_CYAN, -1);
	init_pair(2, COLOR_YELLOW, -1);
	screen.pairs[ACCENT] = 1;
	screen.pairs[WARN] = 2;
	screen.attrs[ACCENT] = 0;
}

static void drop_lines(void)
{
	for (int y = 0; y < screen.rows; y++) {
		buf_free(&screen.lines[y].now);
		buf_free(&screen.lines[y].shown);
	}
	free(screen.lines);
	free(screen.halves);
	screen.lines = NULL;
	screen.halves = NULL;
	screen.rows = screen.cols = 0;
}

/* Anew after a resize: curses has cut or filled its lines, all are painted again. */
static bool follow_size(void)
{
	if (screen.rows == LINES && screen.cols == COLS)
		return true;
	drop_lines();
	screen.lines = calloc((size_t)LINES, sizeof *screen.lines);
	screen.halves = malloc((size_t)COLS);
	if (!screen.lines || !screen.halves) {
		drop_lines();
		return false;
	}
	screen.rows = LINES;
	screen.cols = COLS;
	for (int y = 0; y < screen.rows; y++) {
		buf_init(&screen.lines[y].now);
		buf_init(&screen.lines[y].shown);
		screen.lines[y].shown.failed = true;
	}
	return true;
}

bool lines_open(void)
{
	make_styles();
	return follow_size();
}

void lines_close(void)
{
	drop_lines();
}

static struct line *line_at(int y)
{
	return follow_size() && y >= 0 && y < screen.rows ? &screen.lines[y] : NULL;
}

/* Room that was there stays. */
static void empty(struct buf *b)
{
	b->len = 0;
	b->failed = false;
}

void lines_forget(void)
{
	for (int y = 0; y < screen.rows; y++)
		screen.lines[y].shown.failed = true;
}

void lines_blank(int y)
{
	struct line *l = line_at(y);
	if (l)
		empty(&l->now);
}

void lines_add(int y, int x, int cols, enum style style, const char *text, size_t len)
{
	struct line *l = line_at(y);
	struct piece p = {.x = (unsigned short)x,
		.cols = (unsigned short)cols,
		.len = (unsigned short)len,
		.style = (unsigned char)style};
	if (!l)
		return;
	if (!plain_ascii(text, len)) {
		struct wide_text wide;
		make_wide(&wide, text, len, cols);
		p.wide = wide.doubles;
	}
	buf_add(&l->now, (const char *)&p, sizeof p);
	buf_add(&l->now, text, len);
	if (!screen.copy)
		return;
	buf_add(screen.copy, (const char *)&y, sizeof y);
	buf_add(screen.copy, (const char *)&p, sizeof p);
	buf_add(screen.copy, text, len);
}

void lines_copy(struct buf *to)
{
	screen.copy = to;
}

/* The piece at an offset; returns the offset of the next one, 0 at the end. */
static size_t piece_at(const struct buf *pieces, size_t at, struct piece *p)
{
	if (at >= pieces->len)
		return 0;
	memcpy(p, pieces->data + at, sizeof *p);
	return at + sizeof *p + (size_t)p->len;
}

void lines_add_again(const struct buf *copied)
{
	for (size_t at = 0, next; at < copied->len; at = next) {
		struct piece p;
		int y;
		memcpy(&y, copied->data + at, sizeof y);
		at += sizeof y;
		next = piece_at(copied, at, &p);
		struct line *l = line_at(y);
		if (l)
			buf_add(&l->now, copied->data + at, next - at);
	}
}

/* --- to curses ---------------------------------------------------------------- */

/* ASCII as cells: skips what waddnstr() does for every character. */
static void paint_ascii(int y, int x, int n, int style, const char *text)
{
	chtype cells[256], attr = screen.attrs[style] | COLOR_PAIR(screen.pairs[style]);
	for (int done = 0; done < n;) {
		int part = n - done < 256 ? n - done : 256;
		for (int i = 0; i < part; i++)
			cells[i] = (unsigned char)text[done + i] | attr;
		mvaddchnstr(y, x + done, cells, part);
		done += part;
	}
}

static void paint_piece(int y, const struct piece *p, const char *text)
{
	struct wide_text wide;
	if (plain_ascii(text, (size_t)p->len)) {
		paint_ascii(y, p->x, p->len < p->cols ? p->len : p->cols, p->style, text);
		return;
	}
	make_wide(&wide, text, (size_t)p->len, p->cols);
	attr_set(screen.attrs[p->style], screen.pairs[p->style], NULL);
	mvaddnwstr(y, p->x, wide.text, wide.n);
}

/* Columns of a line, `to` not among them. */
struct span {
	int from, to;
};

static bool meets(const struct span *s, const struct piece *p)
{
	return p->x < s->to && p->x + p->cols > s->from;
}

static void include(struct span *s, const struct piece *p)
{
	s->from = p->x < s->from ? p->x : s->from;
	s->to = p->x + p->cols > s->to ? p->x + p->cols : s->to;
}

/* The columns of all pieces that are not the same at the same place in both lists. */
static struct span differing(const struct buf *a, const struct buf *b)
{
	struct span s = {screen.cols, 0};
	for (size_t i = 0, j = 0; i < a->len || j < b->len;) {
		struct piece p, q;
		const size_t i1 = piece_at(a, i, &p), j1 = piece_at(b, j, &q);
		const bool equal =
			i1 && j1 && i1 - i == j1 - j && !memcmp(a->data + i, b->data + j, i1 - i);
		if (i1 && !equal)
			include(&s, &p);
		if (j1 && !equal)
			include(&s, &q);
		i = i1 ? i1 : a->len;
		j = j1 ? j1 : b->len;
	}
	return s;
}

/* Widen a span until no piece lies across its ends: what is left of one would be lost. */
static void round_out(struct span *s, const struct buf *pieces)
{
	struct span before;
	do {
		struct piece p;
		before = *s;
		for (size_t at = 0, next; (next = piece_at(pieces, at, &p)) != 0; at = next)
			if (meets(s, &p))
				include(s, &p);
	} while (before.from != s->from || before.to != s->to);
}

static bool has_doubles(const struct buf *pieces)
{
	struct piece p;
	for (size_t at = 0, next; (next = piece_at(pieces, at, &p)) != 0; at = next)
		if (p.wide)
			return true;
	return false;
}

enum { WHOLE, LEFT_HALF, RIGHT_HALF };

/* Which of its columns hold halves of a character. */
static void note_halves(const struct piece *p, const char *text)
{
	struct wide_text wide = {.n = 0};
	memset(screen.halves + p->x, WHOLE, p->cols);
	if (p->wide)
		make_wide(&wide, text, (size_t)p->len, p->cols);
	for (int i = 0, x = p->x; i < wide.n; i++) {
		const int w = wcwidth(wide.text[i]);
		if (w == 2) {
			screen.halves[x] = LEFT_HALF;
			screen.halves[x + 1] = RIGHT_HALF;
		}
		x += w > 0 ? w : 0;
	}
}

/*
 * A line with characters of two columns, the whole of it. curses leaves the other half of such a
 * character behind when one of its columns is written to (ncurses 6.4: mvaddchnstr(), mvhline()),
 * so one that a piece begins or ends inside of is cleared before.
 */
static void paint_wide(int y, const struct buf *pieces)
{
	struct piece p;
	memset(screen.halves, WHOLE, (size_t)screen.cols);
	attr_set(A_NORMAL, 0, NULL);
	mvhline(y, 0, ' ', screen.cols);
	for (size_t at = 0, next; (next = piece_at(pieces, at, &p)) != 0; at = next) {
		const int end = p.x + p.cols;
		if (!p.cols || end > screen.cols)
			continue;
		attr_set(A_NORMAL, 0, NULL);
		if (screen.halves[p.x] == RIGHT_HALF)
			mvhline(y, p.x - 1, ' ', 2);
		if (screen.halves[end - 1] == LEFT_HALF)
			mvhline(y, end - 1, ' ', 2);
		paint_piece(y, &p, pieces->data + at + sizeof p);
		note_halves(&p, pieces->data + at + sizeof p);
	}
}

static void paint_span(int y, const struct span *s, const struct buf *pieces)
{
	struct piece p;
	attr_set(A_NORMAL, 0, NULL);
	mvhline(y, s->from, ' ', s->to - s->from);
	for (size_t at = 0, next; (next = piece_at(pieces, at, &p)) != 0; at = next)
		if (meets(s, &p))
			paint_piece(y, &p, pieces->data + at + sizeof p);
}

static void paint_line(int y, const struct line *l)
{
	/* Half a line could say something else than the whole one. */
	static const char lost[] = "out of memory: this line is not shown";
	struct span s = {0, screen.cols};
	if (l->now.failed) {
		paint_span(y, &s, &(struct buf){.len = 0});
		paint_ascii(y, 0, (int)sizeof lost - 1, WARN, lost);
		return;
	}
	if (has_doubles(&l->now) || (!l->shown.failed && has_doubles(&l->shown))) {
		paint_wide(y, &l->now);
		return;
	}
	if (!l->shown.failed) {
		s = differing(&l->shown, &l->now);
		round_out(&s, &l->now);
	}
	paint_span(y, &s, &l->now);
}

static bool same(const struct buf *a, const struct buf *b)
{
	return !a->failed && !b->failed && a->len == b->len &&
	       (a->len == 0 || memcmp(a->data, b->data, a->len) == 0);
}

void lines_paint(void)
{
	for (int y = 0; y < screen.rows; y++) {
		struct line *l = &screen.lines[y];
		if (same(&l->now, &l->shown))
			continue;
		paint_line(y, l);
		empty(&l->shown);
		buf_add(&l->shown, l->now.data, l->now.len);
		l->shown.failed = l->shown.failed || l->now.failed;
	}
}
