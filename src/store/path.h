/* Where the files of a book are. */
#ifndef STORE_PATH_H
#define STORE_PATH_H

/* DIR/FOLDER/NAMESUFFIX, without FOLDER/ where folder is "", and DIR/FOLDER where name is "";
 * slashes behind DIR count as one. The caller frees it; NULL: out of memory. */
char *path_join(const char *dir, const char *folder, const char *name, const char *suffix);

#endif
