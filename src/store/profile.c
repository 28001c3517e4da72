/* Where profiles are: the book's own, the user's, the installed ones. */
#include "store/path.h"
#include "store/store.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Where it was looked for. */
struct search {
	const char *kind, *id;
	struct buf tried;
	struct err why; /* a place that could not be looked at: the profile there would count */
};

/* Adds BASE/MIDDLE KIND/ID.yaml to s->tried; the path if a file stands there. NULL also when out
 * of memory (s->tried.failed), or s->why. */
static char *try_place(struct search *s, const char *base, const char *middle)
{
	bool there;
	struct buf path;
	buf_init(&path);
	size_t len = strlen(base);
	while (len > 1 && base[len - 1] == '/')
		len--;
	buf_addf(&path, "%.*s/%s%s/%s.yaml", (int)len, base, middle, s->kind, s->id);
	char *p = buf_take(&path);
	if (!p) {
		s->tried.failed = true;
		return NULL;
	}
	if (path_there(p, &there, &s->why) && there)
		return p;
	buf_addf(&s->tried, "%s%s", s->tried.len ? ", " : "", p);
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

/* The next place is only looked at where it is sure that nothing is in those before. */
static bool goes_on(const struct search *s, const char *found)
{
	return !found && s->why.cls == ERR_NONE;
}

static char *find(struct search *s, const char *dir)
{
	char *found = dir ? try_place(s, dir, "profiles/") : NULL;
	char *own = goes_on(s, found) ? user_data(&s->tried.failed) : NULL;
	if (own)
		found = try_place(s, own, "profiles/");
	if (own && goes_on(s, found))
		found = try_place(s, own, "");
	free(own);
	if (!goes_on(s, found))
		return found;
	const char *installed = getenv("TREADLIGHT_DATADIR");
	return try_place(s, installed && *installed ? installed : PKGDATADIR, "profiles/");
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
	struct search s = {.kind = kind, .id = id};
	if (!text_is_id(id, strlen(id))) {
		err_input(err, "'%.80s' is no id; use a-z, 0-9 and -", id);
		return NULL;
	}
	buf_init(&s.tried);
	err_clear(&s.why);
	char *found = find(&s, dir);
	if (!found && (s.tried.failed || err_is_memory(&s.why)))
		err_memory(err);
	else if (!found && s.why.cls == ERR_INPUT)
		err_input(err, "whether there is a profile '%s' is not known; %s %s", id,
			s.why.file, s.why.text);
	else if (!found && s.why.cls == ERR_FAILED)
		err_failed(err, "whether there is a profile '%s' is not known; %s %s", id,
			s.why.file, s.why.text);
	else if (!found)
		err_input(err, "there is no profile '%s'; looked for %s", id, s.tried.data);
	buf_free(&s.tried);
	return found;
}
