/* Runs from CSV files; the grammar is RFC 4180's. */
#include "store/csv.h"
#include "store/import.h"
#include "store/store.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static char *folder, *csv, *dir;
static struct book b;

static char *in_folder(const char *name)
{
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/%s", folder, name), 0);
	return path;
}

static void copy_in(const char *name)
{
	char source[64], target[64];
	snprintf(source, sizeof source, "share/demo/%s", name);
	snprintf(target, sizeof target, "b/%s", name);
	char *from = test_source(source), *to = in_folder(target);
	size_t len;
	char *text = test_slurp(from, &len);
	test_write(to, text, len);
	free(text);
	free(from);
	free(to);
}

static void load(void)
{
	struct faults f;
	faults_init(&f);
	book_init(&b);
	ck_assert_msg(store_load_book(&b, dir, &f), "%s", f.n ? f.list[0].text : "");
}

static void setup(void)
{
	folder = test_folder();
	char *top = test_source("");
	setenv("TREADLIGHT_DATADIR", top, 1);
	free(top);
	static const char *const folders[] = {"b", "b/sheets", "b/runs"};
	for (int i = 0; i < 3; i++) {
		char *path = in_folder(folders[i]);
		ck_assert_int_eq(mkdir(path, 0777), 0);
		free(path);
	}
	copy_in("book.yaml");
	copy_in("sheets/quick-base.yaml");
	dir = in_folder("b");
	csv = in_folder("laps.csv");
	load();
}

static void teardown(void)
{
	book_free(&b);
	test_remove(folder);
	free(folder);
	free(dir);
	free(csv);
}

static bool import(const char *text, struct import *in, struct faults *f)
{
	test_write(csv, text, strlen(text));
	faults_init(f);
	return import_csv(in, &b, csv, f);
}

START_TEST(cells_know_their_places)
{
	struct cells t;
	struct faults f;
	faults_init(&f);
	/* RFC 4180, 2.6 and 2.7: line breaks and doubled quotes inside a quoted field. */
	static const char text[] = "\xEF\xBB\xBF"
				   "a,b\r\n\r\n\"x\r\ny\",\"q\"\"q\"\r\n\xC3\xA9,,\n,z";
	ck_assert(cells_parse(&t, text, sizeof text - 1, "t.csv", &f));
	ck_assert_uint_eq(t.n_rows, 4);
	static const struct {
		const char *text;
		size_t line, col;
	} want[] = {{"a", 1, 1}, {"b", 1, 3}, {"x\r\ny", 3, 1}, {"q\"q", 4, 4}, {"\xC3\xA9", 5, 1},
		{"", 5, 3}, {"", 5, 4}, {"", 6, 1}, {"z", 6, 2}};
	ck_assert_uint_eq(t.n_cells, 9);
	for (size_t i = 0; i < 9; i++) {
		ck_assert_str_eq(t.cells[i].text, want[i].text);
		ck_assert_msg(t.cells[i].line == want[i].line && t.cells[i].col == want[i].col,
			"cell %zu at %zu:%zu", i, t.cells[i].line, t.cells[i].col);
	}
	cells_free(&t);
	ck_assert(!cells_parse(&t, "a,b\n1,\"2\"3\n", 11, "t.csv", &f));
	ck_assert_uint_eq(f.list[0].line, 2);
	faults_free(&f);
	ck_assert(!cells_parse(&t, "a,\"b\n", 5, "t.csv", &f));
	ck_assert(!cells_parse(&t, "", 0, "t.csv", &f));
	faults_free(&f);
}
END_TEST

