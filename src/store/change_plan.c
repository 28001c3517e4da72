/* Changing BOOK/plan.yaml: runs ticked off and struck out, always on the plan as it stands then. */
#include "store/change.h"
#include "store/lock.h"
#include "store/patch.h"
#include "store/path.h"
#include "store/plan_file.h"

#include <stdlib.h>
#include <string.h>

/* So often the file is read again when somebody without the lock changed it meanwhile. */
enum { CONFLICTS_MAX = 20 };

/* Its document and its plan, both the caller's on true. */
static bool read_plan(
	const struct book *b, const char *path, struct doc *d, struct plan **p, struct err *err)
{
	struct faults faults;
	*p = NULL;
	faults_init(&faults);
	if (save_is_whole(path, &faults) && doc_read(d, path, &faults)) {
		*p = load_plan(d, &b->car, &faults);
		if (!*p)
			doc_free(d);
	}
	if (!*p)
		*err = faults.n ? faults.list[0] : faults.oom;
	faults_free(&faults);
	return *p != NULL;
}

/* Judges the plan as read and saves what it makes of it; SAVE_DONE too where nothing is to do. */
typedef enum save_outcome (*plan_change)(
	void *what, struct doc *d, struct plan *p, struct err *err);

static bool change_locked(
	const struct book *b, const char *path, plan_change change, void *what, struct err *err)
{
	enum save_outcome got = SAVE_CONFLICT;
	for (int i = 0; got == SAVE_CONFLICT && i < CONFLICTS_MAX; i++) {
		struct doc d;
		struct plan *p;
		if (i)
			change_wait();
		if (!read_plan(b, path, &d, &p, err))
			return false;
		err_clear(err);
		got = change(what, &d, p, err);
		plan_free(p);
		doc_free(&d);
	}
	return change_done(got);
}

