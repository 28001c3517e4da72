/* verify BOOK: each run against what a model that had not seen it would have said. */
#include "cmd/commands.h"
#include "model/verify.h"
#include "model/words.h"

#include <math.h>
#include <string.h>
#include <unistd.h>

const struct cmd_option verify_options[] = {
	{"last", 0, "N", false, "only the last N runs"}, CMD_OPTION_JSON, CMD_OPTION_END};

/* --- JSON ------------------------------------------------------------------ */

static void put(json_t *o, const char *key, json_t *value)
{
	json_object_set_new(o, key, value); /* without memory: a key less, and dumping fails */
}

static json_t *forecast_json(
	const struct verify *v, const struct verified *r, size_t response, const struct forecast *f)
{
	json_t *o = json_object();
	if (!f->known) {
		put(o, "why", cmd_json_text(f->why));
		return o;
	}
	put(o, "predicted", cmd_json_number(f->value));
	put(o, "low", cmd_json_number(f->low));
	put(o, "high", cmd_json_number(f->high));
	if (v->book->n_borrow)
		put(o, "borrowed-share", cmd_json_number(f->borrowed));
	put(o, "inside", json_boolean(!f->missed));
	put(o, "extrapolated", json_boolean(f->extrapolated));
	put(o, "verdict", json_string(verify_word(response, f, r->mean)));
	return o;
}

static json_t *run_json(const struct verify *v, size_t i)
{
	const struct verified_run *r = &v->runs[i];
	const struct run *run = &v->book->runs[r->run];
	json_t *o = json_object(), *list = json_array();
	char id[32];
	put(o, "run", json_string(run->id));
	put(o, "date", run->date[0] ? json_string(run->date) : json_null());
	put(o, "moved", cmd_json_text(r->moved));
	for (size_t y = 0; y < v->n_responses; y++) {
		const struct verified *by = &r->by[y];
		json_t *one = json_object();
		if (!by->measured) {
			json_decref(one);
			continue;
		}
		put(one, "response", json_string(book_response_id(v->book, y, id, sizeof id)));
		put(one, "laps", json_integer((json_int_t)by->laps));
		put(one, "measured", cmd_json_number(by->mean));
		put(one, "ahead", forecast_json(v, by, y, &by->ahead));
		put(one, "left-out", forecast_json(v, by, y, &by->left_out));
		json_array_append_new(list, one);
	}
	put(o, "responses", list);
	return o;
}

static json_t *tally_json(const struct tally *t)
{
	json_t *o = json_object();
	put(o, "predicted", json_integer((json_int_t)t->predicted));
	put(o, "missed", json_integer((json_int_t)t->missed));
	put(o, "p", cmd_json_number(t->p));
	put(o, "too-often", json_boolean(t->too_often));
	put(o, "names", cmd_json_text(t->names));
	return o;
}

static json_t *drift_json(const struct verify *v, size_t y)
{
	const struct drift *d = &v->drift[y];
	json_t *o = json_object(), *list = json_array();
	for (size_t i = 0; i < d->n; i++) {
		json_t *p = json_object();
		put(p, "run", json_string(v->book->runs[d->points[i].run].id));
		put(p, "hours", cmd_json_number(d->points[i].hours));
		put(p, "value", cmd_json_number(d->points[i].value));
		json_array_append_new(list, p);
	}
	put(o, "visits", list);
	put(o, "slope-per-hour", cmd_json_number(d->has_slope ? d->slope : NAN));
	put(o, "se", cmd_json_number(d->has_slope ? d->se : NAN));
	put(o, "p", cmd_json_number(d->has_slope ? d->p : NAN));
	return o;
}

static json_t *verify_json(const struct verify *v)
{
	json_t *o = json_object(), *runs = json_array(), *list = json_array();
	char id[32];
	for (size_t i = 0; i < v->n_runs; i++)
		json_array_append_new(runs, run_json(v, i));
	for (size_t y = 0; y < v->n_responses; y++) {
		json_t *one = json_object();
		put(one, "id", json_string(book_response_id(v->book, y, id, sizeof id)));
		put(one, "ahead", tally_json(&v->ahead[y]));
		put(one, "left-out", tally_json(&v->left_out[y]));
		put(one, "drift", drift_json(v, y));
		json_array_append_new(list, one);
	}
	put(o, "book", cmd_json_text(v->book->id));
	put(o, "runs", runs);
	put(o, "responses", list);
	return o;
}

/* --- for people -------------------------------------------------------------- */

static void print_figure(size_t response, double v)
{
	char text[32];
	if (response == RESPONSE_TIME)
		laptime_tell(v, 2, text, sizeof text);
	else
		snprintf(text, sizeof text, "%.3f", v);
	putchar(' ');
	cmd_pad(stdout, text, -9);
}

