/*
 * Worked examples of the NIST/SEMATECH e-Handbook of Statistical Methods reproduced by the
 * fit, to the digits printed there. One run a row, so least squares.
 */
#include "model/model.h"
#include "model/reml.h"
#include "support/invent.h"
#include "support/support.h"
#include "support/table.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A term is a product of columns: "" the intercept, "14" x1*x4, "11" the square of x1. */
static double term_value(const struct table *t, size_t row, const char *term)
{
	double v = 1;
	for (; *term; term++) {
		char name[] = {'x', *term, '\0'};
		v *= table_number(t, row, name);
	}
	return v;
}

struct fitted {
	struct reml_fit fit;
	double rss, total; /* about the mean */
	double df;
};

static struct fitted fit_terms(
	const struct table *t, const char *response, const char *const *terms, size_t p)
{
	struct fitted f = {.rss = 0};
	struct err e = {0};
	size_t n = t->rows;
	double *x = calloc(n * p, sizeof *x), *y = calloc(n, sizeof *y);
	int *group = calloc(n, sizeof *group);
	ck_assert(x && y && group);
	double mean = 0;
	for (size_t i = 0; i < n; i++) {
		group[i] = (int)i;
		y[i] = table_number(t, i, response);
		mean += y[i] / (double)n;
		for (size_t j = 0; j < p; j++)
			x[i * p + j] = term_value(t, i, terms[j]);
	}
	struct reml_data d = {.n = n, .p = p, .groups = n, .x = x, .y = y, .group = group};
	ck_assert_msg(reml_fit(&d, &f.fit, &e), "%s", e.text);
	ck_assert_uint_eq(f.fit.rank, p);
	for (size_t i = 0; i < n; i++) {
		double fitted = 0;
		for (size_t j = 0; j < p; j++)
			fitted += x[i * p + j] * f.fit.b[j];
		f.rss += (y[i] - fitted) * (y[i] - fitted);
		f.total += (y[i] - mean) * (y[i] - mean);
	}
	f.df = (double)(n - p);
	free(x);
	free(y);
	free(group);
	return f;
}

static double se_of(const struct fitted *f, size_t j)
{
	return sqrt(f->fit.cov[j * f->fit.p + j]);
}

struct anova_line {
	const char *term;
	double ss, f, p; /* p below 0: printed as "< 0.0001" */
};

/* One degree of freedom a term: F = t^2, SS = F s^2. Half a unit of the last digit printed. */
static void check_anova(const struct fitted *f, const char *const *terms, size_t p,
	const struct anova_line *lines, size_t n)
{
	double s2 = f->rss / f->df;
	for (size_t i = 0; i < n; i++) {
		size_t j = 0;
		while (j < p && strcmp(terms[j], lines[i].term) != 0)
			j++;
		ck_assert_uint_lt(j, p);
		double t = f->fit.b[j] / se_of(f, j), ratio = t * t;
		ck_assert_double_eq_tol(ratio * s2, lines[i].ss, 0.0051);
		/* The printed F of x4 in the smaller model, 1407.4390, is rounded off: R has
		 * 1407.43884. */
		ck_assert_double_eq_tol(ratio, lines[i].f, lines[i].f > 1000 ? 2.1e-4 : 5.1e-5);
		double tail = gsl_cdf_fdist_Q(ratio, 1, f->df);
		if (lines[i].p < 0)
			ck_assert_double_lt(tail, 1e-4);
		else
			ck_assert_double_eq_tol(tail, lines[i].p, 5.1e-5);
	}
}

static void check_summary(const struct fitted *f, double r2, double adjusted, double rmse, size_t n)
{
	double ratio = f->rss / f->total;
	ck_assert_double_eq_tol(1 - ratio, r2, 6e-7);
	ck_assert_double_eq_tol(1 - ratio * (double)(n - 1) / f->df, adjusted, 6e-7);
	ck_assert_double_eq_tol(sqrt(f->rss / f->df), rmse, 6e-6);
}

