/*
 * The next run. Contrasts l_k are the differences between the reference and the points of
 * the present frontier, for lap time and for the wear that the frontier saves. One more run
 * with row r and variance s = sigma_run^2 + sigma_lap^2 / n lowers the covariance C of the
 * coefficients by C r r'C / (s + r'C r) (Sherman & Morrison 1950), so the variances of the
 * contrasts fall by r'M r / (s + r'C r) with M the sum of C l_k l_k'C. What is made large is
 * the share of that sum, averaged over the responses; the ratio of the two variances is kept
 * as it was fitted.
 *
 * Candidates: every factor on its steps inside soft limits, by exchange of one factor at a
 * time from several starts. A run whose row lies outside the row space teaches nothing about
 * what is known and is left out.
 */
#include "base/patience.h"
#include "frontier/frontier.h"
#include "model/model.h"
#include "plan/plan_own.h"
#include "plan/power.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { POINTS = 40, STARTS = 12, SWEEPS = 10 };
/* What it costs to look at one step of a factor, base/patience.h. */
enum { STEP_STEPS = 50 };

/* One response: what a run would teach about it. */
struct lesson {
	const struct response *r;
	size_t response; /* for reports: the time's or the channel's */
	double s;        /* variance of the new run's mean */
	double total;    /* sum of the contrasts' variances */
	size_t n_contrasts;
	double *m;             /* owned [n_terms^2]: sum of C l l'C */
	double *row, *scratch; /* owned [n_terms] */
	/* Where the search stands, x, and what it takes to say what a step from there does. */
	double *at, *m_at, *c_at; /* owned [n_terms]: x, M x and C x */
	double m_here, c_here;    /* x'M x and x'C x */
	size_t *moved;            /* owned [n_terms]: parts of x that a step moves */
};

struct search {
	struct plan *p;
	const struct model *m;
	const fix *base;
	struct patience *patience; /* NULL: no end of it */
	size_t n_lessons;
	struct lesson lesson[RESPONSES_MAX];
	fix *trial, *best; /* owned */
	double *x;         /* owned [n_coords]: room for coordinates */
	double best_score;
};

static void lesson_free(struct lesson *l)
{
	free(l->m);
	free(l->row);
	free(l->scratch);
	free(l->at);
	free(l->m_at);
	free(l->c_at);
	free(l->moved);
}

static void search_free(struct search *s)
{
	for (size_t i = 0; i < s->n_lessons; i++)
		lesson_free(&s->lesson[i]);
	free(s->trial);
	free(s->best);
	free(s->x);
}

static bool lesson_add(struct search *s, const struct response *r, size_t response, size_t laps)
{
	struct lesson *l = &s->lesson[s->n_lessons++];
	size_t p = r->n_terms;
	*l = (struct lesson){.r = r, .response = response};
	l->s = r->sigma_run * r->sigma_run;
	if (!r->one_obs_a_run && isfinite(r->sigma_lap))
		l->s += r->sigma_lap * r->sigma_lap / (double)laps;
	l->m = calloc(p * p + 1, sizeof *l->m);
	l->row = calloc(p + 1, sizeof *l->row);
	l->scratch = calloc(p + 1, sizeof *l->scratch);
	l->at = calloc(p + 1, sizeof *l->at);
	l->m_at = calloc(p + 1, sizeof *l->m_at);
	l->c_at = calloc(p + 1, sizeof *l->c_at);
	l->moved = calloc(p + 1, sizeof *l->moved);
	return l->m && l->row && l->scratch && l->at && l->m_at && l->c_at && l->moved;
}

static void multiply(const double *a, const double *x, size_t p, double *out)
{
	for (size_t i = 0; i < p; i++) {
		double sum = 0;
		for (size_t j = 0; j < p; j++)
			sum += a[i * p + j] * x[j];
		out[i] = sum;
	}
}

static double dot(const double *x, const double *y, size_t p)
{
	double sum = 0;
	for (size_t i = 0; i < p; i++)
		sum += x[i] * y[i];
	return sum;
}

static double quadratic(const double *a, const double *x, size_t p)
{
	double sum = 0;
	for (size_t i = 0; i < p; i++)
		sum += dot(a + i * p, x, p) * x[i];
	return sum;
}

/* What x'A x grows by when x goes a step d further, n of whose parts are not 0: those in
 * moved. A is symmetric. */
static double growth(const double *a, size_t p, const double *a_x, const double *d,
	const size_t *moved, size_t n)
{
	double sum = 0;
	for (size_t i = 0; i < n; i++) {
		const double *row = a + moved[i] * p;
		double inner = 2 * a_x[moved[i]];
		for (size_t j = 0; j < n; j++)
			inner += row[moved[j]] * d[moved[j]];
		sum += d[moved[i]] * inner;
	}
	return sum;
}

