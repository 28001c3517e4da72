#include "tui/decode_own.h"

#include <stdlib.h>
#include <string.h>

enum { CHUNK = 4096, BEL = 7, CTRL_C = 3, CANCEL = 0x18, SUBSTITUTE = 0x1a, DEL = 127 };

enum state {
	PLAIN,      /* characters */
	ESCAPE,     /* ESC */
	KNOWN,      /* the beginning of a key that only the terminal's description knows */
	SEQUENCE,   /* ESC [ */
	FUNCTION,   /* ESC O */
	CONSOLE,    /* ESC [ [: a function key of the Linux console */
	MOUSE,      /* ESC [ M: three characters follow */
	STRING,     /* ESC ] P _ ^ X */
	STRING_ESC, /* ESC in there: its end? */
};

/* --- bytes in, keys out --------------------------------------------------- */

bool decode_init(struct decoder *d, int esc_ms)
{
	memset(d, 0, sizeof *d);
	d->esc_ms = esc_ms;
	d->raw = malloc(2 * CHUNK);
	d->cap = d->raw ? 2 * CHUNK : 0;
	return d->raw;
}

void decode_free(struct decoder *d)
{
	free(d->raw);
	buf_free(&d->pasted);
	memset(d, 0, sizeof *d);
}

void decode_know(struct decoder *d, const char *bytes, int key)
{
	const size_t n = strlen(bytes);
	const unsigned char first = (unsigned char)bytes[0];
	const bool control = first < ' ' || first == DEL;
	if (n == 0 || n > KNOWN_SIZE || d->n_known == KNOWN_MAX || !control)
		return;
	if (n == 1 && (first == ESC || first == '\r' || first == CTRL_C))
		return;
	struct known_key *k = &d->known[d->n_known++];
	memcpy(k->bytes, bytes, n);
	k->n = (int)n;
	k->key = key;
}

unsigned char *decode_room(struct decoder *d, size_t *size)
{
	if (d->head == d->n)
		d->head = d->n = 0;
	if (d->cap - d->n < CHUNK && d->head > 0) {
		memmove(d->raw, d->raw + d->head, d->n - d->head);
		d->n -= d->head;
		d->head = 0;
	}
	if (d->cap - d->n < CHUNK && d->n < PASTE_MAX) {
		unsigned char *more = realloc(d->raw, 2 * d->cap);
		if (more) {
			d->raw = more;
			d->cap *= 2;
		}
	}
	*size = d->cap - d->n < CHUNK ? d->cap - d->n : CHUNK;
	return d->raw + d->n;
}

void decode_took(struct decoder *d, size_t n, long long now)
{
	const unsigned char *came = d->raw + d->n;
	const bool few = n <= sizeof d->last;
	if (!few || n != d->n_last || memcmp(came, d->last, n) != 0)
		d->flowed = now;
	d->n_last = few ? n : 0;
	memcpy(d->last, came, d->n_last);
	d->pause = now - d->arrived;
	d->arrived = now;
	d->n += n;
}

void decode_tell(struct decoder *d, int key)
{
	if (d->out_n < sizeof d->out / sizeof d->out[0])
		d->out[d->out_n++] = key;
}

int decode_next(struct decoder *d)
{
	return d->out_head < d->out_n ? d->out[d->out_head++] : K_NONE;
}

/* --- characters ------------------------------------------------------------- */

int decode_character(struct decoder *d, int c, bool *again)
{
	const char byte = (char)c;
	wchar_t wide = 0;
	*again = false;
	if (!d->half && c < 0x80)
		return c;
	const size_t n = mbrtowc(&wide, &byte, 1, &d->character);
	if (n == (size_t)-2) {
		d->half = true;
		return -1;
	}
	if (n == (size_t)-1) {
		*again = d->half;
		memset(&d->character, 0, sizeof d->character);
	}
	d->half = false;
	const bool good = n <= 1 && wide >= 0 && wide < 0x110000 && (wide & ~0x7ff) != 0xd800;
	return good ? (int)wide : NO_CHARACTER;
}

static int key_of(int code)
{
	return code == '\r' ? K_ENTER : code == '\b' ? K_BACKSPACE : code == 0 ? K_UNKNOWN : code;
}

