/* The setter: limits, steps, cautions, pairs, locks, history. */
#include "book/edit.h"
#include "support/build.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FRONT_WING, REAR_WING, FRONT_CAMBER, REAR_CAMBER, BIAS, FRONT_BAR, REAR_BAR };
enum { WING, CAMBER, BAR };

static struct car car;
static struct edit *ed;
static struct edit_change ch;
static struct err err;

static void setup(void)
{
	struct sheet s;
	build_car(&car);
	ck_assert(sheet_alloc(&s, &car));
	static const double at[] = {10, 14, -3.2, -2, 54, 60, 45};
	for (int i = 0; i < 7; i++)
		s.values[i] = fix_from_double(at[i]);
	ed = edit_new(&car, &s);
	ck_assert_ptr_nonnull(ed);
	sheet_free(&s);
	err_clear(&err);
}

static void teardown(void)
{
	edit_free(ed);
	car_free(&car);
}

static double value(int a)
{
	return fix_to_double(edit_sheet(ed)->values[a]);
}

START_TEST(a_nudge_moves_one_step)
{
	ck_assert(edit_nudge(ed, BIAS, 1, &ch, &err));
	ck_assert(value(BIAS) == 54.5 && ch.n == 1 && ch.adjustable[0] == BIAS && ch.caution == -1);
	ck_assert(ch.before[0] == 54000000 && ch.after[0] == 54500000);
	ck_assert(edit_nudge(ed, BIAS, -5, &ch, &err));
	ck_assert(value(BIAS) == 52);
	ck_assert(edit_nudge(ed, BIAS, 0, &ch, &err) && ch.n == 0);
}
END_TEST

START_TEST(a_limit_refuses_and_is_named)
{
	ck_assert(edit_set(ed, BIAS, 59500000, &ch, &err));
	ck_assert(!edit_nudge(ed, BIAS, 5, &ch, &err));
	ck_assert_str_eq(err.text, "Brake bias is at 59.5 %, its limit is 60.0 %; 1 step left");
	ck_assert(value(BIAS) == 59.5 && ch.n == 0);
	ck_assert(edit_nudge(ed, BIAS, 1, &ch, &err));
	ck_assert(!edit_nudge(ed, BIAS, 1, &ch, &err));
	ck_assert_str_eq(err.text, "Brake bias is at 60.0 %, its limit is 60.0 %");
	ck_assert(!edit_nudge(ed, BIAS, -2147483647 - 1, &ch, &err));
	ck_assert(!edit_nudge(ed, BIAS, 2147483647, &ch, &err));
	ck_assert(value(BIAS) == 60);
}
END_TEST

START_TEST(a_locked_pair_moves_together)
{
	ck_assert(edit_lock(ed, CAMBER, true, &err));
	ck_assert(edit_nudge(ed, FRONT_CAMBER, 1, &ch, &err));
	ck_assert(ch.n == 2 && value(FRONT_CAMBER) == -3.1 && value(REAR_CAMBER) == -1.9);
	ck_assert(edit_nudge(ed, REAR_CAMBER, 5, &ch, &err));
	ck_assert(value(FRONT_CAMBER) == -2.6 && value(REAR_CAMBER) == -1.4);
	ck_assert(!edit_nudge(ed, FRONT_CAMBER, 5, &ch, &err));
	ck_assert_str_eq(err.text,
		"Camber rear is at -1.4 deg, its limit is -1.0 deg; 4 steps left; "
		"the pair is locked, neither end moved");
	ck_assert(value(FRONT_CAMBER) == -2.6 && value(REAR_CAMBER) == -1.4);
}
END_TEST