/* Takes the contrast between two sets of values in, where it can be told. */
static void lesson_take(
	const struct model *m, struct lesson *l, const fix *values, const fix *against)
{
	size_t p = l->r->n_terms;
	double *row = l->row, *g = l->scratch;
	model_row(m, l->r, against, g);
	model_row(m, l->r, values, row);
	for (size_t t = 0; t < p; t++)
		row[t] -= g[t];
	if (!model_estimable(l->r, row))
		return;
	multiply(l->r->cov, row, p, g);
	double variance = 0;
	for (size_t t = 0; t < p; t++)
		variance += row[t] * g[t];
	if (!(variance > 0))
		return;
	for (size_t i = 0; i < p; i++)
		for (size_t j = 0; j < p; j++)
			l->m[i * p + j] += g[i] * g[j];
	l->total += variance;
	l->n_contrasts++;
}

/* Share of the contrasts' variance that a run on these values takes away, 0 to 1. */
static double lesson_gain(const struct model *m, struct lesson *l, const fix *values)
{
	size_t p = l->r->n_terms;
	model_row(m, l->r, values, l->row);
	double taken = quadratic(l->m, l->row, p);
	return taken / (l->s + quadratic(l->r->cov, l->row, p)) / l->total;
}

/* Stand on these values: steps from here are cheap. */
static void stand_on(struct search *s, const fix *values)
{
	for (size_t i = 0; i < s->n_lessons; i++) {
		struct lesson *l = &s->lesson[i];
		const size_t p = l->r->n_terms;
		model_row(s->m, l->r, values, l->at);
		multiply(l->m, l->at, p, l->m_at);
		multiply(l->r->cov, l->at, p, l->c_at);
		l->m_here = dot(l->at, l->m_at, p);
		l->c_here = dot(l->at, l->c_at, p);
	}
}

/* score_of() values that differ little from those stood on. */
static double score_near(struct search *s, const fix *values)
{
	double sum = 0;
	model_coords(s->m, values, s->x);
	for (size_t i = 0; i < s->n_lessons; i++) {
		struct lesson *l = &s->lesson[i];
		const size_t p = l->r->n_terms;
		size_t n = 0;
		for (size_t t = 0; t < p; t++) {
			l->row[t] = model_term_value(&l->r->terms[t], s->x) - l->at[t];
			if (l->row[t] != 0)
				l->moved[n++] = t;
		}
		const double taken = l->m_here + growth(l->m, p, l->m_at, l->row, l->moved, n);
		const double variance =
			l->c_here + growth(l->r->cov, p, l->c_at, l->row, l->moved, n);
		sum += taken / (l->s + variance) / l->total;
	}
	return sum / (double)s->n_lessons;
}

static double score_of(struct search *s, const fix *values)
{
	double sum = 0;
	for (size_t i = 0; i < s->n_lessons; i++)
		sum += lesson_gain(s->m, &s->lesson[i], values);
	return sum / (double)s->n_lessons;
}

static bool can_be_told(struct search *s, const fix *values)
{
	for (size_t i = 0; i < s->n_lessons; i++) {
		struct lesson *l = &s->lesson[i];
		model_row(s->m, l->r, values, l->row);
		if (!model_estimable(l->r, l->row))
			return false;
	}
	return true;
}

static void put(struct search *s, const struct plan_factor *f, fix move)
{
	s->trial[f->adjustable] = s->base[f->adjustable] + move;
	if (f->partner >= 0)
		s->trial[f->partner] = s->base[f->partner] + move;
}

/* The best step of one factor, all others as in trial. Returns the score then. */
static double exchange_one(struct search *s, const struct plan_factor *f, double score)
{
	fix best = s->trial[f->adjustable] - s->base[f->adjustable];
	stand_on(s, s->trial);
	/* NOLINTNEXTLINE(clang-analyzer-unix.Malloc): search_free() frees it */
	for (fix move = f->low; move <= f->high; move += f->step) {
		if (!patience_spend(s->patience, STEP_STEPS * s->n_lessons))
			break; /* all that follows ends as soon */
		put(s, f, move);
		double now = score_near(s, s->trial);
		if (now > score * (1 + 1e-9) && can_be_told(s, s->trial)) {
			score = now;
			best = move;
		}
	}
	put(s, f, best);
	return score;
}

