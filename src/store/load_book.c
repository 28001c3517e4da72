/* book.yaml. */
#include "store/load.h"
#include "store/read.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct range any = {-1e6, 1e6, false}, not_negative = {0, 1e6, false},
			  percent = {0, 100, false}, some_percent = {0, 100, true};

static bool is_set(const struct node *n, enum channel_set set)
{
	size_t size = channel_set_size(set);
	if (n->n_children != size)
		return false;
	for (size_t i = 0; i < size; i++) {
		const struct node *m = n->child;
		while (m && !node_is(m, channel_set_name(set, i)))
			m = m->next;
		if (!m)
			return false;
	}
	return true;
}

static void load_wear_channels(struct reader *r, const struct node *n, struct book *b)
{
	if (!read_is_list(r, n, "a list: [car], [front, rear] or [fl, fr, rl, rr]"))
		return;
	for (int s = CHANNELS_CAR; s <= CHANNELS_WHEELS; s++) {
		enum channel_set set = (enum channel_set)s;
		if (!is_set(n, set))
			continue;
		/* In the book's own order, which is the order on screen. */
		for (const struct node *m = n->child; m; m = m->next)
			for (size_t i = 0; i < channel_set_size(set); i++)
				if (node_is(m, channel_set_name(set, i)))
					b->channels[b->n_channels++] = channel_set_name(set, i);
		return;
	}
	read_fault(r, n,
		"wear-channels is no known set; [car], [front, rear] or [fl, fr, rl, rr] is "
		"allowed");
}

static void load_conditions(struct reader *r, const struct node *n, struct book *b)
{
	static const struct field fields[COV_N] = {
		{"effort", false}, {"tyre-age", false}, {"fuel", false}, {"track-temp", false}};
	const struct range ranges[COV_N] = {range_effort, range_age, range_fuel, range_temp};
	const struct node *at[COV_N];
	if (!read_fields(r, n, "conditions", fields, COV_N, at))
		return;
	for (int i = 0; i < COV_N; i++)
		read_optional(r, at[i], ranges[i], &b->conditions[i]);
}

/*
 * Keys named after the book's channels, `prefix` before each. Where the channels could not
 * be read, those of all sets pass, and what they say goes nowhere.
 */
enum { KEYS_MAX = 8 };
struct keys {
	char ids[KEYS_MAX][16];
	struct field fields[KEYS_MAX];
	size_t n;
};

static void add_key(struct keys *k, const char *prefix, const char *channel)
{
	snprintf(k->ids[k->n], sizeof k->ids[k->n], "%s%s", prefix, channel);
	k->fields[k->n] = (struct field){k->ids[k->n], false};
	k->n++;
}

static void add_channel_keys(const struct book *b, struct keys *k, const char *prefix)
{
	for (size_t i = 0; i < b->n_channels; i++)
		add_key(k, prefix, b->channels[i]);
	for (int s = CHANNELS_CAR; b->n_channels == 0 && s <= CHANNELS_WHEELS; s++)
		for (size_t i = 0; i < channel_set_size((enum channel_set)s); i++)
			add_key(k, prefix, channel_set_name((enum channel_set)s, i));
}

/* n is a mapping {key: number}; the first `n_out` go to out. */
static void load_keyed(struct reader *r, const struct node *n, const char *what,
	const struct keys *k, struct range range, struct opt_num *out, size_t n_out)
{
	const struct node *at[KEYS_MAX];
	struct opt_num unused;
	read_fields(r, n, what, k->fields, k->n, at);
	for (size_t i = 0; i < k->n; i++)
		read_optional(r, at[i], range, i < n_out ? &out[i] : &unused);
}

