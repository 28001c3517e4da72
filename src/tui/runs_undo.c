/*
 * Undo and redo on the Runs page. A correction is in its run's file at once, so to undo it is to
 * bring the file back to what it held before; the sheet's own undo is another thing.
 */
#include "tui/runs.h"

#include "store/store.h"
#include "tui/saving.h"

#include <stdio.h>
#include <string.h>

static void free_entry(struct runs_history *h, int i)
{
	run_free(&h->list[i].before);
	run_free(&h->list[i].after);
}

void runs_forget(struct runs_history *h)
{
	for (int i = 0; i < h->n; i++)
		free_entry(h, i);
	h->n = h->at = 0;
}

bool runs_note(struct runs_history *h, const struct run *before, const struct run *after)
{
	while (h->n > h->at) /* what was undone cannot be redone any more */
		free_entry(h, --h->n);
	if (h->n == RUNS_UNDO_MAX) {
		free_entry(h, 0);
		memmove(h->list, h->list + 1, (size_t)(h->n - 1) * sizeof *h->list);
		h->n--;
	}
	run_init(&h->list[h->n].before);
	run_init(&h->list[h->n].after);
	h->list[h->n].dropped = after == NULL;
	bool ok = run_copy(&h->list[h->n].before, before) &&
		  (!after || run_copy(&h->list[h->n].after, after));
	if (ok)
		h->n++;
	else
		free_entry(h, h->n);
	h->at = h->n;
	return ok;
}

/* The run's file moved aside, or back from there; false: said why. */
static bool move_run(struct app *app, const struct run *r, bool back, const char *said,
	again_fn again, unsigned *flags)
{
	struct err err;
	char line[200];
	err_clear(&err);
	if (!(back ? store_return_run : store_drop_run)(&app->book, r, &err)) {
		err_format(&err, line, sizeof line);
		if (!held_ask(app, &err, "runs", r->id, again, flags))
			*flags = app_warn(app, "nothing was changed: %s", line);
		return false;
	}
	*flags = back ? runs_take(app, r, &err, said) : runs_gone(app, r->id, &err, said);
	return true;
}

unsigned runs_drop(struct app *app)
{
	struct runs_history *h = &runs_page_of(app)->history;
	const struct run *r = runs_current(app);
	char said[ID_SIZE + 100];
	unsigned flags;
	if (!r)
		return UI_ALL;
	if (!runs_note(h, r, NULL))
		return app_warn(app, "out of memory: nothing was dropped");
	r = &h->list[h->n - 1].before; /* the book's own goes */
	snprintf(said, sizeof said, "%s is dropped, its file kept aside; u brings it back", r->id);
	if (!move_run(app, r, false, said, runs_drop, &flags))
		free_entry(h, h->at = --h->n);
	return flags;
}

/* The file from one text to the other; false: said why. */
static bool bring(struct app *app, const struct run *from, const struct run *to, const char *said,
	again_fn again, unsigned *flags)
{
	struct err err;
	err_clear(&err);
	if (!store_save_run(&app->book, from, to, &err)) {
		if (!held_ask(app, &err, "runs", to->id, again, flags))
			*flags = app_not_saved(app, to->id, &err);
		return false;
	}
	*flags = runs_take(app, to, &err, said);
	return true;
}

unsigned act_run_undo(struct app *app)
{
	struct runs_history *h = &runs_page_of(app)->history;
	unsigned flags;
	if (h->at == 0)
		return app_say(app,
			"no correction of a run to undo; the sheet's changes are undone "
			"on its page");
	const int i = h->at - 1;
	const struct run *before = &h->list[i].before;
	char said[128];
	snprintf(said, sizeof said, "undone: %s is %s", before->id,
		h->list[i].dropped ? "back in the book" : "as it was before");
	if (h->list[i].dropped ? move_run(app, before, true, said, act_run_undo, &flags)
			       : bring(app, &h->list[i].after, before, said, act_run_undo, &flags))
		h->at--;
	return flags;
}

unsigned act_run_redo(struct app *app)
{
	struct runs_history *h = &runs_page_of(app)->history;
	unsigned flags;
	if (h->at == h->n)
		return app_say(app, "no correction of a run to redo");
	const int i = h->at;
	const struct run *before = &h->list[i].before;
	char said[128];
	snprintf(said, sizeof said, "redone: %s%s", before->id,
		h->list[i].dropped ? " is dropped" : "");
	if (h->list[i].dropped ? move_run(app, before, false, said, act_run_redo, &flags)
			       : bring(app, before, &h->list[i].after, said, act_run_redo, &flags))
		h->at++;
	return flags;
}
