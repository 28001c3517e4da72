/*
 * Balance of the three invented cars against worked numbers (SM: worked by hand for these
 * cars), a second computation by another way, properties over random cars, and the lines that
 * pages and tables show.
 */
#include "balance/balance_text.h"
#include "book/caution.h"
#include "store/store.h"
#include "support/support.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct book book;
static fix values[32];

static void take_car(const char *id, const double *base, size_t n)
{
	char name[100];
	struct faults f;
	faults_init(&f);
	book_init(&book);
	snprintf(name, sizeof name, "profiles/cars/%s.yaml", id);
	char *path = test_source(name);
	ck_assert(store_load_car(&book.car, path, &f));
	ck_assert_uint_eq(book.car.n_adjustables, n);
	for (size_t i = 0; i < n; i++)
		values[i] = fix_from_double(base[i]);
	free(path);
}

static void single_seater(void)
{
	static const double base[] = {
		10, 14, -3.2, -2, -0.1, 0.16, 130, 140, 60, 40, 18, 34, 110, 108, 54, 20, 45, 60};
	take_car("larkspur-20", base, sizeof base / sizeof base[0]);
}

static void drop(void)
{
	book_free(&book);
}

static void near(double got, double want, double tol)
{
	ck_assert_msg(fabs(got - want) <= tol, "%.9g, expected %.9g within %g", got, want, tol);
}

static struct balance_transfer transfer(double g)
{
	struct balance b = balance_of(&book.car, values);
	return balance_transfer(&book.car, &b, g);
}

/* SM: closed GT at 1.4 g: 2474 and 2520 N, 49.5 % front, from springs and bars alone. */
START_TEST(the_gt)
{
	static const double base[] = {
		8, -3.6, -2.6, -0.08, 0.14, 220, 200, 120, 80, 56, 72, 158, 156, 53, 80};
	take_car("thessaby-13", base, sizeof base / sizeof base[0]);
	book.car.chassis.front.tyre_rate.has = book.car.chassis.rear.tyre_rate.has = false;
	struct balance_transfer t = transfer(1.4);
	near(t.front_geometric + t.front_elastic, 2474, 0.6);
	near(t.rear_geometric + t.rear_elastic, 2520, 0.6);
	struct balance b = balance_of(&book.car, values);
	near(b.transfer_front_share.v, 0.495, 5e-4);
	near(b.aero_front.v, 0.30, 1e-12);
	near(b.aero_rear.v, 0.35 + 0.045 * 8, 1e-12);
	/* c = (6400 * 160) / (3600 * 140) rounded to four decimals in the profile */
	near(b.brake_front_share.v, 0.53 * 2.0317 / (0.53 * 2.0317 + 0.47), 1e-12);
	drop();
}
END_TEST

/* SM: sprint kart at 1.8 g: 289 and 359 N; tyre rates stand for springs. */
START_TEST(the_kart)
{
	static const double base[] = {76, 76, 1080, 1160, -0.2, -0.5, 12, 0, 600, 2.3, 79};
	take_car("smewlet-5", base, sizeof base / sizeof base[0]);
	struct balance_transfer t = transfer(1.8);
	near(t.front_geometric + t.front_elastic, 289, 0.6);
	near(t.rear_geometric + t.rear_elastic, 359, 0.6);
	/* No wings, brakes behind alone: only those figures go, and words say which keys lack. */
	struct balance_line l[BALANCE_LINES];
	ck_assert_uint_eq(balance_lines(&book, values, values, l), 4);
	ck_assert(l[BALANCE_TRANSFER].figure.has && !l[BALANCE_AERO].figure.has);
	ck_assert_str_eq(l[BALANCE_AERO].words,
		"not told: the car profile lacks front aero: base; rear aero: base");
	ck_assert_str_eq(l[BALANCE_BRAKES].words,
		"not told: the car profile lacks brakes: bias, front-to-rear");
	ck_assert(!l[BALANCE_AERO].value[0] && !l[BALANCE_AERO].delta[0]);
	drop();
}
END_TEST

/* --- another way ------------------------------------------------------------- */

static double uniform(unsigned *seed, double lo, double hi)
{
	return lo + (hi - lo) * rand_r(seed) / (double)RAND_MAX;
}

static void random_axle(struct chassis_axle *a, unsigned *seed)
{
	a->track.v = uniform(seed, 1.0, 1.8);
	a->roll_centre.v = uniform(seed, -0.05, 0.12);
	a->spring = (struct part){PART_NUMBER, uniform(seed, 40, 300), 0};
	a->motion_ratio.v = uniform(seed, 0.5, 1.1);
	a->bar = (struct part){PART_NUMBER, uniform(seed, 0, 200), 0};
	a->bar_ratio.v = uniform(seed, 0.2, 0.9);
	a->tyre_rate.v = uniform(seed, 100, 400);
	a->tyre_rate.has = rand_r(seed) % 3 > 0;
}

static void random_car(unsigned *seed)
{
	struct chassis *c = &book.car.chassis;
	c->mass.v = uniform(seed, 150, 1500);
	c->front_weight.v = uniform(seed, 0.35, 0.65);
	c->cg_height.v = uniform(seed, 0.2, 0.6);
	random_axle(&c->front, seed);
	random_axle(&c->rear, seed);
}