static void load_rule(
	struct reader *r, const struct node *n, const struct book *b, struct covariate_rule *rule)
{
	char label[SHOW_SIZE], shown[SHOW_SIZE];
	struct keys k = {.n = 0};
	if (!n)
		return;
	rule->off = node_is(n, "off");
	if (rule->off)
		return;
	if (n->kind != NODE_MAP) {
		read_fault(r, n,
			"%s: '%s' is not known; write off, or known slopes such as {time: 0.032}",
			node_label(n, label), node_show(n, shown));
		return;
	}
	add_key(&k, "", "time");
	add_channel_keys(b, &k, "wear-");
	load_keyed(r, n, "known slopes", &k, any, rule->known, 1 + b->n_channels);
}

static void load_covariates(struct reader *r, const struct node *n, struct book *b)
{
	static const struct field fields[COV_N] = {
		{"effort", false}, {"tyre-age", false}, {"fuel", false}, {"track-temp", false}};
	const struct node *at[COV_N];
	if (!read_fields(r, n, "covariates", fields, COV_N, at))
		return;
	for (int i = 0; i < COV_N; i++)
		load_rule(r, at[i], b, &b->covariates[i]);
}

static void load_curvature(struct reader *r, const struct node *n, struct book *b)
{
	static const char *const words[] = {"auto", "off"};
	b->curvature_off = read_choice(r, n, words, 2) == 1;
}

static void load_exchange(struct reader *r, const struct node *n, struct book *b)
{
	if (!n || node_is(n, "auto"))
		return;
	if (n->kind == NODE_SCALAR) {
		struct opt_num rate;
		read_optional(r, n, not_negative, &rate);
		for (size_t i = 0; i < b->n_channels; i++)
			b->exchange[i] = rate;
		return;
	}
	if (!read_is_map(r, n, "auto, a number, or a number per channel"))
		return;
	struct keys k = {.n = 0};
	add_channel_keys(b, &k, "");
	load_keyed(r, n, "exchange-rate", &k, not_negative, b->exchange, b->n_channels);
}

static void load_stint(struct reader *r, const struct node *n, struct stint_plan *s)
{
	static const struct field fields[] = {{"laps", false}, {"pit-loss", false},
		{"fuel-per-lap", false}, {"pace-loss", false}, {"cliff-at", false},
		{"cliff", false}};
	static const struct range laps = {1, BOOK_STINT_LAPS_MAX, false};
	const struct node *at[6];
	if (!read_fields(r, n, "a stint", fields, 6, at))
		return;
	s->given = true;
	read_optional(r, at[0], laps, &s->laps);
	if (s->laps.has && s->laps.v != floor(s->laps.v))
		read_fault(r, at[0], "laps has decimals; a whole number is allowed");
	read_optional(r, at[1], not_negative, &s->pit_loss);
	read_optional(r, at[2], not_negative, &s->fuel_per_lap);
	s->pace_loss_auto = node_is(at[3], "auto");
	if (!s->pace_loss_auto)
		read_optional(r, at[3], not_negative, &s->pace_loss);
	read_optional(r, at[4], percent, &s->cliff_at);
	read_optional(r, at[5], not_negative, &s->cliff);
	if (!at[4] != !at[5])
		read_fault(r, at[4] ? at[4] : at[5],
			"cliff-at and cliff belong together; give both or neither");
}

static void load_temperatures(struct reader *r, const struct node *n, struct balance_plan *p)
{
	static const struct field fields[] = {{"cold", true}, {"hot", true}};
	static const struct range degrees = {-60, 300, false};
	const struct node *at[2];
	if (!read_fields(r, n, "temperatures", fields, 2, at))
		return;
	read_optional(r, at[0], degrees, &p->cold);
	read_optional(r, at[1], degrees, &p->hot);
}

static void load_hot_pressure(struct reader *r, const struct node *n, struct balance_plan *p)
{
	static const struct field fields[] = {{"front", false}, {"rear", false}};
	static const struct range gauge = {0, 2000, true};
	const struct node *at[2];
	if (!read_fields(r, n, "hot-pressure", fields, 2, at))
		return;
	for (int i = 0; i < 2; i++)
		read_optional(r, at[i], gauge, &p->hot_pressure[i]);
}

