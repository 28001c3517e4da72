/*
 * Designs against tests/data/designs: the published Plackett-Burman rows, conference
 * matrices and definitive screening designs, and their stated properties.
 */
#include "plan/design.h"
#include "support/support.h"
#include "support/table.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void check_same(const struct design *d, const char *name)
{
	struct table t = table_read(name);
	ck_assert_uint_eq(d->runs, t.rows);
	ck_assert_uint_eq(d->factors, t.cols);
	for (size_t r = 0; r < t.rows; r++)
		for (size_t f = 0; f < t.cols; f++)
			ck_assert_msg(design_at(d, r, f) == (int)table_at(&t, r, f),
				"%s: run %zu, factor %zu", name, r + 1, f + 1);
	table_free(&t);
}

static const size_t pb_sizes[] = {8, 12, 16, 20, 24};

/* Plackett & Burman (1946): rows as published, X'X = N I with the column of ones. */
START_TEST(plackett_burman_is_the_published_one)
{
	size_t n = pb_sizes[_i];
	struct design d;
	struct err e = {0};
	char name[64];
	ck_assert(design_plackett_burman(&d, n, &e));
	snprintf(name, sizeof name, "designs/pb_N%02zu.csv", n);
	check_same(&d, name);
	for (size_t a = 0; a < d.factors; a++) {
		ck_assert_int_eq(design_sum(&d, a), 0);
		for (size_t b = 0; b < d.factors; b++)
			ck_assert_int_eq(design_gram(&d, a, b), a == b ? (long)n : 0);
	}
	ck_assert_double_eq_tol(design_d_efficiency(&d, d.runs), 100, 1e-10);
	design_free(&d);
}
END_TEST

/* How many (i; j < k) triples have that alias value, pb_properties.csv. */
static size_t count_alias(const struct design *d, double value)
{
	size_t n = 0;
	for (size_t i = 0; i < d->factors; i++)
		for (size_t j = 0; j < d->factors; j++)
			for (size_t k = j + 1; k < d->factors; k++)
				if (i != j && i != k)
					n += fabs((double)design_alias(d, i, j, k) /
							     (double)d->runs -
						     value) < 1e-12;
	return n;
}

START_TEST(plackett_burman_aliases_as_tabled)
{
	struct table t = table_read("designs/pb_properties.csv");
	for (size_t r = 0; r < t.rows; r++) {
		struct design d;
		struct err e = {0};
		ck_assert(design_plackett_burman(&d, (size_t)table_number(&t, r, "N"), &e));
		double value = table_number(&t, r, "alias_value");
		ck_assert_uint_eq(count_alias(&d, value), (size_t)table_number(&t, r, "triples"));
		ck_assert_uint_eq(d.factors, (size_t)table_number(&t, r, "factors_max"));
		design_free(&d);
	}
	table_free(&t);
}
END_TEST

/* Folded over, main effects are clear of two-factor interactions (published.yaml). */
START_TEST(fold_over_clears_main_effects)
{
	struct design d;
	struct err e = {0};
	size_t n = pb_sizes[_i];
	ck_assert(design_screening(&d, n - 1, true, &e));
	ck_assert_uint_eq(d.runs, 2 * n);
	for (size_t a = 0; a < d.factors; a++)
		for (size_t b = 0; b < d.factors; b++) {
			ck_assert_int_eq(design_gram(&d, a, b), a == b ? 2 * (long)n : 0);
			for (size_t c = b + 1; c < d.factors; c++)
				ck_assert_int_eq(design_alias(&d, a, b, c), 0);
		}
	design_free(&d);
}
END_TEST

START_TEST(screening_takes_the_smallest_that_fits)
{
	for (size_t k = 1; k <= DESIGN_SCREENING_MAX; k++) {
		struct design d;
		struct err e = {0};
		ck_assert(design_screening(&d, k, false, &e));
		size_t runs = k < 8 ? 8 : k < 12 ? 12 : k < 16 ? 16 : k < 20 ? 20 : 24;
		ck_assert_uint_eq(d.runs, runs);
		ck_assert_uint_eq(d.factors, k);
		design_free(&d);
	}
}
END_TEST

