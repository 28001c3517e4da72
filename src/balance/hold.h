/* Which adjustables bear on a share, and the step that holds it. */
#ifndef BALANCE_HOLD_H
#define BALANCE_HOLD_H

#include "balance/balance.h"

/* Does the adjustable bear on the load-transfer share (a spring or bar), on the aero share (a
 * wing whose slope counts)? */
bool balance_bears_on_transfer(const struct car *car, int adjustable);
bool balance_bears_on_aero(const struct car *car, int adjustable);

/*
 * The value of `other` on its steps that brings the load-transfer share nearest to the anchor, all
 * other values as they stand (values[other] is where it comes from: of two alike, the
 * nearer one is taken). One step outside its limits where the limit is in the way. values is
 * scratch and as before afterwards. The car must tell the share.
 */
fix balance_hold_step(const struct car *car, fix *values, int other, double anchor);

#endif
