/*
 * The stint: a sheet against the reference over N laps on a fresh set, and whether
 * it is cheaper to tune or to lift. Figures come from the model; the plan's rules
 * from the book. Intervals are 95%, from draws of the joint distribution of the
 * fitted figures with a fixed generator seed. Formulas: doc/stint.md.
 */
#ifndef STINT_STINT_H
#define STINT_STINT_H

#include "model/model.h"
#include "stint/project.h"

enum stint_kind { STINT_REFERENCE, STINT_SHEET, STINT_LIFTING, STINT_STOPPING, STINT_PLANS };
extern const char *const stint_kind_names[STINT_PLANS]; /* "reference", "sheet", ... */

struct stint_row {
	bool known; /* false: no figure, `why` says so */
	char why[200];
	double total; /* s over all laps */
	double delta; /* against the reference plan */
	bool has_interval;
	double low, high;
	double lift; /* s per lap, STINT_LIFTING; 0 otherwise */
	size_t stops;
	size_t limit_lap; /* first lap that ends past the wear limit; 0: none */
};

struct stint {
	size_t laps;
	struct stint_rules rules;
	struct stint_row rows[STINT_PLANS];
	int limiting;         /* channel that limits the reference; -1: no wear known */
	size_t crossover_lap; /* 0: none */
	struct stint_lap *curve[STINT_PLANS]; /* owned [laps]; NULL where the row is not known */
	size_t *stop_after;                   /* owned [rows[STINT_STOPPING].stops] */
	/* Tune or lift: total of the sheet minus total of the reference lifting. */
	bool has_verdict, has_verdict_interval;
	double verdict, verdict_low, verdict_high;
	char sentence[400]; /* the answer in words */
	size_t n_notes;
	char notes[8][200]; /* what the projection assumes or lacks */
};

struct stint_options {
	size_t laps;  /* 0: the book's */
	size_t draws; /* 0: no intervals; STINT_DRAWS for tables, fewer while values are nudged */
};
enum { STINT_DRAWS = 20000, STINT_LAPS_MAX = BOOK_STINT_LAPS_MAX };

/*
 * NULL with err: no number of laps, no lap time model, or out of memory. Rows that
 * cannot be told have `known` false and say why. names are what the sentence calls the two.
 */
struct stint *stint_new(const struct model *m, const fix *sheet, const fix *reference,
	const char *sheet_name, const char *reference_name, const struct stint_options *o,
	struct err *err);
/* What to put behind a crossover where it cannot be told which of the two is quicker, else "". */
const char *stint_doubt(const struct stint *s);
void stint_free(struct stint *s);

/*
 * Total stint time against the reference for many sets of values, from their deltas;
 * for trade-off points. Prepared once, then plain arithmetic.
 */
struct stint_quick {
	bool usable; /* the book has a stint and all of the reference's figures are known */
	struct stint_rules rules;
	struct stint_pace reference;
	double reference_total;
};
/* False: out of memory. */
bool stint_quick_prepare(
	struct stint_quick *q, const struct model *m, const fix *reference, struct err *err);
/* wear_delta has one figure per channel. */
double stint_quick_delta(const struct stint_quick *q, double time_delta, const double *wear_delta);

#endif
