#include "model/words.h"

#include "model/borrow.h"
#include "model/verdict.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const char *words_response(const struct model *m, size_t response, char *buf, size_t size)
{
	if (response == RESPONSE_TIME)
		snprintf(buf, size, "lap time");
	else
		snprintf(buf, size, "wear %s", m->book->channels[response - 1]);
	return buf;
}

const char *words_unit(size_t response)
{
	return response == RESPONSE_TIME ? "s" : "%/lap";
}

static const char *coord_label(const struct model *m, int c)
{
	return m->book->car.adjustables[m->coords[c].adjustable].label;
}

const char *words_term(const struct model *m, const struct term *t, char *buf, size_t size)
{
	static const char *const covariates[COV_N] = {"effort, each 1", "tyre age, each lap",
		"fuel, each kg", "track temperature, each deg C"};
	switch (t->kind) {
	case TERM_INTERCEPT:
		snprintf(buf, size, "middle of all ranges");
		break;
	case TERM_LINEAR:
	case TERM_SQUARE:
		snprintf(buf, size, "%s%s%s", coord_label(m, t->a),
			m->coords[t->a].kind == COORD_DIFFERENCE ? ", front against rear" : "",
			t->kind == TERM_SQUARE ? ", squared" : "");
		break;
	case TERM_PRODUCT:
		snprintf(buf, size, "%s, both x front - rear", coord_label(m, t->a));
		break;
	case TERM_COVARIATE:
		snprintf(buf, size, "%s", covariates[t->a]);
		break;
	case TERM_FACTOR:
		snprintf(buf, size, "%s %s", factor_names[t->a],
			t->id + strlen(factor_names[t->a]) + 1);
		break;
	}
	return text_mend(buf);
}

/* Set-up terms that never left one value need no list of others. */
static bool never_moved(const struct response *r, const struct term *t)
{
	return t->kind == TERM_LINEAR && !(r->hi[t->a] > r->lo[t->a]);
}

static bool in_list(const struct response *r, size_t term, size_t t)
{
	return r->component[t] == r->component[term] && r->terms[t].kind != TERM_INTERCEPT &&
	       !never_moved(r, &r->terms[t]);
}

/* All that cannot be told apart, the same sentence for each of them. */
static void list_all(
	const struct model *m, const struct response *r, size_t term, char *buf, size_t size)
{
	char one[WORDS_SIZE];
	size_t n = 0, k = 0, len = 0;
	for (size_t t = 0; t < r->n_terms; t++)
		n += in_list(r, term, t);
	if (n > 2)
		len = (size_t)snprintf(buf, size, "too few runs to tell apart: ");
	for (size_t t = 0; t < r->n_terms && len < size; t++) {
		if (!in_list(r, term, t))
			continue;
		const char *before = k == 0 ? "" : k + 1 == n ? " and " : "; ";
		len += (size_t)snprintf(buf + len, size - len, "%s%s", before,
			words_term(m, &r->terms[t], one, sizeof one));
		k++;
	}
	if (n <= 2 && len < size)
		snprintf(buf + len, size - len,
			n == 2 ? " always moved together" : " did not vary on its own");
}

/* The pair's two coordinates, and nothing else, cannot be told apart. */
static bool only_twin(const struct model *m, const struct response *r, size_t term, int twin)
{
	size_t n = 0;
	bool has_twin = false;
	if (m->coords[r->terms[term].a].kind == COORD_SINGLE)
		return false;
	for (size_t t = 0; t < r->n_terms; t++) {
		n += r->component[t] == r->component[term];
		has_twin = has_twin ||
			   (r->component[t] == r->component[term] &&
				   r->terms[t].kind == TERM_LINEAR && r->terms[t].a == twin);
	}
	return n == 2 && has_twin;
}

