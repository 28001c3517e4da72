/*
 * Balance figures. Values marked SM are worked by hand on the invented single-seater
 * (base sheet); "published" names where the figure stands. The formulas are those of
 * Milliken & Milliken (1995), ch. 16-18, and Limpert, from memory.
 */
#include "balance/balance.h"
#include "support/support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { F_SPRING, R_SPRING, F_BAR, R_BAR, F_WING, R_WING, BIAS, N_ADJ };

static struct opt_num some(double v)
{
	return (struct opt_num){true, v};
}

static struct part adjustable(int i)
{
	return (struct part){PART_ADJUSTABLE, 0, i};
}

/* The invented single-seater, SM. */
static struct car single_seater(void)
{
	struct car c = {.has_chassis = true, .n_adjustables = N_ADJ};
	struct chassis *k = &c.chassis;
	k->mass = some(560);
	k->front_weight = some(0.44);
	k->wheelbase = some(2.75);
	k->cg_height = some(0.300);
	k->front = (struct chassis_axle){.track = some(1.50),
		.roll_centre = some(0.020),
		.spring = adjustable(F_SPRING),
		.motion_ratio = some(0.90),
		.bar = adjustable(F_BAR),
		.bar_ratio = some(0.55),
		.wing = adjustable(F_WING),
		.aero_base = some(0.60),
		.aero_slope = some(0.04)};
	k->rear = (struct chassis_axle){.track = some(1.46),
		.roll_centre = some(0.045),
		.spring = adjustable(R_SPRING),
		.motion_ratio = some(0.85),
		.bar = adjustable(R_BAR),
		.bar_ratio = some(0.50),
		.wing = adjustable(R_WING),
		.aero_base = some(0.70),
		.aero_slope = some(0.05)};
	k->bias = adjustable(BIAS);
	k->front_to_rear = some(2400.0 * 115 / (2000 * 110));
	return c;
}

static const fix base_sheet[N_ADJ] = {130 * FIX_ONE, 140 * FIX_ONE, 60 * FIX_ONE, 40 * FIX_ONE,
	10 * FIX_ONE, 14 * FIX_ONE, 54 * FIX_ONE};

static void near(double got, double want, double tol)
{
	ck_assert_msg(fabs(got - want) <= tol, "%.9g, expected %.9g within %g", got, want, tol);
}

START_TEST(wheel_rates_and_roll_stiffness) /* SM */
{
	struct car c = single_seater();
	struct balance b = balance_of(&c, base_sheet);
	near(b.front.wheel_rate.v, 105.30, 1e-9);
	near(b.rear.wheel_rate.v, 101.15, 1e-9);
	near(b.front.bar_rate.v, 18.15, 1e-9);
	near(b.rear.bar_rate.v, 10.00, 1e-9);
	near(b.front.roll_stiffness.v, 138881, 0.5);
	near(b.rear.roll_stiffness.v, 118464, 0.5);
	near(b.front.roll_stiffness.v * M_PI / 180, 2424, 0.5);
	near(b.stiffness_front_share.v, 0.5397, 5e-5);
}
END_TEST

START_TEST(load_transfer_at_1_5_g) /* SM; the check line is conservation of moment */
{
	struct car c = single_seater();
	struct balance b = balance_of(&c, base_sheet);
	struct balance_transfer t = balance_transfer(&c, &b, 1.5);
	ck_assert(t.has);
	near(t.force, 8240.4, 0.05);
	near(t.roll_axis, 0.0340, 1e-9);
	near(t.moment, 2191.9, 0.06);
	near(t.front_geometric, 48.3, 0.05);
	near(t.front_elastic, 788.6, 0.06);
	near(t.rear_geometric, 142.2, 0.06);
	near(t.rear_elastic, 691.1, 0.06);
	near(b.transfer_front_share.v, 0.501, 5e-4);
	double front = t.front_geometric + t.front_elastic,
	       rear = t.rear_geometric + t.rear_elastic;
	near(front * 1.50 + rear * 1.46, t.force * 0.300, 1e-9);
}
END_TEST

START_TEST(tyres_in_series_lower_the_share) /* SM: share 0.5269 with 220 and 230 N/mm */
{
	struct car c = single_seater();
	c.chassis.front.tyre_rate = some(220);
	c.chassis.rear.tyre_rate = some(230);
	struct balance b = balance_of(&c, base_sheet);
	struct balance_transfer t = balance_transfer(&c, &b, 1);
	near(t.front_elastic * 1.50 / t.moment, 0.5269, 5e-5);
	near(b.stiffness_front_share.v, 0.5397, 5e-5); /* springs and bars alone */
}
END_TEST

/*
 * Published on an open calculator page: 750 kg on one axle, 1 g, CG 520 mm, track 1580 mm:
 * 246.8 kg in all, 38.0 geometric (roll centre 80 mm), 208.9 elastic. One axle carries
 * everything here: front weight 1, and the front all but alone in stiffness.
 */
