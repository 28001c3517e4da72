/* Everything of a book fitted once, in order: readings, terms, responses, exchange rates. */
#include "base/share.h"
#include "model/internal.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void model_note(struct model *m, const char *fmt, ...)
{
	char(*notes)[200] = realloc(m->notes, (m->n_notes + 1) * sizeof *notes);
	if (!notes)
		return; /* a remark less */
	m->notes = notes;
	va_list ap;
	va_start(ap, fmt);
	vsnprintf(notes[m->n_notes], sizeof notes[0], fmt, ap);
	text_mend(notes[m->n_notes++]);
	va_end(ap);
}

enum logged { LOGGED_NEVER, LOGGED_PARTLY, LOGGED_STEADY, LOGGED_VARIES };
struct logging {
	enum logged how;
	const struct obs *gap; /* the first reading without it */
};

/* What is needed while fitting and not afterwards. */
struct work {
	struct obs_list obs[RESPONSES_MAX];
	struct setup setup;
	struct levels levels[FAC_N];
	bool bare;                     /* the responses alone, not judged; one after another */
	const struct lenders *lenders; /* of the caller, or NULL */
	int *set;                      /* [runs]: runs on the same values */
	struct logging logging[RESPONSES_MAX][COV_N];
	double *y[RESPONSES_MAX], *residual[RESPONSES_MAX];
	double *like[CHANNELS_MAX],
		*like_time[CHANNELS_MAX]; /* y of these; NULL where not fitted */
	bool covariate[RESPONSES_MAX][COV_N];
	struct suspect_list suspects[RESPONSES_MAX];
};

static void work_free(struct work *w)
{
	for (size_t k = 0; k < RESPONSES_MAX; k++) {
		obs_free(&w->obs[k]);
		free(w->y[k]);
		free(w->residual[k]);
		free(w->suspects[k].v);
	}
	for (size_t c = 0; c < CHANNELS_MAX; c++) {
		free(w->like[c]);
		free(w->like_time[c]);
	}
	for (int f = 0; f < FAC_N; f++)
		free(w->levels[f].level);
	setup_free(&w->setup);
	free(w->set);
}

static bool observe(struct model *m, struct work *w)
{
	if (!observe_time(m->book, &w->obs[0]))
		return false;
	for (size_t c = 0; c < m->book->n_channels; c++)
		if (!observe_wear(m->book, c, &w->obs[1 + c]))
			return false;
	m->n_fitted_laps = w->obs[0].n;
	for (size_t i = 0; i < m->book->n_runs; i++)
		m->n_skipped += m->book->runs[i].n_laps;
	m->n_skipped -= m->n_fitted_laps;
	return true;
}

static void set_conditions(struct model *m, const struct obs_list *time)
{
	static const double usual[COV_N] = {[COV_EFFORT] = 100};
	for (int c = 0; c < COV_N; c++) {
		const struct opt_num *given = &m->book->conditions[c];
		m->condition[c] = given->has ? given->v : usual[c];
	}
	if (m->book->conditions[COV_TRACK_TEMP].has)
		return;
	double sum = 0, n = 0, first = 0;
	for (size_t i = 0; i < time->n; i++) {
		if (!time->v[i].has[COV_TRACK_TEMP])
			continue;
		first = n > 0 ? first : time->v[i].cov[COV_TRACK_TEMP];
		sum += time->v[i].cov[COV_TRACK_TEMP] - first;
		n++;
	}
	m->condition[COV_TRACK_TEMP] = n > 0 ? first + sum / n : 0;
}

/* Was a covariate logged for every reading, and did it vary? *gap: a reading without it. */
static enum logged how_logged(const struct obs_list *o, int c, const struct obs **gap)
{
	size_t has = 0;
	double lo = INFINITY, hi = -INFINITY;
	*gap = NULL;
	for (size_t i = 0; i < o->n; i++) {
		if (!o->v[i].has[c]) {
			*gap = *gap ? *gap : &o->v[i];
			continue;
		}
		has++;
		lo = fmin(lo, o->v[i].cov[c]);
		hi = fmax(hi, o->v[i].cov[c]);
	}
	if (has == 0)
		return LOGGED_NEVER;
	if (has < o->n)
		return LOGGED_PARTLY;
	return hi - lo > 1e-12 * (fabs(lo) + fabs(hi)) ? LOGGED_VARIES : LOGGED_STEADY;
}

bool covariate_varies(const struct obs_list *o, int c)
{
	const struct obs *gap;
	return how_logged(o, c, &gap) == LOGGED_VARIES;
}

