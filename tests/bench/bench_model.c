/* The fit against R's nlme, its growth with the laps, and a prediction after a nudge. */
#include "bench/bench.h"

#include "model/model.h"
#include "store/store.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { PREDICTIONS = 2000, FITS = 5 };

static bool load(struct book *b, const char *folder)
{
	struct faults f;
	faults_init(&f);
	book_init(b);
	bool ok = store_load_book(b, folder, &f);
	for (size_t i = 0; i < f.n; i++)
		fprintf(stderr, "bench: %s\n", f.list[i].text);
	faults_free(&f);
	return ok;
}

/* Median CPU seconds of a whole fit. */
static double fit_time(const struct book *b, int times)
{
	double t[FITS];
	struct err e;
	err_clear(&e);
	for (int i = 0; i < times; i++) {
		const double since = bench_cpu();
		struct model *m = model_new(b, &e);
		t[i] = bench_cpu() - since;
		if (!m)
			return NAN;
		model_free(m);
	}
	return bench_median(t, (size_t)times);
}

static void predictions(const struct book *b)
{
	struct err e;
	err_clear(&e);
	struct model *m = model_new(b, &e);
	const struct sheet *ref = book_reference(b);
	struct sheet s;
	double sum = 0;
	if (!m || !ref || !sheet_copy(&s, (sheet_init(&s), ref)))
		return;
	const double since = bench_cpu();
	for (int i = 0; i < PREDICTIONS; i++) {
		s.values[i % (int)s.n_values] += i % 2 ? 500000 : -500000;
		for (size_t r = 0; r < m->n_responses; r++) {
			sum += model_value(m, r, s.values).value;
			sum += model_delta(m, r, s.values, ref->values).high;
		}
		for (size_t c = 0; c < b->n_channels; c++)
			sum += model_like(m, c, s.values, ref->values).delta.value;
	}
	const double each = (bench_cpu() - since) / PREDICTIONS;
	row_goal("prediction after a nudge, 20 adjustables", each * 1e6, "us", 20, false,
		isfinite(sum) ? "three responses, deltas, like-for-like" : "figures missing");
	sheet_free(&s);
	model_free(m);
}

/* The same laps once, ten and a hundred times over: time of a fit by laps. */
static void growth(const struct book *full)
{
	static const size_t laps[] = {2, 20, 200};
	double t[3] = {0};
	struct book b = *full;
	const size_t runs = full->n_runs < 200 ? full->n_runs : 200;
	b.runs = calloc(runs, sizeof *b.runs);
	b.n_runs = runs;
	for (size_t k = 0; b.runs && k < 3; k++) {
		for (size_t i = 0; i < runs; i++) {
			b.runs[i] = full->runs[i];
			b.runs[i].n_laps = laps[k];
			b.runs[i].laps = calloc(laps[k], sizeof(struct lap));
			for (size_t j = 0; b.runs[i].laps && j < laps[k]; j++) {
				b.runs[i].laps[j] = full->runs[i].laps[j % full->runs[i].n_laps];
				b.runs[i].laps[j].time += 1e-3 * (double)(j * 7919 % 101);
			}
		}
		t[k] = fit_time(&b, 3);
		for (size_t i = 0; i < runs; i++)
			free(b.runs[i].laps);
	}
	row_ratio("growth of a fit: 10 times the laps, time over", t[1], t[0], 10,
		"200 runs of 2 and 20");
	row_ratio("growth of a fit: 100 times the laps, time over", t[2], t[0], 100,
		"200 runs of 2 and 200");
	free(b.runs);
}

/* Fits of the first runs of the book. */
static void growth_runs(const struct book *full)
{
	static const size_t runs[] = {100, 200, 500, 1000};
	double t[4];
	struct book b = *full;
	for (size_t k = 0; k < 4; k++) {
		b.n_runs = runs[k] < full->n_runs ? runs[k] : full->n_runs;
		t[k] = fit_time(&b, 3);
	}
	row_growth("growth of a fit with the runs, time over the first", "runs", runs, t, 4);
}

