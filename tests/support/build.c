#include "support/build.h"
#include "support/support.h"

#include <stdlib.h>
#include <string.h>

static void fill(struct adjustable *a, const char *id, const char *label, const char *unit,
	enum axle axle, int pair, const double limits[3])
{
	memset(a, 0, sizeof *a);
	strcpy(a->id, id);
	a->label = text_dup(label, strlen(label));
	a->unit = text_dup(unit, strlen(unit));
	a->axle = axle;
	a->pair = pair;
	a->min = fix_from_double(limits[0]);
	a->max = fix_from_double(limits[1]);
	a->step = fix_from_double(limits[2]);
}

void build_car(struct car *c)
{
	car_init(c);
	strcpy(c->id, "test-car");
	c->n_adjustables = 7;
	c->adjustables = calloc(7, sizeof *c->adjustables);
	c->n_pairs = 3;
	c->pairs = calloc(3, sizeof *c->pairs);
	ck_assert(c->adjustables && c->pairs);
	struct adjustable *a = c->adjustables;
	fill(&a[0], "front-wing", "Wing angle", "deg", AXLE_FRONT, 0, (double[]){4, 16, 0.5});
	fill(&a[1], "rear-wing", "Wing angle", "deg", AXLE_REAR, 0, (double[]){6, 22, 0.5});
	fill(&a[2], "front-camber", "Camber", "deg", AXLE_FRONT, 1, (double[]){-4, -2, 0.1});
	fill(&a[3], "rear-camber", "Camber", "deg", AXLE_REAR, 1, (double[]){-3, -1, 0.1});
	fill(&a[4], "bias", "Brake bias", "%", AXLE_CAR, -1, (double[]){50, 60, 0.5});
	fill(&a[5], "front-bar", "Bar", "N/mm", AXLE_FRONT, 2, (double[]){0, 100, 10});
	fill(&a[6], "rear-bar", "Bar", "N/mm", AXLE_REAR, 2, (double[]){0, 75, 15});
	a[0].has_caution = true;
	a[0].caution = (struct caution){true, true, 5 * FIX_ONE, 14 * FIX_ONE, NULL};
	static const struct pair pairs[] = {{"wing", 0, 1}, {"camber", 2, 3}, {"bar", 5, 6}};
	memcpy(c->pairs, pairs, sizeof pairs);
}
