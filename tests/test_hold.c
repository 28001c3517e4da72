/*
 * Holding the load-transfer share with a pair of springs or bars, and the keys that the
 * balance adds to files: book.yaml `balance`, a sheet's `held-shares`, a lap's `segments`.
 * The other end's step is found here once more, by trying every step.
 */
#include "balance/balance.h"
#include "book/edit.h"
#include "store/load.h"
#include "store/store.h"
#include "store/write.h"
#include "support/support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static struct car car;
static struct book book;
static struct sheet sheet;
static struct err err;
static int spring, bar, camber, fs, rs, fb, rb;

static void setup(void)
{
	/* The invented single-seater's base sheet. */
	static const double base[] = {
		10, 14, -3.2, -2, -0.1, 0.16, 130, 140, 60, 40, 18, 34, 110, 108, 54, 20, 45, 60};
	struct faults f;
	char *path = test_source("profiles/cars/larkspur-20.yaml");
	char *where = test_source("profiles/circuits/harrow-fen.yaml");
	faults_init(&f);
	book_init(&book);
	ck_assert(store_load_car(&car, path, &f) && store_load_circuit(&book.circuit, where, &f));
	book.n_channels = 2;
	book.channels[0] = "front";
	book.channels[1] = "rear";
	ck_assert_uint_eq(car.n_adjustables, sizeof base / sizeof base[0]);
	ck_assert(sheet_alloc(&sheet, &car));
	for (size_t i = 0; i < car.n_adjustables; i++)
		sheet.values[i] = fix_from_double(base[i]);
	spring = car_find_pair(&car, "spring");
	bar = car_find_pair(&car, "bar");
	camber = car_find_pair(&car, "camber");
	ck_assert(spring >= 0 && bar >= 0 && camber >= 0);
	fs = car.pairs[spring].front;
	rs = car.pairs[spring].rear;
	fb = car.pairs[bar].front;
	rb = car.pairs[bar].rear;
	err_clear(&err);
	free(path);
	free(where);
}

static void teardown(void)
{
	sheet_free(&sheet);
	car_free(&car);
	book_free(&book);
}

static double share_with(const struct sheet *s, int a, fix v)
{
	fix values[32];
	memcpy(values, s->values, s->n_values * sizeof *values);
	values[a] = v;
	return balance_of(&car, values).transfer_front_share.v;
}

/* Every nudge against trying all steps of the other end. */
static void walk(int pair, int a, int other, int steps)
{
	struct edit *e = edit_new(&car, &sheet);
	struct edit_change c;
	double anchor, now;
	ck_assert(edit_hold_share(e, pair, true, &err));
	ck_assert(edit_held_share(e, pair, &anchor, &now) && anchor == now);
	for (int i = 0; i < 40; i++) {
		struct sheet before = {0};
		ck_assert(sheet_copy(&before, edit_sheet(e)));
		bool moved = edit_nudge(e, a, steps, &c, &err);
		const struct sheet *s = edit_sheet(e);
		if (!moved) {
			ck_assert(sheet_equal(&before, s));
			ck_assert_msg(strstr(err.text, "limit"), "%s", err.text);
			sheet_free(&before);
			break;
		}
		ck_assert(s->values[a] == before.values[a] + steps * car.adjustables[a].step);
		const struct adjustable *ad = &car.adjustables[other];
		double best = INFINITY;
		for (fix v = ad->min; v <= ad->max; v += ad->step)
			best = fmin(best, fabs(share_with(s, other, v) - anchor));
		ck_assert(edit_held_share(e, pair, &anchor, &now));
		ck_assert_msg(fabs(fabs(now - anchor) - best) < 1e-12, "%g against %g",
			now - anchor, best);
		ck_assert(car_check_value(ad, s->values[other], "", &err));
		sheet_free(&before);
	}
	edit_free(e);
}

START_TEST(a_nudge_moves_the_other_end_to_the_nearest_step)
{
	const int s = _i % 2 ? -1 : 1;
	walk(spring, fs, rs, s);
	walk(spring, rs, fs, s);
	walk(bar, fb, rb, s);
	walk(bar, rb, fb, s);
	walk(spring, rs, fs, 3 * s);
}
END_TEST

