/* BOOK/plan.yaml: written, read back, ticked off; what it refuses. */
#include "plan/plan.h"
#include "store/plan_file.h"
#include "store/store.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static char *folder;
static struct book book;

static void copy_file(const char *from, const char *name)
{
	char *source = test_source(from), path[4200];
	size_t size;
	char *bytes = test_slurp(source, &size);
	snprintf(path, sizeof path, "%s/%s", folder, name);
	test_write(path, bytes, size);
	free(bytes);
	free(source);
}

static void setup(void)
{
	static const char *const folders[] = {
		"sheets", "runs", "profiles", "profiles/cars", "profiles/circuits"};
	char path[4200];
	folder = test_folder();
	for (size_t i = 0; i < 5; i++) {
		snprintf(path, sizeof path, "%s/%s", folder, folders[i]);
		ck_assert_int_eq(mkdir(path, 0777), 0);
	}
	copy_file("share/demo/book.yaml", "book.yaml");
	copy_file("share/demo/sheets/quick-base.yaml", "sheets/quick-base.yaml");
	copy_file("share/demo/runs/r01.yaml", "runs/r01.yaml");
	copy_file("profiles/cars/larkspur-20.yaml", "profiles/cars/larkspur-20.yaml");
	copy_file("profiles/circuits/harrow-fen.yaml", "profiles/circuits/harrow-fen.yaml");
	struct faults f;
	faults_init(&f);
	book_init(&book);
	ck_assert_msg(store_load_book(&book, folder, &f), "%s", f.n ? f.list[0].text : "");
	faults_free(&f);
}

static void teardown(void)
{
	book_free(&book);
	test_remove(folder);
	free(folder);
}

static struct plan *make(enum plan_kind kind)
{
	struct err e;
	err_clear(&e);
	struct plan_options o = {.kind = kind, .base = &book.sheets[0], .rng = 3};
	struct plan *p = plan_new(&book, &o, &e);
	ck_assert_msg(p != NULL, "%s", e.text);
	return p;
}

static struct plan *load(void)
{
	struct faults f;
	struct plan *p = NULL;
	struct err e;
	static const struct plan_noise none[RESPONSES_MAX];
	faults_init(&f);
	err_clear(&e);
	ck_assert_msg(store_load_plan(&p, &book, &f), "%s", f.n ? f.list[0].text : "");
	faults_free(&f);
	if (p)
		ck_assert(plan_complete(p, &book, none, &e));
	return p;
}

START_TEST(what_is_written_is_read)
{
	struct err e;
	err_clear(&e);
	struct plan *p = make((enum plan_kind)_i);
	ck_assert_ptr_null(load());
	ck_assert_msg(store_save_plan(&book, p, false, &e), "%s", e.text);
	struct plan *q = load();
	ck_assert_ptr_nonnull(q);
	ck_assert_int_eq(q->kind, p->kind);
	ck_assert_str_eq(q->base, p->base);
	ck_assert_uint_eq(q->laps, p->laps);
	ck_assert_uint_eq(q->rng, 3);
	ck_assert_uint_eq(q->n_runs, p->n_runs);
	ck_assert_double_eq(q->minutes, p->minutes);
	ck_assert_int_eq(
		memcmp(p->values, q->values, p->n_runs * p->n_adjustables * sizeof *p->values), 0);
	ck_assert_uint_eq(q->n_factors, p->n_factors);
	for (size_t f = 0; f < p->n_factors; f++) {
		ck_assert_str_eq(p->factors[f].id, q->factors[f].id);
		ck_assert_int_eq(p->factors[f].low, q->factors[f].low);
		ck_assert_int_eq(p->factors[f].middle, q->factors[f].middle);
		ck_assert_int_eq(p->factors[f].high, q->factors[f].high);
	}
	for (size_t i = 0; i < p->n_runs; i++) {
		ck_assert_int_eq(q->runs[i].baseline, p->runs[i].baseline);
		ck_assert_uint_eq(q->runs[i].changes, p->runs[i].changes);
	}
	plan_free(p);
	plan_free(q);
}
END_TEST

