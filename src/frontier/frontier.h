/*
 * The trade-off frontier of a book: all sheets that no other sheet beats in both
 * lap time and wear, exact over the adjustables' steps.
 *
 * Moves are made from a start sheet: its locks hold (a locked pair moves by the
 * least common multiple of its steps), its frozen adjustables stay. A group's move
 * counts when it stays inside limits, soft limits and the driven range (unless
 * `beyond`), and when its effect on both objectives can be told by itself. Staying
 * put always counts. A pair that holds the load-transfer share moves one end by its steps and
 * the other to the step that keeps the share nearest to the start sheet's, all else as on
 * that sheet. Deltas are told against the reference, changes and minutes
 * from the start sheet. Method and tie rules: doc/frontier.md.
 */
#ifndef FRONTIER_FRONTIER_H
#define FRONTIER_FRONTIER_H

#include "model/model.h"

struct patience; /* base/patience.h */

enum save_kind { SAVE_CHANNEL, SAVE_MEAN, SAVE_LIKE };
struct save_target {
	enum save_kind kind;
	int channel; /* SAVE_CHANNEL, SAVE_LIKE */
	bool named;  /* SAVE_LIKE: the channel was named, not found */
};
enum { SAVE_SIZE = 48 };

/*
 * "front", "mean", "like-for-like", "like-for-like:front"; NULL: the channel that
 * reaches the limit first on the reference, or where that cannot be told the one that wore
 * most as driven. False: no such channel, or no wear known.
 */
bool save_parse(const struct model *m, const char *text, struct save_target *out, struct err *err);
/* The text of it into buf (SAVE_SIZE bytes); returns buf. */
const char *save_print(const struct model *m, const struct save_target *t, char *buf, size_t size);

struct frontier_options {
	struct save_target save;
	bool has_max_changes, has_max_minutes;
	size_t max_changes;
	double max_minutes;
	bool beyond;   /* leave the driven range */
	bool borrowed; /* move what only borrowed books tell, in any range inside the soft limits */
	/* Bands around the reference's load-transfer and aero share, percentage points. */
	bool has_hold_share, has_hold_aero;
	double hold_share, hold_aero;
	size_t points; /* thin to this many, both ends kept; 0: all */
	/* Answer with what can be said: a wear objective without figures leaves every group where
	 * it is, and a start sheet that cannot be told against the reference is told against
	 * itself. Both are said in notes. Without it they are errors. */
	bool lenient;
	struct patience *patience; /* NULL: no end of it; at its end there is no frontier */
};

struct frontier_point {
	const fix *values; /* owned by the frontier, one per adjustable */
	size_t changes;    /* groups that differ from the start sheet: a pair counts once */
	double minutes; /* garage time of all adjustables moved; those without a figure count 0 */
	double time_delta; /* s, against the reference */
	bool has_wear, has_like, has_stint;
	bool borrowed; /* moves something that the runs here alone do not tell, or where they were
			  not */
	double wear_delta;  /* %/lap: the channel's, or the mean of all channels */
	double like_delta;  /* %/lap at the reference's pace: likewise */
	double stint_delta; /* s over the book's stint */
};

struct frontier {
	struct save_target save;
	const struct sheet *against; /* what deltas are told against: the reference, or the start */
	double candidates; /* combinations of moves, bounds on changes and minutes left out */
	size_t n_found;    /* points before thinning */
	size_t n;
	struct frontier_point *points; /* owned, fastest first */
	fix *values;                   /* owned [n * n_adjustables] */
	size_t n_notes;
	char (*notes)[200]; /* owned: what was not moved, and why */
};

/*
 * start == reference is usual; both outlive the frontier. NULL with err: out of memory, no
 * lap time figures, the end of patience, or without `lenient` what is said there.
 */
struct frontier *frontier_new(const struct model *m, const struct sheet *start,
	const struct sheet *reference, const struct frontier_options *o, struct err *err);
void frontier_free(struct frontier *f);

#endif
