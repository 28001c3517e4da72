/*
 * What the model says of the sheet under work against the reference. The last few answers are
 * remembered, and the one that the next nudge will ask for is worked out while no key waits, so
 * that it is there at once.
 */
#ifndef TUI_ANSWER_H
#define TUI_ANSWER_H

#include "model/model.h"

struct remembered {
	bool stands;
	fix *values; /* owned; of the whole sheet */
	struct prediction p;
};
enum { REMEMBERED = 4 };

struct answer {
	bool known; /* there is a model */
	bool stale; /* p and untested are of other values */
	struct prediction p;
	struct footing *footing; /* owned; of the reference's values; NULL: made when needed */
	size_t n_untested;       /* of lap time; indices into its terms */
	int *untested;           /* room for the terms of lap time; owned */
	struct remembered of[REMEMBERED];
	size_t oldest; /* of them: the next to be forgotten */
};

/* Room for a model that has just been fitted (NULL: none); false: out of memory. */
bool answer_take_model(struct answer *t, const struct model *m);
/* The reference or the model is another or goes. */
void answer_drop(struct answer *t);
void answer_free(struct answer *t);

/* Bring it up to date. m and against may be NULL. */
void answer_update(struct answer *t, const struct model *m, const fix *values, const fix *against);
/* Work out ahead what would be told of these values; after answer_update(). */
void answer_foretell(
	struct answer *t, const struct model *m, const fix *values, const fix *against);

#endif