static char *slurp_plan(size_t *size)
{
	char path[4200];
	snprintf(path, sizeof path, "%s/plan.yaml", folder);
	return test_slurp(path, size);
}

/* Ticking off adds one line and leaves every other byte. */
START_TEST(a_tick_is_one_line)
{
	struct err e;
	size_t before_size, after_size;
	err_clear(&e);
	struct plan *p = make(PLAN_SCREENING);
	ck_assert(store_save_plan(&book, p, false, &e));
	char *before = slurp_plan(&before_size);
	ck_assert_msg(store_tick_plan(&book, 2, NULL, "r01", &e), "%s", e.text);
	char *after = slurp_plan(&after_size);
	char *line = strstr(after, "    done: r01\n");
	ck_assert_ptr_nonnull(line);
	size_t at = (size_t)(line - after), len = strlen("    done: r01\n");
	ck_assert_uint_eq(after_size, before_size + len);
	ck_assert_int_eq(memcmp(before, after, at), 0);
	ck_assert_str_eq(before + at, line + len);
	struct plan *q = load();
	ck_assert_str_eq(q->runs[2].done, "r01");
	ck_assert_int_eq(plan_next_run(q), 0);
	ck_assert(!store_tick_plan(&book, p->n_runs, NULL, "r01", &e));
	plan_free(p);
	plan_free(q);
	free(before);
	free(after);
}
END_TEST

static void rewrite(const char *find, const char *put)
{
	size_t size;
	char path[4200], *text = slurp_plan(&size), *at = strstr(text, find);
	struct buf out;
	ck_assert_msg(at != NULL, "%s", find);
	buf_init(&out);
	buf_add(&out, text, (size_t)(at - text));
	buf_adds(&out, put);
	buf_adds(&out, at + strlen(find));
	snprintf(path, sizeof path, "%s/plan.yaml", folder);
	test_write(path, out.data, out.len);
	buf_free(&out);
	free(text);
}

/* A run that will not be driven: its lines go, comments beside it and all else stay. */
START_TEST(a_struck_run_takes_its_lines_only)
{
	struct err e;
	size_t before_size, after_size;
	err_clear(&e);
	struct plan *p = make(PLAN_SCREENING);
	ck_assert(store_save_plan(&book, p, false, &e));
	rewrite("runs:\n", "runs: # in this order\n  # the first\n");
	char *before = slurp_plan(&before_size);
	for (size_t at = p->n_runs - 1; at > 0; at--) { /* each by itself, the last one too */
		ck_assert_msg(store_strike_plan(&book, at, p->runs[at].values, &e), "%s", e.text);
		char *after = slurp_plan(&after_size);
		size_t same = 0;
		while (same < after_size && before[same] == after[same])
			same++;
		const size_t cut = before_size - after_size, rest = after_size - same;
		ck_assert_int_eq(memcmp(before + same + cut, after + same, rest), 0);
		struct plan *q = load();
		ck_assert_uint_eq(q->n_runs, p->n_runs - 1);
		for (size_t i = 0; i < q->n_runs; i++)
			ck_assert_int_eq(memcmp(q->runs[i].values, p->runs[i + (i >= at)].values,
						 p->n_adjustables * sizeof(fix)),
				0);
		plan_free(q);
		free(after);
		char path[4200];
		snprintf(path, sizeof path, "%s/plan.yaml", folder);
		test_write(path, before, before_size);
	}
	free(before);
	plan_free(p);
}
END_TEST

