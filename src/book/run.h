/*
 * A run: laps driven on one set of values between leaving and re-entering the
 * garage. Wear is kept as it was written (per lap, total so far, or once for the
 * whole run); src/model turns it into observations.
 */
#ifndef BOOK_RUN_H
#define BOOK_RUN_H

#include "book/car.h"

enum { CHANNELS_MAX = 4 };

/* What one segment of the circuit took of a lap, where the user has it. */
struct lap_segment {
	bool has_time;
	double time; /* s */
	bool has_wear[CHANNELS_MAX];
	double wear[CHANNELS_MAX]; /* % of tread */
};

struct lap {
	double time; /* s */
	bool has_effort;
	double effort;               /* 100 = flat out */
	bool has_wear[CHANNELS_MAX]; /* % of tread used on this lap */
	double wear[CHANNELS_MAX];
	bool has_worn[CHANNELS_MAX]; /* % of tread used so far, after this lap */
	double worn[CHANNELS_MAX];
	char *skip;                   /* owned; the reason, NULL for a fitted lap */
	size_t n_segments;            /* 0, or the circuit's number of them */
	struct lap_segment *segments; /* owned, in the circuit's order; NULL if none were given */
};

struct run {
	char id[ID_SIZE];
	char date[20];       /* "YYYY-MM-DDTHH:MM" or with ":SS", "" if none; local time */
	char sheet[ID_SIZE]; /* where the values came from; "" if none, may be gone later */
	char driver[ID_SIZE], session[ID_SIZE], compound[ID_SIZE]; /* "" if none */
	size_t n_values;
	fix *values;                 /* owned, as driven, every adjustable */
	struct opt_num fuel;         /* kg at the start of lap 1 */
	struct opt_num fuel_per_lap; /* kg */
	struct opt_num track_temp;   /* deg C */
	struct opt_num tyre_age;     /* laps on the set at the start of lap 1 */
	bool has_worn_at_start[CHANNELS_MAX];
	double worn_at_start[CHANNELS_MAX];
	bool has_wear_total[CHANNELS_MAX];
	double wear_total[CHANNELS_MAX];
	size_t n_laps;
	struct lap *laps; /* owned */
	char *notes;      /* owned; NULL if none */
};

void run_init(struct run *r);
void run_free(struct run *r);
bool run_copy(struct run *dst, const struct run *src);
/* All that a file of the run holds, but for its id. */
bool run_equal(const struct run *a, const struct run *b);
bool lap_equal(const struct lap *a, const struct lap *b);
/* "YYYY-MM-DDTHH:MM" or with ":SS", a day of the calendar. */
bool run_date_valid(const char *text, size_t len);
size_t run_fitted_laps(const struct run *r);
/* Order of date, then id; runs without a date come first. */
int run_compare(const struct run *a, const struct run *b);

#endif
