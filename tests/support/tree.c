#include "support/tree.h"

#include "support/support.h"

#include <errno.h>
#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* nftw() takes no argument along. */
static struct tree *tree;
static const char *top;
static uid_t wanted;
static bool untouched[TREE_FILES];

static int add_file(const char *name, const struct stat *st, int flag, struct FTW *at)
{
	const char *base = name + at->base;
	struct tree_file *f = &tree->files[tree->n];

	if (flag != FTW_F || base[0] == '.' || strstr(base, ".kept-") || strstr(base, ".journal"))
		return 0;
	ck_assert_uint_lt(tree->n, TREE_FILES);
	snprintf(f->name, sizeof f->name, "%s", name + strlen(top) + 1);
	f->bytes = test_slurp(name, &f->size);
	f->ino = st->st_ino;
	f->mode = st->st_mode;
	tree->n++;
	return 0;
}

void tree_take(struct tree *t, const char *folder)
{
	t->n = 0;
	tree = t;
	top = folder;
	nftw(folder, add_file, 16, FTW_PHYS);
}

void tree_free(struct tree *t)
{
	for (size_t i = 0; i < t->n; i++)
		free(t->files[i].bytes);
	t->n = 0;
}

bool tree_holds(const struct tree *t, const char *name, const char *bytes, size_t size)
{
	for (size_t i = 0; i < t->n; i++) {
		if (strcmp(t->files[i].name, name) == 0)
			return bytes && t->files[i].size == size &&
			       memcmp(t->files[i].bytes, bytes, size) == 0;
	}
	return !bytes;
}

static bool same_bytes(const char *name, const struct tree_file *f)
{
	size_t size;
	char *bytes = test_slurp(name, &size);
	bool same = size == f->size && memcmp(bytes, f->bytes, size) == 0;

	free(bytes);
	return same;
}

/* 1: goes; 0: stays. */
static int is_other(const char *name, const struct stat *st, int flag)
{
	const char *below = name + strlen(top) + 1;

	for (size_t i = 0; i < tree->n; i++) {
		const struct tree_file *f = &tree->files[i];
		const size_t len = strlen(below);
		if (flag == FTW_DP && strncmp(f->name, below, len) == 0 && f->name[len] == '/')
			return 0;
		if (flag != FTW_F || strcmp(f->name, below) != 0)
			continue;
		untouched[i] = st->st_ino == f->ino && st->st_nlink == 1 && st->st_uid == wanted &&
			       st->st_mode == f->mode && same_bytes(name, f);
		return !untouched[i];
	}
	return 1;
}

static int drop_other(const char *name, const struct stat *st, int flag, struct FTW *at)
{
	return at->level > 0 && is_other(name, st, flag) ? remove(name) : 0;
}

static void put_back(struct tree_file *f)
{
	char name[4600];
	struct stat st;

	snprintf(name, sizeof name, "%s/%s", top, f->name);
	for (char *slash = name + strlen(top) + 1; (slash = strchr(slash, '/')); slash++) {
		*slash = '\0';
		ck_assert(mkdir(name, 0755) == 0 || errno == EEXIST);
		*slash = '/';
	}
	test_write(name, f->bytes, f->size);
	ck_assert_int_eq(lstat(name, &st), 0);
	if (st.st_uid != wanted)
		ck_assert_int_eq(lchown(name, wanted, (gid_t)-1), 0);
	f->ino = st.st_ino;
	f->mode = st.st_mode;
}

void tree_restore(struct tree *t, const char *folder, uid_t owner)
{
	tree = t;
	top = folder;
	wanted = owner;
	memset(untouched, 0, sizeof untouched);
	ck_assert_int_eq(nftw(folder, drop_other, 16, FTW_DEPTH | FTW_PHYS), 0);
	for (size_t i = 0; i < t->n; i++)
		if (!untouched[i])
			put_back(&t->files[i]);
}