static void say_missing(struct model *m, size_t response, int c, const struct obs *gap)
{
	char id[32];
	const struct run *r = &m->book->runs[gap->run];
	model_note(m, "%s left out for %s: lap %zu of run %s has none%s", covariate_names[c],
		book_response_id(m->book, response, id, sizeof id), gap->lap + 1, r->id,
		c == COV_FUEL && r->fuel.has ? ", as the run has no fuel-per-lap" : "");
}

/*
 * Which covariates are columns of a response, and y less the known slopes. A known slope
 * counts whether or not the covariate varied: it brings y to the book's conditions.
 */
static bool prepare_y(struct model *m, size_t k, struct work *w)
{
	const struct obs_list *o = &w->obs[k];
	double **y = &w->y[k];
	*y = malloc((o->n + 1) * sizeof **y);
	if (!*y)
		return false;
	for (size_t i = 0; i < o->n; i++)
		(*y)[i] = o->v[i].y;
	for (int c = 0; c < COV_N; c++) {
		const struct covariate_rule *rule = &m->book->covariates[c];
		struct logging *l = &w->logging[k][c];
		const enum logged how = l->how = how_logged(o, c, &l->gap);
		const bool known = rule->known[k].has;
		w->covariate[k][c] = !rule->off && !known && how == LOGGED_VARIES;
		if (!rule->off && o->n && (how == LOGGED_PARTLY || (known && how == LOGGED_NEVER)))
			say_missing(m, k, c, l->gap);
		if (rule->off || !known || how < LOGGED_STEADY)
			continue;
		m->subtracted[k][c] = true;
		for (size_t i = 0; i < o->n; i++)
			(*y)[i] -= rule->known[k].v * (o->v[i].cov[c] - m->condition[c]);
	}
	return true;
}

static bool fit_one(
	struct model *m, struct work *w, size_t k, bool judge, struct response *r, struct err *err)
{
	judge = judge && !w->bare;
	struct fit_job j = {.m = m,
		.setup = &w->setup,
		.levels = w->levels,
		.obs = &w->obs[k],
		.y = w->y[k],
		.response = k,
		.judge = judge,
		.set = w->set,
		.suspects = &w->suspects[k],
		.residual = judge ? w->residual[k] : NULL};
	memcpy(j.covariate, w->covariate[k], sizeof j.covariate);
	book_response_id(m->book, k, r->id, sizeof r->id);
	return fit_response(&j, r, err);
}

/* A linear term that only the fit without curvature can tell; -1 if there is none. */
static int lost_term(const struct response *curved, const struct response *plain)
{
	for (size_t t = 0; t < plain->n_terms && t < curved->n_terms; t++)
		if (plain->terms[t].kind == TERM_LINEAR && plain->estimable[t] &&
			!curved->estimable[t])
			return (int)t;
	return -1;
}

static bool all_linear(const struct response *r)
{
	for (size_t t = 0; t < r->n_terms; t++)
		if (r->terms[t].kind == TERM_LINEAR && !r->estimable[t])
			return false;
	return true;
}

/* Lap time settles whether curvature stays: it must cost no linear term its answer. */
static bool fit_time(struct model *m, struct work *w, struct err *err)
{
	struct response *r = &m->responses[RESPONSE_TIME], plain = {0};
	if (!fit_one(m, w, RESPONSE_TIME, true, r, err))
		return false;
	if (!r->fitted || !w->setup.curvature || all_linear(r))
		return true;
	struct setup with = w->setup;
	bool ok = terms_setup(m, &w->obs[0], false, &w->setup) || err_memory(err);
	ok = ok && fit_one(m, w, RESPONSE_TIME, false, &plain, err);
	const int lost = ok ? lost_term(r, &plain) : -1;
	if (lost >= 0)
		snprintf(m->curvature_note, sizeof m->curvature_note,
			"squares left out: with them %.100s could not be told",
			plain.terms[lost].id);
	response_free(&plain);
	if (lost < 0) {
		setup_free(&w->setup);
		w->setup = with;
		return ok;
	}
	setup_free(&with);
	response_free(r);
	w->suspects[RESPONSE_TIME].n = 0;
	return fit_one(m, w, RESPONSE_TIME, true, r, err);
}

/* Fits that wait for nothing of each other, side by side where they are long enough. */
enum { MANY_LAPS = 2000, FITS_MAX = 2 * CHANNELS_MAX };
struct fits {
	struct model *m;
	struct work *w;
	struct err err[FITS_MAX];
	bool ok[FITS_MAX];
};

