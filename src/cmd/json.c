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

int cmd_print_json(json_t *doc)
{
	struct err e;
	err_clear(&e);
	if (!doc) {
		err_memory(&e);
		return cmd_fail(&e);
	}
	/* 17 significant digits hold every double. */
	int rc = json_dumpf(doc, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(17));
	json_decref(doc);
	if (rc != 0 && !ferror(stdout)) {
		err_failed(&e, "the JSON document could not be made");
		return cmd_fail(&e);
	}
	fputc('\n', stdout);
	return cmd_finish();
}