static void load_balance(struct reader *r, const struct node *n, struct balance_plan *p)
{
	static const struct field fields[] = {{"lateral", false}, {"speed", false},
		{"deceleration", false}, {"temperatures", false}, {"hot-pressure", false},
		{"band", false}};
	static const struct range g = {0, 10, true}, speed = {0, 600, true};
	const struct node *at[6], *band[BANDS_N];
	struct field bands[BANDS_N];
	if (!read_fields(r, n, "balance", fields, 6, at))
		return;
	read_optional(r, at[0], g, &p->lateral);
	read_optional(r, at[1], speed, &p->speed);
	read_optional(r, at[2], g, &p->deceleration);
	load_temperatures(r, at[3], p);
	load_hot_pressure(r, at[4], p);
	if (at[4] && !at[3])
		read_fault(r, at[4],
			"hot-pressure alone; it needs temperatures: {cold: ..., hot: ...} beside "
			"it");
	for (int i = 0; i < BANDS_N; i++)
		bands[i] = (struct field){balance_band_names[i], false};
	if (!read_fields(r, at[5], "band", bands, BANDS_N, band))
		return;
	for (int i = 0; i < BANDS_N; i++)
		read_optional(r, band[i], percent, &p->band[i]);
}

enum {
	B_KIND,
	B_VERSION,
	B_NAME,
	B_NOTES,
	B_CAR,
	B_CIRCUIT,
	B_REFERENCE,
	B_CHANNELS,
	B_LIMIT,
	B_CONDITIONS,
	B_COVARIATES,
	B_CURVATURE,
	B_EXCHANGE,
	B_STINT,
	B_BALANCE,
	B_BORROW,
	B_CONFLICTS,
	B_N
};
static const struct field book_fields[B_N] = {
	{"kind", true},
	{"version", true},
	{"name", false},
	{"notes", false},
	{"car", true},
	{"circuit", true},
	{"reference", true},
	{"wear-channels", true},
	{"wear-limit", true},
	{"conditions", false},
	{"covariates", false},
	{"curvature", false},
	{"exchange-rate", false},
	{"stint", false},
	{"balance", false},
	{"borrow", false},
	{"borrow-conflicts", false},
};

static void load_rest(
	struct reader *r, const struct node **at, struct book *b, struct book_refs *refs)
{
	static const char *const conflicts[] = {"widen", "show"};
	char *notes = NULL;
	read_text(r, at[B_NAME], &b->name);
	read_text(r, at[B_NOTES], &notes);
	free(notes);
	refs->car = read_id(r, at[B_CAR], b->car_id) ? at[B_CAR] : NULL;
	refs->circuit = read_id(r, at[B_CIRCUIT], b->circuit_id) ? at[B_CIRCUIT] : NULL;
	refs->reference = read_id(r, at[B_REFERENCE], b->reference) ? at[B_REFERENCE] : NULL;
	load_wear_channels(r, at[B_CHANNELS], b);
	read_number(r, at[B_LIMIT], some_percent, &b->wear_limit);
	load_conditions(r, at[B_CONDITIONS], b);
	load_covariates(r, at[B_COVARIATES], b);
	load_curvature(r, at[B_CURVATURE], b);
	load_exchange(r, at[B_EXCHANGE], b);
	load_stint(r, at[B_STINT], &b->stint);
	load_balance(r, at[B_BALANCE], &b->balance);
	load_borrow(r, at[B_BORROW], b);
	if (at[B_CONFLICTS])
		b->borrow_keep = read_choice(r, at[B_CONFLICTS], conflicts, 2) == 1;
}

bool load_book_file(
	struct book *b, const struct doc *d, struct book_refs *refs, struct faults *faults)
{
	const struct node *at[B_N];
	struct reader r = {d, faults, false};
	*refs = (struct book_refs){NULL, NULL, NULL};
	if (read_head(&r, d->root, "book") &&
		read_fields(&r, d->root, "a book", book_fields, B_N, at))
		load_rest(&r, at, b, refs);
	return !r.bad;
}
