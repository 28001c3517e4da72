/* report: the debrief as one HTML page, or as text for a mail. */
#include "report/report.h"
#include "cmd/commands.h"
#include "cmd/fitted.h"
#include "store/plan_file.h"
#include "store/save.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { MARK_WITHIN = 512 };

const struct cmd_option report_options[] = {
	{"output", 'o', "FILE", false, "write to FILE; without: to stdout"},
	{"sheet", 0, "SHEET", false,
		"the sheet to tell of; default: one that spares the tyres at least cost"},
	{"text", 0, NULL, false, "plain text for a mail instead of HTML"},
	{"force", 0, NULL, false, "write over FILE though it is no earlier report"},
	{"json", 0, NULL, false, "with -o: what was written, as a JSON document"}, CMD_OPTION_END};

/* An earlier report, or an empty file, may be written over; all else when the user says so. */
static bool may_replace(const char *bytes, size_t size)
{
	return size == 0 || memmem(bytes, size < MARK_WITHIN ? size : MARK_WITHIN, report_mark,
				    strlen(report_mark)) != NULL;
}

static bool write_file(const char *path, const struct buf *out, bool force, struct err *e)
{
	struct stamp stamp = {0};
	char *old = NULL;
	size_t size = 0;
	if (access(path, F_OK) != 0)
		return file_create(path, out->data, out->len, e);
	if (!file_read(path, SAVE_MAX_BYTES, &old, &size, &stamp, e))
		return false;
	bool ours = may_replace(old, size);
	free(old);
	if (!ours && !force) {
		err_input(e, "this file is there and is no report of treadlight's; name another, "
			     "or add --force");
		err_at(e, path, 0, 0);
		return false;
	}
	enum save_outcome outcome = file_save(path, out->data, out->len, &stamp, e);
	return outcome == SAVE_DONE || outcome == SAVE_UNCONFIRMED;
}

static int write_out(
	const struct cmd_args *args, const struct report_input *in, const struct buf *out)
{
	const char *path = cmd_value(args, "output");
	struct err e;
	err_clear(&e);
	if (!path) {
		fwrite(out->data, 1, out->len, stdout);
		return cmd_finish();
	}
	if (!write_file(path, out, cmd_has(args, "force"), &e))
		return cmd_fail(&e);
	cmd_unconfirmed(&e);
	if (!cmd_has(args, "json"))
		return CMD_OK;
	return cmd_print_json(
		json_pack("{s:o, s:s, s:o, s:I}", "book", cmd_json_text(in->book->id), "sheet",
			in->sheet->id, "file", cmd_json_text(path), "bytes", (json_int_t)out->len));
}

static int tell(const struct cmd_args *args, const struct fitted_book *a, const struct sheet *s,
	const char *why)
{
	struct plan *plan = NULL;
	struct faults faults;
	struct buf out;
	struct err e;
	char today[16] = "";
	const time_t now = time(NULL);
	struct tm tm;
	err_clear(&e);
	faults_init(&faults);
	if (!store_load_plan(&plan, &a->book, &faults)) {
		int status = cmd_fail_faults(&faults);
		faults_free(&faults);
		return status;
	}
	faults_free(&faults);
	if (localtime_r(&now, &tm))
		strftime(today, sizeof today, "%Y-%m-%d", &tm);
	const struct report_input in = {.book = &a->book,
		.model = a->model,
		.reference = a->reference,
		.sheet = s,
		.why_sheet = why,
		.plan = plan,
		.today = today[0] ? today : NULL};
	buf_init(&out);
	int status = report_make(&in, cmd_has(args, "text"), &out, &e) ? write_out(args, &in, &out)
								       : cmd_fail(&e);
	buf_free(&out);
	plan_free(plan);
	return status;
}

int report_run(const struct cmd_args *args)
{
	struct fitted_book a;
	char why[400] = "";
	int status;
	if (cmd_has(args, "json") && !cmd_value(args, "output"))
		return cmd_bad("--json tells of the file that was written; name one with -o FILE");
	if (!fitted_open(&a, args->word[0], &status))
		return status;
	const char *id = cmd_value(args, "sheet");
	const struct sheet *s = id ? cmd_sheet(&a.book, id)
				   : report_choose(&a.book, a.model, a.reference, why, sizeof why);
	status = s ? tell(args, &a, s, why) : CMD_USAGE;
	fitted_close(&a);
	return status;
}
