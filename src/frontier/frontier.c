#include "frontier/frontier.h"
#include "frontier/joint.h"
#include "frontier/moves.h"
#include "stint/stint.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a point costs to be told, base/patience.h. */
enum { POINT_STEPS = 200 };

/* What a frontier is made from; freed at the end of frontier_new(). */
struct work {
	const struct model *m;
	const struct sheet *start, *reference;
	const struct sheet *against; /* what deltas are told against */
	bool idle;                   /* the objective has no figures: nothing moves */
	const struct frontier_options *o;
	size_t n_groups;
	struct moves *moves;       /* owned [n_groups] */
	struct effects **effects;  /* owned [n_groups][n], filled where a point uses the move */
	bool **have;               /* owned [n_groups][n] */
	struct effects base;       /* the start sheet against the reference */
	struct joints joints;      /* owned */
	struct front_result front; /* owned */
	unsigned *choice;          /* owned [n_groups]: one point's levels */
	fix *scratch;              /* owned: the start sheet's values */
	struct stint_quick stint;
	struct frontier *f;
};

static void note(struct frontier *f, const char *fmt, ...) ERR_PRINTF(2, 3);
static void note(struct frontier *f, const char *fmt, ...)
{
	char(*grown)[200] = realloc(f->notes, (f->n_notes + 1) * sizeof *grown);
	if (!grown)
		return; /* a remark less */
	f->notes = grown;
	va_list ap;
	va_start(ap, fmt);
	vsnprintf(f->notes[f->n_notes], sizeof *grown, fmt, ap);
	text_mend(f->notes[f->n_notes++]);
	va_end(ap);
}

/* The start sheet against what it is told against: model_delta and model_like, as plain figures. */
static void find_base(struct work *w)
{
	const fix *a = w->start->values, *b = w->against->values;
	struct effects *e = &w->base;
	size_t n = w->m->book->car.n_adjustables;
	bool same = memcmp(a, b, n * sizeof *a) == 0;
	*e = (struct effects){0};
	for (size_t i = 0; i < EFFECTS_MAX; i++) {
		const struct response *r = moves_response(w->m, i);
		if (!r)
			continue;
		if (same) {
			e->known[i] = true;
			continue;
		}
		struct estimate d = i >= EFFECT_LIKE ? model_like(w->m, i - EFFECT_LIKE, a, b).delta
						     : model_delta(w->m, i, a, b);
		e->known[i] = d.known;
		e->v[i] = d.known ? d.value : 0;
	}
}

static bool base_known(struct work *w, struct err *err)
{
	size_t list[EFFECTS_MAX], n = moves_objective(w->m, &w->o->save, list);
	find_base(w);
	bool known = w->base.known[EFFECT_TIME];
	for (size_t i = 0; i < n; i++)
		known = known && (w->base.known[list[i]] || !moves_response(w->m, list[i]));
	if (known)
		return true;
	if (w->o->lenient) {
		note(w->f,
			"what %s itself does against %s cannot be told from the runs so far: all "
			"figures are against %s",
			w->start->id, w->reference->id, w->start->id);
		w->against = w->start;
		find_base(w);
		return true;
	}
	return err_failed(err,
		"what %s itself does against %s cannot be told from the runs so far; "
		"start from %s or from a sheet that only moves what was tested",
		w->start->id, w->reference->id, w->reference->id);
}

static bool time_fitted(const struct model *m, struct err *err)
{
	return m->responses[RESPONSE_TIME].fitted ||
	       err_failed(err, "no lap time figures: %s", m->responses[RESPONSE_TIME].why);
}