START_TEST(good_laps_become_runs)
{
	struct import in;
	struct faults f;
	struct err e;
	bool ok = import(
		"run,sheet,date,driver,fuel,fuel-per-lap,track-temp,tyre-age,lap,time,effort,skip,"
		"wear-front,wear-rear,front-wing,worn-rear,worn-at-start-rear\r\n"
		"r2,quick-base,2026-03-14T10:20,a,24,1.9,31,0,2,91.5,,\"traffic, blue "
		"flag\",2.4,,,8.1,3\r\n"
		"r2,,,,,,,,1,1:31.243,97,,2.41,,,5.5,\r\n"
		"\r\n"
		"r1,quick-base,,,,,,,1,1:30.000,,,,,8.5,,\r\n",
		&in, &f);
	ck_assert_msg(ok, "%s", f.n ? f.list[0].text : "");
	ck_assert_uint_eq(in.n, 2);
	const struct run *r = &in.runs[0];
	ck_assert_str_eq(r->id, "r2");
	ck_assert_uint_eq(r->n_laps, 2);
	ck_assert(
		r->laps[0].time == 91.243 && r->laps[0].effort == 97 && r->laps[0].worn[1] == 5.5);
	ck_assert_str_eq(r->laps[1].skip, "traffic, blue flag");
	ck_assert(r->fuel.v == 24 && r->worn_at_start[1] == 3 && r->laps[1].wear[0] == 2.4);
	ck_assert(!r->laps[0].has_wear[1]);
	int wing = car_find_adjustable(&b.car, "front-wing");
	ck_assert(r->values[wing] == b.sheets[0].values[wing]);
	ck_assert(in.runs[1].values[wing] == 8500000);
	ck_assert_msg(store_new_runs(&b, in.runs, in.n, &e), "%s", e.text);
	book_free(&b);
	load();
	ck_assert_uint_eq(b.n_runs, 2);
	int i = book_find_run(&b, "r2");
	ck_assert_int_ge(i, 0);
	for (size_t k = 0; k < 2; k++)
		ck_assert(b.runs[i].laps[k].time == in.runs[0].laps[k].time);
	import_free(&in);
	/* The same file again: both stand. One of them is another by now: then it does not. */
	ck_assert(import_csv(&in, &b, csv, &f));
	ck_assert(in.n == 2 && in.stands[0] && in.stands[1]);
	import_free(&in);
	b.runs[i].laps[0].time += 0.001;
	ck_assert(!import_csv(&in, &b, csv, &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert_ptr_nonnull(
		strstr(f.list[0].text, "the book has a run 'r2' already, another one"));
	faults_free(&f);
}
END_TEST

/* A column for each figure of a segment; blank cells have none. Sums are held against the lap as in
 * a run's file. */
START_TEST(segments_come_along)
{
	struct import in;
	struct faults f;
	struct err e;
	bool ok = import("run,sheet,time,wear-front,segment-s1-time,segment-s14-time,"
			 "segment-s1-wear-front\n"
			 "r1,quick-base,91.5,2.4,9.51,1:00.5,0.07\n"
			 "r1,,91.6,2.4,,,\n",
		&in, &f);
	ck_assert_msg(ok, "%s", f.n ? f.list[0].text : "");
	ck_assert_msg(store_new_runs(&b, in.runs, in.n, &e), "%s", e.text);
	import_free(&in);
	book_free(&b);
	load();
	const struct lap *l = b.runs[book_find_run(&b, "r1")].laps;
	ck_assert_uint_eq(l[0].n_segments, b.circuit.n_segments);
	ck_assert(l[0].segments[0].has_time && l[0].segments[0].time == 9.51);
	ck_assert(l[0].segments[0].has_wear[0] && l[0].segments[0].wear[0] == 0.07);
	ck_assert(l[0].segments[13].time == 60.5 && !l[0].segments[13].has_wear[0]);
	ck_assert(!l[0].segments[1].has_time && !l[1].segments);
}
END_TEST

/* Old machines' line ends, and both in one file. */
START_TEST(lines_end_as_anybody_ends_them)
{
	static const char *const texts[] = {"a,b\r1,2\r", "a,b\r\r1,2", "a,b\r\n\r\n1,2\r\n"};
	static const size_t lines[] = {2, 3, 3};
	for (size_t i = 0; i < 3; i++) {
		struct cells t;
		struct faults f;
		faults_init(&f);
		ck_assert(cells_parse(&t, texts[i], strlen(texts[i]), "t.csv", &f));
		ck_assert_uint_eq(t.n_rows, 2);
		ck_assert_uint_eq(t.n_cells, 4);
		ck_assert_str_eq(t.cells[3].text, "2");
		ck_assert_uint_eq(t.rows[1].line, lines[i]);
		ck_assert(t.cells[3].line == lines[i] && t.cells[3].col == 3);
		cells_free(&t);
	}
}
END_TEST

/* Every column that a run can have, in an order of its own, for more runs than come at first. */
START_TEST(many_runs_with_all_that_there_is)
{
	enum { RUNS = 40, LAPS = 20 };
	struct import in;
	struct faults f;
	struct buf text;
	buf_init(&text);
	buf_adds(&text, "time,session,run,compound,driver,sheet,date,wear-total-front,"
			"worn-at-start-rear,worn-rear,skip,tyre-age,track-temp,fuel-per-lap\r\n");
	for (int r = 0; r < RUNS; r++)
		for (int l = 0; l < LAPS; l++)
			buf_addf(&text, "9%d.5,%s,x%d,%s,%s,%s,%s,%s,%s,%d.%d,%s,%s,%s,%s\r\n",
				l % 3, l ? "" : "morning", r, l ? "" : "soft", l ? "" : "anna",
				l ? "" : "quick-base", l ? "" : "2026-03-14T10:20", l ? "" : "7.5",
				l ? "" : "2", 3 + l / 10, l % 10,
				l == 3   ? "rain"
				: l == 4 ? "\" \t\""
					 : "",
				l ? "" : "4", l ? "" : "-5", l ? "" : "1.9");
	ck_assert_msg(import(text.data, &in, &f), "%s", f.n ? f.list[0].text : "");
	ck_assert_uint_eq(in.n, RUNS);
	for (size_t r = 0; r < RUNS; r++) {
		const struct run *run = &in.runs[r];
		char id[8];
		snprintf(id, sizeof id, "x%zu", r);
		ck_assert_str_eq(run->id, id);
		ck_assert_uint_eq(run->n_laps, LAPS);
		ck_assert_str_eq(run->session, "morning");
		ck_assert_str_eq(run->compound, "soft");
		ck_assert_str_eq(run->driver, "anna");
		ck_assert(run->has_wear_total[0] && run->wear_total[0] == 7.5);
		ck_assert(run->worn_at_start[1] == 2 && run->tyre_age.v == 4);
		ck_assert(run->track_temp.v == -5 && run->fuel_per_lap.v == 1.9 && !run->fuel.has);
		ck_assert(run->laps[19].worn[1] == 4.9 && run->laps[19].time == 91.5);
		ck_assert_str_eq(run->laps[3].skip, "rain");
		ck_assert_ptr_null(run->laps[4].skip); /* blank: a lap like others */
	}
	import_free(&in);
	buf_free(&text);
}
END_TEST

/* A file that has a column for each adjustable needs no sheet. */
START_TEST(a_run_of_no_sheet_gives_every_value)
{
	struct import in;
	struct faults f;
	struct buf text, values;
	char number[40];
	buf_init(&text);
	buf_init(&values);
	buf_adds(&text, "run,time");
	buf_adds(&values, "y1,91.5");
	for (size_t i = 0; i < b.car.n_adjustables; i++) {
		fix_print(b.sheets[0].values[i], number, sizeof number);
		buf_addf(&text, ",%s", b.car.adjustables[i].id);
		buf_addf(&values, ",%s", number);
	}
	buf_addf(&text, "\n%s\n", values.data);
	ck_assert_msg(import(text.data, &in, &f), "%s", f.n ? f.list[0].text : "");
	ck_assert_uint_eq(in.n, 1);
	ck_assert_str_eq(in.runs[0].sheet, "");
	for (size_t i = 0; i < b.car.n_adjustables; i++)
		ck_assert(in.runs[0].values[i] == b.sheets[0].values[i]);
	import_free(&in);
	/* One of them blank: then there is nothing to take it from. */
	*strrchr(text.data, ',') = '\0';
	text.len = strlen(text.data);
	buf_adds(&text, ",\n");
	ck_assert(!import(text.data, &in, &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "names no sheet; name one, or give every"));
	faults_free(&f);
	buf_free(&values);
	buf_free(&text);
}
END_TEST

START_TEST(a_zero_byte_is_no_text)
{
	static const char text[] = "run,sheet,time,skip\nr1,quick-base,91,a\0b\n";
	struct import in;
	struct faults f;
	faults_init(&f);
	test_write(csv, text, sizeof text - 1);
	ck_assert(!import_csv(&in, &b, csv, &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert(f.list[0].line == 2 && f.list[0].col == 18);
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "the reason holds a zero byte"));
	faults_free(&f);
	/* Nor the end of one. */
	static const char head[] = "run,sheet,time\0x\nr1,quick-base,91\n";
	test_write(csv, head, sizeof head - 1);
	ck_assert(!import_csv(&in, &b, csv, &f));
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "unknown column 'time^@x'"));
	faults_free(&f);
	static const char two[] = "run,time,sheet\nr1,91,quick-base\nr1,91,quick-base\0x\n";
	test_write(csv, two, sizeof two - 1);
	ck_assert(!import_csv(&in, &b, csv, &f));
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "differs from 'quick-base' on line 2"));
	faults_free(&f);
}
END_TEST

