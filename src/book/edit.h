/*
 * The one setter. Every change of a sheet in the workbench goes through here: it
 * knows limits, steps, cautions, pairs and locks, and keeps the undo history, one
 * entry per user action. The clean mark is a position in that history, so undoing
 * back to what was saved is clean again.
 *
 * Rules: a nudge of a locked pair moves both members by the least common multiple
 * of their steps; where one would pass a limit neither moves and the message names
 * it. Typing into one member of a locked pair moves the other along, or is refused
 * with the reason. Frozen adjustables are held back from suggestions only.
 *
 * A pair of springs or bars can hold the load-transfer share instead: moving one end moves
 * the other to the step that brings the front share nearest to its anchor, the share that the
 * sheet had when it was opened or when the hold was set. Both ends stay inside their limits
 * or neither moves. The anchor stays, so what is left never adds up over nudges.
 */
#ifndef BOOK_EDIT_H
#define BOOK_EDIT_H

#include "base/err.h"
#include "book/book.h"

struct edit; /* opaque: a working copy of a sheet and its history */

/* Copies the sheet. NULL when out of memory. The car must outlive the editor. */
struct edit *edit_new(const struct car *car, const struct sheet *sheet);
void edit_free(struct edit *e);
const struct sheet *edit_sheet(const struct edit *e);
/* The sheet under work goes on as another, without the old one's title; its history stays. */
void edit_rename(struct edit *e, const char *id);

/*
 * What an action changed, for journal and redraw. A caution that the action newly
 * passed is reported, not refused: the screen asks once.
 */
struct edit_change {
	size_t n; /* values changed: 0, 1 or 2 (edit_apply: any number, first two listed) */
	int adjustable[2];
	fix before[2], after[2];
	int caution; /* index of an adjustable that this action took past its soft limit, or -1 */
};

/* steps may be negative. False with err->text: refused, nothing changed. */
bool edit_nudge(struct edit *e, int adjustable, int steps, struct edit_change *c, struct err *err);
bool edit_set(struct edit *e, int adjustable, fix value, struct edit_change *c, struct err *err);
bool edit_lock(struct edit *e, int pair, bool on, struct err *err);
/* Hold or let go the load-transfer share with a pair. Holding lets go of its lock, locking lets
 * go of its hold; refused for pairs that cannot (balance_can_hold()). */
bool edit_hold_share(struct edit *e, int pair, bool on, struct err *err);
/* The share that a pair holds to, and the share as it is; false if it holds none. */
bool edit_held_share(const struct edit *e, int pair, double *anchor, double *now);
/* "share 50.1 %, 0.04 above what is held" of a pair that holds it; "" otherwise. */
const char *edit_held_words(const struct edit *e, int pair, char *buf, size_t size);
bool edit_freeze(struct edit *e, int adjustable, bool on, struct err *err);
/*
 * Take a whole set of values (a frontier point, a value from the other side, a
 * recovered journal) as one undoable action. All on step and inside limits, and the
 * difference of every locked pair kept unless `override_locks`. Held shares are not enforced
 * here (edit_held_share() tells what is left).
 */
bool edit_apply(struct edit *e, const fix *values, bool override_locks, struct edit_change *c,
	struct err *err);

bool edit_undo(struct edit *e, struct edit_change *c);
bool edit_redo(struct edit *e, struct edit_change *c);
bool edit_can_undo(const struct edit *e);
bool edit_can_redo(const struct edit *e);
void edit_mark_clean(struct edit *e);
bool edit_is_clean(const struct edit *e);
/* The other end of a locked pair, which moves along; -1: none. */
int edit_locked_partner(const struct edit *e, int adjustable);
/* Step of a nudge: the adjustable's own, or the pair's common one when locked. */
fix edit_nudge_step(const struct edit *e, int adjustable);

#endif