/* Fits of books with more and more adjustables. */
static void growth_adjustables(const char *dir)
{
	static const size_t adjustables[] = {5, 10, 20, 40};
	double t[4] = {0};
	for (size_t k = 0; k < 4; k++) {
		char folder[300];
		struct book b;
		snprintf(folder, sizeof folder, "%s/a%zu", dir, adjustables[k]);
		if (!large_book_write(folder, 300, 10, (int)adjustables[k]) || !load(&b, folder))
			return;
		t[k] = fit_time(&b, 3);
		book_free(&b);
	}
	row_growth("growth of a fit with the adjustables, 300 runs of 10 laps", "adjustables",
		adjustables, t, 4);
}

/* The rows of the fit for R: columns of set-up, covariates, run and the three responses. */
static bool write_rows(const struct model *m, const char *path)
{
	const struct response *r = &m->responses[RESPONSE_TIME];
	double *row = calloc(r->n_terms + 1, sizeof *row);
	FILE *f = row ? fopen(path, "w") : NULL;
	if (!f) {
		free(row);
		return false;
	}
	fprintf(f, "run,time,front,rear,effort,age,fuel,temp");
	for (size_t t = 1; t < r->n_terms && r->terms[t].kind <= TERM_PRODUCT; t++)
		fprintf(f, ",x%zu", t);
	fputc('\n', f);
	for (size_t i = 0; i < m->book->n_runs; i++) {
		const struct run *k = &m->book->runs[i];
		model_row(m, r, k->values, row);
		for (size_t j = 0; j < k->n_laps; j++) {
			const struct lap *l = &k->laps[j];
			fprintf(f, "r%zu,%.17g,%.17g,%.17g,%.17g,%.17g,%.17g,%.17g", i, l->time,
				l->wear[0], l->wear[1], l->effort - 100, k->tyre_age.v + (double)j,
				k->fuel.v - k->fuel_per_lap.v * (double)j - 20, k->track_temp.v);
			for (size_t t = 1; t < r->n_terms && r->terms[t].kind <= TERM_PRODUCT; t++)
				fprintf(f, ",%.17g", row[t]);
			fputc('\n', f);
		}
	}
	free(row);
	return fclose(f) == 0;
}

/* Seconds that nlme takes for the three fits, start-up and reading left out; negative: no R. */
static double nlme_time(const char *rows, const char *dir)
{
	static const char script[] =
		"suppressMessages(library(nlme)); d <- read.csv(commandArgs(TRUE)[1]);"
		"x <- grep('^x', names(d), value=TRUE); s <- 0;"
		"for (y in c('time','front','rear')) { f <- as.formula(paste(y, '~ "
		"effort+age+temp+',"
		"paste(x, collapse='+'))); s <- s + system.time(lme(f, random=~1|run, data=d,"
		"control=lmeControl(returnObject=TRUE)))[['elapsed']] }; cat(s, '\\n')";
	char path[300], command[900];
	double seconds = -1;
	snprintf(path, sizeof path, "%s/fit.R", dir);
	FILE *f = fopen(path, "w");
	if (!f)
		return -1;
	fputs(script, f);
	fclose(f);
	snprintf(command, sizeof command, "Rscript --vanilla %s %s 2>/dev/null", path, rows);
	f = popen(command, "r");
	if (!f)
		return -1;
	if (fscanf(f, "%lf", &seconds) != 1)
		seconds = -1;
	pclose(f);
	return seconds;
}

static void against_nlme(const struct book *b, const char *dir)
{
	char rows[300], words[160];
	struct err e;
	err_clear(&e);
	struct model *m = model_new(b, &e);
	snprintf(rows, sizeof rows, "%s/rows.csv", dir);
	const double own = fit_time(b, FITS);
	const double other = m && write_rows(m, rows) ? nlme_time(rows, dir) : -1;
	snprintf(words, sizeof words,
		"times faster than nlme::lme; %zu columns, 3 responses and "
		"like-for-like beside",
		m ? m->responses[RESPONSE_TIME].n_terms : 0);
	if (other > 0)
		row_goal("fit of 1,000 runs of 20 laps", other / own, words, 50, true, "");
	else
		row_skipped("fit of 1,000 runs of 20 laps against nlme",
			"Rscript with nlme is not here");
	model_free(m);
}

void bench_model(const char *demo, const char *large, const char *dir)
{
	struct book b;
	(void)demo;
	if (!load(&b, large))
		return;
	predictions(&b);
	against_nlme(&b, dir);
	growth(&b);
	growth_runs(&b);
	growth_adjustables(dir);
	book_free(&b);
}