/* From the values in trial; keeps what beats the best so far. */
static void exchange(struct search *s)
{
	if (!can_be_told(s, s->trial))
		return;
	/* NOLINTNEXTLINE(clang-analyzer-unix.Malloc): search_free() frees it */
	double score = score_of(s, s->trial);
	for (int sweep = 0; sweep < SWEEPS; sweep++) {
		double before = score;
		for (size_t f = 0; f < s->p->n_factors; f++)
			score = exchange_one(s, &s->p->factors[f], score);
		score = score_of(s, s->trial); /* so that no rounding adds up */
		if (!(score > before))
			break;
	}
	if (score > s->best_score * (1 + 1e-9)) {
		s->best_score = score;
		memcpy(s->best, s->trial, s->p->n_adjustables * sizeof *s->best);
	}
}

/* What moves nothing goes back to the base. */
static void tidy(struct search *s)
{
	memcpy(s->trial, s->best, s->p->n_adjustables * sizeof *s->best);
	for (size_t f = 0; f < s->p->n_factors; f++) {
		const struct plan_factor *one = &s->p->factors[f];
		fix move = s->trial[one->adjustable] - s->base[one->adjustable];
		put(s, one, 0);
		if (score_of(s, s->trial) < s->best_score * (1 - 1e-9) || !can_be_told(s, s->trial))
			put(s, one, move);
	}
	memcpy(s->best, s->trial, s->p->n_adjustables * sizeof *s->best);
}

/* A driven run's moves, brought onto the factors' steps; what is no factor stays at the base. */
static void start_from(struct search *s, const fix *values)
{
	memcpy(s->trial, s->base, s->p->n_adjustables * sizeof *s->trial);
	for (size_t i = 0; i < s->p->n_factors; i++) {
		const struct plan_factor *f = &s->p->factors[i];
		fix move = (values[f->adjustable] - s->base[f->adjustable]) / f->step * f->step;
		put(s, f, move < f->low ? f->low : move > f->high ? f->high : move);
	}
}

/* Starts: the base, every factor's ends by themselves, runs driven, and points of the frontier. */
static void search_all(struct search *s, const struct frontier *front)
{
	size_t bytes = s->p->n_adjustables * sizeof *s->trial;
	memcpy(s->trial, s->base, bytes);
	exchange(s);
	for (size_t f = 0; f < s->p->n_factors && f < STARTS; f++)
		for (int end = 0; end < 2; end++) {
			memcpy(s->trial, s->base, bytes);
			put(s, &s->p->factors[f],
				end ? s->p->factors[f].high : s->p->factors[f].low);
			exchange(s);
		}
	size_t n = front ? front->n : 0;
	for (size_t i = 0; i < n && i < STARTS; i++) {
		size_t at = n <= STARTS ? i : i * (n - 1) / (STARTS - 1);
		start_from(s, front->points[at].values);
		exchange(s);
	}
	const struct book *b = s->m->book;
	for (size_t i = 0; i < b->n_runs && i < STARTS; i++) {
		start_from(s, b->runs[b->n_runs - 1 - i].values);
		exchange(s);
	}
	if (s->best_score > 0)
		tidy(s);
}

static bool add_lessons(struct search *s, const struct save_target *save, size_t laps)
{
	const struct model *m = s->m;
	if (!lesson_add(s, &m->responses[RESPONSE_TIME], RESPONSE_TIME, laps))
		return false;
	for (size_t c = 0; save && c < m->n_responses - 1; c++) {
		bool wanted = save->kind == SAVE_MEAN || (int)c == save->channel;
		const struct response *r =
			save->kind == SAVE_LIKE ? &m->like[c] : &m->responses[1 + c];
		if (wanted && r->fitted && r->df_run >= 1 && !lesson_add(s, r, 1 + c, laps))
			return false;
	}
	return true;
}

/* Lessons without a contrast go. */
static void drop_empty(struct search *s)
{
	size_t n = 0;
	for (size_t i = 0; i < s->n_lessons; i++) {
		struct lesson *l = &s->lesson[i];
		if (!(l->total > 0)) {
			lesson_free(l);
			continue;
		}
		s->lesson[n++] = *l;
	}
	s->n_lessons = n;
}

/* Differences along the frontier; where there is none (why says why) or it holds nothing but the
 * reference, each factor's own move from end to end. */
