/* Errors, numbers, texts. */
#include "base/err.h"
#include "base/fix.h"
#include "base/text.h"
#include "support/support.h"

#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static enum num_result num(const char *s, double *v)
{
	return num_parse(s, strlen(s), v);
}

static enum num_result fixed(const char *s, fix *v)
{
	return fix_parse(s, strlen(s), v);
}

/* Values by IEEE 754: nearest double, ties to even; 2^53 + 1 is the classic tie. */
START_TEST(numbers_are_the_nearest_double)
{
	static const struct {
		const char *text;
		double want;
	} cases[] = {
		{"0", 0},
		{"-0", 0},
		{"91.243", 91.243},
		{"1e2", 100},
		{"1E+2", 100},
		{"25e-1", 2.5},
		{"9007199254740993", 9007199254740992.0},
		{"9007199254740995", 9007199254740996.0},
		{"1.7976931348623157e308", 0x1.fffffffffffffp1023},
		{"2.2250738585072011e-308", 0x0.fffffffffffffp-1022},
		{"5e-324", 0x1p-1074},
		{"1e-999", 0},
		{"0.1", 0x1.999999999999ap-4},
		{"007", 7},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		double v = NAN;
		ck_assert_msg(num(cases[i].text, &v) == NUM_OK, "%s", cases[i].text);
		ck_assert_msg(v == cases[i].want, "%s gave %.17g", cases[i].text, v);
	}
}
END_TEST

START_TEST(what_is_no_number_is_refused)
{
	static const struct {
		const char *text;
		enum num_result want;
	} cases[] = {
		{"", NUM_SYNTAX},
		{"nan", NUM_SYNTAX},
		{"inf", NUM_SYNTAX},
		{"-inf", NUM_SYNTAX},
		{"0x10", NUM_SYNTAX},
		{" 1", NUM_SYNTAX},
		{"1 ", NUM_SYNTAX},
		{"+1", NUM_SYNTAX},
		{"1_000", NUM_SYNTAX},
		{".5", NUM_SYNTAX},
		{"5.", NUM_SYNTAX},
		{"1e", NUM_SYNTAX},
		{"1e+", NUM_SYNTAX},
		{"1.2.3", NUM_SYNTAX},
		{"--1", NUM_SYNTAX},
		{"1,5", NUM_COMMA},
		{"-1,5e3", NUM_COMMA},
		{"1,5,2", NUM_SYNTAX},
		{"1,", NUM_SYNTAX},
		{"1e999", NUM_RANGE},
		{"-1e309", NUM_RANGE},
		{"1e99999999999999999999", NUM_RANGE},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		double v = 42;
		ck_assert_msg(num(cases[i].text, &v) == cases[i].want, "%s", cases[i].text);
		ck_assert(v == 42);
	}
	ck_assert_int_eq(num_parse("1\0", 2, &(double){0}), NUM_SYNTAX);
	ck_assert_ptr_nonnull(strstr(num_explain(NUM_COMMA), "1.5, not 1,5"));
}
END_TEST

START_TEST(fixed_point_is_exact)
{
	static const struct {
		const char *text;
		enum num_result r;
		fix want;
	} cases[] = {
		{"-3.2", NUM_OK, -3200000},
		{"130", NUM_OK, 130000000},
		{"0.000001", NUM_OK, 1},
		{"0.0000010", NUM_OK, 1},
		{"0.0000001", NUM_DECIMALS, 0},
		{"1.5e1", NUM_OK, 15000000},
		{"25e-7", NUM_DECIMALS, 0},
		{"20e-7", NUM_OK, 2},
		{"1e9", NUM_OK, FIX_LIMIT},
		{"1000000000.000001", NUM_RANGE, 0},
		{"1e99999", NUM_RANGE, 0},
		{"0e99999", NUM_OK, 0},
		{"-0", NUM_OK, 0},
		{"1,5", NUM_COMMA, 0},
		{"x", NUM_SYNTAX, 0},
		{"0.1", NUM_OK, 100000},
		{"00000000000000000000000000000012", NUM_OK, 12000000},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		fix v = 0;
		ck_assert_msg(fixed(cases[i].text, &v) == cases[i].r, "%s", cases[i].text);
		if (cases[i].r == NUM_OK)
			ck_assert_msg(
				v == cases[i].want, "%s gave %lld", cases[i].text, (long long)v);
	}
}
END_TEST

