/* What a book borrows from others: options of fit, predict and suggest, and how it is told. */
#ifndef TREADLIGHT_CMD_BORROWED_H
#define TREADLIGHT_CMD_BORROWED_H

#include "cmd/cmd.h"
#include "model/model.h"

#define BORROWED_OPTIONS                                                                           \
	{"drop-borrowed", 0, "ID", true, "borrow nothing of this pair or adjustable"},             \
		{"widen-borrowed", 0, NULL, false,                                                 \
			"widen what the runs here contradict beyond chance, whatever the book "    \
			"says"},                                                                   \
		{"keep-borrowed", 0, NULL, false, "keep it as it was borrowed, and name it"},      \
	{                                                                                          \
		"no-borrowed", 0, NULL, false, "leave all borrowed books out"                      \
	}

/* Do what the options ask to the book, before it is fitted. False: told on stderr. */
bool borrowed_options(const struct cmd_args *args, struct book *b, int *status);
/* The `borrowed` object: books, spreads, conflicts. NULL: out of memory. */
json_t *borrowed_json(const struct model *m);
/* The same in words; conflicts alone. Nothing where the book borrows nothing. */
void borrowed_text(const struct model *m);
void borrowed_conflicts(const struct model *m);

#endif
