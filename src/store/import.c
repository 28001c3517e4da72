#include "store/import_parts.h"

#include "store/store.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const fixed_names[C_FIXED] = {"run", "sheet", "date", "driver", "session",
	"compound", "fuel", "fuel-per-lap", "track-temp", "tyre-age", "lap", "time", "effort",
	"skip"};
/* The longer prefixes first, so that wear- does not take wear-total-. */
static const struct {
	const char *prefix;
	enum column what;
} channel_names[] = {{"worn-at-start-", C_WORN_AT_START}, {"wear-total-", C_WEAR_TOTAL},
	{"worn-", C_WORN}, {"wear-", C_WEAR}};

void import_free(struct import *in)
{
	for (size_t i = 0; i < in->n; i++)
		run_free(&in->runs[i]);
	free(in->runs);
	free(in->stands);
	in->runs = NULL;
	in->stands = NULL;
	in->n = 0;
}

static bool is_lap_level(enum column c)
{
	return c == C_LAP || c == C_TIME || c == C_EFFORT || c == C_SKIP || c == C_WEAR ||
	       c == C_WORN || c == C_SEGMENT_TIME || c == C_SEGMENT_WEAR;
}

/* "segment-s1-time", "segment-s1-wear-front": the ids are matched, as either may hold a '-'. */
static bool find_segment(const struct book *b, const char *name, struct head *h)
{
	static const char prefix[] = "segment-";
	if (strncmp(name, prefix, sizeof prefix - 1) != 0)
		return false;
	name += sizeof prefix - 1;
	for (size_t i = 0; i < b->circuit.n_segments; i++) {
		const char *id = b->circuit.segments[i].id;
		const size_t len = strlen(id);
		if (strncmp(name, id, len) != 0)
			continue;
		const char *rest = name + len;
		const int ch =
			strncmp(rest, "-wear-", 6) == 0 ? book_find_channel(b, rest + 6) : -1;
		if (strcmp(rest, "-time") == 0)
			*h = (struct head){C_SEGMENT_TIME, 0, i};
		else if (ch >= 0)
			*h = (struct head){C_SEGMENT_WEAR, (size_t)ch, i};
		else
			continue;
		return true;
	}
	return false;
}

static bool find_column(const struct book *b, const struct cell *c, struct head *h)
{
	for (int i = 0; i < C_FIXED; i++)
		if (strcmp(c->text, fixed_names[i]) == 0) {
			*h = (struct head){(enum column)i, 0, 0};
			return true;
		}
	for (size_t i = 0; i < sizeof channel_names / sizeof channel_names[0]; i++) {
		size_t len = strlen(channel_names[i].prefix);
		if (strncmp(c->text, channel_names[i].prefix, len) != 0)
			continue;
		int ch = book_find_channel(b, c->text + len);
		if (ch >= 0) {
			*h = (struct head){channel_names[i].what, (size_t)ch, 0};
			return true;
		}
	}
	int a = car_find_adjustable(&b->car, c->text);
	if (a < 0 && find_segment(b, c->text, h))
		return true;
	*h = (struct head){C_VALUE, a < 0 ? 0 : (size_t)a, 0};
	return a >= 0;
}

static void unknown_column(struct work *w, const struct cell *c)
{
	char shown[SHOW_SIZE], channels[60] = "";
	for (size_t i = 0; i < w->b->n_channels; i++) {
		strcat(channels, i ? "|" : "");
		strcat(channels, w->b->channels[i]);
	}
	if (strchr(c->text, ';') && w->n_heads == 1)
		import_fault(w, c, "the columns are parted by semicolons; commas are read");
	else
		import_fault(w, c,
			"unknown column '%s'; allowed: run, sheet, date, driver, session, "
			"compound, fuel, "
			"fuel-per-lap, track-temp, tyre-age, lap, time, effort, skip, "
			"wear-, worn-, worn-at-start- or wear-total-%s, segment-ID-time or "
			"segment-ID-wear-%s, and the car's adjustables",
			import_show(c, shown), channels, channels);
}

