/*
 * The frontier of random small books against trying every sheet there is. The yardstick
 * goes over single adjustables and whole sheets, knows nothing of groups' levels, and
 * takes its figures from model_delta() of whole sheets; which moves are allowed is worked
 * out here from the rules of the design once more.
 */
#include "balance/balance.h"
#include "base/patience.h"
#include "frontier/frontier.h"
#include "support/invent.h"
#include "support/random.h"
#include "support/support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct tried {
	double time, wear;
	size_t changes;
};

struct yard {
	const struct book *b;
	const struct model *m;
	const struct sheet *start, *reference;
	struct frontier_options o;
	struct tried *tried; /* owned */
	size_t n, cap;
};

static fix held(const struct sheet *s, const struct pair *p)
{
	return s->values[p->front] - s->values[p->rear];
}

/* Coordinates by the design's formulas, from the values and the limits. */
static void pair_coordinates(const struct car *car, const struct pair *p, const fix *v, double *x)
{
	const struct adjustable *f = &car->adjustables[p->front], *r = &car->adjustables[p->rear];
	double hf = fix_to_double(f->max - f->min) / 2, hr = fix_to_double(r->max - r->min) / 2;
	double H = fmax(hf, hr);
	double df = fix_to_double(v[p->front]) - fix_to_double(f->min) - hf;
	double dr = fix_to_double(v[p->rear]) - fix_to_double(r->min) - hr;
	x[0] = (df + dr) / (2 * H);
	x[1] = (df - dr) / (2 * H);
}

static void group_coordinates(const struct car *car, const struct group *g, const fix *v, double *x)
{
	if (g->pair >= 0)
		pair_coordinates(car, &car->pairs[g->pair], v, x);
	else
		x[0] = x[1] = fix_to_double(v[g->adjustable]);
}

static bool driven(const struct yard *y, const struct group *g, const fix *v)
{
	double x[2], lo[2] = {INFINITY, INFINITY}, hi[2] = {-INFINITY, -INFINITY}, at[2];
	group_coordinates(&y->b->car, g, v, at);
	for (size_t i = 0; i < y->b->n_runs; i++) {
		group_coordinates(&y->b->car, g, y->b->runs[i].values, x);
		for (size_t k = 0; k < 2; k++) {
			lo[k] = fmin(lo[k], x[k]);
			hi[k] = fmax(hi[k], x[k]);
		}
	}
	for (size_t k = 0; k < 2; k++)
		if (at[k] < lo[k] - 1e-9 || at[k] > hi[k] + 1e-9)
			return false;
	return true;
}

static bool told(const struct yard *y, size_t group, const fix *v)
{
	const struct model *m = y->m;
	const fix *s = y->start->values;
	if (!model_group_delta(m, RESPONSE_TIME, group, v, s).known)
		return false;
	if (y->o.save.kind == SAVE_LIKE)
		return model_like_group(m, (size_t)y->o.save.channel, group, v, s).delta.known;
	for (size_t c = 0; c < y->b->n_channels; c++)
		if ((y->o.save.kind == SAVE_MEAN || (int)c == y->o.save.channel) &&
			!model_group_delta(m, 1 + c, group, v, s).known)
			return false;
	return true;
}

/* The members of a group: one or two adjustables. */
static size_t members(const struct car *car, const struct group *g, int *out)
{
	out[0] = g->adjustable;
	if (g->pair < 0)
		return 1;
	out[0] = car->pairs[g->pair].front;
	out[1] = car->pairs[g->pair].rear;
	return 2;
}

/* The step of `other` nearest to the start sheet's share, by trying all of them and one more on
 * either side, where the limit is in the way. */
static fix nearest(const struct yard *y, int a, fix v, int other)
{
	const struct adjustable *k = &y->b->car.adjustables[other];
	const double want = balance_of(&y->b->car, y->start->values).transfer_front_share.v;
	const fix from = y->start->values[other];
	fix at[16], best = k->min - k->step;
	double least = INFINITY;
	memcpy(at, y->start->values, y->b->car.n_adjustables * sizeof *at);
	at[a] = v;
	for (fix u = k->min - k->step; u <= k->max + k->step; u += k->step) {
		at[other] = u;
		double off = fabs(balance_of(&y->b->car, at).transfer_front_share.v - want);
		if (off < least - 1e-12 ||
			(off < least + 1e-12 && llabs(u - from) < llabs(best - from))) {
			best = u;
			least = off;
		}
	}
	return best;
}

