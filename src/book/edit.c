#include "book/edit.h"

#include "balance/hold.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One thing that an action changed; undo puts `before` back, redo `after`. */
enum item_kind { ITEM_VALUE, ITEM_LOCK, ITEM_FREEZE, ITEM_HOLD };
struct item {
	enum item_kind kind;
	int index; /* adjustable, or pair of a lock or hold */
	fix before, after;
	double anchor; /* ITEM_HOLD: the share held while the hold is on */
};

/* One user action. */
struct entry {
	size_t n;
	struct item *items; /* owned */
};

struct edit {
	const struct car *car;
	struct sheet sheet;
	double *anchor;        /* owned, per pair: the share that a pair holds to */
	struct entry *entries; /* owned; [0, at) are done, [at, n) can be redone */
	size_t n, at, cap;
	size_t clean; /* position that equals the file; NOWHERE once it cannot be reached */
};
#define NOWHERE ((size_t)-1)

struct edit *edit_new(const struct car *car, const struct sheet *sheet)
{
	struct edit *e = calloc(1, sizeof *e);
	if (!e)
		return NULL;
	e->car = car;
	sheet_init(&e->sheet);
	e->anchor = calloc(sheet->n_pairs + 1, sizeof *e->anchor);
	if (!e->anchor || !sheet_copy(&e->sheet, sheet)) {
		free(e->anchor);
		free(e);
		return NULL;
	}
	for (size_t p = 0; p < sheet->n_pairs; p++)
		if (sheet->share_held[p])
			e->anchor[p] = balance_share(car, sheet->values).v;
	return e;
}

static void drop_entries(struct edit *e, size_t from)
{
	for (size_t i = from; i < e->n; i++)
		free(e->entries[i].items);
	e->n = from;
}

void edit_free(struct edit *e)
{
	if (!e)
		return;
	drop_entries(e, 0);
	free(e->entries);
	free(e->anchor);
	sheet_free(&e->sheet);
	free(e);
}

const struct sheet *edit_sheet(const struct edit *e)
{
	return &e->sheet;
}

void edit_rename(struct edit *e, const char *id)
{
	snprintf(e->sheet.id, sizeof e->sheet.id, "%s", id);
	free(e->sheet.name);
	e->sheet.name = NULL;
}

static void put(struct edit *e, const struct item *it, fix v)
{
	switch (it->kind) {
	case ITEM_VALUE:
		e->sheet.values[it->index] = v;
		break;
	case ITEM_LOCK:
		e->sheet.locked[it->index] = v != 0;
		break;
	case ITEM_FREEZE:
		e->sheet.frozen[it->index] = v != 0;
		break;
	case ITEM_HOLD:
		e->sheet.share_held[it->index] = v != 0;
		e->anchor[it->index] = it->anchor;
		break;
	}
}

static void change_clear(struct edit_change *c)
{
	memset(c, 0, sizeof *c);
	c->caution = -1;
}

static void change_note(struct edit_change *c, const struct car *car, int a, fix before, fix after)
{
	if (c->n < 2) {
		c->adjustable[c->n] = a;
		c->before[c->n] = before;
		c->after[c->n] = after;
	}
	c->n++;
	int now = car_caution(&car->adjustables[a], after);
	if (c->caution < 0 && now != 0 && now != car_caution(&car->adjustables[a], before))
		c->caution = a;
}

/* Room for one more entry after dropping what could be redone. */
static bool reserve(struct edit *e)
{
	if (e->at < e->cap)
		return true;
	size_t cap = e->cap ? 2 * e->cap : 32;
	struct entry *entries = realloc(e->entries, cap * sizeof *entries);
	if (!entries)
		return false;
	e->entries = entries;
	e->cap = cap;
	return true;
}

/* Carry out an action and remember it: all items or, out of memory, none. Items that
 * change nothing are left out; an action without items leaves no entry. */
