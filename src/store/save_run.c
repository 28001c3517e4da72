/*
 * A run that the user corrected. First values of the same shape are patched; then whole lines
 * come or go (laps, optional keys). What comes out must read back as the run wanted, else the
 * file is written anew, which keeps every figure but no comment.
 */
#include "store/change.h"
#include "store/load.h"
#include "store/lock.h"
#include "store/patch_parts.h"
#include "store/path.h"
#include "store/store.h"
#include "store/write.h"

#include <stdlib.h>
#include <string.h>

struct job {
	const struct book *b;
	const struct run *before, *after;
	size_t prefix, suffix; /* laps alike at both ends */
	struct err *err;
	bool memory; /* there was too little for the careful way: that is no reason for the rough
			one */
};

/* The run-level keys that hold one value, in the order of a file. */
static const char *const keys[] = {"kind", "version", "date", "sheet", "driver", "session",
	"compound", "values", "fuel", "fuel-per-lap", "track-temp", "tyre-age", NULL};

enum { TEXTS = 6, NUMBERS = 4, MAPS = 2 };
static const char *const text_keys[TEXTS] = {
	"date", "sheet", "driver", "session", "compound", "notes"};
static const char *const number_keys[NUMBERS] = {"fuel", "fuel-per-lap", "track-temp", "tyre-age"};
static const char *const map_keys[MAPS] = {"worn-at-start", "wear-total"};

static const char *text_of(const struct run *r, int i)
{
	const char *texts[TEXTS] = {
		r->date, r->sheet, r->driver, r->session, r->compound, r->notes ? r->notes : ""};
	return texts[i];
}

static struct opt_num number_of(const struct run *r, int i)
{
	const struct opt_num numbers[NUMBERS] = {
		r->fuel, r->fuel_per_lap, r->track_temp, r->tyre_age};
	return numbers[i];
}

static const bool *has_of(const struct run *r, int i)
{
	return i == 0 ? r->has_worn_at_start : r->has_wear_total;
}

static const double *map_of(const struct run *r, int i)
{
	return i == 0 ? r->worn_at_start : r->wear_total;
}

/* --- values in place --- */

/* Of what the reader found there: in a run that is still what the caller has of it, no node is
 * missing. Were one, the whole file is written anew. */
static bool patch_node(struct patch *p, const struct node *n, enum patch_type type,
	const char *text, struct err *err)
{
	return n && patch_scalar(p, n, type, text, err);
}

static bool patch_number(struct patch *p, const struct node *n, double v, struct err *err)
{
	char text[40];
	num_print(v, text, sizeof text);
	return patch_node(p, n, PATCH_NUMBER, text, err);
}

static bool patch_time(struct patch *p, const struct node *n, double seconds, struct err *err)
{
	char text[40];
	const bool minutes = n && memchr(n->text, ':', n->len);
	return minutes && write_as_laptime(seconds, text, sizeof text)
		       ? patch_node(p, n, PATCH_TEXT, text, err)
		       : patch_number(p, n, seconds, err);
}

/* Numbers of a channel map that has the same channels before and after. */
static bool patch_channels(struct patch *p, const struct book *b, const struct node *map,
	const bool *has, const double *before, const double *after, struct err *err)
{
	for (size_t c = 0; c < b->n_channels; c++)
		if (has[c] && before[c] != after[c] &&
			!patch_number(p, node_get(map, b->channels[c]), after[c], err))
			return false;
	return true;
}

static bool same_channels(const bool *a, const bool *b)
{
	return memcmp(a, b, CHANNELS_MAX * sizeof *a) == 0;
}

static bool same_shape(const struct lap *a, const struct lap *b)
{
	return a->has_effort == b->has_effort && !a->skip == !b->skip && !a->segments &&
	       !b->segments && same_channels(a->has_wear, b->has_wear) &&
	       same_channels(a->has_worn, b->has_worn);
}