static bool on_held_line(const struct yard *y, const struct pair *p, const fix *v)
{
	const fix *s = y->start->values;
	return (v[p->front] != s[p->front] &&
		       nearest(y, p->front, v[p->front], p->rear) == v[p->rear]) ||
	       (v[p->rear] != s[p->rear] &&
		       nearest(y, p->rear, v[p->rear], p->front) == v[p->front]);
}

static bool inside(struct opt_num share, struct opt_num want, double band)
{
	return fabs(share.v - want.v) <= band / 100 + 1e-12;
}

static bool shares_kept(const struct yard *y, const fix *v)
{
	struct balance now = balance_of(&y->b->car, v);
	struct balance ref = balance_of(&y->b->car, y->reference->values);
	return (!y->o.has_hold_share || inside(now.transfer_front_share, ref.transfer_front_share,
						y->o.hold_share)) &&
	       (!y->o.has_hold_aero ||
		       inside(now.aero_front_share, ref.aero_front_share, y->o.hold_aero));
}

/* May this group be so? Counts a change and its minutes when it is not as at the start. */
static bool group_allowed(
	const struct yard *y, size_t group, const fix *v, size_t *changes, double *minutes)
{
	const struct car *car = &y->b->car;
	const struct group *g = &y->m->groups[group];
	int a[2];
	size_t n = members(car, g, a);
	bool moved = false;
	for (size_t i = 0; i < n; i++) {
		const struct adjustable *k = &car->adjustables[a[i]];
		if (v[a[i]] == y->start->values[a[i]])
			continue;
		moved = true;
		if (y->start->frozen[a[i]] ||
			(k->has_caution &&
				((k->caution.has_min && v[a[i]] < k->caution.min) ||
					(k->caution.has_max && v[a[i]] > k->caution.max))))
			return false;
		*minutes += k->has_minutes ? k->minutes : 0;
	}
	if (!moved)
		return true;
	(*changes)++;
	if (g->pair >= 0 && y->start->locked[g->pair]) {
		const struct pair *p = &car->pairs[g->pair];
		if (v[p->front] - v[p->rear] != held(y->start, p))
			return false;
	}
	if (g->pair >= 0 && y->start->share_held[g->pair]) {
		const struct pair *p = &car->pairs[g->pair];
		if (y->start->frozen[p->front] || y->start->frozen[p->rear] ||
			!on_held_line(y, p, v))
			return false;
	}
	return (y->o.beyond || driven(y, g, v)) && told(y, group, v);
}

static double objective(const struct yard *y, const fix *v)
{
	const fix *r = y->reference->values;
	double sum = 0;
	if (y->o.save.kind == SAVE_LIKE)
		return model_like(y->m, (size_t)y->o.save.channel, v, r).delta.value;
	if (y->o.save.kind == SAVE_CHANNEL)
		return model_delta(y->m, 1 + (size_t)y->o.save.channel, v, r).value;
	for (size_t c = 0; c < y->b->n_channels; c++)
		sum += model_delta(y->m, 1 + c, v, r).value;
	return sum / (double)y->b->n_channels;
}

static void try_sheet(struct yard *y, const fix *v)
{
	struct tried t = {0};
	double minutes = 0;
	for (size_t g = 0; g < y->m->n_groups; g++)
		if (!group_allowed(y, g, v, &t.changes, &minutes))
			return;
	if ((y->o.has_max_changes && t.changes > y->o.max_changes) ||
		(y->o.has_max_minutes && minutes > y->o.max_minutes + 1e-9))
		return;
	if (!shares_kept(y, v))
		return;
	t.time = model_delta(y->m, RESPONSE_TIME, v, y->reference->values).value;
	t.wear = objective(y, v);
	if (y->n == y->cap) {
		y->cap = y->cap ? 2 * y->cap : 1024;
		y->tried = realloc(y->tried, y->cap * sizeof *y->tried);
		ck_assert_ptr_nonnull(y->tried);
	}
	y->tried[y->n++] = t;
}

