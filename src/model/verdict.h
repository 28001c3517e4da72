/*
 * Figures put into a driver's words. Nothing is decided here that the intervals do
 * not say: a word other than "can't tell" needs an interval clear of zero.
 */
#ifndef MODEL_VERDICT_H
#define MODEL_VERDICT_H

#include "model/model.h"

/* s or % per lap: smaller differences are rounding, whatever their intervals say. Readings that
 * never varied leave nothing else, and intervals as narrow as that. */
#define VERDICT_FINEST 1e-9

enum verdict {
	VERDICT_NOT_TESTED,  /* the runs cannot speak about this change */
	VERDICT_CANT_TELL,   /* they can, and the interval covers no change at all */
	VERDICT_SAME,        /* nothing was changed that matters */
	VERDICT_KINDER,      /* less wear at equal pace */
	VERDICT_ONLY_SLOWER, /* less wear, but lifting would have saved more */
	VERDICT_HARDER,      /* more wear at equal pace, and no less as driven */
	VERDICT_FASTER,
	VERDICT_SLOWER,
	VERDICT_LESS, /* wear as driven, pace not regarded */
	VERDICT_MORE,
};

/* "kinder", "only slower", "can't tell"... */
const char *verdict_word(enum verdict v);

/* A chance between 0 and 1 in words: "93 in 100", "over 99 in 100"; never sure. Into buf. */
enum { CHANCE_SIZE = 24 };
const char *verdict_chance(double chance, char buf[CHANCE_SIZE]);

/* Of a lap time's delta: faster, slower. */
enum verdict verdict_time(const struct estimate *delta);
/* Of a wear's delta as driven: less, more. */
enum verdict verdict_wear(const struct estimate *delta);
/* Of wear at the reference's pace beside wear as driven: kinder, only slower, harder. */
enum verdict verdict_like(const struct like_delta *like, const struct estimate *raw);

#endif