static void take_character(struct decoder *d, int c)
{
	bool again = true;
	while (again) {
		const int code = decode_character(d, c, &again);
		if (code < 0)
			return;
		decode_tell(d, key_of(code));
	}
}

/* --- sequences -------------------------------------------------------------- */

/* The held bytes against the terminal's description: its key, or K_NONE; *part: they begin one. */
static int known_key(const struct decoder *d, bool *part)
{
	*part = false;
	for (size_t i = 0; i < d->n_known && d->n_held <= KNOWN_SIZE; i++) {
		const struct known_key *k = &d->known[i];
		const size_t n = (size_t)k->n;
		if (n < d->n_held || memcmp(k->bytes, d->held, d->n_held) != 0)
			continue;
		if (n == d->n_held)
			return k->key;
		*part = true;
	}
	return K_NONE;
}

static void hold(struct decoder *d, int c)
{
	if (d->n_held < HELD_SIZE)
		d->held[d->n_held] = (unsigned char)c;
	d->n_held++;
}

static void begin(struct decoder *d, int first, enum state state)
{
	d->n_held = 0;
	d->late = d->alt = false;
	d->state = (int)state;
	hold(d, first);
}

/* The sequence is whole: key, or K_NONE if it is nothing that a person pressed. */
static void end(struct decoder *d, int key)
{
	d->state = PLAIN;
	if (d->late)
		decode_tell(d, K_LATE);
	if (d->alt && (key == K_NONE || key == PASTE_START))
		decode_tell(d, K_ESC); /* pressed just before */
	else if (d->alt)
		key = K_UNKNOWN;
	if (key == PASTE_START)
		paste_start(d);
	else if (key != K_NONE)
		decode_tell(d, key);
}

/* What is held is no sequence, or its rest does not come. */
static void give_up(struct decoder *d)
{
	const size_t n = d->n_held < HELD_SIZE ? d->n_held : HELD_SIZE;
	const bool typed = d->late || (d->state == KNOWN && d->held[0] != ESC);
	if (!typed) { /* two bytes: that character with Alt */
		end(d, n == 2 || d->state == KNOWN ? K_UNKNOWN : K_NONE);
		return;
	}
	d->state = PLAIN;
	for (size_t i = d->late ? 1 : 0; i < n; i++)
		take_character(d, d->held[i]);
}

static int key_of_final(int final)
{
	static const struct {
		char final;
		int key;
	} table[] = {{'A', K_UP}, {'B', K_DOWN}, {'C', K_RIGHT}, {'D', K_LEFT}, {'H', K_HOME},
		{'F', K_END}, {'Z', K_BACKTAB}};
	for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
		if (table[i].final == final)
			return table[i].key;
	return final && strchr("EPQSabcdu^@z", final) ? K_UNKNOWN : K_NONE;
}

static int key_of_number(int number)
{
	switch (number) {
	case 1:
	case 7:
		return K_HOME;
	case 4:
	case 8:
		return K_END;
	case 3:
		return K_DELETE;
	case 5:
		return K_PAGE_UP;
	case 6:
		return K_PAGE_DOWN;
	case 200:
		return PASTE_START;
	case 201:
		return K_NONE; /* the end of a paste that was given up */
	default:
		return K_UNKNOWN;
	}
}

/* The whole ESC [ ... that is held; K_NONE where it is an answer, not a key. */
static int key_of_sequence(const struct decoder *d)
{
	int numbers[2] = {0, 0};
	size_t at = 0;
	if (d->n_held > HELD_SIZE)
		return K_NONE;
	for (size_t i = 2; i + 1 < d->n_held; i++) {
		const int c = d->held[i];
		if (c == ';')
			at++;
		else if (c < '0' || c > '9')
			return K_NONE; /* private, or with more before its end */
		else if (at < 2 && numbers[at] < 9999)
			numbers[at] = numbers[at] * 10 + (c - '0');
	}
	const int final = d->held[d->n_held - 1];
	const int key = final == '~' ? key_of_number(numbers[0]) : key_of_final(final);
	const bool modified = numbers[1] > 1 && key != K_NONE && key != PASTE_START;
	return modified ? K_UNKNOWN : key;
}

