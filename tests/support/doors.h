/*
 * Every door of the store to files, as a job on a small book in a folder of its own: for suites
 * that let calls fail behind it (shim.h, walk.h).
 */
#ifndef TREADLIGHT_TESTS_DOORS_H
#define TREADLIGHT_TESTS_DOORS_H

#include "base/err.h"

#include <stdbool.h>
#include <sys/types.h>

struct door {
	const char *name;
	void (*prepare)(void); /* nothing fails yet */
	bool (*run)(void);     /* true: done; else door_told says whether there was a word on it */
	const char *(*check)(void); /* afterwards: what is wrong; NULL: nothing, or no such check */
	bool may_tear;              /* rewritten in place: told as damaged, or nothing */
	bool long_one;
};
extern const struct door doors[];
extern const int n_doors;

extern char *door_folder;
extern struct err door_err;
extern bool door_told;
extern uid_t door_owner; /* of the files made afresh */

/* The fixture: a folder, a book read from it, a process that is dead. */
void doors_setup(void);
void doors_teardown(void);
/* The folder as it was, and nothing kept from the job before. */
void doors_afresh(void);

#endif
