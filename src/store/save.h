/*
 * Saving: the old file or the new one, whatever happens between, and never
 * over bytes that the caller has not seen.
 *
 * The way: a temporary of a unique name in the same folder, written and synced, given the
 * file's owner, mode, access list and attributes, swapped in under a content check, folder
 * synced. A symbolic link stays and its target is replaced. A file with more than one name,
 * one whose attributes cannot be kept, or one in a folder that cannot be written is
 * rewritten in place after a synced copy of the old bytes was set aside; the copy goes when
 * the save is done; so is a file on a server that renames to free names only, and one on SMB
 * that somebody has open, or may: the rename would be refused and take it away. A read-only file is
 * refused though its folder would let us.
 * Where no two names can be exchanged (NFS, exFAT, most of FUSE) the content is checked just before
 * the rename: who takes no lock and writes between the two is overwritten.
 *
 * Call order: bytes and stamp from doc_read() or file_read(); patch; file_save() with that
 * stamp, holding the file's lock (lock.h); on SAVE_DONE and SAVE_UNCONFIRMED *stamp is the
 * new file's, for the next save; then journal_discard().
 */
#ifndef STORE_SAVE_H
#define STORE_SAVE_H

#include "base/err.h"
#include "store/file.h"

/* The largest file that may be saved over: who gives a stamp has read no more than this, and before
 * a save the file is read again up to it. */
#define SAVE_MAX_BYTES (64 * 1024 * 1024)

enum save_outcome {
	SAVE_DONE,        /* err is clear, or tells of what a sweep set aside */
	SAVE_UNCONFIRMED, /* the new file stands, but the disk did not confirm: err says so */
	SAVE_CONFLICT,    /* the file is not the one that was read: nothing was written; err
			     says how it differs. Read it again, show both. */
	SAVE_FAILED, /* nothing was changed; err names the step and the system's reason. Or, where
			the disk fails half way: err says that the file is damaged, or that it
			is not known, and where which text is. */
};

/*
 * Replace `path` by `size` bytes if it still is what *stamp says. An all-zero stamp: the
 * file must not exist and is made new (mode 0666 less umask).
 */
enum save_outcome file_save(
	const char *path, const char *bytes, size_t size, struct stamp *stamp, struct err *err);

/* A new file that must not exist: file_save() with a zero stamp. True when it stands; err
 * is then set only where there is something to tell all the same: the disk did not confirm,
 * or an earlier save was cut short and what it left behind got a name. So say all that save.
 * err->taken where it exists. */
bool file_create(const char *path, const char *bytes, size_t size, struct err *err);

/*
 * Keep a file's text beside it as NAME.kept-N (*kept, the caller frees), synced, before it is
 * replaced by one that knows nothing of it; the file itself is not touched. False where it is not
 * what *stamp says or cannot be kept.
 */
bool save_aside(const char *path, const struct stamp *stamp, char **kept, struct err *err);

/*
 * For many new files in one folder: what saves that were cut short left in it, listed once instead
 * of looked for before each. Where the list cannot be had, it is looked for all the same.
 */
struct leftovers {
	bool known;
	size_t n;
	char (*names)[256]; /* owned */
};
/* path: of a file in the folder. */
void leftovers_list(struct leftovers *l, const char *path);
void leftovers_free(struct leftovers *l);
/* file_create() in that folder. */
bool file_create_among(const char *path, const char *bytes, size_t size, const struct leftovers *l,
	struct err *err);

/*
 * After a crash while a file was rewritten in place: true if `path` is neither the old nor
 * the new text, and *copy (caller frees) is where the old text was set aside.
 */
bool save_interrupted(const char *path, char **copy);
/* The same for those who read: false adds a fault that says where the old text is and what to do.
 * Before the file is read, for torn it may be no YAML any more, or figures that nobody wrote. */
bool save_is_whole(const char *path, struct faults *f);
/* Of all sheets or runs in a folder, at one look. */
void save_check_folder(const char *folder, struct faults *f);

#endif
