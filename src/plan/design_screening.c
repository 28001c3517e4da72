/*
 * Plackett-Burman designs: the generating row moved one place to the right from run to
 * run, cyclically, and a last run with every factor low. Rows: Plackett & Burman (1946).
 */
#include "plan/design_own.h"

#include <string.h>

static const char *const generating_rows[] = {"+++-+--", "++-+++---+-", "++++-+-++--+---",
	"++--++++-+-+----++-", "+++++-+-++--++--+-+----"};
enum { SIZES = sizeof generating_rows / sizeof generating_rows[0] };

static const char *find_row(size_t runs)
{
	for (size_t i = 0; i < SIZES; i++)
		if (strlen(generating_rows[i]) + 1 == runs)
			return generating_rows[i];
	return NULL;
}

/* Runs first to first + N - 1 of d receive the design's first columns times sign. */
static void fill(struct design *d, size_t first, const char *row, int sign)
{
	size_t n = strlen(row);
	for (size_t r = 0; r <= n; r++)
		for (size_t f = 0; f < d->factors; f++) {
			int level = r < n && row[(f + n - r) % n] == '+' ? 1 : -1;
			design_put(d, first + r, f, sign * level);
		}
}

bool design_plackett_burman(struct design *d, size_t runs, struct err *err)
{
	design_init(d);
	const char *row = find_row(runs);
	if (!row)
		return err_input(err,
			"a Plackett-Burman design of %zu runs; allowed: 8, 12, 16, 20 or 24", runs);
	if (!design_alloc(d, runs, runs - 1, err))
		return false;
	fill(d, 0, row, 1);
	return true;
}

bool design_screening(struct design *d, size_t factors, bool fold_over, struct err *err)
{
	design_init(d);
	const char *row = NULL;
	for (size_t i = 0; i < SIZES && !row; i++)
		if (strlen(generating_rows[i]) >= factors)
			row = generating_rows[i];
	if (!row || factors < 1)
		return err_input(err, "a screening plan with %zu factors; allowed: 1 to %d",
			factors, DESIGN_SCREENING_MAX);
	size_t runs = strlen(row) + 1;
	if (!design_alloc(d, fold_over ? 2 * runs : runs, factors, err))
		return false;
	fill(d, 0, row, 1);
	if (fold_over)
		fill(d, runs, row, -1);
	return true;
}