/* Files that are long in one way each; all but the last row or so is the same work again. */
enum kind { RUNS, ROWS_BAD, COLUMNS, SAME_COLUMNS, LAPS, SAME_LAPS, ROWS_OF_TWO };

static char *make_long(enum kind kind, size_t n)
{
	struct buf text;
	buf_init(&text);
	buf_adds(&text, kind == COLUMNS || kind == SAME_COLUMNS ? "run" : "run,sheet,lap,time\n");
	for (size_t i = 1; i <= n; i++) {
		if (kind == RUNS)
			buf_addf(&text, "x%zu,quick-base,1,91.5\n", i);
		else if (kind == ROWS_BAD)
			buf_addf(&text, "R%zu,,,\n", i);
		else if (kind == COLUMNS)
			buf_addf(&text, ",c%zu", i);
		else if (kind == SAME_COLUMNS)
			buf_adds(&text, ",c");
		else if (kind == ROWS_OF_TWO)
			buf_addf(&text, "x%zu,quick-base,%zu,91.5\n", i % 2, i);
		else
			buf_addf(&text, "x,quick-base,%zu,91.5\n", kind == LAPS ? i : 1);
	}
	return buf_take(&text);
}

/* Seconds of the processor, the least of three. */
static double spent(enum kind kind, size_t n)
{
	char *text = make_long(kind, n);
	double least = 1e9;
	ck_assert_ptr_nonnull(text);
	test_write(csv, text, strlen(text));
	free(text);
	for (int i = 0; i < 3; i++) {
		struct import in;
		struct faults f;
		faults_init(&f);
		const clock_t from = clock();
		if (import_csv(&in, &b, csv, &f))
			import_free(&in);
		const double took = (double)(clock() - from) / CLOCKS_PER_SEC;
		least = took < least ? took : least;
		ck_assert_uint_le(f.n, FAULTS_MAX);
		faults_free(&f);
	}
	return least;
}