START_TEST(what_is_left_is_told)
{
	struct edit *e = edit_new(&car, &sheet);
	struct edit_change c;
	char words[120];
	ck_assert_str_eq(edit_held_words(e, spring, words, sizeof words), "");
	ck_assert(edit_hold_share(e, spring, true, &err));
	ck_assert_msg(
		strstr(edit_held_words(e, spring, words, sizeof words), "as held"), "%s", words);
	ck_assert(edit_nudge(e, fs, 1, &c, &err) && c.n == 2);
	double anchor, now;
	ck_assert(edit_held_share(e, spring, &anchor, &now));
	ck_assert_msg(fabs(now - anchor) > 1e-5 && fabs(now - anchor) < 0.005, "%g", now - anchor);
	ck_assert_msg(strstr(edit_held_words(e, spring, words, sizeof words), "what is held"), "%s",
		words);
	edit_free(e);
}
END_TEST

START_TEST(lock_and_hold_exclude_each_other_and_undo)
{
	struct edit *e = edit_new(&car, &sheet);
	struct edit_change c;
	double anchor, now;
	ck_assert(edit_lock(e, bar, true, &err) && edit_hold_share(e, bar, true, &err));
	ck_assert(!edit_sheet(e)->locked[bar] && edit_sheet(e)->share_held[bar]);
	ck_assert(edit_held_share(e, bar, &anchor, &now));
	const double first = anchor;
	ck_assert(edit_nudge(e, fb, 1, &c, &err));
	ck_assert(edit_lock(e, bar, true, &err));
	ck_assert(edit_sheet(e)->locked[bar] && !edit_sheet(e)->share_held[bar]);
	ck_assert(edit_undo(e, &c)); /* the hold is back with its old anchor */
	ck_assert(edit_held_share(e, bar, &anchor, &now) && anchor == first && now != first);
	ck_assert(edit_undo(e, &c) && edit_undo(e, &c));
	ck_assert(edit_sheet(e)->locked[bar] && !edit_sheet(e)->share_held[bar]);
	ck_assert(edit_redo(e, &c));
	ck_assert(edit_held_share(e, bar, &anchor, &now) && anchor == first && now == first);
	ck_assert(edit_undo(e, &c) && edit_undo(e, &c) && edit_is_clean(e));
	ck_assert(sheet_equal(edit_sheet(e), &sheet));
	edit_free(e);
}
END_TEST

START_TEST(only_springs_and_bars_hold)
{
	struct edit *e = edit_new(&car, &sheet);
	ck_assert(!edit_hold_share(e, camber, true, &err));
	ck_assert_msg(strstr(err.text, "no pair of springs or bars"), "%s", err.text);
	ck_assert(!edit_hold_share(e, -1, true, &err));
	car.chassis.rear.roll_centre.has = false;
	ck_assert(!edit_hold_share(e, spring, true, &err));
	ck_assert_msg(strstr(err.text, "lacks rear: roll-centre"), "%s", err.text);
	edit_free(e);
}
END_TEST

START_TEST(typing_moves_the_other_end_too)
{
	struct edit *e = edit_new(&car, &sheet);
	struct edit_change c;
	ck_assert(edit_hold_share(e, spring, true, &err));
	ck_assert(edit_set(e, fs, 150 * FIX_ONE, &c, &err) && c.n == 2);
	ck_assert(edit_sheet(e)->values[rs] > 140 * FIX_ONE);
	ck_assert(!edit_set(e, rs, 100 * FIX_ONE, &c, &err) ||
		  edit_sheet(e)->values[fs] >= 90 * FIX_ONE);
	edit_free(e);
}
END_TEST

/* --- files ------------------------------------------------------------------ */

static bool read_book(const char *balance, struct book *b, struct faults *f)
{
	char text[900];
	struct doc d;
	struct book_refs refs;
	snprintf(text, sizeof text,
		"kind: book\nversion: 1\ncar: a\ncircuit: b\nreference: c\n"
		"wear-channels: [front, rear]\nwear-limit: 60\n%s",
		balance);
	book_init(b);
	ck_assert(doc_parse(&d, text, strlen(text), "book.yaml", f));
	bool ok = load_book_file(b, &d, &refs, f);
	doc_free(&d);
	return ok;
}

