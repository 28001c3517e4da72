/* Writing results. */
#include "cmd/cmd.h"

#include "base/text.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

json_t *cmd_json_number(double v)
{
	return isfinite(v) ? json_real(v) : json_null();
}

json_t *cmd_json_text(const char *text)
{
	const size_t len = strlen(text);
	if (text_utf8_valid(text, len))
		return json_string(text);
	char *whole = text_dup(text, len);
	json_t *j = whole ? json_string(text_mend(whole)) : NULL;
	free(whole);
	return j;
}

int cmd_finish(void)
{
	errno = 0;
	if (fflush(stdout) == 0 && !ferror(stdout))
		return CMD_OK;
	struct err e;
	err_clear(&e);
	err_failed(&e, "the output could not be written%s%s", errno ? ": " : "",
		errno ? strerror(errno) : "");
	return cmd_fail(&e);
}

/* Beyond ASCII one of a surrogate pair from U+10000 on (RFC 8259, 7). */
static void put_escape(unsigned cp)
{
	if (cp < 0x10000)
		printf("\\u%04X", cp);
	else
		printf("\\u%04X\\u%04X", 0xD800 + ((cp - 0x10000) >> 10),
			0xDC00 + ((cp - 0x10000) & 0x3FF));
}

/* Nothing that is hidden stands outside of the document's strings, jansson escapes C0 itself. */
static void put_escaped(const char *text, size_t len)
{
	size_t from = 0;
	for (size_t i = 0, n; i < len; i += n) {
		unsigned cp;
		n = text_utf8_next(text + i, len - i, &cp);
		if (n == 0)
			n = 1; /* jansson lets none through */
		else if (text_is_hidden(cp) && cp >= 0x20) {
			fwrite(text + from, 1, i - from, stdout);
			put_escape(cp);
			from = i + n;
		}
	}
	fwrite(text + from, 1, len - from, stdout);
}

bool cmd_put_json(const json_t *part, size_t flags)
{
	char *text = part ? json_dumps(part, flags) : NULL;
	if (!text)
		return false;
	put_escaped(text, strlen(text));
	free(text);
	return true;
}

int cmd_print_json(json_t *doc)
{
	struct err e;
	err_clear(&e);
	if (!doc) {
		err_memory(&e);
		return cmd_fail(&e);
	}
	/* 17 significant digits hold every double. */
	const bool put = cmd_put_json(doc, JSON_INDENT(2) | JSON_REAL_PRECISION(17));
	json_decref(doc);
	if (!put) {
		err_failed(&e, "the JSON document could not be made");
		return cmd_fail(&e);
	}
	fputc('\n', stdout);
	return cmd_finish();
}
