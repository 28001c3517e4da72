/* Work on many like things side by side, on as many cores as the machine lends us. */
#ifndef BASE_SHARE_H
#define BASE_SHARE_H

#include <stddef.h>

/*
 * Calls one(ctx, i) once for every i below n and returns when all are done. The calls may run
 * at the same time and in any order: each writes only what belongs to its own i, so that
 * the outcome is the same on any machine. Below `few` things, with one core, or where no
 * thread can be had, they run one after another in order. Signals stay with the caller's thread.
 */
void share_out(size_t n, size_t few, void (*one)(void *ctx, size_t i), void *ctx);

#endif
