/* The files below a folder, held in memory. */
#ifndef TREADLIGHT_TESTS_TREE_H
#define TREADLIGHT_TESTS_TREE_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

enum { TREE_FILES = 64 };
struct tree {
	size_t n;
	struct tree_file {
		char name[256]; /* below the folder */
		char *bytes;
		size_t size;
		ino_t ino;
		mode_t mode;
	} files[TREE_FILES];
};

/* What stands there now, but for hidden files, journals and kept texts; tree_free() frees it. */
void tree_take(struct tree *t, const char *folder);
void tree_free(struct tree *t);
/* Is it in the tree, with these bytes? bytes NULL: is it not? */
bool tree_holds(const struct tree *t, const char *name, const char *bytes, size_t size);

/* Make the folder what the tree says, every file owned by `owner` and with one name; files that
 * nobody touched stay (t gets the new numbers of others), files that it does not name go. */
void tree_restore(struct tree *t, const char *folder, uid_t owner);

#endif