/* Every sheet on steps inside the limits. */
static void try_all(struct yard *y, fix *v, size_t a)
{
	const struct car *car = &y->b->car;
	if (a == car->n_adjustables) {
		try_sheet(y, v);
		return;
	}
	for (v[a] = car->adjustables[a].min; v[a] <= car->adjustables[a].max;
		v[a] += car->adjustables[a].step)
		try_all(y, v, a + 1);
}

#define EPS 1e-9
static int by_time(const void *pa, const void *pb)
{
	const struct tried *a = pa, *b = pb;
	if (fabs(a->time - b->time) > EPS)
		return a->time < b->time ? -1 : 1;
	if (fabs(a->wear - b->wear) > EPS)
		return a->wear < b->wear ? -1 : 1;
	return a->changes < b->changes ? -1 : a->changes > b->changes;
}

static void keep_best(struct yard *y)
{
	size_t kept = 0;
	if (y->n == 0)
		return;
	qsort(y->tried, y->n, sizeof *y->tried, by_time);
	for (size_t i = 0; i < y->n; i++)
		if (kept == 0 || y->tried[i].wear < y->tried[kept - 1].wear - EPS)
			y->tried[kept++] = y->tried[i];
	y->n = kept;
}

static void random_options(struct yard *y, struct random *r)
{
	struct err err = {0};
	static const char *const saves[] = {
		NULL, "mean", "like-for-like", "car", "rear", "like-for-like:front"};
	do
		err.text[0] = '\0';
	while (!save_parse(y->m, saves[random_below(r, 6)], &y->o.save, &err));
	y->o.has_max_changes = random_below(r, 3) == 0;
	y->o.max_changes = random_below(r, 4);
	y->o.has_max_minutes = random_below(r, 3) == 0;
	y->o.max_minutes = random_below(r, 15);
	y->o.beyond = random_below(r, 3) == 0;
	y->start = &y->b->sheets[random_below(r, 3) == 0];
	y->reference = &y->b->sheets[0];
}

static void check_points(const struct yard *y, const struct frontier *f, unsigned seed)
{
	ck_assert_msg(f->n == y->n, "book %u: %zu points, brute force %zu", seed, f->n, y->n);
	for (size_t i = 0; i < f->n; i++) {
		const struct frontier_point *p = &f->points[i];
		size_t changes = 0;
		double minutes = 0, wear = objective(y, p->values);
		double time =
			model_delta(y->m, RESPONSE_TIME, p->values, y->reference->values).value;
		for (size_t g = 0; g < y->m->n_groups; g++)
			ck_assert(group_allowed(y, g, p->values, &changes, &minutes));
		ck_assert_double_eq_tol(p->time_delta, y->tried[i].time, 1e-8);
		ck_assert_double_eq_tol(p->time_delta, time, 1e-10);
		ck_assert_double_eq_tol(
			y->o.save.kind == SAVE_LIKE ? p->like_delta : p->wear_delta, wear, 1e-10);
		ck_assert_double_eq_tol(wear, y->tried[i].wear, 1e-8);
		ck_assert_uint_eq(p->changes, changes);
		ck_assert_uint_eq(p->changes, y->tried[i].changes);
		ck_assert_double_eq_tol(p->minutes, minutes, 1e-9);
	}
}

/*
 * A chassis for a random book: bars of -12 to 12 beside firm springs, wings on top of
 * fixed downforce, on the first pair or on any adjustables, so that groups bear on one share, on
 * both, or on none; sheets may hold the share with the pair.
 */