static bool take_contrasts(
	struct search *s, const struct frontier *front, const char *why, const fix *reference)
{
	for (size_t i = 0; front && i < front->n; i++)
		for (size_t l = 0; l < s->n_lessons; l++)
			lesson_take(s->m, &s->lesson[l], front->points[i].values, reference);
	double total = 0;
	for (size_t l = 0; l < s->n_lessons; l++)
		total += s->lesson[l].total;
	if (total > 0)
		return true;
	/* NOLINTBEGIN(clang-analyzer-unix.Malloc): s owns both, the checker loses sight of it */
	for (size_t f = 0; f < s->p->n_factors; f++)
		for (size_t l = 0; l < s->n_lessons; l++) {
			fix *low = s->best, *high = s->trial;
			memcpy(low, s->base, s->p->n_adjustables * sizeof *low);
			memcpy(high, s->base, s->p->n_adjustables * sizeof *high);
			put(s, &s->p->factors[f], s->p->factors[f].high);
			low[s->p->factors[f].adjustable] += s->p->factors[f].low;
			if (s->p->factors[f].partner >= 0)
				low[s->p->factors[f].partner] += s->p->factors[f].low;
			lesson_take(s->m, &s->lesson[l], high, low);
		}
	/* NOLINTEND(clang-analyzer-unix.Malloc) */
	return plan_note(s->p,
		"%s%.140s: the run is chosen for the moves that the runs so far can tell",
		front ? "the frontier holds nothing beside the reference" : "no frontier, ",
		front ? "" : why);
}

/* Factors none of whose moves can be told by the runs so far. */
static bool note_untold(struct search *s)
{
	char ids[PLAN_NOTE_SIZE - 100] = "";
	/* NOLINTNEXTLINE(clang-analyzer-unix.Malloc): as above */
	for (size_t f = 0; f < s->p->n_factors; f++) {
		memcpy(s->trial, s->base, s->p->n_adjustables * sizeof *s->trial);
		put(s, &s->p->factors[f],
			s->p->factors[f].low ? s->p->factors[f].low : s->p->factors[f].high);
		size_t len = strlen(ids);
		if (!can_be_told(s, s->trial))
			snprintf(ids + len, sizeof ids - len, "%s%s", len ? ", " : "",
				s->p->factors[f].id);
	}
	return !ids[0] || plan_note(s->p,
				  "not looked at, as no run so far tells what it does: %s; "
				  "a screening plan would",
				  ids);
}

static bool put_run(
	struct plan *p, const struct model *m, const fix *base, const fix *values, struct err *err)
{
	p->runs = calloc(1, sizeof *p->runs);
	p->values = malloc((p->n_adjustables + 1) * sizeof *p->values);
	if (!p->runs || !p->values)
		return err_memory(err);
	memcpy(p->values, values, p->n_adjustables * sizeof *values);
	p->n_runs = 1;
	p->runs[0].values = p->values;
	p->runs[0].changes = plan_count_changes(&m->book->car, base, values, &p->runs[0].minutes);
	p->runs[0].baseline = p->runs[0].changes == 0;
	p->minutes = p->runs[0].minutes;
	return true;
}

/* Standard error of term t after the run: its variance less (Cr)_t^2 / (s + r'Cr). */
static double se_after(const struct model *m, const struct response *r, const fix *values, double s,
	size_t t, double *row, double *g)
{
	model_row(m, r, values, row);
	multiply(r->cov, row, r->n_terms, g);
	double variance = r->cov[t * r->n_terms + t];
	variance -= g[t] * g[t] / (s + quadratic(r->cov, row, r->n_terms));
	return sqrt(fmax(0, variance));
}

/* What the runs so far and this one will find together, term by term. */
static bool detect_next(struct plan *p, const struct model *m, struct err *err)
{
	size_t most = 0;
	double found[RESPONSES_MAX]; /* standard errors that an effect has to be, to be found */
	for (size_t y = 0; y < m->n_responses; y++) {
		most = m->responses[y].n_terms > most ? m->responses[y].n_terms : most;
		found[y] = power_detectable(model_driven(&m->responses[y])->df_run + 1, 0.05, 0.80);
	}
	double *row = calloc(2 * most + 1, sizeof *row);
	p->detect = calloc(most * m->n_responses + 1, sizeof *p->detect);
	if (!row || !p->detect) {
		free(row);
		return err_memory(err);
	}
	for (size_t t = 0; t < most; t++)
		for (size_t y = 0; y < m->n_responses; y++) {
			const struct response *r = model_driven(&m->responses[y]);
			if (t >= r->n_terms || r->terms[t].kind != TERM_LINEAR)
				continue;
			struct plan_detect *d = &p->detect[p->n_detect++];
			double s = r->sigma_run * r->sigma_run;
			if (!r->one_obs_a_run && isfinite(r->sigma_lap))
				s += r->sigma_lap * r->sigma_lap / (double)p->laps;
			double se = r->estimable[t]
					    ? se_after(m, r, p->values, s, t, row, row + most)
					    : NAN;
			double effect = 2 * se * found[y];
			memcpy(d->term, r->terms[t].id, sizeof d->term);
			d->response = y;
			d->known = isfinite(effect) && r->df_run >= 1;
			d->effect = d->known ? effect : 0;
		}
	free(row);
	return true;
}