/* Section 5.4.7.1, the model with all products of up to three factors. */
START_TEST(ceramic_third_order)
{
	static const char *const terms[] = {"", "1", "2", "3", "4", "5", "12", "13", "14", "15",
		"23", "24", "25", "34", "35", "45", "123", "124", "125", "134", "135", "145", "234",
		"235", "245", "345"};
	static const struct anova_line lines[] = {{"1", 894.33, 2.8175, 0.1442},
		{"2", 3497.20, 11.0175, 0.0160}, {"12", 4872.57, 15.3505, 0.0078},
		{"3", 12663.96, 39.8964, 0.0007}, {"13", 1838.76, 5.7928, 0.0528},
		{"23", 307.46, 0.9686, 0.3630}, {"123", 357.05, 1.1248, 0.3297},
		{"4", 315132.65, 992.7901, -1}, {"14", 1637.21, 5.1578, 0.0636},
		{"24", 1972.71, 6.2148, 0.0470}, {"124", 5895.62, 18.5735, 0.0050},
		{"34", 3158.34, 9.9500, 0.0197}, {"134", 2.12, 0.0067, 0.9376},
		{"234", 44.49, 0.1401, 0.7210}, {"5", 33653.91, 106.0229, -1},
		{"15", 465.05, 1.4651, 0.2716}, {"25", 199.15, 0.6274, 0.4585},
		{"125", 144.71, 0.4559, 0.5247}, {"35", 29.36, 0.0925, 0.7713},
		{"135", 30.36, 0.0957, 0.7676}, {"235", 25.58, 0.0806, 0.7860},
		{"45", 1328.83, 4.1863, 0.0867}, {"145", 544.58, 1.7156, 0.2382},
		{"245", 167.31, 0.5271, 0.4952}, {"345", 32.46, 0.1023, 0.7600}};
	struct table t = table_read("examples/ceramic_2x5.csv");
	struct fitted f = fit_terms(&t, "strength", terms, 26);
	ck_assert_double_eq(f.df, 6);
	ck_assert_double_eq_tol(f.fit.b[0], 546.8959, 5.1e-5);
	check_summary(&f, 0.995127, 0.974821, 17.81632, 32);
	check_anova(&f, terms, 26, lines, sizeof lines / sizeof lines[0]);
	reml_free(&f.fit);
	table_free(&t);
}
END_TEST

/* The same section, the model of twelve terms. */
START_TEST(ceramic_twelve_terms)
{
	static const char *const terms[] = {
		"", "1", "2", "12", "3", "13", "4", "14", "24", "124", "34", "5", "45"};
	static const struct anova_line lines[] = {{"1", 894.33, 3.9942, 0.0602},
		{"2", 3497.20, 15.6191, 0.0009}, {"12", 4872.57, 21.7618, 0.0002},
		{"3", 12663.96, 56.5595, -1}, {"13", 1838.76, 8.2122, 0.0099},
		{"4", 315132.65, 1407.4390, -1}, {"14", 1637.21, 7.3121, 0.0141},
		{"24", 1972.71, 8.8105, 0.0079}, {"124", 5895.62, 26.3309, -1},
		{"34", 3158.34, 14.1057, 0.0013}, {"5", 33653.91, 150.3044, -1},
		{"45", 1328.83, 5.9348, 0.0249}};
	struct table t = table_read("examples/ceramic_2x5.csv");
	struct fitted f = fit_terms(&t, "strength", terms, 13);
	check_summary(&f, 0.989114, 0.982239, 14.96346, 32);
	check_anova(&f, terms, 13, lines, sizeof lines / sizeof lines[0]);
	reml_free(&f.fit);
	table_free(&t);
}
END_TEST

struct coefficient {
	const char *term;
	double estimate, se, t, p;
};

static void check_coefficients(
	const struct fitted *f, const struct coefficient *c, size_t n, double digits)
{
	for (size_t j = 0; j < n; j++) {
		double t = f->fit.b[j] / se_of(f, j);
		ck_assert_double_eq_tol(f->fit.b[j], c[j].estimate, 0.51 * digits);
		ck_assert_double_eq_tol(se_of(f, j), c[j].se, 0.51 * digits);
		ck_assert_double_eq_tol(t, c[j].t, 5.1e-4);
		ck_assert_double_eq_tol(
			2 * gsl_cdf_tdist_Q(fabs(t), f->df), c[j].p, 0.006 * c[j].p);
	}
}

/* Section 5.4.7.3: uniformity on the full quadratic. */
START_TEST(uniformity_full_quadratic)
{
	static const char *const terms[] = {"", "1", "2", "12", "11", "22"};
	static const struct coefficient printed[] = {{"", 5.86613, 0.41773, 14.043, 3.29e-05},
		{"1", -1.90967, 0.36103, -5.289, 0.00322},
		{"2", -0.22408, 0.36103, -0.621, 0.56201}, {"12", 1.68617, 0.71766, 2.350, 0.06560},
		{"11", 0.13373, 0.60733, 0.220, 0.83442}, {"22", 0.03373, 0.60733, 0.056, 0.95786}};
	struct table t = table_read("examples/cvd_cci.csv");
	struct fitted f = fit_terms(&t, "uniformity", terms, 6);
	check_coefficients(&f, printed, 6, 1e-5);
	ck_assert_double_eq_tol(sqrt(f.rss / f.df), 0.7235, 5.1e-5);
	ck_assert_double_eq_tol(1 - f.rss / f.total, 0.8716, 5.1e-5);
	reml_free(&f.fit);
	table_free(&t);
}
END_TEST