/* Four times the file takes four times as long, where linear searches took sixteen. The machine may
 * be busy with other things: once in five is enough. */
START_TEST(time_grows_with_the_size)
{
	static const struct {
		enum kind kind;
		size_t n;
	} long_ones[] = {{ROWS_BAD, 10000}, {COLUMNS, 5000}, {SAME_COLUMNS, 5000}, {LAPS, 5000},
		{SAME_LAPS, 5000}, {RUNS, 740}, {ROWS_OF_TWO, 5000}};
	double once = 0, four_times = 0;
	bool good = false;
	for (int i = 0; i < 5 && !good; i++) {
		once = spent(long_ones[_i].kind, long_ones[_i].n);
		four_times = spent(long_ones[_i].kind, 4 * long_ones[_i].n);
		good = four_times < 9 * once;
	}
	ck_assert_msg(good, "%g s, four times as much %g s", once, four_times);
}
END_TEST

static void import_runs(size_t n, struct import *in, struct faults *f, bool good)
{
	char *text = make_long(RUNS, n);
	ck_assert_ptr_nonnull(text);
	ck_assert(import(text, in, f) == good);
	free(text);
}

START_TEST(a_file_brings_so_many_runs_and_no_more)
{
	struct import in;
	struct faults f;
	import_runs(IMPORT_RUNS_MAX, &in, &f, true);
	ck_assert_uint_eq(in.n, IMPORT_RUNS_MAX);
	import_free(&in);
	import_runs(2 * IMPORT_RUNS_MAX, &in, &f, false);
	ck_assert_uint_eq(f.total, 1);
	ck_assert_uint_eq(f.list[0].line, IMPORT_RUNS_MAX + 2);
	ck_assert_ptr_nonnull(
		strstr(f.list[0].text, "run x3001 is one too many; a file brings at most 3000"));
	faults_free(&f);
}
END_TEST

