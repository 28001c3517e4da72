/* Car profiles. */
#include "store/load.h"
#include "store/read.h"

#include <stdlib.h>
#include <string.h>

enum { ADJUSTABLES_MAX = 200 };

enum { A_ID, A_LABEL, A_AXLE, A_PAIR, A_UNIT, A_MIN, A_MAX, A_STEP, A_MINUTES, A_CAUTION, A_N };
static const struct field adjustable_fields[A_N] = {
	{"id", true},
	{"label", true},
	{"axle", true},
	{"pair", false},
	{"unit", true},
	{"min", true},
	{"max", true},
	{"step", true},
	{"minutes", false},
	{"caution", false},
};

/* A profile while it is read: the nodes of each adjustable, for faults that concern two. */
struct work {
	struct reader r;
	struct car *car;
	const struct node *(*at)[A_N]; /* per adjustable */
	bool *told;                    /* per pair: a fault has told why a member is missing */
};

static bool soft_limit(
	struct work *w, const struct node *n, const struct adjustable *a, bool limits, fix *out)
{
	char low[CAR_VALUE_SIZE], high[CAR_VALUE_SIZE];
	if (!read_fix(&w->r, n, out))
		return false;
	if (limits && (*out < a->min || *out > a->max)) {
		fix_print(a->min, low, sizeof low);
		fix_print(a->max, high, sizeof high);
		return read_fault(&w->r, n,
			"the soft limit is outside the limits; %s to %s is allowed", low, high);
	}
	return true;
}

static void load_caution(struct work *w, const struct node *n, struct adjustable *a, bool limits)
{
	static const struct field fields[] = {{"min", false}, {"max", false}, {"note", false}};
	const struct node *at[3];
	struct caution *c = &a->caution;
	if (!read_fields(&w->r, n, "a caution", fields, 3, at))
		return;
	c->has_min = soft_limit(w, at[0], a, limits, &c->min);
	c->has_max = soft_limit(w, at[1], a, limits, &c->max);
	read_text(&w->r, at[2], &c->note);
	if (!at[0] && !at[1])
		read_fault(&w->r, n, "a caution without min and max; give one or both");
	if (c->has_min && c->has_max && c->min > c->max)
		read_fault(&w->r, at[1],
			"the soft max is below the soft min; min to max is what needs no caution");
	a->has_caution = c->has_min || c->has_max;
}

/* min, max, step; true if all three make sense together. */
static bool load_limits(struct work *w, const struct node **at, struct adjustable *a)
{
	bool min = read_fix(&w->r, at[A_MIN], &a->min);
	bool max = read_fix(&w->r, at[A_MAX], &a->max);
	bool step = read_fix(&w->r, at[A_STEP], &a->step);
	if (step && a->step <= 0)
		step = read_fault(&w->r, at[A_STEP],
			"step is not above 0; write the smallest change that can be made");
	if (min && max && a->min >= a->max)
		return read_fault(
			&w->r, at[A_MAX], "max is not above min; an adjustable has a range");
	if (!min || !max || !step)
		return false;
	if ((a->max - a->min) % a->step != 0)
		return read_fault(&w->r, at[A_STEP],
			"max - min is no whole number of steps; "
			"choose limits and step that fit");
	return true;
}

static void check_id(struct work *w, const struct node *n, size_t i)
{
	const char *id = w->car->adjustables[i].id;
	if (car_id_reserved(id))
		read_fault(&w->r, n,
			"the id '%s' is reserved for the model's own terms; choose another", id);
	const size_t first = (size_t)car_find_adjustable(w->car, id); /* itself at the latest */
	if (first < i)
		read_fault(&w->r, n, "the id '%s' stands twice; first on line %zu", id,
			w->at[first][A_ID]->line);
}

static void load_adjustable(struct work *w, const struct node *n, size_t i)
{
	static const struct range minutes = {0, 100000, false};
	struct adjustable *a = &w->car->adjustables[i];
	const struct node **at = w->at[i];
	a->pair = -1;
	if (!read_fields(&w->r, n, "an adjustable", adjustable_fields, A_N, at))
		return;
	if (read_id(&w->r, at[A_ID], a->id))
		check_id(w, at[A_ID], i);
	if (read_text(&w->r, at[A_LABEL], &a->label) && a->label[0] == '\0')
		read_fault(&w->r, at[A_LABEL], "label is empty; write what the driver calls it");
	int axle = read_choice(&w->r, at[A_AXLE], axle_names, 3);
	a->axle = axle < 0 ? AXLE_CAR : (enum axle)axle;
	if (axle < 0)
		at[A_AXLE] = NULL;
	read_text(&w->r, at[A_UNIT], &a->unit);
	bool limits = load_limits(w, at, a);
	load_caution(w, at[A_CAUTION], a, limits);
	a->has_minutes = read_number(&w->r, at[A_MINUTES], minutes, &a->minutes);
}

