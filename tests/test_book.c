/* The plain data and their rules. */
#include "book/book.h"
#include "support/build.h"
#include "support/support.h"

#include <stdlib.h>
#include <string.h>

START_TEST(pairs_and_groups)
{
	struct car c;
	build_car(&c);
	ck_assert_int_eq(car_find_adjustable(&c, "rear-camber"), 3);
	ck_assert_int_eq(car_find_adjustable(&c, "camber"), -1);
	ck_assert_int_eq(car_find_pair(&c, "camber"), 1);
	ck_assert_int_eq(car_partner(&c, 3), 2);
	ck_assert_int_eq(car_partner(&c, 4), -1);
	struct group g[8];
	ck_assert_uint_eq(car_groups(&c, g), 4);
	ck_assert_str_eq(car_group_id(&c, &g[0]), "wing");
	ck_assert_str_eq(car_group_id(&c, &g[1]), "camber");
	ck_assert_int_eq(g[1].adjustable, 2);
	ck_assert_str_eq(car_group_id(&c, &g[2]), "bias");
	ck_assert_str_eq(car_group_id(&c, &g[3]), "bar");
	car_free(&c);
}
END_TEST

START_TEST(limits_steps_cautions)
{
	struct car c;
	struct err e;
	char buf[CAR_VALUE_SIZE];
	build_car(&c);
	const struct adjustable *wing = &c.adjustables[0], *camber = &c.adjustables[2];
	ck_assert_int_eq(car_levels(wing), 24);
	ck_assert(car_on_step(camber, -3200000) && !car_on_step(camber, -3250000));
	ck_assert_int_eq(car_caution(wing, 4500000), -1);
	ck_assert_int_eq(car_caution(wing, 5000000), 0);
	ck_assert_int_eq(car_caution(wing, 14500000), 1);
	ck_assert_str_eq(car_value_text(camber, -3000000, buf, sizeof buf), "-3.0 deg");
	ck_assert(!car_check_value(camber, -3250000, "", &e));
	ck_assert_str_eq(e.text, "Camber front: -3.25 deg is off its step of 0.1 deg; nearest are "
				 "-3.3 and -3.2 deg");
	ck_assert(!car_check_value(camber, 5000000, "", &e));
	ck_assert_str_eq(
		e.text, "Camber front: 5.0 deg is off its limits; -4.0 to -2.0 deg is allowed");
	ck_assert(car_check_value(camber, -2000000, "", &e));
	car_free(&c);
}
END_TEST

START_TEST(reserved_ids)
{
	ck_assert(car_id_reserved("like-for-like") && car_id_reserved("intercept") &&
		  car_id_reserved("worst"));
	ck_assert(!car_id_reserved("wing") && !car_id_reserved("fuel-map"));
}
END_TEST

START_TEST(sheets_are_copied_deep)
{
	struct car c;
	struct sheet a, b;
	build_car(&c);
	ck_assert(sheet_alloc(&a, &c));
	ck_assert(a.values[2] == c.adjustables[2].min);
	strcpy(a.id, "quick");
	a.name = text_dup("Quick", 5);
	a.locked[1] = true;
	sheet_init(&b);
	ck_assert(sheet_copy(&b, &a));
	ck_assert(sheet_equal(&a, &b));
	b.values[0] += c.adjustables[0].step;
	ck_assert(!sheet_equal(&a, &b));
	ck_assert_uint_eq(sheet_count_changes(&a, &b), 1);
	ck_assert_str_eq(b.name, "Quick");
	sheet_free(&a);
	ck_assert(b.locked[1]);
	sheet_free(&b);
	car_free(&c);
}
END_TEST

START_TEST(runs_are_copied_and_ordered)
{
	struct run a, b;
	run_init(&a);
	run_init(&b);
	strcpy(a.id, "r2");
	strcpy(a.date, "2026-03-14T10:20");
	a.n_laps = 2;
	a.laps = calloc(2, sizeof *a.laps);
	a.laps[1].skip = text_dup("traffic", 7);
	a.n_values = 1;
	a.values = calloc(1, sizeof *a.values);
	ck_assert(run_copy(&b, &a));
	ck_assert(b.laps != a.laps && b.laps[1].skip != a.laps[1].skip);
	ck_assert_str_eq(b.laps[1].skip, "traffic");
	ck_assert_uint_eq(run_fitted_laps(&b), 1);
	strcpy(b.id, "r1");
	ck_assert_int_gt(run_compare(&a, &b), 0);
	strcpy(b.date, "2026-03-14T10:21");
	ck_assert_int_lt(run_compare(&a, &b), 0);
	b.date[0] = '\0';
	ck_assert_int_lt(run_compare(&b, &a), 0);
	run_free(&a);
	run_free(&b);
}
END_TEST

START_TEST(names_of_channels_and_responses)
{
	struct book b;
	char buf[40];
	book_init(&b);
	b.n_channels = channel_set_size(CHANNELS_AXLES);
	for (size_t i = 0; i < b.n_channels; i++)
		b.channels[i] = channel_set_name(CHANNELS_AXLES, i);
	ck_assert_str_eq(book_response_id(&b, 0, buf, sizeof buf), "time");
	ck_assert_str_eq(book_response_id(&b, 2, buf, sizeof buf), "wear-rear");
	ck_assert_int_eq(book_find_channel(&b, "rear"), 1);
	ck_assert_int_eq(book_find_channel(&b, "fl"), -1);
	ck_assert(
		book_condition(&b, COV_EFFORT).v == 100 && !book_condition(&b, COV_TRACK_TEMP).has);
	ck_assert_ptr_null(book_reference(&b));
	book_free(&b);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("book");
	TCase *t = tcase_create("rules");
	tcase_add_test(t, pairs_and_groups);
	tcase_add_test(t, limits_steps_cautions);
	tcase_add_test(t, reserved_ids);
	tcase_add_test(t, sheets_are_copied_deep);
	tcase_add_test(t, runs_are_copied_and_ordered);
	tcase_add_test(t, names_of_channels_and_responses);
	suite_add_tcase(s, t);
	return s;
}
