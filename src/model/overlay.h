/*
 * Two runs laid over each other along the lap: where did the one take more time or use more
 * tyre than the other? A run's own segment figures are measured; what it has none of is
 * spread by the circuit's shares and marked as not measured, never shown as if it were.
 * No fit is needed: these are means over a run's laps.
 */
#ifndef MODEL_OVERLAY_H
#define MODEL_OVERLAY_H

#include "base/err.h"
#include "book/book.h"

enum overlay_source {
	OVERLAY_NONE,   /* no reading of this run at all */
	OVERLAY_SPREAD, /* the lap's figure by the circuit's shares */
	OVERLAY_PARTLY, /* some segments measured, the rest of the lap spread over the others */
	OVERLAY_MEASURED,
};

/* One run's mean per segment of one response. Laps that cover all segments stand for the run
 * where there are any; else the laps with some, for the segments that all of them have. */
struct overlay_side {
	enum overlay_source source;
	size_t laps;    /* behind the figures */
	double lap;     /* mean of the laps' own figure, s or %/lap; the segments add up to it */
	bool *measured; /* owned [n]: this segment */
	double *value;  /* owned [n]: mean */
	double *var;    /* owned [n]: variance of that mean over laps; 0 with one lap */
};
struct overlay_response {
	bool has;                    /* both runs have figures */
	struct overlay_side side[2]; /* A, B */
	double lap;                  /* B - A of a lap */
	double *difference;          /* owned [n]: B - A */
	double *se;                  /* owned [n]: by the scatter of laps alone; NAN without */
	size_t *order; /* owned [n]: the biggest difference first, measured ones before */
};
struct overlay {
	const struct book *book;
	const struct run *run[2];
	size_t n; /* segments of the circuit */
	struct overlay_response by[RESPONSES_MAX];
};

/* False: out of memory, or the circuit has no segments. The book must outlive it. */
bool overlay_make(struct overlay *out, const struct book *b, const struct run *one,
	const struct run *two, struct err *err);
void overlay_free(struct overlay *o);
/* Both sides measured here? */
bool overlay_is_measured(const struct overlay *o, size_t response, size_t segment);
/* "measured on 6 laps", "spread by the circuit's shares, not measured"; returns buf. */
const char *overlay_source_words(const struct overlay_side *s, char *buf, size_t size);

/* The overlay as plain text, lines of at most `width` (60 or more) columns: each response's
 * segments with their class, the circuit's share, both runs, their difference and a bar, the
 * biggest difference first or along the lap. */
void overlay_text(const struct overlay *o, bool along, int width, struct buf *out);

#endif