/* Room for `n` pairs at most: each has a first member. */
static bool join_pair(struct work *w, size_t i, const char *id)
{
	struct car *c = w->car;
	const struct node *n = w->at[i][A_PAIR];
	struct adjustable *a = &c->adjustables[i];
	int p = car_find_pair(c, id);
	if (p < 0) {
		p = (int)c->n_pairs++;
		memcpy(c->pairs[p].id, id, ID_SIZE);
		c->pairs[p].front = c->pairs[p].rear = -1;
		if (car_id_reserved(id))
			read_fault(&w->r, n,
				"the id '%s' is reserved for the model's own terms; choose another",
				id);
		if (car_find_adjustable(c, id) >= 0)
			read_fault(&w->r, n,
				"the id '%s' names an adjustable too; choose another for the pair",
				id);
	}
	a->pair = p;
	w->told[p] = w->told[p] || !w->at[i][A_AXLE] || a->axle == AXLE_CAR;
	if (!w->at[i][A_AXLE])
		return false;
	if (a->axle == AXLE_CAR)
		return read_fault(
			&w->r, n, "a member of a pair has the axle car; front or rear is allowed");
	int *member = a->axle == AXLE_FRONT ? &c->pairs[p].front : &c->pairs[p].rear;
	w->told[p] = w->told[p] || *member >= 0;
	if (*member >= 0)
		return read_fault(&w->r, n,
			"pair '%s' has a %s member already, on line %zu; "
			"a pair is one front and one rear",
			id, axle_names[a->axle], w->at[*member][A_PAIR]->line);
	*member = (int)i;
	return true;
}

static void check_shared(struct work *w, const struct pair *p, int field, const char *front,
	const char *rear, const char *what)
{
	int later = p->front > p->rear ? p->front : p->rear;
	if (front && rear && strcmp(front, rear) != 0)
		read_fault(&w->r, w->at[later][field],
			"the two members of pair '%s' share their %s; "
			"write the same text in both",
			p->id, what);
}

static void check_pair(struct work *w, const struct pair *p, const struct node *first)
{
	const struct adjustable *a = w->car->adjustables;
	if (p->front < 0 || p->rear < 0) {
		if (!w->told[p - w->car->pairs])
			read_fault(&w->r, first,
				"pair '%s' has no %s member; a pair is one front and one rear",
				p->id, p->front < 0 ? "front" : "rear");
		return;
	}
	check_shared(w, p, A_LABEL, a[p->front].label, a[p->rear].label, "label");
	check_shared(w, p, A_UNIT, a[p->front].unit, a[p->rear].unit, "unit");
}

static void load_pairs(struct work *w)
{
	struct car *c = w->car;
	for (size_t i = 0; i < c->n_adjustables; i++) {
		char id[ID_SIZE];
		if (read_id(&w->r, w->at[i][A_PAIR], id))
			join_pair(w, i, id);
	}
	for (size_t p = 0; p < c->n_pairs; p++) {
		size_t i = 0;
		while (c->adjustables[i].pair != (int)p)
			i++;
		check_pair(w, &c->pairs[p], w->at[i][A_PAIR]);
	}
}

static void load_adjustables(struct work *w, const struct node *n)
{
	if (!read_is_list(&w->r, n, "a list of adjustables"))
		return;
	if (n->n_children == 0 || n->n_children > ADJUSTABLES_MAX) {
		read_fault(&w->r, n, "here are %zu adjustables; a car has 1 to %d", n->n_children,
			ADJUSTABLES_MAX);
		return;
	}
	struct car *c = w->car;
	c->adjustables = calloc(n->n_children, sizeof *c->adjustables);
	c->pairs = calloc(n->n_children, sizeof *c->pairs);
	w->at = calloc(n->n_children, sizeof *w->at);
	w->told = calloc(n->n_children, sizeof *w->told);
	if (!c->adjustables || !c->pairs || !w->at || !w->told) {
		read_memory(&w->r);
		return;
	}
	for (const struct node *m = n->child; m; m = m->next)
		load_adjustable(w, m, c->n_adjustables++);
	load_pairs(w);
}

/* An adjustable's id, or a fixed number in the range. */
static void load_part(struct work *w, const struct node *n, struct range range, struct part *p)
{
	char id[ID_SIZE], label[SHOW_SIZE], shown[SHOW_SIZE];
	if (!read_is_scalar(&w->r, n, "an adjustable's id or a number"))
		return;
	if (text_is_id(n->text, n->len)) {
		memcpy(id, n->text, n->len + 1);
		p->adjustable = car_find_adjustable(w->car, id);
		p->kind = p->adjustable >= 0 ? PART_ADJUSTABLE : PART_NONE;
	}
	double v;
	if (p->kind == PART_ADJUSTABLE)
		return;
	if (num_parse(n->text, n->len, &v) != NUM_OK) {
		read_fault(&w->r, n,
			"%s: '%s' is neither a number nor an adjustable of this car; write one of "
			"the two",
			node_label(n, label), node_show(n, shown));
		return;
	}
	if (read_number(&w->r, n, range, &p->number))
		p->kind = PART_NUMBER;
}