/* Are all responses that the objective needs fitted? */
static bool objective_fitted(const struct model *m, const struct save_target *t, struct err *err)
{
	size_t list[EFFECTS_MAX], n = moves_objective(m, t, list);
	for (size_t i = 0; i < n; i++) {
		if (moves_response(m, list[i]))
			continue;
		if (list[i] >= EFFECT_LIKE)
			return err_failed(err, "no like-for-like figures of %s: %s",
				m->book->channels[list[i] - EFFECT_LIKE],
				m->exchange[list[i] - EFFECT_LIKE].method == EXCHANGE_NONE
					? "the exchange rate is not known"
					: m->like[list[i] - EFFECT_LIKE].why);
		return err_failed(err, "no figures of wear %s: %s",
			m->book->channels[list[i] - EFFECT_WEAR], m->responses[list[i]].why);
	}
	return true;
}

static bool make_moves(struct work *w, struct err *err)
{
	w->moves = calloc(w->n_groups + 1, sizeof *w->moves);
	w->effects = calloc(w->n_groups + 1, sizeof *w->effects);
	w->have = calloc(w->n_groups + 1, sizeof *w->have);
	if (!w->moves || !w->effects || !w->have)
		return err_memory(err);
	for (size_t g = 0; g < w->n_groups; g++) {
		if (!moves_make(&w->moves[g], w->m, w->start, g, w->o, err))
			return false;
		w->effects[g] = calloc(w->moves[g].n, sizeof **w->effects);
		w->have[g] = calloc(w->moves[g].n, sizeof **w->have);
		if (!w->effects[g] || !w->have[g])
			return err_memory(err);
	}
	return true;
}

static bool make_front(struct work *w, struct err *err)
{
	if (!joints_make(
		    &w->joints, w->m, w->start, w->reference, w->moves, w->n_groups, w->o, err))
		return false;
	/* NOLINTNEXTLINE(clang-analyzer-unix.Malloc): the checker loses sight of w->moves here */
	struct front_group *groups = calloc(w->joints.n + 1, sizeof *groups);
	w->choice = calloc(w->n_groups + 1, sizeof *w->choice);
	if (!groups || !w->choice) {
		free(groups);
		return err_memory(err);
	}
	for (size_t i = 0; i < w->joints.n; i++)
		groups[i] = (struct front_group){w->joints.v[i].n, w->joints.v[i].levels};
	const struct front_bounds b = {
		.has_changes = w->o->has_max_changes,
		.has_minutes = w->o->has_max_minutes,
		.changes = (unsigned)(w->o->max_changes < 100000 ? w->o->max_changes : 100000),
		.minutes = fix_from_double(fmin(w->o->max_minutes, 1e8)),
		.patience = w->o->patience,
	};
	bool ok = front_sum(groups, w->joints.n, &b, &w->front, err);
	free(groups);
	return ok;
}

static double wear_of(const struct work *w, const struct effects *e, bool *known)
{
	size_t list[CHANNELS_MAX], n = moves_objective(w->m, &w->o->save, list);
	double sum = 0;
	*known = true;
	for (size_t i = 0; i < n; i++) {
		size_t at = list[i] >= EFFECT_LIKE ? list[i] - EFFECT_LIKE + EFFECT_WEAR : list[i];
		*known = *known && e->known[at];
		sum += e->v[at];
	}
	return sum / (double)n;
}

static double like_of(const struct work *w, const struct effects *e, bool *known)
{
	size_t list[CHANNELS_MAX], n = moves_objective(w->m, &w->o->save, list);
	double sum = 0;
	*known = true;
	for (size_t i = 0; i < n; i++) {
		size_t at = list[i] >= EFFECT_LIKE ? list[i] : list[i] - EFFECT_WEAR + EFFECT_LIKE;
		*known = *known && e->known[at];
		sum += e->v[at];
	}
	return sum / (double)n;
}

static double stint_of(const struct work *w, const struct effects *e, bool *known)
{
	double wear[CHANNELS_MAX];
	*known = w->stint.usable;
	for (size_t c = 0; c < w->m->book->n_channels; c++) {
		wear[c] = e->v[EFFECT_WEAR + c];
		*known = *known && e->known[EFFECT_WEAR + c];
	}
	return *known ? stint_quick_delta(&w->stint, e->v[EFFECT_TIME], wear) : 0;
}