/* Each column once; false: out of memory. */
static bool check_twice(struct work *w, const struct row *row)
{
	struct words seen = {NULL};
	for (size_t i = 0; i < row->n && !w->memory; i++) {
		const struct cell *c = &w->t.cells[row->first + i];
		const ptrdiff_t at = words_place(&seen, c->text, (ptrdiff_t)i);
		w->memory = at == WORDS_MEMORY;
		if (at >= 0 && at < (ptrdiff_t)i)
			import_fault(w, c, "the column '%.60s' stands twice; keep one", c->text);
	}
	words_free(&seen);
	return !w->memory;
}

static void need_column(struct work *w, enum column what)
{
	for (size_t i = 0; i < w->n_heads; i++)
		if (w->heads[i].what == what)
			return;
	import_fault(w, &w->t.cells[0], "the column '%s' is missing; every row needs it",
		fixed_names[what]);
}

/* False: without good columns the rows say nothing. */
static bool read_header(struct work *w)
{
	const struct row *row = &w->t.rows[0];
	size_t before = w->faults->total;
	w->n_heads = row->n;
	w->heads = calloc(row->n + 1, sizeof *w->heads);
	if (!w->heads)
		return !(w->memory = true);
	for (size_t i = 0; i < row->n; i++) {
		const struct cell *c = &w->t.cells[row->first + i];
		/* One with a zero byte is none, though it may begin as one. */
		if (strlen(c->text) != c->len || !find_column(w->b, c, &w->heads[i]))
			unknown_column(w, c);
	}
	if (!check_twice(w, row))
		return false;
	if (w->faults->total == before) {
		need_column(w, C_RUN);
		need_column(w, C_TIME);
	}
	return w->faults->total == before;
}

/* --- rows --- */

static void note_taken(struct work *w)
{
	for (size_t i = 0; i < w->b->n_runs && !w->memory; i++)
		w->memory =
			words_place(&w->taken, w->b->runs[i].id, (ptrdiff_t)i + 1) == WORDS_MEMORY;
}

static bool drafts_grow(struct work *w)
{
	if (w->n < w->cap)
		return true;
	size_t cap = w->cap ? 2 * w->cap : 16;
	struct draft *drafts = realloc(w->drafts, cap * sizeof *drafts);
	if (drafts)
		w->drafts = drafts;
	struct run *runs = realloc(w->in->runs, cap * sizeof *runs);
	if (runs)
		w->in->runs = runs;
	if (!drafts || !runs)
		return !(w->memory = true);
	for (size_t i = 0; i < w->n; i++)
		w->drafts[i].run = &w->in->runs[i];
	w->cap = cap;
	return true;
}

static struct draft *new_draft(struct work *w, const struct cell *c, const char *id, size_t taken)
{
	if (!drafts_grow(w))
		return NULL;
	struct draft *d = &w->drafts[w->n];
	struct run *r = &w->in->runs[w->n];
	memset(d, 0, sizeof *d);
	run_init(r);
	w->in->n = ++w->n;
	memcpy(r->id, id, ID_SIZE);
	d->run = r;
	d->first = c;
	d->taken = taken;
	d->given = calloc(w->n_heads + 1, sizeof *d->given);
	r->n_values = w->b->car.n_adjustables;
	r->values = calloc(r->n_values + 1, sizeof *r->values);
	if (!d->given || !r->values) {
		w->memory = true;
		return NULL;
	}
	return d;
}

static struct draft *draft_of(struct work *w, const struct cell *c)
{
	char id[ID_SIZE] = "";
	if (!import_id(w, c, id))
		return NULL;
	const ptrdiff_t at = words_place(&w->ids, c->text, (ptrdiff_t)w->n);
	if (at >= 0 && at < (ptrdiff_t)w->n)
		return &w->drafts[at];
	const ptrdiff_t taken = words_place(&w->taken, c->text, 0);
	if (at == WORDS_MEMORY || taken == WORDS_MEMORY) {
		w->memory = true;
		return NULL;
	}
	if (w->n < IMPORT_RUNS_MAX)
		return new_draft(w, c, id, (size_t)taken);
	import_fault(w, c, "run %s is one too many; a file brings at most %d runs, log it in parts",
		id, IMPORT_RUNS_MAX);
	w->full = true;
	return NULL;
}