START_TEST(different_steps_move_by_their_common_multiple)
{
	ck_assert(edit_nudge_step(ed, FRONT_BAR) == 10 * FIX_ONE);
	ck_assert(edit_lock(ed, BAR, true, &err));
	ck_assert(edit_nudge_step(ed, FRONT_BAR) == 30 * FIX_ONE);
	ck_assert(edit_nudge(ed, REAR_BAR, 1, &ch, &err));
	ck_assert(value(FRONT_BAR) == 90 && value(REAR_BAR) == 75);
	ck_assert(!edit_nudge(ed, FRONT_BAR, 1, &ch, &err));
	ck_assert(edit_nudge(ed, FRONT_BAR, -2, &ch, &err));
	ck_assert(value(FRONT_BAR) == 30 && value(REAR_BAR) == 15);
	/* Room for less than one common step: nothing moves, the lock is still there. */
	ck_assert(!edit_nudge(ed, FRONT_BAR, -1, &ch, &err));
	ck_assert_ptr_nonnull(strstr(err.text, "Bar rear is at 15 N/mm, its limit is 0 N/mm"));
	ck_assert(value(FRONT_BAR) == 30 && edit_sheet(ed)->locked[BAR]);
}
END_TEST

START_TEST(a_common_step_beyond_all_range)
{
	car.adjustables[FRONT_BAR].step = 999999999999989;
	car.adjustables[REAR_BAR].step = 999999999999983;
	ck_assert(edit_lock(ed, BAR, true, &err));
	ck_assert(!edit_nudge(ed, FRONT_BAR, 1, &ch, &err));
	ck_assert_ptr_nonnull(strstr(err.text, "no common multiple"));
}
END_TEST

START_TEST(a_typed_value_is_checked)
{
	ck_assert(!edit_set(ed, FRONT_CAMBER, -3250000, &ch, &err));
	ck_assert_ptr_nonnull(strstr(err.text, "nearest are -3.3 and -3.2 deg"));
	ck_assert(!edit_set(ed, FRONT_CAMBER, -5 * FIX_ONE, &ch, &err));
	ck_assert_ptr_nonnull(strstr(err.text, "off its limits; -4.0 to -2.0 deg is allowed"));
	ck_assert(value(FRONT_CAMBER) == -3.2 && !edit_can_undo(ed));
	ck_assert(edit_set(ed, FRONT_CAMBER, -2500000, &ch, &err) && ch.n == 1);
	ck_assert(edit_set(ed, FRONT_CAMBER, -2500000, &ch, &err) && ch.n == 0);
	ck_assert(!edit_set(ed, 99, 0, &ch, &err) && !edit_set(ed, -1, 0, &ch, &err));
}
END_TEST

START_TEST(a_typed_value_takes_the_locked_end_along)
{
	ck_assert(edit_lock(ed, CAMBER, true, &err));
	ck_assert(edit_set(ed, FRONT_CAMBER, -2600000, &ch, &err) && ch.n == 2);
	ck_assert(value(REAR_CAMBER) == -1.4);
	ck_assert(!edit_set(ed, FRONT_CAMBER, -2 * FIX_ONE, &ch, &err));
	ck_assert_ptr_nonnull(strstr(err.text, "Camber rear: -0.8 deg is off its limits"));
	ck_assert_ptr_nonnull(strstr(err.text, "unlock it to set one end alone"));
	ck_assert(value(FRONT_CAMBER) == -2.6 && value(REAR_CAMBER) == -1.4);
	ck_assert(edit_lock(ed, BAR, true, &err));
	ck_assert(!edit_set(ed, FRONT_BAR, 70 * FIX_ONE, &ch, &err));
	ck_assert_ptr_nonnull(strstr(err.text, "Bar rear: 55 N/mm is off its step of 15 N/mm"));
	ck_assert(value(FRONT_BAR) == 60 && value(REAR_BAR) == 45);
	ck_assert(edit_set(ed, FRONT_BAR, 30 * FIX_ONE, &ch, &err));
	ck_assert(value(REAR_BAR) == 15);
}
END_TEST

