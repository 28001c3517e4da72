/* The overlay in words and bars, for the terminal and the workbench alike. */
#include "model/overlay.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { BAR_HALF_MAX = 15, COLUMNS = 58 }; /* what stands before the bar */

/* '<' less and '>' more than in A on either side of the middle; dots where it is not measured. */
static void add_bar(struct buf *out, double v, double scale, bool measured, int half)
{
	char bar[2 * BAR_HALF_MAX + 2];
	const int n = scale > 0 ? (int)lround(fabs(v) / scale * half) : 0;
	const int last = v < 0 ? half : half + n;
	memset(bar, ' ', sizeof bar);
	bar[half] = '|';
	for (int i = 1; i <= n; i++)
		bar[v < 0 ? half - i : half + i] = !measured ? '.' : v < 0 ? '<' : '>';
	buf_add(out, bar, (size_t)last + 1);
}

static double share_of(const struct overlay *o, size_t response, size_t i)
{
	const struct segment *s = &o->book->circuit.segments[i];
	return response ? s->wear_share : s->time_share;
}

static void add_row(
	const struct overlay *o, size_t k, size_t i, double scale, int half, struct buf *out)
{
	const struct overlay_response *r = &o->by[k];
	const struct segment *s = &o->book->circuit.segments[i];
	const bool measured = overlay_is_measured(o, k, i);
	const double d = fabs(r->difference[i]) < 0.0005 ? 0 : r->difference[i];
	char se[32] = "";
	if (isfinite(r->se[i]))
		snprintf(se, sizeof se, "%.3f", r->se[i]);
	buf_addf(out, "  %-8.8s %-9s%5.1f %9.3f %9.3f %+8.3f %6s ", s->id,
		segment_class_names[s->cls], 100 * share_of(o, k, i), r->side[0].value[i],
		r->side[1].value[i], d, se);
	add_bar(out, r->difference[i], scale, measured, half);
	buf_adds(out, measured ? "\n" : " not measured\n");
}

/* The circuit alone: its segments and their shares, which are no measurement of these runs. */
static void add_shares(const struct overlay *o, size_t k, struct buf *out)
{
	buf_adds(out,
		"  where on the lap they differ is not told: neither run has segment figures\n"
		"  the circuit's own shares, %:");
	for (size_t i = 0; i < o->n; i++) {
		const struct segment *s = &o->book->circuit.segments[i];
		buf_addf(out, "%s %-8.8s %-9s%5.1f", i % 3 ? "  " : "\n   ", s->id,
			segment_class_names[s->cls], 100 * share_of(o, k, i));
	}
	buf_adds(out, "\n");
}

static void add_rows(const struct overlay *o, size_t k, bool along, int half, struct buf *out)
{
	const struct overlay_response *r = &o->by[k];
	double scale = 0;
	for (size_t i = 0; i < o->n; i++)
		scale = fmax(scale, fabs(r->difference[i]));
	buf_addf(out, "  %-8s %-9s%5s %9.9s %9.9s %8s %6s\n", "segment", "class", "%",
		o->run[0]->id, o->run[1]->id, "differs", "se");
	for (size_t i = 0; i < o->n; i++)
		add_row(o, k, along ? i : r->order[i], scale, half, out);
}

static void add_response(const struct overlay *o, size_t k, bool along, int half, struct buf *out)
{
	const struct overlay_response *r = &o->by[k];
	char words[120];
	if (k == RESPONSE_TIME)
		buf_adds(out, "\nlap time, s: ");
	else
		buf_addf(out, "\nwear %s, %% per lap: ", o->book->channels[k - 1]);
	if (!r->has) {
		buf_addf(out, "no reading of %s\n",
			o->run[r->side[0].source == OVERLAY_NONE ? 0 : 1]->id);
		return;
	}
	buf_addf(out, "%.3f and %.3f, %+.3f in all\n", r->side[0].lap, r->side[1].lap, r->lap);
	for (int i = 0; i < 2; i++)
		buf_addf(out, "  %s %s\n", o->run[i]->id,
			overlay_source_words(&r->side[i], words, sizeof words));
	if (r->side[0].source == OVERLAY_SPREAD && r->side[1].source == OVERLAY_SPREAD)
		add_shares(o, k, out);
	else
		add_rows(o, k, along, half, out);
}

void overlay_text(const struct overlay *o, bool along, int width, struct buf *out)
{
	int half = (width - COLUMNS - 13) / 2;
	half = half < 4 ? 4 : half > BAR_HALF_MAX ? BAR_HALF_MAX : half;
	buf_addf(out, "%s against %s along the lap: < less, > more, . not measured\n",
		o->run[1]->id, o->run[0]->id);
	for (size_t k = 0; k < 1 + o->book->n_channels; k++)
		add_response(o, k, along, half, out);
	buf_adds(out,
		"\n%: the circuit's share. se: by the scatter of laps inside the runs alone;\n"
		"what differs from run to run comes on top.\n");
}