static const size_t orders[] = {4, 6, 8, 10, 12, 14, 16, 18, 20, 24};

/* Paley (1933): as constructed there, C'C = (m - 1) I, zero diagonal. */
START_TEST(conference_matrix_is_the_tabled_one)
{
	size_t m = orders[_i];
	struct design d;
	struct err e = {0};
	char name[64];
	ck_assert(design_conference(&d, m, &e));
	snprintf(name, sizeof name, "designs/conference_C%02zu.csv", m);
	check_same(&d, name);
	int sign = m % 4 == 2 ? 1 : -1;
	for (size_t a = 0; a < m; a++)
		for (size_t b = 0; b < m; b++) {
			ck_assert_int_eq(design_gram(&d, a, b), a == b ? (long)m - 1 : 0);
			ck_assert_int_eq(design_at(&d, a, b), sign * design_at(&d, b, a));
		}
	design_free(&d);
}
END_TEST

START_TEST(definitive_for_six_is_the_tabled_one)
{
	struct design d;
	struct err e = {0};
	ck_assert(design_definitive(&d, 6, &e));
	check_same(&d, "designs/dsd_m06.csv");
	design_free(&d);
}
END_TEST

/* Sum over the runs of a column times another's square. */
static long gram_square(const struct design *d, size_t a, size_t b)
{
	return design_alias(d, a, b, b);
}

/* Correlation of two squares about their means. */
static double square_correlation(const struct design *d, size_t a, size_t b)
{
	double n = (double)d->runs, saa = 0, sab = 0;
	double ma = (double)design_gram(d, a, a) / n, mb = (double)design_gram(d, b, b) / n;
	double sbb = 0;
	for (size_t r = 0; r < d->runs; r++) {
		double x = design_at(d, r, a) * design_at(d, r, a) - ma;
		double y = design_at(d, r, b) * design_at(d, r, b) - mb;
		saa += x * x;
		sbb += y * y;
		sab += x * y;
	}
	return sab / sqrt(saa * sbb);
}

/* Main effects clear of one another, of squares and of two-factor interactions. */
static void check_clear(const struct design *d)
{
	for (size_t a = 0; a < d->factors; a++) {
		ck_assert_int_eq(design_sum(d, a), 0);
		for (size_t b = 0; b < d->factors; b++) {
			if (b != a)
				ck_assert_int_eq(design_gram(d, a, b), 0);
			ck_assert_int_eq(gram_square(d, a, b), 0);
			for (size_t c = b + 1; c < d->factors; c++)
				ck_assert_int_eq(design_alias(d, a, b, c), 0);
		}
	}
}

/* Jones & Nachtsheim (2011), Xiao, Lin & Bai (2012): dsd_properties.csv. */
START_TEST(definitive_has_the_stated_properties)
{
	struct table t = table_read("designs/dsd_properties.csv");
	for (size_t r = 0; r < t.rows; r++) {
		struct design d;
		struct err e = {0};
		size_t m = (size_t)table_number(&t, r, "m");
		ck_assert(design_definitive(&d, m, &e));
		ck_assert_uint_eq(d.runs, (size_t)table_number(&t, r, "runs"));
		check_clear(&d);
		ck_assert_int_eq(
			design_gram(&d, 0, 0), (long)table_number(&t, r, "main_effect_gram"));
		ck_assert_double_eq_tol(square_correlation(&d, 0, 1),
			table_number(&t, r, "quadratic_correlation"), 1e-9);
		ck_assert_double_eq_tol(design_d_efficiency(&d, d.runs),
			table_number(&t, r, "d_eff_main_percent"), 1e-6);
		ck_assert_double_eq_tol(design_d_efficiency(&d, d.runs - 1),
			table_number(&t, r, "d_eff_main_without_centre_percent"), 1e-6);
		design_free(&d);
	}
	table_free(&t);
}
END_TEST

