/*
 * The fit itself against published and certified figures. Sources:
 *   tests/data/strd_regression, strd_anova: NIST Statistical Reference Datasets.
 *   tests/data/reml: data of R packages nlme and lme4; REML estimates by nlme 3.1-162,
 *   recomputed from the score equation (see the head of reml.yaml).
 *   tests/data/tables: t and F quantiles, NIST/SEMATECH e-Handbook 1.3.6.7 and R.
 */
#include "model/reml.h"
#include "support/support.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { ROWS_MAX = 256, COLS_MAX = 8 };

/* A small table of text cells. */
struct table {
	char name[COLS_MAX][32];
	char cell[ROWS_MAX][COLS_MAX][32];
	size_t rows, cols;
};

static size_t split(char *line, char out[COLS_MAX][32])
{
	size_t n = 0;
	line[strcspn(line, "\r\n")] = '\0';
	for (char *save, *w = strtok_r(line, ",", &save); w; w = strtok_r(NULL, ",", &save))
		snprintf(out[n++], 32, "%s", w);
	return n;
}

static void read_table(struct table *t, const char *name)
{
	char *path = test_data(name), line[512];
	FILE *f = fopen(path, "r");
	ck_assert_msg(f != NULL, "%s", path);
	memset(t, 0, sizeof *t);
	ck_assert(fgets(line, sizeof line, f));
	t->cols = split(line, t->name);
	while (fgets(line, sizeof line, f))
		ck_assert_uint_eq(split(line, t->cell[t->rows++]), t->cols);
	fclose(f);
	free(path);
}

static size_t column(const struct table *t, const char *name)
{
	for (size_t c = 0; c < t->cols; c++)
		if (strcmp(t->name[c], name) == 0)
			return c;
	ck_abort_msg("no column %s", name);
	return 0;
}

static double number(const struct table *t, size_t row, const char *name)
{
	return strtod(t->cell[row][column(t, name)], NULL);
}

/* Group numbers by first appearance. */
static size_t groups_of(const struct table *t, const char *name, int *group)
{
	const size_t c = column(t, name);
	size_t n = 0;
	for (size_t i = 0; i < t->rows; i++) {
		group[i] = -1;
		for (size_t k = 0; k < i && group[i] < 0; k++)
			if (strcmp(t->cell[i][c], t->cell[k][c]) == 0)
				group[i] = group[k];
		if (group[i] < 0)
			group[i] = (int)n++;
	}
	return n;
}

static double value_after(const char *text, const char *key)
{
	const char *at = strstr(text, key);
	ck_assert_msg(at != NULL, "no %s", key);
	return strtod(at + strlen(key), NULL);
}

/* Digits to which x agrees with the certified c. */
static double digits(double x, double c)
{
	const double e = fabs(c) > 0 ? fabs(x - c) / fabs(c) : fabs(x);
	return e > 0 ? -log10(e) : 17;
}

static void fit_rows(struct reml_fit *f, const double *x, const double *y, const double *w,
	const int *group, size_t n, size_t p, size_t groups)
{
	struct err err = {0};
	struct reml_data d = {
		.n = n, .p = p, .groups = groups, .x = x, .y = y, .w = w, .group = group};
	ck_assert_msg(reml_fit(&d, f, &err), "%s", err.text);
}

/*
 * Wampler1 and Wampler2 are exact fits whose residual is rounding (y reaches 4e6): sd is checked
 * to be nothing beside the coefficients. Digits asked for: what double arithmetic leaves
 * of 15 after the scaled condition number of each set; in Wampler4 residuals as large as y itself
 * cost a further digit of coefficients of size 1.
 */
static const struct strd {
	const char *name;
	double coefficient_digits, sd_digits;
} strd_sets[] = {
	{"Norris", 12, 12},
	{"Pontius", 12, 12},
	{"NoInt1", 13, 13},
	{"Longley", 10, 11},
	{"Wampler1", 9, 0},
	{"Wampler2", 11, 0},
	{"Wampler4", 8, 12},
};

