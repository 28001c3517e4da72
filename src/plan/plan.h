/*
 * Test plans: which factors to move, between which levels, in which order, how many
 * laps a run, and the smallest effect that will be found. Rules and formulas:
 * doc/plans.md. A plan owns everything it points to; it can outlive the book.
 */
#ifndef PLAN_PLAN_H
#define PLAN_PLAN_H

#include "book/book.h"

struct model;
struct patience; /* base/patience.h */

enum plan_kind { PLAN_ONE_AT_A_TIME, PLAN_SCREENING, PLAN_DEFINITIVE, PLAN_NEXT, PLAN_KINDS };
extern const char *const plan_kind_names[PLAN_KINDS];

enum {
	PLAN_FACTORS_MAX = 64,
	PLAN_BETWEEN_BASES = 4, /* test runs between two baseline runs, at most */
	PLAN_LAPS_USUAL = 5,    /* timed laps a run: five to eight, common practice, no source */
	PLAN_LAPS_MOST = 8,
	PLAN_NOTE_SIZE = 240
};

/* What moves as one: an adjustable by itself, or both members of a pair by as much. */
struct plan_factor {
	char id[ID_SIZE];      /* the adjustable's, or the pair's */
	int adjustable;        /* index; of a pair the front member */
	int partner;           /* the rear member, -1 when the adjustable moves by itself */
	int pair;              /* index of the pair that moves, or that the adjustable is of; -1 */
	fix step;              /* smallest move; of a pair the least common multiple */
	fix low, middle, high; /* moves from the base; multiples of step */
};

/* Limits given for one factor: values of an adjustable, moves from the base of a pair. */
struct plan_range {
	char id[ID_SIZE];
	fix low, high;
};

/* Scatter between runs and between laps of one run, in the response's unit. */
struct plan_noise {
	bool has;
	double run, lap;
};

struct plan_options {
	enum plan_kind kind;
	const struct sheet *base;
	size_t n_factors;           /* 0: all that are not frozen */
	const char *const *factors; /* ids */
	size_t n_ranges;
	const struct plan_range *ranges;
	bool fold_over;    /* screening only */
	bool quick;        /* order by garage time instead of at random */
	unsigned long rng; /* seed of the random order */
	size_t lap_budget; /* timed laps of the whole plan; 0: none given */
	bool has_minutes;
	double minutes; /* garage time of the whole plan, at most */
	struct plan_noise noise[RESPONSES_MAX];
	const struct model *borrowing; /* what other books tell already; NULL: nothing */
	struct patience *patience;     /* of plan_next(); NULL: no end of it */
};

struct plan_run {
	bool baseline;
	const fix *values;  /* one per adjustable; owned by the plan */
	size_t changes;     /* groups that differ from the run before (the first: the base) */
	double minutes;     /* garage time of these changes; those without a figure count 0 */
	char done[ID_SIZE]; /* the run that was driven for it, "" while to be driven */
};

/* The smallest full-range effect found with 80% power at 5%, two-sided. */
struct plan_detect {
	char term[2 * ID_SIZE + 32];
	size_t response;
	bool known;
	double effect;
};

/* What a larger plan would find: the median of the terms' smallest effects. */
struct plan_offer {
	char what[64];     /* "as planned", "3 more laps a run" */
	size_t runs, laps; /* laps of a run */
	bool known[RESPONSES_MAX];
	double effect[RESPONSES_MAX];
};

struct plan {
	enum plan_kind kind;
	char base[ID_SIZE];
	bool fold_over, quick;
	unsigned long rng;
	size_t n_adjustables;
	size_t n_factors;
	struct plan_factor *factors; /* owned */
	size_t n_runs;
	struct plan_run *runs; /* owned, in the order to drive */
	fix *values;           /* owned [n_runs * n_adjustables] */
	size_t laps;           /* timed laps of each run */
	double minutes;        /* garage time of all changes */
	size_t n_responses;
	size_t n_detect;
	struct plan_detect *detect; /* owned; terms in the model's order, all responses of each */
	size_t n_offers;
	struct plan_offer *offers; /* owned */
	/* PLAN_NEXT: root mean variance of the differences along the frontier, now and after. */
	bool has_gain[RESPONSES_MAX];
	double se_now[RESPONSES_MAX], se_after[RESPONSES_MAX];
	size_t n_notes;
	char (*notes)[PLAN_NOTE_SIZE]; /* owned: cautions, warnings, what was left out */
};

/* kind is of plan_kind_names; false if there is none of that name. */
bool plan_kind_parse(const char *text, enum plan_kind *out);

/*
 * A plan of any kind but PLAN_NEXT. NULL with err: a factor that is unknown, named twice,
 * frozen or without room to move; more factors than the kind holds; a budget below one lap
 * a run; memory.
 */
struct plan *plan_new(const struct book *b, const struct plan_options *o, struct err *err);

/*
 * The one run that most lowers the mean variance of the differences along the present
 * frontier, given all runs driven so far; lap_budget is its number of laps, 0: the usual.
 * Where the runs leave the scatter unknown it is the base once more. NULL with err: no run
 * can be judged from what was driven, a bad factor, the end of patience, or memory.
 */
struct plan *plan_next(const struct model *m, const struct plan_options *o, struct err *err);

void plan_free(struct plan *p);

/*
 * Of a plan that was read from its file: fills a factor from its id (false: the car has none
 * such), its levels from the runs, and then all that is reckoned and not written down.
 */
bool plan_take_factor(struct plan *p, const struct car *c, const char *id);
void plan_take_levels(struct plan *p);
bool plan_complete(
	struct plan *p, const struct book *b, const struct plan_noise *noise, struct err *err);

/* Scatter as the book's own fit has it, for each response; `has` is false where the runs leave
 * it unknown. */
void plan_book_noise(const struct model *m, struct plan_noise out[RESPONSES_MAX]);

/* The run sheet for the clipboard: plain text for A4, 80 columns, pages divided by form feeds. */
struct buf;
void plan_print_sheet(const struct plan *p, const struct book *b, struct buf *out);

/* Index of the first run that is still to be driven, -1 when all are done. */
int plan_next_run(const struct plan *p);

/* Groups that differ (a pair is one), and the garage time of all their changes; an adjustable
 * without a figure counts 0. */
size_t plan_count_changes(const struct car *c, const fix *from, const fix *to, double *minutes);

/* Adds a note; false when out of memory. */
bool plan_note(struct plan *p, const char *fmt, ...) __attribute__((format(printf, 2, 3)));

#endif