START_TEST(how_balance_is_told)
{
	struct book b;
	struct faults f;
	faults_init(&f);
	ck_assert(read_book("", &b, &f));
	struct balance_plan p = book_balance(&b);
	ck_assert(p.lateral.v == 1.5 && p.speed.v == 180 && p.deceleration.v == 1.3 && !p.cold.has);
	ck_assert(p.band[BAND_TRANSFER].v == 0.5 && p.band[BAND_BRAKES].v == 0.5);
	book_free(&b);
	ck_assert(read_book("balance: {lateral: 1.8, speed: 100, deceleration: 0.9, temperatures: "
			    "{cold: 20, hot: 90}, hot-pressure: {front: 150}, band: {aero: 0}}\n",
		&b, &f));
	p = book_balance(&b);
	ck_assert(p.lateral.v == 1.8 && p.speed.v == 100 && p.deceleration.v == 0.9);
	ck_assert(p.cold.v == 20 && p.hot.v == 90 && p.hot_pressure[0].v == 150);
	ck_assert(
		!p.hot_pressure[1].has && p.band[BAND_AERO].v == 0 && p.band[BAND_BRAKES].v == 0.5);
	book_free(&b);
}
END_TEST

START_TEST(faults_of_balance)
{
	static const struct {
		const char *text, *says;
	} cases[] = {
		{"balance: {lateral: 0}\n", "lateral"},
		{"balance: {speed: 900}\n", "at most 600"},
		{"balance: {wind: 3}\n", "unknown key 'wind'"},
		{"balance: {temperatures: {cold: 20}}\n", "hot"},
		{"balance: {temperatures: {cold: 20, hot: 400}}\n", "at most 300"},
		{"balance: {hot-pressure: {front: 150}}\n", "needs temperatures"},
		{"balance: {band: {yaw: 1}}\n", "unknown key 'yaw'"},
		{"balance: {band: {aero: -1}}\n", "at least 0"},
		{"balance: 3\n", "mapping"},
	};
	struct book b;
	struct faults f;
	faults_init(&f);
	ck_assert(!read_book(cases[_i].text, &b, &f) && f.n == 1);
	ck_assert_msg(strstr(f.list[0].text, cases[_i].says), "%s", f.list[0].text);
	ck_assert_uint_eq(f.list[0].line, 8);
	faults_free(&f);
	book_free(&b);
}
END_TEST

static bool read_sheet(const char *tail, struct sheet *s, struct faults *f)
{
	char text[1500], v[40];
	size_t n = (size_t)snprintf(text, sizeof text, "kind: sheet\nversion: 1\nvalues:\n");
	for (size_t i = 0; i < car.n_adjustables; i++) {
		fix_print(sheet.values[i], v, sizeof v);
		n += (size_t)snprintf(
			text + n, sizeof text - n, "  %s: %s\n", car.adjustables[i].id, v);
	}
	snprintf(text + n, sizeof text - n, "%s", tail);
	struct doc d;
	ck_assert(doc_parse(&d, text, strlen(text), "s.yaml", f));
	bool ok = load_sheet(s, &d, "s", &car, f);
	doc_free(&d);
	return ok;
}

START_TEST(held_shares_in_a_sheet)
{
	struct sheet s;
	struct faults f;
	faults_init(&f);
	ck_assert(read_sheet("locks: [camber]\nheld-shares: [spring, bar]\n", &s, &f));
	ck_assert(s.share_held[spring] && s.share_held[bar] && !s.share_held[camber]);
	struct edit *e = edit_new(&car, &s); /* the anchor is the sheet's own share */
	double anchor, now;
	ck_assert(edit_held_share(e, spring, &anchor, &now) && anchor == now && now > 0.4);
	edit_free(e);
	sheet_free(&s);
	static const struct {
		const char *text, *says;
	} bad[] = {{"locks: [bar]\nheld-shares: [bar]\n", "is in locks too"},
		{"held-shares: [camber]\n", "no pair of springs or bars"},
		{"held-shares: [spring, spring]\n", "twice"},
		{"held-shares: spring\n", "list of pairs of springs or bars"},
		{"held-shares: [front-spring]\n", "no"}};
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		faults_init(&f);
		ck_assert(!read_sheet(bad[i].text, &s, &f) && f.n == 1);
		ck_assert_msg(strstr(f.list[0].text, bad[i].says), "%s", f.list[0].text);
		faults_free(&f);
	}
}
END_TEST

