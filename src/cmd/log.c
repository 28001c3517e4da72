/* log: runs from a CSV file into the book, all of them or none. */
#include "cmd/commands.h"
#include "store/import.h"
#include "store/plan_file.h"
#include "store/store.h"

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

static json_t *run_json(const struct run *r)
{
	return json_pack("{s:s, s:s?, s:s?, s:I, s:I}", "run", r->id, "sheet",
		r->sheet[0] ? r->sheet : NULL, "date", r->date[0] ? r->date : NULL, "laps",
		(json_int_t)r->n_laps, "skipped", (json_int_t)(r->n_laps - run_fitted_laps(r)));
}

static int tell_json(const struct import *in, bool dry)
{
	json_t *list = json_array();
	for (size_t i = 0; i < in->n; i++)
		json_array_append_new(list, run_json(&in->runs[i]));
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
		putchar('\n');
	}
	if (dry)
		puts("no fault; a dry run, nothing was written");
	return cmd_finish();
}

/* The first run still to be driven whose values these are; -1: none. */
static int planned(const struct plan *p, const struct run *r)
{
	for (size_t i = 0; i < p->n_runs; i++)
		if (!p->runs[i].done[0] &&
			memcmp(p->runs[i].values, r->values, r->n_values * sizeof *r->values) == 0)
			return (int)i;
	return -1;
}

/* Ticks off in the stored plan what the file brought. The runs are in the book by now: what goes
 * wrong here is told and fails nothing. */
static void tick_plan(const struct book *b, const struct import *in, bool quiet)
{
	struct plan *p = NULL;
	struct faults f;
	struct err e;
	size_t ticked = 0, left = 0;
	faults_init(&f);
	err_clear(&e);
	if (!store_load_plan(&p, b, &f))
		cmd_fail_faults(&f);
	for (size_t i = 0; p && i < in->n; i++) {
		const int at = planned(p, &in->runs[i]);
		if (at < 0)
			continue;
		if (!store_tick_plan(b, (size_t)at, in->runs[i].id, &e)) {
			cmd_fail(&e);
			break;
		}
		memcpy(p->runs[at].done, in->runs[i].id, ID_SIZE);
		ticked++;
	}
	for (size_t i = 0; p && i < p->n_runs; i++)
		left += !p->runs[i].done[0];
	if (p && ticked && !quiet)
		printf("the plan: %zu run%s ticked off, %zu left\n", ticked, ticked == 1 ? "" : "s",
			left);
	plan_free(p);
	faults_free(&f);
}

static int log_file(const struct cmd_args *args, const struct book *b, const char *path)
{
	struct import in;
	struct faults f;
	struct err e;
	bool dry = cmd_has(args, "dry-run");
	int status;
	faults_init(&f);
	err_clear(&e);
	if (!import_csv(&in, b, path, &f)) {
		status = cmd_fail_faults(&f);
		faults_free(&f);
		return status;
	}
	if (!dry && !store_new_runs(b, in.runs, in.n, &e)) {
		status = cmd_fail(&e);
		import_free(&in);
		return status;
	}
	const bool json = cmd_has(args, "json");
	status = json ? tell_json(&in, dry) : tell(b, &in, dry);
	if (!dry && status == CMD_OK) {
		tick_plan(b, &in, json);
		status = cmd_finish();
	}
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