static struct lap *add_lap(struct work *w, struct draft *d, const struct cell *c)
{
	struct run *r = d->run;
	if (r->n_laps == d->laps_cap) {
		size_t cap = d->laps_cap ? 2 * d->laps_cap : 16;
		struct lap *laps = realloc(r->laps, cap * sizeof *laps);
		if (laps)
			r->laps = laps;
		const struct cell **at = realloc(d->lap_at, cap * sizeof *at);
		if (at)
			d->lap_at = at;
		long *number = realloc(d->number, cap * sizeof *number);
		if (number)
			d->number = number;
		if (!laps || !at || !number) {
			w->memory = true;
			return NULL;
		}
		d->laps_cap = cap;
	}
	struct lap *lap = &r->laps[r->n_laps];
	memset(lap, 0, sizeof *lap);
	d->lap_at[r->n_laps] = c;
	d->number[r->n_laps] = (long)r->n_laps + 1;
	r->n_laps++;
	return lap;
}

static void lap_number(struct work *w, const struct cell *c, struct draft *d)
{
	char shown[SHOW_SIZE];
	double v = 0;
	size_t i = d->run->n_laps - 1;
	if (num_parse(c->text, c->len, &v) != NUM_OK || v < 1 || v > 100000 ||
		v != (double)(long)v) {
		import_fault(w, c, "lap '%s' is no whole number; laps count from 1",
			import_show(c, shown));
		d->number[i] = 0;
		return;
	}
	d->number[i] = (long)v;
	d->lap_at[i] = c;
}

/* A figure of one segment of the lap. */
static void segment_cell(
	struct work *w, const struct cell *c, const struct head *h, struct lap *lap)
{
	const size_t n = w->b->circuit.n_segments;
	if (!lap->segments) {
		lap->segments = calloc(n + 1, sizeof *lap->segments);
		if (!lap->segments) {
			w->memory = true;
			return;
		}
		lap->n_segments = n;
	}
	struct lap_segment *s = &lap->segments[h->segment];
	if (h->what == C_SEGMENT_TIME) {
		import_time(w, c, &s->time);
		s->has_time = s->time > 0;
	} else {
		s->has_wear[h->index] = import_number(w, c, range_wear, &s->wear[h->index]);
	}
}

static void lap_cell(struct work *w, const struct cell *c, const struct head *h, struct draft *d,
	struct lap *lap)
{
	if (h->what == C_TIME)
		import_time(w, c, &lap->time);
	else if (h->what == C_LAP)
		lap_number(w, c, d);
	else if (c->len == 0)
		return;
	else if (h->what == C_EFFORT)
		lap->has_effort = import_number(w, c, range_effort, &lap->effort);
	else if (h->what == C_SKIP)
		import_skip(w, c, lap);
	else if (h->what == C_WEAR)
		lap->has_wear[h->index] = import_number(w, c, range_wear, &lap->wear[h->index]);
	else if (h->what == C_WORN)
		lap->has_worn[h->index] = import_number(w, c, range_wear, &lap->worn[h->index]);
	else
		segment_cell(w, c, h, lap);
}

static void take_run_cell(struct work *w, const struct cell *c, const struct head *h, struct run *r)
{
	size_t i = h->index;
	switch (h->what) {
	case C_SHEET:
		import_id(w, c, r->sheet);
		break;
	case C_DATE:
		import_date(w, c, r);
		break;
	case C_DRIVER:
		import_id(w, c, r->driver);
		break;
	case C_SESSION:
		import_id(w, c, r->session);
		break;
	case C_COMPOUND:
		import_id(w, c, r->compound);
		break;
	case C_FUEL:
		import_optional(w, c, range_fuel, &r->fuel);
		break;
	case C_FUEL_PER_LAP:
		import_optional(w, c, range_fuel, &r->fuel_per_lap);
		break;
	case C_TRACK_TEMP:
		import_optional(w, c, range_temp, &r->track_temp);
		break;
	case C_TYRE_AGE:
		import_optional(w, c, range_age, &r->tyre_age);
		break;
	case C_WORN_AT_START:
		r->has_worn_at_start[i] = import_number(w, c, range_wear, &r->worn_at_start[i]);
		break;
	case C_WEAR_TOTAL:
		r->has_wear_total[i] = import_number(w, c, range_wear, &r->wear_total[i]);
		break;
	default:
		break; /* values wait for the sheet; laps are not of a run */
	}
}

