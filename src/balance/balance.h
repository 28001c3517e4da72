/*
 * What a sheet does to the car's balance, from the chassis figures of the car
 * profile. A figure whose parts are not all given is left out (has is false).
 *
 * Formulas (Milliken & Milliken 1995, ch. 16-18; Limpert and Gillespie for the
 * brakes; sources from memory, worked values in tests/test_balance.c and doc/balance.md):
 *   wheel rate      k_w = k_s * MR^2, bar k_b = k_bar * BR^2        [N/mm]
 *   roll stiffness  K = (k_w + k_b) * t^2 / 2                       [N m/rad]
 *   transfer        F = m a; z under the CG on the roll axis;
 *                   front = F w_f z_f / t_f + F (h - z) share / t_f [N]
 *                   share: of roll stiffness, an end in series with its tyres
 *                   where their rate is given
 *   downforce       rho V^2 C_L A / 2                               [N]
 *   brakes          b c / (b c + 1 - b), ideal w_f + a h / (g L)
 *   pressure        (p + 101.3) T2 / T1 - 101.3, kelvin, kPa gauge
 * Signs by ISO 8855. Unsprung mass, aerodynamic load in braking and tyre growth are left out.
 */
#ifndef BALANCE_BALANCE_H
#define BALANCE_BALANCE_H

#include "book/car.h"

#define BALANCE_GRAVITY 9.81     /* m/s^2 */
#define BALANCE_AIR_DENSITY 1.2  /* kg/m^3 */
#define BALANCE_ATMOSPHERE 101.3 /* kPa */

struct balance_axle {
	struct opt_num wheel_rate, bar_rate; /* N/mm at the wheel */
	struct opt_num roll_stiffness;       /* N m/rad, springs and bar */
	struct opt_num elastic_rate;         /* N/mm, the tyre in series where its rate is given */
};

struct balance {
	struct balance_axle front, rear;
	struct opt_num stiffness_front_share; /* of roll stiffness, springs and bars */
	struct opt_num transfer_front_share;  /* of lateral load transfer */
	struct opt_num aero_front, aero_rear; /* C_L*A, m^2 */
	struct opt_num aero_front_share;
	struct opt_num brake_front_share; /* of torque */
};

struct balance balance_of(const struct car *car, const fix *values);

/* The front share of lateral load transfer alone. */
struct opt_num balance_share(const struct car *car, const fix *values);

/*
 * Can this pair hold the load-transfer share: are its members the car's springs or its bars,
 * front and rear, and does the profile tell the share? False: err says why not.
 */
bool balance_can_hold(const struct car *car, int pair, struct err *err);
/* Chassis keys that a figure lacks, as the profile names them ("rear: roll-centre, bar"); ""
 * where nothing lacks. Into buf; returns buf. */
enum balance_figure { FIGURE_STIFFNESS, FIGURE_TRANSFER, FIGURE_AERO, FIGURE_BRAKES };
const char *balance_lacks(const struct car *car, enum balance_figure f, char *buf, size_t size);

/* Lateral load transfer at a lateral acceleration of g_lat (in g). */
struct balance_transfer {
	bool has;
	double force, moment, roll_axis; /* N; elastic moment N m; m under the CG */
	double front_geometric, front_elastic, rear_geometric, rear_elastic; /* N */
};
struct balance_transfer balance_transfer(
	const struct car *car, const struct balance *b, double g_lat);

/* Downforce in N at speed in m/s; left out without both axles' figures. */
struct opt_num balance_downforce(const struct opt_num *cla, double speed);
/* Front share of braking that uses both axles' grip alike at deceleration g_dec (in g). */
struct opt_num balance_ideal_braking(const struct car *car, double g_dec);
/* Gauge pressure in kPa at temperature t2 of what reads p at t1, deg C, constant volume. */
double balance_pressure(double p, double t1, double t2);

#endif