START_TEST(fixed_point_prints_and_reads_back)
{
	static const struct {
		fix v;
		int min;
		const char *want;
	} cases[] = {
		{-3200000, 0, "-3.2"},
		{-3200000, 2, "-3.20"},
		{130000000, 0, "130"},
		{1, 0, "0.000001"},
		{-20000, 1, "-0.02"},
		{0, 2, "0.00"},
		{0, 0, "0"},
		{-500000, 0, "-0.5"},
	};
	char buf[40];
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		int n = fix_print_min(cases[i].v, cases[i].min, buf, sizeof buf);
		ck_assert_str_eq(buf, cases[i].want);
		ck_assert_int_eq(n, (int)strlen(buf));
	}
	unsigned seed = 7;
	for (int i = 0; i < 100000; i++) {
		fix v = ((fix)rand_r(&seed) * 1000003 + rand_r(&seed)) % FIX_LIMIT, back;
		v = i % 2 ? v : -v;
		ck_assert_int_gt(fix_print(v, buf, sizeof buf), 0);
		ck_assert_int_eq(fixed(buf, &back), NUM_OK);
		ck_assert(back == v);
		/* Above 2^53 millionths the double no longer holds every one. */
		if (llabs(v) < (1LL << 52))
			ck_assert(fix_from_double(fix_to_double(v)) == v);
	}
	ck_assert_int_eq(fix_decimals(20000), 2);
	ck_assert_int_eq(fix_decimals(5000000), 0);
}
END_TEST

START_TEST(least_common_multiples)
{
	ck_assert(fix_lcm(500000, 200000) == 1000000);
	ck_assert(fix_lcm(100000, 100000) == 100000);
	ck_assert(fix_lcm(300000, 200000) == 600000);
	ck_assert(fix_lcm(999999999999989, 999999999999983) == 0);
	ck_assert(fix_lcm(0, 5) == 0);
}
END_TEST

/* Against the C library's own printf: halves, near halves, large, small. */
START_TEST(fixed_decimals_are_those_of_printf)
{
	static const double odd[] = {0, -0.0, 0.5, 1.5, 2.5, -0.5, 0.05, 0.15, 0.25, 1.005, 1.0005,
		2.675, 0.0005, 0.00049999999999999999, 999.9995, 1e9, 1e300, INFINITY, NAN};
	char got[400], want[400];
	unsigned seed = 11;
	for (int i = 0; i < 200000; i++) {
		const int d = i % 5;
		const int whole = (int)(rand_r(&seed) % 400001) - 200000;
		double v = i % 3 == 0 ? whole / 1000.0 : i % 3 == 1 ? whole / 10000.0 : whole / 7.0;
		if ((size_t)i < 5 * sizeof odd / sizeof odd[0])
			v = odd[i / 5];
		const int n = num_fixed(v, d, got, sizeof got);
		ck_assert_int_eq(n, snprintf(want, sizeof want, "%.*f", d, v));
		ck_assert_str_eq(got, want);
	}
	ck_assert_int_eq(num_fixed(123.456, 2, got, 4), 6); /* cut as snprintf() cuts */
	ck_assert_str_eq(got, "123");
}
END_TEST

START_TEST(doubles_print_shortest)
{
	static const struct {
		double v;
		const char *want;
	} cases[] = {{0.1, "0.1"}, {91.243, "91.243"}, {1.0 / 3, "0.3333333333333333"},

		{100, "100"}, {1e22, "1e+22"}, {0x1p-1074, "5e-324"}, {-2.5, "-2.5"}};
	char buf[40];
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		num_print(cases[i].v, buf, sizeof buf);
		ck_assert_str_eq(buf, cases[i].want);
	}
	unsigned seed = 3;
	for (int i = 0; i < 20000; i++) {
		double v = ldexp((double)rand_r(&seed) * 4294967296.0 + rand_r(&seed),
			rand_r(&seed) % 200 - 150);
		double back;
		num_print(v, buf, sizeof buf);
		ck_assert_int_eq(num(buf, &back), NUM_OK);
		ck_assert(back == v);
	}
}
END_TEST

