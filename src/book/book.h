/*
 * A book: one car at one circuit, its sheets, its runs, and how predictions are
 * told. Plain data owned by struct book; read and written by src/store, changed
 * by src/book/edit.h only.
 */
#ifndef BOOK_BOOK_H
#define BOOK_BOOK_H

#include "book/car.h"
#include "book/circuit.h"
#include "book/run.h"
#include "book/sheet.h"

enum covariate { COV_EFFORT, COV_TYRE_AGE, COV_FUEL, COV_TRACK_TEMP, COV_N };
extern const char *const covariate_names[COV_N]; /* "effort", "tyre-age", "fuel", "track-temp" */

enum factor { FAC_DRIVER, FAC_SESSION, FAC_COMPOUND, FAC_N };
extern const char *const factor_names[FAC_N];

/* Responses: 0 is lap time, 1 + c the wear of channel c. */
enum { RESPONSES_MAX = 1 + CHANNELS_MAX, RESPONSE_TIME = 0 };

struct covariate_rule {
	bool off;
	struct opt_num known[RESPONSES_MAX]; /* known slope per unit, subtracted */
};

enum channel_set { CHANNELS_CAR, CHANNELS_AXLES, CHANNELS_WHEELS };

/* Laps of a stint; the projection has no use for more on one set of tyres. */
enum { BOOK_STINT_LAPS_MAX = 2000 };

struct stint_plan {
	bool given;
	struct opt_num laps, pit_loss, fuel_per_lap;
	bool pace_loss_auto;
	struct opt_num pace_loss, cliff_at, cliff; /* s per lap per % worn; %; s per % */
};

/* How balance is told: `balance` of book.yaml (doc/balance.md). */
enum balance_band { BAND_TRANSFER, BAND_AERO, BAND_BRAKES, BANDS_N };
extern const char *const balance_band_names[BANDS_N]; /* "load-transfer", "aero", "brakes" */
struct balance_plan {
	struct opt_num lateral, speed, deceleration; /* g, km/h, g */
	struct opt_num cold, hot;                    /* deg C: both or neither */
	struct opt_num hot_pressure[2];              /* kPa gauge wanted when hot: front, rear */
	struct opt_num band[BANDS_N];                /* percentage points against the reference */
};

/* One book that another borrows from: an entry of `borrow` in book.yaml (doc/borrow.md). */
struct book;
struct borrow {
	char *path;            /* owned; as written, told from the borrowing book's folder */
	size_t line, col;      /* of the entry, for messages */
	double trust;          /* above 0, at most 1: divides what the book tells */
	struct opt_num spread; /* between circuits, as a share of an effect; stated by the user */
	size_t n_without;
	char (*without)[ID_SIZE]; /* owned: pairs and adjustables of which nothing is borrowed */
	struct book
		*book; /* owned; NULL where it was not loaded: its own entries are not followed */
};

struct book {
	char *dir;  /* owned; the folder as given */
	char *id;   /* owned; the folder's own name */
	char *name; /* owned; NULL if none */
	char car_id[ID_SIZE], circuit_id[ID_SIZE];
	char *car_path, *circuit_path; /* owned; the profile files that were read */
	struct car car;
	struct circuit circuit;
	char reference[ID_SIZE]; /* a sheet's id */
	size_t n_channels;
	const char *channels[CHANNELS_MAX]; /* static names: car | front rear | fl fr rl rr, book
					       order */
	double wear_limit;                  /* % of tread */
	struct opt_num conditions[COV_N];   /* as given; see book_condition() for the defaults */
	struct covariate_rule covariates[COV_N];
	bool curvature_off;
	struct opt_num
		exchange[CHANNELS_MAX]; /* known exchange rates, % per lap for each s per lap */
	struct stint_plan stint;
	struct balance_plan balance; /* as given; see book_balance() for the defaults */
	size_t n_sheets;
	struct sheet *sheets; /* owned, order of ids */
	size_t n_runs;
	struct run *runs; /* owned, order of date, then id */
	size_t n_borrow;
	struct borrow *borrow; /* owned */
	bool borrow_keep;      /* only name what the runs here contradict; else widened too */
};

/* The value predictions are told at: as given, else effort 100, tyre age 0, fuel 0; track
 * temperature has none of its own (the mean of the fitted laps stands in). */
struct opt_num book_condition(const struct book *b, enum covariate c);
/* With defaults for what was left out: 1.5 g, 180 km/h, 1.3 g, bands of 0.5 percentage
 * points; temperatures and pressures have none. */
struct balance_plan book_balance(const struct book *b);
/* The channel names of a set, and how many; NULL beyond the set. */
size_t channel_set_size(enum channel_set set);
const char *channel_set_name(enum channel_set set, size_t i);

void book_init(struct book *b);
void book_free(struct book *b);
/* Borrow nothing of a pair or adjustable from any book. False: out of memory. */
bool book_drop_borrowed(struct book *b, const char *id);
/* Borrow from no book at all. */
void book_forget_borrowed(struct book *b);
int book_find_sheet(const struct book *b, const char *id);
int book_find_run(const struct book *b, const char *id);
/* Puts a copy of the run into its place: a new one, or instead of the one of its id. False: out of
 * memory, nothing changed. Fitted models of the book are stale afterwards. */
bool book_put_run(struct book *b, const struct run *r);
/* Forgets the run of that id, if there is one. Fitted models are stale likewise. */
void book_drop_run(struct book *b, const char *id);
/* The reference sheet; NULL if the book has none of that id. */
const struct sheet *book_reference(const struct book *b);
int book_find_channel(const struct book *b, const char *name);
/* "time", "wear-front"... into buf; returns buf. */
const char *book_response_id(const struct book *b, size_t response, char *buf, size_t size);

#endif