/* Force per wheel for one unit of body roll at the wheel, N/m, by displacements: the spring and
 * bar between body and axle, the tyre between axle and ground, solved as two springs. */
static double wheel_force(const struct chassis_axle *a, double body)
{
	const double upper = 1000 * (a->spring.number * a->motion_ratio.v * a->motion_ratio.v +
					    a->bar.number * a->bar_ratio.v * a->bar_ratio.v);
	if (!a->tyre_rate.has)
		return upper * body;
	const double lower = 1000 * a->tyre_rate.v;
	const double axle = upper * body / (upper + lower); /* upper (body - axle) = lower axle */
	return lower * axle;
}

/*
 * Rigid body with unknowns front and rear transfer N and roll angle: elastic transfer per axle by
 * the wheels' displacements; moments about the ground along each axle's own lateral force.
 */
static void other_way(const struct chassis *c, double g, double out[2])
{
	const struct chassis_axle *axle[2] = {&c->front, &c->rear};
	const double w[2] = {c->front_weight.v, 1 - c->front_weight.v}, f = c->mass.v * 9.81 * g;
	double unit[2], arm = c->cg_height.v, total = 0;
	for (int i = 0; i < 2; i++) {
		unit[i] = wheel_force(axle[i], axle[i]->track.v / 2); /* per radian */
		arm -= w[i] * axle[i]->roll_centre.v;                 /* CG over the roll axis */
		total += unit[i] * axle[i]->track.v;
	}
	/* | total  0 0 | |phi|   | f arm        |
	 * | -uf    1 0 | |Ff | = | f wf zf / tf |
	 * | -ur    0 1 | |Fr |   | f wr zr / tr | */
	double m[9] = {total, 0, 0, -unit[0], 1, 0, -unit[1], 0, 1}, y[3] = {f * arm, 0, 0}, x[3];
	for (int i = 0; i < 2; i++)
		y[1 + i] = f * w[i] * axle[i]->roll_centre.v / axle[i]->track.v;
	gsl_matrix_view mv = gsl_matrix_view_array(m, 3, 3);
	gsl_vector_view yv = gsl_vector_view_array(y, 3), xv = gsl_vector_view_array(x, 3);
	size_t order[3];
	gsl_permutation p = {3, order};
	int sign;
	gsl_permutation_init(&p);
	gsl_linalg_LU_decomp(&mv.matrix, &p, &sign);
	gsl_linalg_LU_solve(&mv.matrix, &p, &yv.vector, &xv.vector);
	out[0] = x[1];
	out[1] = x[2];
}

START_TEST(another_way_and_conservation)
{
	unsigned seed = 20261125;
	single_seater();
	for (int i = 0; i < 2000; i++) {
		double out[2], g = uniform(&seed, 0.2, 3);
		random_car(&seed);
		const struct chassis *c = &book.car.chassis;
		struct balance_transfer t = transfer(g);
		const double front = t.front_geometric + t.front_elastic;
		const double rear = t.rear_geometric + t.rear_elastic;
		other_way(c, g, out);
		near(front, out[0], 1e-9 * fabs(t.force));
		near(rear, out[1], 1e-9 * fabs(t.force));
		/* transfers times track are the moment of the force about the ground */
		near(front * c->front.track.v + rear * c->rear.track.v, t.force * c->cg_height.v,
			1e-9 * t.force);
		struct balance b = balance_of(&book.car, values);
		near(b.transfer_front_share.v, front / (front + rear), 1e-12);
		near(balance_share(&book.car, values).v, b.transfer_front_share.v, 0);
	}
	drop();
}
END_TEST

static void moves(struct part *p, double by, int sign, const char *what)
{
	const double before = balance_share(&book.car, values).v;
	p->number += by;
	const double after = balance_share(&book.car, values).v;
	p->number -= by;
	ck_assert_msg((after - before) * sign > 0, "%s: %g to %g", what, before, after);
}

/* With the centre of gravity over the roll axis, a stiffer end takes more. */
START_TEST(a_stiffer_end_takes_more_on_any_car)
{
	unsigned seed = 7;
	single_seater();
	for (int i = 0; i < 1000; i++) {
		random_car(&seed);
		struct chassis *c = &book.car.chassis;
		moves(&c->front.spring, 5, 1, "front spring");
		moves(&c->front.bar, 5, 1, "front bar");
		moves(&c->rear.spring, 5, -1, "rear spring");
		moves(&c->rear.bar, 5, -1, "rear bar");
	}
	drop();
}
END_TEST

/* More wing at an end, more of the downforce there; more bias forward, more torque in front. */
START_TEST(wings_and_bias_move_their_shares)
{
	single_seater();
	const struct balance a = balance_of(&book.car, values);
	const int wing = car_find_adjustable(&book.car, "front-wing");
	const int rear = car_find_adjustable(&book.car, "rear-wing");
	const int bias = car_find_adjustable(&book.car, "brake-bias");
	values[wing] += FIX_ONE;
	values[bias] += FIX_ONE;
	const struct balance b = balance_of(&book.car, values);
	ck_assert(b.aero_front_share.v > a.aero_front_share.v);
	ck_assert(b.brake_front_share.v > a.brake_front_share.v);
	values[rear] += 2 * FIX_ONE;
	ck_assert(balance_of(&book.car, values).aero_front_share.v < b.aero_front_share.v);
	drop();
}
END_TEST