static void random_chassis(struct book *b, struct random *r)
{
	struct car *car = &b->car;
	struct chassis *c = &car->chassis;
	struct chassis_axle *axle[2] = {&c->front, &c->rear};
	const struct pair *p = &car->pairs[0];
	const bool paired = random_below(r, 2) == 0;
	car->has_chassis = true;
	c->mass = c->cg_height = c->front_weight = (struct opt_num){true, 0.44};
	for (int i = 0; i < 2; i++) {
		const int any = (int)random_below(r, (unsigned)car->n_adjustables);
		const int wing = (int)random_below(r, (unsigned)car->n_adjustables);
		*axle[i] = (struct chassis_axle){.track = {true, 1.5 - 0.1 * i},
			.roll_centre = {true, 0.02},
			.spring = {PART_NUMBER, 60 + 10 * i, 0},
			.motion_ratio = {true, 0.9},
			.bar_ratio = {true, 1 - 0.2 * i},
			.bar = {PART_ADJUSTABLE, 0,
				!paired ? any
				: i     ? p->rear
					: p->front},
			.wing = {PART_ADJUSTABLE, 0, wing},
			.aero_base = {true, 1},
			.aero_slope = {true, 0.02}};
	}
	for (size_t k = 0; k < b->n_sheets && paired; k++) {
		b->sheets[k].share_held[0] = random_below(r, 2) == 0;
		if (b->sheets[k].share_held[0])
			b->sheets[k].locked[0] = false;
	}
}

static void random_bands(struct frontier_options *o, struct random *r)
{
	o->has_hold_share = random_below(r, 3) > 0;
	o->hold_share = 4 * random_uniform(r);
	o->has_hold_aero = random_below(r, 2) == 0;
	o->hold_aero = 4 * random_uniform(r);
}

/* A start that cannot be told against the reference is told against itself when asked so. */
static struct frontier *check_told_against_itself(struct yard *y, fix *v, unsigned seed)
{
	struct err err = {0};
	y->o.lenient = true;
	struct frontier *f = frontier_new(y->m, y->start, y->reference, &y->o, &err);
	ck_assert_msg(f != NULL, "%s", err.text);
	ck_assert_ptr_eq(f->against, y->start);
	ck_assert_uint_ge(f->n_notes, 1);
	ck_assert(strstr(f->notes[0], "all figures are against") != NULL);
	y->reference = y->start;
	try_all(y, v, 0);
	keep_best(y);
	check_points(y, f, seed);
	return f;
}

/* Patience that ends anywhere on the way: no frontier, and that is what is said. */
static void check_stops(struct yard *y)
{
	enum { PLACES = 60 };
	struct patience p = {.most = UINT64_MAX};
	struct err err = {0};
	y->o.patience = &p;
	frontier_free(frontier_new(y->m, y->start, y->reference, &y->o, &err));
	const uint64_t needed = p.spent;
	for (uint64_t i = 0; i < PLACES; i++) {
		p = (struct patience){.most = 1, .ask_at = 1 + (needed - 1) * i / (PLACES - 1)};
		ck_assert_ptr_null(frontier_new(y->m, y->start, y->reference, &y->o, &err));
		ck_assert_ptr_nonnull(strstr(err.text, "stopped before"));
	}
	y->o.patience = NULL;
}

/* Returns true when the start sheet could be told against the reference. */
static bool check_book(unsigned seed, bool chassis, size_t *points)
{
	struct random r = random_seeded(seed);
	struct book b;
	struct err err = {0};
	struct yard y = {.b = &b};
	fix v[16];
	random_book(&b, &r);
	if (chassis)
		random_chassis(&b, &r);
	struct model *m = model_new(&b, &err);
	ck_assert_msg(m != NULL, "%s", err.text);
	y.m = m;
	random_options(&y, &r);
	if (chassis)
		random_bands(&y.o, &r);
	struct frontier *f = frontier_new(m, y.start, y.reference, &y.o, &err);
	bool known = f != NULL;
	if (known) {
		try_all(&y, v, 0);
		keep_best(&y);
		check_points(&y, f, seed);
		*points += f->n;
		if (seed % 10 == 0)
			check_stops(&y);
	} else {
		/* Only where the start itself cannot be told against the reference. */
		ck_assert(y.start != y.reference);
		ck_assert(strstr(err.text, "cannot be told") != NULL);
		if (!chassis)
			f = check_told_against_itself(&y, v, seed);
	}
	frontier_free(f);
	free(y.tried);
	model_free(m);
	book_free(&b);
	return known;
}

START_TEST(equals_every_sheet_tried)
{
	unsigned books = test_quick() ? 40 : 240, known = 0;
	size_t points = 0;
	for (unsigned seed = (unsigned)_i * books; seed < (unsigned)(_i + 1) * books; seed++)
		known += check_book(seed, false, &points);
	ck_assert_uint_ge(known, books * 9 / 10);
	/* Fronts of more than the start alone, or nothing was shown. */
	ck_assert_uint_ge(points, known * 3);
}
END_TEST

