/* Shared by the files that make designs; nobody else includes it. */
#ifndef PLAN_DESIGN_OWN_H
#define PLAN_DESIGN_OWN_H

#include "plan/design.h"

/* All levels 0. False: out of memory, d empty. */
bool design_alloc(struct design *d, size_t runs, size_t factors, struct err *err);
void design_put(struct design *d, size_t run, size_t factor, int level);

#endif
