/* Runs. */
#include "store/load.h"
#include "store/read.h"

#include <stdlib.h>
#include <string.h>

/* A run while it is read; n_channels names in `channels`, all sets' names without a book. */
struct work {
	struct reader r;
	struct run *run;
	const struct car *car;
	const struct book *book; /* NULL: the channels are those of all sets */
	size_t n_channels;
	const char *channels[7];
	/* Where each way of giving wear was met first, for faults of mixing them. */
	const struct node *wear_at[CHANNELS_MAX], *worn_at[CHANNELS_MAX], *total_at[CHANNELS_MAX];
};

static void take_channels(struct work *w, const struct book *book)
{
	if (book) {
		w->book = book;
		for (size_t i = 0; i < book->n_channels; i++)
			w->channels[w->n_channels++] = book->channels[i];
		return;
	}
	for (int set = CHANNELS_CAR; set <= CHANNELS_WHEELS; set++)
		for (size_t i = 0; i < channel_set_size((enum channel_set)set); i++)
			w->channels[w->n_channels++] = channel_set_name((enum channel_set)set, i);
}

static int find_channel(struct work *w, const struct node *key)
{
	char shown[SHOW_SIZE], list[60] = "";
	for (size_t i = 0; i < w->n_channels; i++)
		if (node_is(key, w->channels[i]))
			return (int)i;
	for (size_t i = 0; i < w->n_channels; i++) {
		strcat(list, i ? ", " : "");
		strcat(list, w->channels[i]);
	}
	read_fault(&w->r, key, "unknown wear channel '%s'; this book has: %s",
		node_show(key, shown), list);
	return -1;
}

/* {channel: percent}; first[] notes where a channel was met first, may be NULL. */
static void load_channels(
	struct work *w, const struct node *n, bool *has, double *v, const struct node **first)
{
	if (!read_is_map(&w->r, n, "a mapping of wear channels to %, such as {front: 2.41}"))
		return;
	for (const struct node *m = n->child; m; m = m->next) {
		int c = find_channel(w, m->key);
		double got;
		if (c < 0 || !read_number(&w->r, m, range_wear, &got) || !w->book)
			continue;
		has[c] = true;
		v[c] = got;
		if (first && !first[c])
			first[c] = m;
	}
}

static bool is_blank(const char *text)
{
	return text[strspn(text, " \t\r\n")] == '\0';
}

static void load_lap(struct work *w, const struct node *n, struct lap *lap)
{
	static const struct field fields[] = {{"time", true}, {"wear", false}, {"worn", false},
		{"effort", false}, {"skip", false}, {"segments", false}};
	const struct node *at[6];
	if (!read_fields(&w->r, n, "a lap", fields, 6, at))
		return;
	read_laptime(&w->r, at[0], &lap->time);
	load_channels(w, at[1], lap->has_wear, lap->wear, w->wear_at);
	load_channels(w, at[2], lap->has_worn, lap->worn, w->worn_at);
	lap->has_effort = read_number(&w->r, at[3], range_effort, &lap->effort);
	if (read_text(&w->r, at[4], &lap->skip) && is_blank(lap->skip))
		read_fault(&w->r, at[4],
			"skip is empty; a skipped lap needs a reason, such as skip: traffic");
	load_lap_segments(&w->r, n, at[5], w->book, lap);
}

/* What a channel shows as worn never falls within a run. */
static void check_worn(struct work *w, const struct node *laps, size_t c)
{
	const struct run *run = w->run;
	const char *name = w->channels[c];
	if (!run->has_worn_at_start[c]) {
		read_fault(&w->r, w->worn_at[c],
			"worn for %s but no worn-at-start; the run needs worn-at-start: {%s: ...}",
			name, name);
		return;
	}
	double last = run->worn_at_start[c];
	const struct lap *lap = run->laps;
	for (const struct node *n = laps->child; n; n = n->next, lap++) {
		if (!lap->has_worn[c])
			continue;
		if (lap->worn[c] < last) {
			char before[40];
			num_print(last, before, sizeof before);
			read_fault(&w->r, node_get(node_get(n, "worn"), name),
				"worn so far falls; %s was at %s before", name, before);
			return;
		}
		last = lap->worn[c];
	}
}

static const struct node *later(const struct node *a, const struct node *b)
{
	return a->start > b->start ? a : b;
}