/* --- lines ------------------------------------------------------------------- */

START_TEST(lines_tell_figure_change_and_band)
{
	struct balance_line l[BALANCE_LINES];
	fix other[32];
	char words[80];
	single_seater();
	memcpy(other, values, sizeof other);
	values[car_find_adjustable(&book.car, "front-bar")] += 20 * FIX_ONE;
	book.balance.band[BAND_AERO] = (struct opt_num){true, 0.05};
	ck_assert_uint_eq(balance_lines(&book, values, other, l), 4);
	ck_assert(l[BALANCE_TRANSFER].change.v > 0.5 && l[BALANCE_TRANSFER].beyond);
	ck_assert_str_eq(balance_beyond_words(&l[BALANCE_TRANSFER], words, sizeof words),
		"beyond the band of 0.5");
	ck_assert(!l[BALANCE_AERO].beyond && l[BALANCE_AERO].change.v == 0);
	ck_assert_str_eq(l[BALANCE_AERO].value, "front 41.7 %"); /* SM */
	ck_assert_str_eq(l[BALANCE_AERO].delta, "+0.0");
	ck_assert_str_eq(
		l[BALANCE_AERO].words, "1500 N front, 2100 N rear at 180 km/h"); /* SM, 50 m/s */
	ck_assert_str_eq(l[BALANCE_BRAKES].value, "front 59.6 %");               /* SM */
	ck_assert_str_eq(
		l[BALANCE_BRAKES].words, "ideal 58.2 % at 1.3 g: the front locks first"); /* SM */
	ck_assert_str_eq(balance_beyond_words(&l[BALANCE_AERO], words, sizeof words), "");
	ck_assert_uint_eq(balance_lines(&book, values, NULL, l), 4);
	ck_assert(!l[BALANCE_TRANSFER].change.has && !l[BALANCE_TRANSFER].delta[0]);
	book.car.has_chassis = false;
	ck_assert_uint_eq(balance_lines(&book, values, other, l), 0);
	drop();
}
END_TEST

START_TEST(pressures_both_ways) /* SM: 110 kPa, 20 to 90 C: 160.5; for 150 hot set 101.6 */
{
	struct balance_line l[BALANCE_LINES];
	single_seater();
	book.balance.cold = (struct opt_num){true, 20};
	book.balance.hot = (struct opt_num){true, 90};
	book.balance.hot_pressure[0] = (struct opt_num){true, 150};
	ck_assert_uint_eq(balance_lines(&book, values, values, l), 6);
	ck_assert_str_eq(l[4].name, "hot pressure front");
	ck_assert_str_eq(l[4].value, "160.5 kPa");
	ck_assert_str_eq(l[4].words, "cold 110.0, 20 to 90 C; for 150 hot set 101.6 cold");
	ck_assert(!strstr(l[5].words, "set"));
	near(balance_pressure(balance_cold_for_target(&book, 0).v, 20, 90), 150, 1e-9);
	ck_assert(!balance_cold_for_target(&book, 1).has);
	book.car.chassis.rear.pressure = (struct part){PART_NONE, 0, 0};
	balance_lines(&book, values, values, l);
	ck_assert_str_eq(l[5].words, "not told: the car profile lacks pressures: rear");
	drop();
}
END_TEST

START_TEST(cautions_say_whose_limit)
{
	char text[CAUTION_SIZE];
	size_t list[32];
	single_seater();
	const int camber = car_find_adjustable(&book.car, "rear-camber");
	ck_assert_uint_eq(caution_list(&book.car, values, list), 0);
	values[camber] = -26 * FIX_ONE / 10;
	ck_assert_uint_eq(caution_list(&book.car, values, list), 1);
	ck_assert_uint_eq(list[0], (size_t)camber);
	ck_assert_str_eq(
		caution_words(&book.car, (size_t)camber, values[camber], text, sizeof text),
		"Camber rear at -2.6 deg is below -2.5 deg, the soft limit of larkspur-20: "
		"beyond the tyre maker's maximum camber");
	ck_assert_str_eq(caution_words(&book.car, 0, values[0], text, sizeof text), "");
	drop();
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("balance text");
	TCase *t = tcase_create("cars");
	tcase_add_test(t, the_gt);
	tcase_add_test(t, the_kart);
	tcase_add_test(t, another_way_and_conservation);
	tcase_add_test(t, a_stiffer_end_takes_more_on_any_car);
	tcase_add_test(t, wings_and_bias_move_their_shares);
	suite_add_tcase(s, t);
	t = tcase_create("lines");
	tcase_add_test(t, lines_tell_figure_change_and_band);
	tcase_add_test(t, pressures_both_ways);
	tcase_add_test(t, cautions_say_whose_limit);
	suite_add_tcase(s, t);
	return s;
}