static bool act(
	struct edit *e, const struct item *items, size_t n, struct edit_change *c, struct err *err)
{
	size_t real = 0;
	change_clear(c);
	for (size_t i = 0; i < n; i++)
		real += items[i].before != items[i].after;
	if (real == 0)
		return true;
	struct item *kept = malloc(real * sizeof *kept);
	if (!kept || !reserve(e)) {
		free(kept);
		return err_memory(err);
	}
	drop_entries(e, e->at);
	if (e->clean != NOWHERE && e->clean > e->at)
		e->clean = NOWHERE;
	real = 0;
	for (size_t i = 0; i < n; i++) {
		if (items[i].before == items[i].after)
			continue;
		put(e, &items[i], items[i].after);
		if (items[i].kind == ITEM_VALUE)
			change_note(c, e->car, items[i].index, items[i].before, items[i].after);
		kept[real++] = items[i];
	}
	e->entries[e->n++] = (struct entry){real, kept};
	e->at = e->n;
	return true;
}

static bool known_adjustable(const struct edit *e, int a, struct err *err)
{
	if (a >= 0 && (size_t)a < e->sheet.n_values)
		return true;
	return err_input(err, "the car has no adjustable number %d", a);
}

int edit_locked_partner(const struct edit *e, int a)
{
	int pair = e->car->adjustables[a].pair;
	return pair >= 0 && e->sheet.locked[pair] ? car_partner(e->car, a) : -1;
}

fix edit_nudge_step(const struct edit *e, int a)
{
	const struct car *car = e->car;
	int partner = edit_locked_partner(e, a);
	fix step = car->adjustables[a].step;
	return partner < 0 ? step : fix_lcm(step, car->adjustables[partner].step);
}

/* Whole moves of `step` (> 0) that adjustable a has left in the direction of `up`. */
static fix moves_left(const struct edit *e, int a, fix step, bool up)
{
	const struct adjustable *ad = &e->car->adjustables[a];
	fix v = e->sheet.values[a];
	fix room = up ? ad->max - v : v - ad->min;
	return room <= 0 ? 0 : room / step;
}

/* "Camber rear stands at -1.2 deg and ends at -1 deg": which limit is in the way. */
static bool refuse_limit(
	const struct edit *e, int a, bool up, fix left, bool locked, struct err *err)
{
	const struct adjustable *ad = &e->car->adjustables[a];
	char title[CAR_TITLE_SIZE], now[CAR_VALUE_SIZE], limit[CAR_VALUE_SIZE], rest[60];
	car_title(ad, title, sizeof title);
	car_value_text(ad, e->sheet.values[a], now, sizeof now);
	car_value_text(ad, up ? ad->max : ad->min, limit, sizeof limit);
	if (left > 0)
		snprintf(rest, sizeof rest, "; %lld step%s left", (long long)left,
			left == 1 ? "" : "s");
	else
		rest[0] = '\0';
	return err_input(err, "%s is at %s, its limit is %s%s%s", title, now, limit, rest,
		locked ? "; the pair is locked, neither end moved" : "");
}

static bool refuse_no_common_step(const struct edit *e, int a, int partner, struct err *err)
{
	char one[CAR_TITLE_SIZE], other[CAR_TITLE_SIZE];
	car_title(&e->car->adjustables[a], one, sizeof one);
	car_title(&e->car->adjustables[partner], other, sizeof other);
	return err_input(err,
		"the steps of %s and %s have no common multiple in range; unlock the pair to move "
		"one",
		one, other);
}

/* The other end of a pair that holds the share; -1 where a holds none. */
static int held_partner(const struct edit *e, int a)
{
	int pair = e->car->adjustables[a].pair;
	return pair >= 0 && e->sheet.share_held[pair] ? car_partner(e->car, a) : -1;
}

static bool refuse_held(const struct edit *e, int other, fix v, struct err *err)
{
	const struct adjustable *ad = &e->car->adjustables[other];
	char title[CAR_TITLE_SIZE], limit[CAR_VALUE_SIZE];
	car_title(ad, title, sizeof title);
	car_value_text(ad, v > ad->max ? ad->max : ad->min, limit, sizeof limit);
	return err_input(err,
		"%s would have to pass its limit of %s to hold the load-transfer "
		"share; neither end moved",
		title, limit);
}