/* What the book has is told once, however many rows; each lap that stands twice is. */
START_TEST(ids_and_numbers_are_told_where_they_come_again)
{
	struct import in;
	struct faults f;
	ck_assert(import("run,sheet,time\nr7,quick-base,91\n", &in, &f));
	struct err e;
	ck_assert(store_new_runs(&b, in.runs, in.n, &e));
	import_free(&in);
	book_free(&b);
	load();
	ck_assert(!import("run,sheet,lap,time\nr8,quick-base,2,91\nr7,quick-base,1,91\nr8,,1,91\n"
			  "r7,,2,91\nr8,,2,91\nr8,,x,91\nr8,,2,91\nr8,,x,91\n",
		&in, &f));
	static const struct {
		size_t line;
		const char *says;
	} want[] = {{3, "the book has a run 'r7' already"},
		{6, "lap 2 of run r8 stands twice; first on line 2"},
		{7, "lap 'x' is no whole number"},
		{8, "lap 2 of run r8 stands twice; first on line 2"},
		{9, "lap 'x' is no whole number"}};
	ck_assert_uint_eq(f.total, 5);
	for (size_t i = 0; i < 5; i++)
		ck_assert_msg(
			f.list[i].line == want[i].line && strstr(f.list[i].text, want[i].says),
			"%zu: %s", f.list[i].line, f.list[i].text);
	faults_free(&f);
}
END_TEST

static const struct {
	const char *text;
	size_t line, col;
	const char *says;
} broken[] = {
	/* The number that is not there, whatever the order of the others. */
	{"run,sheet,time,lap\nr1,quick-base,91,1\nr1,,92,5\nr1,,92,2\n", 2, 1,
		"run r1 has 3 laps but none with number 3"},
	{"run,sheet,time,lap\nr1,quick-base,91,4\nr1,,92,5\nr1,,92,2\n", 2, 1,
		"run r1 has 3 laps but none with number 1"},
	{"run,sheet,time,lap\nr1,quick-base,91,one\n", 2, 18, "lap 'one' is no whole number"},
	{"run,sheet,time,lap\nr1,quick-base,91,1.5\n", 2, 18, "lap '1.5' is no whole number"},
	{"run,sheet,time,lap\nr1,quick-base,91,100001\n", 2, 18, "lap '100001' is no whole"},
	{"run,sheet,time,lap\nr1,quick-base,91,\n", 2, 18, "lap '' is no whole number"},
	{"run,sheet,time,segment-s1-time\nr1,quick-base,91,92\n", 2, 1,
		"run r1: the segments given"},
	{"run,sheet,time,segment-s1-time\nr1,quick-base,91,x\n", 2, 18, "'x' is not a lap time"},
	{"run,sheet,time,segment-s99-time\nr1,quick-base,91,9\n", 1, 16,
		"segment-ID-time or segment-ID-wear-front|rear"},
	{"run,sheet,time,segment-s1-wear-fl\nr1,quick-base,91,9\n", 1, 16, "unknown column"},
	{"run,sheet,time,segment-s1-wear-rear\nr1,quick-base,91,-1\n", 2, 18, "out of range"},
	{"run,time,colour\nr1,91,x\n", 1, 10, "unknown column 'colour'; allowed: run, sheet"},
	{"run,time,wear-fl\nr1,91,2\n", 1, 10, "wear-total-front|rear"},
	{"run;time\nr1;91\n", 1, 1, "parted by semicolons"},
	{"run,lap\nr1,1\n", 1, 1, "the column 'time' is missing"},
	{"run,time,time\nr1,91,91\n", 1, 10, "stands twice"},
	{"run,sheet,time\nr1,quick-base\n", 2, 1, "the row has 2 fields; the header has 3 columns"},
	{"run,sheet,time\nR 1,quick-base,91\n", 2, 1, "'R 1' is no id"},
	{"run,sheet,time\nr1,quick-base,\n", 2, 15, "the time is missing"},
	{"run,sheet,time\nr1,quick-base,0\n", 2, 15, "'0' is not a lap time"},
	{"run,sheet,time\nr1,quick-base,\"1:31,2\"\n", 2, 15,
		"'1:31,2' is not a lap time; write a point"},
	{"run,sheet,time\nr1,quick-base,91\nr1,,\"91,2\"\n", 3, 5,
		"'91,2' is not a lap time; write a point, not a comma"},
	{"run,sheet,time\nr1,none,91\n", 2, 4, "the book has no sheet 'none'"},
	{"run,time\nr1,91\n", 2, 1, "run r1 names no sheet"},
	{"run,sheet,time,date\nr1,quick-base,91,14.3.2026\n", 2, 18, "write YYYY-MM-DDTHH:MM"},
	{"run,sheet,time,fuel\nr1,quick-base,91,20\nr1,,92,21\n", 3, 8,
		"'21' differs from '20' on line 2"},
	{"run,sheet,time,lap\nr1,quick-base,91,1\nr1,,92,1\n", 3, 8,
		"lap 1 of run r1 stands twice; first on line 2"},
	{"run,sheet,time,lap\nr1,quick-base,91,1\nr1,,92,3\n", 2, 1, "none with number 2"},
	{"run,sheet,time,lap\nr1,quick-base,91,0\n", 2, 18, "laps count from 1"},
	{"run,sheet,time,effort\nr1,quick-base,91,200\n", 2, 18,
		"out of range; above 0 and at most 150"},
	{"run,sheet,time,wear-front\nr1,quick-base,91,1.2.3\n", 2, 18, "'1.2.3' is not a number"},
	{"run,sheet,time,front-wing\nr1,quick-base,91,8.3\n", 2, 18, "off its step of 0.5 deg"},
	{"run,sheet,time,worn-front\nr1,quick-base,91,8.3\n", 2, 1,
		"run r1: worn for front but no worn-at-start"},
	{"run,sheet,time,skip\nr1,quick-base,91,\xFF\n", 2, 18, "not UTF-8"},
	{"run,sheet,time\n", 1, 1, "a header but no laps"},
	{"", 1, 1, "is empty; a header row"},
	{"run,sheet,time\nr1,\"quick-base,91\n", 2, 4, "begins here and is never closed"},
	{"run,sheet,time\nr1,quick\"base,91\n", 2, 9, "a quote stands where none may"},
};

