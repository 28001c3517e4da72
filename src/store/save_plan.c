/* Writing BOOK/plan.yaml anew. */
#include "store/change.h"
#include "store/load.h"
#include "store/lock.h"
#include "store/patch.h"
#include "store/path.h"
#include "store/plan_file.h"

#include <stdlib.h>
#include <string.h>

static const char *const roles[] = {"baseline", "test"};
static const char *const orders[] = {"random", "quick"};

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

/* May what stands at path be replaced? Its stamp is then in *stamp, all zero where nothing is. */
static bool may_replace(
	const struct book *b, const char *path, bool replace, struct stamp *stamp, struct err *err)
{
	char *bytes = NULL;
	size_t size;
	bool there;
	memset(stamp, 0, sizeof *stamp);
	if (!path_there(path, &there, err))
		return false;
	if (!there)
		return true;
	if (!file_read(path, DOC_MAX_BYTES, &bytes, &size, stamp, err))
		return false;
	/* Those very bytes are judged, that the stamp is of. */
	bool memory = false;
	struct plan *old = replace ? NULL : plan_parse(bytes, size, path, &b->car, &memory);
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

static bool save_locked(
	const struct book *b, const char *path, const struct plan *p, bool replace, struct err *err)
{
	struct stamp stamp;
	struct buf out;
	if (!may_replace(b, path, replace, &stamp, err))
		return false;
	buf_init(&out);
	print_plan(&out, &b->car, p);
	bool ok = out.failed ? err_memory(err)
			     : change_done(file_save(path, out.data, out.len, &stamp, err));
	buf_free(&out);
	return ok;
}

bool store_save_plan(const struct book *b, const struct plan *p, bool replace, struct err *err)
{
	struct lock lock;
	bool ours;
	char *path = plan_path(b);
	if (!path)
		return err_memory(err);
	bool ok =
		change_lock_wait(&lock, &ours, path, err) && save_locked(b, path, p, replace, err);
	if (ours)
		lock_release(&lock);
	free(path);
	return ok;
}