/* Set one end of a pair that holds the share, the other following. */
static bool set_held(struct edit *e, int a, fix value, struct edit_change *c, struct err *err)
{
	const int other = held_partner(e, a), pair = e->car->adjustables[a].pair;
	const struct adjustable *ad = &e->car->adjustables[other];
	if (value == e->sheet.values[a])
		return true;
	fix *values = malloc((e->sheet.n_values + 1) * sizeof *values);
	if (!values)
		return err_memory(err);
	memcpy(values, e->sheet.values, e->sheet.n_values * sizeof *values);
	values[a] = value;
	const fix to = balance_hold_step(e->car, values, other, e->anchor[pair]);
	free(values);
	if (to < ad->min || to > ad->max)
		return refuse_held(e, other, to, err);
	const struct item items[2] = {
		{.kind = ITEM_VALUE, .index = a, .before = e->sheet.values[a], .after = value},
		{.kind = ITEM_VALUE,
			.index = other,
			.before = e->sheet.values[other],
			.after = to}};
	return act(e, items, 2, c, err);
}

bool edit_nudge(struct edit *e, int a, int steps, struct edit_change *c, struct err *err)
{
	change_clear(c);
	if (!known_adjustable(e, a, err))
		return false;
	int members[2] = {a, edit_locked_partner(e, a)};
	size_t n = members[1] < 0 ? 1 : 2;
	fix step = edit_nudge_step(e, a);
	if (step == 0)
		return refuse_no_common_step(e, a, members[1], err);
	bool up = steps > 0;
	fix wanted = up ? (fix)steps : -(fix)steps;
	struct item items[2];
	size_t worst = 0;
	fix least = wanted;
	for (size_t i = 0; i < n; i++) {
		fix left = moves_left(e, members[i], step, up);
		if (left < least) {
			least = left;
			worst = i;
		}
	}
	if (least < wanted)
		return refuse_limit(e, members[worst], up, least, n == 2, err);
	for (size_t i = 0; i < n; i++) {
		fix v = e->sheet.values[members[i]];
		items[i] = (struct item){ITEM_VALUE, members[i], v, v + (fix)steps * step, 0};
	}
	if (held_partner(e, a) >= 0)
		return set_held(e, a, items[0].after, c, err);
	return act(e, items, n, c, err);
}

bool edit_set(struct edit *e, int a, fix value, struct edit_change *c, struct err *err)
{
	change_clear(c);
	if (!known_adjustable(e, a, err))
		return false;
	const struct adjustable *ads = e->car->adjustables;
	if (!car_check_value(&ads[a], value, "", err))
		return false;
	fix before = e->sheet.values[a];
	if (held_partner(e, a) >= 0)
		return set_held(e, a, value, c, err);
	struct item items[2] = {{ITEM_VALUE, a, before, value, 0}, {ITEM_VALUE, -1, 0, 0, 0}};
	int partner = edit_locked_partner(e, a);
	if (partner < 0)
		return act(e, items, 1, c, err);
	fix other = e->sheet.values[partner], moved = other + (value - before);
	if (!car_check_value(&ads[partner], moved,
		    "; the locked pair would move along, unlock it to set one end alone", err))
		return false;
	items[1] = (struct item){ITEM_VALUE, partner, other, moved, 0};
	return act(e, items, 2, c, err);
}

bool edit_lock(struct edit *e, int pair, bool on, struct err *err)
{
	struct edit_change c;
	if (pair < 0 || (size_t)pair >= e->sheet.n_pairs)
		return err_input(err, "this adjustable has no pair to lock");
	const struct item items[2] = {{ITEM_LOCK, pair, e->sheet.locked[pair], on, 0},
		{ITEM_HOLD, pair, e->sheet.share_held[pair], 0, e->anchor[pair]}};
	return act(e, items, on ? 2 : 1, &c, err);
}

bool edit_hold_share(struct edit *e, int pair, bool on, struct err *err)
{
	struct edit_change c;
	if (pair < 0 || (size_t)pair >= e->sheet.n_pairs)
		return err_input(err,
			"this adjustable has no pair; a pair of springs or bars can hold "
			"the load-transfer share");
	if (on && !balance_can_hold(e->car, pair, err))
		return false;
	const double share = on ? balance_share(e->car, e->sheet.values).v : e->anchor[pair];
	const struct item items[2] = {{ITEM_HOLD, pair, e->sheet.share_held[pair], on, share},
		{ITEM_LOCK, pair, e->sheet.locked[pair], 0, 0}};
	return act(e, items, on ? 2 : 1, &c, err);
}

