#include "cmd/fitted.h"

#include "cmd/borrowed.h"

#include <stdio.h>

static bool open_book(
	struct fitted_book *a, const char *dir, const struct cmd_args *args, int *status)
{
	struct err e;
	err_clear(&e);
	if (!cmd_load_book(&a->book, dir, status))
		return false;
	if (args && !borrowed_options(args, &a->book, status)) {
		book_free(&a->book);
		return false;
	}
	a->model = NULL;
	a->reference = book_reference(&a->book);
	if (!a->reference)
		*status = cmd_bad(
			"the book's reference '%.80s' is not among its sheets", a->book.reference);
	else if (!(a->model = model_new(&a->book, &e)))
		*status = cmd_fail(&e);
	if (a->model)
		return true;
	book_free(&a->book);
	return false;
}

bool fitted_open(struct fitted_book *a, const char *dir, int *status)
{
	return open_book(a, dir, NULL, status);
}

bool fitted_open_with(struct fitted_book *a, const struct cmd_args *args, int *status)
{
	return open_book(a, args->word[0], args, status);
}

void fitted_close(struct fitted_book *a)
{
	model_free(a->model);
	book_free(&a->book);
}

const char *fitted_figure(const struct estimate *e, int decimals, char *buf)
{
	if (!e->known)
		snprintf(buf, FIGURE_SIZE, "%8s  %-18s", "-", "not tested");
	else if (!e->has_interval)
		snprintf(buf, FIGURE_SIZE, "%+8.*f  %-18s", decimals, e->value, "no interval");
	else
		snprintf(buf, FIGURE_SIZE, "%+8.*f  %+7.*f to %+7.*f", decimals, e->value, decimals,
			e->low, decimals, e->high);
	return buf;
}

const char *fitted_sheet_name(const struct sheet *s, char *buf, size_t size)
{
	return cmd_safe(s->name ? s->name : s->id, buf, size);
}

const char *fitted_label(const struct car *car, size_t adjustable, char *buf, size_t size)
{
	static const char *const axle[] = {" front", " rear", ""};
	const struct adjustable *a = &car->adjustables[adjustable];
	char label[160];
	snprintf(buf, size, "%s%s", cmd_safe(a->label, label, sizeof label),
		a->pair >= 0 ? axle[a->axle] : "");
	return buf;
}
