#include "base/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void buf_init(struct buf *b)
{
	memset(b, 0, sizeof *b);
}

void buf_free(struct buf *b)
{
	free(b->data);
	buf_init(b);
}

static bool buf_grow(struct buf *b, size_t more)
{
	if (b->failed)
		return false;
	if (b->data && more < b->cap - b->len)
		return true;
	size_t cap = b->cap ? b->cap : 128;
	while (cap - b->len <= more) {
		if (cap > (size_t)-1 / 2) {
			b->failed = true;
			return false;
		}
		cap *= 2;
	}
	char *data = realloc(b->data, cap);
	if (!data) {
		b->failed = true;
		return false;
	}
	b->data = data;
	b->cap = cap;
	return true;
}

void buf_add(struct buf *b, const char *text, size_t len)
{
	if (!buf_grow(b, len))
		return;
	if (len > 0)
		memcpy(b->data + b->len, text, len);
	b->len += len;
	b->data[b->len] = '\0';
}

void buf_adds(struct buf *b, const char *text)
{
	buf_add(b, text, strlen(text));
}

void buf_addf(struct buf *b, const char *fmt, ...)
{
	va_list ap, again;
	if (!buf_grow(b, 63)) /* as much as most need, so that they are printed once */
		return;
	size_t room = b->cap - b->len;
	va_start(ap, fmt);
	va_copy(again, ap);
	int n = vsnprintf(b->data + b->len, room, fmt, ap);
	va_end(ap);
	if (n < 0)
		b->failed = true;
	else if ((size_t)n < room)
		b->len += (size_t)n;
	else if (buf_grow(b, (size_t)n)) {
		vsnprintf(b->data + b->len, (size_t)n + 1, fmt, again);
		b->len += (size_t)n;
	}
	va_end(again);
	b->data[b->len] = '\0'; /* also where half a text was printed */
}

char *buf_take(struct buf *b)
{
	if (!b->data)
		buf_add(b, "", 0);
	char *data = b->data;
	if (b->failed) {
		free(data);
		data = NULL;
	}
	buf_init(b);
	return data;
}
