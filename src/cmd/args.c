/* What the user gave, and telling what is wrong with it. */
#include "cmd/cmd.h"

#include <langinfo.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <wchar.h>

const char *cmd_value_nth(const struct cmd_args *a, const char *name, size_t i)
{
	for (size_t k = 0; k < a->n_given; k++)
		if (strcmp(a->given[k].option->name, name) == 0 && i-- == 0)
			return a->given[k].value;
	return NULL;
}

const char *cmd_value(const struct cmd_args *a, const char *name)
{
	for (size_t k = a->n_given; k > 0; k--)
		if (strcmp(a->given[k - 1].option->name, name) == 0)
			return a->given[k - 1].value;
	return NULL;
}

bool cmd_has(const struct cmd_args *a, const char *name)
{
	for (size_t k = 0; k < a->n_given; k++)
		if (strcmp(a->given[k].option->name, name) == 0)
			return true;
	return false;
}

bool cmd_number(const struct cmd_args *a, const char *name, double low, double high, double *v)
{
	const char *text = cmd_value(a, name);
	double got;
	char l[40], h[40];
	if (!text)
		return true;
	enum num_result r = num_parse(text, strlen(text), &got);
	if (r != NUM_OK) {
		cmd_bad("--%s: '%s' %s", name, text, num_explain(r));
		return false;
	}
	if (got < low || got > high) {
		num_print(low, l, sizeof l);
		num_print(high, h, sizeof h);
		cmd_bad("--%s: %s is out of range; %s to %s is allowed", name, text, l, h);
		return false;
	}
	*v = got;
	return true;
}

bool cmd_whole(const struct cmd_args *a, const char *name, long low, long high, long *v)
{
	double d = (double)low;
	if (!cmd_value(a, name))
		return true;
	if (!cmd_number(a, name, (double)low, (double)high, &d))
		return false;
	if (d != floor(d)) {
		cmd_bad("--%s: %s is not a whole number", name, cmd_value(a, name));
		return false;
	}
	*v = (long)d;
	return true;
}

static bool utf8_locale(void)
{
	return strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
}

const char *cmd_safe(const char *text, char *buf, size_t size)
{
	if (utf8_locale())
		text_safe(buf, size, text, strlen(text));
	else
		text_safe_ascii(buf, size, text, strlen(text));
	return buf;
}

int cmd_width(const char *text)
{
	size_t len = strlen(text);
	int width = 0;
	for (size_t i = 0, n; i < len; i += n) {
		unsigned cp = 0;
		n = text_utf8_next(text + i, len - i, &cp);
		int w = n > 0 ? wcwidth((wchar_t)cp) : 1;
		width += w > 0 ? w : 0;
		n = n > 0 ? n : 1;
	}
	return width;
}

void cmd_pad(FILE *out, const char *text, int columns)
{
	char safe[CMD_LINE_MAX];
	int gap = (columns < 0 ? -columns : columns) - cmd_width(cmd_safe(text, safe, sizeof safe));
	if (columns < 0 && gap > 0)
		fprintf(out, "%*s", gap, "");
	fputs(safe, out);
	if (columns > 0 && gap > 0)
		fprintf(out, "%*s", gap, "");
}

void cmd_line(const char *fmt, ...)
{
	char text[CMD_LINE_MAX], safe[5 * sizeof text]; /* a byte is told by five at most */
	va_list ap;
	va_start(ap, fmt);
	if (vsnprintf(text, sizeof text, fmt, ap) >= (int)sizeof text)
		text_mend(text);
	va_end(ap);
	puts(cmd_safe(text, safe, sizeof safe));
}

int cmd_fail(const struct err *e)
{
	char line[4 * (sizeof e->text + sizeof e->file) + 100];
	char safe[sizeof line];
	err_format(e, line, sizeof line);
	fprintf(stderr, "%s\n", cmd_safe(line, safe, sizeof safe));
	return e->cls == ERR_NONE ? CMD_FAILED : err_status(e->cls);
}

static const int held[] = {SIGINT, SIGTERM, SIGHUP};

void cmd_hold_signals(sigset_t *before)
{
	sigset_t set;
	sigemptyset(&set);
	for (size_t i = 0; i < sizeof held / sizeof *held; i++)
		sigaddset(&set, held[i]);
	pthread_sigmask(SIG_BLOCK, &set, before);
}

bool cmd_may_go_on(void)
{
	sigset_t set;
	sigpending(&set);
	for (size_t i = 0; i < sizeof held / sizeof *held; i++)
		if (sigismember(&set, held[i]) == 1)
			return false;
	return true;
}

void cmd_let_signals_go(const sigset_t *before)
{
	pthread_sigmask(SIG_SETMASK, before, NULL);
}

void cmd_unconfirmed(struct err *e)
{
	if (e->cls != ERR_NONE)
		cmd_fail(e);
	err_clear(e);
}

int cmd_fail_faults(const struct faults *f)
{
	for (size_t i = 0; i < f->n; i++)
		cmd_fail(&f->list[i]);
	if (f->oom.cls != ERR_NONE)
		cmd_fail(&f->oom);
	if (f->total > f->n)
		fprintf(stderr, "treadlight: and %zu more\n", f->total - f->n);
	return err_status(faults_class(f));
}

int cmd_bad(const char *fmt, ...)
{
	struct err e;
	va_list ap;
	err_clear(&e);
	e.cls = ERR_INPUT;
	va_start(ap, fmt);
	vsnprintf(e.text, sizeof e.text, fmt, ap);
	va_end(ap);
	cmd_fail(&e);
	return CMD_USAGE;
}
