/*
 * `segments` of a lap: what each segment of the circuit took of it. Given in full, the
 * figures must add up to the lap's own; given in part, they must not pass them. Every figure
 * counts as rounded to its last written decimal, to the first where it has none and to the
 * third where it has more.
 */
#include "store/load.h"
#include "store/read.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct range wear_range = {0, 100, false};

struct work {
	struct reader *r;
	const struct book *book;
	struct lap *lap;
};

/* Half of the last written decimal's worth. */
static double rounding(const struct node *n)
{
	const char *point = memchr(n->text, '.', n->len);
	size_t decimals = point ? strspn(point + 1, "0123456789") : 0;
	if (memchr(n->text, 'e', n->len) || memchr(n->text, 'E', n->len) || decimals > 3)
		decimals = 3;
	if (decimals == 0)
		decimals = 1;
	return 0.5 * pow(10, -(double)decimals);
}

static int find_segment(const struct work *w, const struct node *key)
{
	const struct circuit *c = &w->book->circuit;
	char shown[SHOW_SIZE];
	for (size_t i = 0; i < c->n_segments; i++)
		if (node_is(key, c->segments[i].id))
			return (int)i;
	read_fault(w->r, key, "the circuit has no segment '%s'; it has %s to %s",
		node_show(key, shown), c->segments[0].id, c->segments[c->n_segments - 1].id);
	return -1;
}

static void load_wear(struct work *w, const struct node *n, struct lap_segment *s)
{
	char shown[SHOW_SIZE];
	if (!read_is_map(w->r, n, "a mapping of wear channels to %, such as {front: 0.05}"))
		return;
	for (const struct node *m = n->child; m; m = m->next) {
		size_t c = 0;
		while (c < w->book->n_channels && !node_is(m->key, w->book->channels[c]))
			c++;
		if (c == w->book->n_channels)
			read_fault(w->r, m->key, "the book has no wear channel '%s'",
				node_show(m->key, shown));
		else
			s->has_wear[c] = read_number(w->r, m, wear_range, &s->wear[c]);
	}
}

static void load_segment(struct work *w, const struct node *n)
{
	static const struct field fields[] = {{"time", false}, {"wear", false}};
	const struct node *at[2];
	int i = find_segment(w, n->key);
	if (i < 0 || !read_fields(w->r, n, "a segment of a lap", fields, 2, at))
		return;
	struct lap_segment *s = &w->lap->segments[i];
	s->has_time = read_laptime(w->r, at[0], &s->time);
	load_wear(w, at[1], s);
}

/* One figure's column over the segments: channel -1 is time. */
static const struct node *figure(const struct node *segment, const char *channel)
{
	return channel ? node_get(node_get(segment, "wear"), channel) : node_get(segment, "time");
}

/* The sum of a column against the lap's own figure at `own`. */
static void check_sum(
	struct work *w, const struct node *segments, const struct node *own, double lap, int c)
{
	const char *channel = c < 0 ? NULL : w->book->channels[c];
	const char *unit = c < 0 ? "s" : "%";
	double sum = 0, slack = rounding(own) + 1e-9;
	size_t n = 0;
	for (const struct node *m = segments->child; m; m = m->next) {
		const struct node *f = figure(m, channel);
		if (f)
			slack += rounding(f);
		n += f != NULL;
	}
	for (size_t i = 0; i < w->lap->n_segments; i++)
		sum += c < 0 ? w->lap->segments[i].time : w->lap->segments[i].wear[c];
	const char *of = c < 0 ? "time" : channel;
	if (n == w->lap->n_segments && fabs(sum - lap) > slack)
		read_fault(w->r, segments,
			"the segments' %s adds up to %.6g %s, the lap's is %.6g %s: "
			"%+.3g %s apart, rounding allows %.3g",
			of, sum, unit, lap, unit, sum - lap, unit, slack);
	else if (sum - lap > slack)
		read_fault(w->r, segments,
			"the segments given use %.6g %s of %s; the whole lap has only "
			"%.6g %s",
			sum, unit, of, lap, unit);
}

static void check_sums(struct work *w, const struct node *lap, const struct node *segments)
{
	const struct node *time = node_get(lap, "time"), *wear = node_get(lap, "wear");
	check_sum(w, segments, time, w->lap->time, -1);
	for (size_t c = 0; c < w->book->n_channels; c++) {
		const struct node *own = node_get(wear, w->book->channels[c]);
		if (own)
			check_sum(w, segments, own, w->lap->wear[c], (int)c);
	}
}

void load_lap_segments(struct reader *r, const struct node *lap_node, const struct node *n,
	const struct book *book, struct lap *lap)
{
	struct reader own = {r->doc, r->faults, false};
	struct work w = {&own, book, lap};
	if (!n)
		return;
	if (read_is_map(
		    &own, n, "a mapping of the circuit's segments, such as {s1: {time: 6.9}}") &&
		book && book->circuit.id[0]) {
		const size_t count = book->circuit.n_segments;
		if (count == 0)
			read_fault(&own, n,
				"the circuit '%s' has no segments, so a lap has none either",
				book->circuit.id);
		else if (!(lap->segments = calloc(count, sizeof *lap->segments)))
			read_memory(&own);
		else {
			lap->n_segments = count;
			for (const struct node *m = n->child; m; m = m->next)
				load_segment(&w, m);
			if (!own.bad && !r->bad)
				check_sums(&w, lap_node, n);
		}
	}
	r->bad = r->bad || own.bad;
}
