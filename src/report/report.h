/*
 * The debrief: what a book says of one sheet against its reference, as one HTML page
 * or as plain text. Every figure comes from the modules that the workbench uses; here
 * they are only put in order and in words.
 */
#ifndef REPORT_REPORT_H
#define REPORT_REPORT_H

#include "base/err.h"
#include "base/text.h"
#include "model/model.h"
#include "plan/plan.h"

enum { REPORT_VERIFIED = 8 }; /* latest runs that are held against their prediction */

/* Stands within the first lines of every report, so that one is known again. */
extern const char *const report_mark;

struct report_input {
	const struct book *book;
	const struct model *model;
	const struct sheet *reference, *sheet; /* may be the same */
	const char *why_sheet; /* how the sheet was chosen, a sentence; NULL if the user named it */
	const struct plan *plan; /* the book's stored plan; NULL if none */
	const char *today;       /* "2026-03-14", for the heading; NULL: left out */
};

/* The whole report into out (initialised by the caller, who frees it). */
bool report_make(const struct report_input *in, bool plain, struct buf *out, struct err *err);

/*
 * The sheet to report on where the user named none: of the book's others the one that
 * costs least over the stint, those that spare the limiting channel before the rest; the
 * reference where there are no others. why (a buffer) tells in words.
 */
const struct sheet *report_choose(const struct book *b, const struct model *m,
	const struct sheet *reference, char *why, size_t size);

#endif
