#include "stint/figures.h"

#include <gsl/gsl_eigen.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void figures_note(struct stint_figures *f, const char *fmt, ...)
{
	va_list ap;
	if (f->n_notes == sizeof f->notes / sizeof f->notes[0])
		return;
	va_start(ap, fmt);
	vsnprintf(f->notes[f->n_notes], sizeof f->notes[0], fmt, ap);
	text_mend(f->notes[f->n_notes++]);
	va_end(ap);
}

/* Index of a covariate's column that can be told apart; -1. */
static long covariate_term(const struct response *r, enum covariate c)
{
	for (size_t t = 0; r->fitted && t < r->n_terms; t++)
		if (r->terms[t].kind == TERM_COVARIATE && r->terms[t].a == (int)c &&
			r->estimable[t])
			return (long)t;
	return -1;
}

double figures_slope(const struct model *m, size_t response, enum covariate c, bool *found)
{
	const struct covariate_rule *rule = &m->book->covariates[c];
	long t = covariate_term(&m->responses[response], c);
	bool given = !rule->off && rule->known[response].has;
	if (found)
		*found = given || t >= 0;
	if (given)
		return rule->known[response].v;
	return t >= 0 ? m->responses[response].b[t] : 0;
}

/* root = V sqrt(L) V' of a symmetric matrix: unique, so that responses with like
 * covariances get like roots and draws can be correlated across them. */
static bool symmetric_root(const double cov[FIGURES][FIGURES], double root[FIGURES][FIGURES])
{
	gsl_matrix *a = gsl_matrix_alloc(FIGURES, FIGURES), *v = gsl_matrix_alloc(FIGURES, FIGURES);
	gsl_vector *l = gsl_vector_alloc(FIGURES);
	gsl_eigen_symmv_workspace *w = gsl_eigen_symmv_alloc(FIGURES);
	bool ok = a && v && l && w;
	if (ok) {
		for (size_t i = 0; i < FIGURES; i++)
			for (size_t j = 0; j < FIGURES; j++)
				gsl_matrix_set(a, i, j, cov[i][j]);
		gsl_eigen_symmv(a, l, v, w);
		for (size_t i = 0; i < FIGURES; i++)
			for (size_t j = 0; j < FIGURES; j++) {
				root[i][j] = 0;
				for (size_t k = 0; k < FIGURES; k++)
					root[i][j] += gsl_matrix_get(v, i, k) *
						      sqrt(fmax(0, gsl_vector_get(l, k))) *
						      gsl_matrix_get(v, j, k);
			}
	}
	gsl_matrix_free(a);
	gsl_matrix_free(v);
	gsl_vector_free(l);
	gsl_eigen_symmv_free(w);
	return ok;
}

/* Figures of one response: both sheets' values and the slope on tyre age. */
static bool response_figures(struct figures *g, const struct model *m, size_t response,
	const fix *sheet, const fix *reference)
{
	const struct response *r = &m->responses[response];
	g->fitted = r->fitted;
	g->value[FIG_AGE] = figures_slope(m, response, COV_TYRE_AGE, NULL);
	if (!r->fitted)
		return true;
	size_t p = r->n_terms;
	double *l = calloc(FIGURES * p + 1, sizeof *l), cov[FIGURES][FIGURES];
	if (!l)
		return false;
	model_row(m, r, reference, l + FIG_REFERENCE * p);
	model_row(m, r, sheet, l + FIG_SHEET * p);
	struct estimate e[2] = {
		model_value(m, response, reference), model_value(m, response, sheet)};
	for (size_t i = 0; i < 2; i++) {
		g->known[i] = e[i].known;
		g->value[i] = e[i].value;
	}
	long age = covariate_term(r, COV_TYRE_AGE);
	if (age >= 0 && !m->book->covariates[COV_TYRE_AGE].known[response].has)
		l[FIG_AGE * p + (size_t)age] = 1;
	g->df = r->df_run;
	g->has_spread = e[0].has_interval && e[1].has_interval && r->df_run > 0;
	for (size_t i = 0; i < FIGURES; i++)
		for (size_t j = 0; j < FIGURES; j++) {
			cov[i][j] = 0;
			for (size_t a = 0; a < p; a++)
				for (size_t b = 0; b < p; b++)
					cov[i][j] +=
						l[i * p + a] * r->cov[a * p + b] * l[j * p + b];
			if (!isfinite(cov[i][j]))
				g->has_spread = false;
		}
	free(l);
	return !g->has_spread || symmetric_root(cov, g->root);
}

