/* Contributions of random small books: the design's own sum, to 1e-12. */
#include "compare/compare.h"
#include "support/random.h"
#include "support/support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct counts {
	size_t told, untold;
};

static void check_response(const struct compare *c, size_t r, struct counts *n)
{
	double sum = 0;
	bool all = true;
	for (size_t g = 0; g < c->n_groups; g++) {
		const struct estimate *e = &c->groups[g].by[r];
		if (!c->groups[g].changed) {
			ck_assert(e->known);
			ck_assert_double_eq(e->value, 0);
		}
		all = all && e->known;
		sum += e->value;
	}
	(*(all ? &n->told : &n->untold))++;
	if (all) {
		ck_assert(c->delta[r].known);
		ck_assert_double_eq_tol(sum, c->delta[r].value, 1e-12 * fmax(1, fabs(sum)));
	}
}

static void check_like(const struct compare *c, size_t ch)
{
	double sum = 0;
	for (size_t g = 0; g < c->n_groups; g++) {
		if (!c->groups[g].like[ch].delta.known)
			return;
		sum += c->groups[g].like[ch].delta.value;
	}
	if (c->like[ch].delta.known)
		ck_assert_double_eq_tol(sum, c->like[ch].delta.value, 1e-12 * fmax(1, fabs(sum)));
}

START_TEST(contributions_add_up)
{
	struct counts n = {0, 0};
	for (unsigned seed = 0; seed < (test_quick() ? 60u : 300u); seed++) {
		struct random r = random_seeded(seed + 5000);
		struct book b;
		struct err err = {0};
		struct compare c;
		random_book(&b, &r);
		struct model *m = model_new(&b, &err);
		ck_assert_msg(m != NULL, "%s", err.text);
		const fix *a = b.runs[random_below(&r, (unsigned)b.n_runs)].values;
		fix *v = b.runs[random_below(&r, (unsigned)b.n_runs)].values;
		/* Now and then one end of a pair alone, which may never have been driven. */
		if (seed % 2)
			v[0] = b.car.adjustables[0].max;
		ck_assert(compare_make(&c, m, a, v, &err));
		for (size_t k = 0; k < c.n_responses; k++)
			check_response(&c, k, &n);
		for (size_t ch = 0; ch < c.n_channels; ch++)
			check_like(&c, ch);
		compare_free(&c);
		model_free(m);
		book_free(&b);
	}
	ck_assert_uint_gt(n.told, 50);
	ck_assert_uint_gt(n.untold, 0);
}
END_TEST

START_TEST(changed_rows_come_first)
{
	struct compare_group groups[] = {
		{.changed = false}, {.changed = true}, {.changed = false}, {.changed = true}};
	const struct compare c = {.n_groups = 4, .groups = groups};
	size_t order[4];
	compare_order(&c, true, order);
	ck_assert_mem_eq(order, ((size_t[]){1, 3, 0, 2}), sizeof order);
	compare_order(&c, false, order);
	ck_assert_mem_eq(order, ((size_t[]){0, 1, 2, 3}), sizeof order);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("compare");
	TCase *t = tcase_create("books");
	tcase_set_timeout(t, 120);
	tcase_add_test(t, contributions_add_up);
	tcase_add_test(t, changed_rows_come_first);
	suite_add_tcase(s, t);
	return s;
}