static size_t strd_design(const struct table *t, const char *name, double *x, double *y, int *group)
{
	const bool poly = strncmp(name, "Wampler", 7) == 0 || strcmp(name, "Pontius") == 0;
	const bool intercept = strcmp(name, "NoInt1") != 0;
	const size_t powers = strcmp(name, "Pontius") == 0 ? 2 : 5;
	const size_t p = (intercept ? 1 : 0) + (poly ? powers : t->cols - 1);
	for (size_t i = 0; i < t->rows; i++) {
		double *row = x + i * p;
		size_t j = 0;
		y[i] = number(t, i, "y");
		group[i] = (int)i;
		if (intercept)
			row[j++] = 1;
		for (size_t k = 1; poly && k <= powers; k++)
			row[j++] = pow(number(t, i, "x1"), (double)k);
		for (size_t k = 1; !poly && k < t->cols; k++)
			row[j++] = strtod(t->cell[i][k], NULL);
	}
	return p;
}

START_TEST(certified_regressions)
{
	static struct table t;
	static double x[ROWS_MAX * COLS_MAX], y[ROWS_MAX];
	static int group[ROWS_MAX];
	const struct strd *set = &strd_sets[_i];
	char file[64], key[64];
	snprintf(file, sizeof file, "strd_regression/%s.csv", set->name);
	read_table(&t, file);
	const size_t p = strd_design(&t, set->name, x, y, group);
	struct reml_fit f;
	fit_rows(&f, x, y, NULL, group, t.rows, p, t.rows);
	ck_assert(f.one_row_a_group);
	ck_assert_uint_eq(f.rank, p);
	char *path = test_data("strd_regression/certified.yaml"), *all = test_slurp(path, NULL);
	snprintf(key, sizeof key, "name: %s\n", set->name);
	const char *at = strstr(all, key);
	ck_assert(at != NULL);
	ck_assert_double_ge(digits(f.sigma_group, value_after(at, "residual_sd: ")) +
				    (set->sd_digits > 0 ? 0 : 20),
		set->sd_digits);
	double worst = 99, worst_sd = 99;
	for (size_t j = 0; j < p; j++) {
		at = strstr(at, "- {term");
		ck_assert(at != NULL);
		const double sd = sqrt(f.cov[j * p + j]);
		worst = fmin(worst, digits(f.b[j], value_after(at, "estimate: ")));
		if (set->sd_digits > 0)
			worst_sd = fmin(worst_sd, digits(sd, value_after(at, "sd: ")));
		else
			ck_assert_double_lt(sd, 1e-9);
		at++;
	}
	printf("%s: %.1f digits of coefficients, %.1f of sds\n", set->name, worst, worst_sd);
	ck_assert_msg(worst >= set->coefficient_digits, "%s: %.1f digits", set->name, worst);
	ck_assert_msg(worst_sd >= set->sd_digits, "%s: sd %.1f digits", set->name, worst_sd);
	reml_free(&f);
	free(path);
	free(all);
}
END_TEST

static const char *const anova_sets[] = {"SiRstv", "SmLs01"};

START_TEST(balanced_one_way)
{
	static struct table t;
	static double x[ROWS_MAX], y[ROWS_MAX];
	static int group[ROWS_MAX];
	char file[64], key[64];
	snprintf(file, sizeof file, "strd_anova/%s.csv", anova_sets[_i]);
	read_table(&t, file);
	for (size_t i = 0; i < t.rows; i++) {
		x[i] = 1;
		y[i] = number(&t, i, "y");
	}
	struct reml_fit f;
	fit_rows(&f, x, y, NULL, group, t.rows, 1, groups_of(&t, "group", group));
	char *path = test_data("strd_anova/certified.yaml"), *all = test_slurp(path, NULL);
	snprintf(key, sizeof key, "name: %s\n", anova_sets[_i]);
	const char *at = strstr(strstr(all, key), "random_intercept:");
	ck_assert_double_ge(digits(f.b[0], value_after(at, "mean: ")), 13);
	ck_assert_double_ge(digits(sqrt(f.cov[0]), value_after(at, "se_mean: ")), 10);
	ck_assert_double_ge(digits(f.sigma_group, value_after(at, "sigma_b: ")), 10);
	ck_assert_double_ge(digits(f.sigma, value_after(at, "sigma: ")), 10);
	reml_free(&f);
	free(path);
	free(all);
}
END_TEST

