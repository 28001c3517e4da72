/* Laps and conditions as they are typed in the garage. */
#include "book/entry.h"
#include "support/support.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

static struct lap parse(const char *text, size_t channels, enum entry_mode mode, int decimals)
{
	struct lap l;
	struct err e;
	err_clear(&e);
	ck_assert_msg(
		entry_parse_lap(&l, text, channels, mode, decimals, &e), "%s: %s", text, e.text);
	return l;
}

static void check_lap(const struct lap *l, double time, double front, double rear, double effort,
	const char *skip)
{
	ck_assert_double_eq_tol(l->time, time, 1e-12);
	ck_assert(l->has_wear[0] == (front >= 0) && l->has_wear[1] == (rear >= 0));
	if (front >= 0)
		ck_assert_double_eq_tol(l->wear[0], front, 1e-12);
	if (rear >= 0)
		ck_assert_double_eq_tol(l->wear[1], rear, 1e-12);
	ck_assert_int_eq(l->has_effort, effort > 0);
	if (effort > 0)
		ck_assert_double_eq(l->effort, effort);
	if (skip)
		ck_assert_str_eq(l->skip, skip);
	else
		ck_assert_ptr_null(l->skip);
}

START_TEST(laps_are_read)
{
	static const struct {
		const char *text;
		double time, front, rear, effort;
		const char *skip;
	} cases[] = {{"1:31.243 2.41 2.66 97", 91.243, 2.41, 2.66, 97, NULL},
		{"131243 241 266 97", 91.243, 2.41, 2.66, 97, NULL},
		{"131243 241266 97", 91.243, 2.41, 2.66, 97, NULL},
		{"131243 241266", 91.243, 2.41, 2.66, 0, NULL},
		{"  57310\t 1.1 0.9  ", 57.31, 1.1, 0.9, 0, NULL},
		{"1002003", 602.003, -1, -1, 0, NULL}, {"91.102", 91.102, -1, -1, 0, NULL},
		{"131243 97", 91.243, -1, -1, 97, NULL},
		{"1:42.1 - - 96 traffic", 102.1, -1, -1, 96, "traffic"},
		{"131243 241 - 96", 91.243, 2.41, -1, 96, NULL},
		{"131243 yellow flag, sector 2 ", 91.243, -1, -1, 0, "yellow flag, sector 2"},
		{"131243 241 266 flag", 91.243, 2.41, 2.66, 0, "flag"},
		{"131243 1234 1432 99.5", 91.243, 12.34, 14.32, 99.5, NULL}};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		struct lap l = parse(cases[i].text, 2, ENTRY_WEAR, 2);
		check_lap(&l, cases[i].time, cases[i].front, cases[i].rear, cases[i].effort,
			cases[i].skip);
		free(l.skip);
	}
}
END_TEST

START_TEST(totals_and_their_decimals)
{
	struct lap l = parse("131243 142 151 97", 2, ENTRY_WORN, 1);
	ck_assert(l.has_worn[0] && l.has_worn[1] && !l.has_wear[0]);
	ck_assert_double_eq_tol(l.worn[0], 14.2, 1e-12);
	ck_assert_double_eq_tol(l.worn[1], 15.1, 1e-12);
	struct lap laps[1] = {l};
	struct run r;
	run_init(&r);
	r.n_laps = 1;
	r.laps = laps;
	ck_assert_int_eq(entry_mode_of(&r), ENTRY_WORN);
	ck_assert_int_eq(entry_decimals_of(&r, 2), 1);
	/* One channel: one figure is its wear. */
	l = parse("131243 241", 1, ENTRY_WEAR, 2);
	ck_assert(l.has_wear[0] && !l.has_effort);
}
END_TEST

static void refuse(const char *text, size_t channels, const char *word)
{
	struct lap l;
	struct err e;
	err_clear(&e);
	ck_assert_msg(!entry_parse_lap(&l, text, channels, ENTRY_WEAR, 2, &e), "%s", text);
	ck_assert_int_eq(e.cls, ERR_INPUT);
	ck_assert_msg(strstr(e.text, word) != NULL, "%s: %s", text, e.text);
	ck_assert_ptr_null(l.skip);
}

START_TEST(doubtful_laps_are_refused)
{
	refuse("", 2, "no lap time");
	refuse("traffic", 2, "time");
	refuse("1312", 2, "131243");
	refuse("12345678", 2, "131243");
	refuse("1:71.2", 2, "time");
	refuse("167143", 2, "time");
	refuse("1,31.2", 2, "time");
	refuse("131243 24 26", 2, "digits alone");
	refuse("131243 241", 2, "effort");
	refuse("131243 241 266 97 98", 2, "figures");
	refuse("131243 1.2 1.3 0", 2, "effort");
	refuse("131243 1.2 1.3 151", 2, "150");
	refuse("131243 2,41 2,66", 2, "not 1,5");
	refuse("131243 12345 12345", 2, "100");
	refuse("0:00.000", 2, "lap time");
}
END_TEST

