/*
 * Laps of a run, and the smallest effects that a plan finds.
 *
 * The plan's runs are given to the fit itself, one made-up lap each, so that columns,
 * curvature, rank and degrees of freedom are those that the real runs will meet. The
 * made-up lap times cancel: only se / sigma is read, which the design alone settles.
 * All runs have n laps, so the standard error of a contrast is that ratio times
 * sqrt(sigma_run^2 + sigma_lap^2 / n), and the smallest effect found with 80% power at
 * 5% is that many standard errors as power_detectable() says for runs - rank degrees
 * of freedom. The runs driven before the plan are left out.
 *
 * Full range: the most that a term changes while its coordinate goes from -1 to +1:
 * twice a linear or a product coefficient, once that of a square. A member that moves
 * without its partner is told under its own id, over its own limits.
 */
#include "model/model.h"
#include "plan/plan_own.h"
#include "plan/power.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double alpha = 0.05, power = 0.80;

bool plan_choose_laps(struct plan *p, const struct plan_options *o, struct err *err)
{
	p->laps = PLAN_LAPS_USUAL;
	if (!o->lap_budget)
		return true;
	size_t n = o->lap_budget / p->n_runs, usual = PLAN_LAPS_USUAL * p->n_runs;
	if (n == 0)
		return err_input(err,
			"a budget of %zu laps for %zu runs; allowed: at least %zu, "
			"better %zu (%d a run)",
			o->lap_budget, p->n_runs, p->n_runs, usual, PLAN_LAPS_USUAL);
	p->laps = n < PLAN_LAPS_MOST ? n : PLAN_LAPS_MOST;
	size_t left = o->lap_budget - p->laps * p->n_runs;
	bool ok = true;
	if (n < PLAN_LAPS_USUAL)
		ok = plan_note(p,
			"%zu laps a run is short: five to eight timed laps are common "
			"practice; the budget holds %zu runs of five, so test fewer factors",
			n, o->lap_budget / PLAN_LAPS_USUAL);
	else if (left >= p->laps)
		ok = plan_note(p,
			"%zu laps of the budget are left: repeating runs teaches more than "
			"longer ones",
			left);
	return ok || err_memory(err);
}

void plan_book_noise(const struct model *m, struct plan_noise out[RESPONSES_MAX])
{
	memset(out, 0, RESPONSES_MAX * sizeof *out);
	for (size_t y = 0; y < m->n_responses; y++) {
		const struct response *r = &m->responses[y];
		if (!r->fitted || !(r->df_run >= 1) || !(r->sigma_run >= 0))
			continue;
		double lap = r->one_obs_a_run ? 0 : r->sigma_lap;
		out[y] = (struct plan_noise){isfinite(lap), r->sigma_run, lap};
	}
}

/* The plan's runs as a book of their own. */
struct probe {
	struct book book;    /* a shallow copy with other runs */
	struct run *runs;    /* owned; values are the plan's */
	struct lap *laps;    /* owned */
	struct model *model; /* owned */
};

static void probe_free(struct probe *q)
{
	model_free(q->model);
	free(q->runs);
	free(q->laps);
	*q = (struct probe){0};
}

/* Scattered, always the same, of no meaning. */
static double made_up(size_t i, size_t response)
{
	double turn = (double)(i + 1) * 0.6180339887498949 + (double)response * 0.37;
	turn -= floor(turn);
	return turn * turn;
}

static void fill_lap(struct lap *l, size_t i, size_t n_channels)
{
	l->time = 90 + made_up(i, 0);
	for (size_t c = 0; c < n_channels; c++) {
		l->has_wear[c] = true;
		l->wear[c] = 2 + made_up(i, 1 + c);
	}
}

/* The plan `times` over, and `extra` more runs of its first, the base. */
static bool probe_init(struct probe *q, const struct plan *p, const struct book *b, size_t times,
	size_t extra, struct err *err)
{
	size_t n = p->n_runs * times + extra;
	*q = (struct probe){.book = *b};
	q->book.n_borrow = 0; /* what the plan finds by itself */
	q->runs = calloc(n, sizeof *q->runs);
	q->laps = calloc(n, sizeof *q->laps);
	if (!q->runs || !q->laps) {
		probe_free(q);
		return err_memory(err);
	}
	for (size_t i = 0; i < n; i++) {
		struct run *r = &q->runs[i];
		run_init(r);
		snprintf(r->id, sizeof r->id, "p%zu", i);
		r->n_values = p->n_adjustables;
		r->values = p->values + (i < p->n_runs * times ? i % p->n_runs : 0) * r->n_values;
		r->n_laps = 1;
		r->laps = &q->laps[i];
		fill_lap(r->laps, i, b->n_channels);
	}
	q->book.runs = q->runs;
	q->book.n_runs = n;
	q->model = model_new(&q->book, err);
	if (q->model)
		return true;
	probe_free(q);
	return false;
}

/* A contrast to be told, on the terms of the probe's response. */
struct told {
	char id[TERM_ID_SIZE];
	double *row; /* owned */
};

