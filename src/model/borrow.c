/* Old books' effects into the fits of a book that borrows them. */
#include "model/borrow.h"
#include "model/internal.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void borrow_note(struct borrowing *b, const char *fmt, ...)
{
	char(*notes)[BORROW_NOTE_SIZE] = realloc(b->notes, (b->n_notes + 1) * sizeof *notes);
	if (!notes)
		return; /* a remark less */
	b->notes = notes;
	va_list ap;
	va_start(ap, fmt);
	vsnprintf(notes[b->n_notes], sizeof notes[0], fmt, ap);
	text_mend(notes[b->n_notes++]);
	va_end(ap);
}

void borrow_free(struct borrowing *b)
{
	if (!b)
		return;
	for (size_t i = 0; i < PRIOR_SLOTS; i++)
		prior_free(&b->prior[i]);
	free(b->lo);
	free(b->hi);
	free(b->conflicts);
	free(b->from);
	free(b->lessons);
	free(b->notes);
	free(b);
}

void borrow_range(const struct model *m, size_t coord, double *lo, double *hi)
{
	const struct borrowing *b = m->borrowing;
	if (!b || !(b->lo[coord] <= b->hi[coord]))
		return;
	const bool none = *lo > *hi;
	*lo = none ? b->lo[coord] : fmin(*lo, b->lo[coord]);
	*hi = none ? b->hi[coord] : fmax(*hi, b->hi[coord]);
}

static bool any_book(const struct book *b)
{
	for (size_t i = 0; i < b->n_borrow; i++)
		if (b->borrow[i].book)
			return true;
	return false;
}

static void say_bare(const struct model *m, struct borrowing *b)
{
	const struct response *time = &m->responses[RESPONSE_TIME];
	bool any = false;
	if (!time->fitted)
		borrow_note(b,
			"no lap was driven here yet: borrowed effects have no base to be told on");
	for (size_t i = 0; i < PRIOR_SLOTS; i++)
		any = any || b->prior[i].rank;
	if (b->n_books && !any)
		borrow_note(b, "nothing could be borrowed");
	for (size_t c = 0; c < m->book->n_channels; c++)
		if (time->fitted && !m->like[c].fitted && b->prior[RESPONSES_MAX + c].rank)
			borrow_note(b,
				"like-for-like wear %s is not borrowed without an exchange rate of "
				"its own here",
				m->book->channels[c]);
}

bool borrow_enter(struct model *m, const struct borrow_work *w, struct err *err)
{
	if (!any_book(m->book))
		return true;
	struct borrowing *b = m->borrowing = calloc(1, sizeof *b);
	if (!b)
		return err_memory(err);
	struct lenders *mine = w->lenders ? NULL : lenders_new(m->book, err);
	const struct lenders *l = w->lenders ? w->lenders : mine;
	const bool ok = l && priors_make(m, b, l, err);
	lenders_free(mine);
	if (!ok)
		return false;
	say_bare(m, b);
	for (size_t k = 0; k < m->n_responses; k++)
		if (!posterior_fit(m, b, k, &w->obs[k], w->y[k], &m->responses[k], err))
			return false;
	for (size_t c = 0; c < m->book->n_channels; c++)
		if (w->like[c] && w->like_time[c] &&
			(!posterior_fit(m, b, RESPONSES_MAX + c, &w->obs[1 + c], w->like[c],
				 &m->like[c], err) ||
				!posterior_fit(m, b, RESPONSES_MAX + CHANNELS_MAX + c,
					&w->obs[1 + c], w->like_time[c], &m->like_time[c], err)))
			return false;
	return true;
}