/* design: i intercept, s Female, a age, x Female * age; filter: only Female rows. */
static const struct reml_set {
	const char *name, *file, *response, *group, *design;
	bool filter;
	double df[4]; /* nlme's own inner/outer degrees of freedom; 0: not of this rule */
} reml_sets[] = {
	{"Rail", "Rail", "travel", "Rail", "i", false, {0}},
	{"Rail_unbalanced", "Rail_unbalanced", "travel", "Rail", "i", false, {0}},
	{"Orthodont_SexAge", "Orthodont", "distance", "Subject", "isax", false, {0, 25, 79, 79}},
	{"Orthodont_additive", "Orthodont", "distance", "Subject", "ias", false, {0, 80, 25, 0}},
	{"Orthodont_female", "Orthodont", "distance", "Subject", "ia", true, {0, 32, 0, 0}},
	{"Orthodont_unbalanced_SexAge", "Orthodont_unbalanced", "distance", "Subject", "isax",
		false, {0, 25, 59, 59}},
	{"Dyestuff", "Dyestuff", "Yield", "Batch", "i", false, {0}},
};

static void reml_design(struct table *t, const struct reml_set *set, double *x, double *y)
{
	const size_t p = strlen(set->design);
	size_t n = 0;
	for (size_t i = 0; i < t->rows; i++) {
		const bool sex = strchr("i", set->design[p - 1]) == NULL || p > 1;
		const double female =
			sex && !strcmp(t->cell[i][column(t, "Sex")], "Female") ? 1 : 0;
		if (set->filter && female < 1)
			continue;
		memmove(t->cell[n], t->cell[i], sizeof t->cell[n]);
		for (size_t j = 0; j < p; j++) {
			const char c = set->design[j];
			const double age = c == 'a' || c == 'x' ? number(t, n, "age") : 0;
			x[n * p + j] = c == 'i'   ? 1
				       : c == 's' ? female
				       : c == 'a' ? age
						  : female * age;
		}
		y[n] = number(t, n, set->response);
		n++;
	}
	t->rows = n;
}

static void check_blups(const struct reml_fit *f, const struct table *t, const struct reml_set *set,
	const int *group, const char *at)
{
	const char *line = strstr(at, "blup: {");
	double size = 0;
	for (size_t g = 0; g < t->rows; g++)
		size = fmax(size, fabs(f->blup[group[g]]));
	for (size_t i = 0; i < t->rows; i++) {
		char key[64];
		snprintf(key, sizeof key, "\"%s\": ", t->cell[i][column(t, set->group)]);
		ck_assert_double_eq_tol(f->blup[group[i]], value_after(line, key), 1e-6 * size);
	}
}

START_TEST(nlme_sets)
{
	static struct table t;
	static double x[ROWS_MAX * 4], y[ROWS_MAX];
	static int group[ROWS_MAX];
	const struct reml_set *set = &reml_sets[_i];
	const size_t p = strlen(set->design);
	char file[64], key[64];
	snprintf(file, sizeof file, "reml/%s.csv", set->file);
	read_table(&t, file);
	reml_design(&t, set, x, y);
	const size_t groups = groups_of(&t, set->group, group);
	struct reml_fit f;
	fit_rows(&f, x, y, NULL, group, t.rows, p, groups);
	char *path = test_data("reml/reml.yaml"), *all = test_slurp(path, NULL);
	snprintf(key, sizeof key, "- name: %s\n", set->name);
	const char *model = strstr(strstr(all, key), "  reml:"), *at = model;
	for (size_t j = 0; j < p; j++) {
		at = strstr(at, "- {term");
		ck_assert_double_ge(digits(f.b[j], value_after(at, "estimate: ")), 9);
		ck_assert_double_ge(digits(sqrt(f.cov[j * p + j]), value_after(at, "se: ")), 9);
		const double df = f.within[j]
					  ? (double)(t.rows - groups - (f.rank - f.rank_between))
					  : (double)(groups - f.rank_between);
		if (set->df[j] > 0)
			ck_assert_double_eq(df, set->df[j]);
		at++;
	}
	ck_assert_double_ge(digits(f.sigma_group, value_after(model, "sigma_b: ")), 9);
	ck_assert_double_ge(digits(f.sigma, value_after(model, "sigma: ")), 9);
	ck_assert(f.has_log_reml);
	ck_assert_double_ge(digits(f.log_reml, value_after(model, "loglik_restricted: ")), 10);
	check_blups(&f, &t, set, group, model);
	reml_free(&f);
	free(path);
	free(all);
}
END_TEST

/*
 * Boundary: a balanced layout whose groups differ less than their rows say. Then the
 * closed form (between MS < within MS) is sigma_group = 0 and sigma^2 = total SS / (n - 1)
 * (Searle, Casella & McCulloch 1992, Variance Components, 4.8).
 */