START_TEST(published_axle_transfer)
{
	struct car c = single_seater();
	c.chassis.mass = some(750);
	c.chassis.front_weight = some(1);
	c.chassis.cg_height = some(0.520);
	c.chassis.front.track = some(1.580);
	c.chassis.front.roll_centre = some(0.080);
	c.chassis.rear.spring = (struct part){PART_NUMBER, 0, 0};
	c.chassis.rear.bar = (struct part){PART_NUMBER, 0, 0};
	struct balance b = balance_of(&c, base_sheet);
	struct balance_transfer t = balance_transfer(&c, &b, 1);
	near(t.front_geometric / BALANCE_GRAVITY, 38.0, 0.05);
	near(t.front_elastic / BALANCE_GRAVITY, 208.9, 0.05);
	near((t.front_geometric + t.front_elastic) / BALANCE_GRAVITY, 246.8, 0.05);
}
END_TEST

START_TEST(downforce_and_its_share)
{
	struct car c = single_seater();
	struct balance b = balance_of(&c, base_sheet);
	near(balance_downforce(&b.aero_front, 50).v, 1500, 1e-9); /* SM */
	near(balance_downforce(&b.aero_rear, 50).v, 2100, 1e-9);
	near(b.aero_front_share.v, 0.417, 5e-4);
	/* Published with Heilmeier et al.: C_L A 2.20 and 2.68 m^2: 45.1 % at the front,
	 * 10365 N at 60 m/s with rho 1.18. */
	fix v[N_ADJ];
	memcpy(v, base_sheet, sizeof(v));
	c.chassis.front.aero_base = some(2.20 - 0.4);
	c.chassis.rear.aero_base = some(2.68 - 0.7);
	b = balance_of(&c, v);
	near(b.aero_front_share.v, 0.451, 5e-4);
	double all = balance_downforce(&b.aero_front, 60).v + balance_downforce(&b.aero_rear, 60).v;
	near(all * 1.18 / BALANCE_AIR_DENSITY, 10365, 1);
}
END_TEST

START_TEST(brakes) /* SM */
{
	struct car c = single_seater();
	struct balance b = balance_of(&c, base_sheet);
	near(b.brake_front_share.v, 0.596, 5e-4);
	struct opt_num ideal = balance_ideal_braking(&c, 1.3);
	near(ideal.v, 0.582, 5e-4);
	/* "ideal needs 0.526" of line pressure */
	double cc = c.chassis.front_to_rear.v, bias = ideal.v / (cc + ideal.v - cc * ideal.v);
	near(bias, 0.526, 5e-4);
}
END_TEST

START_TEST(pressures)
{
	near(balance_pressure(110, 20, 90), 160.5, 0.05); /* SM */
	near(balance_pressure(150, 90, 20), 101.6, 0.05); /* SM: cold for 150 hot */
	/* Published on a mailing list, 2002: 20 psi at 70 F is 23.9 at 130 F. */
	const double psi = 6.894757, c70 = (70 - 32) / 1.8, c130 = (130 - 32) / 1.8;
	near(balance_pressure(20 * psi, c70, c130) / psi, 23.9, 0.05);
	near(balance_pressure(balance_pressure(97, 14, 88), 88, 14), 97, 1e-9);
}
END_TEST

/* Property: more front roll stiffness alone raises the front share, more rear lowers it. */
START_TEST(stiffer_end_takes_more)
{
	struct car c = single_seater();
	double before = balance_of(&c, base_sheet).transfer_front_share.v;
	const struct {
		int adj, sign;
	} move[] = {{F_SPRING, 1}, {F_BAR, 1}, {R_SPRING, -1}, {R_BAR, -1}};
	for (size_t i = 0; i < sizeof(move) / sizeof(move[0]); i++) {
		fix v[N_ADJ];
		memcpy(v, base_sheet, sizeof(v));
		v[move[i].adj] += 10 * FIX_ONE;
		double after = balance_of(&c, v).transfer_front_share.v;
		ck_assert_msg((after - before) * move[i].sign > 1e-6, "move %zu", i);
	}
}
END_TEST

/* A part that is missing loses only the figures that need it. */
START_TEST(missing_parts)
{
	struct car c = single_seater();
	c.chassis.front.wing = (struct part){PART_NONE, 0, 0};
	struct balance b = balance_of(&c, base_sheet);
	ck_assert(!b.aero_front_share.has);
	ck_assert(b.transfer_front_share.has && b.brake_front_share.has);
	c = single_seater();
	c.chassis.rear.spring = (struct part){PART_NONE, 0, 0};
	b = balance_of(&c, base_sheet);
	ck_assert(!b.rear.roll_stiffness.has && !b.transfer_front_share.has);
	ck_assert(b.front.roll_stiffness.has && b.aero_front_share.has);
	c.has_chassis = false;
	b = balance_of(&c, base_sheet);
	ck_assert(!b.brake_front_share.has && !b.front.wheel_rate.has);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("balance");
	TCase *t = tcase_create("figures");
	tcase_add_test(t, wheel_rates_and_roll_stiffness);
	tcase_add_test(t, load_transfer_at_1_5_g);
	tcase_add_test(t, tyres_in_series_lower_the_share);
	tcase_add_test(t, published_axle_transfer);
	tcase_add_test(t, downforce_and_its_share);
	tcase_add_test(t, brakes);
	tcase_add_test(t, pressures);
	tcase_add_test(t, stiffer_end_takes_more);
	tcase_add_test(t, missing_parts);
	suite_add_tcase(s, t);
	return s;
}
