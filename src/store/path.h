/* Where the files of a book are. */
#ifndef STORE_PATH_H
#define STORE_PATH_H

#include "base/err.h"

/* DIR/FOLDER/NAMESUFFIX, without FOLDER/ where folder is "", and DIR/FOLDER where name is "";
 * slashes behind DIR count as one. The caller frees it; NULL: out of memory. */
char *path_join(const char *dir, const char *folder, const char *name, const char *suffix);
/* Does anything stand there? False: it cannot be told, err says why and where: a folder that may
 * not be searched, a link there or above that leads nowhere or in a circle, a disk that fails. What
 * cannot be reached is not absent; *there is true then, for all one knows. */
bool path_there(const char *path, bool *there, struct err *err);
/* The folder that path stands in, opened; the caller closes it. Below 0: errno, or out of memory.
 */
int path_open_folder(const char *path);
/* That folder's entries to disk; false, with errno: they may not be there. A file system that
 * cannot sync a folder is not to blame. */
bool path_sync_folder(const char *path);

/* Rename within or between open folders (or AT_FDCWD), never over what is there: 0, or errno
 * (EEXIST: taken). Where the file system knows neither a rename that does not replace nor second
 * names, as FAT does, the name is looked at a moment before. */
int path_move_new(int from_dir, const char *from, int to_dir, const char *to);

#endif
