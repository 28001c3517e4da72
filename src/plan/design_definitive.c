/*
 * Conference matrices by Paley (1933), the order 16 by doubling, and the definitive
 * screening designs made of them (Jones & Nachtsheim 2011; Xiao, Lin & Bai 2012).
 *
 * Paley: border the matrix chi(a - b) of the field GF(q), q = order - 1, chi being 0 for
 * 0, +1 for a square and -1 otherwise. The border is +1 on top, and on the left +1 where
 * q = 1 mod 4 (symmetric), -1 where q = 3 mod 4 (skew).
 */
#include "plan/design_own.h"

/* GF(9): the element c0 + c1 i, i^2 = -1, is counted as c0 + 3 c1. */
static unsigned nine_multiply(unsigned a, unsigned b)
{
	unsigned re = (a % 3) * (b % 3) + 2 * (a / 3) * (b / 3);
	unsigned im = (a % 3) * (b / 3) + (a / 3) * (b % 3);
	return re % 3 + 3 * (im % 3);
}

static unsigned nine_subtract(unsigned a, unsigned b)
{
	return (a % 3 + 3 - b % 3) % 3 + 3 * ((a / 3 + 3 - b / 3) % 3);
}

static unsigned field_multiply(unsigned q, unsigned a, unsigned b)
{
	return q == 9 ? nine_multiply(a, b) : a * b % q;
}

static unsigned field_subtract(unsigned q, unsigned a, unsigned b)
{
	return q == 9 ? nine_subtract(a, b) : (a + q - b) % q;
}

/* The quadratic character of GF(q). */
static int character(unsigned q, unsigned a)
{
	if (a == 0)
		return 0;
	for (unsigned b = 1; b < q; b++)
		if (field_multiply(q, b, b) == a)
			return 1;
	return -1;
}

static void fill_paley(struct design *d, unsigned q)
{
	int left = q % 4 == 1 ? 1 : -1;
	for (unsigned i = 1; i <= q; i++) {
		design_put(d, 0, i, 1);
		design_put(d, i, 0, left);
		for (unsigned j = 1; j <= q; j++)
			design_put(d, i, j, character(q, field_subtract(q, i - 1, j - 1)));
	}
}

/* [S, S + I; S - I, -S] of a skew matrix S. */
static void fill_doubled(struct design *d, const struct design *s)
{
	size_t n = s->runs;
	for (size_t i = 0; i < n; i++)
		for (size_t j = 0; j < n; j++) {
			int v = design_at(s, i, j), one = i == j;
			design_put(d, i, j, v);
			design_put(d, i, n + j, v + one);
			design_put(d, n + i, j, v - one);
			design_put(d, n + i, n + j, -v);
		}
}

static bool make_doubled(struct design *d, size_t order, struct err *err)
{
	struct design half;
	if (!design_conference(&half, order / 2, err))
		return false;
	bool ok = design_alloc(d, order, order, err);
	if (ok)
		fill_doubled(d, &half);
	design_free(&half);
	return ok;
}

bool design_conference(struct design *d, size_t order, struct err *err)
{
	design_init(d);
	if (order < 4 || order > DESIGN_DEFINITIVE_MAX || order % 2 || order == 22)
		return err_input(err,
			"a conference matrix of order %zu; allowed: even orders 4 to 24, not 22",
			order);
	if (order == 16)
		return make_doubled(d, order, err);
	if (!design_alloc(d, order, order, err))
		return false;
	fill_paley(d, (unsigned)order - 1);
	return true;
}

bool design_definitive(struct design *d, size_t factors, struct err *err)
{
	design_init(d);
	if (factors < DESIGN_DEFINITIVE_MIN || factors > DESIGN_DEFINITIVE_MAX)
		return err_input(err,
			"a definitive screening plan with %zu factors; allowed: %d to %d", factors,
			DESIGN_DEFINITIVE_MIN, DESIGN_DEFINITIVE_MAX);
	size_t order = factors < 4 ? 4 : factors + factors % 2;
	if (order == 22)
		order = 24;
	struct design c;
	if (!design_conference(&c, order, err))
		return false;
	bool ok = design_alloc(d, 2 * order + 1, factors, err);
	for (size_t i = 0; ok && i < order; i++)
		for (size_t f = 0; f < factors; f++) {
			design_put(d, i, f, design_at(&c, i, f));
			design_put(d, order + i, f, -design_at(&c, i, f));
		}
	design_free(&c);
	return ok;
}