/* The whole effect of one combination against the reference, and its values. */
static bool add_up(struct work *w, const unsigned *choice, struct effects *e, fix *values)
{
	*e = w->base;
	memcpy(values, w->start->values, w->m->book->car.n_adjustables * sizeof *values);
	for (size_t g = 0; g < w->n_groups; g++) {
		const struct moves *mv = &w->moves[g];
		unsigned k = choice[g];
		if (k == 0)
			continue;
		if (!w->have[g][k] && !moves_effects(w->m, mv, k, w->scratch, &w->effects[g][k]))
			return false;
		w->have[g][k] = true;
		for (size_t i = 0; i < EFFECTS_MAX; i++) {
			e->v[i] += w->effects[g][k].v[i];
			e->known[i] = e->known[i] && w->effects[g][k].known[i];
		}
		for (size_t i = 0; i < 2; i++)
			if (mv->member[i] >= 0)
				values[mv->member[i]] = mv->values[k][i];
	}
	return true;
}

/* Does a point rest on anything that the runs here alone do not tell? */
static bool leans_on_borrowed(const struct work *w, const fix *values)
{
	const fix *at = w->start->values;
	bool driven = true;
	if (!w->m->borrowing || !memcmp(values, at, w->m->book->car.n_adjustables * sizeof *at))
		return false;
	for (size_t k = 0; k < w->m->n_responses; k++)
		driven = driven &&
			 (!w->m->responses[k].fitted || model_delta_driven(w->m, k, values, at));
	return !driven || (w->o->borrowed && model_extrapolated(w->m, values, NULL));
}

static bool make_point(struct work *w, size_t i, struct frontier_point *p, fix *values)
{
	struct effects e;
	if (!patience_spend(w->o->patience, POINT_STEPS))
		return false;
	joints_expand(&w->joints, w->front.choice + i * w->joints.n, w->choice);
	if (!add_up(w, w->choice, &e, values))
		return false;
	p->values = values;
	p->changes = w->front.totals[i].changes;
	p->minutes = fix_to_double(w->front.totals[i].minutes);
	p->time_delta = e.v[EFFECT_TIME];
	p->wear_delta = wear_of(w, &e, &p->has_wear);
	p->like_delta = like_of(w, &e, &p->has_like);
	p->stint_delta = stint_of(w, &e, &p->has_stint);
	p->borrowed = leans_on_borrowed(w, values);
	return true;
}

/*
 * Thinning: places evenly apart along the front, both figures scaled to their span, and
 * for each the first point not before it; both ends are kept and no point comes twice.
 */
static void thin(const struct front_result *r, size_t want, size_t *pick)
{
	const struct front_total *t = r->totals;
	const double span_t = t[r->n - 1].time - t[0].time, span_w = t[0].wear - t[r->n - 1].wear;
	double length = 0, at = 0;
	for (size_t pass = 0, k = 0; pass < 2; pass++)
		for (size_t i = 0; i < r->n; i++) {
			double step = i == 0 ? 0
					     : hypot((t[i].time - t[i - 1].time) / span_t,
						       (t[i].wear - t[i - 1].wear) / span_w);
			if (pass == 0) {
				length += step;
				continue;
			}
			at += step;
			bool due = at >= length * (double)k / (double)(want - 1) || i == r->n - 1;
			if (k < want && (due || r->n - i <= want - k))
				pick[k++] = i;
		}
	pick[want - 1] = r->n - 1;
}

