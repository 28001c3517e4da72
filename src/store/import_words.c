#include "store/import_parts.h"

#include <search.h>
#include <stdlib.h>
#include <string.h>

struct word {
	const char *text; /* borrowed */
	ptrdiff_t place;
};

static int compare_words(const void *a, const void *b)
{
	const struct word *x = a, *y = b;
	return strcmp(x->text, y->text);
}

ptrdiff_t words_place(struct words *w, const char *word, ptrdiff_t place)
{
	const struct word key = {word, place};
	struct word *const *at = tfind(&key, &w->root, compare_words);
	if (at)
		return (*at)->place;
	struct word *added = malloc(sizeof *added);
	if (added)
		*added = key;
	if (!added || !tsearch(added, &w->root, compare_words)) {
		free(added);
		return WORDS_MEMORY;
	}
	return place;
}

void words_free(struct words *w)
{
	tdestroy(w->root, free);
	w->root = NULL;
}