static void take(struct decoder *d, int c);

/* c is not of the sequence: it is given up, and c begins something else. */
static void broken_by(struct decoder *d, int c)
{
	give_up(d);
	take(d, c);
}

static void take_sequence(struct decoder *d, int c)
{
	bool part;
	if (c < ' ' || c > '~' || d->n_held >= SEQUENCE_MAX) {
		broken_by(d, c);
		return;
	}
	hold(d, c);
	const int key = known_key(d, &part);
	if (key != K_NONE)
		end(d, key);
	else if (c == '[' && d->n_held == 3)
		d->state = CONSOLE;
	else if (c == 'M' && d->n_held == 3) {
		d->state = MOUSE;
		d->mouse_left = 3;
		d->mouse_half = false;
	} else if (c >= '@')
		end(d, key_of_sequence(d));
}

static void take_function(struct decoder *d, int c, bool together)
{
	bool part;
	const bool parameter = together && ((c >= '0' && c <= '9') || c == ';');
	if ((c < '@' && !parameter) || c > '~' || d->n_held >= HELD_SIZE) {
		broken_by(d, c);
		return;
	}
	hold(d, c);
	int key = known_key(d, &part);
	if (key == K_NONE && c == 'M')
		key = K_ENTER;
	if (key == K_NONE && c >= '@') {
		key = key_of_final(c);
		key = key == K_NONE || d->n_held > 3 ? K_UNKNOWN : key;
	}
	if (key != K_NONE)
		end(d, key);
}

static void take_console(struct decoder *d, int c)
{
	if (c < '@' || c > '~') {
		broken_by(d, c);
		return;
	}
	hold(d, c);
	end(d, K_UNKNOWN);
}

/* Two bytes make one of the three where the report is in UTF-8. */
static void take_mouse(struct decoder *d, int c)
{
	if (c < ' ' && c != 0) {
		broken_by(d, c);
		return;
	}
	hold(d, c);
	if (d->mouse_half && (c & 0xc0) == 0x80)
		d->mouse_half = false;
	else {
		d->mouse_half = d->mouse_left < 3 && c >= 0xc2 && c <= 0xdf;
		d->mouse_left--;
	}
	if (d->mouse_left <= 0 && !d->mouse_half)
		end(d, K_NONE);
}

static void take_string(struct decoder *d, int c)
{
	const bool too_long = d->n_held >= STRING_MAX || d->arrived - d->began >= STRING_MS;
	if (c == CTRL_C || too_long) {
		broken_by(d, c);
		return;
	}
	hold(d, c);
	if (c == BEL || c == CANCEL || c == SUBSTITUTE)
		end(d, K_NONE);
	else if (c == ESC)
		d->state = STRING_ESC;
	if (d->late && d->n_held > HELD_SIZE) { /* nobody types this within one sequence's time */
		d->late = false;
		decode_tell(d, K_LATE);
	}
}

static void take_string_end(struct decoder *d, int c)
{
	if (c == '\\') {
		end(d, K_NONE);
		return;
	}
	d->n_held--; /* cut off by another sequence */
	give_up(d);
	begin(d, ESC, ESCAPE);
	take(d, c);
}

/* After ESC; true if c opens a sequence of the ANSI kind. */
static bool open_sequence(struct decoder *d, int c)
{
	if (c == '[')
		d->state = SEQUENCE;
	else if (c == 'O')
		d->state = FUNCTION;
	else if (c && strchr("]P_^X", c))
		d->state = STRING;
	else
		return false;
	d->began = d->arrived;
	return true;
}

static void take_after_escape(struct decoder *d, int c, bool together)
{
	bool part;
	if (c == ESC) {
		if (d->alt || !together)
			decode_tell(d, K_ESC);
		d->alt = together;
		return;
	}
	hold(d, c);
	const int key = known_key(d, &part);
	if (key != K_NONE)
		end(d, key);
	else if (open_sequence(d, c))
		return;
	else if (part) {
		d->state = KNOWN;
	} else {
		d->n_held--;
		decode_tell(d, K_ESC);
		if (d->alt)
			decode_tell(d, K_ESC);
		d->state = PLAIN;
		take(d, c);
	}
}

