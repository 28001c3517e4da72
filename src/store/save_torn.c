/* Files that a kill between two calls left half rewritten. */
#include "base/text.h"
#include "store/host.h"
#include "store/path.h"
#include "store/save_parts.h"
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* The copy of the file in an open folder (below 0: none), by the name that it has there. */
static char *find_copy(const struct job *j, const char *name, int dir, const char *folder)
{
	DIR *d = dir >= 0 ? temp_list(dir) : NULL;
	struct dirent *e;
	char *found = NULL;

	while (d && !found && (e = readdir(d))) {
		struct leftover o;
		struct buf b;
		if (!temp_take_apart(name, e->d_name, &o) || strcmp(o.kind, "copy") != 0 ||
			temp_may_go(j, &o, dir, e->d_name))
			continue;
		buf_init(&b);
		buf_addf(&b, "%s/%s", folder, e->d_name);
		found = buf_take(&b);
	}
	if (d)
		closedir(d);
	return found;
}

bool save_interrupted(const char *path, char **copy)
{
	struct job j = {.path = path, .target = realpath(path, NULL), .dir = -1};
	char *slash = j.target ? strrchr(j.target, '/') : NULL;
	char state[512], own[OWN_NAME];
	int dir;

	*copy = NULL;
	if (slash) {
		j.name = slash + 1;
		temp_own_name(&j, own);
		j.dir = path_open_folder(j.target);
		*slash = '\0';
		*copy = find_copy(&j, j.name, j.dir, j.target);
	}
	if (slash && j.dir >= 0 && !*copy) {
		dir = state_folder(state, sizeof state, false);
		*copy = find_copy(&j, own, dir, state);
		if (dir >= 0)
			close(dir);
	}
	if (j.dir >= 0)
		close(j.dir);
	free(j.target);
	return *copy != NULL;
}

static const char *name_of(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

/* Where the user finds it without being told the folder. */
static bool is_beside(const char *path, const char *copy)
{
	struct stat st;
	char *real = realpath(path, NULL);
	const size_t len = (size_t)(name_of(copy) - copy);
	const bool yes = real && lstat(path, &st) == 0 && !S_ISLNK(st.st_mode) &&
			 (size_t)(name_of(real) - real) == len && strncmp(real, copy, len) == 0;

	free(real);
	return yes;
}

static void tell(const char *path, const char *copy, struct faults *f)
{
	const bool beside = is_beside(path, copy);
	struct err e;

	err_clear(&e);
	err_input(&e,
		"was being written when the program or its machine stopped, and is half old, half "
		"new; the old text is in %s%s: copy that over this file, or remove it if the file "
		"is right as it is",
		beside ? name_of(copy) : copy, beside ? " beside it" : "");
	err_at(&e, path, 0, 0);
	faults_add(f, &e);
}

bool save_is_whole(const char *path, struct faults *f)
{
	char *copy;

	if (!save_interrupted(path, &copy))
		return true;
	tell(path, copy, f);
	free(copy);
	return false;
}

/* A file of a book's, by its name. */
static bool is_ours(const char *name)
{
	const size_t len = strlen(name);

	return len > 5 && strcmp(name + len - 5, ".yaml") == 0 && text_is_id(name, len - 5);
}

/* The file that a copy is of; of several copies the one that is told. */
static void check_named(const char *folder, const char *name, const char *entry, struct faults *f)
{
	struct err e;
	char *path = path_join(folder, "", name, ""), *copy = NULL;

	err_clear(&e);
	if (!path) {
		err_memory(&e);
		err_at(&e, folder, 0, 0);
		faults_add(f, &e);
	} else if (save_interrupted(path, &copy) && (!entry || strcmp(name_of(copy), entry) == 0)) {
		tell(path, copy, f);
	}
	free(copy);
	free(path);
}

/* Whose copies stand elsewhere. */
static bool is_link(int dir, const struct dirent *e)
{
	struct stat st;

	if (e->d_type != DT_UNKNOWN)
		return e->d_type == DT_LNK;
	return fstatat(dir, e->d_name, &st, AT_SYMLINK_NOFOLLOW) == 0 && S_ISLNK(st.st_mode);
}

static void check_entries(const char *folder, int dir, size_t prefix, struct faults *f)
{
	DIR *d = dir >= 0 ? temp_list(dir) : NULL; /* none: told where the files are listed */
	struct dirent *e;

	while (d && (e = readdir(d))) {
		char name[TEMP_NAME];
		if (temp_copy_of(e->d_name, name) && strlen(name) > prefix &&
			is_ours(name + prefix))
			check_named(folder, name + prefix, e->d_name, f);
		else if (prefix == 0 && is_ours(e->d_name) && is_link(dir, e))
			check_named(folder, e->d_name, NULL, f);
	}
	if (d)
		closedir(d);
}

void save_check_folder(const char *folder, struct faults *f)
{
	enum { HASH_AND_DOT = 17 };
	char state[512];
	int dir = (int)AGAIN(open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC));

	check_entries(folder, dir, 0, f);
	if (dir >= 0)
		close(dir);
	dir = state_folder(state, sizeof state, false);
	check_entries(folder, dir, HASH_AND_DOT, f);
	if (dir >= 0)
		close(dir);
}
