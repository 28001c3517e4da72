/*
 * From the model to plain numbers for a stint: what holds for all plans, the figures
 * of the two sheets, and draws of them.
 */
#ifndef STINT_FIGURES_H
#define STINT_FIGURES_H

#include "stint/stint.h"

/* The figures of one response that a stint uses, in this order. */
enum { FIG_REFERENCE, FIG_SHEET, FIG_AGE, FIGURES };

struct figures {
	bool fitted;   /* false: the response has no figures at all */
	bool known[2]; /* of reference and sheet */
	double value[FIGURES];
	bool has_spread; /* false: no degrees of freedom left */
	double df;
	double root[FIGURES][FIGURES]; /* symmetric square root of their covariance */
};

struct stint_figures {
	struct stint_rules rules;
	bool same;        /* the sheet is the reference */
	bool auto_loss;   /* pace_loss is age slope of time / mean_wear */
	double mean_wear; /* % per lap */
	struct figures response[RESPONSES_MAX];
	struct {
		bool known;
		double value, se;
	} kappa[CHANNELS_MAX];
	double correlation[CHANNELS_MAX]; /* of the run errors of lap time and of this wear */
	size_t n_notes;
	char notes[8][200];
};

/* False with err: no number of laps, or out of memory. */
bool figures_find(struct stint_figures *f, const struct model *m, const fix *sheet,
	const fix *reference, size_t laps, struct err *err);
void figures_note(struct stint_figures *f, const char *fmt, ...) ERR_PRINTF(2, 3);

/* Pace of FIG_REFERENCE or FIG_SHEET from values[response][figure]. */
struct stint_pace figures_pace(
	const struct stint_figures *f, double values[RESPONSES_MAX][FIGURES], size_t which);
/* The reference slowed by `lift`: each channel with a rate wears less by it. */
struct stint_pace figures_lifted(
	const struct stint_figures *f, struct stint_pace p, const double *kappa, double lift);
/* Slope of a covariate: known, or fitted and told apart; 0 otherwise. */
double figures_slope(const struct model *m, size_t response, enum covariate c, bool *found);
/* Loss of pace per % for an age slope of lap time. */
double figures_pace_loss(const struct stint_figures *f, double age_slope);

/*
 * 95% intervals of the deltas by draws: fixed seed, t at run level, rows[] and the
 * verdict of s are filled. False: out of memory.
 */
bool figures_draw(const struct stint_figures *f, struct stint *s, size_t draws);

#endif
