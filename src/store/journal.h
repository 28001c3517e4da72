/*
 * The journal of unsaved edits, one file beside the sheet for each process that edits it:
 * `.ID.yaml.journal`; where another process's stands there, `.ID.yaml.journal-2` and so on to -9
 * (where the folder cannot be written: below $XDG_STATE_HOME/treadlight). One record for
 * each action of the user, written before the screen shows it, so that a dropped link or a
 * kill loses at most the key under the finger. Readable by nobody but the owner.
 *
 * A journal is its process's own, which holds it (flock) while it is open: nobody else writes,
 * replaces or removes it. One that nobody holds was left behind. It stays, and new edits go to a
 * journal of another name, until its edits were taken or expressly dropped; each set by itself.
 *
 * A change is a pair of texts whose meaning is the caller's, such as
 * {"values.front-wing", "8.5"}, {"locks.wing", "1"}; replaying the records in order over
 * the base gives the state. Undo and redo are journalled by the values that they bring back.
 *
 * Call order (workbench)
 * start:  journal_recover(), then journal_recover_next() until nothing is found. busy: a session
 *         that lives; leave it. !same_base: the file was saved or edited since; the changes may
 *         still be offered. Apply them to a copy of the sheet: if nothing differs, journal_drop();
 *         else offer the difference. Taken: journal_adopt(). Declined: journal_drop(). Else leave
 *         it where it is. Never apply unasked.
 * edit:   lock_take(); journal_open() at the first edit with the stamp of the file as read;
 *         journal_append() before drawing.
 * idle:   journal_sync() when journal_due() says so (within 4 s of the edit).
 * other base: journal_rebase(), when the file was read anew under the edits.
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

enum {
	JOURNAL_SYNC_SECONDS = 4,
	JOURNAL_LOOK_SECONDS = 10, /* between looks whether it was deleted */
	JOURNAL_MAX_BYTES = 1024 * 1024,
	JOURNALS_MAX = 9 /* beside a file, and in the user's own folder */
};

struct journal {
	int fd;            /* -1: closed */
	char *file, *path; /* owned: whose edits they are, where the journal stands */
	struct stamp base; /* what the edits were made on */
	struct buf text;   /* all that was written, to write it anew when the disk fails */
	int64_t since;     /* monotonic seconds of the oldest edit not synced; 0: none */
	int64_t looked;    /* monotonic seconds when it was last seen to be there */
	bool traced;       /* the file system tells whether it is the one that stands at its path */
	bool entered;      /* the folder's entry is synced too */
	bool torn; /* half a record could not be cut off, or what is open has no name any more: all
		      is written anew before the next */
	bool sick; /* a sync failed: written anew, never synced again */
};

void journal_init(struct journal *j);
/* Start a journal of `file`, under the first name that is free. base all zero: a sheet that has no
 * file yet. */
bool journal_open(struct journal *j, const char *file, const struct stamp *base, struct err *err);
bool journal_is_open(const struct journal *j);
/* One action of the user: written when this returns true, not yet synced. On failure the
 * journal is as before (a torn record is cut off) and the edit should be shown as not safe. */
bool journal_append(struct journal *j, const struct change *changes, size_t n, struct err *err);
/* In place of all that it holds: these changes, made on another base. On failure as before. */
bool journal_rebase(struct journal *j, const struct stamp *base, const struct change *changes,
	size_t n, struct err *err);
/* Seconds until journal_sync() has work (0: now), -1 if the journal is closed: the idle loop's
 * timeout. */
int journal_due(const struct journal *j);
/* fsync where edits wait for it; after a failure, or where it was deleted or replaced by others,
 * the journal is written anew to another file, never synced twice. */
bool journal_sync(struct journal *j, struct err *err);
/* Remove it: the edits are saved or given up. What others put in its place stays. */
bool journal_discard(struct journal *j, struct err *err);
/* Let go, keep the file. */
void journal_close(struct journal *j);

struct recovery {
	bool found;
	bool busy;      /* a session that lives has it */
	bool same_base; /* the file has the bytes that the edits were made on */
	bool whole;     /* false: something behind the last valid record was cut off */
	size_t n_records;
	struct change *changes; /* owned, in order, all records after each other */
	size_t n_changes;
	int64_t when;       /* last written, s since 1970 */
	char *storage;      /* owned: the texts */
	char *path;         /* owned: of the journal */
	struct stamp stamp; /* of the journal */
	int slot; /* which of the possible names comes next; tells journals of one file apart */
};

/* The first journal of `file` that holds edits; found: false if there is none. False with err when
 * one is there and cannot be read; those behind it are found all the same. `now` is the file as it
 * stands (zero: none). */
bool journal_recover(
	const char *file, const struct stamp *now, struct recovery *r, struct err *err);
/* The next one; frees what *r had. */
bool journal_recover_next(
	const char *file, const struct stamp *now, struct recovery *r, struct err *err);
void recovery_free(struct recovery *r);
/* Go on with the edits of a journal that was left behind, in one of our own that takes its place:
 * at every moment one of both is there. base: the file as it is now. False: nothing was changed. On
 * success err is set only where the old one could not be removed. */
bool journal_adopt(struct journal *j, const char *file, const struct stamp *base,
	struct recovery *r, struct err *err);
/* Remove a journal that was left behind, if it is as it was read and nobody has it. */
bool journal_drop(const struct recovery *r, struct err *err);

/* Parse a journal's bytes, for tests and fuzzing: any cut gives the valid prefix. False: out of
 * memory. base is as written; NULL if not wanted. */
bool journal_parse(const char *bytes, size_t size, struct recovery *r, struct stamp *base);

#endif
