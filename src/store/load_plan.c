/* Reading BOOK/plan.yaml. */
#include "store/load.h"
#include "store/path.h"
#include "store/plan_file.h"
#include "store/read.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RUNS_MAX = 1000 };

static const char *const roles[] = {"baseline", "test"};
static const char *const orders[] = {"random", "quick"};

char *plan_path(const struct book *b)
{
	return path_join(b->dir, "", "plan", ".yaml");
}

static void take_whole(struct reader *r, const struct node *n, struct range range, double *out)
{
	if (read_number(r, n, range, out) && *out != floor(*out))
		read_fault(r, n, "not a whole number");
}

static bool has_factor(const struct plan *p, const char *id)
{
	for (size_t f = 0; f < p->n_factors; f++)
		if (strcmp(p->factors[f].id, id) == 0)
			return true;
	return false;
}

static void take_factors(
	struct reader *r, const struct node *n, const struct car *car, struct plan *p)
{
	if (!read_is_list(r, n, "a list of adjustables and pairs"))
		return;
	p->factors = calloc(n->n_children + 1, sizeof *p->factors);
	if (!p->factors) {
		read_memory(r);
		return;
	}
	for (const struct node *m = n->child; m; m = m->next) {
		char id[ID_SIZE];
		if (!read_id(r, m, id))
			continue;
		if (has_factor(p, id))
			read_fault(r, m, "'%s' stands twice in this list; keep one", id);
		else if (!plan_take_factor(p, car, id))
			read_fault(r, m, "the car has no adjustable or pair '%s'", id);
	}
}

static void take_run(struct reader *r, const struct node *n, const struct car *car,
	struct plan_run *run, fix *values)
{
	static const struct field fields[] = {{"role", true}, {"values", true}, {"done", false}};
	const struct node *at[3];
	run->values = values;
	if (!read_fields(r, n, "a run of the plan", fields, 3, at))
		return;
	run->baseline = read_choice(r, at[0], roles, 2) == 0;
	load_values(r, at[1], car, values);
	read_id(r, at[2], run->done);
}

static void take_runs(struct reader *r, const struct node *n, const struct car *car, struct plan *p)
{
	if (!read_is_list(r, n, "a list of runs"))
		return;
	if (n->n_children == 0 || n->n_children > RUNS_MAX) {
		read_fault(r, n, "%zu runs; 1 to %d are allowed", n->n_children, RUNS_MAX);
		return;
	}
	p->n_adjustables = car->n_adjustables;
	p->runs = calloc(n->n_children, sizeof *p->runs);
	p->values = calloc(n->n_children * car->n_adjustables + 1, sizeof *p->values);
	if (!p->runs || !p->values) {
		read_memory(r);
		return;
	}
	for (const struct node *m = n->child; m; m = m->next) {
		fix *values = p->values + p->n_runs * car->n_adjustables;
		take_run(r, m, car, &p->runs[p->n_runs++], values);
	}
}

static void take_plan(struct reader *r, const struct doc *d, const struct car *car, struct plan *p)
{
	static const struct field fields[] = {{"kind", true}, {"version", true}, {"plan", true},
		{"base", true}, {"laps", true}, {"factors", true}, {"order", false}, {"rng", false},
		{"runs", true}};
	static const struct range laps_range = {1, 1000, false}, rng_range = {0, 2147483647, false};
	const struct node *at[9];
	double laps = PLAN_LAPS_USUAL, rng = 1;
	if (!read_head(r, d->root, "plan") || !read_fields(r, d->root, "a plan", fields, 9, at))
		return;
	int kind = read_choice(r, at[2], plan_kind_names, PLAN_KINDS);
	p->kind = kind < 0 ? PLAN_SCREENING : (enum plan_kind)kind;
	read_id(r, at[3], p->base);
	take_whole(r, at[4], laps_range, &laps);
	take_factors(r, at[5], car, p);
	p->quick = read_choice(r, at[6], orders, 2) == 1;
	take_whole(r, at[7], rng_range, &rng);
	take_runs(r, at[8], car, p);
	/* Set from within their ranges only. */
	p->laps = (size_t)laps;
	p->rng = (unsigned long)rng;
}

struct plan *load_plan(const struct doc *d, const struct car *car, struct faults *faults)
{
	struct reader r = {d, faults, false};
	size_t from = faults->n;
	struct plan *p = calloc(1, sizeof *p);
	if (!p) {
		read_memory(&r);
		return NULL;
	}
	take_plan(&r, d, car, p);
	faults_sort(faults, from);
	if (r.bad) {
		plan_free(p);
		return NULL;
	}
	plan_take_levels(p);
	return p;
}

static void add_memory(struct faults *faults, const char *path)
{
	struct err e;
	err_clear(&e);
	err_memory(&e);
	err_at(&e, path, 0, 0);
	faults_add(faults, &e);
}

bool store_load_plan(struct plan **p, const struct book *b, struct faults *faults)
{
	struct doc d;
	*p = NULL;
	char *path = plan_path(b);
	if (!path) {
		add_memory(faults, b->dir);
		return false;
	}
	bool there;
	struct err err;
	err_clear(&err);
	if (!path_there(path, &there, &err))
		faults_add(faults, &err);
	else if (there && save_is_whole(path, faults) && doc_read(&d, path, faults)) {
		*p = load_plan(&d, &b->car, faults);
		doc_free(&d);
	}
	free(path);
	return *p != NULL || !there;
}

struct plan *plan_parse(
	const char *bytes, size_t size, const char *path, const struct car *car, bool *memory)
{
	struct faults faults;
	struct plan *p = NULL;
	struct doc d;
	faults_init(&faults);
	if (doc_parse(&d, bytes, size, path, &faults)) {
		p = load_plan(&d, car, &faults);
		doc_free(&d);
	}
	*memory = faults_class(&faults) == ERR_FAILED;
	faults_free(&faults);
	return p;
}