START_TEST(boundary_is_zero)
{
	const double y[] = {1, 5, 9, 2, 5, 8, 1, 6, 8};
	const double x[] = {1, 1, 1, 1, 1, 1, 1, 1, 1};
	const int group[] = {0, 0, 0, 1, 1, 1, 2, 2, 2};
	struct reml_fit f;
	fit_rows(&f, x, y, NULL, group, 9, 1, 3);
	ck_assert_double_eq(f.lambda, 0);
	ck_assert_double_eq(f.sigma_group, 0);
	ck_assert_double_eq_tol(f.b[0], 5, 1e-13);
	ck_assert_double_eq_tol(f.sigma * f.sigma, 76.0 / 8, 1e-12);
	ck_assert_double_eq_tol(f.cov[0], 76.0 / 72, 1e-12);
	reml_free(&f);
}
END_TEST

/* Column 2 is the sum of 0 and 1, column 3 is nothing: rank, null space, and a fit that
 * agrees with the one on the columns that are left. */
START_TEST(dependent_columns)
{
	const double y[] = {1, 2, 4, 3, 5, 9, 7, 6};
	const int group[] = {0, 0, 1, 1, 2, 2, 3, 3};
	double x[32], xs[16];
	for (size_t i = 0; i < 8; i++) {
		const double v = (double)(group[i] * group[i]) + 100;
		xs[2 * i] = x[4 * i] = 1;
		xs[2 * i + 1] = x[4 * i + 1] = v;
		x[4 * i + 2] = 1 + v;
		x[4 * i + 3] = 0;
	}
	struct reml_fit f, s;
	fit_rows(&f, x, y, NULL, group, 8, 4, 4);
	fit_rows(&s, xs, y, NULL, group, 8, 2, 4);
	ck_assert_uint_eq(f.rank, 2);
	ck_assert_uint_eq(f.rank_between, 2);
	ck_assert_uint_eq(f.n_null, 2);
	ck_assert(!f.has_log_reml && s.has_log_reml);
	ck_assert_double_eq_tol(f.sigma_group, s.sigma_group, 1e-9 * s.sigma_group);
	ck_assert_double_eq_tol(f.rss, s.rss, 1e-9 * s.rss);
	const double at = f.b[0] + 104 * f.b[1] + 105 * f.b[2], want = s.b[0] + 104 * s.b[1];
	ck_assert_double_eq_tol(at, want, 1e-9);
	reml_free(&f);
	reml_free(&s);
}
END_TEST

/* A mean over n rows of a group, weight n, carries what the rows would: with no column
 * varying inside, replacing rows by pairs' means keeps b, and REML sees the same groups. */
START_TEST(weights_are_counts)
{
	const double y[] = {3, 5, 4, 8, 11, 9, 2, 1, 4, 7, 7, 9};
	double x[24], xm[18], ym[9], w[9];
	int group[12], gm[9];
	size_t m = 0;
	for (size_t i = 0; i < 12; i++) {
		group[i] = (int)(i / 3);
		x[2 * i] = 1;
		x[2 * i + 1] = (double)(group[i] % 2);
		if (i % 3 == 1)
			continue;
		xm[2 * m] = 1;
		xm[2 * m + 1] = x[2 * i + 1];
		w[m] = i % 3 == 0 ? 2 : 1;
		ym[m] = i % 3 == 0 ? (y[i] + y[i + 1]) / 2 : y[i];
		gm[m++] = group[i];
	}
	struct reml_fit a, b;
	fit_rows(&a, x, y, NULL, group, 12, 2, 4);
	fit_rows(&b, xm, ym, w, gm, m, 2, 4);
	ck_assert_double_eq_tol(a.b[0], b.b[0], 1e-12);
	ck_assert_double_eq_tol(a.b[1], b.b[1], 1e-12);
	reml_free(&a);
	reml_free(&b);
}
END_TEST

