/*
 * What became of a change that goes to its file at once, in words; and the question where
 * somebody else has that file's lock.
 */
#ifndef TUI_SAVING_H
#define TUI_SAVING_H

#include "tui/app.h"

/* What err says of a file that stands, to be told behind a "but". */
const char *app_doubt(const struct err *err);
/* It stands. err is what the store set (save.h): clear, or what there is to tell all the same,
 * such as that the disk did not confirm it; then "saved, but ..." comes before the words. */
unsigned app_saved(struct app *app, const struct err *err, const char *fmt, ...)
	__attribute__((format(printf, 3, 4)));
/* It does not; `what` is the run or the file. */
unsigned app_not_saved(struct app *app, const char *what, const struct err *err);

/*
 * Was it refused because of a lock on BOOK/FOLDER/ID.yaml? Then this asks whether to go on all
 * the same, as for a sheet, and true: return *flags. On a yes `again` is called with the lock in
 * our hands. What was typed into a field that is being answered is not lost on a no; `again` NULL:
 * it is taken once more on a yes.
 */
typedef unsigned (*again_fn)(struct app *app);
bool held_ask(struct app *app, const struct err *err, const char *folder, const char *id,
	again_fn again, unsigned *flags);
void held_free(struct app *app);

#endif