static bool patch_lap(struct patch *p, const struct book *b, const struct node *n,
	const struct lap *before, const struct lap *after, struct err *err)
{
	if (!same_shape(before, after)) {
		struct buf text;
		buf_init(&text);
		write_lap(&text, b, after);
		bool ok = !text.failed ? patch_raw(p, n, text.data, err) : err_memory(err);
		buf_free(&text);
		return ok;
	}
	if (before->time != after->time && !patch_time(p, node_get(n, "time"), after->time, err))
		return false;
	if (before->has_effort && before->effort != after->effort &&
		!patch_number(p, node_get(n, "effort"), after->effort, err))
		return false;
	if (before->skip && strcmp(before->skip, after->skip) != 0 &&
		!patch_node(p, node_get(n, "skip"), PATCH_TEXT, after->skip, err))
		return false;
	return patch_channels(p, b, node_get(n, "wear"), after->has_wear, before->wear, after->wear,
		       err) &&
	       patch_channels(
		       p, b, node_get(n, "worn"), after->has_worn, before->worn, after->worn, err);
}

/* One of the list's items. NULL: the first behind the last. */
static const struct node *nth(const struct node *list, size_t i)
{
	const struct node *n = list->child;
	while (i-- > 0)
		n = n->next;
	return n;
}

/* Laps that stand in both, between the alike ends. */
static size_t paired(const struct job *j)
{
	size_t a = j->before->n_laps, b = j->after->n_laps;
	return (a < b ? a : b) - j->prefix - j->suffix;
}

static bool patch_laps(struct patch *p, const struct job *j)
{
	const struct node *n = nth(node_get(p->d->root, "laps"), j->prefix);
	for (size_t i = j->prefix; i < j->prefix + paired(j); i++, n = n->next)
		if (!lap_equal(&j->before->laps[i], &j->after->laps[i]) &&
			!patch_lap(p, j->b, n, &j->before->laps[i], &j->after->laps[i], j->err))
			return false;
	return true;
}

static bool patch_members(struct patch *p, const struct job *j)
{
	const struct node *root = p->d->root;
	for (int i = 0; i < TEXTS; i++) {
		const char *a = text_of(j->before, i), *b = text_of(j->after, i);
		if (*b && strcmp(a, b) != 0 &&
			!patch_member(p, root, text_keys[i], PATCH_TEXT, b,
				i < TEXTS - 1 ? keys : NULL, j->err))
			return false;
	}
	for (int i = 0; i < NUMBERS; i++) {
		struct opt_num a = number_of(j->before, i), b = number_of(j->after, i);
		char text[40];
		num_print(b.v, text, sizeof text);
		if (b.has && (!a.has || a.v != b.v) &&
			!patch_member(p, root, number_keys[i], PATCH_NUMBER, text, keys, j->err))
			return false;
	}
	for (int i = 0; i < MAPS; i++)
		if (same_channels(has_of(j->before, i), has_of(j->after, i)) &&
			!patch_channels(p, j->b, node_get(root, map_keys[i]), has_of(j->after, i),
				map_of(j->before, i), map_of(j->after, i), j->err))
			return false;
	return true;
}

static bool patch_values(struct patch *p, const struct job *j)
{
	const struct node *values = node_get(p->d->root, "values");
	for (size_t i = 0; i < j->after->n_values; i++) {
		const struct node *n = node_get(values, j->b->car.adjustables[i].id);
		if (j->before->values[i] != j->after->values[i] &&
			(!n || !change_fix(p, n, j->after->values[i], j->err)))
			return false;
	}
	return true;
}

/* --- whole lines: the laps are as many as the reader counted, the patches being of values --- */

struct splice {
	struct {
		size_t start, end;
		struct buf text;
	} at[TEXTS + NUMBERS + 2 * MAPS + 2];
	size_t n;
};

static struct buf *splice_add(struct splice *s, size_t start, size_t end)
{
	s->at[s->n].start = start;
	s->at[s->n].end = end;
	buf_init(&s->at[s->n].text);
	return &s->at[s->n++].text;
}

static size_t after_line(const struct doc *d, size_t at)
{
	const char *end = memchr(d->bytes + at, '\n', d->size - at);
	return end ? (size_t)(end - d->bytes) + 1 : d->size;
}

/* Of a node with text: what is empty in the file is nothing in the run. */
static size_t last_byte(const struct node *n)
{
	return n->end - 1;
}