static const struct range positive = {0, 1e9, true}, not_negative = {0, 1e9, false},
			  any = {-1e9, 1e9, false}, share = {0, 1, true}, percent = {0, 100, false};

static void load_axle(
	struct work *w, const struct node *n, const char *what, struct chassis_axle *x)
{
	static const struct field fields[] = {{"track", false}, {"roll-centre", false},
		{"spring", false}, {"motion-ratio", false}, {"bar", false}, {"bar-ratio", false},
		{"tyre-rate", false}};
	const struct node *at[7];
	if (!read_fields(&w->r, n, what, fields, 7, at))
		return;
	read_optional(&w->r, at[0], positive, &x->track);
	read_optional(&w->r, at[1], any, &x->roll_centre);
	load_part(w, at[2], not_negative, &x->spring);
	read_optional(&w->r, at[3], positive, &x->motion_ratio);
	load_part(w, at[4], not_negative, &x->bar);
	read_optional(&w->r, at[5], positive, &x->bar_ratio);
	read_optional(&w->r, at[6], positive, &x->tyre_rate);
}

static void load_aero_axle(
	struct work *w, const struct node *n, const char *what, struct chassis_axle *x)
{
	static const struct field fields[] = {{"wing", false}, {"base", false}, {"slope", false}};
	const struct node *at[3];
	if (!read_fields(&w->r, n, what, fields, 3, at))
		return;
	load_part(w, at[0], any, &x->wing);
	read_optional(&w->r, at[1], any, &x->aero_base);
	read_optional(&w->r, at[2], any, &x->aero_slope);
}

static const struct field ends[] = {{"front", false}, {"rear", false}};

static void load_aero(struct work *w, const struct node *n, struct chassis *ch)
{
	const struct node *at[2];
	if (!read_fields(&w->r, n, "aero", ends, 2, at))
		return;
	load_aero_axle(w, at[0], "the front of aero", &ch->front);
	load_aero_axle(w, at[1], "the rear of aero", &ch->rear);
}

static void load_brakes(struct work *w, const struct node *n, struct chassis *ch)
{
	static const struct field fields[] = {{"bias", false}, {"front-to-rear", false}};
	const struct node *at[2];
	if (!read_fields(&w->r, n, "brakes", fields, 2, at))
		return;
	load_part(w, at[0], percent, &ch->bias);
	read_optional(&w->r, at[1], positive, &ch->front_to_rear);
}

static void load_pressures(struct work *w, const struct node *n, struct chassis *ch)
{
	const struct node *at[2];
	if (!read_fields(&w->r, n, "pressures", ends, 2, at))
		return;
	load_part(w, at[0], not_negative, &ch->front.pressure);
	load_part(w, at[1], not_negative, &ch->rear.pressure);
}

static void load_chassis(struct work *w, const struct node *n)
{
	static const struct field fields[] = {{"mass", false}, {"front-weight", false},
		{"wheelbase", false}, {"cg-height", false}, {"front", false}, {"rear", false},
		{"aero", false}, {"brakes", false}, {"pressures", false}};
	const struct node *at[9];
	struct chassis *ch = &w->car->chassis;
	if (!read_fields(&w->r, n, "the chassis", fields, 9, at))
		return;
	w->car->has_chassis = true;
	read_optional(&w->r, at[0], positive, &ch->mass);
	read_optional(&w->r, at[1], share, &ch->front_weight);
	if (ch->front_weight.has && ch->front_weight.v >= 1)
		read_fault(&w->r, at[1],
			"front-weight is the whole weight; a share below 1 is allowed");
	read_optional(&w->r, at[2], positive, &ch->wheelbase);
	read_optional(&w->r, at[3], not_negative, &ch->cg_height);
	load_axle(w, at[4], "the front of the chassis", &ch->front);
	load_axle(w, at[5], "the rear of the chassis", &ch->rear);
	load_aero(w, at[6], ch);
	load_brakes(w, at[7], ch);
	load_pressures(w, at[8], ch);
}

bool load_car(struct car *c, const struct doc *d, const char *id, struct faults *faults)
{
	static const struct field fields[] = {{"kind", true}, {"version", true}, {"name", false},
		{"notes", false}, {"adjustables", true}, {"chassis", false}};
	const struct node *at[6];
	struct work w = {.r = {d, faults, false}, .car = c};
	size_t from = faults->n;
	char *notes = NULL;
	car_init(c);
	memcpy(c->id, id, strlen(id) + 1);
	if (read_head(&w.r, d->root, "car") && read_fields(&w.r, d->root, "a car", fields, 6, at)) {
		read_text(&w.r, at[2], &c->name);
		read_text(&w.r, at[3], &notes);
		load_adjustables(&w, at[4]);
		load_chassis(&w, at[5]);
	}
	free(notes);
	free(w.told);
	free(w.at);
	faults_sort(faults, from);
	if (w.r.bad)
		car_free(c);
	return !w.r.bad;
}
