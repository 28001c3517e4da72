/* What most subcommands begin with: a book and a sheet of it. */
#include "cmd/cmd.h"
#include "store/store.h"

#include <string.h>

bool cmd_load_book(struct book *b, const char *dir, int *status)
{
	struct faults faults;
	faults_init(&faults);
	book_init(b);
	bool ok = store_load_book(b, dir, &faults);
	if (!ok)
		*status = cmd_fail_faults(&faults);
	faults_free(&faults);
	return ok;
}

bool cmd_say_empty(const struct book *b, FILE *out)
{
	char dir[1024];
	if (b->n_runs > 0)
		return false;
	cmd_safe(b->dir, dir, sizeof dir);
	fprintf(out,
		"%sno run is in the book yet; plan some: treadlight plan %s --kind one-at-a-time,\n"
		"then log them: treadlight log %s --csv FILE, or n on the Runs page of the "
		"workbench\n",
		out == stderr ? "treadlight: " : "", dir, dir);
	return true;
}

const struct sheet *cmd_sheet(const struct book *b, const char *id)
{
	int i = book_find_sheet(b, id);
	if (i >= 0)
		return &b->sheets[i];
	struct err e;
	char ids[300] = "";
	size_t len = 0;
	for (size_t k = 0; k < b->n_sheets && len + ID_SIZE + 8 < sizeof ids; k++)
		len += (size_t)snprintf(
			ids + len, sizeof ids - len, "%s%s", k ? ", " : "", b->sheets[k].id);
	err_clear(&e);
	err_input(&e, "the book has no sheet '%.80s'; it has %s", id, ids[0] ? ids : "none");
	cmd_fail(&e);
	return NULL;
}