/* The first bytes of a key that only the description knows. */
static void take_known(struct decoder *d, int c)
{
	bool part;
	hold(d, c);
	const int key = known_key(d, &part);
	if (key != K_NONE)
		end(d, key);
	else if (!part) {
		d->n_held--;
		broken_by(d, c);
	}
}

/* The bytes after an Esc that has been told may belong to it. */
static bool take_late(struct decoder *d, int c)
{
	const bool late = d->esc_told && d->arrived - d->esc_at < DECODE_LATE_MS;
	d->esc_told = false;
	if (!late || c == ESC)
		return false;
	begin(d, ESC, ESCAPE);
	hold(d, c);
	d->late = open_sequence(d, c);
	if (!d->late)
		d->state = PLAIN;
	return d->late;
}

/* A control character is of no other one, in any encoding that a terminal speaks. */
static void drop_half(struct decoder *d)
{
	if (d->half)
		decode_tell(d, NO_CHARACTER);
	d->half = false;
	memset(&d->character, 0, sizeof d->character);
}

static void take_plain(struct decoder *d, int c)
{
	bool part = false;
	if (c >= ' ' && c != DEL) {
		if (!d->esc_told || !take_late(d, c))
			take_character(d, c);
		return;
	}
	drop_half(d);
	d->esc_told = false;
	if (c == ESC) {
		begin(d, ESC, ESCAPE);
		return;
	}
	begin(d, c, PLAIN);
	const int key = known_key(d, &part);
	if (key != K_NONE)
		decode_tell(d, key);
	else if (part)
		d->state = KNOWN;
	else
		take_character(d, c);
}

static void take(struct decoder *d, int c)
{
	const bool together = d->arrived - d->since <= TOGETHER_MS;
	d->since = d->arrived;
	switch ((enum state)d->state) {
	case PLAIN:
		take_plain(d, c);
		break;
	case ESCAPE:
		take_after_escape(d, c, together);
		break;
	case KNOWN:
		take_known(d, c);
		break;
	case SEQUENCE:
		take_sequence(d, c);
		break;
	case FUNCTION:
		take_function(d, c, together);
		break;
	case CONSOLE:
		take_console(d, c);
		break;
	case MOUSE:
		take_mouse(d, c);
		break;
	case STRING:
		take_string(d, c);
		break;
	case STRING_ESC:
		take_string_end(d, c);
		break;
	}
}

/* --- what is waited for ------------------------------------------------------ */

bool decode_ready(struct decoder *d)
{
	if (d->out_head < d->out_n)
		return true;
	d->out_head = d->out_n = 0;
	while (d->out_n == 0) {
		if (d->paste != PASTE_NONE) {
			if (!paste_step(d))
				break;
		} else if (d->head < d->n)
			take(d, d->raw[d->head++]);
		else
			break;
	}
	return d->out_n > 0;
}

static int patience(const struct decoder *d)
{
	return d->state == ESCAPE || d->state == KNOWN ? d->esc_ms : DECODE_LATE_MS;
}

int decode_due(const struct decoder *d, long long now)
{
	if (d->paste != PASTE_NONE)
		return paste_due(d, now);
	if (d->state == PLAIN)
		return -1;
	const long long left = d->since + patience(d) - now;
	return left > 0 ? (int)left : 0;
}

void decode_overdue(struct decoder *d, long long now)
{
	if (decode_due(d, now) != 0)
		return;
	if (d->paste != PASTE_NONE) {
		paste_overdue(d, now);
		return;
	}
	const bool pressed = d->state == ESCAPE || d->state == STRING_ESC;
	d->n_held -= d->state == STRING_ESC ? 1 : 0;
	if (d->state != ESCAPE)
		give_up(d);
	d->state = PLAIN;
	if (!pressed)
		return;
	decode_tell(d, K_ESC);
	if (d->alt)
		decode_tell(d, K_ESC);
	d->alt = false;
	d->esc_told = true;
	d->esc_at = now;
}
