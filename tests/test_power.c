/*
 * Power and sample size against tests/data/power: R 4.2.2 (each value there by two
 * formulas) and published figures, the source named beside each.
 */
#include "plan/power.h"
#include "support/support.h"
#include "support/table.h"

#include <math.h>
#include <string.h>

static double power_of_row(const struct table *t, size_t r)
{
	const char *test = table_text(t, r, "test");
	double df1 = table_number(t, r, "df1"), df2 = table_number(t, r, "df2");
	double ncp = table_number(t, r, "ncp"), alpha = table_number(t, r, "alpha");
	if (strcmp(test, "t_one_sided") == 0)
		return power_t_one_sided(df2, ncp, alpha);
	if (strcmp(test, "t_two_sided") == 0)
		return power_t_two_sided(df2, ncp, alpha);
	ck_assert_str_eq(test, "f");
	return power_f(df1, df2, ncp, alpha);
}

/* R 4.2.2, nine digits. */
START_TEST(power_is_the_tabled_one)
{
	struct table t = table_read("power/noncentral_power.csv");
	for (size_t r = 0; r < t.rows; r++) {
		double want = table_number(&t, r, "power");
		ck_assert_msg(fabs(power_of_row(&t, r) - want) <= 1e-8 * want,
			"row %zu: %.12g, not %.9g", r + 1, power_of_row(&t, r), want);
	}
	table_free(&t);
}
END_TEST

static double power_of_sample(const struct table *t, size_t r, double n)
{
	double alpha = table_number(t, r, "alpha"), d = table_number(t, r, "delta_over_sigma");
	bool two = strcmp(table_text(t, r, "kind"), "one_sample") != 0;
	double df = two ? 2 * n - 2 : n - 1, ncp = d * sqrt(two ? n / 2 : n);
	return table_number(t, r, "sides") < 2 ? power_t_one_sided(df, ncp, alpha)
					       : power_t_two_sided(df, ncp, alpha);
}

/* R 4.2.2, eight decimals; n is the smallest that reaches the target. */
START_TEST(sample_sizes_are_the_tabled_ones)
{
	struct table t = table_read("power/sample_size.csv");
	for (size_t r = 0; r < t.rows; r++) {
		double target = table_number(&t, r, "target_power");
		double n = 2;
		while (power_of_sample(&t, r, n) < target)
			n++;
		ck_assert_double_eq(n, table_number(&t, r, "n"));
		ck_assert_double_eq_tol(
			power_of_sample(&t, r, n), table_number(&t, r, "power_at_n"), 1e-8);
		ck_assert_double_eq_tol(power_of_sample(&t, r, n - 1),
			table_number(&t, r, "power_at_n_minus_1"), 1e-8);
	}
	table_free(&t);
}
END_TEST

/* R reference index, power.anova.test and power.t.test, Examples; lambda and df as stated
 * in power.yaml. The two-sided t figure there counts one tail only, so the other is added:
 * P(T < -t) is below 1e-7 here. */
START_TEST(manual_s_examples)
{
	ck_assert_double_eq_tol(power_f(3, 16, 5.0 * 3 * 1 / 3, 0.05), 0.3535594, 5e-8);
	ck_assert_double_eq_tol(power_f(3, 16, 5, 0.05), 0.353559423815, 1e-10);
	double n = 11.9261309577; /* printed 11.92613 */
	ck_assert_double_eq_tol(power_f(3, 4 * (n - 1), n, 0.05), 0.80, 1e-6);
	n = 15.1883392141; /* printed 15.18834 */
	ck_assert_double_eq_tol(power_f(3, 4 * (n - 1), n * 500 / 500, 0.05), 0.90, 1e-6);
	ck_assert_double_eq_tol(power_t_two_sided(38, sqrt(10), 0.05), 0.868952801692, 1e-6);
	n = 17.8471260865;
	ck_assert_double_eq_tol(power_t_one_sided(2 * n - 2, sqrt(n / 2), 0.05), 0.90, 1e-6);
}
END_TEST

/* Devore & Berk, Modern Mathematical Statistics with Applications, Section 9.2: printed
 * 0.8975 for n = 10; n = 13 reaches 0.95 with 0.9597. */
START_TEST(textbook_one_sample_t)
{
	ck_assert_double_eq_tol(power_t_one_sided(9, sqrt(10), 0.05), 0.8975, 5e-5);
	ck_assert_double_eq_tol(power_t_one_sided(9, sqrt(10), 0.05), 0.897516994340, 1e-10);
	ck_assert_double_lt(power_t_one_sided(11, sqrt(12), 0.05), 0.95);
	ck_assert_double_eq_tol(power_t_one_sided(12, sqrt(13), 0.05), 0.9597, 5e-5);
	/* e-Handbook 7.2.2.2 (from memory): the exact n for beta = 0.10 is 11. */
	ck_assert_double_lt(power_t_one_sided(9, sqrt(10), 0.05), 0.90);
	ck_assert_double_gt(power_t_one_sided(10, sqrt(11), 0.05), 0.90);
}
END_TEST

/* The smallest effect is the one that the power function gives back. */
START_TEST(detectable_inverts_power)
{
	static const double dfs[] = {1, 2, 3, 5, 12, 40, 200, 5000};
	for (size_t i = 0; i < sizeof dfs / sizeof dfs[0]; i++) {
		double ncp = power_detectable(dfs[i], 0.05, 0.8);
		ck_assert_double_eq_tol(power_t_two_sided(dfs[i], ncp, 0.05), 0.8, 1e-9);
	}
	/* Normal limit: z(0.975) + z(0.8), the far tail's 1e-6 aside. */
	ck_assert_double_eq_tol(power_detectable(1e6, 0.05, 0.8), 1.959963985 + 0.841621234, 1e-4);
}
END_TEST

START_TEST(nonsense_has_no_figure)
{
	ck_assert(isnan(power_detectable(0, 0.05, 0.8)));
	ck_assert(isnan(power_t_two_sided(0, 1, 0.05)));
	ck_assert(isnan(power_t_two_sided(5, 1, 0)));
	ck_assert(isnan(power_f(1, 5, -1, 0.05)));
	ck_assert_double_eq_tol(power_t_two_sided(7, 0, 0.05), 0.05, 1e-12);
	ck_assert_double_eq_tol(power_t_one_sided(7, 0, 0.05), 0.05, 1e-12);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("power");
	TCase *t = tcase_create("published");
	tcase_add_test(t, power_is_the_tabled_one);
	tcase_add_test(t, sample_sizes_are_the_tabled_ones);
	tcase_add_test(t, manual_s_examples);
	tcase_add_test(t, textbook_one_sample_t);
	suite_add_tcase(s, t);
	t = tcase_create("inverse");
	tcase_add_test(t, detectable_inverts_power);
	tcase_add_test(t, nonsense_has_no_figure);
	suite_add_tcase(s, t);
	return s;
}