static void splice_remove(struct splice *s, const struct doc *d, const char *key)
{
	const struct node *n = node_get(d->root, key);
	if (n)
		splice_add(s, line_begin(d, n->key->start), after_line(d, last_byte(n)));
}

static void splice_maps(struct splice *s, const struct doc *d, const struct job *j)
{
	const struct node *laps = node_get(d->root, "laps");
	for (int i = 0; i < MAPS; i++) {
		const bool *has = has_of(j->after, i);
		if (same_channels(has_of(j->before, i), has))
			continue;
		splice_remove(s, d, map_keys[i]);
		if (!write_has_any(j->b, has))
			continue;
		size_t at = line_begin(d, laps->key->start);
		struct buf *text = splice_add(s, at, at);
		buf_addf(text, "%s: ", map_keys[i]);
		write_channels(text, j->b, has, map_of(j->after, i));
		buf_adds(text, patch_eol(d));
	}
}

static void splice_new_laps(
	struct splice *s, const struct doc *d, const struct job *j, const struct node *laps)
{
	size_t first = j->prefix + paired(j), last = j->after->n_laps - j->suffix;
	const struct node *behind = first > 0 ? nth(laps, first - 1) : NULL;
	size_t at = behind ? after_line(d, last_byte(behind)) : line_begin(d, laps->start);
	struct buf *text = splice_add(s, at, at);
	if (at == d->size && d->bytes[at - 1] != '\n')
		buf_adds(text, patch_eol(d));
	for (size_t i = first; i < last; i++) {
		buf_addf(text, "%*s- ", (int)(laps->col - 1), "");
		write_lap(text, j->b, &j->after->laps[i]);
		buf_adds(text, patch_eol(d));
	}
}

static void splice_laps(struct splice *s, const struct doc *d, const struct job *j)
{
	const struct node *laps = node_get(d->root, "laps");
	size_t first = j->prefix + paired(j);
	size_t old_last = j->before->n_laps - j->suffix, new_last = j->after->n_laps - j->suffix;
	if (laps->flow)
		return;
	if (first < old_last) {
		const struct node *a = nth(laps, first), *z = nth(laps, old_last - 1);
		splice_add(s, line_begin(d, a->start), after_line(d, last_byte(z)));
	}
	if (first < new_last)
		splice_new_laps(s, d, j, laps);
}

static void splice_collect(struct splice *s, const struct doc *d, const struct job *j)
{
	for (int i = 0; i < TEXTS; i++)
		if (*text_of(j->before, i) && !*text_of(j->after, i))
			splice_remove(s, d, text_keys[i]);
	for (int i = 0; i < NUMBERS; i++)
		if (number_of(j->before, i).has && !number_of(j->after, i).has)
			splice_remove(s, d, number_keys[i]);
	splice_maps(s, d, j);
	splice_laps(s, d, j);
}

static void splice_write(struct splice *s, const struct doc *d, struct buf *out)
{
	size_t at = 0;
	/* Few, and nearly in order: pick the lowest each time. */
	for (size_t done = 0; done < s->n; done++) {
		size_t low = done;
		for (size_t i = done + 1; i < s->n; i++)
			if (s->at[i].start < s->at[low].start)
				low = i;
		struct buf text = s->at[low].text;
		size_t start = s->at[low].start, end = s->at[low].end;
		s->at[low] = s->at[done];
		if (start >= at) {
			buf_add(out, d->bytes + at, start - at);
			buf_add(out, text.data ? text.data : "", text.len);
			at = end;
		}
		out->failed |= text.failed;
		buf_free(&text);
	}
	buf_add(out, d->bytes + at, d->size - at);
}

/* --- all together --- */

static bool reads_as(const struct buf *text, const char *path, struct job *j)
{
	struct doc d;
	struct run again;
	struct faults f;
	bool same = false;
	faults_init(&f);
	if (doc_parse(&d, text->data, text->len, path, &f)) {
		if (load_run(&again, &d, j->after->id, &j->b->car, j->b, &f)) {
			same = run_equal(&again, j->after);
			run_free(&again);
		}
		doc_free(&d);
	}
	j->memory = faults_class(&f) == ERR_FAILED;
	faults_free(&f);
	return same;
}