static bool read_run(const char *lap, struct run *r, struct faults *f)
{
	char text[4000], v[40];
	size_t n = (size_t)snprintf(text, sizeof text, "kind: run\nversion: 1\nvalues:\n");
	for (size_t i = 0; i < car.n_adjustables; i++) {
		fix_print(sheet.values[i], v, sizeof v);
		n += (size_t)snprintf(
			text + n, sizeof text - n, "  %s: %s\n", car.adjustables[i].id, v);
	}
	snprintf(text + n, sizeof text - n, "laps:\n  - %s\n", lap);
	struct doc d;
	ck_assert(doc_parse(&d, text, strlen(text), "r.yaml", f));
	bool ok = load_run(r, &d, "r", &car, &book, f);
	doc_free(&d);
	return ok;
}

/* All fourteen segments of the circuit at 7 s and 0.15 %, the first as given. */
static const char *full_lap(const char *time, const char *first)
{
	static char text[2000];
	size_t n = (size_t)snprintf(
		text, sizeof text, "{time: %s, wear: {front: 2.1}, segments: {", time);
	for (size_t i = 0; i < book.circuit.n_segments; i++)
		n += (size_t)snprintf(text + n, sizeof text - n, "%s%s: %s", i ? ", " : "",
			book.circuit.segments[i].id,
			i ? "{time: 7.000, wear: {front: 0.150}}" : first);
	snprintf(text + n, sizeof text - n, "}}");
	return text;
}

START_TEST(segments_of_a_lap)
{
	struct run r;
	struct faults f;
	faults_init(&f);
	ck_assert_uint_eq(book.circuit.n_segments, 14);
	bool ok = read_run(full_lap("98.000", "{time: 7.000, wear: {front: 0.150}}"), &r, &f);
	ck_assert_msg(ok, "%s", f.n ? f.list[0].text : "");
	const struct lap *l = &r.laps[0];
	ck_assert(l->n_segments == 14 && l->segments[3].has_time && l->segments[3].time == 7);
	ck_assert(l->segments[13].has_wear[0] && l->segments[13].wear[0] == 0.15);
	ck_assert(!l->segments[13].has_wear[1]);
	struct buf out;
	buf_init(&out);
	write_lap(&out, &book, l);
	struct run again;
	ck_assert(read_run(out.data, &again, &f) && again.laps[0].n_segments == 14);
	for (size_t i = 0; i < 14; i++) {
		const struct lap_segment *a = &again.laps[0].segments[i], *b = &l->segments[i];
		ck_assert(a->has_time == b->has_time && a->has_wear[0] == b->has_wear[0] &&
			  a->has_wear[1] == b->has_wear[1]);
		ck_assert(!a->has_time || a->time == b->time);
		ck_assert(!a->has_wear[0] || a->wear[0] == b->wear[0]);
		ck_assert(!a->has_wear[1] || a->wear[1] == b->wear[1]);
	}
	run_free(&again);
	buf_free(&out);
	struct run copy;
	run_init(&copy);
	ck_assert(run_copy(&copy, &r));
	ck_assert(copy.laps[0].segments != l->segments && copy.laps[0].segments[5].time == 7);
	run_free(&copy);
	run_free(&r);
	ck_assert(read_run(
		"{time: 98.0, segments: {s2: {wear: {rear: 0.1}}, s9: {time: 6}}}", &r, &f));
	ck_assert(!r.laps[0].segments[0].has_time && r.laps[0].segments[8].time == 6);
	run_free(&r);
	/* fifteen figures of three decimals: 7.5 thousandths of rounding */
	ck_assert(read_run(full_lap("98.007", "{time: 7.000, wear: {front: 0.150}}"), &r, &f));
	run_free(&r);
	ck_assert_uint_eq(f.total, 0);
}
END_TEST

