/* Pasted text, between ESC [ 200 ~ and ESC [ 201 ~. */
#include "tui/decode_own.h"

#include <string.h>

static const char mark_start[] = "\033[20"; /* then 0 or 1, then ~ */
enum { MARK_LEN = 6, CTRL_C = 3 };

/* Is c the byte at `at` of a mark? */
static bool of_mark(size_t at, int c)
{
	return at < 4 ? c == mark_start[at] : at == 4 ? c == '0' || c == '1' : c == '~';
}

void paste_start(struct decoder *d)
{
	buf_free(&d->pasted);
	buf_init(&d->pasted);
	memset(&d->character, 0, sizeof d->character);
	d->half = false;
	d->paste = PASTE_INSIDE;
	d->mark = 0;
	d->paste_told = false;
	d->flowed = d->arrived;
}

static void add_code(struct decoder *d, int code)
{
	char utf8[4];
	if (d->pasted.len <= PASTE_MAX)
		buf_add(&d->pasted, utf8, text_utf8_put((unsigned)code, utf8));
}

static void add(struct decoder *d, int c)
{
	bool again = true;
	while (again) {
		const int code = decode_character(d, c == ESC ? ' ' : c, &again);
		if (code >= 0)
			add_code(d, code);
	}
}

/* What looked like the beginning of a mark was pasted as it stands. */
static void add_mark(struct decoder *d)
{
	for (size_t i = 0; i < d->mark; i++)
		add(d, i < 4 ? mark_start[i] : d->mark_kind);
	d->mark = 0;
}

static void finish(struct decoder *d)
{
	add_mark(d);
	if (d->half)
		add_code(d, NO_CHARACTER);
	d->half = false;
	memset(&d->character, 0, sizeof d->character);
	d->paste = PASTE_NONE;
	decode_tell(d, K_PASTE);
}

/* Ctrl-C that a person presses: nothing before it for a while and nothing with it. */
static bool is_pressed(const struct decoder *d)
{
	return d->n_last == 1 && d->last[0] == CTRL_C && d->pause >= PASTE_ALONE_MS;
}

static void take_inside(struct decoder *d, int c)
{
	if (c == CTRL_C && is_pressed(d)) {
		finish(d);
		return;
	}
	if (!of_mark(d->mark, c)) {
		add_mark(d);
		if (c != ESC) {
			add(d, c);
			return;
		}
	}
	if (d->mark == 4)
		d->mark_kind = c;
	if (++d->mark < MARK_LEN)
		return;
	d->mark = 0;
	if (d->mark_kind == '1')
		d->paste = PASTE_ENDED; /* a second start says nothing */
}

/* A whole mark in what is not yet decoded: where it begins, its kind; else how much of one is
 * there at the end. */
static bool find_mark(const struct decoder *d, size_t *at, int *kind, size_t *part)
{
	size_t matched = 0;
	for (size_t i = d->head; i < d->n; i++) {
		const int c = d->raw[i];
		if (!of_mark(matched, c))
			matched = 0;
		if (!of_mark(matched, c))
			continue;
		if (matched == 4)
			*kind = c;
		if (++matched == MARK_LEN) {
			*at = i + 1 - MARK_LEN;
			return true;
		}
	}
	*part = matched;
	return false;
}

/*
 * An end mark inside the pasted text must not turn the rest into commands: the
 * paste goes on to the last end mark among what follows without a pause.
 */
static bool step_ended(struct decoder *d)
{
	size_t at = 0, part = 0;
	int kind = 0;
	const bool found = find_mark(d, &at, &kind, &part);
	if (!found && d->n - d->head < PASTE_MAX)
		return false;
	if (!found || kind == '0') {
		finish(d);
		return true;
	}
	while (d->head < at)
		add(d, d->raw[d->head++]);
	d->head += MARK_LEN;
	return true;
}

bool paste_step(struct decoder *d)
{
	if (d->paste == PASTE_ENDED)
		return step_ended(d);
	if (d->arrived - d->flowed >= PASTE_STALL_MS) {
		finish(d);
		return true;
	}
	if (d->head == d->n)
		return false;
	take_inside(d, d->raw[d->head++]);
	return true;
}

/* How long to wait for more after the last bytes. */
static long long patience(const struct decoder *d)
{
	size_t at, part = 0;
	int kind;
	if (d->paste != PASTE_ENDED)
		return d->flowed + (d->paste_told ? PASTE_STALL_MS : PASTE_TOLD_MS) - d->arrived;
	find_mark(d, &at, &kind, &part);
	return part ? DECODE_LATE_MS : PASTE_QUIET_MS;
}

int paste_due(const struct decoder *d, long long now)
{
	const long long left = d->arrived + patience(d) - now;
	return left > 0 ? (int)left : 0;
}

void paste_overdue(struct decoder *d, long long now)
{
	if (paste_due(d, now) > 0)
		return;
	if (d->paste == PASTE_ENDED || now - d->flowed >= PASTE_STALL_MS) {
		finish(d);
		return;
	}
	d->paste_told = true;
	decode_tell(d, K_PASTE_OPEN);
}