/* The same with bands on the shares of load transfer and downforce, and held pairs. */
START_TEST(shares_are_held_exactly)
{
	unsigned books = test_quick() ? 40 : 240, known = 0;
	size_t points = 0;
	for (unsigned seed = 5000 + (unsigned)_i * books; seed < 5000 + (unsigned)(_i + 1) * books;
		seed++)
		known += check_book(seed, true, &points);
	ck_assert_uint_ge(known, books * 9 / 10);
	ck_assert_uint_ge(points, known * 2);
}
END_TEST

static void fit_random(unsigned seed, struct book *b, struct model **m)
{
	struct random r = random_seeded(seed);
	struct err err = {0};
	random_book(b, &r);
	*m = model_new(b, &err);
	ck_assert_msg(*m != NULL, "%s", err.text);
}

START_TEST(a_share_that_cannot_be_told_is_not_held)
{
	struct book b;
	struct model *m;
	struct err err = {0};
	struct frontier_options o = {.has_hold_share = true, .hold_share = 1};
	fit_random(3, &b, &m);
	ck_assert(save_parse(m, NULL, &o.save, &err));
	ck_assert_ptr_null(frontier_new(m, &b.sheets[0], &b.sheets[0], &o, &err));
	ck_assert_msg(strstr(err.text, "the load-transfer share cannot be told"), "%s", err.text);
	model_free(m);
	book_free(&b);
}
END_TEST

/* Without any wear reading nothing can be traded: an error, or the start alone and a note. */
START_TEST(no_wear_nothing_moves)
{
	struct random r = random_seeded(4);
	struct book b;
	struct err err = {0};
	struct frontier_options o = {.save = {.kind = SAVE_CHANNEL}};
	random_book(&b, &r);
	for (size_t i = 0; i < b.n_runs; i++) {
		memset(b.runs[i].has_wear_total, 0, sizeof b.runs[i].has_wear_total);
		for (size_t j = 0; j < b.runs[i].n_laps; j++) {
			memset(b.runs[i].laps[j].has_wear, 0, sizeof b.runs[i].laps[j].has_wear);
			memset(b.runs[i].laps[j].has_worn, 0, sizeof b.runs[i].laps[j].has_worn);
		}
	}
	struct model *m = model_new(&b, &err);
	ck_assert_ptr_nonnull(m);
	ck_assert_ptr_null(frontier_new(m, &b.sheets[0], &b.sheets[0], &o, &err));
	ck_assert_msg(strstr(err.text, "no figures of wear") != NULL, "%s", err.text);
	o.lenient = true;
	for (o.save.kind = SAVE_CHANNEL; o.save.kind <= SAVE_LIKE; o.save.kind++) {
		struct frontier *f = frontier_new(m, &b.sheets[0], &b.sheets[0], &o, &err);
		ck_assert_ptr_nonnull(f);
		ck_assert_uint_eq(f->n, 1);
		ck_assert_double_eq(f->candidates, 1);
		ck_assert_double_eq(f->points[0].time_delta, 0);
		ck_assert(!f->points[0].has_wear && !f->points[0].has_like);
		ck_assert_uint_eq(f->n_notes, 1);
		ck_assert(strstr(f->notes[0], "nothing is moved") != NULL);
		frontier_free(f);
	}
	model_free(m);
	book_free(&b);
}
END_TEST

/* Wear was read on one set-up only: the other's lap time can be told against it, its wear
 * not, so all its figures are against itself: nought. */