const char *words_untested(
	const struct model *m, const struct response *r, size_t term, char *buf, size_t size)
{
	const int mine = model_driven_term(r, term);
	if (mine < 0) {
		char name[WORDS_SIZE];
		snprintf(buf, size, "%.200s: not fitted here",
			words_term(m, &r->terms[term], name, sizeof name));
		return text_mend(buf);
	}
	term = (size_t)mine;
	r = model_driven(r);
	const struct term *t = &r->terms[term];
	if (t->kind != TERM_LINEAR) {
		list_all(m, r, term, buf, size);
		return text_mend(buf);
	}
	const struct coord *c = &m->coords[t->a];
	const char *label = coord_label(m, t->a);
	const int twin = c->kind == COORD_COMMON ? t->a + 1 : t->a - 1;
	if (never_moved(r, t) && c->kind != COORD_SINGLE && r->hi[twin] > r->lo[twin])
		snprintf(buf, size, "front and rear %s always moved %s", label,
			c->kind == COORD_DIFFERENCE ? "together" : "against each other");
	else if (never_moved(r, t))
		snprintf(buf, size, "%s never moved", label);
	else if (only_twin(m, r, term, twin))
		snprintf(buf, size, "of %s only one end moved, or both in a fixed proportion",
			label);
	else
		list_all(m, r, term, buf, size);
	return text_mend(buf);
}

const char *words_verdict(const struct estimate *e)
{
	if (!e->known)
		return "not tested";
	if (!e->has_interval)
		return "no interval";
	if (words_source_of(e) == SOURCE_BORROWED)
		return e->low > 0 || e->high < 0 ? "borrowed" : "borrowed, ?";
	const bool nothing = fabs(e->low) < VERDICT_FINEST && fabs(e->high) < VERDICT_FINEST;
	return !nothing && (e->low > 0 || e->high < 0) ? "real" : "can't tell";
}

enum source words_source_of(const struct estimate *e)
{
	return e->borrowed < 0.01   ? SOURCE_DRIVEN
	       : e->borrowed > 0.99 ? SOURCE_BORROWED
				    : SOURCE_BOTH;
}

const char *words_source(const struct estimate *e, char *buf, size_t size)
{
	static const char *const plain[] = {"", "borrowed", ""};
	const enum source s = words_source_of(e);
	snprintf(buf, size, "%s", e->known ? plain[s] : "");
	if (e->known && s == SOURCE_BOTH)
		snprintf(buf, size, "%.0f %% borrowed", 100 * e->borrowed);
	return buf;
}

const char *const dispute_words[] = {
	"", "contradicted here, so widened", "disputed by the runs here"};

const char *words_borrowed_delta(
	const struct model *m, const fix *values, const fix *against, char *buf, size_t size)
{
	char name[64];
	size_t len = 0;
	buf[0] = '\0';
	for (size_t k = 0; m->borrowing && k < m->n_responses && len < size; k++) {
		const struct estimate e = model_delta(m, k, values, against);
		if (!e.known || words_source_of(&e) == SOURCE_DRIVEN)
			continue;
		const enum dispute d = words_delta_dispute(m, k, values, against);
		len += (size_t)snprintf(buf + len, size - len, "%s%s %.0f %%%s%s%s",
			len ? ", " : "borrowed: ", words_response(m, k, name, sizeof name),
			100 * e.borrowed, d ? " (" : "", dispute_words[d], d ? ")" : "");
	}
	return buf;
}

enum dispute words_dispute(const struct model *m, size_t response, const struct term *t)
{
	for (size_t i = 0; m->borrowing && i < m->borrowing->n_conflicts; i++) {
		const struct conflict *c = &m->borrowing->conflicts[i];
		const struct term *k = &model_driven(borrow_response(m, c->slot))->terms[c->term];
		if (c->slot == response && c->beyond && k->kind == t->kind && k->a == t->a &&
			k->b == t->b)
			return m->book->borrow_keep ? DISPUTE_KEPT : DISPUTE_WIDENED;
	}
	return DISPUTE_NONE;
}

