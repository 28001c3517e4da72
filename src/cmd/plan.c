/* treadlight plan: test runs to drive, or the one that teaches most now. */
#include "cmd/plan.h"
#include "cmd/commands.h"
#include "model/model.h"
#include "plan/plan.h"
#include "store/plan_file.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const struct cmd_option plan_options[] = {
	{"kind", 0, "one-at-a-time|screening|definitive|next", false,
		"how the runs are chosen; without: the book's stored plan"},
	{"base", 0, "SHEET", false, "the sheet that moves start from; else the reference"},
	{"factor", 0, "FACTOR", true,
		"an adjustable, or a pair for both members alike; else all not frozen"},
	{"range", 0, "ID=LOW:HIGH", true,
		"levels in place of the soft limits (a pair: moves from the base)"},
	{"laps", 0, "N", false, "timed laps of the whole plan (next: of the run)"},
	{"minutes", 0, "M", false, "garage time of the whole plan"},
	{"fold-over", 0, NULL, false, "screening: every run once more with all signs turned"},
	{"order", 0, "random|quick", false, "random, or quick to spare garage time"},
	{"rng", 0, "N", false, "seed of the random order; else 1"},
	{"sigma-run", 0, "[RESPONSE=]X", true,
		"scatter between runs, in place of the book's (lap time: s)"},
	{"sigma-lap", 0, "[RESPONSE=]X", true, "scatter between laps of a run"},
	{"store", 0, NULL, false, "keep the plan in the book, as BOOK/plan.yaml"},
	{"replace", 0, NULL, false,
		"--store: in place of a plan not finished; --done: of the run noted there"},
	{"done", 0, "N=RUN", true, "run N of the stored plan was driven as RUN"},
	{"print", 0, NULL, false, "a run sheet for the clipboard"},
	{"csv", 0, NULL, false, "a table of its laps to fill in, for log --csv"}, CMD_OPTION_JSON,
	CMD_OPTION_END};

struct request {
	struct book book;
	struct model *model;
	struct plan_options options;
	const char *factors[CMD_OPTIONS_MAX];
	struct plan_range ranges[CMD_OPTIONS_MAX];
};

static bool read_range(const struct cmd_args *a, size_t i, struct plan_range *r)
{
	const char *text = cmd_value_nth(a, "range", i);
	const char *is = strchr(text, '='), *to = is ? strchr(is, ':') : NULL;
	size_t id = is ? (size_t)(is - text) : 0;
	if (to && text_is_id(text, id) &&
		fix_parse(is + 1, (size_t)(to - is - 1), &r->low) == NUM_OK &&
		fix_parse(to + 1, strlen(to + 1), &r->high) == NUM_OK) {
		memcpy(r->id, text, id);
		r->id[id] = '\0';
		return true;
	}
	cmd_bad("--range %s; allowed: ID=LOW:HIGH, such as front-wing=6:12", text);
	return false;
}

static bool read_lists(const struct cmd_args *a, struct request *q)
{
	struct plan_options *o = &q->options;
	while (cmd_value_nth(a, "factor", o->n_factors)) {
		q->factors[o->n_factors] = cmd_value_nth(a, "factor", o->n_factors);
		o->n_factors++;
	}
	for (; cmd_value_nth(a, "range", o->n_ranges); o->n_ranges++)
		if (!read_range(a, o->n_ranges, &q->ranges[o->n_ranges]))
			return false;
	o->factors = q->factors;
	o->ranges = q->ranges;
	return true;
}

static int find_response(const struct book *b, const char *text, size_t len)
{
	char id[32];
	for (size_t y = 0; y < 1 + b->n_channels; y++)
		if (strncmp(book_response_id(b, y, id, sizeof id), text, len) == 0 && !id[len])
			return (int)y;
	return -1;
}

/* "0.1" or "wear-front=0.05"; *y is the response. */
static bool read_sigma(
	const struct request *q, const char *option, const char *text, int *y, double *v)
{
	const char *is = strchr(text, '=');
	*y = is ? find_response(&q->book, text, (size_t)(is - text)) : RESPONSE_TIME;
	const char *number = is ? is + 1 : text;
	if (*y >= 0 && num_parse(number, strlen(number), v) == NUM_OK && *v >= 0)
		return true;
	cmd_bad("--%s %s; allowed: a number not below 0, or RESPONSE=NUMBER with a response of the "
		"book (time, wear-...)",
		option, text);
	return false;
}

