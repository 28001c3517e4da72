/* Reading and writing BOOK/plan.yaml. */
#include "store/change.h"
#include "store/load.h"
#include "store/patch.h"
#include "store/path.h"
#include "store/plan_file.h"
#include "store/read.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { RUNS_MAX = 1000 };

static const char *const roles[] = {"baseline", "test"};
static const char *const orders[] = {"random", "quick"};

static char *plan_path(const struct book *b)
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
	if (access(path, F_OK) != 0) {
		free(path);
		return true;
	}
	if (save_is_whole(path, faults) && doc_read(&d, path, faults)) {
		*p = load_plan(&d, &b->car, faults);
		doc_free(&d);
	}
	free(path);
	return *p != NULL;
}

static void add_values(struct buf *out, const struct car *car, const fix *values)
{
	size_t column = 0;
	buf_adds(out, "{");
	for (size_t a = 0; a < car->n_adjustables; a++) {
		const struct adjustable *one = &car->adjustables[a];
		char text[32];
		int n = fix_print_min(values[a], fix_decimals(one->step), text, sizeof text);
		size_t need = strlen(one->id) + 4 + (size_t)n;
		if (column + need > 84) {
			buf_adds(out, "\n      ");
			column = 0;
		} else if (a) {
			buf_adds(out, " ");
		}
		yaml_add_text(out, one->id);
		buf_addf(out, ": %s%s", text, a + 1 < car->n_adjustables ? "," : "");
		column += need;
	}
	buf_adds(out, "}\n");
}

/* An id is always written in double quotes where plain it would read as something else. */
void print_plan(struct buf *out, const struct car *car, const struct plan *p)
{
	buf_addf(out, "kind: plan\nversion: 1\nplan: %s\nbase: ", plan_kind_names[p->kind]);
	yaml_add_text(out, p->base);
	buf_addf(out, "\nlaps: %zu                     # timed laps of each run\nfactors: [",
		p->laps);
	for (size_t f = 0; f < p->n_factors; f++) {
		buf_adds(out, f ? ", " : "");
		yaml_add_text(out, p->factors[f].id);
	}
	buf_addf(out, "]\norder: %s\nrng: %lu\nruns:\n", orders[p->quick], p->rng);
	for (size_t i = 0; i < p->n_runs; i++) {
		buf_addf(out, "  - role: %s\n", roles[!p->runs[i].baseline]);
		if (p->runs[i].done[0]) {
			buf_adds(out, "    done: ");
			yaml_add_text(out, p->runs[i].done);
			buf_adds(out, "\n");
		}
		buf_adds(out, "    values: ");
		add_values(out, car, p->runs[i].values);
	}
}

