/*
 * Designs of experiments in coded levels -1, 0, +1: pure combinatorics, knowing
 * nothing of cars. Rows are runs, columns are factors.
 *
 * Sources: Plackett, R. L. and Burman, J. P. (1946), Biometrika 33, 305-325;
 * Paley, R. E. A. C. (1933), J. Math. Phys. 12, 311-320; Jones, B. and Nachtsheim,
 * C. J. (2011), J. Quality Technology 43(1), 1-15; Xiao, L., Lin, D. K. J. and Bai, F.
 * (2012), J. Quality Technology 44(1), 2-8.
 *
 * Every function returns false with err told and leaves d empty: a number of factors
 * that no design here can hold (ERR_INPUT, the text names what is allowed), or memory.
 */
#ifndef PLAN_DESIGN_H
#define PLAN_DESIGN_H

#include "base/err.h"

struct design {
	size_t runs, factors;
	signed char *x; /* owned; [runs * factors], row-major, each -1, 0 or +1 */
};

enum {
	DESIGN_SCREENING_MAX = 23, /* factors */
	DESIGN_DEFINITIVE_MIN = 1,
	DESIGN_DEFINITIVE_MAX = 24,
	DESIGN_ONE_MAX = 64
};

void design_init(struct design *d);
void design_free(struct design *d);
int design_at(const struct design *d, size_t run, size_t factor);

/* Each factor low, then each high, the others at the middle: 2 * factors runs. */
bool design_one_at_a_time(struct design *d, size_t factors, struct err *err);

/* The whole Plackett-Burman design: N = 8, 12, 16, 20 or 24 runs, N - 1 factors. */
bool design_plackett_burman(struct design *d, size_t runs, struct err *err);
/* The first `factors` columns of the smallest one that holds them; folded over on request:
 * the same runs once more with every sign turned, which clears main effects of two-factor
 * interactions. */
bool design_screening(struct design *d, size_t factors, bool fold_over, struct err *err);

/* A conference matrix: zero diagonal, +-1 elsewhere, C'C = (order - 1) I. Even orders 4 to 24
 * but 22, of which there is none. */
bool design_conference(struct design *d, size_t order, struct err *err);
/* [C; -C; 0]: 2m + 1 runs for an even number m of factors. Where no
 * matrix of order m exists (odd m, 2, 22) the next order serves, last columns dropped. */
bool design_definitive(struct design *d, size_t factors, struct err *err);

/*
 * Properties, in integers. design_gram: sum over the runs of column a times column b.
 * design_alias: sum over the runs of the product of three columns.
 */
long design_gram(const struct design *d, size_t a, size_t b);
long design_sum(const struct design *d, size_t a);
long design_alias(const struct design *d, size_t a, size_t b, size_t c);
/*
 * 100 (det X'X)^(1/p) / n with X = [1, main effects] over the first `runs` runs; 0 when
 * the columns cannot be told apart, a negative value when out of memory.
 */
double design_d_efficiency(const struct design *d, size_t runs);

#endif