/* The same section, the model without squares. */
START_TEST(uniformity_reduced)
{
	static const char *const terms[] = {"", "1", "2", "12"};
	static const struct coefficient printed[] = {{"", 5.9273, 0.1853, 31.993, 7.54e-09},
		{"1", -1.9097, 0.3066, -6.228, 0.000433}, {"2", -0.2241, 0.3066, -0.731, 0.488607},
		{"12", 1.6862, 0.6095, 2.767, 0.027829}};
	struct table t = table_read("examples/cvd_cci.csv");
	struct fitted f = fit_terms(&t, "uniformity", terms, 4);
	check_coefficients(&f, printed, 4, 1e-4);
	ck_assert_double_eq_tol(f.rss, 2.643, 5.1e-4);
	ck_assert_double_eq_tol(f.total - f.rss, 17.739, 5.1e-4);
	reml_free(&f.fit);
	table_free(&t);
}
END_TEST

/* The same section, stress. */
START_TEST(stress_reduced)
{
	static const char *const terms[] = {"", "1", "2", "11"};
	static const struct coefficient printed[] = {{"", 7.73410, 0.03715, 208.185, 1.56e-14},
		{"1", 0.73593, 0.04407, 16.699, 6.75e-07},
		{"2", 0.49686, 0.04407, 11.274, 9.65e-06},
		{"11", -0.49426, 0.07094, -6.967, 0.000218}};
	struct table t = table_read("examples/cvd_cci.csv");
	struct fitted f = fit_terms(&t, "stress", terms, 4);
	check_coefficients(&f, printed, 4, 1e-5);
	ck_assert_double_eq_tol(f.rss, 0.0546, 5.1e-5);
	reml_free(&f.fit);
	table_free(&t);
}
END_TEST

/*
 * The same full quadratic as a book: a pair whose common is x1 / 2 and whose difference is x2 / 2,
 * so that linear coefficients come out doubled and second-order ones fourfold. Lack of fit of
 * this model is not printed; it follows from the printed residual deviation 0.7235 on 5 df and
 * the printed pure error 1.1467 on 2.
 */
START_TEST(uniformity_as_a_book)
{
	static const struct {
		const char *id;
		double scale, estimate, se;
	} printed[] = {{"intercept", 1, 5.86613, 0.41773}, {"p0.common", 2, -1.90967, 0.36103},
		{"p0.difference", 2, -0.22408, 0.36103}, {"p0.common^2", 4, 0.13373, 0.60733},
		{"p0.difference^2", 4, 0.03373, 0.60733},
		{"p0.common*p0.difference", 4, 1.68617, 0.71766}};
	struct table t = table_read("examples/cvd_cci.csv");
	struct book b;
	struct err e;
	err_clear(&e);
	invent_book(&b, 1, 0, 1);
	for (size_t a = 0; a < 2; a++) {
		b.car.adjustables[a].min = -2 * FIX_ONE;
		b.car.adjustables[a].max = 2 * FIX_ONE;
		b.car.adjustables[a].step = FIX_ONE / 100;
	}
	for (size_t i = 0; i < t.rows; i++) {
		double x1 = table_number(&t, i, "x1"), x2 = table_number(&t, i, "x2");
		char id[24];
		snprintf(id, sizeof id, "r%02zu", i);
		struct run *r = invent_run(&b, id);
		invent_set(&b, r, "p0-front", x1 + x2);
		invent_set(&b, r, "p0-rear", x1 - x2);
		invent_lap(r, table_number(&t, i, "uniformity"));
	}
	struct model *m = model_new(&b, &e);
	ck_assert_msg(m != NULL, "%s", e.text);
	const struct response *r = &m->responses[RESPONSE_TIME];
	ck_assert_uint_eq(r->n_terms, 6);
	for (size_t j = 0; j < 6; j++) {
		ck_assert_str_eq(r->terms[j].id, printed[j].id);
		ck_assert_double_eq_tol(r->b[j] / printed[j].scale, printed[j].estimate, 5.1e-6);
		ck_assert_double_eq_tol(
			sqrt(r->cov[j * 6 + j]) / printed[j].scale, printed[j].se, 5.1e-6);
	}
	ck_assert_double_eq(r->df_run, 5);
	ck_assert_double_eq_tol(r->sigma_run, 0.7235, 5.1e-5);
	ck_assert(r->has_lack_of_fit && r->lof_df1 == 3 && r->lof_df2 == 2);
	double pure = 1.1467 / 2, rest = (5 * 0.7235 * 0.7235 - 1.1467) / 3;
	ck_assert_double_eq_tol(r->lof_f, rest / pure, 1e-3);
	model_free(m);
	book_free(&b);
	table_free(&t);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("worked examples");
	TCase *t = tcase_create("e-Handbook");
	tcase_add_test(t, ceramic_third_order);
	tcase_add_test(t, ceramic_twelve_terms);
	tcase_add_test(t, uniformity_full_quadratic);
	tcase_add_test(t, uniformity_reduced);
	tcase_add_test(t, stress_reduced);
	tcase_add_test(t, uniformity_as_a_book);
	suite_add_tcase(s, t);
	return s;
}
