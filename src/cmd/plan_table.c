/* The plan as tables for people. */
#include "cmd/plan.h"

#include <math.h>
#include <string.h>

static void print_value(const struct adjustable *a, fix v)
{
	char text[32];
	fix_print_min(v, fix_decimals(a->step), text, sizeof text);
	cmd_pad(stdout, text, -9);
}

static void print_member(const struct car *c, const struct plan *p, const struct plan_factor *f,
	int member, int number)
{
	const struct adjustable *a = &c->adjustables[member];
	fix base = p->runs[0].values[member];
	if (number)
		printf("  %2d  ", number);
	else
		fputs("      ", stdout);
	cmd_pad(stdout, a->id, 24);
	print_value(a, base + f->low);
	if (p->kind == PLAN_DEFINITIVE)
		print_value(a, base + f->middle);
	print_value(a, base + f->high);
	print_value(a, base);
	cmd_line("  %s", a->unit);
}

static void print_factors(const struct car *c, const struct plan *p)
{
	printf("\n   #  %-24s%9s%s%9s%9s\n", "factor", "low -",
		p->kind == PLAN_DEFINITIVE ? " middle 0" : "", "high +", "base");
	for (size_t i = 0; i < p->n_factors; i++) {
		const struct plan_factor *f = &p->factors[i];
		print_member(c, p, f, f->adjustable, (int)i + 1);
		if (f->partner >= 0)
			print_member(c, p, f, f->partner, 0);
	}
}

static char mark_of(const struct plan *p, const struct plan_factor *f, const struct plan_run *r)
{
	fix move = r->values[f->adjustable] - p->runs[0].values[f->adjustable];
	if (r->baseline)
		return '.';
	return move == f->low               ? '-'
	       : move == f->high            ? '+'
	       : p->kind == PLAN_DEFINITIVE ? '0'
					    : '.';
}

static void print_runs(const struct plan *p)
{
	printf("\n run  role       changes    min ");
	for (size_t f = 0; f < p->n_factors; f++)
		printf("%3zu", f + 1);
	putchar('\n');
	for (size_t i = 0; i < p->n_runs; i++) {
		const struct plan_run *r = &p->runs[i];
		printf("%4zu  %-9s  %7zu  %5g ", i + 1, r->baseline ? "baseline" : "test",
			r->changes, r->minutes);
		for (size_t f = 0; f < p->n_factors; f++)
			printf("  %c", mark_of(p, &p->factors[f], r));
		if (r->done[0])
			printf("   done: %s", r->done);
		putchar('\n');
	}
}

enum { FIRST_COLUMN = 28, OFFER_COLUMN = 38 };

static void print_heading(const struct book *b, const char *first, int columns)
{
	char id[32];
	cmd_pad(stdout, first, columns);
	for (size_t y = 0; y < 1 + b->n_channels; y++)
		cmd_pad(stdout, book_response_id(b, y, id, sizeof id), -12);
	putchar('\n');
}

/* Two significant digits: no smallest effect is surer than that. */
static void print_effect(bool known, double v)
{
	char text[32] = "not known";
	if (known)
		snprintf(text, sizeof text, "%.*f", v < 0.1 ? 3 : v < 10 ? 2 : 1, v);
	cmd_pad(stdout, text, -12);
}

static bool any_noise(const struct book *b, const struct plan_noise *noise)
{
	bool any = false;
	for (size_t y = 0; y < 1 + b->n_channels; y++)
		any = any || noise[y].has;
	return any;
}

static void print_noise(const struct book *b, const struct plan_noise *noise)
{
	char id[32];
	fputs("\nScatter reckoned with:", stdout);
	for (size_t y = 0; y < 1 + b->n_channels; y++)
		if (noise[y].has)
			printf("%s %s %.3g between runs, %.3g between laps", y ? ";" : "",
				book_response_id(b, y, id, sizeof id), noise[y].run, noise[y].lap);
	fputs("\n", stdout);
}