START_TEST(a_caution_is_told_once_when_passed)
{
	ck_assert(edit_set(ed, FRONT_WING, 14 * FIX_ONE, &ch, &err) && ch.caution == -1);
	ck_assert(edit_nudge(ed, FRONT_WING, 1, &ch, &err) && ch.caution == FRONT_WING);
	ck_assert(edit_nudge(ed, FRONT_WING, 1, &ch, &err) && ch.caution == -1);
	ck_assert(edit_set(ed, FRONT_WING, 4 * FIX_ONE, &ch, &err) && ch.caution == FRONT_WING);
	/* Passed by the other end's nudge as well. */
	ck_assert(edit_set(ed, FRONT_WING, 14 * FIX_ONE, &ch, &err));
	ck_assert(edit_lock(ed, WING, true, &err));
	ck_assert(edit_nudge(ed, REAR_WING, 1, &ch, &err) && ch.caution == FRONT_WING);
}
END_TEST

START_TEST(undo_takes_back_whole_actions)
{
	ck_assert(edit_is_clean(ed));
	ck_assert(edit_lock(ed, CAMBER, true, &err));
	ck_assert(!edit_is_clean(ed));
	ck_assert(edit_nudge(ed, FRONT_CAMBER, 1, &ch, &err));
	ck_assert(edit_freeze(ed, BIAS, true, &err));
	ck_assert(edit_undo(ed, &ch) && ch.n == 0 && !edit_sheet(ed)->frozen[BIAS]);
	ck_assert(edit_undo(ed, &ch) && ch.n == 2);
	ck_assert(value(FRONT_CAMBER) == -3.2 && value(REAR_CAMBER) == -2);
	ck_assert(edit_undo(ed, &ch) && !edit_sheet(ed)->locked[CAMBER]);
	ck_assert(edit_is_clean(ed) && !edit_undo(ed, &ch));
	ck_assert(edit_redo(ed, &ch) && edit_redo(ed, &ch) && value(REAR_CAMBER) == -1.9);
	ck_assert(edit_redo(ed, &ch) && !edit_redo(ed, &ch) && edit_sheet(ed)->frozen[BIAS]);
}
END_TEST

START_TEST(clean_is_a_place_in_the_history)
{
	ck_assert(edit_nudge(ed, BIAS, 1, &ch, &err));
	edit_mark_clean(ed);
	ck_assert(edit_nudge(ed, BIAS, 1, &ch, &err));
	ck_assert(!edit_is_clean(ed) && edit_undo(ed, &ch) && edit_is_clean(ed));
	ck_assert(edit_undo(ed, &ch) && !edit_is_clean(ed));
	ck_assert(edit_can_redo(ed));
	/* A new action cuts off the saved place: it cannot be reached any more. */
	ck_assert(edit_nudge(ed, BIAS, -1, &ch, &err));
	ck_assert(!edit_can_redo(ed) && !edit_is_clean(ed));
	ck_assert(edit_undo(ed, &ch) && !edit_is_clean(ed));
	edit_mark_clean(ed);
	ck_assert(edit_is_clean(ed));
}
END_TEST

START_TEST(another_name_keeps_the_history)
{
	ck_assert(edit_nudge(ed, BIAS, 1, &ch, &err));
	edit_rename(ed, "race-2");
	edit_mark_clean(ed);
	ck_assert_str_eq(edit_sheet(ed)->id, "race-2");
	ck_assert_ptr_null(edit_sheet(ed)->name);
	ck_assert(edit_undo(ed, &ch) && ch.n == 1 && !edit_is_clean(ed));
	ck_assert(edit_redo(ed, &ch) && edit_is_clean(ed));
	ck_assert_str_eq(edit_sheet(ed)->id, "race-2");
}
END_TEST

