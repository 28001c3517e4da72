/* Sheets, and the values that sheets and runs share. */
#include "store/load.h"
#include "store/read.h"

#include "balance/balance.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Files follow the car's order as a rule, so the next one is tried first. */
static int find_adjustable(const struct car *car, const struct node *key, size_t guess)
{
	if (guess < car->n_adjustables && node_is(key, car->adjustables[guess].id))
		return (int)guess;
	for (size_t i = 0; i < car->n_adjustables; i++)
		if (node_is(key, car->adjustables[i].id))
			return (int)i;
	return -1;
}

static void fault_missing(
	struct reader *r, const struct node *n, const struct car *car, const bool *seen)
{
	char list[300] = "";
	size_t len = 0, count = 0;
	for (size_t i = 0; i < car->n_adjustables; i++) {
		if (seen[i])
			continue;
		if (len < sizeof list)
			len += (size_t)snprintf(list + len, sizeof list - len, "%s%s",
				count ? ", " : "", car->adjustables[i].id);
		count++;
	}
	if (count > 0)
		read_fault(r, n, "values are missing: %s; every adjustable of the car needs one",
			list);
}

static void load_value(struct reader *r, const struct node *n, const struct adjustable *a, fix *v)
{
	fix got = 0;
	struct err e;
	err_clear(&e);
	if (!read_fix(r, n, &got))
		return;
	if (!car_check_value(a, got, "", &e))
		read_fault(r, n, "%s", e.text);
	*v = got;
}

void load_values(struct reader *r, const struct node *n, const struct car *car, fix *v)
{
	char shown[SHOW_SIZE];
	if (!read_is_map(r, n, "a mapping of adjustables to values"))
		return;
	if (!car) {
		fix unused;
		for (const struct node *m = n->child; m; m = m->next)
			read_fix(r, m, &unused);
		return;
	}
	bool *seen = calloc(car->n_adjustables + 1, sizeof *seen);
	if (!seen) {
		read_memory(r);
		return;
	}
	size_t guess = 0;
	for (const struct node *m = n->child; m; m = m->next) {
		int i = find_adjustable(car, m->key, guess);
		if (i < 0) {
			read_fault(r, m->key,
				"the car has no adjustable '%s'; use the ids of its profile",
				node_show(m->key, shown));
			continue;
		}
		seen[i] = true;
		guess = (size_t)i + 1;
		load_value(r, m, &car->adjustables[i], &v[i]);
	}
	fault_missing(r, n, car, seen);
	free(seen);
}

/* One flag per adjustable or pair named in a list of ids. */
static void load_flags(struct reader *r, const struct node *n, const struct car *car,
	int (*find)(const struct car *, const char *), const char *what, bool *flags)
{
	if (!read_is_list(r, n, what))
		return;
	for (const struct node *m = n->child; m; m = m->next) {
		char id[ID_SIZE];
		if (!read_id(r, m, id) || !car)
			continue;
		int i = find(car, id);
		if (i < 0)
			read_fault(r, m, "the car has no '%s' that fits; this is %s", id, what);
		else if (flags[i])
			read_fault(r, m, "'%s' stands twice in this list; keep one", id);
		else
			flags[i] = true;
	}
}

/* A pair holds one thing: its difference or the share. And only some pairs can hold the share. */
static void check_holds(
	struct reader *r, const struct node *n, const struct car *car, const struct sheet *s)
{
	for (const struct node *m = n->child; m; m = m->next) {
		struct err e;
		int p = m->kind == NODE_SCALAR ? car_find_pair(car, m->text) : -1;
		err_clear(&e);
		if (p < 0)
			continue;
		if (s->locked[p])
			read_fault(r, m,
				"'%s' is in locks too; a pair holds its difference or the "
				"load-transfer share, not both",
				car->pairs[p].id);
		else if (!balance_can_hold(car, p, &e))
			read_fault(r, m, "%s", e.text);
	}
}

bool load_sheet(struct sheet *s, const struct doc *d, const char *id, const struct car *car,
	struct faults *faults)
{
	static const struct field fields[] = {{"kind", true}, {"version", true}, {"name", false},
		{"values", true}, {"locks", false}, {"frozen", false}, {"notes", false},
		{"held-shares", false}};
	const struct node *at[8];
	struct reader r = {d, faults, false};
	size_t from = faults->n;
	sheet_init(s);
	if (car && !sheet_alloc(s, car))
		return read_memory(&r);
	memcpy(s->id, id, strlen(id) + 1);
	if (read_head(&r, d->root, "sheet") && read_fields(&r, d->root, "a sheet", fields, 8, at)) {
		read_text(&r, at[2], &s->name);
		load_values(&r, at[3], car, s->values);
		load_flags(&r, at[4], car, car_find_pair, "a list of pairs", s->locked);
		load_flags(&r, at[5], car, car_find_adjustable, "a list of adjustables", s->frozen);
		read_text(&r, at[6], &s->notes);
		load_flags(&r, at[7], car, car_find_pair, "a list of pairs of springs or bars",
			s->share_held);
		if (at[7] && car)
			check_holds(&r, at[7], car, s);
	}
	faults_sort(faults, from);
	if (r.bad)
		sheet_free(s);
	return !r.bad;
}
