#include "balance/balance_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static struct opt_num some(double v)
{
	return (struct opt_num){true, v};
}

/* What the lines are made from. */
struct told {
	const struct book *b;
	struct balance_plan plan;
	const fix *values, *against;
	struct balance now, then;
	bool has_then;
};

static const struct {
	const char *name;
	enum balance_figure figure;
	int band; /* -1: none */
} shares[] = {
	[BALANCE_STIFFNESS] = {"roll stiffness", FIGURE_STIFFNESS, -1},
	[BALANCE_TRANSFER] = {"load transfer", FIGURE_TRANSFER, BAND_TRANSFER},
	[BALANCE_AERO] = {"aero balance", FIGURE_AERO, BAND_AERO},
	[BALANCE_BRAKES] = {"brake balance", FIGURE_BRAKES, BAND_BRAKES},
};

static struct opt_num share_of(const struct balance *b, enum balance_kind k)
{
	switch (k) {
	case BALANCE_STIFFNESS:
		return b->stiffness_front_share;
	case BALANCE_TRANSFER:
		return b->transfer_front_share;
	case BALANCE_AERO:
		return b->aero_front_share;
	default:
		return b->brake_front_share;
	}
}

static void transfer_words(const struct told *t, char *buf, size_t size)
{
	struct balance_transfer x = balance_transfer(&t->b->car, &t->now, t->plan.lateral.v);
	if (x.has)
		snprintf(buf, size, "%.0f N front, %.0f N rear at %g g",
			x.front_geometric + x.front_elastic, x.rear_geometric + x.rear_elastic,
			t->plan.lateral.v);
}

static void aero_words(const struct told *t, char *buf, size_t size)
{
	const double v = t->plan.speed.v / 3.6;
	struct opt_num f = balance_downforce(&t->now.aero_front, v);
	struct opt_num r = balance_downforce(&t->now.aero_rear, v);
	if (f.has && r.has)
		snprintf(buf, size, "%.0f N front, %.0f N rear at %g km/h", f.v, r.v,
			t->plan.speed.v);
}

/* The end that uses up its grip first locks first; the front first is the safe side. */
static void brake_words(const struct told *t, double share, char *buf, size_t size)
{
	struct opt_num ideal = balance_ideal_braking(&t->b->car, t->plan.deceleration.v);
	const double off = ideal.has ? 100 * (share - ideal.v) : 0;
	if (!ideal.has)
		snprintf(buf, size, "ideal not told: the car profile lacks %s%s%s",
			t->b->car.chassis.wheelbase.has ? "" : "wheelbase ",
			t->b->car.chassis.cg_height.has ? "" : "cg-height ",
			t->b->car.chassis.front_weight.has ? "" : "front-weight");
	else
		snprintf(buf, size, "ideal %.1f %% at %g g: %s", 100 * ideal.v,
			t->plan.deceleration.v,
			off >= 0.05    ? "the front locks first"
			: off <= -0.05 ? "the rear locks first, unstable"
				       : "both ends alike");
}

static void signed_text(char *buf, size_t size, double v, int decimals)
{
	const double half = 0.5 * pow(10, -decimals);
	snprintf(buf, size, "%+.*f", decimals, fabs(v) < half ? 0.0 : v);
}

static void lacking(const struct told *t, enum balance_kind k, struct balance_line *l)
{
	char keys[160];
	balance_lacks(&t->b->car, shares[k].figure, keys, sizeof keys);
	snprintf(l->words, sizeof l->words,
		keys[0] ? "not told: the car profile lacks %s"
			: "not told: the front and rear figures add up to nothing",
		keys);
}

/* A line without figures and texts; its long texts are only begun. */
static void begin(struct balance_line *l, enum balance_kind k, const char *name)
{
	l->kind = k;
	l->name = name;
	l->figure = l->change = (struct opt_num){false, 0};
	l->beyond = false;
	l->band = 0;
	l->value[0] = l->delta[0] = l->words[0] = '\0';
}

static void share_figure(const struct told *t, enum balance_kind k, struct balance_line *l)
{
	const struct opt_num now = share_of(&t->now, k), then = share_of(&t->then, k);
	begin(l, k, shares[k].name);
	if (!now.has) {
		lacking(t, k, l);
		return;
	}
	l->figure = some(100 * now.v);
	if (t->has_then && then.has)
		l->change = some(100 * (now.v - then.v));
	if (shares[k].band >= 0) {
		l->band = t->plan.band[shares[k].band].v;
		l->beyond = l->change.has && fabs(l->change.v) > l->band + 1e-9;
	}
}