START_TEST(each_fault_has_line_and_column)
{
	struct import in;
	struct faults f;
	ck_assert(!import(broken[_i].text, &in, &f));
	ck_assert_uint_ge(f.n, 1);
	ck_assert_msg(strstr(f.list[0].text, broken[_i].says) != NULL &&
			      f.list[0].line == broken[_i].line && f.list[0].col == broken[_i].col,
		"wanted %zu:%zu %s, got %zu:%zu %s", broken[_i].line, broken[_i].col,
		broken[_i].says, f.list[0].line, f.list[0].col, f.list[0].text);
	ck_assert_msg(strchr(f.list[0].text, ';') != NULL, "%s", f.list[0].text);
	ck_assert_ptr_null(in.runs);
	faults_free(&f);
}
END_TEST

START_TEST(all_faults_are_listed)
{
	struct import in;
	struct faults f;
	ck_assert(!import(
		"run,sheet,time,effort\nr1,quick-base,x,-1\nr2,none,91,\nr1,,91,y\n", &in, &f));
	ck_assert_uint_eq(f.total, 4);
	static const size_t lines[] = {2, 2, 3, 4};
	for (size_t i = 0; i < 4; i++)
		ck_assert_uint_eq(f.list[i].line, lines[i]);
	faults_free(&f);
}
END_TEST

static struct test_said program(const char *a, const char *c, const char *d, const char *e)
{
	const char *argv[] = {test_program(), a, dir, c, d, e, NULL};
	return test_run(argv);
}

START_TEST(the_subcommand_writes_all_or_nothing)
{
	static const char bad[] = "run,sheet,time\nr1,quick-base,91\nr2,quick-base,oops\n";
	static const char good[] = "run,sheet,time\nr1,quick-base,91\nr2,quick-base,92\n";
	char *run = in_folder("b/runs/r1.yaml");
	test_write(csv, bad, sizeof bad - 1);
	struct test_said said = program("log", "--csv", csv, NULL);
	ck_assert_int_eq(said.status, 2);
	ck_assert_str_eq(said.out, "");
	ck_assert_ptr_nonnull(strstr(said.err, "laps.csv:3:15: 'oops' is not a lap time"));
	ck_assert_int_ne(access(run, F_OK), 0);
	test_said_free(&said);
	test_write(csv, good, sizeof good - 1);
	said = program("log", "--csv", csv, "--dry-run");
	ck_assert_int_eq(said.status, 0);
	ck_assert_ptr_nonnull(strstr(said.out, "nothing was written"));
	ck_assert_int_ne(access(run, F_OK), 0);
	test_said_free(&said);
	said = program("log", "--csv", csv, "--json");
	ck_assert_int_eq(said.status, 0);
	ck_assert_ptr_nonnull(strstr(said.out, "\"written\": true"));
	ck_assert_int_eq(access(run, F_OK), 0);
	test_said_free(&said);
	said = program("check", NULL, NULL, NULL);
	ck_assert_ptr_nonnull(strstr(said.out, "runs: 2, laps: 2"));
	test_said_free(&said);
	free(run);
}
END_TEST

