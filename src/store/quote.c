#include "store/patch_parts.h"

#include <string.h>
#include <strings.h>

/* Words that YAML 1.1 or 1.2 take for a truth value or for nothing. */
static bool is_retyped_word(const char *text, size_t len)
{
	static const char *const words[] = {
		"y", "n", "yes", "no", "on", "off", "true", "false", "null"};

	for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
		if (strlen(words[i]) == len && strncasecmp(words[i], text, len) == 0)
			return true;
	}
	return false;
}

static bool is_letter(unsigned cp)
{
	return (cp >= 'a' && cp <= 'z') || (cp >= 'A' && cp <= 'Z');
}

/* Characters that a file should not hold as they are: unseen, or refused when read back. */
static bool is_hidden(unsigned cp)
{
	return cp < 0x20 || (cp >= 0x7f && cp < 0xa0) || cp == 0xad || cp == 0x61c ||
	       (cp >= 0x200b && cp <= 0x200f) || (cp >= 0x2028 && cp <= 0x202e) ||
	       (cp >= 0x2060 && cp <= 0x206f) || cp == 0xfeff || cp == 0xfffe || cp == 0xffff;
}

static bool is_plain_inside(unsigned cp)
{
	if (cp < 0x80)
		return is_letter(cp) || (cp >= '0' && cp <= '9') ||
		       (cp != 0 && strchr(" -_./()+'", (int)cp) != NULL);
	return !is_hidden(cp);
}

bool yaml_is_plain(const char *text, size_t len)
{
	size_t at = 0;
	unsigned cp = 0;

	if (len == 0 || is_retyped_word(text, len) || text[len - 1] == ' ')
		return false;
	while (at < len) {
		size_t n = text_utf8_next(text + at, len - at, &cp);
		if (n == 0 || !is_plain_inside(cp) || (at == 0 && cp < 0x80 && !is_letter(cp)))
			return false;
		at += n;
	}
	return true;
}

static bool can_be_single(const char *text, size_t len)
{
	unsigned cp;

	for (size_t at = 0; at < len;) {
		size_t n = text_utf8_next(text + at, len - at, &cp);
		if (n == 0 || is_hidden(cp))
			return false;
		at += n;
	}
	return true;
}

static void add_single(struct buf *b, const char *text, size_t len)
{
	buf_adds(b, "'");
	for (size_t i = 0; i < len; i++)
		buf_add(b, text[i] == '\'' ? "''" : text + i, text[i] == '\'' ? 2 : 1);
	buf_adds(b, "'");
}

static void add_double(struct buf *b, const char *text, size_t len)
{
	unsigned cp;

	buf_adds(b, "\"");
	for (size_t at = 0; at < len;) {
		size_t n = text_utf8_next(text + at, len - at, &cp);
		if (n == 0)
			break; /* callers have checked; a cut text is refused when read back */
		if (cp == '"' || cp == '\\')
			buf_addf(b, "\\%c", (char)cp);
		else if (cp == '\n')
			buf_adds(b, "\\n");
		else if (cp == '\t')
			buf_adds(b, "\\t");
		else if (is_hidden(cp))
			buf_addf(b, cp < 0x100 ? "\\x%02X" : "\\u%04X", cp);
		else
			buf_add(b, text + at, n);
		at += n;
	}
	buf_adds(b, "\"");
}

void yaml_add_quoted(struct buf *b, enum scalar_style style, const char *text, size_t len)
{
	if (style == SCALAR_SINGLE && can_be_single(text, len))
		add_single(b, text, len);
	else
		add_double(b, text, len);
}

void yaml_add_text(struct buf *b, const char *text)
{
	size_t len = strlen(text);

	if (yaml_is_plain(text, len))
		buf_add(b, text, len);
	else
		add_double(b, text, len);
}