/* What is shown for correcting reads back as the same lap. */
START_TEST(printed_laps_read_back)
{
	static const char *const texts[] = {"1:31.243 2.41 2.66 97", "1:31.243 - 2.66",
		"57.310 1.0 2.0 100 traffic, cold tyres", "1:31.243 97", "1:31.243",
		"91.2434 - - flag"};
	for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
		char once[ENTRY_SIZE], twice[ENTRY_SIZE];
		struct lap l = parse(texts[i], 2, ENTRY_WEAR, 2);
		entry_print_lap(&l, 2, ENTRY_WEAR, once, sizeof once);
		struct lap again = parse(once, 2, ENTRY_WEAR, 2);
		entry_print_lap(&again, 2, ENTRY_WEAR, twice, sizeof twice);
		ck_assert_str_eq(once, twice);
		ck_assert_double_eq(l.time, again.time);
		for (size_t c = 0; c < 2; c++)
			ck_assert_double_eq(l.wear[c], again.wear[c]);
		ck_assert_double_eq(l.effort, again.effort);
		free(l.skip);
		free(again.skip);
	}
}
END_TEST

/* No more keys than the digits of its figures and four, Enter included. */
START_TEST(a_lap_takes_few_keys)
{
	static const struct {
		const char *keys;
		size_t channels;
	} laps[] = {{"131243 241 266 97", 2}, {"131243 241266 97", 2}, {"131243 241 97", 1},
		{"131243 241242266265 97", 4}, {"131243", 2}};
	for (size_t i = 0; i < sizeof laps / sizeof laps[0]; i++) {
		struct lap l = parse(laps[i].keys, laps[i].channels, ENTRY_WEAR, 2);
		size_t digits = 0;
		ck_assert_double_eq_tol(l.time, 91.243, 1e-12);
		for (const char *p = laps[i].keys; *p; p++)
			digits += isdigit((unsigned char)*p) != 0;
		ck_assert_uint_le(strlen(laps[i].keys) + 1, digits + 4);
		if (laps[i].channels == 4)
			ck_assert_double_eq_tol(l.wear[3], 2.65, 1e-12);
	}
}
END_TEST

START_TEST(conditions_round_trip)
{
	static const char text[] = "fuel=24 fuel-per-lap=1.9 track-temp=31 tyre-age=0 driver=a "
				   "session=sat-am compound=medium worn=14.2/15.1";
	char out[ENTRY_SIZE];
	struct run r;
	struct err e;
	run_init(&r);
	err_clear(&e);
	ck_assert_msg(entry_parse_conditions(&r, text, 2, &e), "%s", e.text);
	ck_assert(r.fuel.has && r.fuel.v == 24 && r.tyre_age.has && r.tyre_age.v == 0);
	ck_assert_str_eq(r.session, "sat-am");
	ck_assert_double_eq(r.worn_at_start[1], 15.1);
	ck_assert_str_eq(entry_print_conditions(&r, 2, out, sizeof out), text);
	ck_assert(entry_parse_conditions(&r, " fuel= driver=b", 2, &e));
	ck_assert(!r.fuel.has && !r.tyre_age.has && !r.session[0] && !r.has_worn_at_start[0]);
	ck_assert_str_eq(r.driver, "b");
	static const char *const bad[] = {"fuel=x", "fuel=-1", "wind=3", "fuel", "driver=A B",
		"driver=Anna", "worn=1", "worn=1/2/3", "worn=1/x", "worn=1/200", "track-temp=300"};
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		ck_assert_msg(!entry_parse_conditions(&r, bad[i], 2, &e), "%s", bad[i]);
		ck_assert_str_eq(r.driver, "b");
	}
}
END_TEST

START_TEST(ids_count_up)
{
	struct book b;
	struct run runs[2];
	char id[ID_SIZE];
	book_init(&b);
	entry_next_id(&b, id);
	ck_assert_str_eq(id, "r01");
	run_init(&runs[0]);
	run_init(&runs[1]);
	strcpy(runs[0].id, "test-010");
	strcpy(runs[1].id, "test-009");
	b.runs = runs;
	b.n_runs = 2;
	entry_next_id(&b, id);
	ck_assert_str_eq(id, "test-011");
	strcpy(runs[1].id, "wet");
	entry_next_id(&b, id);
	ck_assert_str_eq(id, "r01");
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("entry");
	TCase *t = tcase_create("entry");
	tcase_add_test(t, laps_are_read);
	tcase_add_test(t, totals_and_their_decimals);
	tcase_add_test(t, doubtful_laps_are_refused);
	tcase_add_test(t, printed_laps_read_back);
	tcase_add_test(t, a_lap_takes_few_keys);
	tcase_add_test(t, conditions_round_trip);
	tcase_add_test(t, ids_count_up);
	suite_add_tcase(s, t);
	return s;
}
