/* log: runs from a CSV file into the book, all of them or none. */
#include "cmd/commands.h"
#include "store/import.h"
#include "store/plan_file.h"
#include "store/store.h"

#include <stdlib.h>
#include <string.h>

const struct cmd_option log_options[] = {{"csv", 0, "FILE", false, "the laps, one a row (needed)"},
	{"dry-run", 0, NULL, false, "judge the file, write nothing"}, CMD_OPTION_JSON,
	CMD_OPTION_END};

/* Values that differ from the sheet named, -1 if there is none of that name. */
static int count_differing(const struct book *b, const struct run *r)
{
	int s = book_find_sheet(b, r->sheet), n = 0;
	for (size_t i = 0; s >= 0 && i < r->n_values; i++)
		n += r->values[i] != b->sheets[s].values[i];
	return s < 0 ? -1 : n;
}

static json_t *run_json(const struct run *r, bool stands)
{
	return json_pack("{s:s, s:s?, s:s?, s:I, s:I, s:b}", "run", r->id, "sheet",
		r->sheet[0] ? r->sheet : NULL, "date", r->date[0] ? r->date : NULL, "laps",
		(json_int_t)r->n_laps, "skipped", (json_int_t)(r->n_laps - run_fitted_laps(r)),
		"already", stands);
}

static int tell_json(const struct import *in, bool dry)
{
	json_t *list = json_array();
	for (size_t i = 0; i < in->n; i++)
		json_array_append_new(list, run_json(&in->runs[i], in->stands[i]));
	return cmd_print_json(json_pack("{s:b, s:o}", "written", !dry, "runs", list));
}

static int tell(const struct book *b, const struct import *in, bool dry)
{
	for (size_t i = 0; i < in->n; i++) {
		const struct run *r = &in->runs[i];
		size_t skipped = r->n_laps - run_fitted_laps(r);
		int differ = count_differing(b, r);
		printf("%s: %zu lap%s", r->id, r->n_laps, r->n_laps == 1 ? "" : "s");
		if (skipped > 0)
			printf(", %zu skipped", skipped);
		if (differ >= 0)
			printf(", on %s", r->sheet);
		if (differ > 0)
			printf(" but for %d value%s", differ, differ == 1 ? "" : "s");
		if (in->stands[i])
			fputs("; in the book already, just so", stdout);
		putchar('\n');
	}
	if (dry)
		puts("no fault; a dry run, nothing was written");
	return cmd_finish();
}

/* Where the runs belong in the plan, and what ticks them off later. */
static void tell_not_ticked(const struct cmd_args *args, const struct import *in,
	const struct plan_tick *ticks, const struct err *e)
{
	char dir[1024];
	cmd_fail(e);
	cmd_safe(args->word[0], dir, sizeof dir);
	fprintf(stderr,
		"treadlight: %s logged, but not ticked off in the plan; later: treadlight plan %s",
		in->n == 1 ? "the run is" : "the runs are", dir);
	bool known = false;
	for (size_t i = 0; i < in->n; i++)
		if (ticks[i].at >= 0 && !ticks[i].before) {
			fprintf(stderr, " --done %d=%s", ticks[i].at + 1, in->runs[i].id);
			known = true;
		}
	fputs(known ? "\n" : " --done N=RUN\n", stderr);
}

/* What the file ticked off in the stored plan. */
static void tell_ticks(const struct import *in, const struct plan_tick *ticks, size_t left)
{
	size_t ticked = 0, before = 0;
	for (size_t i = 0; i < in->n; i++) {
		ticked += ticks[i].at >= 0;
		before += ticks[i].before;
	}
	for (size_t i = 0; left && i < in->n; i++)
		if (ticks[i].other >= 0)
			printf("the plan: %s ticks nothing off: run %d, of its values, was driven "
			       "already, and no other is open\n",
				in->runs[i].id, ticks[i].other + 1);
	if (!ticked)
		return;
	printf("the plan: %zu run%s ticked off, %zu left", ticked, ticked == 1 ? "" : "s", left);
	if (before)
		printf("; %zu of them %s before", before, before == 1 ? "was" : "were");
	putchar('\n');
}

/* Those that the book has not yet. */
static bool write_new(const struct book *b, const struct import *in, struct err *e)
{
	struct run *runs = calloc(in->n + 1, sizeof *runs); /* what they point to is in's */
	size_t n = 0;
	if (!runs)
		return err_memory(e);
	for (size_t i = 0; i < in->n; i++)
		if (!in->stands[i])
			runs[n++] = in->runs[i];
	const bool ok = store_new_runs(b, runs, n, e);
	free(runs);
	return ok;
}

/* Writes the runs and ticks them off, all before a word is said: what is said may not arrive.
 * *ticked is false where the plan could not be; that was told. */
static int write_runs(const struct cmd_args *args, const struct book *b, const struct import *in,
	struct plan_tick *ticks, size_t *left, bool *ticked)
{
	struct err e;
	err_clear(&e);
	if (!write_new(b, in, &e))
		return cmd_fail(&e);
	cmd_unconfirmed(&e);
	*ticked = store_tick_runs(b, in->runs, in->n, ticks, left, &e);
	if (!*ticked)
		tell_not_ticked(args, in, ticks, &e);
	else
		cmd_unconfirmed(&e);
	return CMD_OK;
}

/* The same, whole, whatever signal comes. */
static int write_whole(const struct cmd_args *args, const struct book *b, const struct import *in,
	struct plan_tick *ticks, size_t *left, bool *ticked)
{
	sigset_t before;
	cmd_hold_signals(&before);
	const int status = write_runs(args, b, in, ticks, left, ticked);
	if (!cmd_may_go_on() && status == CMD_OK)
		fputs("treadlight: asked to end meanwhile; the runs are in the book\n", stderr);
	cmd_let_signals_go(&before);
	return status;
}

static int log_import(const struct cmd_args *args, const struct book *b, const struct import *in)
{
	const bool dry = cmd_has(args, "dry-run"), json = cmd_has(args, "json");
	struct plan_tick *ticks = calloc(in->n + 1, sizeof *ticks);
	size_t left = 0;
	bool ticked = true;
	int status = CMD_OK;
	if (!ticks) {
		struct err e;
		err_memory(&e);
		return cmd_fail(&e);
	}
	if (!dry)
		status = write_whole(args, b, in, ticks, &left, &ticked);
	if (status == CMD_OK) {
		status = json ? tell_json(in, dry) : tell(b, in, dry);
		if (!dry && ticked && !json) {
			tell_ticks(in, ticks, left);
			status = cmd_finish();
		}
	}
	free(ticks);
	return status == CMD_OK && !ticked ? CMD_FAILED : status;
}

static int log_file(const struct cmd_args *args, const struct book *b, const char *path)
{
	struct import in;
	struct faults f;
	faults_init(&f);
	if (!import_csv(&in, b, path, &f)) {
		int status = cmd_fail_faults(&f);
		faults_free(&f);
		return status;
	}
	int status = log_import(args, b, &in);
	import_free(&in);
	return status;
}

int log_run(const struct cmd_args *args)
{
	struct book b;
	int status;
	const char *path = cmd_value(args, "csv");
	if (!path)
		return cmd_bad("--csv FILE is missing; see treadlight log --help");
	if (!cmd_load_book(&b, args->word[0], &status))
		return status;
	status = log_file(args, &b, path);
	book_free(&b);
	return status;
}