static bool read_noise(const struct cmd_args *a, struct request *q)
{
	static const char *const options[] = {"sigma-run", "sigma-lap"};
	for (size_t k = 0; k < 2; k++)
		for (size_t i = 0; cmd_value_nth(a, options[k], i); i++) {
			int y;
			double v;
			if (!read_sigma(q, options[k], cmd_value_nth(a, options[k], i), &y, &v))
				return false;
			struct plan_noise *n = &q->options.noise[y];
			n->has = true;
			*(k ? &n->lap : &n->run) = v;
		}
	return true;
}

static bool read_order(const struct cmd_args *a, struct plan_options *o)
{
	const char *order = cmd_value(a, "order");
	o->quick = order && strcmp(order, "quick") == 0;
	if (!order || o->quick || strcmp(order, "random") == 0)
		return true;
	cmd_bad("--order %s; allowed: random or quick", order);
	return false;
}

static bool read_kind(const struct cmd_args *a, struct plan_options *o)
{
	const char *kind = cmd_value(a, "kind");
	if (kind && !plan_kind_parse(kind, &o->kind)) {
		cmd_bad("--kind %s; allowed: one-at-a-time, screening, definitive or next", kind);
		return false;
	}
	if (kind ? cmd_has(a, "done") : cmd_has(a, "store")) {
		cmd_bad("--%s; allowed: --store with --kind, --done without",
			kind ? "done" : "store");
		return false;
	}
	return true;
}

static bool read_numbers(const struct cmd_args *a, struct plan_options *o)
{
	long laps = 0, rng = 1;
	double minutes = 0;
	if (!cmd_whole(a, "laps", 1, 100000, &laps) || !cmd_whole(a, "rng", 0, 2147483647, &rng) ||
		!cmd_number(a, "minutes", 0, 1e6, &minutes))
		return false;
	o->lap_budget = (size_t)laps;
	o->rng = (unsigned long)rng;
	o->has_minutes = cmd_has(a, "minutes");
	o->minutes = minutes;
	return true;
}

/* All that needs no book. */
static bool read_words(const struct cmd_args *a, struct request *q)
{
	q->options.fold_over = cmd_has(a, "fold-over");
	return read_kind(a, &q->options) && read_order(a, &q->options) &&
	       read_numbers(a, &q->options) && read_lists(a, q);
}

static bool find_base(const struct cmd_args *a, struct request *q)
{
	const char *id = cmd_value(a, "base");
	q->options.base = cmd_sheet(&q->book, id ? id : q->book.reference);
	return q->options.base != NULL;
}

static struct plan *make_plan(const struct cmd_args *a, struct request *q, struct err *err)
{
	struct plan *p = q->options.kind == PLAN_NEXT ? plan_next(q->model, &q->options, err)
						      : plan_new(&q->book, &q->options, err);
	if (p && cmd_has(a, "store") && !store_save_plan(&q->book, p, cmd_has(a, "replace"), err)) {
		plan_free(p);
		return NULL;
	}
	if (p)
		cmd_unconfirmed(err);
	return p;
}

/* With `replace` in place of the run that is noted there by now. */
static bool tick_at(
	const struct book *b, size_t at, const char *run_id, bool replace, struct err *err)
{
	struct plan *p = NULL;
	struct faults faults;
	if (!replace)
		return store_tick_plan(b, at, NULL, run_id, err);
	faults_init(&faults);
	bool ok = store_load_plan(&p, b, &faults);
	if (!ok)
		*err = faults.n ? faults.list[0] : faults.oom;
	faults_free(&faults);
	ok = ok && store_tick_plan(b, at, p && at < p->n_runs ? &p->runs[at] : NULL, run_id, err);
	plan_free(p);
	return ok;
}

/* "3=r48": the book must have the run. */
static bool tick(const struct request *q, const char *text, bool replace, struct err *err)
{
	const char *is = strchr(text, '=');
	char id[ID_SIZE];
	double n;
	bool good = is && num_parse(text, (size_t)(is - text), &n) == NUM_OK && n >= 1 &&
		    n <= 1e6 && n == floor(n) && text_is_id(is + 1, strlen(is + 1));
	if (!good)
		return err_input(err,
			"--done %s; allowed: N=RUN, a run of the plan and what it was "
			"driven as, such as 3=r48",
			text);
	memcpy(id, is + 1, strlen(is + 1) + 1);
	if (book_find_run(&q->book, id) < 0)
		return err_input(err, "--done %s: the book has no run '%s'", text, id);
	return tick_at(&q->book, (size_t)n - 1, id, replace, err);
}