/* The last run, its end written in other ways; each goes, and what was before it stays. */
START_TEST(a_run_is_struck_however_its_line_ends)
{
	static const char *const ends[] = {"", " \t\n", "  # not driven\n", " # c", "\r\n", "\n\n"};
	struct err e;
	size_t size, after_size;
	char path[4200];
	err_clear(&e);
	struct plan *p = make(PLAN_SCREENING);
	snprintf(path, sizeof path, "%s/plan.yaml", folder);
	ck_assert(store_save_plan(&book, p, false, &e));
	char *before = slurp_plan(&size);
	for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
		char *text = NULL;
		int n = asprintf(&text, "%.*s%s", (int)(size - 1), before, ends[i]);
		ck_assert_int_gt(n, 0);
		test_write(path, text, (size_t)n);
		ck_assert_msg(
			store_strike_plan(&book, p->n_runs - 1, p->runs[p->n_runs - 1].values, &e),
			"%zu: %s", i, e.text);
		char *after = slurp_plan(&after_size);
		ck_assert_int_eq(memcmp(after, before, after_size - (i == 5)), 0);
		struct plan *q = load();
		ck_assert_uint_eq(q->n_runs, p->n_runs - 1);
		plan_free(q);
		free(after);
		free(text);
	}
	free(before);
	plan_free(p);
}
END_TEST

/* Values on lines of their own are no hindrance; runs in a flow list are. */
START_TEST(a_run_in_block_lines_is_struck_and_in_flow_is_not)
{
	static const char flow[] = "runs: [{role: baseline, values: {}}]\n";
	struct err e;
	size_t size;
	char path[4200], *at;
	err_clear(&e);
	struct plan *p = make(PLAN_SCREENING);
	snprintf(path, sizeof path, "%s/plan.yaml", folder);
	ck_assert(store_save_plan(&book, p, false, &e));
	char *before = slurp_plan(&size), *text = calloc(1, 4 * size), *out = text;
	bool in = false;
	for (size_t i = 0; i < size; i++) {
		if (strncmp(before + i, "values: {", 9) == 0) {
			out += sprintf(out, "values:\n      ");
			i += 8;
			in = true;
		} else if (in && before[i] == ',') {
			out += sprintf(out, "\n      ");
			i += strspn(before + i + 1, " \n");
		} else if (in && before[i] == '}') {
			in = false;
		} else {
			*out++ = before[i];
		}
	}
	test_write(path, text, strlen(text));
	ck_assert_msg(store_strike_plan(&book, 2, p->runs[2].values, &e), "%s", e.text);
	struct plan *q = load();
	ck_assert_uint_eq(q->n_runs, p->n_runs - 1);
	plan_free(q);
	/* A plan that cannot be read, or has runs open, is not written over; one that is done is.
	 */
	err_clear(&e);
	ck_assert(!store_save_plan(&book, p, false, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "runs still to be driven"));
	at = strstr(text, "runs:");
	ck_assert_ptr_nonnull(at);
	strcpy(at, flow);
	test_write(path, text, strlen(text));
	err_clear(&e);
	ck_assert(!store_strike_plan(&book, 0, p->runs[0].values, &e));
	err_clear(&e);
	ck_assert(!store_save_plan(&book, p, false, &e) && e.text[0]);
	ck_assert(store_save_plan(&book, p, true, &e));
	for (size_t i = 0; i < p->n_runs; i++)
		ck_assert_msg(store_tick_plan(&book, i, NULL, "r01", &e), "%s", e.text);
	ck_assert(store_save_plan(&book, p, false, &e));
	free(text);
	free(before);
	plan_free(p);
}
END_TEST

static void put_plan(const char *text)
{
	char path[4200];
	snprintf(path, sizeof path, "%s/plan.yaml", folder);
	test_write(path, text, strlen(text));
}

/* `count` runs in lines, the first the baseline; each of them text alone. */
static struct buf plan_of(
	const struct plan *p, const char *head, const char *const *runs, size_t count)
{
	struct buf out, whole;
	buf_init(&out);
	buf_init(&whole);
	print_plan(&whole, &book.car, p);
	buf_adds(&out, head);
	for (size_t i = 0; i < count; i++) {
		const char *values = strstr(whole.data, "values: {");
		for (size_t k = 0; k < i; k++)
			values = strstr(values + 1, "values: {");
		const char *end = strchr(values, '}');
		char one[4000];
		snprintf(one, sizeof one, "%.*s", (int)(end + 1 - values), values);
		for (char *c = one; *c; c++)
			if (*c == '\n')
				*c = ' ';
		buf_addf(&out, runs[i], one);
	}
	buf_free(&whole);
	return out;
}