static void run_cell(struct work *w, const struct cell *c, size_t column, struct draft *d)
{
	const struct cell *before = d->given[column];
	char shown[SHOW_SIZE], was[SHOW_SIZE];
	if (c->len == 0)
		return;
	if (!before) {
		d->given[column] = c;
		take_run_cell(w, c, &w->heads[column], d->run);
	} else if (before->len != c->len || memcmp(before->text, c->text, c->len) != 0) {
		import_fault(w, c, "'%s' differs from '%s' on line %zu; a run has one %s",
			import_show(c, shown), import_show(before, was), before->line,
			w->t.cells[column].text);
	}
}

static void read_row(struct work *w, const struct row *row)
{
	const struct cell *cells = &w->t.cells[row->first];
	size_t run_at = 0;
	if (row->n != w->n_heads) {
		import_fault(w, cells, "the row has %zu fields; the header has %zu columns", row->n,
			w->n_heads);
		return;
	}
	while (w->heads[run_at].what != C_RUN)
		run_at++;
	struct draft *d = draft_of(w, &cells[run_at]);
	struct lap *lap = d ? add_lap(w, d, &cells[run_at]) : NULL;
	if (!lap)
		return;
	for (size_t i = 0; i < row->n; i++) {
		if (is_lap_level(w->heads[i].what))
			lap_cell(w, &cells[i], &w->heads[i], d, lap);
		else if (w->heads[i].what != C_RUN)
			run_cell(w, &cells[i], i, d);
	}
}

/* --- whole runs --- */

static void fault_sheet(struct work *w, const struct draft *d)
{
	const struct cell *at = NULL;
	for (size_t i = 0; i < w->n_heads; i++)
		if (w->heads[i].what == C_SHEET)
			at = d->given[i];
	/* A sheet's name that is no id was told already. */
	if (d->run->sheet[0])
		import_fault(w, at,
			"the book has no sheet '%s'; name one of its sheets, or give every "
			"adjustable a "
			"column",
			d->run->sheet);
	else if (!at)
		import_fault(w, d->first,
			"run %s names no sheet; name one, or give every adjustable a column",
			d->run->id);
}

/* Values of the sheet, then those that the file gives. */
static void fill_values(struct work *w, struct draft *d)
{
	struct run *r = d->run;
	size_t n = r->n_values, given = 0;
	for (size_t i = 0; i < w->n_heads; i++)
		given += w->heads[i].what == C_VALUE && d->given[i];
	int s = r->sheet[0] ? book_find_sheet(w->b, r->sheet) : -1;
	if (s < 0 && given < n) {
		fault_sheet(w, d);
		return;
	}
	if (s >= 0)
		memcpy(r->values, w->b->sheets[s].values, n * sizeof *r->values);
	for (size_t i = 0; i < w->n_heads; i++)
		if (w->heads[i].what == C_VALUE && d->given[i])
			import_value(w, d->given[i], w->heads[i].index, r);
}

struct numbered {
	long number;
	size_t lap;
};

static int compare_numbered(const void *a, const void *b)
{
	const struct numbered *x = a, *y = b;
	return x->number != y->number ? (x->number > y->number) - (x->number < y->number)
				      : (x->lap > y->lap) - (x->lap < y->lap);
}

/* Each number once; 0 is none. */
static void check_numbers(struct work *w, const struct draft *d)
{
	const size_t n = d->run->n_laps;
	struct numbered *all = calloc(n + 1, sizeof *all);
	if (!all) {
		w->memory = true;
		return;
	}
	for (size_t i = 0; i < n; i++)
		all[i] = (struct numbered){d->number[i], i};
	qsort(all, n, sizeof *all, compare_numbered);
	for (size_t i = 1, first = 0; i < n; i++) {
		if (all[i].number != all[first].number)
			first = i;
		else if (all[i].number)
			import_fault(w, d->lap_at[all[i].lap],
				"lap %ld of run %s stands twice; first on line %zu", all[i].number,
				d->run->id, d->lap_at[all[first].lap]->line);
	}
	free(all);
}

