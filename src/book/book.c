#include "book/book.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const covariate_names[COV_N] = {"effort", "tyre-age", "fuel", "track-temp"};
const char *const factor_names[FAC_N] = {"driver", "session", "compound"};

const char *const balance_band_names[BANDS_N] = {"load-transfer", "aero", "brakes"};

static void fill_in(struct opt_num *v, double usual)
{
	if (!v->has)
		*v = (struct opt_num){true, usual};
}

struct balance_plan book_balance(const struct book *b)
{
	struct balance_plan p = b->balance;
	fill_in(&p.lateral, 1.5);
	fill_in(&p.speed, 180);
	fill_in(&p.deceleration, 1.3);
	for (int i = 0; i < BANDS_N; i++)
		fill_in(&p.band[i], 0.5);
	return p;
}

size_t channel_set_size(enum channel_set set)
{
	return set == CHANNELS_CAR ? 1 : set == CHANNELS_AXLES ? 2 : 4;
}

const char *channel_set_name(enum channel_set set, size_t i)
{
	static const char *const names[3][CHANNELS_MAX] = {
		{"car", NULL, NULL, NULL}, {"front", "rear", NULL, NULL}, {"fl", "fr", "rl", "rr"}};
	return i < CHANNELS_MAX ? names[set][i] : NULL;
}

struct opt_num book_condition(const struct book *b, enum covariate c)
{
	if (b->conditions[c].has || c == COV_TRACK_TEMP)
		return b->conditions[c];
	return (struct opt_num){true, c == COV_EFFORT ? 100 : 0};
}

void book_init(struct book *b)
{
	memset(b, 0, sizeof *b);
}

static void borrow_free(struct borrow *w)
{
	free(w->path);
	free(w->without);
	if (w->book)
		book_free(w->book);
	free(w->book);
}

void book_free(struct book *b)
{
	free(b->dir);
	free(b->id);
	free(b->name);
	free(b->car_path);
	free(b->circuit_path);
	car_free(&b->car);
	circuit_free(&b->circuit);
	for (size_t i = 0; i < b->n_sheets; i++)
		sheet_free(&b->sheets[i]);
	free(b->sheets);
	for (size_t i = 0; i < b->n_runs; i++)
		run_free(&b->runs[i]);
	free(b->runs);
	book_forget_borrowed(b);
	book_init(b);
}

void book_forget_borrowed(struct book *b)
{
	for (size_t i = 0; i < b->n_borrow; i++)
		borrow_free(&b->borrow[i]);
	free(b->borrow);
	b->borrow = NULL;
	b->n_borrow = 0;
}

bool book_drop_borrowed(struct book *b, const char *id)
{
	for (size_t i = 0; i < b->n_borrow; i++) {
		struct borrow *w = &b->borrow[i];
		char(*grown)[ID_SIZE] = realloc(w->without, (w->n_without + 1) * sizeof *grown);
		if (!grown)
			return false;
		w->without = grown;
		snprintf(grown[w->n_without++], ID_SIZE, "%s", id);
	}
	return true;
}

int book_find_sheet(const struct book *b, const char *id)
{
	for (size_t i = 0; i < b->n_sheets; i++)
		if (strcmp(b->sheets[i].id, id) == 0)
			return (int)i;
	return -1;
}

int book_find_run(const struct book *b, const char *id)
{
	for (size_t i = 0; i < b->n_runs; i++)
		if (strcmp(b->runs[i].id, id) == 0)
			return (int)i;
	return -1;
}

static int compare_runs(const void *a, const void *b)
{
	return run_compare(a, b);
}

bool book_put_run(struct book *b, const struct run *r)
{
	struct run copy;
	run_init(&copy);
	if (!run_copy(&copy, r))
		return false;
	int at = book_find_run(b, r->id);
	if (at >= 0) {
		run_free(&b->runs[at]);
		b->runs[at] = copy;
	} else {
		struct run *runs = realloc(b->runs, (b->n_runs + 1) * sizeof *runs);
		if (!runs) {
			run_free(&copy);
			return false;
		}
		b->runs = runs;
		b->runs[b->n_runs++] = copy;
	}
	qsort(b->runs, b->n_runs, sizeof *b->runs, compare_runs);
	return true;
}

void book_drop_run(struct book *b, const char *id)
{
	int at = book_find_run(b, id);
	if (at < 0)
		return;
	run_free(&b->runs[at]);
	b->n_runs--;
	memmove(b->runs + at, b->runs + at + 1, (b->n_runs - (size_t)at) * sizeof *b->runs);
}

const struct sheet *book_reference(const struct book *b)
{
	int i = book_find_sheet(b, b->reference);
	return i < 0 ? NULL : &b->sheets[i];
}

int book_find_channel(const struct book *b, const char *name)
{
	for (size_t i = 0; i < b->n_channels; i++)
		if (strcmp(b->channels[i], name) == 0)
			return (int)i;
	return -1;
}

const char *book_response_id(const struct book *b, size_t response, char *buf, size_t size)
{
	if (response == RESPONSE_TIME)
		snprintf(buf, size, "time");
	else
		snprintf(buf, size, "wear-%s", b->channels[response - 1]);
	return buf;
}