#define HEAD "kind: plan\nversion: 1\nplan: screening\nbase: quick-base\nlaps: 5\nfactors: [wing]\n"

/* Where the runs of a plan may stand, and whether the second goes without the third. */
static const struct {
	const char *head, *runs[3];
	const char *says; /* NULL: it goes */
	const char *left; /* of its text, when it went */
} shapes[] = {
	{HEAD "runs:\n", {"- role: baseline\n  %s\n", "- role: test\n  %s\n", "- role: test\n  %s"},
		NULL, ""},
	/* In braces, and still on lines of their own. */
	{HEAD "runs:\n",
		{"  - {role: baseline, %s}\n", "  - {role: test,\n     %s}  # why\n",
			"  - {role: test, %s}\n"},
		NULL, ""},
	{HEAD "runs:\n  # all\n",
		{"  - role: baseline\n    %s\n  # before\n", "  - role: test\n    %s\n  # behind\n",
			"  - role: test\n    %s\n"},
		NULL, "  # before\n  # behind\n"},
	{HEAD "runs: [\n",
		{"  {role: baseline, %s},\n", "  {role: test, %s},\n", "  {role: test, %s}]\n"},
		"lines of their own", NULL},
	{HEAD "runs: [", {"{role: baseline, %s}, ", "{role: test, %s},", "{role: test, %s}]\n"},
		"lines of their own", NULL},
	{"{kind: plan, version: 1, plan: screening, base: quick-base, laps: 5, factors: [wing], "
	 "runs: [",
		{"{role: baseline, %s}, ", "{role: test, %s},", "{role: test, %s}]}\n"},
		"lines of their own", NULL},
	/* What begins the second one's line is a number's minus, no dash of the list. */
	{HEAD "order: quick # break\nruns: [",
		{"{role: baseline, %s}, ", "{role: test, %s},\n", "{role: test, %s}]\n"},
		"lines of their own", NULL},
	{HEAD "runs:\n",
		{"- role: baseline\n  %s\n", "- ? role\n  : test\n  %s\n", "- role: test\n  %s\n"},
		NULL, ""},
	{HEAD "runs:\n",
		{"- role: baseline\n  %s\n", "-\n  role: test\n  %s\n", "- role: test\n  %s\n"},
		"lines of their own", NULL},
	/* A line that the parser sees ended, and an editor does not: the next run is on it. */
	{HEAD "runs:\n",
		{"- role: baseline\n  %s\n", "- role: test\n  %s # one\r", "- role: test\n  %s\n"},
		"could not be taken out of plan.yaml", NULL},
	{HEAD "runs:\n",
		{"- role: baseline\n  %s\n", "- role: test\n  %s # one\r", "- {role: test, %s}\n"},
		"could not be taken out of plan.yaml", NULL},
	{HEAD "runs:\n",
		{"- role: baseline\n  %s\n", "- role: test\n  %s\r", "- role: test\n  %s\n"},
		"lines of their own", NULL},
};

