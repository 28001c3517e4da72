#include "base/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

size_t text_utf8_next(const char *text, size_t len, unsigned *cp)
{
	if (len == 0)
		return 0;
	const unsigned char *s = (const unsigned char *)text;
	if (s[0] < 0x80) {
		*cp = s[0];
		return 1;
	}
	size_t n = s[0] >= 0xF0 ? 4 : s[0] >= 0xE0 ? 3 : 2;
	if (s[0] < 0xC2 || s[0] > 0xF4 || len < n)
		return 0;
	unsigned v = s[0] & (0x7FU >> n);
	for (size_t i = 1; i < n; i++) {
		if ((s[i] & 0xC0) != 0x80)
			return 0;
		v = v << 6 | (s[i] & 0x3FU);
	}
	static const unsigned least[] = {0, 0, 0x80, 0x800, 0x10000};
	if (v < least[n] || v > 0x10FFFF || (v >= 0xD800 && v <= 0xDFFF))
		return 0;
	*cp = v;
	return n;
}

size_t text_utf8_put(unsigned cp, char out[4])
{
	if (cp < 0x80) {
		out[0] = (char)cp;
		return 1;
	}
	static const unsigned char lead[] = {0, 0, 0xC0, 0xE0, 0xF0};
	size_t n = cp < 0x800 ? 2 : cp < 0x10000 ? 3 : 4;
	for (size_t i = n - 1; i > 0; i--, cp >>= 6)
		out[i] = (char)(0x80 | (cp & 0x3F));
	out[0] = (char)(lead[n] | cp);
	return n;
}

char *text_mend(char *text)
{
	size_t len = strlen(text), kept = 0;
	for (size_t i = 0, n; i < len; i += n ? n : 1) {
		unsigned cp;
		n = text_utf8_next(text + i, len - i, &cp);
		memmove(text + kept, text + i, n);
		kept += n;
	}
	text[kept] = '\0';
	return text;
}

bool text_utf8_valid(const char *text, size_t len)
{
	for (size_t i = 0, n; i < len; i += n) {
		unsigned cp;
		n = text_utf8_next(text + i, len - i, &cp);
		if (n == 0)
			return false;
	}
	return true;
}

/*
 * Beyond ASCII: what a terminal would act on, or nobody would see. General
 * categories Cf, Zl, Zp and the default-ignorable code points of the Unicode
 * character database; C1 and noncharacters.
 */
static const struct range {
	unsigned first, last;
} hidden[] = {
	{0x80, 0x9F},
	{0xAD, 0xAD},
	{0x34F, 0x34F},
	{0x600, 0x605},
	{0x61C, 0x61C},
	{0x6DD, 0x6DD},
	{0x70F, 0x70F},
	{0x890, 0x891},
	{0x8E2, 0x8E2},
	{0x115F, 0x1160},
	{0x17B4, 0x17B5},
	{0x180B, 0x180F},
	{0x200B, 0x200F},
	{0x2028, 0x202E},
	{0x2060, 0x206F},
	{0x3164, 0x3164},
	{0xFDD0, 0xFDEF},
	{0xFE00, 0xFE0F},
	{0xFEFF, 0xFEFF},
	{0xFFA0, 0xFFA0},
	{0xFFF0, 0xFFFB},
	{0x110BD, 0x110BD},
	{0x110CD, 0x110CD},
	{0x13430, 0x1343F},
	{0x1BCA0, 0x1BCA3},
	{0x1D173, 0x1D17A},
	{0xE0000, 0xE0FFF},
};

bool text_is_hidden(unsigned cp)
{
	if (cp < 0x20 || cp == 0x7F || (cp & 0xFFFE) == 0xFFFE)
		return true;
	size_t low = 0, high = sizeof hidden / sizeof hidden[0];
	while (low < high) {
		size_t mid = (low + high) / 2;
		if (cp > hidden[mid].last)
			low = mid + 1;
		else
			high = mid;
	}
	return low < sizeof hidden / sizeof hidden[0] && cp >= hidden[low].first;
}

/* One character or invalid byte as it may be shown; returns the bytes consumed. */
static size_t show_one(const char *text, size_t len, bool ascii, char out[16], size_t *out_len)
{
	unsigned cp;
	size_t n = text_utf8_next(text, len, &cp);
	if (n == 0) {
		*out_len = (size_t)snprintf(out, 16, "<x%02X>", (unsigned)(unsigned char)text[0]);
		return 1;
	}
	if (cp < 0x20 || cp == 0x7F) {
		out[0] = '^';
		out[1] = (char)(cp ^ 0x40);
		*out_len = 2;
	} else if (text_is_hidden(cp)) {
		*out_len = (size_t)snprintf(out, 16, "<%04X>", cp);
	} else if (cp >= 0x80 && ascii) {
		out[0] = '?';
		*out_len = 1;
	} else {
		memcpy(out, text, n);
		*out_len = n;
	}
	return n;
}

static size_t copy_safe(char *buf, size_t size, const char *text, size_t len, bool ascii)
{
	size_t w = 0;
	if (size == 0)
		return 0;
	for (size_t i = 0; i < len;) {
		char out[16];
		size_t n = 0;
		size_t used = show_one(text + i, len - i, ascii, out, &n);
		if (w + n > size - 1)
			break;
		memcpy(buf + w, out, n);
		w += n;
		i += used;
	}
	buf[w] = '\0';
	return w;
}

size_t text_safe(char *buf, size_t size, const char *text, size_t len)
{
	return copy_safe(buf, size, text, len, false);
}

size_t text_safe_ascii(char *buf, size_t size, const char *text, size_t len)
{
	return copy_safe(buf, size, text, len, true);
}

bool text_is_id(const char *text, size_t len)
{
	if (len == 0 || len > ID_MAX || text[0] == '-')
		return false;
	for (size_t i = 0; i < len; i++) {
		char c = text[i];
		if (!((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-'))
			return false;
	}
	return true;
}

char *text_dup(const char *text, size_t len)
{
	char *copy = malloc(len + 1);
	if (!copy)
		return NULL;
	memcpy(copy, text, len);
	copy[len] = '\0';
	return copy;
}