/* The first fault, in the order of the responses. */
static bool share_fits(struct fits *f, size_t n, void (*one)(void *, size_t), struct err *err)
{
	for (size_t i = 0; i < n; i++)
		err_clear(&f->err[i]);
	share_out(n, f->w->bare || f->m->n_fitted_laps < MANY_LAPS ? SIZE_MAX : 2, one, f);
	for (size_t i = 0; i < n; i++)
		if (!f->ok[i]) {
			*err = f->err[i];
			return false;
		}
	return true;
}

static void fit_channel(void *data, size_t c)
{
	struct fits *f = data;
	f->ok[c] = fit_one(f->m, f->w, 1 + c, true, &f->m->responses[1 + c], &f->err[c]);
}

static bool join_suspects(struct model *m, const struct work *w)
{
	size_t n = 0;
	for (size_t k = 0; k < m->n_responses; k++)
		n += w->suspects[k].n;
	m->suspects = malloc((n + 1) * sizeof *m->suspects);
	for (size_t k = 0; m->suspects && k < m->n_responses; k++) {
		if (w->suspects[k].n)
			memcpy(m->suspects + m->n_suspects, w->suspects[k].v,
				w->suspects[k].n * sizeof *m->suspects);
		m->n_suspects += w->suspects[k].n;
	}
	return m->suspects != NULL;
}

static bool fit_all(struct model *m, struct work *w, struct err *err)
{
	struct fits f = {.m = m, .w = w};
	for (size_t k = 0; k < m->n_responses; k++) {
		w->residual[k] = malloc((w->obs[k].n + 1) * sizeof *w->residual[k]);
		if (!w->residual[k] || !prepare_y(m, k, w))
			return err_memory(err);
	}
	if (!fit_time(m, w, err) || !share_fits(&f, m->book->n_channels, fit_channel, err))
		return false;
	return join_suspects(m, w) || err_memory(err);
}

/* Lap time that wear is brought to; any figure would do for differences. */
static double reference_time(const struct model *m, const struct obs_list *o)
{
	const struct sheet *ref = book_reference(m->book);
	const struct estimate e =
		ref ? model_value(m, RESPONSE_TIME, ref->values) : (struct estimate){0};
	return e.known ? e.value : o->v[0].time;
}

static bool fit_like_one(struct model *m, struct work *w, size_t c, bool wear, struct err *err)
{
	const struct obs_list *o = &w->obs[1 + c];
	struct response *r = wear ? &m->like[c] : &m->like_time[c];
	struct fit_job j = {.m = m, .setup = &w->setup, .levels = w->levels, .obs = o};
	double *y = malloc((o->n + 1) * sizeof *y);
	*(wear ? &w->like[c] : &w->like_time[c]) = y;
	if (!y)
		return err_memory(err);
	const double ref = wear ? reference_time(m, o) : 0;
	for (size_t i = 0; i < o->n; i++)
		y[i] = wear ? o->v[i].y + m->exchange[c].value * (o->v[i].time - ref)
			    : o->v[i].time;
	for (int k = 0; k < COV_N; k++)
		j.covariate[k] = k != COV_EFFORT && !m->book->covariates[k].off &&
				 w->logging[1 + c][k].how == LOGGED_VARIES;
	j.y = y;
	snprintf(r->id, sizeof r->id, "%s-%s", wear ? "like" : "like-time", m->book->channels[c]);
	return fit_response(&j, r, err);
}

static void fit_like_half(void *data, size_t i)
{
	struct fits *f = data;
	const size_t c = i / 2;
	f->ok[i] = f->w->obs[1 + c].n == 0 || f->m->exchange[c].method == EXCHANGE_NONE ||
		   fit_like_one(f->m, f->w, c, i % 2 == 0, &f->err[i]);
}

static bool fit_like(struct model *m, struct work *w, struct err *err)
{
	struct fits f = {.m = m, .w = w};
	for (size_t c = 0; c < m->book->n_channels; c++) {
		const struct obs_list *o = &w->obs[1 + c];
		if (!exchange_find(m, c, &w->obs[0], w->residual[0], o, w->residual[1 + c]))
			return err_memory(err);
		if (o->n == 0 || m->exchange[c].method == EXCHANGE_NONE)
			snprintf(m->like[c].why, sizeof m->like[c].why, "no exchange rate: %.120s",
				m->exchange[c].note);
	}
	return share_fits(&f, 2 * m->book->n_channels, fit_like_half, err);
}

