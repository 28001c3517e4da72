/* What the journal's files share: where journals stand, and whose they are. */
#ifndef STORE_JOURNAL_PARTS_H
#define STORE_JOURNAL_PARTS_H

#include "store/journal_text.h"

/* DIR/.NAME.journal for DIR/NAME, links resolved: the first of the names beside the file. NULL:
 * errno. */
char *journal_beside(const char *file);
/* The first of the same file's names in the user's own folder; *path is NULL where there is no such
 * folder. False: errno; there may be one all the same. */
bool journal_own(const char *file, bool make, char **path);
/* The n-th name, from 0: `first`, then `first`-2 and so on. NULL: out of memory. */
char *journal_name(const char *first, int n);

enum grip {
	GRIP_OURS,
	GRIP_BUSY,    /* a process that lives has it */
	GRIP_UNKNOWN, /* the file system does not say */
};
/* how: LOCK_EX to take hold of a journal until it is closed, LOCK_SH to ask whether someone has. */
enum grip journal_grip(int fd, int how);
/* What is open is gone: deleted, or hidden by a server until it is closed. */
bool journal_is_gone(int fd, const char *path);
/* Something else stands at its path. */
bool journal_is_replaced(int fd, const char *path);
/* What is open is what stands at that path. */
bool journal_is_at(int fd, const char *path);
/* Remove a journal that was begun and has nothing of a record, if no process has it. */
bool journal_clear_empty(const char *path);

/* "edits are not safe from a crash: STEP the journal failed: REASON"; false. */
bool journal_fault(struct err *err, const char *path, const char *step, int code);
bool journal_no_memory(struct err *err, const char *path);

/* Open a journal that was found, held as long as it stays open, if it still is as it was read.
 * Below 0: err says why not. */
int journal_claim(const struct recovery *r, struct err *err);
/* Unlink; gone already is as good. */
bool journal_unlink(const char *path, struct err *err);

#endif