/* The plan in these bytes; NULL: there is none in them, or *memory was short. */
static struct plan *parse_plan(
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

/* May what stands at path be replaced? Its stamp is then in *stamp, all zero where nothing is. */
static bool may_replace(
	const struct book *b, const char *path, bool replace, struct stamp *stamp, struct err *err)
{
	char *bytes = NULL;
	size_t size;
	memset(stamp, 0, sizeof *stamp);
	if (access(path, F_OK) != 0)
		return true;
	if (!file_read(path, DOC_MAX_BYTES, &bytes, &size, stamp, err))
		return false;
	/* Those very bytes are judged, that the stamp is of. */
	bool memory = false;
	struct plan *old = replace ? NULL : parse_plan(bytes, size, path, &b->car, &memory);
	free(bytes);
	if (memory)
		return err_memory(err);
	if (replace || (old && plan_next_run(old) < 0)) {
		plan_free(old);
		return true;
	}
	err_input(err, "%s",
		old ? "the book has a plan with runs still to be driven; replace it or keep it"
		    : "what stands here cannot be read as a plan; replace it or mend it");
	err_at(err, path, 0, 0);
	plan_free(old);
	return false;
}

bool store_save_plan(const struct book *b, const struct plan *p, bool replace, struct err *err)
{
	struct stamp stamp;
	struct buf out;
	char *path = plan_path(b);
	if (!path)
		return err_memory(err);
	buf_init(&out);
	bool ok = may_replace(b, path, replace, &stamp, err);
	if (ok) {
		print_plan(&out, &b->car, p);
		ok = out.failed ? err_memory(err)
				: change_done(file_save(path, out.data, out.len, &stamp, err));
	}
	buf_free(&out);
	free(path);
	return ok;
}

static const struct node *find_run(const struct doc *d, size_t index)
{
	const struct node *runs = node_get(d->root, "runs");
	const struct node *n = runs ? runs->child : NULL;
	for (; n && index; index--)
		n = n->next;
	return n;
}

static bool tick_doc(struct doc *d, size_t index, const char *run_id, struct err *err)
{
	static const char *const after[] = {"role", NULL};
	struct patch patch;
	struct stamp stamp = d->stamp;
	const struct node *run = find_run(d, index);
	if (!run)
		return err_input(err, "the plan has no run %zu", index + 1);
	patch_init(&patch, d);
	bool ok = patch_member(&patch, run, "done", PATCH_TEXT, run_id, after, err) &&
		  change_done(change_save(&patch, d->path, &stamp, err));
	patch_free(&patch);
	return ok;
}

bool store_tick_plan(const struct book *b, size_t index, const char *run_id, struct err *err)
{
	struct doc d;
	char *path = plan_path(b);
	if (!path)
		return err_memory(err);
	bool ok = change_read(&d, path, err);
	if (ok) {
		ok = tick_doc(&d, index, run_id, err);
		doc_free(&d);
	}
	free(path);
	return ok;
}

/* --- striking a run out ------------------------------------------------------------ */

/* The lines that an item of a block list stands on; false: it shares them with something else. */
static bool lines_of(const struct doc *d, const struct node *n, size_t *from, size_t *to)
{
	size_t a = n->start, z = n->end;
	while (a > 0 && d->bytes[a - 1] != '\n')
		a--;
	size_t dash = a + strspn(d->bytes + a, " ");
	if (dash >= n->start || d->bytes[dash] != '-' ||
		dash + 1 + strspn(d->bytes + dash + 1, " ") != n->start)
		return false;
	z += strspn(d->bytes + z, " \t\r");
	if (z < d->size && d->bytes[z] == '#')
		z += strcspn(d->bytes + z, "\n");
	if (z < d->size && d->bytes[z] != '\n')
		return false;
	*from = a;
	*to = z < d->size ? z + 1 : z;
	return true;
}

static bool may_strike(const struct plan *p, size_t index, const fix *values, struct err *err)
{
	if (index == 0)
		return err_input(
			err, "run 1 is what the moves are told from; it stays in the plan");
	if (index >= p->n_runs ||
		memcmp(p->runs[index].values, values, p->n_adjustables * sizeof *values) != 0)
		return err_input(err, "plan.yaml has changed meanwhile; look at it again");
	if (p->runs[index].done[0])
		return err_input(err, "run %zu was driven as %s; it stays in the plan", index + 1,
			p->runs[index].done);
	return true;
}

/* Takes a run out of the plan itself; its values stay, unused. */
static void drop_plan_run(struct plan *p, size_t index)
{
	p->n_runs--;
	memmove(p->runs + index, p->runs + index + 1, (p->n_runs - index) * sizeof *p->runs);
}

/* Do these bytes say what the plan says? Both are compared as print_plan() writes them. */
static bool says_plan(const char *bytes, size_t size, const char *path, const struct car *car,
	const struct plan *p, bool *memory)
{
	struct plan *now = parse_plan(bytes, size, path, car, memory);
	struct buf a, b;
	if (!now)
		return false;
	buf_init(&a);
	buf_init(&b);
	print_plan(&a, car, now);
	print_plan(&b, car, p);
	*memory = a.failed || b.failed;
	const bool same = !*memory && strcmp(a.data, b.data) == 0;
	buf_free(&a);
	buf_free(&b);
	plan_free(now);
	return same;
}

/* p: the plan of the document. */
static bool strike_doc(
	struct doc *d, const struct book *b, struct plan *p, size_t index, struct err *err)
{
	size_t from, to;
	if (!lines_of(d, find_run(d, index), &from, &to))
		return err_input(err,
			"the runs of plan.yaml do not stand on lines of their own; strike it out "
			"there");
	char *bytes = malloc(d->size + 1);
	if (!bytes)
		return err_memory(err);
	memcpy(bytes, d->bytes, from);
	memcpy(bytes + from, d->bytes + to, d->size - to);
	const size_t size = d->size - (to - from);
	struct stamp stamp = d->stamp;
	bool ok = false, memory;
	drop_plan_run(p, index);
	if (says_plan(bytes, size, d->path, &b->car, p, &memory))
		ok = change_done(file_save(d->path, bytes, size, &stamp, err));
	else if (memory)
		err_memory(err);
	else
		err_failed(err, "run %zu could not be taken out of plan.yaml", index + 1);
	free(bytes);
	return ok;
}

bool store_strike_plan(const struct book *b, size_t index, const fix *values, struct err *err)
{
	struct faults faults;
	struct doc d;
	char *path = plan_path(b);
	bool ok = false;
	if (!path)
		return err_memory(err);
	faults_init(&faults);
	if (doc_read(&d, path, &faults)) {
		struct plan *p = load_plan(&d, &b->car, &faults);
		ok = p && may_strike(p, index, values, err) && strike_doc(&d, b, p, index, err);
		plan_free(p);
		doc_free(&d);
	}
	if (!ok && err->cls == ERR_NONE)
		*err = faults.n ? faults.list[0] : faults.oom;
	faults_free(&faults);
	free(path);
	return ok;
}