/* Runs were ticked off, though what comes behind failed: that is no reason to do it again. */
static void tell_ticked(const struct cmd_args *a, size_t n)
{
	if (n == 0)
		return;
	fputs("treadlight: ticked off:", stderr);
	for (size_t i = 0; i < n; i++)
		fprintf(stderr, " %s", cmd_value_nth(a, "done", i)); /* numbers and ids */
	fputs("; but then:\n", stderr);
}

/* As the book has it, reckoned whole. */
static struct plan *load_stored(struct request *q, struct err *err)
{
	struct faults faults;
	struct plan *p = NULL;
	faults_init(&faults);
	if (!store_load_plan(&p, &q->book, &faults))
		*err = faults.n ? faults.list[0] : faults.oom;
	else if (!p)
		err_input(err, "the book has no stored plan; make one with --kind one-at-a-time, "
			       "screening, definitive or next, and --store");
	faults_free(&faults);
	if (p && !plan_complete(p, &q->book, q->options.noise, err)) {
		plan_free(p);
		return NULL;
	}
	return p;
}

static struct plan *stored_plan(const struct cmd_args *a, struct request *q, struct err *err)
{
	const bool replace = cmd_has(a, "replace");
	const char *done;
	size_t ticked = 0;
	bool ok = true;
	while (ok && (done = cmd_value_nth(a, "done", ticked))) {
		ok = tick(q, done, replace, err);
		if (ok)
			cmd_unconfirmed(err);
		ticked += ok;
	}
	struct plan *p = ok ? load_stored(q, err) : NULL;
	if (!p)
		tell_ticked(a, ticked);
	return p;
}

static int print_sheet(const struct plan *p, const struct book *b)
{
	struct buf out;
	buf_init(&out);
	plan_print_sheet(p, b, &out);
	if (out.failed || !out.data) {
		struct err e;
		err_memory(&e);
		buf_free(&out);
		return cmd_fail(&e);
	}
	fwrite(out.data, 1, out.len, stdout);
	buf_free(&out);
	return cmd_finish();
}

/* What to do with it; the last line, so that it is seen. */
static void tell_next(const struct cmd_args *a, const struct plan *p)
{
	char dir[1024];
	cmd_safe(a->word[0], dir, sizeof dir);
	if (cmd_has(a, "kind") && !cmd_has(a, "store"))
		puts("\nNot kept: --store keeps it in the book");
	else if (plan_next_run(p) >= 0)
		printf("\nNext: treadlight plan %s --print for a run sheet, --csv for a table to "
		       "fill in and\n"
		       "log, or n on the Runs page of the workbench\n",
			dir);
}

static int tell_plan(const struct cmd_args *a, const struct request *q, const struct plan *p)
{
	if (cmd_has(a, "json"))
		return cmd_print_json(cmd_plan_json(p, &q->book));
	if (cmd_has(a, "print"))
		return print_sheet(p, &q->book);
	if (cmd_has(a, "csv")) {
		cmd_plan_csv(p, &q->book);
		return cmd_finish();
	}
	cmd_plan_table(p, &q->book, q->options.noise);
	tell_next(a, p);
	return cmd_finish();
}

static int plan_with_book(const struct cmd_args *a, struct request *q)
{
	struct err err;
	err_clear(&err);
	if (!find_base(a, q))
		return CMD_USAGE;
	q->model = model_new(&q->book, &err);
	if (!q->model)
		return cmd_fail(&err);
	plan_book_noise(q->model, q->options.noise);
	q->options.borrowing = q->model;
	if (!read_noise(a, q))
		return CMD_USAGE;
	struct plan *p = cmd_has(a, "kind") ? make_plan(a, q, &err) : stored_plan(a, q, &err);
	if (!p)
		return cmd_fail(&err);
	int status = tell_plan(a, q, p);
	plan_free(p);
	return status;
}

int plan_run(const struct cmd_args *args)
{
	struct request *q = calloc(1, sizeof *q);
	int status = CMD_USAGE;
	if (!q) {
		struct err err;
		err_memory(&err);
		return cmd_fail(&err);
	}
	if (read_words(args, q) && cmd_load_book(&q->book, args->word[0], &status)) {
		status = plan_with_book(args, q);
		model_free(q->model);
		book_free(&q->book);
	}
	free(q);
	return status;
}