/* The widest range of lap times on one set of values. */
static bool find_spread(struct model *m, const struct work *w)
{
	const struct obs_list *time = &w->obs[RESPONSE_TIME];
	const size_t n = m->book->n_runs;
	double *lo = malloc((n + 1) * sizeof *lo), *hi = malloc((n + 1) * sizeof *hi);
	const bool ok = lo && hi;
	for (size_t i = 0; ok && i < n; i++) {
		lo[i] = INFINITY;
		hi[i] = -INFINITY;
	}
	for (size_t i = 0; ok && i < time->n; i++) {
		const int s = w->set[time->v[i].run];
		lo[s] = fmin(lo[s], time->v[i].time);
		hi[s] = fmax(hi[s], time->v[i].time);
		m->time_spread = fmax(m->time_spread, hi[s] - lo[s]);
	}
	free(lo);
	free(hi);
	return ok;
}

/* How far the covariates were driven. */
static void find_driven(struct model *m, const struct work *w)
{
	const struct obs_list *time = &w->obs[RESPONSE_TIME];
	for (int c = 0; c < COV_N; c++) {
		m->driven_lo[c] = INFINITY;
		m->driven_hi[c] = -INFINITY;
		for (size_t i = 0; i < time->n; i++) {
			if (!time->v[i].has[c]) {
				m->driven_lo[c] = INFINITY;
				m->driven_hi[c] = -INFINITY;
				break;
			}
			m->driven_lo[c] = fmin(m->driven_lo[c], time->v[i].cov[c]);
			m->driven_hi[c] = fmax(m->driven_hi[c], time->v[i].cov[c]);
		}
	}
}

/* A covariate that stood still off the condition: predictions are told where it stood. */
static void say_steady(struct model *m, const struct work *w)
{
	const struct obs_list *time = &w->obs[RESPONSE_TIME];
	for (int c = 0; c < COV_N; c++) {
		if (m->book->covariates[c].off || m->book->covariates[c].known[0].has ||
			w->logging[RESPONSE_TIME][c].how != LOGGED_STEADY)
			continue;
		const double v = time->v[0].cov[c];
		if (fabs(v - m->condition[c]) > 1e-9 * (1 + fabs(v)))
			model_note(m, "%s stood at %g on every lap: figures hold there, not at %g",
				covariate_names[c], v, m->condition[c]);
	}
}

static bool build(struct model *m, struct work *w, struct err *err)
{
	if (!observe(m, w) || !terms_coords(m, &w->obs[0]))
		return err_memory(err);
	w->set = malloc((m->book->n_runs + 1) * sizeof *w->set);
	if (!w->set)
		return err_memory(err);
	runs_settings(m->book, w->set);
	set_conditions(m, &w->obs[0]);
	if (m->book->curvature_off)
		snprintf(m->curvature_note, sizeof m->curvature_note,
			"squares left out: the book says so");
	if (!terms_setup(m, &w->obs[0], !m->book->curvature_off, &w->setup) ||
		!terms_levels(m, w->obs, m->n_responses, w->levels))
		return err_memory(err);
	if (!fit_all(m, w, err))
		return false;
	say_steady(m, w);
	find_driven(m, w);
	if (!find_spread(m, w))
		return err_memory(err);
	if (w->bare)
		return true;
	const struct borrow_work borrowed = {w->obs, w->y, w->like, w->like_time, w->lenders};
	return fit_like(m, w, err) && segments_fit(m, &w->obs[0], &w->setup, w->levels, err) &&
	       borrow_enter(m, &borrowed, err);
}

static struct model *make(const struct book *b, bool bare, const struct lenders *l, struct err *err)
{
	struct model *m = calloc(1, sizeof *m);
	struct work w = {.bare = bare, .lenders = l};
	if (!m) {
		err_memory(err);
		return NULL;
	}
	m->book = b;
	m->n_responses = 1 + b->n_channels;
	const bool ok = build(m, &w, err);
	work_free(&w);
	if (ok)
		return m;
	model_free(m);
	return NULL;
}

struct model *model_new(const struct book *b, struct err *err)
{
	return make(b, false, NULL, err);
}

struct model *model_bare(const struct book *b, const struct lenders *l, struct err *err)
{
	return make(b, b->n_borrow == 0, l, err);
}

void model_free(struct model *m)
{
	if (!m)
		return;
	for (size_t k = 0; k < RESPONSES_MAX; k++)
		response_free(&m->responses[k]);
	for (size_t c = 0; c < CHANNELS_MAX; c++) {
		response_free(&m->like[c]);
		response_free(&m->like_time[c]);
	}
	segments_free(m->segments);
	borrow_free(m->borrowing);
	free(m->coords);
	free(m->groups);
	free(m->suspects);
	free(m->notes);
	free(m);
}
