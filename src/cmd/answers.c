#include "cmd/answers.h"

#include "cmd/cmd.h"
#include "model/verdict.h"
#include "model/words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const char *answer_response_id(const struct model *m, size_t response, char *buf, size_t size)
{
	return book_response_id(m->book, response, buf, size);
}

bool answer_tested(const struct model *m, size_t response, const struct estimate *delta,
	const fix *values, const fix *against)
{
	const struct response *r = &m->responses[response];
	return delta->known && (!r->own || model_delta_driven(m, response, values, against)) &&
	       !model_response_extrapolated(m, r, values, NULL) &&
	       !model_response_extrapolated(m, r, against, NULL);
}

static double known(const struct estimate *e, double v)
{
	return e->known ? v : NAN;
}

static double bounded(const struct estimate *e, double v)
{
	return e->known && e->has_interval ? v : NAN;
}

void answer_source(const struct model *m, json_t *o, const struct estimate *e)
{
	static const char *const name[] = {"driven", "borrowed", "both"};
	if (!m->borrowing)
		return;
	json_object_set_new(
		o, "source", e->known ? json_string(name[words_source_of(e)]) : json_null());
	json_object_set_new(o, "borrowed-share", cmd_json_number(known(e, e->borrowed)));
}

static json_t *prediction(const struct model *m, size_t k, const fix *values, const fix *against)
{
	char id[32];
	const struct estimate v = model_value(m, k, values), d = model_delta(m, k, values, against);
	json_t *o = json_object();
	json_object_set_new(o, "response", json_string(answer_response_id(m, k, id, sizeof id)));
	json_object_set_new(o, "value", cmd_json_number(known(&v, v.value)));
	json_object_set_new(o, "low", cmd_json_number(bounded(&v, v.low)));
	json_object_set_new(o, "high", cmd_json_number(bounded(&v, v.high)));
	json_object_set_new(o, "delta", cmd_json_number(known(&d, d.value)));
	json_object_set_new(o, "delta-se", cmd_json_number(bounded(&d, d.se)));
	json_object_set_new(o, "delta-low", cmd_json_number(bounded(&d, d.low)));
	json_object_set_new(o, "delta-high", cmd_json_number(bounded(&d, d.high)));
	json_object_set_new(o, "tested", json_boolean(answer_tested(m, k, &d, values, against)));
	answer_source(m, o, &d);
	if (m->borrowing) {
		const enum dispute c = words_delta_dispute(m, k, values, against);
		json_object_set_new(o, "disputed", json_boolean(c == DISPUTE_KEPT));
		json_object_set_new(o, "widened", json_boolean(c == DISPUTE_WIDENED));
	}
	return o;
}

json_t *answer_predictions(const struct model *m, const fix *values, const fix *against)
{
	json_t *a = json_array();
	for (size_t k = 0; k < m->n_responses; k++)
		json_array_append_new(a, prediction(m, k, values, against));
	return a;
}

json_t *answer_like(const struct model *m, const fix *values, const fix *against)
{
	json_t *a = json_array();
	for (size_t c = 0; c < m->book->n_channels; c++) {
		const struct like_delta d = model_like(m, c, values, against);
		json_t *o = json_object();
		json_object_set_new(o, "channel", json_string(m->book->channels[c]));
		json_object_set_new(o, "delta", cmd_json_number(known(&d.delta, d.delta.value)));
		json_object_set_new(
			o, "delta-low", cmd_json_number(bounded(&d.delta, d.delta.low)));
		json_object_set_new(
			o, "delta-high", cmd_json_number(bounded(&d.delta, d.delta.high)));
		json_object_set_new(
			o, "chance-better", cmd_json_number(d.has_chance ? d.chance_better : NAN));
		answer_source(m, o, &d.delta);
		json_object_set_new(o, "leans-on-rate", json_boolean(d.leans));
		json_object_set_new(o, "stretched", json_boolean(d.stretched));
		json_array_append_new(a, o);
	}
	return a;
}

void answer_signed(char *buf, size_t size, double v, int decimals)
{
	const double half = 0.5 * pow(10, -decimals);
	snprintf(buf, size, "%+.*f", decimals, fabs(v) < half ? 0.0 : v);
}

static int half_decimals(const struct estimate *e, int least, int most)
{
	const int d =
		e->has_interval && e->high > e->low ? words_decimals((e->high - e->low) / 2) : most;
	return d < least ? least : d > most ? most : d;
}

static void figure(char *buf, size_t size, bool time, const struct estimate *e, double v)
{
	if (!e->known)
		snprintf(buf, size, "-");
	else if (time)
		laptime_tell(v, half_decimals(e, 1, 3), buf, size);
	else
		snprintf(buf, size, "%.2f", v);
}

static void print_value(const struct estimate *e, bool time)
{
	char value[32], low[32], high[32], range[72] = "";
	figure(value, sizeof value, time, e, e->value);
	if (e->known && e->has_interval) {
		figure(low, sizeof low, time, e, e->low);
		figure(high, sizeof high, time, e, e->high);
		snprintf(range, sizeof range, "%s to %s", low, high);
	}
	printf("%10s  ", value);
	cmd_pad(stdout, range, 22);
}

static void print_delta(const struct estimate *e, const char *verdict)
{
	char value[32] = "-", low[32], high[32], range[72] = "";
	const int d = half_decimals(e, 2, 3);
	if (e->known)
		answer_signed(value, sizeof value, e->value, d);
	if (e->known && e->has_interval) {
		answer_signed(low, sizeof low, e->low, d);
		answer_signed(high, sizeof high, e->high, d);
		snprintf(range, sizeof range, "%s to %s", low, high);
	}
	printf("  %8s  ", value);
	cmd_pad(stdout, range, 18);
	cmd_line("  %s", verdict);
}