double figures_pace_loss(const struct stint_figures *f, double age_slope)
{
	return f->mean_wear > 0 ? age_slope / f->mean_wear : 0;
}

/* The loss with the interval of the slope it comes from; false: its sign cannot be told. */
static bool say_loss(struct stint_figures *f, const struct model *m)
{
	const struct response *r = &m->responses[RESPONSE_TIME];
	long t = covariate_term(r, COV_TYRE_AGE);
	struct estimate e = {.has_interval = false};
	double *l = t >= 0 ? calloc(r->n_terms + 1, sizeof *l) : NULL;
	if (l) {
		l[t] = 1;
		e = model_contrast(r, l);
	}
	free(l);
	const bool open = e.has_interval && e.low < 0 && e.high > 0;
	if (e.has_interval)
		figures_note(f,
			"loss of pace: %+.3f s a lap for each %% worn (%+.3f to %+.3f%s), from the "
			"slope of lap time on tyre age",
			f->rules.pace_loss, figures_pace_loss(f, e.low),
			figures_pace_loss(f, e.high), open ? ", can't tell" : "");
	else
		figures_note(f,
			"loss of pace: %.4f s a lap for each %% worn, from the slope of lap time "
			"on tyre age",
			f->rules.pace_loss);
	return !open;
}

/* How old a set of tyres was driven, laps; where runs do not say, the longest run. */
static double oldest_lap(const struct model *m)
{
	double most = 0;
	if (m->driven_lo[COV_TYRE_AGE] <= m->driven_hi[COV_TYRE_AGE])
		return m->driven_hi[COV_TYRE_AGE] + 1;
	for (size_t i = 0; i < m->book->n_runs; i++)
		most = fmax(most, (double)m->book->runs[i].n_laps);
	return most;
}

/* Tyres fall off beyond what was driven, or do not; the runs cannot know. */
static void say_age(struct stint_figures *f, const struct model *m)
{
	const double oldest = oldest_lap(m);
	if ((double)f->rules.laps > oldest)
		figures_note(f,
			"extrapolated: no set of tyres was driven beyond lap %.0f; how the laps "
			"from "
			"there to %zu fall off is not known",
			oldest, f->rules.laps);
}

/* What a worn tyre costs: given, or from the slope of lap time on tyre age. */
static void find_pace_loss(struct stint_figures *f, const struct model *m, int limiting)
{
	const struct stint_plan *plan = &m->book->stint;
	bool found;
	double slope = figures_slope(m, RESPONSE_TIME, COV_TYRE_AGE, &found);
	if (plan->pace_loss.has && !plan->pace_loss_auto) {
		f->rules.pace_loss = plan->pace_loss.v;
		return;
	}
	if (limiting >= 0)
		f->mean_wear = m->responses[1 + limiting].mean;
	if (!found) {
		figures_note(f, "loss of pace with wear: none counted, %s",
			plan->pace_loss_auto
				? "the runs have no slope of lap time on tyre age"
				: "the book's stint has no pace-loss and the runs no slope "
				  "of lap time on tyre age");
		return;
	}
	f->auto_loss = true;
	f->rules.pace_loss = figures_pace_loss(f, slope);
	bool sure = say_loss(f, m);
	if (f->rules.pace_loss < 0 && sure)
		figures_note(f, "lap time falls with tyre age in these runs: check fuel and track");
}

