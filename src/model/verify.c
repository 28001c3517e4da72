/* Each run predicted by a model that has not seen it. */
#include "model/verify.h"
#include "base/share.h"
#include "model/internal.h"
#include "model/verdict.h"
#include "model/words.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Readings of one run and response as one: means weighted by the laps behind each. */
struct run_mean {
	size_t laps;
	double y, cov[COV_N];
	bool has[COV_N];
};

static bool take_mean(const struct book *b, int run, size_t response, struct run_mean *out)
{
	struct book one = *b;
	struct obs_list list = {0};
	one.runs = b->runs + run;
	one.n_runs = 1;
	bool ok = response == RESPONSE_TIME ? observe_time(&one, &list)
					    : observe_wear(&one, response - 1, &list);
	*out = (struct run_mean){.laps = list.laps};
	for (int c = 0; c < COV_N; c++)
		out->has[c] = list.n > 0;
	for (size_t i = 0; i < list.n; i++) {
		double share = (double)list.v[i].n / (double)list.laps;
		out->y += share * list.v[i].y;
		for (int c = 0; c < COV_N; c++) {
			out->cov[c] += share * list.v[i].cov[c];
			out->has[c] = out->has[c] && list.v[i].has[c];
		}
	}
	obs_free(&list);
	return ok;
}

static const char *level_of(const struct run *r, int factor)
{
	return factor == FAC_DRIVER ? r->driver : factor == FAC_SESSION ? r->session : r->compound;
}

/* Does any of the model's runs have this run's level? Runs without one say nothing. */
static bool level_known(const struct book *b, const struct run *r, int factor)
{
	const char *level = level_of(r, factor);
	bool any = false;
	for (size_t i = 0; i < b->n_runs; i++) {
		const char *other = level_of(&b->runs[i], factor);
		if (strcmp(other, level) == 0)
			return true;
		any = any || other[0];
	}
	return !level[0] || !any;
}

double run_has_level(const struct run *r, const struct term *t)
{
	const char *dot = strchr(t->id, '.');
	return dot && strcmp(dot + 1, level_of(r, t->a)) == 0 ? 1 : 0;
}

/* The run's own covariates and levels put into the row. False with `why`: they cannot. */
static bool fill_row(const struct model *m, const struct response *r, const struct run *run,
	const struct run_mean *mean, double *row, char *why, size_t size)
{
	model_row(m, r, run->values, row);
	for (int f = 0; f < FAC_N; f++)
		if (!level_known(m->book, run, f)) {
			snprintf(why, size, "the first run with %s %.64s", factor_names[f],
				level_of(run, f));
			return false;
		}
	for (size_t t = 0; t < r->n_terms; t++) {
		const struct term *k = &r->terms[t];
		if (k->kind == TERM_FACTOR)
			row[t] = run_has_level(run, k);
		if (k->kind != TERM_COVARIATE)
			continue;
		if (!mean->has[k->a]) {
			snprintf(why, size, "%s was not logged", covariate_names[k->a]);
			return false;
		}
		row[t] = mean->cov[k->a] - m->condition[k->a];
	}
	return true;
}

/* What known slopes add between the book's conditions and the run's. */
static double known_part(const struct model *m, size_t response, const struct run_mean *mean)
{
	double sum = 0;
	for (int c = 0; c < COV_N; c++)
		if (m->subtracted[response][c] && mean->has[c])
			sum += m->book->covariates[c].known[response].v *
			       (mean->cov[c] - m->condition[c]);
	return sum;
}

/* What this run did that none before it tells of, against a run that was seen; what it means stands
 * before names, which may be cut. */
static void say_untold(
	const struct model *m, size_t response, const struct run *run, char *why, size_t size)
{
	const struct response *r = &m->responses[response];
	int *terms = calloc(r->n_terms + 1, sizeof *terms);
	size_t n = terms ? model_untested(m, response, run->values, m->book->runs[0].values, terms)
			 : 0;
	char words[WORDS_SIZE];
	if (n)
		snprintf(why, size, "not tested by then: %.120s",
			words_term(m, &r->terms[terms[0]], words, sizeof words));
	else
		snprintf(why, size, "not tested by then");
	text_mend(why); /* a label cut there may end in half a letter */
	free(terms);
}

static void judge(const struct response *r, const struct estimate *e, const struct run_mean *mean,
	struct forecast *v)
{
	double variance = e->se * e->se + r->sigma_run * r->sigma_run;
	if (!r->one_obs_a_run && isfinite(r->sigma_lap))
		variance += r->sigma_lap * r->sigma_lap / (double)mean->laps;
	v->known = true;
	v->df = fmin(e->df, r->df_run);
	double se = sqrt(variance), half = gsl_cdf_tdist_Pinv(0.975, v->df) * se;
	v->low = v->value - half;
	v->high = v->value + half;
	v->t = se > 0 ? (mean->y - v->value) / se : 0;
	v->missed = mean->y < v->low - VERDICT_FINEST || mean->y > v->high + VERDICT_FINEST;
}