/* Words for a delta as driven; without an interval, why there is none. */
static const char *direction(const struct estimate *d, enum verdict v)
{
	if (d->known && !d->has_interval)
		return "no interval: no set-up was driven twice";
	return v == VERDICT_LESS ? "less wear" : v == VERDICT_MORE ? "more wear" : verdict_word(v);
}

static void print_row(const struct model *m, size_t k, const fix *values, const fix *against)
{
	char name[64], words[160], source[32];
	const struct estimate v = model_value(m, k, values), d = model_delta(m, k, values, against);
	const bool beyond = d.known && !answer_tested(m, k, &d, values, against);
	cmd_pad(stdout, words_response(m, k, name, sizeof name), 16);
	print_value(&v, k == RESPONSE_TIME);
	const enum verdict verdict = k == RESPONSE_TIME ? verdict_time(&d) : verdict_wear(&d);
	words_source(&d, source, sizeof source);
	const enum dispute dispute = words_delta_dispute(m, k, values, against);
	snprintf(words, sizeof words, "%s%s%s%s%s",
		dispute == DISPUTE_KEPT ? "disputed" : direction(&d, verdict),
		source[0] ? ", " : "", source, dispute == DISPUTE_WIDENED ? ", widened" : "",
		beyond && words_source_of(&d) != SOURCE_BORROWED ? ", extrapolated" : "");
	print_delta(&d, words);
}

/* Kinder, or only slower? And in how many cases of a hundred kinder. */
static void like_words(const struct model *m, size_t c, const struct like_delta *d,
	const fix *values, const fix *against, char *buf, size_t size)
{
	const struct estimate wear = model_delta(m, 1 + c, values, against);
	const char *verdict = direction(&d->delta, verdict_like(d, &wear));
	char in_100[CHANCE_SIZE];
	if (!m->like[c].fitted)
		verdict = "no exchange rate";
	snprintf(buf, size, "%s", verdict);
	if (!d->has_chance || d->bound)
		return;
	verdict_chance(d->chance_better, in_100);
	const size_t len = strlen(buf);
	snprintf(buf + len, size - len, strcmp(verdict, "kinder") ? " (kinder: %s)" : " (%s)",
		in_100);
}

static void print_like(const struct model *m, size_t c, const fix *values, const fix *against)
{
	char name[64], words[200], source[32];
	const struct like_delta d = model_like(m, c, values, against);
	snprintf(name, sizeof name, "wear %s", m->book->channels[c]);
	cmd_pad(stdout, name, 16);
	printf("%10s  %22s", "", "");
	like_words(m, c, &d, values, against, words, sizeof words);
	if (words_source(&d.delta, source, sizeof source)[0])
		snprintf(words + strlen(words), sizeof words - strlen(words), ", %s", source);
	print_delta(&d.delta, words);
	if (d.delta.known && d.leans && (d.delta.high < 0 || d.delta.low > 0))
		printf(d.bound ? "                (the exchange rate is only known to be at least "
				 "so large; a larger one would turn the sign)\n"
			       : "                (another exchange rate, as far as the runs "
				 "allow, "
				 "would turn the sign)\n");
	if (d.stretched)
		printf("                (the times differ by more than laps on one set-up did: "
		       "the exchange rate is stretched)\n");
}

static void print_untested(const struct model *m, const fix *values, const fix *against)
{
	int *terms = malloc((4 * m->n_coords + 64) * sizeof *terms);
	bool *off = calloc(2 * m->n_coords + 1, sizeof *off);
	char words[WORDS_SIZE];
	bool *said = calloc(m->n_coords + 1, sizeof *said);
	for (size_t k = 0; terms && said && k < m->n_responses; k++) {
		const size_t n = model_untested(m, k, values, against, terms);
		for (size_t i = 0; i < n; i++) {
			const struct response *r = &m->responses[k];
			const struct term *t = &r->terms[terms[i]];
			if (said[t->a])
				continue;
			said[t->a] = true;
			cmd_line("not tested: %s",
				words_untested(m, r, (size_t)terms[i], words, sizeof words));
		}
	}
	if (off) {
		model_extrapolated(m, values, off);
		model_extrapolated(m, against, off + m->n_coords);
	}
	for (size_t c = 0; off && c < m->n_coords; c++)
		if (off[c] || off[m->n_coords + c]) {
			const struct term t = {.kind = TERM_LINEAR, .a = (int)c};
			cmd_line("beyond the driven range: %s",
				words_term(m, &t, words, sizeof words));
		}
	free(terms);
	free(off);
	free(said);
}

void answer_table(const struct model *m, const fix *values, const fix *against)
{
	printf("%-16s%10s  %-22s  %8s  %-18s\n", "", "value", "95 %", "change", "95 %");
	for (size_t k = 0; k < m->n_responses; k++)
		print_row(m, k, values, against);
	printf("like-for-like, brought to the same lap time by the exchange rate:\n");
	for (size_t c = 0; c < m->book->n_channels; c++)
		print_like(m, c, values, against);
	print_untested(m, values, against);
	for (size_t k = 0; k < m->n_responses; k++)
		if (!m->responses[k].fitted) {
			char name[64];
			cmd_line("%s: %s", words_response(m, k, name, sizeof name),
				m->responses[k].why);
		}
}
