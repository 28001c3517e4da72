#include "balance/balance.h"

#include <stdio.h>
#include <string.h>

static struct opt_num some(double v)
{
	return (struct opt_num){true, v};
}

static const struct opt_num none = {false, 0};

static struct opt_num part_value(const struct part *p, const fix *values)
{
	switch (p->kind) {
	case PART_NUMBER:
		return some(p->number);
	case PART_ADJUSTABLE:
		return some(fix_to_double(values[p->adjustable]));
	case PART_NONE:
		break;
	}
	return none;
}

/* rate * ratio^2, at the wheel */
static struct opt_num at_wheel(struct opt_num rate, struct opt_num ratio)
{
	return rate.has && ratio.has ? some(rate.v * ratio.v * ratio.v) : none;
}

/* N/mm over a track in m to N m/rad */
static struct opt_num roll_stiffness(struct opt_num rate, struct opt_num track)
{
	return rate.has && track.has ? some(rate.v * 1000 * track.v * track.v / 2) : none;
}

static struct opt_num front_share(struct opt_num front, struct opt_num rear)
{
	double sum = front.v + rear.v;
	return front.has && rear.has && sum > 0 ? some(front.v / sum) : none;
}

static struct opt_num suspension_rate(const struct balance_axle *b)
{
	return b->wheel_rate.has && b->bar_rate.has ? some(b->wheel_rate.v + b->bar_rate.v) : none;
}

static struct opt_num in_series(struct opt_num rate, struct opt_num tyre)
{
	double sum = rate.v + tyre.v;
	return rate.has && tyre.has && sum > 0 ? some(rate.v * tyre.v / sum) : none;
}

static struct balance_axle axle_of(const struct chassis_axle *a, const fix *values)
{
	struct balance_axle b;
	b.wheel_rate = at_wheel(part_value(&a->spring, values), a->motion_ratio);
	b.bar_rate = at_wheel(part_value(&a->bar, values), a->bar_ratio);
	b.roll_stiffness = roll_stiffness(suspension_rate(&b), a->track);
	b.elastic_rate = a->tyre_rate.has ? in_series(suspension_rate(&b), a->tyre_rate)
					  : suspension_rate(&b);
	return b;
}

/* A wing is needed only where its slope counts. */
static struct opt_num downforce_area(const struct chassis_axle *a, const fix *values)
{
	struct opt_num wing = part_value(&a->wing, values);
	if (!a->aero_base.has)
		return none;
	if (!a->aero_slope.has || a->aero_slope.v == 0)
		return a->wing.kind == PART_NONE || a->aero_slope.has ? a->aero_base : none;
	return wing.has ? some(a->aero_base.v + a->aero_slope.v * wing.v) : none;
}

static struct opt_num brake_share(const struct chassis *c, const fix *values)
{
	struct opt_num bias = part_value(&c->bias, values);
	if (!bias.has || !c->front_to_rear.has)
		return none;
	double b = bias.v / 100, torque = b * c->front_to_rear.v, sum = torque + 1 - b;
	return sum > 0 ? some(torque / sum) : none;
}

/* Share of the roll stiffness that carries the elastic part of the transfer. */
static struct opt_num elastic_share(const struct chassis *c, const struct balance *b)
{
	return front_share(roll_stiffness(b->front.elastic_rate, c->front.track),
		roll_stiffness(b->rear.elastic_rate, c->rear.track));
}

/* The share depends neither on the acceleration nor on the mass. */
static struct opt_num transfer_share(const struct car *car, const struct balance *b)
{
	struct car light = *car; /* a shallow copy, only read */
	light.chassis.mass = some(1);
	struct balance_transfer t = balance_transfer(&light, b, 1);
	if (!t.has)
		return none;
	return front_share(
		some(t.front_geometric + t.front_elastic), some(t.rear_geometric + t.rear_elastic));
}

struct balance balance_of(const struct car *car, const fix *values)
{
	struct balance b = {0};
	if (!car->has_chassis)
		return b;
	const struct chassis *c = &car->chassis;
	b.front = axle_of(&c->front, values);
	b.rear = axle_of(&c->rear, values);
	b.stiffness_front_share = front_share(b.front.roll_stiffness, b.rear.roll_stiffness);
	b.aero_front = downforce_area(&c->front, values);
	b.aero_rear = downforce_area(&c->rear, values);
	b.aero_front_share = front_share(b.aero_front, b.aero_rear);
	b.brake_front_share = brake_share(c, values);
	b.transfer_front_share = transfer_share(car, &b);
	return b;
}

struct opt_num balance_share(const struct car *car, const fix *values)
{
	struct balance b = {0};
	if (!car->has_chassis)
		return none;
	b.front = axle_of(&car->chassis.front, values);
	b.rear = axle_of(&car->chassis.rear, values);
	return transfer_share(car, &b);
}