static void tell_gain(struct plan *p, struct search *s)
{
	for (size_t i = 0; i < s->n_lessons; i++) {
		struct lesson *l = &s->lesson[i];
		double mean = l->total / (double)l->n_contrasts;
		double gain = lesson_gain(s->m, l, p->values);
		p->has_gain[l->response] = true;
		p->se_now[l->response] = sqrt(mean);
		p->se_after[l->response] = sqrt(mean * fmax(0, 1 - gain));
	}
}

static struct frontier *present_frontier(const struct model *m, const struct plan_options *p,
	struct save_target *save, bool *has_save, struct err *err)
{
	struct frontier_options o = {
		.points = POINTS, .borrowed = m->borrowing != NULL, .patience = p->patience};
	*has_save = save_parse(m, NULL, save, err);
	if (!*has_save)
		return NULL;
	o.save = *save;
	return frontier_new(m, p->base, book_reference(m->book), &o, err);
}

static bool note_borrowed(struct plan *p, const struct model *m)
{
	return !m->borrowing ||
	       plan_note(p, "what other books tell counts as known, as surely as their "
			    "spread between circuits allows: the run is chosen for what they leave "
			    "open");
}

static bool choose(struct search *s, const struct frontier *front, struct err *err)
{
	drop_empty(s);
	if (s->n_lessons)
		search_all(s, front);
	if (patience_ended(s->patience))
		return patience_end(s->patience, "the choice of a run", err);
	if (!(s->best_score > 0))
		return err_input(err, "the runs driven so far tell nothing that one more run could "
				      "sharpen; drive a screening or definitive plan first");
	if (!put_run(s->p, s->m, s->base, s->best, err))
		return false;
	tell_gain(s->p, s);
	return (note_untold(s) && note_borrowed(s->p, s->m)) || err_memory(err);
}

static bool find_next(
	struct plan *p, const struct model *m, const struct plan_options *o, struct err *err)
{
	struct search s = {.p = p, .m = m, .base = o->base->values, .patience = o->patience};
	struct save_target save;
	bool has_save, ok = false;
	struct err why;
	err_clear(&why);
	struct frontier *front = present_frontier(m, o, &save, &has_save, &why);
	s.trial = calloc(p->n_adjustables + 1, sizeof *s.trial);
	s.best = calloc(p->n_adjustables + 1, sizeof *s.best);
	s.x = calloc(m->n_coords + 1, sizeof *s.x);
	if (err_is_memory(&why) || patience_ended(o->patience))
		*err = why;
	else if (!s.trial || !s.best || !s.x ||
		 !add_lessons(&s, has_save ? &save : NULL, p->laps) ||
		 !take_contrasts(&s, front, why.text, book_reference(m->book)->values))
		err_memory(err);
	else
		ok = choose(&s, front, err);
	frontier_free(front);
	search_free(&s);
	return ok;
}

/* Without repeats nothing can be weighed: the base once more is what teaches most. */
static bool repeat_base(
	struct plan *p, const struct model *m, const struct plan_options *o, struct err *err)
{
	if (!put_run(p, m, o->base->values, o->base->values, err))
		return false;
	return plan_note(p, "no set-up was driven twice, or too few runs were driven to tell "
			    "scatter from "
			    "effects: the base once more is what teaches most") ||
	       err_memory(err);
}

struct plan *plan_next(const struct model *m, const struct plan_options *o, struct err *err)
{
	const struct book *b = m->book;
	const struct response *time = &m->responses[RESPONSE_TIME];
	if (!time->fitted) {
		err_failed(err,
			"no lap is fitted yet (%s); drive a screening or definitive plan first",
			time->why);
		return NULL;
	}
	struct plan *p = calloc(1, sizeof *p);
	if (!p) {
		err_memory(err);
		return NULL;
	}
	p->kind = PLAN_NEXT;
	memcpy(p->base, o->base->id, sizeof p->base);
	p->n_adjustables = b->car.n_adjustables;
	p->n_responses = 1 + b->n_channels;
	p->laps = o->lap_budget ? o->lap_budget : PLAN_LAPS_USUAL;
	bool ok = plan_choose_factors(p, b, o, err);
	if (ok)
		ok = time->df_run >= 1 ? find_next(p, m, o, err) : repeat_base(p, m, o, err);
	if (ok && detect_next(p, m, err))
		return p;
	plan_free(p);
	return NULL;
}