START_TEST(a_run_goes_where_it_stands_on_lines_of_its_own)
{
	struct err e;
	size_t size;
	struct plan *p = make(PLAN_SCREENING);
	struct buf text = plan_of(p, shapes[_i].head, shapes[_i].runs, 3);
	err_clear(&e);
	put_plan(text.data);
	if (strstr(text.data, "# break")) {
		rewrite("front-camber: -", "front-camber:\n  -");
		buf_free(&text);
		text.data = slurp_plan(&text.len);
	}
	struct plan *before = load();
	ck_assert_uint_eq(before->n_runs, 3);
	const bool ok = store_strike_plan(&book, 1, before->runs[1].values, &e);
	ck_assert_msg(ok == !shapes[_i].says, "%s\n%s", e.text, text.data);
	char *now = slurp_plan(&size);
	if (!ok) {
		ck_assert_msg(strstr(e.text, shapes[_i].says) != NULL, "%s", e.text);
		ck_assert_str_eq(now, text.data);
	} else {
		struct plan *after = load();
		ck_assert_uint_eq(after->n_runs, 2);
		for (size_t i = 0; i < 2; i++)
			ck_assert_int_eq(memcmp(after->runs[i].values, before->runs[2 * i].values,
						 book.car.n_adjustables * sizeof(fix)),
				0);
		plan_free(after);
		ck_assert_msg(strstr(now, shapes[_i].left) != NULL, "%s", now);
	}
	free(now);
	buf_free(&text);
	plan_free(before);
	plan_free(p);
}
END_TEST

/* Files in place of a plan: ticked, struck and written over as far as they are one. */
START_TEST(what_is_no_plan_is_told)
{
	static const char none[] = "kind: plan\nversion: 1\n", list[] = "- kind: plan\n";
	struct faults f;
	struct err e;
	char path[4200];
	struct plan *p = make(PLAN_SCREENING), *q;
	const char *const texts[] = {none, list};
	for (size_t i = 0; i < 2; i++) {
		put_plan(texts[i]);
		err_clear(&e);
		ck_assert(!store_tick_plan(&book, 0, NULL, "r01", &e));
		ck_assert_ptr_nonnull(strstr(e.text,
			i ? "this is a list; a plan is written as" : "the key 'plan' is missing"));
		ck_assert(!store_strike_plan(&book, 1, p->runs[1].values, &e));
		err_clear(&e);
		ck_assert(!store_strike_plan(&book, 1, p->runs[1].values, &e));
		ck_assert_ptr_nonnull(strstr(e.text,
			i ? "this is a list; a plan is written as" : "the key 'plan' is missing"));
		err_clear(&e);
		ck_assert(!store_save_plan(&book, p, false, &e));
		ck_assert_ptr_nonnull(strstr(e.text, "cannot be read as a plan; replace it"));
		faults_init(&f);
		ck_assert(!store_load_plan(&q, &book, &f) && !q && f.total > 0);
		faults_free(&f);
	}
	err_clear(&e);
	ck_assert(store_save_plan(&book, p, true, &e));
	snprintf(path, sizeof path, "%s/plan.yaml", folder);
	ck_assert_int_eq(remove(path), 0);
	ck_assert_int_eq(mkdir(path, 0777), 0);
	for (int replace = 0; replace < 2; replace++) {
		err_clear(&e);
		ck_assert(!store_save_plan(&book, p, replace, &e));
		ck_assert_ptr_nonnull(strstr(e.text, "is a folder; a regular file is needed"));
		ck_assert_str_eq(e.file, path);
	}
	plan_free(p);
}
END_TEST

/* What may be left out of a plan has a usual figure; there may be so many runs and no more. */
START_TEST(a_plan_has_so_many_runs_and_no_more)
{
	struct plan *p = make(PLAN_SCREENING), *q;
	struct faults f;
	for (int more = 0; more < 2; more++) {
		const char *const one[] = {"- role: baseline\n  %s\n"};
		struct buf text = plan_of(p, HEAD "order: quick\nruns:\n", one, 1);
		const char *run = strstr(text.data, "- role");
		char *again = strdup(run);
		ck_assert_ptr_nonnull(again);
		for (int i = 1; i < 1000 + more; i++)
			buf_adds(&text, again);
		free(again);
		put_plan(text.data);
		faults_init(&f);
		ck_assert_int_eq(store_load_plan(&q, &book, &f), !more);
		if (more) {
			ck_assert_ptr_nonnull(strstr(f.list[0].text, "1001 runs; 1 to 1000"));
			ck_assert_uint_eq(f.list[0].line, 9);
		} else {
			ck_assert(q->quick && q->rng == 1 && q->n_runs == 1000);
		}
		plan_free(q);
		faults_free(&f);
		buf_free(&text);
	}
	plan_free(p);
}
END_TEST

