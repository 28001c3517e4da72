#include "store/arena.h"

#include <stdlib.h>
#include <string.h>

struct arena {
	struct arena *older;
	size_t used, cap;
	_Alignas(max_align_t) unsigned char data[];
};

static struct arena *arena_grow(struct arena *older, size_t size)
{
	size_t cap = older ? older->cap * 2 : 4096;
	struct arena *a;

	if (cap > 256 * 1024)
		cap = 256 * 1024;
	if (cap < size)
		cap = size;
	a = malloc(sizeof *a + cap);
	if (a) {
		a->older = older;
		a->used = 0;
		a->cap = cap;
	}
	return a;
}

void *arena_take(struct arena **a, size_t size)
{
	size_t step = _Alignof(max_align_t);
	void *at;

	size = (size + step - 1) / step * step;
	if (!*a || (*a)->cap - (*a)->used < size) {
		struct arena *grown = arena_grow(*a, size);
		if (!grown)
			return NULL;
		*a = grown;
	}
	at = (*a)->data + (*a)->used;
	(*a)->used += size;
	return memset(at, 0, size);
}

void arena_free(struct arena *a)
{
	while (a) {
		struct arena *older = a->older;
		free(a);
		a = older;
	}
}