static void check_ways(struct work *w, const struct node *laps)
{
	for (size_t c = 0; w->book && c < w->n_channels; c++) {
		const struct node *wear = w->wear_at[c], *worn = w->worn_at[c],
				  *total = w->total_at[c];
		const char *name = w->channels[c];
		if (wear && worn)
			read_fault(&w->r, later(wear, worn),
				"%s has both wear and worn in this run; "
				"give it one way in all laps",
				name);
		if (total && (wear || worn))
			read_fault(&w->r, total,
				"%s has a wear-total and %s per lap in this run; keep one", name,
				wear ? "wear" : "worn");
		if (total && w->run->n_laps == 0)
			read_fault(&w->r, total,
				"a wear-total without laps; give the laps it is the total of");
		if (worn)
			check_worn(w, laps, c);
	}
}

static void load_laps(struct work *w, const struct node *n)
{
	if (!read_is_list(&w->r, n, "a list of laps"))
		return;
	w->run->laps = calloc(n->n_children + 1, sizeof *w->run->laps);
	if (!w->run->laps) {
		read_memory(&w->r);
		return;
	}
	for (const struct node *m = n->child; m; m = m->next)
		load_lap(w, m, &w->run->laps[w->run->n_laps++]);
	check_ways(w, n);
}

static void load_date(struct work *w, const struct node *n)
{
	char shown[SHOW_SIZE];
	if (!read_is_scalar(&w->r, n, "a date"))
		return;
	if (!run_date_valid(n->text, n->len)) {
		read_fault(&w->r, n, "date: '%s' is no date and time; write YYYY-MM-DDTHH:MM",
			node_show(n, shown));
		return;
	}
	memcpy(w->run->date, n->text, n->len + 1);
}

enum {
	R_KIND,
	R_VERSION,
	R_DATE,
	R_SHEET,
	R_DRIVER,
	R_SESSION,
	R_COMPOUND,
	R_VALUES,
	R_FUEL,
	R_FUEL_PER_LAP,
	R_TRACK_TEMP,
	R_TYRE_AGE,
	R_WORN_AT_START,
	R_WEAR_TOTAL,
	R_LAPS,
	R_NOTES,
	R_N
};
static const struct field run_fields[R_N] = {
	{"kind", true},
	{"version", true},
	{"date", false},
	{"sheet", false},
	{"driver", false},
	{"session", false},
	{"compound", false},
	{"values", true},
	{"fuel", false},
	{"fuel-per-lap", false},
	{"track-temp", false},
	{"tyre-age", false},
	{"worn-at-start", false},
	{"wear-total", false},
	{"laps", true},
	{"notes", false},
};

static void load_rest(struct work *w, const struct node **at)
{
	struct run *run = w->run;
	load_date(w, at[R_DATE]);
	read_id(&w->r, at[R_SHEET], run->sheet);
	read_id(&w->r, at[R_DRIVER], run->driver);
	read_id(&w->r, at[R_SESSION], run->session);
	read_id(&w->r, at[R_COMPOUND], run->compound);
	load_values(&w->r, at[R_VALUES], w->car, run->values);
	read_optional(&w->r, at[R_FUEL], range_fuel, &run->fuel);
	read_optional(&w->r, at[R_FUEL_PER_LAP], range_fuel, &run->fuel_per_lap);
	read_optional(&w->r, at[R_TRACK_TEMP], range_temp, &run->track_temp);
	read_optional(&w->r, at[R_TYRE_AGE], range_age, &run->tyre_age);
	load_channels(w, at[R_WORN_AT_START], run->has_worn_at_start, run->worn_at_start, NULL);
	load_channels(w, at[R_WEAR_TOTAL], run->has_wear_total, run->wear_total, w->total_at);
	load_laps(w, at[R_LAPS]);
	read_text(&w->r, at[R_NOTES], &run->notes);
}

bool load_run(struct run *run, const struct doc *d, const char *id, const struct car *car,
	const struct book *book, struct faults *faults)
{
	const struct node *at[R_N];
	struct work w = {.r = {d, faults, false}, .run = run, .car = car};
	size_t from = faults->n;
	run_init(run);
	memcpy(run->id, id, strlen(id) + 1);
	run->n_values = car ? car->n_adjustables : 0;
	run->values = calloc(run->n_values + 1, sizeof *run->values);
	if (!run->values)
		return read_memory(&w.r);
	take_channels(&w, book);
	if (read_head(&w.r, d->root, "run") &&
		read_fields(&w.r, d->root, "a run", run_fields, R_N, at))
		load_rest(&w, at);
	faults_sort(faults, from);
	if (w.r.bad)
		run_free(run);
	return !w.r.bad;
}
