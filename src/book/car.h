/*
 * The car: its adjustables with limits and steps, the pairs they form, and the
 * chassis figures that the balance needs. Plain data, owned by struct car.
 */
#ifndef BOOK_CAR_H
#define BOOK_CAR_H

#include "base/err.h"
#include "base/fix.h"
#include "base/text.h"

enum axle { AXLE_FRONT, AXLE_REAR, AXLE_CAR };
extern const char *const axle_names[3]; /* "front", "rear", "car" */

/* A soft limit: passing it asks once and is marked, never forbidden. */
struct caution {
	bool has_min, has_max;
	fix min, max;
	char *note; /* owned; NULL if none */
};

struct adjustable {
	char id[ID_SIZE];
	char *label; /* owned; shared text by both members of a pair, stored twice */
	char *unit;  /* owned */
	enum axle axle;
	int pair; /* index into car.pairs, -1 without one */
	fix min, max, step;
	bool has_minutes;
	double minutes; /* garage time of a change */
	bool has_caution;
	struct caution caution;
};

struct pair {
	char id[ID_SIZE];
	int front, rear; /* indices into car.adjustables */
};

/* A chassis part names an adjustable, gives a number, or is not there. */
enum part_kind { PART_NONE, PART_NUMBER, PART_ADJUSTABLE };
struct part {
	enum part_kind kind;
	double number;
	int adjustable; /* index */
};
struct opt_num {
	bool has;
	double v;
};

struct chassis_axle {
	struct opt_num track, roll_centre;    /* m */
	struct part spring;                   /* N/mm */
	struct opt_num motion_ratio;          /* spring travel / wheel travel */
	struct part bar;                      /* N/mm at the link */
	struct opt_num bar_ratio;             /* link travel / wheel travel */
	struct opt_num tyre_rate;             /* N/mm */
	struct part wing;                     /* deg */
	struct opt_num aero_base, aero_slope; /* C_L*A, m^2; per wing unit */
	struct part pressure;                 /* kPa gauge, cold */
};
struct chassis {
	struct opt_num mass, front_weight, wheelbase, cg_height; /* kg, -, m, m */
	struct chassis_axle front, rear;
	struct part bias;             /* % of line pressure at the front */
	struct opt_num front_to_rear; /* torque per line pressure, front over rear */
};

struct car {
	char id[ID_SIZE];
	char *name; /* owned; NULL if none */
	size_t n_adjustables, n_pairs;
	struct adjustable *adjustables; /* owned, file order */
	struct pair *pairs;             /* owned, order of first members */
	bool has_chassis;
	struct chassis chassis;
};

void car_init(struct car *c);
void car_free(struct car *c);
/* True for ids that terms and channels use: "intercept", "effort", ... (3-model.md). */
bool car_id_reserved(const char *id);
enum { CAR_TITLE_SIZE = 200, CAR_VALUE_SIZE = 130 }; /* room for any title, any value text */
/* "Camber front", "Brake bias", cut to fit; returns buf. */
const char *car_title(const struct adjustable *a, char *buf, size_t size);
/* "-3.2 deg" with as many decimals as the step needs (more if the value does); returns buf. */
const char *car_value_text(const struct adjustable *a, fix v, char *buf, size_t size);
/* Index by id, -1 if there is none. */
int car_find_adjustable(const struct car *c, const char *id);
int car_find_pair(const struct car *c, const char *id);
/* The other member of a's pair, -1 without one. */
int car_partner(const struct car *c, int a);
/* Number of steps from min to max. */
long car_levels(const struct adjustable *a);
bool car_on_step(const struct adjustable *a, fix v);
/* Inside the limits and on a step? Else the text says what is allowed, followed by `tail`. */
bool car_check_value(const struct adjustable *a, fix v, const char *tail, struct err *err);
/* -1 below the soft limit, +1 above, 0 inside or without one. */
int car_caution(const struct adjustable *a, fix v);
/*
 * Groups: what moves together in trade-offs and contributions: a pair, or an
 * adjustable without one, in the car's order (a pair at its first member's place).
 */
struct group {
	int pair;       /* index or -1 */
	int adjustable; /* index, the front member of a pair */
};
/* Fills out[] (room for n_adjustables) and returns the number of groups. */
size_t car_groups(const struct car *c, struct group *out);
const char *car_group_id(const struct car *c, const struct group *g);

#endif