static bool predict(const struct model *m, size_t response, const struct run *run,
	const struct run_mean *mean, struct forecast *v)
{
	const struct response *r = &m->responses[response];
	if (!r->fitted || !(r->df_run >= 1)) {
		snprintf(v->why, sizeof v->why, "too few runs by then");
		return true;
	}
	double *row = calloc(r->n_terms + 1, sizeof *row);
	if (!row)
		return false;
	if (fill_row(m, r, run, mean, row, v->why, sizeof v->why)) {
		struct estimate e = model_contrast(r, row);
		v->borrowed = e.borrowed;
		v->value = e.value + known_part(m, response, mean);
		v->extrapolated = model_extrapolated(m, run->values, NULL);
		if (e.known && e.has_interval)
			judge(r, &e, mean, v);
		else
			say_untold(m, response, run, v->why, sizeof v->why);
	}
	free(row);
	return true;
}

/* All responses of one run by a model fitted to `seen`. */
static bool predict_run(const struct verify *whole, int run, const struct book *seen, bool ahead,
	struct verified *by, struct err *err)
{
	const struct book *b = whole->book;
	struct model *m = NULL;
	if (seen->n_runs > 0) {
		m = model_bare(seen, whole->lenders, err);
		if (!m)
			return false;
	}
	bool ok = true;
	for (size_t y = 0; ok && y < 1 + b->n_channels; y++) {
		struct run_mean mean;
		struct forecast *v = ahead ? &by[y].ahead : &by[y].left_out;
		ok = take_mean(b, run, y, &mean);
		v->done = true;
		if (ok && !m)
			snprintf(v->why, sizeof v->why, "the first run");
		else if (ok && by[y].measured)
			ok = predict(m, y, &b->runs[run], &mean, v);
	}
	model_free(m);
	return ok || err_memory(err);
}

static bool look_ahead(const struct verify *v, int run, struct verified *by, struct err *err)
{
	struct book seen = *v->book;
	seen.n_runs = (size_t)run;
	return predict_run(v, run, &seen, true, by, err);
}

static bool leave_out(const struct verify *v, int run, struct verified *by, struct err *err)
{
	const struct book *b = v->book;
	struct book seen = *b;
	size_t before = (size_t)run, after = b->n_runs - before - 1;
	struct run *others = malloc(b->n_runs * sizeof *others); /* shallow copies */
	if (!others)
		return err_memory(err);
	memcpy(others, b->runs, before * sizeof *others);
	memcpy(others + before, b->runs + before + 1, after * sizeof *others);
	seen.runs = others;
	seen.n_runs = b->n_runs - 1;
	bool ok = predict_run(v, run, &seen, false, by, err);
	free(others);
	return ok;
}

static void add_name(char *text, size_t size, const char *name)
{
	size_t len = strlen(text);
	snprintf(text + len, size - len, "%s%s", len ? ", " : "", name);
}

/* Groups that differ from the reference, by the car's order. */
static void name_moved(const struct book *b, const struct run *r, char *text, size_t size)
{
	const struct sheet *ref = book_reference(b);
	text[0] = '\0';
	for (int a = 0; ref && a < (int)b->car.n_adjustables; a++) {
		int other = car_partner(&b->car, a);
		bool moved = r->values[a] != ref->values[a] ||
			     (other >= 0 && r->values[other] != ref->values[other]);
		if (!moved || (other >= 0 && other < a))
			continue;
		add_name(text, size,
			other >= 0 ? b->car.pairs[b->car.adjustables[a].pair].id
				   : b->car.adjustables[a].id);
	}
}

void verify_free(struct verify *v)
{
	if (!v)
		return;
	free(v->runs);
	lenders_free(v->lenders);
	for (size_t y = 0; y < RESPONSES_MAX; y++)
		free(v->drift[y].points);
	free(v);
}

/* What was measured on the run, known before any prediction. */
static bool measure(const struct book *b, int run, struct verified *by)
{
	for (size_t y = 0; y < 1 + b->n_channels; y++) {
		struct run_mean mean;
		if (!take_mean(b, run, y, &mean))
			return false;
		by[y].measured = mean.laps > 0;
		by[y].laps = mean.laps;
		by[y].mean = mean.y;
	}
	return true;
}

struct verify *verify_start(const struct book *b, size_t last, struct err *err)
{
	struct verify *v = calloc(1, sizeof *v);
	if (!v) {
		err_memory(err);
		return NULL;
	}
	v->book = b;
	v->base_run = -1;
	v->n_responses = 1 + b->n_channels;
	v->n_runs = last && last < b->n_runs ? last : b->n_runs;
	v->steps_left = 2 * v->n_runs;
	v->runs = calloc(v->n_runs + 1, sizeof *v->runs);
	if (!v->runs) {
		verify_free(v);
		err_memory(err);
		return NULL;
	}
	for (size_t i = 0; i < v->n_runs; i++) {
		struct verified_run *one = &v->runs[i];
		one->run = (int)(b->n_runs - v->n_runs + i);
		name_moved(b, &b->runs[one->run], one->moved, sizeof one->moved);
		if (!measure(b, one->run, one->by)) {
			verify_free(v);
			err_memory(err);
			return NULL;
		}
	}
	return v;
}