static void print_detectable(const struct plan *p, const struct book *b)
{
	puts("\nSmallest effects found, 80 times in 100, at 5% (s; % per lap):\n"
	     "from one end of the range to the other; of squares, from the middle to an end");
	print_heading(b, "", FIRST_COLUMN);
	for (size_t i = 0; i < p->n_detect; i++) {
		const struct plan_detect *d = &p->detect[i];
		if (i == 0 || strcmp(d->term, p->detect[i - 1].term) != 0) {
			fputs("  ", stdout);
			cmd_pad(stdout, d->term, 26);
		}
		print_effect(d->known, d->effect);
		if (i + 1 == p->n_detect || strcmp(d->term, p->detect[i + 1].term) != 0)
			putchar('\n');
	}
}

static void print_offers(const struct plan *p, const struct book *b)
{
	puts("\nWhat more would buy (the middle one of these effects):");
	print_heading(b, "                            runs  laps", OFFER_COLUMN);
	for (size_t i = 0; i < p->n_offers; i++) {
		const struct plan_offer *o = &p->offers[i];
		printf("  %-24s%6zu%6zu", o->what, o->runs, o->laps);
		for (size_t y = 0; y < p->n_responses; y++)
			print_effect(o->known[y], o->effect[y]);
		putchar('\n');
	}
}

static void print_next_values(const struct plan *p, const struct book *b)
{
	int at = book_find_sheet(b, p->base);
	const fix *base = at >= 0 ? b->sheets[at].values : p->runs[0].values;
	for (size_t i = 0; i < b->car.n_adjustables; i++) {
		const struct adjustable *a = &b->car.adjustables[i];
		if (base[i] == p->runs[0].values[i])
			continue;
		fputs("  ", stdout);
		cmd_pad(stdout, a->id, 24);
		print_value(a, base[i]);
		fputs(" -> ", stdout);
		print_value(a, p->runs[0].values[i]);
		cmd_line(" %s", a->unit);
	}
}

static void print_next(const struct plan *p, const struct book *b)
{
	char id[32];
	printf("The run that teaches most now: %zu timed laps, %zu %s from %s, %g min of "
	       "changes\n\n",
		p->laps, p->runs[0].changes, p->runs[0].changes == 1 ? "change" : "changes",
		p->base, p->minutes);
	if (p->runs[0].baseline)
		printf("  %s as it is\n", p->base);
	print_next_values(p, b);
	for (size_t y = 0; y < p->n_responses; y++)
		if (p->has_gain[y])
			printf("\n%s differences along the frontier: typical standard error %.3g "
			       "now, "
			       "%.3g after",
				book_response_id(b, y, id, sizeof id), p->se_now[y],
				p->se_after[y]);
	putchar('\n');
}

static void print_plan(const struct plan *p, const struct book *b, const struct plan_noise *noise)
{
	size_t bases = 0;
	for (size_t i = 0; i < p->n_runs; i++)
		bases += p->runs[i].baseline;
	printf("%s plan from %s: %zu %s, %zu runs of which %zu baseline, %zu timed laps a run, "
	       "%zu laps, %g min of changes\n",
		plan_kind_names[p->kind], p->base, p->n_factors,
		p->n_factors == 1 ? "factor" : "factors", p->n_runs, bases, p->laps,
		p->laps * p->n_runs, p->minutes);
	print_factors(&b->car, p);
	print_runs(p);
	if (!any_noise(b, noise)) {
		puts("\nWhat the plan finds is not known: the book has no scatter yet (no set-up "
		     "driven "
		     "twice);\nstate it with --sigma-run and --sigma-lap");
		return;
	}
	print_noise(b, noise);
	print_detectable(p, b);
	print_offers(p, b);
}

void cmd_plan_table(const struct plan *p, const struct book *b, const struct plan_noise *noise)
{
	if (p->kind == PLAN_NEXT)
		print_next(p, b);
	else
		print_plan(p, b, noise);
	if (p->n_notes)
		putchar('\n');
	for (size_t i = 0; i < p->n_notes; i++)
		cmd_line("- %s", p->notes[i]);
	puts("\nThe tyre maker's limits and the series' rules outrank these levels; build up after "
	     "every "
	     "change.");
}