static void print_forecast(size_t response, const struct verified *r, const struct forecast *f)
{
	if (!f->known) {
		cmd_pad(stdout, "", 33);
		char why[sizeof f->why * 5];
		printf("  not predicted: %s", cmd_safe(f->why, why, sizeof why));
		return;
	}
	print_figure(response, f->value);
	print_figure(response, f->low);
	fputs(" to", stdout);
	print_figure(response, f->high);
	const struct estimate e = {.known = true, .borrowed = f->borrowed};
	char source[32];
	words_source(&e, source, sizeof source);
	printf("  %s%s%s%s%s", f->missed ? "* " : "", verify_word(response, f, r->mean),
		source[0] ? ", " : "", source,
		f->extrapolated ? ", beyond what had been driven" : "");
}

static void print_tally(const char *how, const struct tally *t)
{
	if (!t->predicted) {
		printf("%s: no run could be predicted\n", how);
		return;
	}
	printf("%s: %zu of %zu runs missed; 5 in 100 is what should be", how, t->missed,
		t->predicted);
	if (!t->too_often) {
		puts(t->missed ? ", and so many come by chance" : "");
		return;
	}
	printf(": TOO OFTEN (by chance %.2g in 100)\n", 100 * t->p);
	if (t->names[0])
		cmd_line("  the missed runs have in common: %s", t->names);
	else
		puts("  no single change stands out among the missed runs: the model may lack "
		     "something "
		     "that no run logged");
}

static void print_drift(const struct verify *v, size_t y)
{
	const struct drift *d = &v->drift[y];
	char words[WORDS_SIZE];
	if (v->base_run < 0 || d->n < 2) {
		puts("drift: no set-up was driven twice");
		return;
	}
	printf("drift of the set-up driven most often (as in run %s), at the book's conditions:\n",
		v->book->runs[v->base_run].id);
	for (size_t i = 0; i < d->n; i++) {
		const struct drift_point *p = &d->points[i];
		const struct run *r = &v->book->runs[p->run];
		printf("  %-16s  %-12s", r->date, r->id);
		print_figure(y, p->value);
		putchar('\n');
	}
	if (d->has_slope)
		cmd_line("  %s", verify_drift_words(y, d, words, sizeof words));
}

static void print_response(const struct verify *v, size_t y)
{
	char id[32];
	printf("%s (%s), each run from the runs before it:\n",
		book_response_id(v->book, y, id, sizeof id), words_unit(y));
	printf("  %-16s%4s %10s%10s%23s\n", "run", "laps", "measured", "predicted", "95 %");
	for (size_t i = 0; i < v->n_runs; i++) {
		const struct verified *r = &v->runs[i].by[y];
		if (!r->measured)
			continue;
		fputs("  ", stdout);
		cmd_pad(stdout, v->book->runs[v->runs[i].run].id, 16);
		printf("%4zu ", r->laps);
		print_figure(y, r->mean);
		print_forecast(y, r, &r->ahead);
		if (r->left_out.known && r->left_out.missed)
			fputs("; left out, missed too", stdout);
		putchar('\n');
	}
	print_tally("from the runs before", &v->ahead[y]);
	print_tally("from all other runs", &v->left_out[y]);
	print_drift(v, y);
	putchar('\n');
}

/* Two fits a run: a season's take a minute. A terminal is told how far it is; Ctrl-C stops. */
static struct verify *verify_told(const struct book *b, size_t last, struct err *err)
{
	struct verify *v = verify_start(b, last, err);
	const size_t all = v ? v->steps_left : 0;
	const bool tell = all > 4 * VERIFY_AT_ONCE && isatty(STDERR_FILENO);
	bool ok = v != NULL;
	while (ok && v->steps_left) {
		ok = verify_steps(v, VERIFY_AT_ONCE, err);
		if (tell)
			fprintf(stderr, "\r%zu of %zu fits; Ctrl-C stops ", all - v->steps_left,
				all);
	}
	if (tell)
		fputc('\n', stderr);
	if (ok)
		return v;
	verify_free(v);
	return NULL;
}

int verify_run(const struct cmd_args *args)
{
	struct book book;
	struct err err;
	long last = 0;
	int status = CMD_USAGE;
	err_clear(&err);
	if (!cmd_whole(args, "last", 1, 100000, &last) ||
		!cmd_load_book(&book, args->word[0], &status))
		return status;
	struct verify *v = verify_told(&book, (size_t)last, &err);
	if (!v) {
		status = cmd_fail(&err);
	} else if (cmd_has(args, "json")) {
		status = cmd_print_json(verify_json(v));
	} else if (cmd_say_empty(&book, stdout)) {
		status = cmd_finish();
	} else {
		for (size_t y = 0; y < v->n_responses; y++)
			print_response(v, y);
		status = cmd_finish();
	}
	verify_free(v);
	book_free(&book);
	return status;
}