struct steps {
	struct verify *v;
	size_t first; /* the step that is taken first; they count down */
	struct err *err;
	bool *ok;
};

static void take_step(void *data, size_t i)
{
	struct steps *s = data;
	const struct verify *v = s->v;
	const size_t step = s->first - i;
	struct verified_run *one = &v->runs[step % v->n_runs];
	err_clear(&s->err[i]);
	s->ok[i] = step >= v->n_runs ? look_ahead(v, one->run, one->by, &s->err[i])
				     : leave_out(v, one->run, one->by, &s->err[i]);
}

/* Small books are done before a thread has started; what is borrowed is not shared out. */
static size_t few_steps(const struct book *b)
{
	size_t laps = 0;
	for (size_t i = 0; i < b->n_runs; i++)
		laps += b->runs[i].n_laps;
	return laps < 2000 || b->n_borrow > 0 ? SIZE_MAX : 2;
}

bool verify_steps(struct verify *v, size_t most, struct err *err)
{
	const size_t n = most < v->steps_left ? most : v->steps_left;
	if (n == 0)
		return true;
	struct steps s = {.v = v, .first = v->steps_left - 1};
	s.err = calloc(n, sizeof *s.err);
	s.ok = calloc(n, sizeof *s.ok);
	bool ok = (s.err && s.ok) || err_memory(err);
	if (ok && v->book->n_borrow && !v->lenders)
		ok = (v->lenders = lenders_new(v->book, err)) != NULL;
	if (ok)
		share_out(n, few_steps(v->book), take_step, &s);
	for (size_t i = 0; ok && i < n; i++) {
		ok = s.ok[i];
		if (!ok)
			*err = s.err[i];
	}
	free(s.err);
	free(s.ok);
	v->steps_left -= n;
	if (ok && v->steps_left == 0)
		ok = verify_tally(v, err) && verify_drift(v, err);
	return ok;
}

bool verify_step(struct verify *v, struct err *err)
{
	return verify_steps(v, 1, err);
}

struct verify *verify_new(const struct book *b, size_t last, struct err *err)
{
	struct verify *v = verify_start(b, last, err);
	bool ok = v != NULL;
	while (ok && v->steps_left)
		ok = verify_steps(v, VERIFY_AT_ONCE, err);
	if (ok)
		return v;
	verify_free(v);
	return NULL;
}

/* No slope by the hour: the runs lie too close together. */
static bool drift_is_short(const struct drift *d, char *buf, size_t size)
{
	double span = 0;
	for (size_t i = 0; i < d->n; i++)
		span = fmax(span, d->points[i].hours);
	if (span > 0.99) /* minutes are not exact in hours */
		return false;
	snprintf(buf, size,
		"no drift can be told by the hour, the runs lie within %.0f minutes%s%s", 60 * span,
		d->days > 1 ? " of each day" : "",
		d->p < 0.05 ? ": yet they moved by more than their scatter"
			    : ": too close together");
	return true;
}

/* Nor one whose interval reaches beyond what tracks and tyres do (common practice, no source): 2 %
 * of a lap time an hour, half of a wear. */
static bool drift_is_vague(size_t response, const struct drift *d, double half)
{
	double sum = 0;
	for (size_t i = 0; i < d->n; i++)
		sum += d->points[i].value;
	return d->p >= 0.05 &&
	       half > (response == RESPONSE_TIME ? 0.02 : 0.5) * fabs(sum / (double)d->n);
}

const char *verify_drift_words(size_t response, const struct drift *d, char *buf, size_t size)
{
	const char *verdict = d->p < 0.05 ? "it drifts; randomise, let the base return often"
					  : "no drift that stands clear of the scatter";
	double low, high;
	if (drift_is_short(d, buf, size))
		return buf;
	drift_span(d, &low, &high);
	const int digits = words_decimals((high - low) / 2);
	if (drift_is_vague(response, d, (high - low) / 2))
		snprintf(buf, size,
			"no drift can be told by the hour: the runs are too few and too close "
			"together");
	else
		snprintf(buf, size, "%+.*f %s an hour, 95%% interval %+.*f to %+.*f: %s", digits,
			d->slope, words_unit(response), digits, low, digits, high, verdict);
	return buf;
}

const char *verify_word(size_t response, const struct forecast *v, double mean)
{
	if (!v->known)
		return "not predicted";
	if (!v->missed)
		return "as predicted";
	if (response == RESPONSE_TIME)
		return mean > v->value ? "slower than predicted" : "faster than predicted";
	return mean > v->value ? "more wear than predicted" : "less wear than predicted";
}
