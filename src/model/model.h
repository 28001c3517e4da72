/*
 * The sensitivity model of a book: lap time and wear against set-up, fitted by
 * REML with a run effect. Everything shown anywhere comes from here; the formulas
 * and their sources are in doc/model.md.
 *
 * Call order: model_new() fits everything once; then any number of questions.
 * The book must outlive the model and not change under it. A model is never
 * changed after model_new(), so it can be read from several places.
 */
#ifndef MODEL_MODEL_H
#define MODEL_MODEL_H

#include "base/err.h"
#include "book/book.h"

enum term_kind {
	TERM_INTERCEPT,
	TERM_LINEAR,    /* of coordinate a */
	TERM_SQUARE,    /* of coordinate a */
	TERM_PRODUCT,   /* of coordinates a (common) and b (difference) of one pair */
	TERM_COVARIATE, /* a: enum covariate */
	TERM_FACTOR,    /* a: enum factor, b: index of the level */
};

/* Of set-up, not conditions, drivers or tyres. */
static inline bool term_is_setup(enum term_kind k)
{
	return k == TERM_LINEAR || k == TERM_SQUARE || k == TERM_PRODUCT;
}

/*
 * A coordinate: what a linear term is about. Without a pair x = (v - m) / h; of a
 * pair `common` = ((vf-mf)+(vr-mr))/2H and `difference` = ((vf-mf)-(vr-mr))/2H.
 */
enum coord_kind { COORD_SINGLE, COORD_COMMON, COORD_DIFFERENCE };
struct coord {
	enum coord_kind kind;
	int group;      /* index into model.groups */
	int adjustable; /* single: itself; pair: the front member */
	int pair;       /* -1 for a single */
	double lo, hi;  /* driven range over the fitted runs; lo > hi when no run was fitted */
	int levels;     /* distinct values driven */
};

enum { TERM_ID_SIZE = 2 * ID_SIZE + 32 };
struct term {
	char id[TERM_ID_SIZE]; /* "camber.common", "wing.common*wing.difference", "driver.b" */
	enum term_kind kind;
	int a, b;
};

/* One estimate. With `known` false there is no figure; with `has_interval` false
 * (no degrees of freedom left) the estimate stands and its interval does not. */
struct estimate {
	bool known, has_interval;
	double value, se, df, low, high; /* 95% t interval */
	double borrowed; /* share of it that other books told, 0 to 1; 0 without `borrow` */
};

struct response {
	char id[32]; /* "time", "wear-front" */
	bool fitted; /* false: no data; `why` says so */
	char why[160];
	size_t n_obs, n_runs; /* observations (a mean over laps counts once), runs with any */
	size_t n_laps;        /* laps behind the observations */
	double mean;          /* of the readings as driven, weighted by their laps; 0 without any */
	size_t n_terms, rank;
	struct term *terms; /* owned; this response's columns in order */
	double *b;          /* owned [n_terms]: coefficients, 0 where dropped by the rank test */
	double *cov;        /* owned [n_terms * n_terms], row-major, 0 where dropped */
	bool *within;       /* owned [n_terms]: varies within a run */
	bool *unsure;    /* owned [n_terms]: no interval, it leans on run means that are used up */
	bool *estimable; /* owned [n_terms]: e_t in the row space */
	size_t n_null;
	double *null_basis; /* owned [n_null * n_terms]: orthonormal, of the scaled columns */
	double *scale;      /* owned [n_terms]: column norms used for it (1 for a zero column) */
	int *component; /* owned [n_terms]: of not estimable terms, which always moved together; -1
			 */
	bool one_obs_a_run; /* ordinary least squares; sigma_lap has no figure */
	/* NaN where there is no figure: sigma_lap with one observation a run, sigma_run where the
	 * set-ups use up all runs (none driven twice). */
	double sigma_run, sigma_lap, lambda;
	double df_run, df_lap;
	double t_run, t_lap; /* 97.5 % quantiles of t; 0 without degrees of freedom */
	double *lo, *hi;     /* owned [n_coords]: range driven by this response's runs */
	bool has_log_reml;
	double log_reml;
	bool curvature;
	bool has_lack_of_fit;
	double lof_f, lof_p, lof_df1, lof_df2;
	/* Freedom and p with what covariates that tell runs apart took of the repeats' freedom
	 * counted off: what sentences go by. */
	double lof_df_sure, lof_p_sure;
	/* With borrowed effects (borrow.h) the figures are the posterior's, the sigmas and degrees
	 * of freedom those that weigh the runs; else `own` is NULL. */
	struct response *own; /* owned: what the runs here say by themselves */
	double *prior_part; /* owned [n_terms * n_terms]: the part of cov that is the old books' */
	double df_prior;
};

enum exchange_method { EXCHANGE_NONE, EXCHANGE_GIVEN, EXCHANGE_EFFORT, EXCHANGE_WITHIN_RUN };
extern const char
	*const exchange_method_names[]; /* "given", "effort", "within-run"; NULL for none */
struct exchange {
	enum exchange_method method;
	double value, se; /* % per lap saved by each s per lap given up */
	bool has_interval;
	double low, high;   /* effort: Fieller; within-run: t */
	double correlation; /* of lap time's and this wear's residuals over laps, run means removed
			     */
	double run_correlation; /* of their residuals averaged over runs */
	char note[160];         /* why not the better method, "at least" */
};

struct suspect {
	int run;    /* index into book.runs */
	size_t lap; /* 0-based */
	size_t response;
	double z; /* robust residual, Iglewicz & Hoaglin 1993 */
};

struct segment_fits; /* segments.h */