START_TEST(told_against_itself_is_nought)
{
	struct book b;
	struct err err = {0};
	struct sheet start;
	struct frontier_options o = {.save = {.kind = SAVE_CHANNEL}, .lenient = true};
	invent_book(&b, 0, 1, 1);
	for (int i = 0; i < 4; i++) {
		struct run *r = invent_run(&b, "r");
		invent_set(&b, r, "s0", i % 2 ? 5 : 0);
		for (int j = 0; j < 3; j++) {
			struct lap *l = invent_lap(r, 90 + i % 2 + 0.1 * (j * (i + 1) % 3));
			l->has_wear[0] = i % 2 == 0;
			l->wear[0] = 2 + 0.1 * j;
		}
	}
	sheet_init(&start);
	ck_assert(sheet_copy(&start, &b.sheets[0]));
	start.values[0] = 5 * FIX_ONE;
	struct model *m = model_new(&b, &err);
	ck_assert_ptr_nonnull(m);
	ck_assert(model_delta(m, RESPONSE_TIME, start.values, b.sheets[0].values).known);
	struct frontier *f = frontier_new(m, &start, &b.sheets[0], &o, &err);
	ck_assert_ptr_nonnull(f);
	ck_assert_ptr_eq(f->against, &start);
	ck_assert_uint_eq(f->n, 1);
	ck_assert_double_eq(f->points[0].time_delta, 0);
	frontier_free(f);
	model_free(m);
	sheet_free(&start);
	book_free(&b);
}
END_TEST

START_TEST(thinning_keeps_both_ends)
{
	for (unsigned seed = 0; seed < 30; seed++) {
		struct book b;
		struct model *m;
		struct err err = {0};
		struct frontier_options o = {.beyond = true};
		fit_random(seed, &b, &m);
		ck_assert(save_parse(m, NULL, &o.save, &err));
		struct frontier *all = frontier_new(m, &b.sheets[0], &b.sheets[0], &o, &err);
		ck_assert_ptr_nonnull(all);
		for (o.points = 2; o.points < 9; o.points++) {
			struct frontier *f = frontier_new(m, &b.sheets[0], &b.sheets[0], &o, &err);
			ck_assert_ptr_nonnull(f);
			ck_assert_uint_eq(f->n, all->n < o.points ? all->n : o.points);
			ck_assert_uint_eq(f->n_found, all->n);
			ck_assert_double_eq(f->points[0].time_delta, all->points[0].time_delta);
			ck_assert_double_eq(
				f->points[f->n - 1].time_delta, all->points[all->n - 1].time_delta);
			for (size_t i = 1; i < f->n; i++)
				ck_assert_double_gt(
					f->points[i].time_delta, f->points[i - 1].time_delta);
			frontier_free(f);
		}
		frontier_free(all);
		model_free(m);
		book_free(&b);
	}
}
END_TEST

START_TEST(what_to_save)
{
	struct book b;
	struct model *m;
	struct err err = {0};
	struct save_target t;
	char text[SAVE_SIZE];
	unsigned seed = 0;
	for (;; seed++) {
		fit_random(seed, &b, &m);
		if (b.n_channels == 2)
			break;
		model_free(m);
		book_free(&b);
	}
	static const char *const good[] = {"front", "rear", "mean", "like-for-like",
		"like-for-like:front", "like-for-like:rear"};
	for (size_t i = 0; i < 6; i++) {
		ck_assert(save_parse(m, good[i], &t, &err));
		ck_assert_str_eq(save_print(m, &t, text, sizeof text), good[i]);
	}
	ck_assert(save_parse(m, NULL, &t, &err));
	ck_assert_int_eq(t.channel, model_limiting_channel(m, b.sheets[0].values));
	static const char *const bad[] = {
		"", "car", "means", "like-for-like:", "like-for-likely", "like-for-like:car"};
	for (size_t i = 0; i < 6; i++) {
		ck_assert(!save_parse(m, bad[i], &t, &err));
		ck_assert_int_eq(err.cls, ERR_INPUT);
		ck_assert(strstr(err.text, "front, rear, mean") != NULL);
	}
	model_free(m);
	book_free(&b);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("frontier");
	TCase *t = tcase_create("books");
	tcase_set_timeout(t, 300);
	tcase_add_loop_test(t, equals_every_sheet_tried, 0, 2);
	tcase_add_loop_test(t, shares_are_held_exactly, 0, 2);
	tcase_add_test(t, a_share_that_cannot_be_told_is_not_held);
	tcase_add_test(t, no_wear_nothing_moves);
	tcase_add_test(t, told_against_itself_is_nought);
	tcase_add_test(t, thinning_keeps_both_ends);
	tcase_add_test(t, what_to_save);
	suite_add_tcase(s, t);
	return s;
}
