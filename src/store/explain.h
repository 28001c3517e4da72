/* The parser's terse complaints, in words that a user can act on. */
#ifndef STORE_EXPLAIN_H
#define STORE_EXPLAIN_H

#include "base/err.h"
#include "store/scan.h"

struct problem {
	const char *problem, *context; /* libyaml's own; may be NULL */
	struct place at;   /* in: where it was noticed; out: where the user should look */
	struct place from; /* where the thing began that it belongs to */
};

void explain_problem(struct problem *p, const struct scan *s, struct err *err);

#endif