/* Noise-free rows and rows that hardly differ inside groups end in finite figures. */
START_TEST(extremes_stay_finite)
{
	const double x[] = {1, 1, 1, 1, 1, 1, 1, 1};
	const int group[] = {0, 0, 1, 1, 2, 2, 3, 3};
	const double same[] = {2, 2, 2, 2, 2, 2, 2, 2}, apart[] = {1, 1, 2, 2, 5, 5, 3, 3};
	struct reml_fit f;
	fit_rows(&f, x, same, NULL, group, 8, 1, 4);
	ck_assert_double_eq(f.lambda, 0);
	ck_assert_double_le(f.sigma, 1e-12);
	reml_free(&f);
	fit_rows(&f, x, apart, NULL, group, 8, 1, 4);
	ck_assert(isfinite(f.sigma_group) && isfinite(f.cov[0]));
	ck_assert_double_le(f.sigma, 1e-3);
	/* Group means 1, 2, 5, 3: variance 35/12. */
	ck_assert_double_eq_tol(f.sigma_group * f.sigma_group, 35.0 / 12, 1e-4);
	reml_free(&f);
}
END_TEST

START_TEST(t_and_f_tables)
{
	static struct table t;
	read_table(&t, "tables/t_quantiles.csv");
	for (size_t i = 0; i < t.rows; i++) {
		const double df = !strcmp(t.cell[i][0], "inf") || !strcmp(t.cell[i][0], "Inf")
					  ? INFINITY
					  : number(&t, i, "df");
		if (!isfinite(df))
			continue;
		const double q = gsl_cdf_tdist_Qinv(number(&t, i, "upper_tail"), df);
		ck_assert_double_ge(digits(q, number(&t, i, "t_r")), 9);
	}
	char *path = test_data("tables/f_quantiles.csv"), line[128];
	FILE *f = fopen(path, "r");
	size_t n = 0;
	while (fgets(line, sizeof line, f)) {
		double a, b, tail, q;
		if (sscanf(line, "%lf,%lf,%lf,%lf", &a, &b, &tail, &q) != 4)
			continue;
		ck_assert_double_ge(digits(gsl_cdf_fdist_Qinv(tail, a, b), q), 8);
		n++;
	}
	ck_assert_uint_gt(n, 100);
	fclose(f);
	free(path);
}
END_TEST

static double seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* 1,000 groups of 20 rows, 40 columns of which five vary inside. The bound is wide: the
 * suite also runs under sanitizers and beside other work. The figure itself is printed. */
START_TEST(large_fit_is_quick)
{
	enum { G = 1000, R = 20, P = 40 };
	double *x = malloc(sizeof *x * G * R * P), *y = malloc(sizeof *y * G * R);
	int *group = malloc(sizeof *group * G * R);
	unsigned s = 1;
	for (size_t i = 0; i < G * R; i++) {
		group[i] = (int)(i / R);
		y[i] = 90;
		for (size_t j = 0; j < P; j++) {
			s = s * 1664525u + 1013904223u;
			const double u = (double)(s >> 8) / 16777216 - 0.5;
			x[i * P + j] = j == 0 ? 1 : j < P - 5 && i % R ? x[(i - 1) * P + j] : u;
			y[i] += (j < 10 ? 0.1 : 0) * x[i * P + j] + 0.05 * u;
		}
	}
	struct reml_fit f;
	double best = 1e9;
	for (int k = 0; k < 3; k++) {
		const double t0 = seconds();
		fit_rows(&f, x, y, NULL, group, G * R, P, G);
		best = fmin(best, seconds() - t0);
		ck_assert_uint_eq(f.rank, P);
		ck_assert_uint_eq(f.rank_between, P - 5);
		reml_free(&f);
	}
	printf("1,000 groups x 20 rows x 40 columns: %.1f ms\n", 1e3 * best);
	ck_assert_double_lt(best, 0.5);
	free(x);
	free(y);
	free(group);
}
END_TEST

Suite *suite(void)
{
	gsl_set_error_handler_off();
	Suite *s = suite_create("reml");
	TCase *c = tcase_create("published");
	tcase_add_loop_test(
		c, certified_regressions, 0, (int)(sizeof strd_sets / sizeof *strd_sets));
	tcase_add_loop_test(c, balanced_one_way, 0, 2);
	tcase_add_loop_test(c, nlme_sets, 0, (int)(sizeof reml_sets / sizeof *reml_sets));
	tcase_add_test(c, t_and_f_tables);
	suite_add_tcase(s, c);
	c = tcase_create("limits");
	tcase_set_timeout(c, 30);
	tcase_add_test(c, boundary_is_zero);
	tcase_add_test(c, dependent_columns);
	tcase_add_test(c, weights_are_counts);
	tcase_add_test(c, extremes_stay_finite);
	tcase_add_test(c, large_fit_is_quick);
	suite_add_tcase(s, c);
	return s;
}
