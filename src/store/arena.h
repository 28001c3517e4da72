/* Memory that is given back all at once: the nodes and texts of one document. */
#ifndef STORE_ARENA_H
#define STORE_ARENA_H

#include <stddef.h>

struct arena;

/* Zeroed and aligned; NULL when out of memory. *a may be NULL at first. */
void *arena_take(struct arena **a, size_t size);
void arena_free(struct arena *a);

#endif
