#include "store/scan.h"

#include "base/text.h"
#include <stdlib.h>
#include <string.h>

/* A walk over the characters. Lines end as editors end them: LF, CR LF, CR. */
struct walk {
	const char *bytes;
	size_t size;
	struct place at;
	bool bad;
};

static void walk_line(struct walk *w)
{
	w->at.line++;
	w->at.col = 1;
}

/* Step over one character; its code point, or 0 at the end or where the bytes are not UTF-8. */
static unsigned walk_step(struct walk *w)
{
	unsigned char c;
	unsigned cp;
	size_t n;

	if (w->at.byte >= w->size)
		return 0;
	c = (unsigned char)w->bytes[w->at.byte];
	if (c < 0x80) {
		w->at.byte++;
		w->at.col++;
		if (c == '\n' ||
			(c == '\r' && (w->at.byte == w->size || w->bytes[w->at.byte] != '\n')))
			walk_line(w);
		return c;
	}
	n = text_utf8_next(w->bytes + w->at.byte, w->size - w->at.byte, &cp);
	if (n == 0) {
		w->bad = true;
		return 0;
	}
	w->at.byte += n;
	w->at.col++;
	return cp;
}

static struct walk walk_from(const struct scan *s, struct place at)
{
	return (struct walk){.bytes = s->bytes, .size = s->size, .at = at};
}

/* What YAML allows in a file (1.2.2, 5.1), less a byte order mark inside it. */
static bool is_allowed(unsigned cp)
{
	if (cp < 0x80)
		return (cp >= 0x20 && cp != 0x7f) || cp == '\n' || cp == '\r' || cp == '\t';
	return cp == 0x85 || (cp >= 0xa0 && cp <= 0xfffd && cp != 0xfeff) || cp >= 0x10000;
}

/* libyaml begins a line behind these too, and looks for a directive there. */
static bool is_yaml_break(unsigned cp)
{
	return cp == '\n' || cp == '\r' || cp == 0x85 || cp == 0x2028 || cp == 0x2029;
}

static bool is_yaml_directive(const char *text, size_t len)
{
	size_t i = 5;

	if (len < 9 || memcmp(text, "%YAML", 5) != 0 || (text[i] != ' ' && text[i] != '\t'))
		return false;
	while (i < len && (text[i] == ' ' || text[i] == '\t'))
		i++;
	if (len - i < 3 || (memcmp(text + i, "1.2", 3) != 0 && memcmp(text + i, "1.1", 3) != 0))
		return false;
	i += 3;
	return i == len || text[i] == ' ' || text[i] == '\t' || text[i] == '\r' || text[i] == '\n';
}

static bool fault_at(struct err *err, struct place at)
{
	err_at(err, "", at.line, at.col);
	return false;
}

static bool fault_char(struct err *err, struct place at, unsigned cp)
{
	if (cp == 0xfeff)
		err_input(err, "a byte order mark may only stand at the start of a file");
	else if (cp == 0)
		err_input(err, "a zero byte may not stand in a text file");
	else
		err_input(err,
			"the control character U+%04X may not stand in a file; "
			"in double quotes write it as an escape, such as \"\\x%02X\"",
			cp, cp & 0xff);
	return fault_at(err, at);
}

static bool fault_encoding(struct err *err, const struct walk *w)
{
	err_input(err, "the byte 0x%02X is not UTF-8 text here; save the file as UTF-8",
		(unsigned)(unsigned char)w->bytes[w->at.byte]);
	return fault_at(err, w->at);
}

static bool checkpoint(struct scan *s, const struct walk *w)
{
	if (s->n_at % 1024 == 0) {
		size_t cap = (s->n_at + 1024) * 3;
		uint32_t *more = realloc(s->at, cap * sizeof *more);
		if (!more)
			return false;
		s->at = more;
	}
	s->at[s->n_at * 3] = (uint32_t)w->at.byte;
	s->at[s->n_at * 3 + 1] = (uint32_t)w->at.line;
	s->at[s->n_at * 3 + 2] = (uint32_t)w->at.col;
	s->n_at++;
	return true;
}

/* What a text is made of, each byte looked at once. */
struct made_of {
	bool ascii, plain; /* plain: ASCII that is allowed, and no % that might begin a directive */
};

static struct made_of look_over(const char *bytes, size_t size)
{
	enum { DIRECTIVE = 1, CONTROL = 2, WIDE = 0x80 };
	static const unsigned char kind[256] = {[0x00 ... 0x08] = CONTROL,
		[0x0b ... 0x0c] = CONTROL,
		[0x0e ... 0x1f] = CONTROL,
		['%'] = DIRECTIVE,
		[0x7f] = CONTROL,
		[0x80 ... 0xff] = WIDE};
	unsigned any = 0;

	for (size_t i = 0; i < size; i++)
		any |= kind[(unsigned char)bytes[i]];
	return (struct made_of){.ascii = any < WIDE, .plain = any == 0};
}

static bool scan_all(struct scan *s, struct err *err)
{
	struct walk w = walk_from(s, (struct place){s->bom, 1, 1});
	bool line_start = true;

	for (size_t index = 0; w.at.byte < w.size; index++) {
		struct place here = w.at;
		unsigned cp;

		if (!s->ascii && index % SCAN_EVERY == 0 && !checkpoint(s, &w))
			return err_memory(err);
		if (line_start && w.bytes[here.byte] == '%' &&
			!is_yaml_directive(w.bytes + here.byte, w.size - here.byte)) {
			err_input(err, "no line may begin with %%, save for %%YAML 1.2 before the "
				       "document: directives are not read");
			return fault_at(err, here);
		}
		cp = walk_step(&w);
		if (w.bad)
			return fault_encoding(err, &w);
		if (!is_allowed(cp))
			return fault_char(err, here, cp);
		line_start = is_yaml_break(cp);
	}
	return true;
}

bool scan_start(struct scan *s, const char *bytes, size_t size, struct err *err)
{
	struct made_of made;

	*s = (struct scan){.bytes = bytes, .size = size};
	if (size >= 2 && (memcmp(bytes, "\xff\xfe", 2) == 0 || memcmp(bytes, "\xfe\xff", 2) == 0)) {
		err_input(err, "is UTF-16; save it as UTF-8");
		return fault_at(err, (struct place){0, 1, 1});
	}
	if (size >= 3 && memcmp(bytes, "\xef\xbb\xbf", 3) == 0)
		s->bom = 3;
	made = look_over(bytes + s->bom, size - s->bom);
	s->ascii = made.ascii;
	if (!made.plain && !scan_all(s, err)) {
		scan_free(s);
		return false;
	}
	return true;
}

void scan_free(struct scan *s)
{
	free(s->at);
	*s = (struct scan){0};
}

struct place scan_char(const struct scan *s, size_t index, size_t line, size_t column)
{
	struct walk w = walk_from(s, (struct place){s->bom, 1, 1});
	size_t k;

	if (s->ascii)
		return (struct place){s->bom + index, line + 1, column + 1};
	/* What is not ASCII was walked over, so there is a checkpoint. */
	k = index / SCAN_EVERY < s->n_at ? index / SCAN_EVERY : s->n_at - 1;
	w.at = (struct place){s->at[k * 3], s->at[k * 3 + 1], s->at[k * 3 + 2]};
	for (size_t from = k * SCAN_EVERY; from < index; from++)
		walk_step(&w);
	return w.at;
}