static void find_fuel(struct stint_figures *f, const struct model *m)
{
	bool found;
	f->rules.fuel_slope = figures_slope(m, RESPONSE_TIME, COV_FUEL, &found);
	f->rules.fuel_condition = m->condition[COV_FUEL];
	if (m->book->stint.fuel_per_lap.has)
		f->rules.fuel_per_lap = m->book->stint.fuel_per_lap.v;
	else
		f->rules.fuel_slope = 0; /* how much is aboard is not known */
	if (!m->book->stint.fuel_per_lap.has && found)
		figures_note(f,
			"fuel: the book's stint has no fuel-per-lap, lap times stay at %g kg",
			f->rules.fuel_condition);
	else if (m->book->stint.fuel_per_lap.has && !found)
		figures_note(f, "fuel: the runs have no slope of lap time on fuel, none counted");
	else if (found && m->book->covariates[COV_FUEL].known[RESPONSE_TIME].has &&
		 !m->subtracted[RESPONSE_TIME][COV_FUEL])
		figures_note(f,
			"fuel: some laps lack it, so lap times stand at the fuel driven; only "
			"its burning off is counted");
}

static bool find_rules(struct stint_figures *f, const struct model *m, size_t laps, struct err *err)
{
	const struct stint_plan *plan = &m->book->stint;
	struct stint_rules *r = &f->rules;
	r->laps = laps ? laps : plan->laps.has ? (size_t)plan->laps.v : 0;
	if (r->laps == 0)
		return err_input(err,
			"the book says no length of a stint; give a number of laps, or add "
			"`stint: {laps: N}` to book.yaml");
	if (r->laps > STINT_LAPS_MAX)
		return err_input(
			err, "a stint of %zu laps; up to %d are allowed", r->laps, STINT_LAPS_MAX);
	r->n_channels = m->book->n_channels;
	r->wear_limit = m->book->wear_limit;
	r->age_condition = m->condition[COV_TYRE_AGE];
	r->has_cliff = plan->cliff_at.has && plan->cliff.has;
	r->cliff_at = plan->cliff_at.v;
	r->cliff = plan->cliff.v;
	r->has_pit_loss = plan->pit_loss.has;
	r->pit_loss = plan->pit_loss.v;
	say_age(f, m);
	find_fuel(f, m);
	return true;
}

bool figures_find(struct stint_figures *f, const struct model *m, const fix *sheet,
	const fix *reference, size_t laps, struct err *err)
{
	memset(f, 0, sizeof *f);
	if (!find_rules(f, m, laps, err))
		return false;
	f->same = memcmp(sheet, reference, m->book->car.n_adjustables * sizeof *sheet) == 0;
	for (size_t r = 0; r < m->n_responses; r++)
		if (!response_figures(&f->response[r], m, r, sheet, reference))
			return err_memory(err);
	for (size_t c = 0; c < m->book->n_channels; c++) {
		const struct exchange *x = &m->exchange[c];
		f->kappa[c].known =
			x->method != EXCHANGE_NONE && isfinite(x->value) && x->value > 0;
		f->kappa[c].value = x->value;
		f->kappa[c].se = isfinite(x->se) ? x->se : 0;
		f->correlation[c] = fmax(-1, fmin(1, x->run_correlation));
		if (!f->response[1 + c].fitted)
			figures_note(f, "wear %s: no readings, left out", m->book->channels[c]);
	}
	find_pace_loss(f, m, model_limiting_channel(m, reference));
	return true;
}

struct stint_pace figures_pace(
	const struct stint_figures *f, double values[RESPONSES_MAX][FIGURES], size_t which)
{
	struct stint_pace p = {.time = values[RESPONSE_TIME][which]};
	for (size_t c = 0; c < f->rules.n_channels; c++) {
		p.wear[c] = f->response[1 + c].fitted ? values[1 + c][which] : 0;
		p.wear_age[c] = f->response[1 + c].fitted ? values[1 + c][FIG_AGE] : 0;
	}
	return p;
}

struct stint_pace figures_lifted(
	const struct stint_figures *f, struct stint_pace p, const double *kappa, double lift)
{
	p.time += lift;
	for (size_t c = 0; c < f->rules.n_channels; c++)
		if (f->kappa[c].known)
			p.wear[c] -= kappa[c] * lift;
	return p;
}