bool edit_held_share(const struct edit *e, int pair, double *anchor, double *now)
{
	if (pair < 0 || (size_t)pair >= e->sheet.n_pairs || !e->sheet.share_held[pair])
		return false;
	*anchor = e->anchor[pair];
	*now = balance_share(e->car, e->sheet.values).v;
	return true;
}

const char *edit_held_words(const struct edit *e, int pair, char *buf, size_t size)
{
	double anchor, now;
	buf[0] = '\0';
	if (!edit_held_share(e, pair, &anchor, &now))
		return buf;
	const double off = 100 * (now - anchor);
	if (fabs(off) < 0.005)
		snprintf(buf, size, "share %.1f %%, as held", 100 * now);
	else
		snprintf(buf, size, "share %.1f %%, %.2f %s what is held", 100 * now, fabs(off),
			off > 0 ? "above" : "below");
	return buf;
}

bool edit_freeze(struct edit *e, int a, bool on, struct err *err)
{
	struct edit_change c;
	if (!known_adjustable(e, a, err))
		return false;
	struct item it = {ITEM_FREEZE, a, e->sheet.frozen[a], on, 0};
	return act(e, &it, 1, &c, err);
}

static bool difference_kept(const struct edit *e, const fix *values, int pair, struct err *err)
{
	const struct pair *p = &e->car->pairs[pair];
	fix now = e->sheet.values[p->front] - e->sheet.values[p->rear];
	fix then = values[p->front] - values[p->rear];
	if (now == then)
		return true;
	const struct adjustable *front = &e->car->adjustables[p->front];
	char a[CAR_VALUE_SIZE], b[CAR_VALUE_SIZE], label[CAR_TITLE_SIZE];
	text_safe(label, sizeof label, front->label, strlen(front->label));
	return err_input(err, "%s is locked at front - rear %s, these values would make it %s",
		label, car_value_text(front, now, a, sizeof a),
		car_value_text(front, then, b, sizeof b));
}

bool edit_apply(struct edit *e, const fix *values, bool override_locks, struct edit_change *c,
	struct err *err)
{
	size_t n = e->sheet.n_values;
	change_clear(c);
	for (size_t i = 0; i < n; i++)
		if (!car_check_value(
			    &e->car->adjustables[i], values[i], "; nothing was changed", err))
			return false;
	for (size_t p = 0; p < e->sheet.n_pairs; p++)
		if (!override_locks && e->sheet.locked[p] &&
			!difference_kept(e, values, (int)p, err))
			return false;
	struct item *items = calloc(n + 1, sizeof *items);
	if (!items)
		return err_memory(err);
	for (size_t i = 0; i < n; i++)
		items[i] = (struct item){ITEM_VALUE, (int)i, e->sheet.values[i], values[i], 0};
	bool ok = act(e, items, n, c, err);
	free(items);
	return ok;
}

bool edit_undo(struct edit *e, struct edit_change *c)
{
	change_clear(c);
	if (e->at == 0)
		return false;
	const struct entry *entry = &e->entries[--e->at];
	for (size_t i = 0; i < entry->n; i++) {
		const struct item *it = &entry->items[i];
		put(e, it, it->before);
		if (it->kind == ITEM_VALUE)
			change_note(c, e->car, it->index, it->after, it->before);
	}
	return true;
}

bool edit_redo(struct edit *e, struct edit_change *c)
{
	change_clear(c);
	if (e->at == e->n)
		return false;
	const struct entry *entry = &e->entries[e->at++];
	for (size_t i = 0; i < entry->n; i++) {
		const struct item *it = &entry->items[i];
		put(e, it, it->after);
		if (it->kind == ITEM_VALUE)
			change_note(c, e->car, it->index, it->before, it->after);
	}
	return true;
}

bool edit_can_undo(const struct edit *e)
{
	return e->at > 0;
}

bool edit_can_redo(const struct edit *e)
{
	return e->at < e->n;
}

void edit_mark_clean(struct edit *e)
{
	e->clean = e->at;
}

bool edit_is_clean(const struct edit *e)
{
	return e->clean == e->at;
}
