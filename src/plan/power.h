/*
 * Power of t and F tests, and the smallest effect a test finds. Exact: noncentral t
 * and F as Poisson-weighted sums of beta tails, all terms positive (the series of
 * Lenth, R. V. (1989), Applied Statistics 38, 185-189, in its complement form).
 * Checked to 1e-8 against R 4.2.2 and published figures, see tests/test_power.c.
 *
 * NAN where an argument makes no sense (df below 1, alpha outside 0..1).
 */
#ifndef PLAN_POWER_H
#define PLAN_POWER_H

/* P(a t test on df degrees of freedom at level alpha rejects), its statistic having
 * noncentrality ncp = effect / standard error. Two-sided: both tails count. */
double power_t_two_sided(double df, double ncp, double alpha);
/* Upper-tailed; ncp >= 0. */
double power_t_one_sided(double df, double ncp, double alpha);
/* lambda: sum of the squared standardised effects. */
double power_f(double df1, double df2, double lambda, double alpha);

/* The noncentrality at which a two-sided t test reaches `power`; the smallest effect is
 * that many standard errors. NAN when df < 1. */
double power_detectable(double df, double alpha, double power);

#endif
