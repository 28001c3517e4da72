/*
 * A door of the store (doors.h) opened with one or two faults behind it (shim.h). Nothing crashes
 * or leaks, a refusal says why, and each file of the book is as before or as after, or is told as
 * damaged with the old text kept aside; else the test fails.
 */
#ifndef TREADLIGHT_TESTS_WALK_H
#define TREADLIGHT_TESTS_WALK_H

#include "support/doors.h"
#include "support/shim.h"

struct world {
	const char *name;
	const struct lack *lacks;
	bool closed;   /* nobody may write to the folders of sheets and runs */
	bool may_fail; /* not everything can be done here */
	bool in_place; /* files are rewritten in place */
	bool smb;      /* names are kept as by an SMB server */
};

/* What the door does when nothing fails: shim.made[] has the counts. */
void walk_begin(const struct door *d, const struct world *w);
/* True when `first` never came. */
bool walk_try(struct fault first, struct fault second);
void walk_end(void);

#endif