START_TEST(a_new_book_from_profiles)
{
	char *made = in_folder("made");
	const char *argv[] = {test_program(), "new", made, "--car", "larkspur-20", "--circuit",
		"harrow-fen", "--channels", "fl,fr,rl,rr", "--value", "front-wing=8.5", NULL};
	struct test_said said = test_run(argv);
	ck_assert_int_eq(said.status, 0);
	ck_assert_ptr_nonnull(strstr(said.out, "17 of 18 values are the middle of their limits"));
	test_said_free(&said);
	struct book n;
	struct faults f;
	faults_init(&f);
	book_init(&n);
	ck_assert(store_load_book(&n, made, &f));
	ck_assert_uint_eq(n.n_channels, 4);
	ck_assert(n.sheets[0].values[0] == 8500000);
	book_free(&n);
	said = test_run(argv);
	ck_assert_int_eq(said.status, 2);
	ck_assert_ptr_nonnull(strstr(said.err, "there is a book already"));
	test_said_free(&said);
	const char *less[] = {test_program(), "new", folder, "--circuit", "harrow-fen", NULL};
	said = test_run(less);
	ck_assert_int_eq(said.status, 2);
	ck_assert_ptr_nonnull(strstr(said.err, "--car is missing; there are: larkspur-20"));
	test_said_free(&said);
	free(made);
}
END_TEST

/* A book without a run: what is asked wrongly is bad use, what cannot be told yet a failure. */
START_TEST(a_new_book_is_told_in_json_and_can_say_little)
{
	char *made = in_folder("made");
	ck_assert_int_eq(mkdir(made, 0777), 0); /* an empty folder will do */
	const char *make[] = {test_program(), "new", made, "--car", "larkspur-20", "--circuit",
		"harrow-fen", "--json", NULL};
	struct test_said said = test_run(make);
	ck_assert_msg(said.status == 0, "%s", said.err);
	ck_assert_ptr_nonnull(strstr(said.out, "\"reference\": \"base\""));
	ck_assert_ptr_nonnull(strstr(said.out, "\"values-in-the-middle\": 18"));
	test_said_free(&said);
	static const struct {
		const char *words[3];
		int status;
	} cases[] = {{{"suggest", NULL}, 1}, {{"suggest", "--save", "tyres"}, 2},
		{{"suggest", "--save", "front"}, 1}, {{"plan", "--kind", "next"}, 1},
		{{"plan", "--kind", "nest"}, 2}, {{"stint", "base", NULL}, 1},
		{{"stint", "nobody", NULL}, 2}};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		const char *ask[] = {test_program(), cases[i].words[0], made, cases[i].words[1],
			cases[i].words[2], NULL};
		said = test_run(ask);
		ck_assert_msg(said.status == cases[i].status && said.out_len == 0, "%zu: %d %s", i,
			said.status, said.err);
		test_said_free(&said);
	}
	free(made);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("import");
	TCase *t = tcase_create("csv");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, cells_know_their_places);
	tcase_add_test(t, good_laps_become_runs);
	tcase_add_test(t, segments_come_along);
	tcase_add_test(t, lines_end_as_anybody_ends_them);
	tcase_add_test(t, many_runs_with_all_that_there_is);
	tcase_add_test(t, a_run_of_no_sheet_gives_every_value);
	tcase_add_test(t, a_zero_byte_is_no_text);
	tcase_add_loop_test(t, each_fault_has_line_and_column, 0, sizeof broken / sizeof broken[0]);
	tcase_add_test(t, all_faults_are_listed);
	tcase_add_test(t, ids_and_numbers_are_told_where_they_come_again);
	tcase_add_test(t, a_file_brings_so_many_runs_and_no_more);
	tcase_add_loop_test(t, time_grows_with_the_size, 0, 7);
	tcase_add_test(t, the_subcommand_writes_all_or_nothing);
	tcase_add_test(t, a_new_book_from_profiles);
	tcase_add_test(t, a_new_book_is_told_in_json_and_can_say_little);
	suite_add_tcase(s, t);
	return s;
}
