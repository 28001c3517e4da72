/*
 * Undo and redo on the Runs page. A correction is in its run's file at once, so to undo it is to
 * bring the file back to what it held before; the sheet's own undo is another thing.
 */
#include "tui/runs.h"

#include "store/store.h"

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
	bool ok = run_copy(&h->list[h->n].before, before) && run_copy(&h->list[h->n].after, after);
	if (ok)
		h->n++;
	else
		free_entry(h, h->n);
	h->at = h->n;
	return ok;
}

/* The file from one text to the other; false: said why. */
static bool bring(struct app *app, const struct run *from, const struct run *to, const char *said,
	unsigned *flags)
{
	struct err err;
	err_clear(&err);
	if (!store_save_run(&app->book, from, to, &err)) {
		*flags = app_warn(app, "nothing was changed: %s", err.text);
		return false;
	}
	*flags = runs_take(app, to, said);
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
	const struct run *before = &h->list[h->at - 1].before;
	char said[128];
	snprintf(said, sizeof said, "undone: %s is as it was before", before->id);
	if (bring(app, &h->list[h->at - 1].after, before, said, &flags))
		h->at--;
	return flags;
}

unsigned act_run_redo(struct app *app)
{
	struct runs_history *h = &runs_page_of(app)->history;
	unsigned flags;
	if (h->at == h->n)
		return app_say(app, "no correction of a run to redo");
	const struct run *after = &h->list[h->at].after;
	char said[128];
	snprintf(said, sizeof said, "redone: %s", after->id);
	if (bring(app, &h->list[h->at].before, after, said, &flags))
		h->at++;
	return flags;
}
