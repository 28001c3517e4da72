#include "base/err.h"
#include "base/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void err_clear(struct err *e)
{
	memset(e, 0, sizeof *e);
}

/* A text cut at the end of its array must not end in half a character. */
static void trim_half_character(char *text)
{
	size_t len = strlen(text), start = len;
	while (start > 0 && len - start < 3 && ((unsigned char)text[start - 1] & 0xC0) == 0x80)
		start--;
	if (start == 0)
		return;
	unsigned char lead = (unsigned char)text[start - 1];
	size_t need = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : lead >= 0xC0 ? 2 : 1;
	if (len - (start - 1) < need)
		text[start - 1] = '\0';
}

static void set_text(struct err *e, enum err_class cls, const char *fmt, va_list ap)
{
	e->cls = cls;
	e->held = e->taken = false;
	int n = vsnprintf(e->text, sizeof e->text, fmt, ap);
	if (n >= (int)sizeof e->text)
		trim_half_character(e->text);
}

bool err_input(struct err *e, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	set_text(e, ERR_INPUT, fmt, ap);
	va_end(ap);
	return false;
}

bool err_failed(struct err *e, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	set_text(e, ERR_FAILED, fmt, ap);
	va_end(ap);
	return false;
}

static const char memory_text[] = "out of memory";

void err_set_memory(struct err *e)
{
	err_failed(e, "%s", memory_text);
}

bool err_is_memory(const struct err *e)
{
	return e->cls == ERR_FAILED && strcmp(e->text, memory_text) == 0;
}

static bool continues(char c)
{
	return ((unsigned char)c & 0xC0) == 0x80;
}

void err_at(struct err *e, const char *file, size_t line, size_t col)
{
	size_t len = file ? strlen(file) : 0;
	e->line = line;
	e->col = col;
	if (len < sizeof e->file) {
		memcpy(e->file, file ? file : "", len + 1);
		return;
	}
	size_t head = 80, tail = sizeof e->file - 1 - head - 3;
	while (head > 0 && continues(file[head]))
		head--;
	while (tail > 0 && continues(file[len - tail]))
		tail--;
	memcpy(e->file, file, head);
	memcpy(e->file + head, "...", 3);
	memcpy(e->file + head + 3, file + len - tail, tail + 1);
}

int err_status(enum err_class cls)
{
	return cls == ERR_INPUT ? 2 : cls == ERR_FAILED ? 1 : 0;
}

void err_format(const struct err *e, char *buf, size_t size)
{
	char raw[sizeof e->file + sizeof e->text + 80];
	int n;
	if (e->file[0] && e->line > 0)
		n = snprintf(raw, sizeof raw, "treadlight: %s:%zu:%zu: %s", e->file, e->line,
			e->col, e->text);
	else if (e->file[0])
		n = snprintf(raw, sizeof raw, "treadlight: %s: %s", e->file, e->text);
	else
		n = snprintf(raw, sizeof raw, "treadlight: %s", e->text);
	text_safe(buf, size, raw, n < 0 ? 0 : (size_t)n);
}

void faults_init(struct faults *f)
{
	memset(f, 0, sizeof *f);
}

void faults_free(struct faults *f)
{
	free(f->list);
	faults_init(f);
}

void faults_add(struct faults *f, const struct err *e)
{
	f->total++;
	if (f->n == FAULTS_MAX)
		return;
	/* Room doubles whenever the count is 0 or a power of two from 8 on. */
	if (f->n == 0 || (f->n >= 8 && (f->n & (f->n - 1)) == 0)) {
		size_t cap = f->n == 0 ? 8 : 2 * f->n;
		struct err *list = realloc(f->list, cap * sizeof *list);
		if (!list) {
			err_clear(&f->oom);
			err_memory(&f->oom);
			return;
		}
		f->list = list;
	}
	f->list[f->n++] = *e;
}

void faults_vadd(
	struct faults *f, const char *file, size_t line, size_t col, const char *fmt, va_list ap)
{
	struct err e;
	if (f->n == FAULTS_MAX) { /* only counted: a hostile file has hundreds of thousands */
		f->total++;
		return;
	}
	err_clear(&e);
	set_text(&e, ERR_INPUT, fmt, ap);
	err_at(&e, file, line, col);
	faults_add(f, &e);
}

void faults_join(struct faults *f, struct faults *from)
{
	for (size_t i = 0; i < from->n; i++)
		faults_add(f, &from->list[i]);
	f->total += from->total - from->n;
	if (from->oom.cls != ERR_NONE)
		f->oom = from->oom;
	faults_free(from);
}

enum err_class faults_class(const struct faults *f)
{
	if (f->oom.cls == ERR_FAILED)
		return ERR_FAILED;
	enum err_class worst = ERR_NONE;
	for (size_t i = 0; i < f->n; i++) {
		if (f->list[i].cls == ERR_FAILED)
			return ERR_FAILED;
		if (f->list[i].cls == ERR_INPUT)
			worst = ERR_INPUT;
	}
	return worst;
}