static void share_texts(const struct told *t, enum balance_kind k, struct balance_line *l)
{
	if (!l->figure.has)
		return;
	snprintf(l->value, sizeof l->value, "front %.1f %%", l->figure.v);
	if (l->change.has)
		signed_text(l->delta, sizeof l->delta, l->change.v, 1);
	if (k == BALANCE_TRANSFER)
		transfer_words(t, l->words, sizeof l->words);
	else if (k == BALANCE_AERO)
		aero_words(t, l->words, sizeof l->words);
	else if (k == BALANCE_BRAKES)
		brake_words(t, share_of(&t->now, k).v, l->words, sizeof l->words);
	else
		snprintf(l->words, sizeof l->words, "%.0f and %.0f N m/rad",
			t->now.front.roll_stiffness.v, t->now.rear.roll_stiffness.v);
}

static struct opt_num cold_pressure(const struct car *car, const fix *values, int axle)
{
	const struct part *p = axle ? &car->chassis.rear.pressure : &car->chassis.front.pressure;
	if (!car->has_chassis || p->kind == PART_NONE)
		return (struct opt_num){false, 0};
	return some(p->kind == PART_NUMBER ? p->number : fix_to_double(values[p->adjustable]));
}

struct opt_num balance_hot(const struct book *b, const fix *values, int axle)
{
	const struct opt_num cold = cold_pressure(&b->car, values, axle);
	if (!cold.has || !b->balance.cold.has || !b->balance.hot.has)
		return (struct opt_num){false, 0};
	return some(balance_pressure(cold.v, b->balance.cold.v, b->balance.hot.v));
}

struct opt_num balance_cold_for_target(const struct book *b, int axle)
{
	const struct opt_num want = b->balance.hot_pressure[axle];
	if (!want.has || !b->balance.cold.has || !b->balance.hot.has)
		return (struct opt_num){false, 0};
	return some(balance_pressure(want.v, b->balance.hot.v, b->balance.cold.v));
}

static void pressure_figure(const struct told *t, int axle, struct balance_line *l)
{
	const struct opt_num hot = balance_hot(t->b, t->values, axle);
	begin(l, axle ? BALANCE_PRESSURE_REAR : BALANCE_PRESSURE_FRONT,
		axle ? "hot pressure rear" : "hot pressure front");
	l->figure = hot;
	if (hot.has && t->against)
		l->change = some(hot.v - balance_hot(t->b, t->against, axle).v);
	if (!hot.has)
		snprintf(l->words, sizeof l->words, "not told: the car profile lacks pressures: %s",
			axle ? "rear" : "front");
}

static void pressure_texts(const struct told *t, int axle, struct balance_line *l)
{
	const struct balance_plan *p = &t->b->balance;
	const struct opt_num set = balance_cold_for_target(t->b, axle);
	if (l->figure.has) {
		snprintf(l->value, sizeof l->value, "%.1f kPa", l->figure.v);
		snprintf(l->words, sizeof l->words, "cold %.1f, %g to %g C",
			cold_pressure(&t->b->car, t->values, axle).v, p->cold.v, p->hot.v);
	}
	if (l->change.has)
		signed_text(l->delta, sizeof l->delta, l->change.v, 1);
	const size_t n = strlen(l->words);
	if (set.has)
		snprintf(l->words + n, sizeof l->words - n, "; for %g hot set %.1f cold",
			p->hot_pressure[axle].v, set.v);
}

static size_t tell(const struct book *b, const fix *values, const fix *against, bool texts,
	struct balance_line out[BALANCE_LINES])
{
	struct told t = {.b = b,
		.plan = book_balance(b),
		.values = values,
		.against = against,
		.has_then = against != NULL};
	size_t n = 0;
	if (!b->car.has_chassis)
		return 0;
	t.now = balance_of(&b->car, values);
	if (against)
		t.then = balance_of(&b->car, against);
	for (int k = BALANCE_STIFFNESS; k <= BALANCE_BRAKES; k++, n++) {
		share_figure(&t, (enum balance_kind)k, &out[n]);
		if (texts)
			share_texts(&t, (enum balance_kind)k, &out[n]);
	}
	for (int axle = 0; axle < 2 && t.plan.cold.has && t.plan.hot.has; axle++, n++) {
		pressure_figure(&t, axle, &out[n]);
		if (texts)
			pressure_texts(&t, axle, &out[n]);
	}
	return n;
}

size_t balance_lines(const struct book *b, const fix *values, const fix *against,
	struct balance_line out[BALANCE_LINES])
{
	return tell(b, values, against, true, out);
}

size_t balance_figures(const struct book *b, const fix *values, const fix *against,
	struct balance_line out[BALANCE_LINES])
{
	return tell(b, values, against, false, out);
}

const char *balance_beyond_words(const struct balance_line *l, char *buf, size_t size)
{
	buf[0] = '\0';
	if (l->beyond)
		snprintf(buf, size, "beyond the band of %g", l->band);
	return buf;
}