START_TEST(lap_times_both_ways)
{
	static const struct {
		const char *text;
		enum num_result r;
		double want;
	} cases[] = {
		{"91.243", NUM_OK, 91.243},
		{"1:31.243", NUM_OK, 91.243},
		{"0:59.5", NUM_OK, 59.5},
		{"12:00", NUM_OK, 720},
		{"1:60.0", NUM_SYNTAX, 0},
		{"1:3.2", NUM_SYNTAX, 0},
		{"1:311.2", NUM_SYNTAX, 0},
		{"1:31.", NUM_SYNTAX, 0},
		{":31.2", NUM_SYNTAX, 0},
		{"-1:31.2", NUM_SYNTAX, 0},
		{"1:31,243", NUM_COMMA, 0},
		{"1:1:31.2", NUM_SYNTAX, 0},
		{"91,2", NUM_COMMA, 0},
		{"1:31.2e1", NUM_SYNTAX, 0},
		{"1:", NUM_SYNTAX, 0},
		{"1:3", NUM_SYNTAX, 0},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		double v = 0;
		enum num_result r = laptime_parse(cases[i].text, strlen(cases[i].text), &v);
		ck_assert_msg(r == cases[i].r, "%s gave %d", cases[i].text, (int)r);
		if (r == NUM_OK)
			ck_assert_msg(v == cases[i].want, "%s gave %.17g", cases[i].text, v);
	}
	char buf[40];
	laptime_print(91.243, 3, buf, sizeof buf);
	ck_assert_str_eq(buf, "1:31.243");
	laptime_print(59.9996, 3, buf, sizeof buf);
	ck_assert_str_eq(buf, "1:00.000");
	laptime_print(-0.05, 1, buf, sizeof buf);
	ck_assert_str_eq(buf, "-0:00.1");
	laptime_print(-0.0001, 3, buf, sizeof buf);
	ck_assert_str_eq(buf, "0:00.000");
	laptime_print(3599.9, 0, buf, sizeof buf);
	ck_assert_str_eq(buf, "60:00");
	laptime_tell(46.24, 2, buf, sizeof buf);
	ck_assert_str_eq(buf, "46.24");
	laptime_tell(59.9996, 3, buf, sizeof buf);
	ck_assert_str_eq(buf, "1:00.000");
	laptime_tell(59.9994, 3, buf, sizeof buf);
	ck_assert_str_eq(buf, "59.999");
	laptime_tell(91.243, 3, buf, sizeof buf);
	ck_assert_str_eq(buf, "1:31.243");
	laptime_tell(-5.25, 2, buf, sizeof buf);
	ck_assert_str_eq(buf, "-5.25");
	laptime_tell(-0.0001, 3, buf, sizeof buf);
	ck_assert_str_eq(buf, "0.000");
	laptime_tell(NAN, 3, buf, sizeof buf);
	ck_assert_str_eq(buf, "-");
}
END_TEST

START_TEST(numbers_ignore_the_locale)
{
	if (!setlocale(LC_ALL, "de_DE.UTF-8") && !setlocale(LC_ALL, "de_DE"))
		return;
	double v;
	char buf[40];
	ck_assert_int_eq(num("1.5", &v), NUM_OK);
	ck_assert(v == 1.5);
	num_print(1.5, buf, sizeof buf);
	ck_assert_str_eq(buf, "1.5");
	laptime_print(91.5, 1, buf, sizeof buf);
	ck_assert_str_eq(buf, "1:31.5");
	setlocale(LC_ALL, "C");
}
END_TEST

static bool dangerous(unsigned cp)
{
	return cp < 0x20 || (cp >= 0x7F && cp <= 0x9F) || cp == 0x61C ||
	       (cp >= 0x200B && cp <= 0x200F) || (cp >= 0x2028 && cp <= 0x202E) ||
	       (cp >= 0x2060 && cp <= 0x206F) || cp == 0xFEFF;
}

/* Plain tests: a Check assertion per character would take minutes under the sanitizers. */
static bool is_safe(const char *s, size_t len)
{
	char out[64];
	size_t n = text_safe(out, sizeof out, s, len);
	bool ok = n > 0;
	for (size_t i = 0, k; ok && i < n; i += k) {
		unsigned cp = 0;
		k = text_utf8_next(out + i, n - i, &cp);
		ok = k > 0 && !dangerous(cp);
	}
	n = text_safe_ascii(out, sizeof out, s, len);
	for (size_t i = 0; ok && i < n; i++)
		ok = out[i] >= 0x20 && out[i] < 0x7F;
	return ok;
}

