/*
 * The journal of unsaved edits, one file beside the sheet: `.ID.yaml.journal`
 * (where the folder cannot be written: below $XDG_STATE_HOME/treadlight). One record for
 * each action of the user, written before the screen shows it, so that a dropped link or a
 * kill loses at most the key under the finger. Readable by nobody but the owner.
 *
 * A change is a pair of texts whose meaning is the caller's, such as
 * {"values.front-wing", "8.5"}, {"locks.wing", "1"}; replaying the records in order over
 * the base gives the state. Undo and redo are journalled by the values that they bring back.
 *
 * Call order (workbench)
 * start:  journal_recover(). found && !same_base: the file was saved or edited since; the
 *         changes may still be offered. Apply them to a copy of the sheet: if nothing
 *         differs, journal_remove(); else offer the difference. Taken: go on with
 *         journal_open() (same base) or journal_remove(), journal_open() and journal_append()
 *         of all changes (other base). Declined: journal_remove(). Never apply unasked.
 * edit:   lock_take(); journal_open() at the first edit with the stamp of the file as read;
 *         journal_append() before drawing.
 * idle:   journal_sync() when journal_due() says so (within 4 s of the edit).
 * saved:  file_save(); on success journal_discard(), lock_release().
 * leave:  edits given up on purpose: journal_discard(). SIGHUP, SIGTERM: journal_close(),
 *         which keeps the file.
 */
#ifndef STORE_JOURNAL_H
#define STORE_JOURNAL_H

#include "base/err.h"
#include "base/text.h"
#include "store/file.h"

struct change {
	const char *key, *value; /* no NULs; any other byte will do */
};

enum { JOURNAL_SYNC_SECONDS = 4, JOURNAL_MAX_BYTES = 1024 * 1024 };

struct journal {
	int fd;          /* -1: closed */
	char *path;      /* owned */
	struct buf text; /* all that was written, to write it anew when the disk fails */
	int64_t since;   /* monotonic seconds of the oldest edit not synced; 0: none */
	bool entered;    /* the folder's entry is synced too */
	bool torn;       /* half a record could not be cut off: written anew before the next */
};

void journal_init(struct journal *j);
/* Start the journal of `file`, or go on behind the valid records of one with the same base.
 * One with another base is never overwritten: ERR_INPUT. base all zero: a sheet that has no
 * file yet. */
bool journal_open(struct journal *j, const char *file, const struct stamp *base, struct err *err);
bool journal_is_open(const struct journal *j);
/* One action of the user: written when this returns true, not yet synced. On failure the
 * journal is as before (a torn record is cut off) and the edit should be shown as not safe. */
bool journal_append(struct journal *j, const struct change *changes, size_t n, struct err *err);
/* Seconds until a sync is due (0: now), -1 if nothing waits: the idle loop's timeout. */
int journal_due(const struct journal *j);
/* fsync; after a failure the journal is written anew to another file, never synced twice. */
bool journal_sync(struct journal *j, struct err *err);
/* Remove it: the edits are saved or given up. */
bool journal_discard(struct journal *j, struct err *err);
/* Let go, keep the file. */
void journal_close(struct journal *j);

struct recovery {
	bool found;
	bool same_base; /* the file has the bytes that the edits were made on */
	bool whole;     /* false: something behind the last valid record was cut off */
	size_t n_records;
	struct change *changes; /* owned, in order, all records after each other */
	size_t n_changes;
	int64_t when;  /* last written, s since 1970 */
	char *storage; /* owned: the texts */
};

/* Look for the journal of `file`. False only when one is there and cannot be read. `now` is
 * the file as it stands (zero: none). */
bool journal_recover(
	const char *file, const struct stamp *now, struct recovery *r, struct err *err);
void recovery_free(struct recovery *r);
/* Remove a journal found at the start. */
bool journal_remove(const char *file, struct err *err);

/* Parse a journal's bytes, for tests and fuzzing: any cut gives the valid prefix. False: out of
 * memory. base is as written; NULL if not wanted. */
bool journal_parse(const char *bytes, size_t size, struct recovery *r, struct stamp *base);

#endif