enum dispute words_delta_dispute(
	const struct model *m, size_t response, const fix *values, const fix *against)
{
	double x[1024], x0[1024];
	const struct response *r = &m->responses[response];
	if (!m->borrowing || m->n_coords > 1024)
		return DISPUTE_NONE;
	model_coords(m, values, x);
	model_coords(m, against, x0);
	for (size_t t = 0; t < r->n_terms; t++) {
		const struct term *k = &r->terms[t];
		const enum dispute d = term_is_setup(k->kind) && fabs(x[k->a] - x0[k->a]) > 1e-12
					       ? words_dispute(m, response, k)
					       : DISPUTE_NONE;
		if (d)
			return d;
	}
	return DISPUTE_NONE;
}

const char *words_conflict(const struct model *m, const struct conflict *c, char *buf, size_t size)
{
	char what[64], term[WORDS_SIZE];
	const struct response *r = borrow_response(m, c->slot);
	const size_t channel =
		c->slot < RESPONSES_MAX ? 0 : (c->slot - RESPONSES_MAX) % CHANNELS_MAX;
	if (c->slot < RESPONSES_MAX)
		words_response(m, c->slot, what, sizeof what);
	else
		snprintf(what, sizeof what, "like-for-like wear %s", m->book->channels[channel]);
	const int d = words_decimals(c->here_se + c->borrowed_se);
	snprintf(buf, size,
		"%.60s, %s: %+.*f by the runs here, %+.*f by borrowed books, further apart than "
		"chance allows (p = %.2g)",
		words_term(m, &model_driven(r)->terms[c->term], term, sizeof term), what, d,
		c->here, d, c->borrowed, c->p);
	return text_mend(buf);
}

const char *words_noise_source(const struct response *r)
{
	const bool alone = !r->own || (r->own->df_run == r->df_run && r->own->df_lap == r->df_lap);
	return alone ? "" : " (borrowed books' joined in)";
}

const char *words_lack_of_fit(const struct response *r, char *buf, size_t size)
{
	if (!r->has_lack_of_fit)
		snprintf(buf, size, "%s",
			r->fitted && r->df_run > 0
				? "whether the model bends enough cannot be checked: too few "
				  "set-ups, or none driven twice"
				: "");
	else if (!(r->lof_df_sure > 0) || (r->lof_p < 0.05 && r->lof_p_sure >= 0.05))
		snprintf(buf, size,
			"whether the model bends enough cannot be checked: what differs from run "
			"to "
			"run takes up what the repeats would tell");
	else if (r->lof_p < 0.05)
		snprintf(buf, size,
			"repeats agree better with each other than with the model (F = %.2f, p = "
			"%.3g): something is missing in it",
			r->lof_f, r->lof_p);
	else
		snprintf(buf, size,
			"repeats give no sign that the model misses anything (p = %.2f)",
			r->lof_p_sure);
	return buf;
}

/* Is the covariate part of any fit, as a column or a known slope? */
static bool in_use(const struct model *m, int c)
{
	for (size_t k = 0; k < m->n_responses; k++) {
		const struct response *r = &m->responses[k];
		for (size_t t = 0; t < r->n_terms; t++)
			if (r->terms[t].kind == TERM_COVARIATE && r->terms[t].a == c)
				return true;
		if (!m->book->covariates[c].off && m->book->covariates[c].known[k].has)
			return true;
	}
	return false;
}

/* A condition as told; its form is one of four. */
static int print_condition(int c, double v, char *buf, size_t size)
{
	if (c == COV_TYRE_AGE && !(v > 0))
		return snprintf(buf, size, "new tyres");
	return c == COV_EFFORT     ? snprintf(buf, size, "effort %g", v)
	       : c == COV_TYRE_AGE ? snprintf(buf, size, "tyres %g laps old", v)
	       : c == COV_FUEL     ? snprintf(buf, size, "%g kg of fuel", v)
				   : snprintf(buf, size, "%.3g deg C", v);
}