/* Laps into their order; each number from 1 on must be there. */
static void order_laps(struct work *w, struct draft *d)
{
	struct run *r = d->run;
	struct lap *laps = calloc(r->n_laps + 1, sizeof *laps);
	bool *seen = calloc(r->n_laps + 1, sizeof *seen);
	if (!laps || !seen) {
		w->memory = true;
	} else {
		for (size_t i = 0; i < r->n_laps; i++) {
			if (d->number[i] <= (long)r->n_laps) {
				seen[d->number[i] - 1] = true;
				laps[d->number[i] - 1] = r->laps[i];
			}
		}
		size_t gap = 0;
		while (gap < r->n_laps && seen[gap])
			gap++;
		if (gap == r->n_laps)
			memcpy(r->laps, laps, r->n_laps * sizeof *laps);
		else
			import_fault(w, d->first,
				"run %s has %zu laps but none with number %zu; laps count from 1 "
				"without gaps",
				r->id, r->n_laps, gap + 1);
	}
	free(laps);
	free(seen);
}

static void finish(struct work *w, bool good)
{
	for (size_t i = 0; i < w->n && !w->memory; i++) {
		fill_values(w, &w->drafts[i]);
		/* Laps that a fault left out would only be missed a second time. */
		if (good)
			order_laps(w, &w->drafts[i]);
	}
	if (w->n == 0 && good)
		import_fault(w, NULL, "has a header but no laps; a row for each lap is needed");
}

/* The rules of a run's file, told at the run's first row. */
static void check_runs(struct work *w)
{
	for (size_t i = 0; i < w->n; i++) {
		struct err e;
		err_clear(&e);
		if (!store_check_run(w->b, w->drafts[i].run, &e))
			import_fault(
				w, w->drafts[i].first, "run %s: %s", w->drafts[i].run->id, e.text);
	}
}

/* A run that is in the book, whole and alike, was logged by an earlier turn that was cut short. */
static void judge_taken(struct work *w, bool good)
{
	w->in->stands = calloc(w->n + 1, sizeof *w->in->stands);
	if (!w->in->stands) {
		w->memory = true;
		return;
	}
	for (size_t i = 0; i < w->n; i++) {
		const struct draft *d = &w->drafts[i];
		if (!d->taken)
			continue;
		w->in->stands[i] = good && run_equal(d->run, &w->b->runs[d->taken - 1]);
		if (!w->in->stands[i])
			import_fault(w, d->first,
				"the book has a run '%s' already%s; choose another id", d->run->id,
				good ? ", another one" : "");
	}
}

static void read_all(struct work *w)
{
	size_t before = w->faults->total;
	if (read_header(w)) {
		note_taken(w);
		for (size_t i = 1; i < w->t.n_rows && !w->memory && !w->full; i++)
			read_row(w, &w->t.rows[i]);
		for (size_t i = 0; i < w->n && !w->memory; i++)
			check_numbers(w, &w->drafts[i]);
		finish(w, w->faults->total == before);
		if (!w->memory)
			judge_taken(w, w->faults->total == before);
		if (!w->memory && w->faults->total == before)
			check_runs(w);
	}
	if (w->memory) {
		struct err e;
		err_clear(&e);
		err_memory(&e);
		faults_add(w->faults, &e);
	}
}

bool import_csv(struct import *in, const struct book *b, const char *path, struct faults *faults)
{
	struct work w = {.b = b, .faults = faults, .in = in};
	size_t before = faults->total;
	size_t from = faults->n;
	memset(in, 0, sizeof *in);
	if (!cells_read(&w.t, path, faults))
		return false;
	read_all(&w);
	faults_sort(faults, from);
	for (size_t i = 0; i < w.n; i++) {
		free(w.drafts[i].given);
		free(w.drafts[i].lap_at);
		free(w.drafts[i].number);
	}
	words_free(&w.ids);
	words_free(&w.taken);
	free(w.drafts);
	free(w.heads);
	cells_free(&w.t);
	if (faults->total == before)
		return true;
	import_free(in);
	return false;
}
