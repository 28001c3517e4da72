/* What compare, suggest and stint begin with: a book, its reference, the fit; and names for tables.
 */
#ifndef TREADLIGHT_CMD_FITTED_H
#define TREADLIGHT_CMD_FITTED_H

#include "cmd/cmd.h"
#include "model/model.h"

/* Load, find the reference, fit. False: told on stderr, *status is the exit status; nothing to
 * free then. Otherwise fitted_close() frees both. */
struct fitted_book {
	struct book book;
	struct model *model;
	const struct sheet *reference;
};
bool fitted_open(struct fitted_book *a, const char *dir, int *status);
/* The same with the options of cmd/borrowed.h. */
bool fitted_open_with(struct fitted_book *a, const struct cmd_args *args, int *status);
void fitted_close(struct fitted_book *a);

enum { FIGURE_SIZE = 48 };
/* "+0.18  +0.11 to +0.25" without unit, always as wide; "not tested" where it is not known. */
const char *fitted_figure(const struct estimate *e, int decimals, char *buf);
/* A sheet's name made safe, or its id without one. */
const char *fitted_sheet_name(const struct sheet *s, char *buf, size_t size);
/* "Wing angle front": label, and the axle for members of a pair; made safe. */
const char *fitted_label(const struct car *car, size_t adjustable, char *buf, size_t size);

#endif
