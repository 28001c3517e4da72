/* Where profiles are: the book's own, the user's, the installed ones. */
#include "store/store.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Adds BASE/MIDDLE KIND/ID.yaml to *tried; the path if a file stands there. NULL also when out
 * of memory (b->failed). */
static char *try_place(
	struct buf *tried, const char *base, const char *middle, const char *kind, const char *id)
{
	struct buf path;
	buf_init(&path);
	size_t len = strlen(base);
	while (len > 1 && base[len - 1] == '/')
		len--;
	buf_addf(&path, "%.*s/%s%s/%s.yaml", (int)len, base, middle, kind, id);
	char *p = buf_take(&path);
	if (!p) {
		tried->failed = true;
		return NULL;
	}
	if (access(p, F_OK) == 0)
		return p;
	buf_addf(tried, "%s%s", tried->len ? ", " : "", p);
	free(p);
	return NULL;
}

/* $XDG_DATA_HOME/treadlight, by default below ~/.local/share; NULL if neither is known. */
static char *user_data(bool *failed)
{
	const char *xdg = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
	struct buf b;
	buf_init(&b);
	/* The base directory specification has relative paths ignored. */
	if (xdg && xdg[0] == '/')
		buf_addf(&b, "%s/treadlight", xdg);
	else if (home && home[0] == '/')
		buf_addf(&b, "%s/.local/share/treadlight", home);
	else
		return NULL;
	char *path = buf_take(&b);
	*failed = *failed || !path;
	return path;
}

static char *find(struct buf *tried, const char *dir, const char *kind, const char *id)
{
	char *found = dir ? try_place(tried, dir, "profiles/", kind, id) : NULL;
	if (found)
		return found;
	char *own = user_data(&tried->failed);
	if (own) {
		found = try_place(tried, own, "profiles/", kind, id);
		if (!found)
			found = try_place(tried, own, "", kind, id);
		free(own);
	}
	if (found)
		return found;
	const char *installed = getenv("TREADLIGHT_DATADIR");
	return try_place(
		tried, installed && *installed ? installed : PKGDATADIR, "profiles/", kind, id);
}

static bool keep_id(char (**ids)[ID_SIZE], size_t *n, const char *name)
{
	size_t len = strlen(name);
	if (len < 6 || strcmp(name + len - 5, ".yaml") != 0 || !text_is_id(name, len - 5))
		return true;
	void *grown = realloc(*ids, (*n + 1) * sizeof **ids);
	if (!grown)
		return false;
	*ids = grown;
	memcpy((*ids)[*n], name, len - 5);
	(*ids)[(*n)++][len - 5] = '\0';
	return true;
}

static bool list_folder(
	const char *base, const char *middle, const char *kind, char (**ids)[ID_SIZE], size_t *n)
{
	struct buf path;
	buf_init(&path);
	buf_addf(&path, "%s/%s%s", base, middle, kind);
	DIR *dir = path.failed ? NULL : opendir(path.data);
	bool ok = !path.failed;
	buf_free(&path);
	for (struct dirent *e; ok && dir && (e = readdir(dir));)
		ok = keep_id(ids, n, e->d_name);
	if (dir)
		closedir(dir);
	return ok;
}

static int compare_ids(const void *a, const void *b)
{
	return strcmp(a, b);
}

bool store_list_profiles(const char *dir, const char *kind, char (**ids)[ID_SIZE], size_t *n)
{
	bool failed = false;
	char *own = user_data(&failed);
	const char *installed = getenv("TREADLIGHT_DATADIR");
	*ids = NULL;
	*n = 0;
	bool ok = !failed && (!dir || list_folder(dir, "profiles/", kind, ids, n)) &&
		  (!own || (list_folder(own, "profiles/", kind, ids, n) &&
				   list_folder(own, "", kind, ids, n))) &&
		  list_folder(installed && *installed ? installed : PKGDATADIR, "profiles/", kind,
			  ids, n);
	free(own);
	if (!ok) {
		free(*ids);
		*ids = NULL;
		*n = 0;
		return false;
	}
	if (*n == 0)
		return true;
	qsort(*ids, *n, sizeof **ids, compare_ids);
	size_t kept = 1;
	for (size_t i = 1; i < *n; i++)
		if (strcmp((*ids)[i], (*ids)[kept - 1]) != 0)
			memmove((*ids)[kept++], (*ids)[i], ID_SIZE);
	*n = kept;
	return true;
}

char *store_find_profile(const char *dir, const char *kind, const char *id, struct err *err)
{
	struct buf tried;
	if (!text_is_id(id, strlen(id))) {
		err_input(err, "'%.80s' is no id; use a-z, 0-9 and -", id);
		return NULL;
	}
	buf_init(&tried);
	char *found = find(&tried, dir, kind, id);
	if (!found && tried.failed)
		err_memory(err);
	else if (!found)
		err_input(err, "there is no profile '%s'; looked for %s", id, tried.data);
	buf_free(&tried);
	return found;
}
