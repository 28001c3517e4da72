#include "model/reml_parts.h"

#include <stdlib.h>

bool reml_find_ranks(struct reduced *r, size_t shared, struct reml_fit *out)
{
	const size_t p = r->p, between = p - r->q;
	bool *dropped = calloc(p + 1, sizeof *dropped);
	double *scale = calloc(p + 1, sizeof *scale), *basis = NULL;
	size_t none;
	bool ok = dropped && scale;
	if (ok) {
		reml_stack(r, -1);
		ok = rank_test(r->work.t, between, between, p + 1, REML_RANK_TOL,
			&out->rank_between, dropped, scale, &none, &basis);
		free(basis);
		basis = NULL;
		out->rank_shared = out->rank_between;
	}
	if (ok && shared < between) {
		ok = rank_test(r->work.t, shared, shared, p + 1, REML_RANK_TOL, &out->rank_shared,
			dropped, scale, &none, &basis);
		free(basis);
		basis = NULL;
	}
	if (ok) {
		reml_stack(r, 0);
		ok = rank_test(r->work.t, p, p, p + 1, REML_RANK_TOL, &out->rank, dropped, scale,
			&out->n_null, &basis);
	}
	if (ok && out->n_null) {
		out->null_basis = malloc(out->n_null * p * sizeof *out->null_basis);
		ok = out->null_basis != NULL;
	}
	for (size_t j = 0; ok && j < p; j++) {
		const size_t c = (size_t)r->from[j];
		out->dropped[c] = dropped[j];
		out->scale[c] = scale[j];
		for (size_t k = 0; k < out->n_null; k++)
			out->null_basis[k * p + c] = basis[k * p + j];
	}
	free(basis);
	free(dropped);
	free(scale);
	return ok;
}

bool reml_find_saturated(const struct reduced *r, struct reml_fit *out, size_t groups)
{
	const size_t q = r->q;
	bool *dropped = malloc((q + 1) * sizeof *dropped);
	double *scale = malloc((q + 1) * sizeof *scale), *basis = NULL;
	size_t none;
	const bool ok = dropped && scale &&
			rank_test(r->within.t, q, q, q + 1, REML_RANK_TOL, &out->rank_inside,
				dropped, scale, &none, &basis);
	if (ok)
		out->saturated = out->rank - out->rank_inside >= groups;
	free(dropped);
	free(scale);
	free(basis);
	return ok;
}