struct told_list {
	size_t n;
	struct told *list; /* owned */
};

static void told_free(struct told_list *t)
{
	for (size_t i = 0; i < t->n; i++)
		free(t->list[i].row);
	free(t->list);
}

static struct told *told_add(struct told_list *t, const char *id, size_t n_terms)
{
	struct told *one = &t->list[t->n];
	one->row = calloc(n_terms, sizeof *one->row);
	if (!one->row)
		return NULL;
	snprintf(one->id, sizeof one->id, "%s", id);
	t->n++;
	return one;
}

/* The factor that moves this adjustable by itself, NULL if none does. */
static const struct plan_factor *mover_of(const struct plan *p, int adjustable)
{
	for (size_t f = 0; f < p->n_factors; f++)
		if (p->factors[f].partner < 0 && p->factors[f].adjustable == adjustable)
			return &p->factors[f];
	return NULL;
}

static bool pair_moves(const struct plan *p, int pair)
{
	for (size_t f = 0; f < p->n_factors; f++)
		if (p->factors[f].partner >= 0 && p->factors[f].pair == pair)
			return true;
	return false;
}

/* One member alone: common and difference change together. Told between the plan's own levels,
 * and scaled to the member's limits. */
static void fill_member_row(const struct model *m, const struct response *r,
	const struct plan_factor *f, const fix *base, fix *scratch, double *low, double *row)
{
	const struct car *c = &m->book->car;
	const struct adjustable *a = &c->adjustables[f->adjustable];
	memcpy(scratch, base, c->n_adjustables * sizeof *scratch);
	scratch[f->adjustable] = base[f->adjustable] + f->low;
	model_row(m, r, scratch, low);
	scratch[f->adjustable] = base[f->adjustable] + f->high;
	model_row(m, r, scratch, row);
	double scale = (double)(a->max - a->min) / (double)(f->high - f->low);
	for (size_t t = 0; t < r->n_terms; t++)
		row[t] = scale * (row[t] - low[t]);
}

/* Which linear terms the plan speaks about: all that its factors move. */
static bool add_linear(struct told_list *list, const struct plan *p, const struct model *m,
	const struct response *r, size_t term, fix *scratch, double *low)
{
	const struct coord *k = &m->coords[r->terms[term].a];
	const struct pair *q = k->pair < 0 ? NULL : &m->book->car.pairs[k->pair];
	const struct plan_factor *front = q ? mover_of(p, q->front) : NULL;
	const struct plan_factor *rear = q ? mover_of(p, q->rear) : NULL;
	bool moves = !q ? mover_of(p, k->adjustable) != NULL
			: (front && rear) || (k->kind == COORD_COMMON && pair_moves(p, k->pair));
	if (moves) {
		struct told *one = told_add(list, r->terms[term].id, r->n_terms);
		if (!one)
			return false;
		one->row[term] = 2;
	} else if (k->kind == COORD_COMMON && (front || rear)) {
		const struct plan_factor *f = front ? front : rear;
		struct told *one = told_add(list, f->id, r->n_terms);
		if (!one)
			return false;
		fill_member_row(m, r, f, p->runs[0].values, scratch, low, one->row);
	}
	return true;
}

static bool fill_told(struct told_list *list, const struct plan *p, const struct model *m,
	fix *scratch, double *low)
{
	const struct response *r = &m->responses[RESPONSE_TIME];
	for (size_t t = 0; t < r->n_terms; t++) {
		enum term_kind kind = r->terms[t].kind;
		if (kind == TERM_LINEAR) {
			if (!add_linear(list, p, m, r, t, scratch, low))
				return false;
		} else if ((kind == TERM_SQUARE || kind == TERM_PRODUCT) && r->estimable[t]) {
			struct told *one = told_add(list, r->terms[t].id, r->n_terms);
			if (!one)
				return false;
			one->row[t] = kind == TERM_SQUARE ? 1 : 2;
		}
	}
	return true;
}

static bool make_told(
	struct told_list *list, const struct plan *p, const struct model *m, struct err *err)
{
	const struct response *r = &m->responses[RESPONSE_TIME];
	fix *scratch = calloc(p->n_adjustables + 1, sizeof *scratch);
	double *low = calloc(r->n_terms + 1, sizeof *low);
	*list = (struct told_list){.list = calloc(r->n_terms + 1, sizeof *list->list)};
	bool ok = scratch && low && list->list && fill_told(list, p, m, scratch, low);
	free(scratch);
	free(low);
	if (!ok) {
		told_free(list);
		*list = (struct told_list){0};
		return err_memory(err);
	}
	return true;
}

/* Smallest effect of a contrast in units of a run mean's standard deviation; NAN if the plan
 * cannot tell it or leaves no degrees of freedom. */
static double unit_effect(const struct response *r, const double *row)
{
	struct estimate e = model_contrast(r, row);
	if (!e.known || !(r->df_run >= 1) || !(r->sigma_run > 0))
		return NAN;
	return e.se / r->sigma_run * power_detectable(r->df_run, alpha, power);
}

