/* What the parts of a save share; callers use save.h. */
#ifndef STORE_SAVE_PARTS_H
#define STORE_SAVE_PARTS_H

#include "store/save.h"
#include <dirent.h>
#include <errno.h>
#include <sys/stat.h>

/* Call again while a signal interrupts. */
#define AGAIN(call)                                                                                \
	__extension__({                                                                            \
		long again_;                                                                       \
		do                                                                                 \
			again_ = (long)(call);                                                     \
		while (again_ < 0 && errno == EINTR);                                              \
		again_;                                                                            \
	})

enum { TEMP_NAME = 256 };

/* One save at work. */
struct job {
	const char *path;  /* as the caller named it, for messages */
	char *target;      /* owned: links resolved */
	const char *name;  /* last part of target */
	int dir;           /* the folder, open */
	const char *bytes; /* what to write */
	size_t size;
	uint64_t hash;
	struct stamp *stamp;
	struct stat old;      /* of the file to be replaced */
	char kept[TEMP_NAME]; /* what a sweep gave a visible name, the first; "" */
	struct err *err;
};

/* err: "was not saved: STEP failed: REASON; the file is as it was". Returns SAVE_FAILED. */
enum save_outcome job_failed(const struct job *j, const char *step, int code);
enum save_outcome job_conflict(const struct job *j, const char *how);
enum save_outcome job_read_only(const struct job *j, int code);

/*
 * Names of our own files beside NAME: ".NAME.tl-KIND-HOST-PID-COUNT[-OLDHASH-NEWHASH]".
 * "new": being written. "swap": whole, about to change places with NAME. "copy": the old
 * text while NAME is rewritten in place.
 */
void temp_name(const struct job *j, const char *name, const char *kind, uint64_t old_hash,
	char out[TEMP_NAME]);
/* Remove those that dead processes of this host left in folder `dir`, and copies of any host that
 * are of no more use: who rewrites in place holds the lock. What may be the only copy of
 * somebody's text is renamed to NAME.kept-N instead, and j->kept says so. */
void temp_sweep(struct job *j, int dir);
/* The same of those in the list. */
void temp_sweep_list(struct job *j, const struct leftovers *l);
/* As which name the file's old text goes to the user's own folder, where that of all books stand:
 * that of its path, hashed, and its own. */
enum { OWN_NAME = 192 };
void temp_own_name(const struct job *j, char out[OWN_NAME]);

/* A name of ours, taken apart. */
struct leftover {
	char kind[8];
	uint32_t host;
	long pid;
	bool hashed;
	uint64_t old_hash, new_hash;
};
/* Of an entry ".NAME.tl-..." that nobody is at work with any more; false: it is none. */
bool temp_take_apart(const char *name, const char *entry, struct leftover *o);
/* NAME of such an entry that is a copy; false: it is none, or the name is cut. */
bool temp_copy_of(const char *entry, char name[TEMP_NAME]);
/* A copy is needed while the file itself holds neither its old text nor the new one; so is a swap,
 * or while it holds something else itself, where another program came between. */
bool temp_may_go(const struct job *j, const struct leftover *o, int dir, const char *entry);
/* An open folder's entries from the start; it stays open. NULL: errno. */
DIR *temp_list(int dir);
/* Give our file `temp` in folder `dir` a visible name, NAME.kept-N, and write that name to out. */
bool temp_keep(const struct job *j, int dir, const char *temp, char out[TEMP_NAME]);

/* Hash and size of a file in the folder; false with errno when it cannot be read. */
bool peek(int dir, const char *name, struct stamp *out);
/* All bytes, however few go at a time. */
bool write_all(int fd, const char *bytes, size_t size);

enum kept {
	KEPT,        /* owner, mode, access list and attributes are those of the old file */
	KEPT_NOT,    /* this system or user cannot give them: rewrite in place */
	KEPT_FAILED, /* errno */
};
/* Give temp (open) what the old file (open) has. */
enum kept keep_metadata(int old, const struct stat *st, int temp);

/* Rewrite in place, a synced copy of the old text set aside first. */
enum save_outcome save_in_place(struct job *j);

#endif