/* Does a fit draw a line over the covariate? */
static bool in_columns(const struct model *m, int c)
{
	for (size_t k = 0; k < m->n_responses; k++)
		for (size_t t = 0; t < m->responses[k].n_terms; t++)
			if (m->responses[k].terms[t].kind == TERM_COVARIATE &&
				m->responses[k].terms[t].a == c)
				return true;
	return false;
}

const char *words_beyond(const struct model *m, char *buf, size_t size)
{
	size_t len = 0;
	buf[0] = '\0';
	for (int c = 0; c < COV_N && len < size; c++) {
		const double lo = m->driven_lo[c], hi = m->driven_hi[c], v = m->condition[c];
		char told[64];
		/* half the range more is a line one may still draw */
		if (!in_columns(m, c) || !(lo <= hi) ||
			(v >= lo - (hi - lo) / 2 && v <= hi + (hi - lo) / 2))
			continue;
		print_condition(c, v, told, sizeof told);
		len += (size_t)snprintf(buf + len, size - len, "%s%s, driven were %.3g to %.3g",
			len ? "; " : "told at ", told, lo, hi);
	}
	return buf;
}

const char *words_conditions(const struct model *m, char *buf, size_t size)
{
	size_t len = 0;
	buf[0] = '\0';
	for (int c = 0; c < COV_N && len < size; c++) {
		if (!in_use(m, c))
			continue;
		if (len)
			len += (size_t)snprintf(buf + len, size - len, ", ");
		if (len < size)
			len += (size_t)print_condition(c, m->condition[c], buf + len, size - len);
	}
	return buf;
}

const char *words_rate_origin(const struct exchange *e)
{
	static const char *const words[] = {
		[EXCHANGE_NONE] = "",
		[EXCHANGE_GIVEN] = "given in the book",
		[EXCHANGE_EFFORT] = "by effort",
		[EXCHANGE_WITHIN_RUN] = "from inside runs",
	};
	return words[e->method];
}

const char *words_rate(const struct exchange *e, int decimals, char *buf, size_t size)
{
	if (e->method != EXCHANGE_WITHIN_RUN)
		snprintf(buf, size, "%.*f", decimals, e->value);
	else if (e->value > 0)
		snprintf(buf, size, "at least %.*f", decimals, e->value);
	else
		snprintf(buf, size, "at least 0");
	return buf;
}

const char *words_rate_interval(const struct exchange *e, int decimals, char *buf, size_t size)
{
	const bool bound = e->method == EXCHANGE_WITHIN_RUN;
	if (!e->has_interval)
		snprintf(buf, size, "%s", "");
	else if (!bound)
		snprintf(buf, size, " (%.*f to %.*f)", decimals, e->low, decimals, e->high);
	else if (!(e->value > 0))
		snprintf(buf, size, " (slower laps of a run did not wear less)");
	else if (e->low > 0)
		snprintf(buf, size, " (with its noise counted, at least %.*f)", decimals, e->low);
	else
		snprintf(buf, size, " (with its noise counted, perhaps nothing)");
	return buf;
}

int words_decimals(double half_width)
{
	if (!(half_width > 0) || !isfinite(half_width))
		return 2;
	const int d = (int)ceil(1 - log10(half_width) - 1e-9);
	return d < 0 ? 0 : d > 4 ? 4 : d;
}

const char *words_tangled(const struct model *m)
{
	const struct response *r = &m->responses[RESPONSE_TIME];
	for (size_t t = 0; r->fitted && r->curvature && t < r->n_terms; t++)
		if (!r->estimable[t] && r->terms[t].kind == TERM_SQUARE)
			return "squares cannot be told apart by these runs, so moves that need "
			       "them are not tested:\n"
			       "drive more levels (one at a time, definitive), or write curvature: "
			       "off in "
			       "book.yaml for straight lines";
	return "";
}
