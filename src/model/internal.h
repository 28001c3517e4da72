/* What the files of src/model share and nobody else needs. */
#ifndef MODEL_INTERNAL_H
#define MODEL_INTERNAL_H

#include "model/model.h"
#include "model/reml.h"

/*
 * One reading of a response: a lap, or a mean over n laps where a total was read. The
 * lap is the one the reading was taken on. Covariates are as logged, means over the
 * same laps; `has` where every one of them has it.
 */
struct obs {
	int run;
	size_t lap, n;
	bool whole_run; /* from wear-total */
	double y, time;
	double cov[COV_N];
	bool has[COV_N];
};
struct obs_list {
	size_t n, cap, laps;
	struct obs *v; /* owned */
};

void obs_free(struct obs_list *o);
/* Laps fitted for lap time. False: out of memory. */
bool observe_time(const struct book *b, struct obs_list *o);
/* Readings of a channel's wear, % per lap. */
bool observe_wear(const struct book *b, size_t channel, struct obs_list *o);
/* A figure made of what a lap's segments took; false where the lap has not all of it. */
typedef bool lap_reading(const struct circuit *c, const struct lap *l, const void *what, double *y);
/* The laps of `time` with such a reading for y. False: out of memory. */
bool observe_readings(const struct book *b, const struct obs_list *time, lap_reading *read,
	const void *what, struct obs_list *out);

/* The set-up columns, the same for all responses, and what every run has in them. */
struct setup {
	size_t n;
	struct term *terms; /* owned [n] */
	double *rows;       /* owned [n_runs * n] */
	bool curvature;     /* has squares or products */
};

/* Levels of the factors that are fitted, base first. */
struct levels {
	size_t n;           /* 0: the factor is not fitted */
	const char **level; /* owned; texts belong to the runs */
};

bool terms_coords(struct model *m, const struct obs_list *time);
/* curved: squares and products where the runs allow them. */
bool terms_setup(struct model *m, const struct obs_list *time, bool curved, struct setup *s);
void setup_free(struct setup *s);
/* all: the observations of every response. */
bool terms_levels(
	struct model *m, const struct obs_list *all, size_t n_all, struct levels out[FAC_N]);

void model_note(struct model *m, const char *fmt, ...) ERR_PRINTF(2, 3);

/* Laps far off, of one response. */
struct suspect_list {
	size_t n;
	struct suspect *v; /* owned */
};

/* Fits of several responses may run side by side: a fit writes nothing of the model. */
struct fit_job {
	const struct model *m;
	const struct setup *setup;
	const struct levels *levels;
	const struct obs_list *obs;
	const double *y;               /* [obs->n]; not obs.y where known slopes were taken off */
	bool covariate[COV_N];         /* columns to enter */
	const int *set;                /* [runs], from runs_settings(); needed by judge */
	size_t response;               /* for suspects */
	bool judge;                    /* lack of fit and suspects too */
	struct suspect_list *suspects; /* where they go; needed by judge */
	double *residual;              /* [obs->n] or NULL: y - Xb */
};
bool fit_response(const struct fit_job *j, struct response *r, struct err *err);
void response_free(struct response *r);
/* estimable and component, from null_basis and scale. */
bool response_aliases(struct response *r);

/* Borrowed effects, after all fits (borrow.h). `like`: y of like-for-like wear and of lap time on
 * its columns, NULL where not fitted; owned by the caller. */
struct borrow_work {
	const struct obs_list *obs;             /* [n_responses] */
	double *const *y;                       /* [n_responses] */
	double *const *like, *const *like_time; /* [channels] */
	const struct lenders *lenders;          /* NULL: made for this fit alone */
};
/* The old books' own fits, which do not depend on the runs here: for several fits of one book.
 * Refers to its entries of `borrow`, not to its runs. NULL with err. */
struct lenders;
struct lenders *lenders_new(const struct book *b, struct err *err);
void lenders_free(struct lenders *l);
bool borrow_enter(struct model *m, const struct borrow_work *w, struct err *err);
void borrow_free(struct borrowing *b);
struct borrowing;
struct prior;
/* Priors of all slots from the borrowed books; m is fitted by its own runs. */
bool priors_make(struct model *m, struct borrowing *b, const struct lenders *l, struct err *err);
void prior_free(struct prior *p);
/* The old term (or one here) t of r as a contrast over the prior's terms: a straight line fitted
 * where the others bend is a chord. False: the prior has no such term. */
bool prior_map(const struct model *m, const struct prior *p, const struct response *r, size_t t,
	double *row);
/* Rows of contrasts over r's terms, not zero on set-up terms alone, that r's rows can tell; `use`
 * [n_terms] marks the terms that may take part. *rows owned by the caller [*n * n_terms]. */
bool told_contrasts(const struct response *r, const bool *use, double **rows, size_t *n);
/* Own and borrowed of slot: turns the response into the posterior, notes conflicts. */
bool posterior_fit(struct model *m, struct borrowing *b, size_t slot, const struct obs_list *o,
	const double *y, struct response *r, struct err *err);
void borrow_note(struct borrowing *b, const char *fmt, ...) ERR_PRINTF(2, 3);

/* The responses alone, for verification: no like-for-like, segments, suspects or lack of fit.
 * Where the book borrows, the whole model; `l` as in struct borrow_work. */
struct model *model_bare(const struct book *b, const struct lenders *l, struct err *err);
/* Was the covariate logged on every reading, and does it vary? */
bool covariate_varies(const struct obs_list *o, int c);
/* d row / d x_coord at the coordinates x: the contrast of a slope. */
void slope_row(const struct response *r, size_t coord, const double *x, double *l);
/* The classes of segments, after all else (segments.h). */
bool segments_fit(struct model *m, const struct obs_list *time, const struct setup *setup,
	const struct levels *levels, struct err *err);
void segments_free(struct segment_fits *s);
/* What a class took of a lap; false where not all of its segments have the figure. */
bool segments_class_sum(const struct circuit *c, const struct lap *l, enum segment_class cls,
	size_t response, double *sum);
/* Readings off segments as a response of their own: the covariates that vary, `effort` among them
 * or not, and no known slopes, which are for whole laps. */
bool segments_fit_readings(const struct model *m, const struct setup *setup,
	const struct levels *levels, const struct obs_list *obs, bool effort, struct response *r,
	struct err *err);

/* After the fit: pure error against the rest, and laps far off (see check.c). res: y - Xb. */
bool check_lack_of_fit(const struct fit_job *j, const struct reml_data *d, const double *res,
	const struct reml_fit *f, struct response *r);
bool check_suspects(const struct fit_job *j, const struct reml_data *d, const double *res,
	const struct reml_fit *f);
/* Which runs were driven on identical values: set[run] is one run of that kind for all. */
void runs_settings(const struct book *b, int *set);

/* The parts of verify_new(); verify.h. */
struct verify;
/* 1 where the run has the level of a TERM_FACTOR, else 0. */
double run_has_level(const struct run *r, const struct term *t);
bool verify_tally(struct verify *v, struct err *err);
bool verify_drift(struct verify *v, struct err *err);

/* Exchange rate of a channel from its readings, given the fits of time and wear. The
 * residuals are those of the two fits, in the order of the observations. */
bool exchange_find(struct model *m, size_t channel, const struct obs_list *time,
	const double *time_res, const struct obs_list *wear, const double *wear_res);

#endif
