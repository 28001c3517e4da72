#include "book/car.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const axle_names[3] = {"front", "rear", "car"};

void car_init(struct car *c)
{
	memset(c, 0, sizeof *c);
}

void car_free(struct car *c)
{
	for (size_t i = 0; i < c->n_adjustables; i++) {
		free(c->adjustables[i].label);
		free(c->adjustables[i].unit);
		free(c->adjustables[i].caution.note);
	}
	free(c->adjustables);
	free(c->pairs);
	free(c->name);
	car_init(c);
}

bool car_id_reserved(const char *id)
{
	static const char *const reserved[] = {"intercept", "effort", "tyre-age", "fuel",
		"track-temp", "driver", "session", "compound", "mean", "worst", "like-for-like"};
	for (size_t i = 0; i < sizeof reserved / sizeof reserved[0]; i++)
		if (strcmp(id, reserved[i]) == 0)
			return true;
	return false;
}

const char *car_title(const struct adjustable *a, char *buf, size_t size)
{
	char label[160];
	size_t n = text_safe(label, sizeof label, a->label, strlen(a->label));
	const char *axle = a->axle == AXLE_CAR ? "" : axle_names[a->axle];
	snprintf(buf, size, "%.*s%s%s", (int)n, label, *axle ? " " : "", axle);
	return buf;
}

const char *car_value_text(const struct adjustable *a, fix v, char *buf, size_t size)
{
	char number[40], unit[80];
	fix_print_min(v, fix_decimals(a->step), number, sizeof number);
	size_t n = text_safe(unit, sizeof unit, a->unit, strlen(a->unit));
	snprintf(buf, size, "%s%s%s", number, n > 0 ? " " : "", unit);
	return buf;
}

int car_find_adjustable(const struct car *c, const char *id)
{
	for (size_t i = 0; i < c->n_adjustables; i++)
		if (strcmp(c->adjustables[i].id, id) == 0)
			return (int)i;
	return -1;
}

int car_find_pair(const struct car *c, const char *id)
{
	for (size_t i = 0; i < c->n_pairs; i++)
		if (strcmp(c->pairs[i].id, id) == 0)
			return (int)i;
	return -1;
}

int car_partner(const struct car *c, int a)
{
	int p = c->adjustables[a].pair;
	if (p < 0)
		return -1;
	return c->pairs[p].front == a ? c->pairs[p].rear : c->pairs[p].front;
}

long car_levels(const struct adjustable *a)
{
	return (long)((a->max - a->min) / a->step);
}

bool car_on_step(const struct adjustable *a, fix v)
{
	return (v - a->min) % a->step == 0;
}

static bool refuse_step(
	const struct adjustable *ad, const char *title, fix v, const char *tail, struct err *err)
{
	char at[CAR_VALUE_SIZE], below[CAR_VALUE_SIZE], above[CAR_VALUE_SIZE], step[CAR_VALUE_SIZE];
	fix down = v - (v - ad->min) % ad->step;
	car_value_text(ad, v, at, sizeof at);
	car_value_text(ad, ad->step, step, sizeof step);
	fix_print_min(down, fix_decimals(ad->step), below, sizeof below);
	car_value_text(ad, down + ad->step, above, sizeof above);
	return err_input(err, "%s: %s is off its step of %s; nearest are %s and %s%s", title, at,
		step, below, above, tail);
}

bool car_check_value(const struct adjustable *ad, fix v, const char *tail, struct err *err)
{
	if (v >= ad->min && v <= ad->max && car_on_step(ad, v))
		return true;
	char title[CAR_TITLE_SIZE], at[CAR_VALUE_SIZE], low[CAR_VALUE_SIZE], high[CAR_VALUE_SIZE];
	car_title(ad, title, sizeof title);
	if (v < ad->min || v > ad->max) {
		car_value_text(ad, v, at, sizeof at);
		fix_print_min(ad->min, fix_decimals(ad->step), low, sizeof low);
		car_value_text(ad, ad->max, high, sizeof high);
		return err_input(err, "%s: %s is off its limits; %s to %s is allowed%s", title, at,
			low, high, tail);
	}
	return refuse_step(ad, title, v, tail, err);
}

int car_caution(const struct adjustable *a, fix v)
{
	if (!a->has_caution)
		return 0;
	if (a->caution.has_min && v < a->caution.min)
		return -1;
	return a->caution.has_max && v > a->caution.max ? 1 : 0;
}

size_t car_groups(const struct car *c, struct group *out)
{
	size_t n = 0;
	for (size_t i = 0; i < c->n_adjustables; i++) {
		int pair = c->adjustables[i].pair;
		int partner = car_partner(c, (int)i);
		if (partner >= 0 && partner < (int)i)
			continue;
		out[n].pair = pair;
		out[n].adjustable = pair >= 0 ? c->pairs[pair].front : (int)i;
		n++;
	}
	return n;
}

const char *car_group_id(const struct car *c, const struct group *g)
{
	return g->pair >= 0 ? c->pairs[g->pair].id : c->adjustables[g->adjustable].id;
}