START_TEST(faults_of_segments)
{
	const struct {
		const char *lap, *says;
	} cases[] = {
		{full_lap("98.009", "{time: 7.000, wear: {front: 0.150}}"), "apart"},
		{"{time: 98.0, segments: {s99: {time: 1}}}", "no segment 's99'; it has s1 to s14"},
		{"{time: 98.0, segments: {s1: {time: 99}}}", "the segments given use 99 s of time"},
		{"{time: 98.0, wear: {front: 2}, segments: {s1: {wear: {front: 3}}}}",
			"the segments given use 3 % of front"},
		{"{time: 98.0, segments: {s1: {wear: {left: 3}}}}", "no wear channel 'left'"},
		{"{time: 98.0, segments: {s1: {speed: 3}}}", "unknown key 'speed'"},
		{"{time: 98.0, segments: [1]}", "mapping of the circuit's segments"},
	};
	struct run r;
	struct faults f;
	faults_init(&f);
	ck_assert(!read_run(cases[_i].lap, &r, &f) && f.n == 1);
	ck_assert_msg(strstr(f.list[0].text, cases[_i].says), "%s", f.list[0].text);
	faults_free(&f);
}
END_TEST

/* Holds come and go in the file as locks do; every other byte stays. */
START_TEST(holds_are_saved)
{
	static const char *const steps[] = {
		"held-shares: [spring]\n", "held-shares: [spring, bar]\n"};
	char *dir = test_folder(), path[600], head[1500], v[40], *text;
	struct faults f;
	faults_init(&f);
	snprintf(path, sizeof path, "%s/sheets", dir);
	ck_assert(mkdir(path, 0777) == 0);
	snprintf(path, sizeof path, "%s/sheets/s.yaml", dir);
	size_t n = (size_t)snprintf(head, sizeof head, "kind: sheet # mine\nversion: 1\nvalues:\n");
	for (size_t i = 0; i < car.n_adjustables; i++) {
		fix_print(sheet.values[i], v, sizeof v);
		n += (size_t)snprintf(
			head + n, sizeof head - n, "  %s: %s\n", car.adjustables[i].id, v);
	}
	test_write(path, head, n);
	struct book b = book; /* shallow: the folder and the car for this test */
	b.dir = dir;
	b.car = car;
	for (size_t i = 0; i < 2; i++) {
		struct sheet before = {0}, after = {0};
		struct stamp stamp;
		ck_assert(store_load_sheet(&before, &b, "s", &stamp, &f) &&
			  sheet_copy(&after, &before));
		after.share_held[i == 0 ? spring : bar] = true;
		ck_assert_msg(store_save_sheet(&b, &before, &after, &err), "%s", err.text);
		sheet_free(&before);
		ck_assert(store_load_sheet(&before, &b, "s", &stamp, &f) &&
			  sheet_equal(&before, &after));
		text = test_slurp(path, NULL);
		ck_assert_msg(strncmp(text, head, n) == 0, "%s", text);
		ck_assert_str_eq(text + n, steps[i]);
		free(text);
		sheet_free(&before);
		sheet_free(&after);
	}
	b.dir = NULL;
	test_remove(dir);
	free(dir);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("hold");
	TCase *t = tcase_create("share");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_loop_test(t, a_nudge_moves_the_other_end_to_the_nearest_step, 0, 2);
	tcase_add_test(t, what_is_left_is_told);
	tcase_add_test(t, lock_and_hold_exclude_each_other_and_undo);
	tcase_add_test(t, only_springs_and_bars_hold);
	tcase_add_test(t, typing_moves_the_other_end_too);
	suite_add_tcase(s, t);
	t = tcase_create("files");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, how_balance_is_told);
	tcase_add_loop_test(t, faults_of_balance, 0, 9);
	tcase_add_test(t, held_shares_in_a_sheet);
	tcase_add_test(t, holds_are_saved);
	tcase_add_test(t, segments_of_a_lap);
	tcase_add_loop_test(t, faults_of_segments, 0, 7);
	suite_add_tcase(s, t);
	return s;
}
