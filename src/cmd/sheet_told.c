#include "cmd/sheet_told.h"

#include "balance/balance_text.h"
#include "book/caution.h"
#include "cmd/cmd.h"

#include <math.h>
#include <stdlib.h>

static void set(json_t *o, const char *key, struct opt_num v)
{
	json_object_set_new(o, key, cmd_json_number(v.has ? v.v : NAN));
}

static struct opt_num sum(bool has, double a, double b)
{
	return (struct opt_num){has, a + b};
}

static json_t *balance_json(const struct book *b, const fix *values)
{
	const struct balance_plan plan = book_balance(b);
	const struct balance k = balance_of(&b->car, values);
	const struct balance_transfer t = b->car.chassis.mass.has
						  ? balance_transfer(&b->car, &k, plan.lateral.v)
						  : (struct balance_transfer){0};
	json_t *o = json_object();
	set(o, "roll-stiffness-front", k.front.roll_stiffness);
	set(o, "roll-stiffness-rear", k.rear.roll_stiffness);
	set(o, "load-transfer-front-share", k.transfer_front_share);
	set(o, "aero-front-share", k.aero_front_share);
	set(o, "brake-front-share", k.brake_front_share);
	set(o, "load-transfer-front", sum(t.has, t.front_geometric, t.front_elastic));
	set(o, "load-transfer-rear", sum(t.has, t.rear_geometric, t.rear_elastic));
	set(o, "downforce-front", balance_downforce(&k.aero_front, plan.speed.v / 3.6));
	set(o, "downforce-rear", balance_downforce(&k.aero_rear, plan.speed.v / 3.6));
	set(o, "ideal-brake-front-share", balance_ideal_braking(&b->car, plan.deceleration.v));
	set(o, "hot-pressure-front", balance_hot(b, values, 0));
	set(o, "hot-pressure-rear", balance_hot(b, values, 1));
	set(o, "cold-pressure-for-target-front", balance_cold_for_target(b, 0));
	set(o, "cold-pressure-for-target-rear", balance_cold_for_target(b, 1));
	return o;
}

json_t *told_balance_json(const struct book *b, const fix *values, const fix *against)
{
	if (!b->car.has_chassis)
		return json_null();
	json_t *o = json_object();
	json_object_set_new(o, "sheet", balance_json(b, values));
	json_object_set_new(o, "reference", balance_json(b, against));
	return o;
}

void told_balance(const struct book *b, const fix *values, const fix *against)
{
	struct balance_line lines[BALANCE_LINES];
	const size_t n = balance_lines(b, values, against, lines);
	char beyond[64];
	if (n == 0) {
		puts("\nbalance: not told, the car profile has no chassis");
		return;
	}
	printf("\n%-20s%14s  %8s\n", "balance", "", "change");
	for (size_t i = 0; i < n; i++) {
		const struct balance_line *l = &lines[i];
		cmd_pad(stdout, l->name, 20);
		if (!l->figure.has) {
			cmd_line("  %s", l->words);
			continue;
		}
		balance_beyond_words(l, beyond, sizeof beyond);
		cmd_line("%14s  %8s%s  %s%s%s", l->value, l->delta, l->beyond ? " !" : "  ",
			l->words, l->beyond && l->words[0] ? "; " : "", beyond);
	}
}

json_t *told_cautions_json(const struct book *b, const fix *values)
{
	json_t *a = json_array();
	char text[CAUTION_SIZE];
	for (size_t i = 0; i < b->car.n_adjustables; i++)
		if (caution_words(&b->car, i, values[i], text, sizeof text)[0])
			json_array_append_new(
				a, json_pack("{s:s, s:f, s:o}", "id", b->car.adjustables[i].id,
					   "value", fix_to_double(values[i]), "text",
					   cmd_json_text(text)));
	return a;
}

bool told_cautions(const struct book *b, const char *who, const fix *values)
{
	char text[CAUTION_SIZE];
	bool any = false;
	for (size_t i = 0; i < b->car.n_adjustables; i++) {
		if (!caution_words(&b->car, i, values[i], text, sizeof text)[0])
			continue;
		cmd_line("caution, %s: %s", who, text);
		any = true;
	}
	return any;
}

void told_cautions_of(const struct book *b, const struct sheet *one, const struct sheet *two)
{
	const size_t n = caution_list(&b->car, one->values, NULL) +
			 (two != one ? caution_list(&b->car, two->values, NULL) : 0);
	if (n == 0)
		return;
	putchar('\n');
	told_cautions(b, one->id, one->values);
	if (two != one)
		told_cautions(b, two->id, two->values);
	puts(caution_reminder);
}
