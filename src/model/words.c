#include "model/words.h"

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
		snprintf(buf, size, "%s, both times front against rear", coord_label(m, t->a));
		break;
	case TERM_COVARIATE:
		snprintf(buf, size, "%s", covariates[t->a]);
		break;
	case TERM_FACTOR:
		snprintf(buf, size, "%s %s", factor_names[t->a],
			t->id + strlen(factor_names[t->a]) + 1);
		break;
	}
	return buf;
}

/* Set-up terms that never left one value need no list of others. */
static bool never_moved(const struct model *m, const struct response *r, const struct term *t)
{
	return t->kind == TERM_LINEAR && !(r->hi[t->a] > r->lo[t->a]) && m->coords[t->a].levels <= 1;
}

static void list_others(const struct model *m, const struct response *r, size_t term, char *buf,
	size_t size)
{
	char one[WORDS_SIZE];
	size_t len = (size_t)snprintf(buf, size, "%s", words_term(m, &r->terms[term], one, sizeof one));
	size_t last = 0, n = 0;
	for (size_t t = 0; t < r->n_terms; t++)
		if (t != term && r->component[t] == r->component[term] &&
			r->terms[t].kind != TERM_INTERCEPT) {
			last = t;
			n++;
		}
	for (size_t t = 0; n && t <= last && len < size; t++)
		if (t != term && r->component[t] == r->component[term] &&
			r->terms[t].kind != TERM_INTERCEPT)
			len += (size_t)snprintf(buf + len, size - len, "%s%s", t == last ? " and " : "; ",
				words_term(m, &r->terms[t], one, sizeof one));
	if (len < size)
		snprintf(buf + len, size - len, n ? " always moved together" : " did not vary");
}

const char *words_untested(const struct model *m, const struct response *r, size_t term, char *buf,
	size_t size)
{
	const struct term *t = &r->terms[term];
	if (t->kind != TERM_LINEAR) {
		list_others(m, r, term, buf, size);
		return buf;
	}
	const struct coord *c = &m->coords[t->a];
	const char *label = coord_label(m, t->a);
	const int twin = c->kind == COORD_COMMON ? t->a + 1 : t->a - 1;
	if (never_moved(m, r, t)) {
		const bool moved = c->kind != COORD_SINGLE && r->hi[twin] > r->lo[twin];
		if (moved)
			snprintf(buf, size, "front and rear %s always moved %s", label,
				c->kind == COORD_DIFFERENCE ? "together" : "against each other");
		else
			snprintf(buf, size, "%s never moved", label);
		return buf;
	}
	size_t size_of = 0;
	bool with_twin = false;
	for (size_t k = 0; k < r->n_terms; k++) {
		if (r->component[k] != r->component[term])
			continue;
		size_of++;
		with_twin = with_twin || (c->kind != COORD_SINGLE && k != term &&
			r->terms[k].kind == TERM_LINEAR && r->terms[k].a == twin);
	}
	if (size_of == 2 && with_twin)
		snprintf(buf, size, "of %s only one end moved, or both in a fixed proportion", label);
	else
		list_others(m, r, term, buf, size);
	return buf;
}

const char *words_verdict(const struct estimate *e)
{
	if (!e->known)
		return "not tested";
	if (!e->has_interval)
		return "no interval";
	return e->low > 0 || e->high < 0 ? "real" : "can't tell";
}

const char *words_lack_of_fit(const struct response *r, char *buf, size_t size)
{
	if (!r->has_lack_of_fit)
		snprintf(buf, size, "%s", r->fitted && r->df_run > 0 ?
			"whether the model bends enough cannot be checked: too few set-ups, or none driven twice" : "");
	else if (r->lof_p < 0.05)
		snprintf(buf, size,
			"repeats agree better with each other than with the model (F = %.2f, p = %.3g): something is missing in it",
			r->lof_f, r->lof_p);
	else
		snprintf(buf, size, "repeats give no sign that the model misses anything (p = %.2f)", r->lof_p);
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

const char *words_conditions(const struct model *m, char *buf, size_t size)
{
	static const char *const form[COV_N] = {"effort %g", "tyres %g laps old", "%g kg of fuel",
		"%.3g deg C"};
	size_t len = 0;
	buf[0] = '\0';
	for (int c = 0; c < COV_N && len < size; c++) {
		if (!in_use(m, c))
			continue;
		if (len)
			len += (size_t)snprintf(buf + len, size - len, ", ");
		if (len < size && c == COV_TYRE_AGE && !(m->condition[c] > 0))
			len += (size_t)snprintf(buf + len, size - len, "new tyres");
		else if (len < size)
			len += (size_t)snprintf(buf + len, size - len, form[c], m->condition[c]);
	}
	return buf;
}

int words_decimals(double half_width)
{
	if (!(half_width > 0) || !isfinite(half_width))
		return 2;
	const int d = (int)ceil(1 - log10(half_width) - 1e-9);
	return d < 0 ? 0 : d > 4 ? 4 : d;
}
