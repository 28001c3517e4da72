/*
 * Predictions held against the track. A run is predicted by a model that has not seen it:
 * fitted to the runs before it (`ahead`), or to all others (`left out`). The interval is that
 * of the run's mean, still to be driven: 95% t interval of the expected value with
 * sigma_run^2 + sigma_lap^2 / n added (doc/model.md), at the run's own covariates and factor
 * levels. A run that no model can predict says why.
 */
#ifndef MODEL_VERIFY_H
#define MODEL_VERIFY_H

#include "model/model.h"

struct forecast {
	bool done;  /* looked into, see verify_step() */
	bool known; /* predicted: false: `why` */
	char why[160];
	bool extrapolated; /* outside what had been driven */
	double value, low, high;
	double borrowed; /* share of the value that other books told */
	double df, t;    /* (measured - value) / its standard error */
	bool missed;     /* measured lies outside */
};

/* One response of one run. */
struct verified {
	bool measured; /* there are fitted readings */
	size_t laps;   /* behind them */
	double mean;   /* s or % per lap, as driven */
	struct forecast ahead, left_out;
};

struct verified_run {
	int run; /* index into book.runs */
	struct verified by[RESPONSES_MAX];
	char moved[200]; /* groups that differ from the reference, and what else was new */
};

struct tally {
	size_t predicted, missed;
	double p;        /* P(as many misses or more when 5 in 100 miss) */
	bool too_often;  /* p below 0.05 */
	char names[400]; /* too often: what the missed runs have that the others lack */
};

/* The set-up driven most often, over time: each visit brought to the book's conditions. */
struct drift_point {
	int run;
	double hours; /* since the first visit of its day */
	int day;      /* counted from 0 */
	double value;
};
struct drift {
	size_t n;
	struct drift_point *points; /* owned, in the order driven */
	size_t days;
	bool has_slope; /* three visits or more, and dated; days have levels of their own */
	double slope, se, df, p; /* per hour */
};

/* The 95% interval of a slope; has_slope must be true. */
void drift_span(const struct drift *d, double *low, double *high);

struct verify {
	const struct book *book; /* not owned */
	size_t n_runs, n_responses;
	struct lenders *lenders; /* owned, made by the first step; NULL where nothing is borrowed */
	size_t steps_left;       /* first every run ahead, the last first; then left out */
	struct verified_run *runs; /* owned, the book's order */
	struct tally ahead[RESPONSES_MAX], left_out[RESPONSES_MAX];
	int base_run; /* a run on the set-up driven most often; -1 if none twice */
	struct drift drift[RESPONSES_MAX];
};

/*
 * The last `last` runs (0: all). Each takes two fits. verify_new() does it all; a page starts and
 * takes a step, one fit, whenever there is time; tallies and drift come with the last step.
 * NULL or false with err: memory, or a fit failed.
 */
struct verify *verify_new(const struct book *b, size_t last, struct err *err);
struct verify *verify_start(const struct book *b, size_t last, struct err *err);
bool verify_step(struct verify *v, struct err *err);
/* Up to `most` steps side by side; for whoever tells how far it has come in between. */
enum { VERIFY_AT_ONCE = 32 };
bool verify_steps(struct verify *v, size_t most, struct err *err);
void verify_free(struct verify *v);

/* "+0.013 s an hour, 95% interval -0.006 to +0.032: ..." of a drift that has a slope; words alone
 * where the runs lie within less than an hour, or the interval is wider than anything real. */
const char *verify_drift_words(size_t response, const struct drift *d, char *buf, size_t size);

/* "as predicted", "slower than predicted", ...; for a response and its forecast. */
const char *verify_word(size_t response, const struct forecast *v, double mean);

#endif
