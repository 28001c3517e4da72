/* The plan as a table to fill in and to give back to `log --csv`. */
#include "book/entry.h"
#include "cmd/plan.h"

#include <stdlib.h>
#include <string.h>

/* Does a run still to be driven differ from the sheet here? Without a sheet every value is told. */
static bool needs_column(const struct plan *p, const struct sheet *s, size_t a)
{
	for (size_t i = 0; i < p->n_runs; i++)
		if (!p->runs[i].done[0] && (!s || p->runs[i].values[a] != s->values[a]))
			return true;
	return false;
}

static void print_header(const struct plan *p, const struct book *b, const struct sheet *s)
{
	fputs("run,sheet,date,fuel,track-temp,tyre-age,lap,time,effort", stdout);
	for (size_t c = 0; c < b->n_channels; c++)
		printf(",wear-%s", b->channels[c]);
	fputs(",skip", stdout);
	for (size_t a = 0; a < b->car.n_adjustables; a++)
		if (needs_column(p, s, a))
			printf(",%s", b->car.adjustables[a].id);
	putchar('\n');
}

/* Lap n of a run; what belongs to the run stands in its first row. */
static void print_lap(const struct plan *p, const struct book *b, const struct sheet *s,
	const struct plan_run *r, const char *id, size_t n)
{
	char value[32];
	printf("%s,%s,,,,,%zu,,", id, n == 1 && s ? s->id : "", n);
	for (size_t c = 0; c < b->n_channels; c++)
		putchar(',');
	putchar(',');
	for (size_t a = 0; a < b->car.n_adjustables; a++) {
		if (!needs_column(p, s, a))
			continue;
		fix_print_min(r->values[a], fix_decimals(b->car.adjustables[a].step), value,
			sizeof value);
		printf(",%s", n == 1 ? value : "");
	}
	putchar('\n');
}

void cmd_plan_csv(const struct plan *p, const struct book *b)
{
	const int at = book_find_sheet(b, p->base);
	const struct sheet *s = at >= 0 ? &b->sheets[at] : NULL;
	char last[ID_SIZE] = "", id[ID_SIZE];
	if (b->n_runs)
		memcpy(last, b->runs[b->n_runs - 1].id, sizeof last);
	print_header(p, b, s);
	for (size_t i = 0; i < p->n_runs; i++) {
		if (p->runs[i].done[0])
			continue;
		entry_id_after(b, last[0] ? last : NULL, id);
		for (size_t n = 1; n <= p->laps; n++)
			print_lap(p, b, s, &p->runs[i], id, n);
		memcpy(last, id, sizeof last);
	}
}