static bool make_points(struct work *w, struct err *err)
{
	struct frontier *f = w->f;
	size_t n = w->m->book->car.n_adjustables, want = w->front.n;
	f->n_found = w->front.n;
	if (w->o->points >= 2 && want > w->o->points)
		want = w->o->points;
	f->points = calloc(want + 1, sizeof *f->points);
	f->values = calloc(want * n + 1, sizeof *f->values);
	size_t *pick = calloc(want + 1, sizeof *pick);
	bool ok = f->points && f->values && pick;
	for (size_t i = 0; ok && i < want; i++)
		pick[i] = i;
	if (ok && want < w->front.n)
		thin(&w->front, want, pick);
	for (size_t i = 0; ok && i < want; i++)
		ok = make_point(w, pick[i], &f->points[i], f->values + i * n);
	f->n = ok ? want : 0;
	free(pick);
	return ok || patience_end(w->o->patience, "the frontier", err);
}

/* What was not moved, and why; what counted nothing. */
static void say_left_out(const struct work *w)
{
	const struct car *car = &w->m->book->car;
	for (size_t g = 0; g < w->n_groups && !w->idle; g++) {
		const struct moves *mv = &w->moves[g];
		const char *label = car->adjustables[mv->member[0]].label;
		if (mv->n > 1 && mv->out.untested)
			note(w->f, "%s: some moves left out, not tested by themselves", label);
		if (mv->n > 1)
			continue;
		if (mv->out.frozen)
			note(w->f, "%s: stays, frozen", label);
		else if (mv->out.untested)
			note(w->f, "%s: stays, not tested by itself", label);
		else if (mv->out.range)
			note(w->f, "%s: stays, not driven at other values", label);
		else
			note(w->f, "%s: stays, no other value inside its limits", label);
	}
	if (w->f->n == 0 && (w->o->has_hold_share || w->o->has_hold_aero))
		note(w->f,
			"no allowed combination keeps the shares within their bands around %s's; "
			"widen them",
			w->reference->id);
	for (size_t a = 0; w->o->has_max_minutes && a < car->n_adjustables; a++)
		if (!car->adjustables[a].has_minutes)
			note(w->f, "%s: no minutes in the car profile, counted as 0",
				car->adjustables[a].id);
}

static void work_free(struct work *w)
{
	for (size_t g = 0; g < w->n_groups; g++) {
		if (w->moves)
			moves_free(&w->moves[g]);
		if (w->effects)
			free(w->effects[g]);
		if (w->have)
			free(w->have[g]);
	}
	free(w->moves);
	free(w->effects);
	free(w->have);
	free(w->scratch);
	free(w->choice);
	joints_free(&w->joints);
	front_free(&w->front);
}

struct frontier *frontier_new(const struct model *m, const struct sheet *start,
	const struct sheet *reference, const struct frontier_options *o, struct err *err)
{
	struct work w = {
		.m = m, .start = start, .reference = reference, .against = reference, .o = o};
	size_t n = m->book->car.n_adjustables;
	struct err why;
	err_clear(&why);
	if (!time_fitted(m, err))
		return NULL;
	w.idle = !objective_fitted(m, &o->save, &why);
	if (w.idle && !o->lenient) {
		*err = why;
		return NULL;
	}
	w.f = calloc(1, sizeof *w.f);
	w.scratch = calloc(n + 1, sizeof *w.scratch);
	bool ok = w.f && w.scratch;
	if (!ok)
		err_memory(err);
	if (ok) {
		memcpy(w.scratch, start->values, n * sizeof *w.scratch);
		if (w.idle)
			note(w.f, "%.150s: nothing is moved", why.text);
		ok = base_known(&w, err);
	}
	if (ok) {
		w.n_groups = m->n_groups;
		w.f->save = o->save;
		w.f->against = w.against;
		ok = stint_quick_prepare(&w.stint, m, w.against->values, err) &&
		     make_moves(&w, err) && make_front(&w, err) && make_points(&w, err);
	}
	if (ok) {
		w.f->candidates = w.front.candidates;
		say_left_out(&w);
	} else {
		frontier_free(w.f);
		w.f = NULL;
	}
	work_free(&w);
	return w.f;
}

void frontier_free(struct frontier *f)
{
	if (!f)
		return;
	free(f->points);
	free(f->values);
	free(f->notes);
	free(f);
}
