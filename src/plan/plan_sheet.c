/*
 * The run sheet for the clipboard: for every run what to change, and lines to write the
 * laps on. Plain text, 80 columns, at most 60 lines a page.
 */
#include "plan/plan.h"

#include "base/text.h"

#include <stdio.h>
#include <string.h>

enum { PAGE_LINES = 60, TEXT_SIZE = 160 };

/* A user's text, made safe for any printer. */
static const char *safe(const char *text, char buf[TEXT_SIZE])
{
	text_safe(buf, TEXT_SIZE, text, strlen(text));
	return buf;
}

static size_t count_changed(const struct car *c, const fix *from, const fix *to)
{
	size_t n = 0;
	for (size_t a = 0; a < c->n_adjustables; a++)
		n += from[a] != to[a];
	return n;
}

static void print_changes(const struct car *c, const fix *from, const fix *to, struct buf *out)
{
	char label[TEXT_SIZE], unit[TEXT_SIZE], was[32], now[32];
	for (size_t i = 0; i < c->n_adjustables; i++) {
		const struct adjustable *a = &c->adjustables[i];
		if (from[i] == to[i])
			continue;
		int decimals = fix_decimals(a->step);
		fix_print_min(from[i], decimals, was, sizeof was);
		fix_print_min(to[i], decimals, now, sizeof now);
		buf_addf(out, "  [ ] %-28.28s %10s  ->  %10s %s\n", safe(a->id, label), was, now,
			safe(a->unit, unit));
	}
}

static void print_lap_lines(const struct book *b, size_t laps, struct buf *out)
{
	char id[32];
	buf_adds(out, "      lap  time         effort");
	int width = b->n_channels > 2 ? 7 : 10;
	for (size_t c = 0; c < b->n_channels; c++)
		buf_addf(out, "  %-*s", width, book_response_id(b, 1 + c, id, sizeof id));
	buf_adds(out, "  skip, why\n");
	for (size_t i = 1; i <= laps; i++) {
		buf_addf(out, "      %3zu  ___________  ______", i);
		for (size_t c = 0; c < b->n_channels; c++)
			buf_addf(out, "  %.*s", width, "__________");
		buf_adds(out, "  _________\n");
	}
}

static void print_run(
	const struct plan *p, const struct book *b, size_t i, const fix *before, struct buf *out)
{
	const struct plan_run *r = &p->runs[i];
	buf_addf(out, "%2zu of %zu  %s, %zu timed laps", i + 1, p->n_runs,
		r->baseline ? "BASELINE" : "test", p->laps);
	if (r->changes)
		buf_addf(out, "; %zu %s, %g min", r->changes,
			r->changes == 1 ? "change" : "changes", r->minutes);
	else
		buf_adds(out, "; nothing to change");
	if (r->done[0])
		buf_addf(out, "   driven: %s", r->done);
	buf_adds(out, "\n");
	print_changes(&b->car, before, r->values, out);
	if (!r->done[0]) {
		buf_adds(out, "      start ______  fuel ______  track ______  tyre age ______\n");
		print_lap_lines(b, p->laps, out);
	}
	buf_adds(out, "\n");
}

static size_t lines_of(const struct plan *p, const struct book *b, size_t i, const fix *before)
{
	size_t n = 2 + count_changed(&b->car, before, p->runs[i].values);
	return p->runs[i].done[0] ? n : n + 2 + p->laps;
}

void plan_print_sheet(const struct plan *p, const struct book *b, struct buf *out)
{
	const char *title = b->name ? b->name : b->id;
	char name[80];
	size_t lines = 5;
	text_safe(name, sizeof name, title, strlen(title));
	buf_addf(out, "%s\nRun sheet: %s plan from %.40s\n", name, plan_kind_names[p->kind],
		p->base);
	buf_adds(out,
		"Out-lap and in-lap do not count. Traffic, error, flag: write why, keep the lap.\n"
		"Limits of the tyre maker and of the series outrank this sheet; build up.\n\n");
	int base = book_find_sheet(b, p->base);
	const fix *before = base >= 0   ? b->sheets[base].values
			    : p->n_runs ? p->runs[0].values
					: NULL;
	for (size_t i = 0; i < p->n_runs; i++) {
		size_t need = lines_of(p, b, i, before);
		if (lines + need > PAGE_LINES) {
			buf_adds(out, "\f");
			lines = 0;
		}
		print_run(p, b, i, before, out);
		lines += need;
		before = p->runs[i].values;
	}
}