/* The corrected text with all else kept; false: it cannot be had this way. */
static bool change_text(struct job *j, const struct doc *d, struct buf *out)
{
	struct patch p;
	struct doc patched;
	struct faults f;
	struct splice s = {.n = 0};
	char *bytes = NULL;
	size_t size = 0;
	patch_init(&p, d);
	bool ok = patch_members(&p, j) && patch_values(&p, j) && patch_laps(&p, j) &&
		  patch_apply(&p, &bytes, &size, j->err);
	patch_free(&p);
	j->memory = !ok && j->err->cls == ERR_FAILED;
	if (!ok)
		return false;
	faults_init(&f);
	ok = doc_parse(&patched, bytes, size, d->path, &f);
	j->memory = faults_class(&f) == ERR_FAILED;
	free(bytes);
	faults_free(&f);
	if (!ok)
		return false;
	splice_collect(&s, &patched, j);
	splice_write(&s, &patched, out);
	doc_free(&patched);
	j->memory = out->failed;
	return !out->failed && reads_as(out, d->path, j);
}

static bool save_text(struct job *j, struct doc *d, const char *path)
{
	struct buf text;
	buf_init(&text);
	if (!change_text(j, d, &text)) {
		buf_free(&text);
		if (j->memory)
			return err_memory(j->err);
		err_clear(j->err);
		write_run(&text, j->b, j->after);
	}
	bool ok = text.failed
			  ? err_memory(j->err)
			  : change_done(file_save(path, text.data, text.len, &d->stamp, j->err));
	buf_free(&text);
	return ok;
}

bool change_is_run(const struct book *b, const struct run *r, const struct doc *d, struct err *err)
{
	struct run now;
	struct faults f;
	faults_init(&f);
	bool same = false;
	if (load_run(&now, d, r->id, &b->car, b, &f)) {
		same = run_equal(&now, r);
		run_free(&now);
	}
	if (faults_class(&f) == ERR_FAILED)
		err_memory(err);
	else if (!same)
		err_failed(
			err, "was changed by someone else since it was read; nothing was written");
	if (!same)
		err_at(err, d->path, 0, 0);
	faults_free(&f);
	return same;
}

static void find_alike(struct job *j)
{
	size_t a = j->before->n_laps, b = j->after->n_laps, least = a < b ? a : b;
	while (j->prefix < least &&
		lap_equal(&j->before->laps[j->prefix], &j->after->laps[j->prefix]))
		j->prefix++;
	while (j->suffix < least - j->prefix &&
		lap_equal(&j->before->laps[a - 1 - j->suffix], &j->after->laps[b - 1 - j->suffix]))
		j->suffix++;
}

static bool save_locked(struct job *j, const char *path)
{
	struct doc d;
	if (!change_read(&d, path, j->err))
		return false;
	bool ok = change_is_run(j->b, j->before, &d, j->err);
	if (ok) {
		find_alike(j);
		ok = save_text(j, &d, path);
	}
	doc_free(&d);
	return ok;
}

bool store_save_run(
	const struct book *b, const struct run *before, const struct run *after, struct err *err)
{
	struct job j = {.b = b, .before = before, .after = after, .err = err};
	struct lock lock;
	bool ours;
	if (strcmp(before->id, after->id) != 0)
		return err_input(
			err, "a run keeps its id; '%s' is not '%s'", after->id, before->id);
	if (!store_check_run(b, after, err))
		return false;
	if (run_equal(before, after))
		return true;
	char *path = path_join(b->dir, "runs", after->id, ".yaml");
	if (!path)
		return err_memory(err);
	bool ok = change_lock(&lock, &ours, path, err);
	if (ok)
		ok = save_locked(&j, path);
	if (ours)
		lock_release(&lock);
	free(path);
	return ok;
}

bool store_run_is_there(const struct book *b, const char *id)
{
	char *path = path_join(b->dir, "runs", id, ".yaml");
	struct stat st;
	const bool there = path && lstat(path, &st) == 0;
	free(path);
	return there;
}