START_TEST(a_whole_set_is_one_action)
{
	fix v[7];
	memcpy(v, edit_sheet(ed)->values, sizeof v);
	ck_assert(edit_lock(ed, CAMBER, true, &err));
	v[FRONT_CAMBER] = -3 * FIX_ONE;
	v[BIAS] = 55 * FIX_ONE;
	v[FRONT_BAR] = 0;
	ck_assert(!edit_apply(ed, v, false, &ch, &err));
	ck_assert_str_eq(err.text,
		"Camber is locked at front - rear -1.2 deg, these values would make it -1.0 deg");
	ck_assert(value(BIAS) == 54);
	ck_assert(edit_apply(ed, v, true, &ch, &err) && ch.n == 3);
	ck_assert(value(BIAS) == 55 && value(FRONT_BAR) == 0 && edit_sheet(ed)->locked[CAMBER]);
	v[BIAS] = 55200000;
	ck_assert(!edit_apply(ed, v, true, &ch, &err));
	ck_assert(edit_undo(ed, &ch) && value(BIAS) == 54 && value(FRONT_CAMBER) == -3.2);
}
END_TEST

START_TEST(ten_thousand_nudges_come_back_to_the_digit)
{
	char before[7][40], after[7][40];
	int net[7] = {0};
	unsigned seed = 20;
	for (int i = 0; i < 7; i++)
		fix_print(edit_sheet(ed)->values[i], before[i], sizeof before[i]);
	ck_assert(edit_lock(ed, CAMBER, true, &err));
	ck_assert(edit_lock(ed, BAR, true, &err));
	edit_mark_clean(ed);
	int done = 0;
	while (done < 10000) {
		int a = rand_r(&seed) % 7, steps = rand_r(&seed) % 11 - 5;
		if (!edit_nudge(ed, a, steps, &ch, &err))
			continue;
		fix front = edit_sheet(ed)->values[FRONT_CAMBER],
		    rear = edit_sheet(ed)->values[REAR_CAMBER];
		ck_assert(front - rear == -1200000);
		net[a] += steps;
		done++;
	}
	/* Back, one locked pair's member standing for both, a step at a time. */
	net[FRONT_CAMBER] += net[REAR_CAMBER];
	net[FRONT_BAR] += net[REAR_BAR];
	net[REAR_CAMBER] = net[REAR_BAR] = 0;
	for (int i = 0; i < 7; i++)
		for (int k = net[i]; k != 0; k += k > 0 ? -1 : 1)
			ck_assert(edit_nudge(ed, i, k > 0 ? -1 : 1, &ch, &err));
	for (int i = 0; i < 7; i++) {
		fix_print(edit_sheet(ed)->values[i], after[i], sizeof after[i]);
		ck_assert_str_eq(after[i], before[i]);
	}
	while (!edit_is_clean(ed))
		ck_assert(edit_undo(ed, &ch));
	for (int i = 0; i < 7; i++) {
		fix_print(edit_sheet(ed)->values[i], after[i], sizeof after[i]);
		ck_assert_str_eq(after[i], before[i]);
	}
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("edit");
	TCase *t = tcase_create("setter");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, a_nudge_moves_one_step);
	tcase_add_test(t, a_limit_refuses_and_is_named);
	tcase_add_test(t, a_locked_pair_moves_together);
	tcase_add_test(t, different_steps_move_by_their_common_multiple);
	tcase_add_test(t, a_common_step_beyond_all_range);
	tcase_add_test(t, a_typed_value_is_checked);
	tcase_add_test(t, a_typed_value_takes_the_locked_end_along);
	tcase_add_test(t, a_caution_is_told_once_when_passed);
	tcase_add_test(t, undo_takes_back_whole_actions);
	tcase_add_test(t, clean_is_a_place_in_the_history);
	tcase_add_test(t, another_name_keeps_the_history);
	tcase_add_test(t, a_whole_set_is_one_action);
	tcase_add_test(t, ten_thousand_nudges_come_back_to_the_digit);
	suite_add_tcase(s, t);
	return s;
}
