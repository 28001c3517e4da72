#include "plan/design.h"
#include "plan/design_own.h"

#include <stdlib.h>

void design_init(struct design *d)
{
	*d = (struct design){0};
}

void design_free(struct design *d)
{
	free(d->x);
	design_init(d);
}

int design_at(const struct design *d, size_t run, size_t factor)
{
	return d->x[run * d->factors + factor];
}

bool design_alloc(struct design *d, size_t runs, size_t factors, struct err *err)
{
	d->runs = d->factors = 0;
	d->x = calloc(runs * factors, sizeof *d->x);
	if (!d->x)
		return err_memory(err);
	d->runs = runs;
	d->factors = factors;
	return true;
}

void design_put(struct design *d, size_t run, size_t factor, int level)
{
	d->x[run * d->factors + factor] = (signed char)level;
}

bool design_one_at_a_time(struct design *d, size_t factors, struct err *err)
{
	design_init(d);
	if (factors < 1 || factors > DESIGN_ONE_MAX)
		return err_input(err, "a one-at-a-time plan with %zu factors; allowed: 1 to %d",
			factors, DESIGN_ONE_MAX);
	if (!design_alloc(d, 2 * factors, factors, err))
		return false;
	for (size_t f = 0; f < factors; f++) {
		design_put(d, f, f, -1);
		design_put(d, factors + f, f, +1);
	}
	return true;
}

long design_gram(const struct design *d, size_t a, size_t b)
{
	long sum = 0;
	for (size_t r = 0; r < d->runs; r++)
		sum += design_at(d, r, a) * design_at(d, r, b);
	return sum;
}

long design_sum(const struct design *d, size_t a)
{
	long sum = 0;
	for (size_t r = 0; r < d->runs; r++)
		sum += design_at(d, r, a);
	return sum;
}

long design_alias(const struct design *d, size_t a, size_t b, size_t c)
{
	long sum = 0;
	for (size_t r = 0; r < d->runs; r++)
		sum += design_at(d, r, a) * design_at(d, r, b) * design_at(d, r, c);
	return sum;
}