struct balance_transfer balance_transfer(
	const struct car *car, const struct balance *b, double g_lat)
{
	struct balance_transfer t = {0};
	const struct chassis *c = &car->chassis;
	const struct chassis_axle *f = &c->front, *r = &c->rear;
	if (!car->has_chassis || !c->mass.has || !c->front_weight.has || !c->cg_height.has)
		return t;
	struct opt_num share = elastic_share(c, b);
	if (!f->roll_centre.has || !r->roll_centre.has || !share.has)
		return t;
	double wf = c->front_weight.v, zf = f->roll_centre.v, zr = r->roll_centre.v;
	t.force = c->mass.v * BALANCE_GRAVITY * g_lat;
	t.roll_axis = zf + (zr - zf) * (1 - wf);
	t.moment = t.force * (c->cg_height.v - t.roll_axis);
	t.front_geometric = t.force * wf * zf / f->track.v;
	t.rear_geometric = t.force * (1 - wf) * zr / r->track.v;
	t.front_elastic = t.moment * share.v / f->track.v;
	t.rear_elastic = t.moment * (1 - share.v) / r->track.v;
	t.has = true;
	return t;
}

struct opt_num balance_downforce(const struct opt_num *cla, double speed)
{
	return cla->has ? some(BALANCE_AIR_DENSITY * speed * speed * cla->v / 2) : none;
}

struct opt_num balance_ideal_braking(const struct car *car, double g_dec)
{
	const struct chassis *c = &car->chassis;
	if (!car->has_chassis || !c->front_weight.has || !c->cg_height.has || !c->wheelbase.has)
		return none;
	return some(c->front_weight.v + g_dec * c->cg_height.v / c->wheelbase.v);
}

double balance_pressure(double p, double t1, double t2)
{
	const double zero = 273.15;
	return (p + BALANCE_ATMOSPHERE) * (t2 + zero) / (t1 + zero) - BALANCE_ATMOSPHERE;
}

/* A list of what is missing, one part after the other. */
struct lacks {
	char *buf;
	size_t size, len;
	const char *place; /* of the last part */
};

static void lack(struct lacks *l, bool missing, const char *place, const char *key)
{
	if (!missing || l->len >= l->size)
		return;
	const bool same = l->place && strcmp(l->place, place) == 0;
	const char *joint = !l->place ? "" : same ? ", " : "; ";
	l->len += (size_t)snprintf(l->buf + l->len, l->size - l->len, "%s%s%s%s", joint,
		same ? "" : place, same || !*place ? "" : ": ", key);
	l->place = place;
}

static void lack_stiffness(struct lacks *l, const struct chassis_axle *a, const char *place)
{
	lack(l, a->spring.kind == PART_NONE, place, "spring");
	lack(l, !a->motion_ratio.has, place, "motion-ratio");
	lack(l, a->bar.kind == PART_NONE, place, "bar");
	lack(l, !a->bar_ratio.has, place, "bar-ratio");
	lack(l, !a->track.has, place, "track");
}

static void lack_aero(struct lacks *l, const struct chassis_axle *a, const char *place)
{
	lack(l, !a->aero_base.has, place, "base");
	lack(l, a->aero_slope.has && a->aero_slope.v != 0 && a->wing.kind == PART_NONE, place,
		"wing");
	lack(l, !a->aero_slope.has && a->wing.kind != PART_NONE, place, "slope");
}

const char *balance_lacks(const struct car *car, enum balance_figure f, char *buf, size_t size)
{
	struct lacks l = {buf, size, 0, NULL};
	const struct chassis *c = &car->chassis;
	buf[0] = '\0';
	if (!car->has_chassis) {
		lack(&l, true, "", "chassis");
		return buf;
	}
	if (f == FIGURE_TRANSFER) {
		lack(&l, !c->front_weight.has, "chassis", "front-weight");
		lack(&l, !c->cg_height.has, "chassis", "cg-height");
	}
	if (f == FIGURE_BRAKES) {
		lack(&l, c->bias.kind == PART_NONE, "brakes", "bias");
		lack(&l, !c->front_to_rear.has, "brakes", "front-to-rear");
	}
	for (int rear = 0; rear < 2; rear++) {
		const struct chassis_axle *a = rear ? &c->rear : &c->front;
		const char *place = rear ? "rear" : "front";
		if (f == FIGURE_STIFFNESS || f == FIGURE_TRANSFER)
			lack_stiffness(&l, a, place);
		lack(&l, f == FIGURE_TRANSFER && !a->roll_centre.has, place, "roll-centre");
		if (f == FIGURE_AERO)
			lack_aero(&l, a, rear ? "rear aero" : "front aero");
	}
	return buf;
}

static bool part_is(const struct part *p, int adjustable)
{
	return p->kind == PART_ADJUSTABLE && p->adjustable == adjustable;
}

bool balance_can_hold(const struct car *car, int pair, struct err *err)
{
	const struct chassis *c = &car->chassis;
	const struct pair *p = &car->pairs[pair];
	char lacks[200];
	if (!car->has_chassis)
		return err_input(err, "the car profile has no chassis, so no pair can hold the "
				      "load-transfer share");
	const bool springs =
		part_is(&c->front.spring, p->front) && part_is(&c->rear.spring, p->rear);
	const bool bars = part_is(&c->front.bar, p->front) && part_is(&c->rear.bar, p->rear);
	if (!springs && !bars)
		return err_input(err,
			"'%s' is no pair of springs or bars of the car's chassis; only "
			"those hold the load-transfer share",
			p->id);
	if (balance_lacks(car, FIGURE_TRANSFER, lacks, sizeof lacks)[0])
		return err_input(err,
			"the load-transfer share cannot be told, so it cannot be held; "
			"the car profile lacks %s",
			lacks);
	return true;
}
