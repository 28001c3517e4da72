/* check: every fault of a book, or of one profile. */
#include "cmd/commands.h"
#include "store/plan_file.h"
#include "store/store.h"

#include <string.h>
#include <sys/stat.h>

const struct cmd_option check_options[] = {CMD_OPTION_JSON, CMD_OPTION_END};

static json_t *fault_json(const struct err *e)
{
	return json_pack("{s:o, s:o, s:o, s:o}", "file", cmd_json_text(e->file), "line",
		e->line ? json_integer((json_int_t)e->line) : json_null(), "column",
		e->line ? json_integer((json_int_t)e->col) : json_null(), "text",
		cmd_json_text(e->text));
}

static json_t *faults_json(const struct faults *f)
{
	json_t *list = json_array();
	for (size_t i = 0; i < f->n; i++)
		json_array_append_new(list, fault_json(&f->list[i]));
	return list;
}

/* What was looked at, for both forms of the answer. */
struct found {
	const char *path;
	const char *kind; /* "book", "car", "circuit"; NULL: could not be told */
	size_t sheets, runs, laps, borrowed;
};

static int report_json(const struct found *found, const struct faults *f)
{
	json_t *doc = json_pack("{s:o, s:s?, s:b, s:o, s:I}", "path", cmd_json_text(found->path),
		"kind", found->kind, "good", f->total == 0, "faults", faults_json(f), "total",
		(json_int_t)f->total);
	if (doc && f->total == 0 && strcmp(found->kind, "book") == 0) {
		json_object_set_new(doc, "sheets", json_integer((json_int_t)found->sheets));
		json_object_set_new(doc, "runs", json_integer((json_int_t)found->runs));
		json_object_set_new(doc, "laps", json_integer((json_int_t)found->laps));
		json_object_set_new(doc, "borrowed", json_integer((json_int_t)found->borrowed));
	}
	return cmd_print_json(doc);
}

static int report_text(const struct found *found)
{
	char path[1024];
	cmd_safe(found->path, path, sizeof path);
	if (strcmp(found->kind, "book") == 0) {
		printf("%s: no fault in the book; sheets: %zu, runs: %zu, laps: %zu", path,
			found->sheets, found->runs, found->laps);
		if (found->borrowed)
			printf(", books borrowed from: %zu", found->borrowed);
		putchar('\n');
	} else {
		printf("%s: no fault in this %s\n", path, found->kind);
	}
	return cmd_finish();
}

static void check_book(struct found *found, struct faults *f)
{
	struct book b;
	book_init(&b);
	found->kind = "book";
	if (!store_load_book(&b, found->path, f))
		return;
	found->sheets = b.n_sheets;
	found->runs = b.n_runs;
	found->borrowed = b.n_borrow;
	for (size_t i = 0; i < b.n_runs; i++)
		found->laps += b.runs[i].n_laps;
	struct plan *plan = NULL;
	store_load_plan(&plan, &b, f);
	plan_free(plan);
	book_free(&b);
}

int check_run(const struct cmd_args *args)
{
	struct found found = {.path = args->word[0]};
	struct faults faults;
	struct stat st;
	faults_init(&faults);
	if (stat(found.path, &st) == 0 && !S_ISDIR(st.st_mode))
		store_check_profile(found.path, &found.kind, &faults);
	else
		check_book(&found, &faults);
	int status = CMD_OK;
	if (faults.total > 0)
		status = cmd_fail_faults(&faults);
	int said = CMD_OK;
	if (cmd_has(args, "json"))
		said = report_json(&found, &faults);
	else if (faults.total == 0)
		said = report_text(&found);
	faults_free(&faults);
	return status != CMD_OK ? status : said;
}