static bool change_plan(const struct book *b, plan_change change, void *what, struct err *err)
{
	struct lock lock;
	bool ours;
	char *path = plan_path(b);
	if (!path)
		return err_memory(err);
	bool ok = change_lock_wait(&lock, &ours, path, err) &&
		  change_locked(b, path, change, what, err);
	if (ours)
		lock_release(&lock);
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

/* --- ticking off -------------------------------------------------------------------- */

static bool add_tick(
	struct patch *patch, const struct doc *d, size_t index, const char *run_id, struct err *err)
{
	static const char *const after[] = {"role", NULL};
	return patch_member(patch, find_run(d, index), "done", PATCH_TEXT, run_id, after, err);
}

static bool same_values(const struct plan *p, size_t index, const fix *values)
{
	return memcmp(p->runs[index].values, values, p->n_adjustables * sizeof *values) == 0;
}

struct tick {
	size_t index;
	const struct plan_run *seen;
	const char *run_id;
};

static bool may_tick(const struct plan *p, const struct tick *t, struct err *err)
{
	if (t->index >= p->n_runs)
		return err_input(err, "the plan has no run %zu", t->index + 1);
	const char *done = p->runs[t->index].done;
	if (t->seen && !same_values(p, t->index, t->seen->values))
		return err_input(err, "plan.yaml has changed meanwhile; look at it again");
	if (done[0] && strcmp(done, t->run_id) != 0 &&
		!(t->seen && strcmp(done, t->seen->done) == 0))
		return err_input(err, "run %zu of the plan was driven as %s%s", t->index + 1, done,
			t->seen ? " meanwhile" : " already");
	return true;
}

static enum save_outcome tick(void *what, struct doc *d, struct plan *p, struct err *err)
{
	const struct tick *t = what;
	struct patch patch;
	struct stamp stamp = d->stamp;
	enum save_outcome got = SAVE_FAILED;
	if (!may_tick(p, t, err))
		return SAVE_FAILED;
	if (strcmp(p->runs[t->index].done, t->run_id) == 0)
		return SAVE_DONE;
	patch_init(&patch, d);
	if (add_tick(&patch, d, t->index, t->run_id, err))
		got = change_save(&patch, d->path, &stamp, err);
	patch_free(&patch);
	return got;
}

bool store_tick_plan(const struct book *b, size_t index, const struct plan_run *seen,
	const char *run_id, struct err *err)
{
	struct tick what = {index, seen, run_id};
	return change_plan(b, tick, &what, err);
}

struct ticks {
	const struct run *runs;
	size_t n;
	struct plan_tick *list;
	size_t *left;
};

/* Where the run is noted, or may be: the first open run of the plan with its values. */
static struct plan_tick place_tick(const struct plan *p, const struct run *r)
{
	struct plan_tick t = {-1, false, -1};
	for (size_t i = 0; i < p->n_runs; i++) {
		const char *done = p->runs[i].done;
		if (strcmp(done, r->id) == 0)
			return (struct plan_tick){(int)i, true, -1};
		if (!same_values(p, i, r->values))
			continue;
		if (!done[0] && t.at < 0)
			t.at = (int)i;
		else if (done[0] && t.other < 0)
			t.other = (int)i;
	}
	if (t.at >= 0)
		t.other = -1;
	return t;
}

/* All of them, into the plan in memory too; true if one of them is new there. */
static bool place_ticks(const struct ticks *t, struct plan *p)
{
	bool news = false;
	*t->left = 0;
	for (size_t i = 0; i < t->n; i++) {
		t->list[i] = place_tick(p, &t->runs[i]);
		if (t->list[i].at < 0 || t->list[i].before)
			continue;
		memcpy(p->runs[t->list[i].at].done, t->runs[i].id, ID_SIZE);
		news = true;
	}
	for (size_t i = 0; i < p->n_runs; i++)
		*t->left += !p->runs[i].done[0];
	return news;
}

static enum save_outcome tick_all(void *what, struct doc *d, struct plan *p, struct err *err)
{
	const struct ticks *t = what;
	struct patch patch;
	struct stamp stamp = d->stamp;
	enum save_outcome got = SAVE_FAILED;
	bool ok = true;
	if (!place_ticks(t, p))
		return SAVE_DONE;
	patch_init(&patch, d);
	for (size_t i = 0; ok && i < t->n; i++)
		if (t->list[i].at >= 0 && !t->list[i].before)
			ok = add_tick(&patch, d, (size_t)t->list[i].at, t->runs[i].id, err);
	if (ok)
		got = change_save(&patch, d->path, &stamp, err);
	patch_free(&patch);
	return got;
}

bool store_tick_runs(const struct book *b, const struct run *runs, size_t n, struct plan_tick *list,
	size_t *left, struct err *err)
{
	struct ticks what = {runs, n, list, left};
	struct faults faults;
	struct plan *p;
	*left = 0;
	for (size_t i = 0; i < n; i++)
		list[i] = (struct plan_tick){-1, false, -1};
	faults_init(&faults);
	const bool ok = store_load_plan(&p, b, &faults);
	if (!ok)
		*err = faults.n ? faults.list[0] : faults.oom;
	faults_free(&faults);
	/* Whose lock it is matters only where there is something to write. */
	const bool news = p && place_ticks(&what, p);
	plan_free(p);
	return ok && (!news || change_plan(b, tick_all, &what, err));
}

/* --- striking a run out ------------------------------------------------------------- */

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
	struct plan *now = plan_parse(bytes, size, path, car, memory);
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

struct strike {
	const struct book *b;
	size_t index;
	const fix *values;
};

static enum save_outcome strike(void *what, struct doc *d, struct plan *p, struct err *err)
{
	const struct strike *s = what;
	size_t from, to;
	if (!may_strike(p, s->index, s->values, err))
		return SAVE_FAILED;
	if (!lines_of(d, find_run(d, s->index), &from, &to)) {
		err_input(err,
			"the runs of plan.yaml do not stand on lines of their own; strike it out "
			"there");
		return SAVE_FAILED;
	}
	char *bytes = malloc(d->size + 1);
	if (!bytes) {
		err_memory(err);
		return SAVE_FAILED;
	}
	memcpy(bytes, d->bytes, from);
	memcpy(bytes + from, d->bytes + to, d->size - to);
	const size_t size = d->size - (to - from);
	struct stamp stamp = d->stamp;
	enum save_outcome got = SAVE_FAILED;
	bool memory;
	drop_plan_run(p, s->index);
	if (says_plan(bytes, size, d->path, &s->b->car, p, &memory))
		got = file_save(d->path, bytes, size, &stamp, err);
	else if (memory)
		err_memory(err);
	else
		err_failed(err, "run %zu could not be taken out of plan.yaml", s->index + 1);
	free(bytes);
	return got;
}

bool store_strike_plan(const struct book *b, size_t index, const fix *values, struct err *err)
{
	struct strike what = {b, index, values};
	return change_plan(b, strike, &what, err);
}
