/*
 * How long a piece of work may take. The worker tells what it has done, in steps of some ten
 * nanoseconds; every PATIENCE_ASK of them whoever waits is asked whether to go on. Counted and not
 * timed, so that the same work ends at the same place on any machine, however busy.
 */
#ifndef BASE_PATIENCE_H
#define BASE_PATIENCE_H

#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { PATIENCE_ASK = 100000 };

struct patience {
	bool (*go_on)(void *data); /* false stops the work; NULL: nobody is asked */
	void *data;
	uint64_t most;   /* steps that the work may take; 0: any number */
	uint64_t spent;  /* so far */
	uint64_t ask_at; /* the next question */
	bool stopped;    /* by go_on; the end of it without that would come again */
};

/* What patience_spend() does where it is time to ask. */
bool patience_ask(struct patience *p);

/* Call before `steps` of work, or after them. False: stop, and go on saying so. p may be NULL: no
 * end of patience. */
static inline bool patience_spend(struct patience *p, size_t steps)
{
	if (!p)
		return true;
	p->spent += steps;
	return p->spent < p->ask_at || patience_ask(p);
}

/* Is it at its end? */
bool patience_ended(const struct patience *p);

/* Work that ended early did so at the end of patience or, that apart, for want of memory: err says
 * which. Returns false. */
bool patience_end(const struct patience *p, const char *work, struct err *err);

#endif
