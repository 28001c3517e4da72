/* Circuit profiles. */
#include "store/load.h"
#include "store/read.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SEGMENTS_MAX = 1000 };

static void check_id(struct reader *r, const struct node *n, const struct circuit *c, size_t i)
{
	for (size_t k = 0; k < i; k++) {
		if (strcmp(c->segments[k].id, c->segments[i].id) == 0) {
			read_fault(r, n, "the id '%s' stands twice; each segment has its own",
				c->segments[i].id);
			return;
		}
	}
}

static void load_segment(struct reader *r, const struct node *n, struct circuit *c, size_t i)
{
	static const struct field fields[] = {{"id", true}, {"class", true}, {"length", true},
		{"time-share", true}, {"wear-share", true}};
	static const struct range metres = {0, 100000, true}, share = {0, 1, false};
	const struct node *at[5];
	struct segment *s = &c->segments[i];
	if (!read_fields(r, n, "a segment", fields, 5, at))
		return;
	if (read_id(r, at[0], s->id))
		check_id(r, at[0], c, i);
	int cls = read_choice(r, at[1], segment_class_names, SEG_CLASSES);
	s->cls = cls < 0 ? SEG_STRAIGHT : (enum segment_class)cls;
	read_number(r, at[2], metres, &s->length);
	read_number(r, at[3], share, &s->time_share);
	read_number(r, at[4], share, &s->wear_share);
}

static void check_sum(struct reader *r, const struct node *n, double sum, const char *what)
{
	/* A hair more than 0.005, so that decimals that add up to just that are taken. */
	if (fabs(sum - 1) > 0.005 + 1e-9)
		read_fault(
			r, n, "the %ss add up to %.6g; they must make 1 within 0.005", what, sum);
}

static void load_segments(struct reader *r, const struct node *n, struct circuit *c)
{
	if (!read_is_list(r, n, "a list of segments"))
		return;
	if (n->n_children == 0 || n->n_children > SEGMENTS_MAX) {
		read_fault(r, n,
			"here are %zu segments; 1 to %d can be given, leave the key out for none",
			n->n_children, SEGMENTS_MAX);
		return;
	}
	c->segments = calloc(n->n_children, sizeof *c->segments);
	if (!c->segments) {
		read_memory(r);
		return;
	}
	struct reader own = {r->doc, r->faults, false};
	for (const struct node *m = n->child; m; m = m->next)
		load_segment(&own, m, c, c->n_segments++);
	double time = 0, wear = 0;
	for (size_t i = 0; i < c->n_segments; i++) {
		time += c->segments[i].time_share;
		wear += c->segments[i].wear_share;
	}
	/* A faulty share would only make a second fault of the same cause. */
	if (own.bad) {
		r->bad = true;
		return;
	}
	check_sum(r, n, time, "time-share");
	check_sum(r, n, wear, "wear-share");
}

bool load_circuit(struct circuit *c, const struct doc *d, const char *id, struct faults *faults)
{
	static const struct field fields[] = {{"kind", true}, {"version", true}, {"name", false},
		{"notes", false}, {"length", true}, {"segments", false}};
	static const struct range km = {0, 1000, true};
	const struct node *at[6];
	struct reader r = {d, faults, false};
	size_t from = faults->n;
	char *notes = NULL;
	circuit_init(c);
	memcpy(c->id, id, strlen(id) + 1);
	if (read_head(&r, d->root, "circuit") &&
		read_fields(&r, d->root, "a circuit", fields, 6, at)) {
		read_text(&r, at[2], &c->name);
		read_text(&r, at[3], &notes);
		read_number(&r, at[4], km, &c->length);
		load_segments(&r, at[5], c);
	}
	free(notes);
	faults_sort(faults, from);
	if (r.bad)
		circuit_free(c);
	return !r.bad;
}