START_TEST(no_control_gets_through)
{
	char s[8];
	for (unsigned cp = 0; cp <= 0x10FFFF; cp++) {
		if (cp >= 0xD800 && cp <= 0xDFFF)
			continue;
		size_t n = text_utf8_put(cp, s);
		unsigned back = 0;
		if (text_utf8_next(s, n, &back) != n || back != cp || !is_safe(s, n))
			ck_abort_msg("U+%04X", cp);
	}
	for (unsigned a = 0; a < 256; a++)
		for (unsigned b = 0; b < 256; b++) {
			s[0] = (char)a;
			s[1] = (char)b;
			s[2] = (char)0xED;
			s[3] = (char)0xA0;
			if (!is_safe(s, 2) || !is_safe(s, 4))
				ck_abort_msg("bytes %02X %02X", a, b);
		}
}
END_TEST

START_TEST(safe_text_is_never_cut_within_a_character)
{
	char out[8];
	ck_assert_uint_eq(text_safe(out, 5,
				  "ab\xE2\x82\xAC"
				  "cd",
				  7),
		2);
	ck_assert_str_eq(out, "ab");
	ck_assert_uint_eq(text_safe(out, 4, "ab\x1b[", 4), 2);
	ck_assert_uint_eq(text_safe(out, 8, "\xC3\xA9\x9B", 3), 7);
	ck_assert_str_eq(out, "\xC3\xA9<x9B>");
	ck_assert_uint_eq(text_safe(out, 8, "\x1b", 1), 2);
	ck_assert_str_eq(out, "^[");
	ck_assert_uint_eq(text_safe(out, 0, "x", 1), 0);
	/* RFC 3629, section 10: an overlong form is not UTF-8. */
	ck_assert(!text_utf8_valid("\xC0\x80", 2));
	ck_assert(!text_utf8_valid("\xED\xA0\x80", 3));
	ck_assert(!text_utf8_valid("\xF4\x90\x80\x80", 4));
	ck_assert(text_utf8_valid("\xF4\x8F\xBF\xBF", 4));
	/* bytes of RFC 3629, section 7 (from memory) */
	char put[4];
	ck_assert_uint_eq(text_utf8_put(0x2262, put), 3);
	ck_assert_mem_eq(put, "\xE2\x89\xA2", 3);
	ck_assert_uint_eq(text_utf8_put(0x233B4, put), 4);
	ck_assert_mem_eq(put, "\xF0\xA3\x8E\xB4", 4);
}
END_TEST

/* What a precision cut in two goes, the rest stays. */
START_TEST(half_characters_are_dropped)
{
	static const struct {
		const char *text, *is;
	} cases[] = {{"", ""}, {"plain", "plain"}, {"\xC3\xA9t\xC3\xA9", "\xC3\xA9t\xC3\xA9"},
		{"\xE7\xBF\xBC\xE7\xBF", "\xE7\xBF\xBC"}, {"a\xE7, b", "a, b"},
		{"\xF0\x9F\x91 x \xFF", " x "}};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		char text[32];
		snprintf(text, sizeof text, "%s", cases[i].text);
		ck_assert_ptr_eq(text_mend(text), text);
		ck_assert_str_eq(text, cases[i].is);
	}
}
END_TEST

START_TEST(ids)
{
	char longest[70];
	memset(longest, 'a', sizeof longest);
	ck_assert(text_is_id("a", 1) && text_is_id("0-9", 3) && text_is_id(longest, 64));
	ck_assert(!text_is_id(longest, 65) && !text_is_id("", 0) && !text_is_id("-a", 2));
	ck_assert(!text_is_id("A", 1) && !text_is_id("a.b", 3) && !text_is_id("a/b", 3));
	ck_assert(!text_is_id("a\0", 2) && !text_is_id("\xC3\xA9", 2) && !text_is_id("a_b", 3));
}
END_TEST