struct borrowing; /* borrow.h */

struct model {
	const struct book *book; /* not owned */
	size_t n_fitted_laps, n_skipped;
	size_t n_coords, n_groups;
	struct coord *coords; /* owned */
	struct group *groups; /* owned */
	double condition[COV_N];
	double driven_lo[COV_N], driven_hi[COV_N]; /* of covariates over the laps fitted for lap
						      time; lo > hi: some lap has none */
	bool subtracted[RESPONSES_MAX][COV_N];     /* a known slope was taken off the readings */
	size_t n_responses;                        /* 1 + channels */
	struct response responses[RESPONSES_MAX];
	/* Like-for-like: z of each channel, and lap time on z's columns and observations. */
	struct response like[CHANNELS_MAX], like_time[CHANNELS_MAX];
	struct exchange exchange[CHANNELS_MAX];
	struct segment_fits *segments; /* owned; NULL where no fitted lap has segment figures */
	double time_spread; /* s: widest range of fitted lap times on one set of values */
	size_t n_suspects;
	struct suspect *suspects;    /* owned */
	struct borrowing *borrowing; /* owned; NULL where the book borrows nothing */
	char curvature_note[200];    /* why squares were left out, "" otherwise */
	size_t n_notes;
	char (*notes)[200]; /* owned; what was left out and why ("effort: lap 3 of run r07 has
			       none") */
};

struct model *model_new(const struct book *b, struct err *err);
void model_free(struct model *m);

/* The contrast row of a response for set-up values at the book's conditions, and the
 * reference levels of factors; row has room for r->n_terms. */
void model_row(const struct model *m, const struct response *r, const fix *values, double *row);
/* Coordinates of values, room for n_coords. */
void model_coords(const struct model *m, const fix *values, double *x);
/* What a term is worth at these coordinates; covariates and factors are 0 at the book's conditions.
 */
double model_term_value(const struct term *t, const double *x);
/* l'b with its interval; known is false where l lies outside the row space. */
struct estimate model_contrast(const struct response *r, const double *l);
/* Is l in the row space (tolerance 1e-9 on columns scaled to unit length)? */
bool model_estimable(const struct response *r, const double *l);

/* What the runs here say of a response by themselves: r, unless effects were borrowed. */
const struct response *model_driven(const struct response *r);
/* The same question as model_estimable(), put to the runs here alone. */
bool model_driven_estimable(const struct response *r, const double *l);
/* Can the runs here alone tell the difference of two sets of values? */
bool model_delta_driven(
	const struct model *m, size_t response, const fix *values, const fix *against);
/* Place in model_driven(r)'s terms of r's term t, -1 where only other books have it. */
int model_driven_term(const struct response *r, size_t t);

/* Expected value at values, and difference of two sets of values. */
struct estimate model_value(const struct model *m, size_t response, const fix *values);
struct estimate model_response_value(
	const struct model *m, const struct response *r, const fix *values);
struct estimate model_delta(
	const struct model *m, size_t response, const fix *values, const fix *against);
/* The part of a delta that one group's values contribute; parts add up to the delta. */
struct estimate model_group_delta(const struct model *m, size_t response, size_t group,
	const fix *values, const fix *against);

/* True if any coordinate of values lies outside the driven range; out (may be NULL) gets
 * a flag per coordinate. */
bool model_extrapolated(const struct model *m, const fix *values, bool *out);
/* The same against the range that one response's own runs were driven over. */
bool model_response_extrapolated(
	const struct model *m, const struct response *r, const fix *values, bool *out);
/* "camber.common", "brake-bias": the name of a coordinate, into buf; returns buf. */
const char *model_coord_id(const struct model *m, size_t coord, char *buf, size_t size);

/* Like-for-like delta of a channel, its interval widened by the exchange rate's own. */
struct like_delta {
	struct estimate delta;
	bool has_chance;
	double chance_better; /* P(the sheet wears less than what it is told against) */
	/* The exchange rate is only known to be at least so large, and a larger one would turn the
	 * sign: neither the interval nor the chance is to be believed on that side. */
	bool bound;
	bool leans;     /* an exchange rate that the runs allow for would turn the sign */
	bool stretched; /* the time difference goes beyond the times driven on one set-up */
};
struct like_delta model_like(
	const struct model *m, size_t channel, const fix *values, const fix *against);
/* The same for any contrast of the set-up terms; l is a row of m->like[channel]. */
struct like_delta model_like_contrast(const struct model *m, size_t channel, const double *l);
struct like_delta model_like_group(
	const struct model *m, size_t channel, size_t group, const fix *values, const fix *against);

/* All of these at once. */
struct prediction {
	bool extrapolated;
	struct estimate value[RESPONSES_MAX], delta[RESPONSES_MAX];
	struct like_delta like[CHANNELS_MAX];
};
/* What a prediction needs of the values that it is told against, kept from key to key. */
struct footing;
/* NULL when out of memory. Stands while the model does. */
struct footing *footing_new(const struct model *m, const fix *against);
void footing_free(struct footing *f);
/* against may be NULL: no differences then; f, of the same values, may be NULL: it is slower. */
void model_predict(const struct model *m, const fix *values, const fix *against,
	const struct footing *f, struct prediction *out);

/* Terms of the delta that the runs cannot tell: indices into the response's terms, the
 * count returned; none where the whole contrast can be told. */
size_t model_untested(
	const struct model *m, size_t response, const fix *values, const fix *against, int *terms);

/* The channel that reaches the wear limit first on these values; -1 if no wear is known. */
int model_limiting_channel(const struct model *m, const fix *values);

#endif
