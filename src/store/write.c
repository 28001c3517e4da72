#include "store/write.h"

#include "store/patch.h"

#include <string.h>

static void add_member(struct buf *out, const char *key, const char *text)
{
	if (!text || !*text)
		return;
	buf_addf(out, "%s: ", key);
	yaml_add_text(out, text);
	buf_adds(out, "\n");
}

void write_number(struct buf *out, double v)
{
	char text[40];
	num_print(v, text, sizeof text);
	buf_adds(out, text);
}

static void add_optional(struct buf *out, const char *key, const struct opt_num *v)
{
	if (!v->has)
		return;
	buf_addf(out, "%s: ", key);
	write_number(out, v->v);
	buf_adds(out, "\n");
}

bool write_as_laptime(double seconds, char *text, size_t size)
{
	double back = 0;
	laptime_print(seconds, 3, text, size);
	return laptime_parse(text, strlen(text), &back) == NUM_OK && back == seconds;
}

void write_laptime(struct buf *out, double seconds)
{
	char text[40];
	if (write_as_laptime(seconds, text, sizeof text))
		buf_addf(out, "\"%s\"", text);
	else
		write_number(out, seconds);
}

static void add_values(struct buf *out, const struct car *car, const fix *values)
{
	buf_adds(out, "values:\n");
	for (size_t i = 0; i < car->n_adjustables; i++) {
		char text[40];
		const struct adjustable *a = &car->adjustables[i];
		fix_print_min(values[i], fix_decimals(a->step), text, sizeof text);
		/* Keys are ids; one like `on` or `1e3` needs quotes like any text. */
		buf_adds(out, "  ");
		yaml_add_text(out, a->id);
		buf_addf(out, ": %s\n", text);
	}
}

static void add_flags(
	struct buf *out, const char *key, const struct car *car, bool pairs, const bool *flags)
{
	size_t n = pairs ? car->n_pairs : car->n_adjustables, count = 0;
	for (size_t i = 0; i < n; i++) {
		if (!flags[i])
			continue;
		if (count++ == 0)
			buf_addf(out, "%s: [", key);
		else
			buf_adds(out, ", ");
		yaml_add_text(out, pairs ? car->pairs[i].id : car->adjustables[i].id);
	}
	if (count > 0)
		buf_adds(out, "]\n");
}

void write_sheet(struct buf *out, const struct car *car, const struct sheet *s)
{
	buf_adds(out, "kind: sheet\nversion: 1\n");
	add_member(out, "name", s->name);
	add_values(out, car, s->values);
	add_flags(out, "locks", car, true, s->locked);
	add_flags(out, "held-shares", car, true, s->share_held);
	add_flags(out, "frozen", car, false, s->frozen);
	add_member(out, "notes", s->notes);
}

bool write_has_any(const struct book *b, const bool *has)
{
	for (size_t c = 0; c < b->n_channels; c++)
		if (has[c])
			return true;
	return false;
}

void write_channels(struct buf *out, const struct book *b, const bool *has, const double *v)
{
	const char *between = "{";
	for (size_t c = 0; c < b->n_channels; c++) {
		if (!has[c])
			continue;
		buf_addf(out, "%s%s: ", between, b->channels[c]);
		write_number(out, v[c]);
		between = ", ";
	}
	buf_adds(out, "}");
}

/* {s1: {time: 6.9, wear: {front: 0.05}}}: the segments that have a figure. */
static void add_segments(struct buf *out, const struct book *b, const struct lap *lap)
{
	const char *between = ", segments: {";
	for (size_t i = 0; i < lap->n_segments && i < b->circuit.n_segments; i++) {
		const struct lap_segment *s = &lap->segments[i];
		const bool wear = write_has_any(b, s->has_wear);
		if (!s->has_time && !wear)
			continue;
		buf_adds(out, between);
		yaml_add_text(out, b->circuit.segments[i].id);
		buf_adds(out, ": {");
		if (s->has_time) {
			buf_adds(out, "time: ");
			write_number(out, s->time);
		}
		if (wear) {
			buf_adds(out, s->has_time ? ", wear: " : "wear: ");
			write_channels(out, b, s->has_wear, s->wear);
		}
		buf_adds(out, "}");
		between = ", ";
	}
	if (between[2] == '\0')
		buf_adds(out, "}");
}

void write_lap(struct buf *out, const struct book *b, const struct lap *lap)
{
	buf_adds(out, "{time: ");
	write_laptime(out, lap->time);
	if (write_has_any(b, lap->has_wear)) {
		buf_adds(out, ", wear: ");
		write_channels(out, b, lap->has_wear, lap->wear);
	}
	if (write_has_any(b, lap->has_worn)) {
		buf_adds(out, ", worn: ");
		write_channels(out, b, lap->has_worn, lap->worn);
	}
	if (lap->has_effort) {
		buf_adds(out, ", effort: ");
		write_number(out, lap->effort);
	}
	if (lap->skip) {
		buf_adds(out, ", skip: ");
		yaml_add_text(out, lap->skip);
	}
	add_segments(out, b, lap);
	buf_adds(out, "}");
}

void write_laps(struct buf *out, const struct book *b, const struct run *r)
{
	for (size_t i = 0; i < r->n_laps; i++) {
		buf_adds(out, "  - ");
		write_lap(out, b, &r->laps[i]);
		buf_adds(out, "\n");
	}
}

static void add_channel_map(
	struct buf *out, const char *key, const struct book *b, const bool *has, const double *v)
{
	if (!write_has_any(b, has))
		return;
	buf_addf(out, "%s: ", key);
	write_channels(out, b, has, v);
	buf_adds(out, "\n");
}

void write_run(struct buf *out, const struct book *b, const struct run *r)
{
	buf_adds(out, "kind: run\nversion: 1\n");
	if (r->date[0])
		buf_addf(out, "date: %s\n", r->date);
	add_member(out, "sheet", r->sheet);
	add_member(out, "driver", r->driver);
	add_member(out, "session", r->session);
	add_member(out, "compound", r->compound);
	add_values(out, &b->car, r->values);
	add_optional(out, "fuel", &r->fuel);
	add_optional(out, "fuel-per-lap", &r->fuel_per_lap);
	add_optional(out, "track-temp", &r->track_temp);
	add_optional(out, "tyre-age", &r->tyre_age);
	add_channel_map(out, "worn-at-start", b, r->has_worn_at_start, r->worn_at_start);
	add_channel_map(out, "wear-total", b, r->has_wear_total, r->wear_total);
	if (r->n_laps == 0)
		buf_adds(out, "laps: []\n");
	else
		buf_adds(out, "laps:\n");
	write_laps(out, b, r);
	add_member(out, "notes", r->notes);
}

void write_book(struct buf *out, const struct book *b)
{
	buf_adds(out, "kind: book\nversion: 1\n");
	add_member(out, "name", b->name);
	add_member(out, "car", b->car_id);
	add_member(out, "circuit", b->circuit_id);
	add_member(out, "reference", b->reference);
	buf_adds(out, "wear-channels: [");
	for (size_t c = 0; c < b->n_channels; c++)
		buf_addf(out, "%s%s", c ? ", " : "", b->channels[c]);
	buf_adds(out, "]\nwear-limit: ");
	write_number(out, b->wear_limit);
	buf_adds(out, b->n_borrow ? "\nborrow:\n" : "\n");
	for (size_t i = 0; i < b->n_borrow; i++)
		add_member(out, "  - book", b->borrow[i].path);
}