static double run_mean_sd(const struct plan_noise *n, size_t laps)
{
	return n->has ? sqrt(n->run * n->run + n->lap * n->lap / (double)laps) : NAN;
}

static bool fill_detect(struct plan *p, const struct told_list *list, const struct response *r,
	const struct plan_noise *noise, struct err *err)
{
	p->detect = calloc(list->n * p->n_responses + 1, sizeof *p->detect);
	if (!p->detect)
		return err_memory(err);
	for (size_t i = 0; i < list->n; i++) {
		double unit = unit_effect(r, list->list[i].row);
		for (size_t y = 0; y < p->n_responses; y++) {
			struct plan_detect *d = &p->detect[p->n_detect++];
			double effect = unit * run_mean_sd(&noise[y], p->laps);
			snprintf(d->term, sizeof d->term, "%s", list->list[i].id);
			d->response = y;
			d->known = isfinite(effect);
			d->effect = d->known ? effect : 0;
		}
	}
	return true;
}

static int compare_numbers(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

/* Median over the contrasts; NAN when one of them cannot be told. */
static double typical_unit(const struct told_list *list, const struct response *r)
{
	double *unit = malloc((list->n + 1) * sizeof *unit), typical = NAN;
	bool all = unit && list->n;
	for (size_t i = 0; all && i < list->n; i++) {
		unit[i] = unit_effect(r, list->list[i].row);
		all = isfinite(unit[i]);
	}
	if (all) {
		qsort(unit, list->n, sizeof *unit, compare_numbers);
		typical = (unit[(list->n - 1) / 2] + unit[list->n / 2]) / 2;
	}
	free(unit);
	return typical;
}

static void add_offer(struct plan *p, const struct plan_noise *noise, const char *what, size_t runs,
	size_t laps, double unit)
{
	struct plan_offer *offer = &p->offers[p->n_offers++];
	snprintf(offer->what, sizeof offer->what, "%s", what);
	offer->runs = runs;
	offer->laps = laps;
	for (size_t y = 0; y < p->n_responses; y++) {
		double effect = unit * run_mean_sd(&noise[y], laps);
		offer->known[y] = isfinite(effect);
		offer->effect[y] = offer->known[y] ? effect : 0;
	}
}

static bool offer_larger(struct plan *p, const struct book *b, const struct plan_noise *noise,
	const char *what, size_t times, size_t extra, struct err *err)
{
	struct probe q;
	struct told_list list;
	if (!probe_init(&q, p, b, times, extra, err))
		return false;
	bool ok = make_told(&list, p, q.model, err);
	if (ok) {
		double unit = typical_unit(&list, &q.model->responses[RESPONSE_TIME]);
		add_offer(p, noise, what, p->n_runs * times + extra, p->laps, unit);
		told_free(&list);
	}
	probe_free(&q);
	return ok;
}

static bool make_offers(struct plan *p, const struct book *b, const struct plan_noise *noise,
	const struct told_list *list, const struct response *r, struct err *err)
{
	p->offers = calloc(5, sizeof *p->offers);
	if (!p->offers)
		return err_memory(err);
	double unit = typical_unit(list, r);
	add_offer(p, noise, "as planned", p->n_runs, p->laps, unit);
	add_offer(p, noise, "three more laps a run", p->n_runs, p->laps + 3, unit);
	add_offer(p, noise, "twice the laps a run", p->n_runs, 2 * p->laps, unit);
	return offer_larger(p, b, noise, "three more baseline runs", 1, 3, err) &&
	       offer_larger(p, b, noise, "the whole plan twice", 2, 0, err);
}

/* Squares that the fit will take in and cannot tell one by one: then no single move from the base
 * can be told, only moves from end to end. Better said before the runs are driven. */
static bool note_squares(struct plan *p, const struct response *r)
{
	for (size_t t = 0; t < r->n_terms; t++)
		if (r->terms[t].kind == TERM_SQUARE && !r->estimable[t])
			return plan_note(p,
				"the base lies midway between the levels: the fit will look for "
				"curves "
				"that this plan cannot tell apart, so it tells the ends from one "
				"another, not "
				"the base from an end; a definitive plan can, or curvature: off");
	return true;
}

bool plan_find_detectable(
	struct plan *p, const struct book *b, const struct plan_noise *noise, struct err *err)
{
	struct probe q;
	struct told_list list;
	if (!probe_init(&q, p, b, 1, 0, err))
		return false;
	bool ok = make_told(&list, p, q.model, err);
	if (ok) {
		const struct response *r = &q.model->responses[RESPONSE_TIME];
		ok = fill_detect(p, &list, r, noise, err) &&
		     make_offers(p, b, noise, &list, r, err);
		if (ok && !note_squares(p, r))
			ok = err_memory(err);
		told_free(&list);
	}
	probe_free(&q);
	return ok;
}