START_TEST(what_may_not_be_struck_stays)
{
	struct err e;
	err_clear(&e);
	struct plan *p = make(PLAN_SCREENING);
	ck_assert(!store_strike_plan(&book, 1, p->runs[1].values, &e)); /* no file */
	ck_assert(store_save_plan(&book, p, false, &e));
	err_clear(&e);
	ck_assert(!store_strike_plan(&book, 0, p->runs[0].values, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "run 1 is what the moves are told from"));
	err_clear(&e);
	ck_assert(!store_strike_plan(&book, p->n_runs, p->runs[0].values, &e));
	err_clear(&e);
	ck_assert(!store_strike_plan(&book, 1, p->runs[2].values, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "has changed meanwhile"));
	err_clear(&e);
	ck_assert(store_tick_plan(&book, 1, NULL, "r01", &e));
	ck_assert(!store_strike_plan(&book, 1, p->runs[1].values, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "was driven as r01"));
	err_clear(&e);
	rewrite("  - role: test\n    values:", "  -\n    role: test\n    values:");
	size_t before_size, after_size;
	char *before = slurp_plan(&before_size), *after;
	ck_assert(!store_strike_plan(&book, 2, p->runs[2].values, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "lines of their own"));
	after = slurp_plan(&after_size);
	ck_assert_uint_eq(before_size, after_size);
	free(before);
	free(after);
	plan_free(p);
}
END_TEST

START_TEST(an_open_plan_is_not_replaced)
{
	struct err e;
	err_clear(&e);
	struct plan *p = make(PLAN_SCREENING), *q = make(PLAN_DEFINITIVE);
	ck_assert(store_save_plan(&book, p, false, &e));
	ck_assert(!store_save_plan(&book, q, false, &e));
	ck_assert_int_eq(e.cls, ERR_INPUT);
	err_clear(&e);
	ck_assert(store_save_plan(&book, q, true, &e));
	for (size_t i = 0; i < q->n_runs; i++)
		ck_assert(store_tick_plan(&book, i, NULL, "r01", &e));
	ck_assert_msg(store_save_plan(&book, p, false, &e), "%s", e.text);
	plan_free(p);
	plan_free(q);
}
END_TEST

static void refuse(const char *find, const char *put, const char *word)
{
	struct err e;
	err_clear(&e);
	struct plan *p = make(PLAN_SCREENING);
	ck_assert(store_save_plan(&book, p, true, &e));
	plan_free(p);
	size_t size;
	char *text = slurp_plan(&size), *at = strstr(text, find), path[4200];
	ck_assert_msg(at != NULL, "%s", find);
	struct buf out;
	buf_init(&out);
	buf_add(&out, text, (size_t)(at - text));
	buf_adds(&out, put);
	buf_adds(&out, at + strlen(find));
	snprintf(path, sizeof path, "%s/plan.yaml", folder);
	test_write(path, out.data, out.len);
	struct faults f;
	faults_init(&f);
	ck_assert(!store_load_plan(&p, &book, &f));
	ck_assert_ptr_null(p);
	ck_assert_uint_ge(f.n, 1);
	ck_assert_uint_gt(f.list[0].line, 0);
	ck_assert_msg(strstr(f.list[0].text, word) != NULL, "%s", f.list[0].text);
	faults_free(&f);
	buf_free(&out);
	free(text);
}

