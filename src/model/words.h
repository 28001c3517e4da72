/* The model's answers in a driver's words. Texts hold the book's own labels: make them
 * safe before they reach a terminal. */
#ifndef MODEL_WORDS_H
#define MODEL_WORDS_H

#include "model/model.h"

enum { WORDS_SIZE = 512 };

/* "lap time", "wear front". */
const char *words_response(const struct model *m, size_t response, char *buf, size_t size);
/* "s", "%/lap". */
const char *words_unit(size_t response);
/* "Camber", "Camber, front against rear", "Camber, squared", "effort, each 1", "driver b". */
const char *words_term(const struct model *m, const struct term *t, char *buf, size_t size);
/* Why a term has no answer: "front and rear Camber always moved together", "Toe never moved". */
const char *words_untested(
	const struct model *m, const struct response *r, size_t term, char *buf, size_t size);
/* Where a figure comes from; with borrowed effects it may be other books, wholly or in part. */
enum source { SOURCE_DRIVEN, SOURCE_BORROWED, SOURCE_BOTH };
enum source words_source_of(const struct estimate *e);
/* "", "borrowed", "62 % borrowed". */
const char *words_source(const struct estimate *e, char *buf, size_t size);
/* "borrowed: lap time 89 %, wear front 99 %" of what a change of values does; ""
 * where nothing is. */
const char *words_borrowed_delta(
	const struct model *m, const fix *values, const fix *against, char *buf, size_t size);
/* Do the runs here contradict what is borrowed of the term of a response, beyond chance? The prior
 * was widened then; or kept, and the figure, between two sides, is to be believed by neither. */
enum dispute { DISPUTE_NONE, DISPUTE_WIDENED, DISPUTE_KEPT };
enum dispute words_dispute(const struct model *m, size_t response, const struct term *t);
/* Does a change of values move along such a term? */
enum dispute words_delta_dispute(
	const struct model *m, size_t response, const fix *values, const fix *against);
/* "", "contradicted here, so widened", "disputed by the runs here". */
extern const char *const dispute_words[];
/* Where the runs here and the borrowed books disagree, a sentence. */
struct conflict;
const char *words_conflict(const struct model *m, const struct conflict *c, char *buf, size_t size);
/* "real", "can't tell", "not tested", "no interval", or of a figure that nothing driven here speaks
 * for "borrowed", "borrowed, ?". */
const char *words_verdict(const struct estimate *e);
/* "", or where the noise that weighs the runs is not told by them alone, " (borrowed books' joined
 * in)". */
const char *words_noise_source(const struct response *r);
/* What the repeats say of the model, a sentence; "" where they say nothing. */
const char *words_lack_of_fit(const struct response *r, char *buf, size_t size);
/* Where squares entered the fit and the runs cannot tell them apart: what to do, in two lines; else
 * "". A two-level plan with its base in between ends there. */
const char *words_tangled(const struct model *m);
/* "effort 100, new tyres, 20 kg of fuel, 30 deg C": where predictions are told, as far as
 * the model knows of it; "" if of none. */
const char *words_conditions(const struct model *m, char *buf, size_t size);

/* "told at 0 kg of fuel, driven were 29.5 to 45": conditions well beyond what was driven, where lap
 * times and wear lean on a slope drawn out; "" where there are none. Differences of sheets do not.
 */
const char *words_beyond(const struct model *m, char *buf, size_t size);

/* "0.61", or of the rate from inside runs "at least 0.61"; never below 0. */
const char *words_rate(const struct exchange *e, int decimals, char *buf, size_t size);
/* "given in the book", "by effort", "from inside runs". */
const char *words_rate_origin(const struct exchange *e);
/* " (0.42 to 0.95)"; the rate from inside runs has no upper end: " (with its noise counted, at
 * least 0.07)" or "perhaps nothing"; "" without an interval. */
const char *words_rate_interval(const struct exchange *e, int decimals, char *buf, size_t size);

/* Decimals that an interval of this half width supports, 0 to 4. */
int words_decimals(double half_width);

#endif