START_TEST(a_growing_string)
{
	struct buf b;
	buf_init(&b);
	for (int i = 0; i < 1000; i++)
		buf_addf(&b, "%d,", i % 10);
	ck_assert_uint_eq(b.len, 2000);
	char *s = buf_take(&b);
	ck_assert_ptr_nonnull(s);
	ck_assert_uint_eq(strlen(s), 2000);
	free(s);
	s = buf_take(&b);
	ck_assert_str_eq(s, "");
	free(s);
	b.failed = true;
	buf_adds(&b, "x");
	ck_assert_ptr_null(b.data);
	ck_assert_ptr_null(buf_take(&b));
}
END_TEST

START_TEST(errors_name_the_place)
{
	struct err e;
	char line[1200];
	err_clear(&e);
	ck_assert(!err_input(&e, "is %s", "bad\x1b[31m"));
	err_at(&e, "a/b.yaml", 3, 7);
	err_format(&e, line, sizeof line);
	ck_assert_str_eq(line, "treadlight: a/b.yaml:3:7: is bad^[[31m");
	ck_assert_int_eq(err_status(e.cls), 2);
	err_clear(&e);
	ck_assert(!err_memory(&e));
	err_format(&e, line, sizeof line);
	ck_assert_str_eq(line, "treadlight: out of memory");
	ck_assert_int_eq(err_status(e.cls), 1);
}
END_TEST

START_TEST(long_errors_are_cut_between_characters)
{
	struct err e;
	char text[2000] = "", path[1000] = "";
	for (int i = 0; i < 400; i++)
		strcat(text, "\xE2\x82\xAC");
	err_clear(&e);
	err_input(&e, "x%s", text);
	ck_assert(text_utf8_valid(e.text, strlen(e.text)));
	ck_assert_uint_ge(strlen(e.text), sizeof e.text - 4);
	for (int i = 0; i < 200; i++)
		strcat(path, "\xC3\xA9");
	strcat(path, "/end.yaml");
	err_at(&e, path, 0, 0);
	ck_assert(text_utf8_valid(e.file, strlen(e.file)));
	ck_assert_ptr_nonnull(strstr(e.file, "/end.yaml"));
	ck_assert_ptr_nonnull(strstr(e.file, "..."));
}
END_TEST

START_TEST(faults_are_counted_beyond_what_is_kept)
{
	struct faults f;
	struct err e;
	faults_init(&f);
	ck_assert_int_eq(faults_class(&f), ERR_NONE);
	for (int i = 0; i < 500; i++) {
		err_clear(&e);
		err_input(&e, "number %d", i);
		faults_add(&f, &e);
	}
	ck_assert_uint_eq(f.n, FAULTS_MAX);
	ck_assert_uint_eq(f.total, 500);
	ck_assert_str_eq(f.list[FAULTS_MAX - 1].text, "number 199");
	ck_assert_int_eq(faults_class(&f), ERR_INPUT);
	err_failed(&f.list[4], "disk");
	ck_assert_int_eq(faults_class(&f), ERR_FAILED);
	faults_free(&f);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("base");
	TCase *t = tcase_create("numbers");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, numbers_are_the_nearest_double);
	tcase_add_test(t, what_is_no_number_is_refused);
	tcase_add_test(t, fixed_point_is_exact);
	tcase_add_test(t, fixed_point_prints_and_reads_back);
	tcase_add_test(t, least_common_multiples);
	tcase_add_test(t, fixed_decimals_are_those_of_printf);
	tcase_add_test(t, doubles_print_shortest);
	tcase_add_test(t, lap_times_both_ways);
	tcase_add_test(t, numbers_ignore_the_locale);
	suite_add_tcase(s, t);
	t = tcase_create("texts");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, no_control_gets_through);
	tcase_add_test(t, safe_text_is_never_cut_within_a_character);
	tcase_add_test(t, half_characters_are_dropped);
	tcase_add_test(t, ids);
	tcase_add_test(t, a_growing_string);
	suite_add_tcase(s, t);
	t = tcase_create("errors");
	tcase_add_test(t, errors_name_the_place);
	tcase_add_test(t, long_errors_are_cut_between_characters);
	tcase_add_test(t, faults_are_counted_beyond_what_is_kept);
	suite_add_tcase(s, t);
	return s;
}
