#include "balance/balance.h"

static struct opt_num some(double v)
{
	return (struct opt_num){ true, v };
}

static const struct opt_num none = { false, 0 };

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

struct balance balance_of(const struct car *car, const fix *values)
{
	struct balance b = { 0 };
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
	/* The share does not depend on the acceleration nor on the mass. */
	struct car light = *car; /* a shallow copy, only read */
	light.chassis.mass = some(1);
	struct balance_transfer t = balance_transfer(&light, &b, 1);
	if (t.has)
		b.transfer_front_share = front_share(some(t.front_geometric + t.front_elastic),
			some(t.rear_geometric + t.rear_elastic));
	return b;
}

struct balance_transfer balance_transfer(const struct car *car, const struct balance *b,
	double g_lat)
{
	struct balance_transfer t = { 0 };
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