/* Published D-efficiencies. 80.36135: public notebook (D. Ongari), m = 5, 13 runs. The
 * four others: Xiao, Lin & Bai (2012), from memory, without the centre run. */
START_TEST(definitive_reaches_the_printed_efficiencies)
{
	static const struct {
		size_t m;
		double percent, tolerance;
		size_t without;
	} printed[] = {{5, 80.36135, 5e-6, 0}, {6, 85.5, 0.05, 1}, {8, 88.8, 0.05, 1},
		{10, 90.9, 0.05, 1}, {12, 92.3, 0.05, 1}};
	for (size_t i = 0; i < sizeof printed / sizeof printed[0]; i++) {
		struct design d;
		struct err e = {0};
		ck_assert(design_definitive(&d, printed[i].m, &e));
		ck_assert_double_eq_tol(design_d_efficiency(&d, d.runs - printed[i].without),
			printed[i].percent, printed[i].tolerance);
		design_free(&d);
	}
}
END_TEST

START_TEST(every_number_of_factors_has_a_definitive_plan)
{
	for (size_t m = 1; m <= DESIGN_DEFINITIVE_MAX; m++) {
		struct design d;
		struct err e = {0};
		ck_assert(design_definitive(&d, m, &e));
		ck_assert_uint_eq(d.factors, m);
		check_clear(&d);
		design_free(&d);
	}
}
END_TEST

START_TEST(one_at_a_time_moves_one)
{
	struct design d;
	struct err e = {0};
	ck_assert(design_one_at_a_time(&d, 5, &e));
	ck_assert_uint_eq(d.runs, 10);
	for (size_t r = 0; r < d.runs; r++)
		for (size_t f = 0; f < d.factors; f++)
			ck_assert_int_eq(design_at(&d, r, f), r % 5 == f ? (r < 5 ? -1 : 1) : 0);
	design_free(&d);
}
END_TEST

START_TEST(what_no_design_holds_is_refused)
{
	struct design d;
	struct err e = {0};
	ck_assert(!design_screening(&d, 24, false, &e));
	ck_assert_int_eq(e.cls, ERR_INPUT);
	ck_assert_ptr_nonnull(strstr(e.text, "1 to 23"));
	ck_assert(!design_screening(&d, 0, false, &e));
	ck_assert(!design_definitive(&d, 25, &e));
	ck_assert_ptr_nonnull(strstr(e.text, "1 to 24"));
	ck_assert(!design_conference(&d, 22, &e));
	ck_assert(!design_conference(&d, 7, &e));
	ck_assert(!design_plackett_burman(&d, 10, &e));
	ck_assert_ptr_null(d.x);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("design");
	TCase *t = tcase_create("published");
	tcase_add_loop_test(t, plackett_burman_is_the_published_one, 0, 5);
	tcase_add_test(t, plackett_burman_aliases_as_tabled);
	tcase_add_loop_test(t, fold_over_clears_main_effects, 0, 5);
	tcase_add_loop_test(t, conference_matrix_is_the_tabled_one, 0, 10);
	tcase_add_test(t, definitive_for_six_is_the_tabled_one);
	tcase_add_test(t, definitive_has_the_stated_properties);
	tcase_add_test(t, definitive_reaches_the_printed_efficiencies);
	suite_add_tcase(s, t);
	t = tcase_create("choice");
	tcase_add_test(t, screening_takes_the_smallest_that_fits);
	tcase_add_test(t, every_number_of_factors_has_a_definitive_plan);
	tcase_add_test(t, one_at_a_time_moves_one);
	tcase_add_test(t, what_no_design_holds_is_refused);
	suite_add_tcase(s, t);
	return s;
}