START_TEST(bad_plans_are_told_with_their_place)
{
	refuse("kind: plan", "kind: run", "here it must be 'plan'");
	refuse("version: 1\n", "", "the key 'version' is missing");
	refuse("order: random", "order: slow", "allowed: random, quick");
	refuse("rng: 3", "rng: -3", "out of range");
	refuse("rng: 3", "rng: 1.5", "whole");
	refuse("factors: [", "factors: [[x], ", "must be an id");
	refuse("factors: [", "factors: 1 # [", "must be a list of adjustables and pairs");
	refuse("runs:\n", "runs: 1\nx:\n", "must be a list of runs");
	refuse("runs:\n", "runs: []\nx:\n", "0 runs; 1 to 1000 are allowed");
	refuse("runs:\n", "runs:\n  - one\n", "no mapping; a run of the plan");
	refuse("base: quick-base", "base: Quick", "is no id");
	refuse("plan: screening", "plan: latin", "screening");
	refuse("role: test", "role: try", "baseline");
	refuse("[wing", "[wing, wing", "twice");
	refuse("[wing", "[flap", "flap");
	refuse("laps: 5", "laps: 2.5", "whole");
	refuse("laps: 5", "laps: 0", "1");
	refuse("front-wing: 10.0", "front-wing: 10.2", "step");
	refuse("  - role: test", "  - done: r1", "role");
	refuse("rng: 3", "rng: 3\nwind: 1", "wind");
	refuse("kind: plan", "kind: sheet", "plan");
}
END_TEST

static struct test_said say(const char *const *words)
{
	const char *argv[16] = {test_program(), words[0], folder};
	size_t n = 3;
	for (size_t i = 1; words[i]; i++)
		argv[n++] = words[i];
	return test_run(argv);
}

static void expect(const char *const *words, int status, const char *out, const char *err)
{
	struct test_said said = say(words);
	ck_assert_msg(said.status == status, "%d: %s", said.status, said.err);
	ck_assert_msg(strstr(said.out, out) != NULL, "%s", said.out);
	ck_assert_msg(strstr(said.err, err) != NULL, "%s", said.err);
	test_said_free(&said);
}

#define WORDS(...)                                                                                 \
	(const char *const[])                                                                      \
	{                                                                                          \
		__VA_ARGS__, NULL                                                                  \
	}

START_TEST(the_subcommand_stores_ticks_and_prints)
{
	expect(WORDS("plan"), 2, "", "no stored plan");
	expect(WORDS("plan", "--kind", "screening", "--store"), 0, "screening plan", "");
	expect(WORDS("plan", "--kind", "screening", "--store"), 2, "", "still to be driven");
	expect(WORDS("plan", "--kind", "definitive", "--store", "--replace"), 0, "definitive", "");
	expect(WORDS("plan", "--done", "1=r01", "--json"), 0, "\"done\": \"r01\"", "");
	expect(WORDS("plan", "--print"), 0, "driven: r01", "");
	expect(WORDS("plan", "--done", "1=r77"), 2, "", "no run 'r77'");
	expect(WORDS("plan", "--done", "first"), 2, "", "3=r48");
	expect(WORDS("plan", "--store"), 2, "", "--kind");
	expect(WORDS("check"), 0, "no fault", "");
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("plan file");
	TCase *t = tcase_create("file");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_set_timeout(t, 60);
	tcase_add_loop_test(t, what_is_written_is_read, 0, 3);
	tcase_add_test(t, a_tick_is_one_line);
	tcase_add_test(t, a_struck_run_takes_its_lines_only);
	tcase_add_test(t, a_run_is_struck_however_its_line_ends);
	tcase_add_test(t, a_run_in_block_lines_is_struck_and_in_flow_is_not);
	tcase_add_loop_test(t, a_run_goes_where_it_stands_on_lines_of_its_own, 0,
		(int)(sizeof shapes / sizeof *shapes));
	tcase_add_test(t, what_is_no_plan_is_told);
	tcase_add_test(t, a_plan_has_so_many_runs_and_no_more);
	tcase_add_test(t, what_may_not_be_struck_stays);
	tcase_add_test(t, an_open_plan_is_not_replaced);
	tcase_add_test(t, bad_plans_are_told_with_their_place);
	tcase_add_test(t, the_subcommand_stores_ticks_and_prints);
	suite_add_tcase(s, t);
	return s;
}
