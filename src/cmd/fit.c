/* fit BOOK: what the runs say of each adjustment, and how surely. */
#include "cmd/answers.h"
#include "cmd/borrowed.h"
#include "cmd/cmd.h"
#include "cmd/commands.h"
#include "model/effects.h"
#include "model/segments.h"
#include "model/words.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

const struct cmd_option fit_options[] = {
	BORROWED_OPTIONS,
	CMD_OPTION_JSON,
	CMD_OPTION_END,
};

static struct estimate term_estimate(const struct response *r, size_t t, double *l)
{
	memset(l, 0, r->n_terms * sizeof *l);
	l[t] = 1;
	return model_contrast(r, l);
}

static json_t *term_json(const struct model *m, const struct response *r, size_t t, double *l)
{
	const struct estimate e = term_estimate(r, t, l);
	const double tv = e.has_interval && e.se > 0 ? e.value / e.se : NAN;
	json_t *o = json_object();
	json_object_set_new(o, "id", json_string(r->terms[t].id));
	json_object_set_new(o, "estimate", cmd_json_number(e.known ? e.value : NAN));
	json_object_set_new(o, "se", cmd_json_number(e.has_interval ? e.se : NAN));
	json_object_set_new(o, "df", e.known ? json_integer((json_int_t)e.df) : json_null());
	json_object_set_new(o, "t", cmd_json_number(tv));
	json_object_set_new(
		o, "p", cmd_json_number(isfinite(tv) ? 2 * gsl_cdf_tdist_Q(fabs(tv), e.df) : NAN));
	answer_source(m, o, &e);
	if (m->borrowing)
		json_object_set_new(o, "tested", json_boolean(model_driven_estimable(r, l)));
	return o;
}

static json_t *aliases_json(const struct response *r)
{
	json_t *a = json_array();
	for (size_t t = 0; t < r->n_terms; t++) {
		if (r->estimable[t])
			continue;
		json_t *o = json_object(), *with = json_array();
		for (size_t u = 0; u < r->n_terms; u++)
			if (u != t && r->component[u] == r->component[t])
				json_array_append_new(with, json_string(r->terms[u].id));
		json_object_set_new(o, "id", json_string(r->terms[t].id));
		json_object_set_new(o, "with", with);
		json_array_append_new(a, o);
	}
	return a;
}

static json_t *lack_json(const struct response *r)
{
	if (!r->has_lack_of_fit)
		return json_null();
	json_t *o = json_object();
	json_object_set_new(o, "f", cmd_json_number(r->lof_f));
	json_object_set_new(o, "df1", json_integer((json_int_t)r->lof_df1));
	json_object_set_new(o, "df2", json_integer((json_int_t)r->lof_df2));
	json_object_set_new(o, "p", cmd_json_number(r->lof_p));
	return o;
}

static json_t *count(const struct response *r, double v)
{
	return r->fitted ? json_integer((json_int_t)v) : json_null();
}

static json_t *response_json(const struct model *m, const struct response *r, size_t k)
{
	const struct response *own = model_driven(r);
	char id[32];
	double *l = calloc(r->n_terms + 1, sizeof *l);
	json_t *o = json_object(), *terms = json_array();
	json_object_set_new(o, "id", json_string(answer_response_id(m, k, id, sizeof id)));
	json_object_set_new(o, "unit", json_string(words_unit(k)));
	json_object_set_new(o, "sigma-run", cmd_json_number(own->fitted ? own->sigma_run : NAN));
	json_object_set_new(o, "sigma-lap", cmd_json_number(own->fitted ? own->sigma_lap : NAN));
	json_object_set_new(o, "curvature", json_boolean(own->curvature));
	json_object_set_new(o, "df-run", count(own, own->df_run));
	json_object_set_new(o, "df-lap", count(own, own->df_lap));
	json_object_set_new(
		o, "log-reml", cmd_json_number(own->has_log_reml ? own->log_reml : NAN));
	for (size_t t = 0; l && t < r->n_terms; t++)
		json_array_append_new(terms, term_json(m, r, t, l));
	json_object_set_new(o, "terms", terms);
	json_object_set_new(o, "not-estimable", aliases_json(own));
	json_object_set_new(o, "lack-of-fit", lack_json(own));
	free(l);
	return o;
}

/* One entry for each class of segments that laps have figures of; its responses as above. */
static json_t *segments_json(const struct model *m)
{
	json_t *a = json_array();
	const struct circuit *c = &m->book->circuit;
	for (size_t i = 0; m->segments && i < m->segments->n; i++) {
		const struct segment_class_fit *f = &m->segments->v[i];
		json_t *o = json_object(), *ids = json_array(), *responses = json_array();
		for (size_t s = 0; s < c->n_segments; s++)
			if (c->segments[s].cls == f->cls)
				json_array_append_new(ids, json_string(c->segments[s].id));
		for (size_t k = 0; k < m->n_responses; k++)
			json_array_append_new(responses, response_json(m, &f->by[k], k));
		json_object_set_new(o, "class", json_string(segment_class_names[f->cls]));
		json_object_set_new(o, "segments", ids);
		json_object_set_new(o, "responses", responses);
		json_array_append_new(a, o);
	}
	return a;
}

static json_t *exchange_json(const struct model *m, size_t c)
{
	const struct exchange *e = &m->exchange[c];
	const bool some = e->method != EXCHANGE_NONE, range = some && e->has_interval;
	const char *name = exchange_method_names[e->method];
	json_t *o = json_object();
	json_object_set_new(o, "channel", json_string(m->book->channels[c]));
	json_object_set_new(o, "value", cmd_json_number(some ? e->value : NAN));
	json_object_set_new(o, "se", cmd_json_number(range ? e->se : NAN));
	json_object_set_new(o, "low", cmd_json_number(range ? e->low : NAN));
	json_object_set_new(o, "high", cmd_json_number(range ? e->high : NAN));
	json_object_set_new(o, "method", name ? json_string(name) : json_null());
	json_object_set_new(o, "note", cmd_json_text(e->note));
	return o;
}

static json_t *suspects_json(const struct model *m)
{
	json_t *a = json_array();
	char id[32];
	for (size_t i = 0; i < m->n_suspects; i++) {
		const struct suspect *s = &m->suspects[i];
		json_t *o = json_object();
		json_object_set_new(o, "run", json_string(m->book->runs[s->run].id));
		json_object_set_new(o, "lap", json_integer((json_int_t)s->lap + 1));
		json_object_set_new(o, "response",
			json_string(answer_response_id(m, s->response, id, sizeof id)));
		json_object_set_new(o, "robust-z", cmd_json_number(s->z));
		json_array_append_new(a, o);
	}
	return a;
}

static json_t *notes_json(const struct model *m)
{
	json_t *a = json_array();
	if (m->curvature_note[0])
		json_array_append_new(a, cmd_json_text(m->curvature_note));
	for (size_t i = 0; i < m->n_notes; i++)
		json_array_append_new(a, cmd_json_text(m->notes[i]));
	return a;
}

static int print_json(const struct model *m)
{
	json_t *o = json_object(), *responses = json_array(), *rates = json_array();
	json_object_set_new(o, "book", cmd_json_text(m->book->id));
	json_object_set_new(o, "runs", json_integer((json_int_t)m->book->n_runs));
	json_object_set_new(o, "laps", json_integer((json_int_t)m->n_fitted_laps));
	json_object_set_new(o, "skipped", json_integer((json_int_t)m->n_skipped));
	for (size_t k = 0; k < m->n_responses; k++)
		json_array_append_new(responses, response_json(m, &m->responses[k], k));
	for (size_t c = 0; c < m->book->n_channels; c++)
		json_array_append_new(rates, exchange_json(m, c));
	json_object_set_new(o, "responses", responses);
	json_object_set_new(o, "exchange-rates", rates);
	json_object_set_new(o, "segments", segments_json(m));
	json_object_set_new(o, "suspects", suspects_json(m));
	json_object_set_new(o, "notes", notes_json(m));
	if (m->borrowing)
		json_object_set_new(o, "borrowed", borrowed_json(m));
	return cmd_print_json(o);
}

static void print_noise(const struct response *r, size_t k)
{
	const char *unit = words_unit(k);
	const int d = 3;
	if (r->one_obs_a_run && isfinite(r->sigma_run))
		printf("noise: %.*f %s from run to run (one reading a run)\n", d, r->sigma_run,
			unit);
	else if (isfinite(r->sigma_run) && isfinite(r->sigma_lap))
		printf("noise: %.*f %s from run to run, %.*f %s from lap to lap\n", d, r->sigma_run,
			unit, d, r->sigma_lap, unit);
	else if (isfinite(r->sigma_run))
		printf("noise: %.*f %s from run to run; from lap to lap unknown\n", d, r->sigma_run,
			unit);
	else if (isfinite(r->sigma_lap))
		printf("noise: %.*f %s from lap to lap; from run to run unknown, no set-up was "
		       "driven twice\n",
			d, r->sigma_lap, unit);
	else
		printf("noise: unknown, nothing was repeated\n");
}

static void print_term(const struct model *m, const struct response *r, size_t t, double *l)
{
	char words[WORDS_SIZE], value[32] = "-", range[80] = "", lo[32], hi[32];
	const struct estimate e = term_estimate(r, t, l);
	const bool bounded = e.known && e.has_interval;
	const int d = bounded && e.high > e.low ? words_decimals((e.high - e.low) / 2) : 3;
	if (e.known)
		answer_signed(value, sizeof value, e.value, d);
	if (bounded) {
		answer_signed(lo, sizeof lo, e.low, d);
		answer_signed(hi, sizeof hi, e.high, d);
		snprintf(range, sizeof range, "%s to %s", lo, hi);
	}
	fputs("  ", stdout);
	cmd_pad(stdout, words_term(m, &r->terms[t], words, sizeof words), 38);
	printf("%10s  ", value);
	cmd_pad(stdout, range, 22);
	const enum dispute c = words_dispute(m, (size_t)(r - m->responses), &r->terms[t]);
	printf("  %s", c == DISPUTE_KEPT ? "disputed" : words_verdict(&e));
	if (words_source_of(&e) == SOURCE_BOTH)
		printf(", %s", words_source(&e, words, sizeof words));
	if (c == DISPUTE_WIDENED)
		printf(", widened");
	putchar('\n');
}

/* Slopes that the book gives, taken off before the fit. */
static void print_known(const struct model *m, size_t k)
{
	char words[WORDS_SIZE];
	for (int c = 0; c < COV_N; c++) {
		const struct covariate_rule *rule = &m->book->covariates[c];
		const struct term t = {.kind = TERM_COVARIATE, .a = c};
		if (rule->off || !rule->known[k].has)
			continue;
		fputs("  ", stdout);
		cmd_pad(stdout, words_term(m, &t, words, sizeof words), 38);
		printf("%+10g  given by the book\n", rule->known[k].v);
	}
}

/* Nothing to say of a term, or an earlier one has the same sentence. */
static bool said_before(const struct model *m, const struct response *r, size_t term)
{
	char mine[WORDS_SIZE], other[WORDS_SIZE];
	if (r->estimable[term] || r->terms[term].kind == TERM_INTERCEPT)
		return true;
	words_untested(m, r, term, mine, sizeof mine);
	for (size_t t = 0; t < term; t++)
		if (!r->estimable[t] && r->terms[t].kind != TERM_INTERCEPT &&
			!strcmp(mine, words_untested(m, r, t, other, sizeof other)))
			return true;
	return false;
}

static const char never[] = " never moved"; /* how words_untested() ends then */

/*
 * Why a term was not tested, made safe; "" where it was or was said before. True where it
 * never moved: the words then end before saying so.
 */
static bool untested(const struct model *m, const struct response *r, size_t t, char *safe)
{
	char words[WORDS_SIZE];
	safe[0] = '\0';
	if (said_before(m, r, t))
		return false;
	cmd_safe(words_untested(m, r, t, words, sizeof words), safe, WORDS_SIZE);
	const size_t len = strlen(safe), tail = sizeof never - 1;
	if (len < tail || strcmp(safe + len - tail, never) != 0)
		return false;
	safe[len - tail] = '\0';
	return true;
}

/* What never moved in one sentence, wrapped; all else a line each. */
static void print_untested(const struct model *m, const struct response *r)
{
	static const char lead[] = "  not tested: ";
	const int indent = (int)sizeof lead - 1;
	char safe[WORDS_SIZE];
	int column = 0;
	for (size_t t = 0; t < r->n_terms; t++)
		if (!untested(m, r, t, safe) && safe[0])
			printf("%s%s\n", lead, safe);
	for (size_t t = 0; t < r->n_terms; t++) {
		if (!untested(m, r, t, safe))
			continue;
		const int width = cmd_width(safe);
		if (column && column + 2 + width > 88) {
			printf(",\n%*s", indent, "");
			column = indent;
		} else {
			fputs(column ? ", " : lead, stdout);
			column += column ? 2 : indent;
		}
		fputs(safe, stdout);
		column += width;
	}
	if (column)
		printf("%s\n", never);
}

/* An effect is over half of what car.yaml allows, often more than was driven: how much was. */
static void print_driven(const struct model *m)
{
	static const char lead[] = "driven, of the range that car.yaml allows:";
	char text[400], label[200], unit[64];
	int column = 0;
	for (size_t i = 0; i < m->n_coords; i++) {
		const struct coord *c = &m->coords[i];
		const struct adjustable *a = &m->book->car.adjustables[c->adjustable];
		const double half = effects_unit(m, i), driven = (c->hi - c->lo) * half;
		if (c->kind == COORD_DIFFERENCE || !(c->hi > c->lo))
			continue;
		snprintf(text, sizeof text, " %s %.3g of %.4g %s",
			cmd_safe(a->label, label, sizeof label), driven, 2 * half,
			cmd_safe(a->unit, unit, sizeof unit));
		const int width = cmd_width(text);
		if (column == 0) {
			printf("\n%s", lead);
			column = (int)sizeof lead - 1;
		} else {
			putchar(',');
			column++;
		}
		if (column + width > 78) {
			fputs("\n ", stdout);
			column = 1;
		}
		fputs(text, stdout);
		column += width;
	}
	if (column)
		putchar('\n');
}

static void print_response(const struct model *m, size_t k)
{
	const struct response *r = &m->responses[k];
	char words[WORDS_SIZE];
	printf("\n%s, %s", words_response(m, k, words, sizeof words), words_unit(k));
	if (!r->fitted) {
		cmd_line(": %s", r->why);
		return;
	}
	printf(": %zu readings over %zu runs\n", r->n_obs, r->n_runs);
	printf("  %-38s%10s  %-22s\n", "middle of the allowed range to its end", "effect", "95 %");
	double *l = calloc(r->n_terms, sizeof *l);
	for (size_t t = 0; l && t < r->n_terms; t++)
		if (r->estimable[t])
			print_term(m, r, t, l);
	free(l);
	print_known(m, k);
	r = model_driven(r);
	print_untested(m, r);
	fputs("  ", stdout);
	print_noise(r, k);
	if (words_lack_of_fit(r, words, sizeof words)[0])
		cmd_line("  %s", words);
}

static void effect_cell(const struct estimate *e, bool borrows)
{
	char buf[32] = "not tested";
	if (e->known) {
		answer_signed(buf, sizeof buf, e->value, 3);
		strcat(buf, !e->has_interval ? " ?" : e->low > 0 || e->high < 0 ? " *" : "  ");
		if (borrows)
			strcat(buf, words_source_of(e) == SOURCE_DRIVEN ? " " : "b");
	}
	printf("%14s", buf);
}

/* Effects by use, near the reference. */
static bool print_effects(const struct model *m, struct err *err)
{
	const struct sheet *ref = book_reference(m->book);
	struct effects e;
	char words[WORDS_SIZE];
	if (!ref || !m->responses[0].fitted)
		return true;
	if (!effects_make(&e, m, ref->values, err))
		return false;
	if (e.channel >= 0 && m->like[e.channel].fitted) {
		const char *channel = m->book->channels[e.channel];
		printf("\nset-up effects near %s, most wear saved for the time lost first (wear %s "
		       "limits)\n",
			ref->id, channel);
		printf("  %-38s%14s%14s%14s  per tenth lost\n",
			"middle of the allowed range to its end", "lap time", "wear",
			"like-for-like");
		for (size_t i = 0; i < e.n; i++) {
			const struct effect *x = &e.v[i];
			const struct term t = {.kind = TERM_LINEAR, .a = (int)x->coord};
			fputs("  ", stdout);
			cmd_pad(stdout, words_term(m, &t, words, sizeof words), 38);
			effect_cell(&x->by[RESPONSE_TIME], m->borrowing);
			effect_cell(&x->by[1 + e.channel], m->borrowing);
			effect_cell(&x->like[e.channel].delta, m->borrowing);
			if (x->clear && !x->cost_told)
				printf("  cost can't be told");
			else if (x->clear && isfinite(x->use))
				printf("  %.3f %%/lap", x->use);
			else if (x->clear)
				printf("  costs no time");
			putchar('\n');
		}
		printf("  * %s; without a mark: can't be told from noise; ?: no interval%s\n",
			m->borrowing ? "stands clear of zero" : "real",
			m->borrowing ? ";\n  b: borrowed from other books, wholly or in part" : "");
	}
	effects_free(&e);
	return true;
}

/* Where on the lap each adjustment works, of time and of the wear that limits. */
static void print_segments(const struct model *m)
{
	const struct sheet *ref = book_reference(m->book);
	char words[WORDS_SIZE], where[600];
	bool any = false;
	if (!m->segments || m->segments->n == 0 || !ref)
		return;
	const int limit = model_limiting_channel(m, ref->values);
	printf("\nwhere on the lap, near %s, what is real (laps with segment figures only)\n",
		ref->id);
	for (size_t c = 0; c < m->n_coords; c++)
		for (int k = 0; k < (limit >= 0 ? 2 : 1); k++) {
			const struct term t = {.kind = TERM_LINEAR, .a = (int)c};
			const size_t response = k ? 1 + (size_t)limit : RESPONSE_TIME;
			segments_words(m, response, c, ref->values, where, sizeof where);
			if (!strchr(where, '(')) /* nothing real: it would only be said of each */
				continue;
			any = true;
			fputs("  ", stdout);
			cmd_pad(stdout, words_term(m, &t, words, sizeof words), 38);
			cmd_line("%s: %s", words_response(m, response, words, sizeof words), where);
		}
	if (!any)
		puts("  no difference stands clear of noise");
}

static void print_exchange(const struct model *m)
{
	printf("\nexchange rate: wear saved by each second per lap given up on the same set-up\n");
	for (size_t c = 0; c < m->book->n_channels; c++) {
		const struct exchange *e = &m->exchange[c];
		char words[WORDS_SIZE];
		printf("  %-8s", m->book->channels[c]);
		if (e->method == EXCHANGE_NONE)
			printf("unknown");
		else
			printf("%s %%/lap for each s/lap", words_rate(e, 3, words, sizeof words));
		if (e->method != EXCHANGE_NONE)
			printf("%s, %s", words_rate_interval(e, 3, words, sizeof words),
				words_rate_origin(e));
		cmd_line("%s%s", e->note[0] ? "; " : "", e->note);
	}
}

static void print_remarks(const struct model *m)
{
	char words[WORDS_SIZE];
	if (m->curvature_note[0] || m->n_notes || m->n_suspects || words_tangled(m)[0])
		putchar('\n');
	if (words_tangled(m)[0])
		puts(words_tangled(m));
	if (m->curvature_note[0])
		cmd_line("%s", m->curvature_note);
	for (size_t i = 0; i < m->n_notes; i++)
		cmd_line("%s", m->notes[i]);
	for (size_t i = 0; i < m->n_suspects; i++) {
		const struct suspect *s = &m->suspects[i];
		printf("lap %zu of run %s: %s stands far off the others (%.1f; 3.5 is usual at "
		       "most): "
		       "skip it if there was a reason\n",
			s->lap + 1, m->book->runs[s->run].id,
			words_response(m, s->response, words, sizeof words), s->z);
	}
}

static int print_text(const struct model *m)
{
	struct err err;
	err_clear(&err);
	const struct book *b = m->book;
	cmd_line("%s: %zu runs, %zu laps fitted, %zu skipped", b->name ? b->name : b->id, b->n_runs,
		m->n_fitted_laps, m->n_skipped);
	if (cmd_say_empty(b, stdout)) {
		borrowed_text(m);
		return cmd_finish();
	}
	print_driven(m);
	for (size_t k = 0; k < m->n_responses; k++)
		print_response(m, k);
	print_exchange(m);
	if (!print_effects(m, &err))
		return cmd_fail(&err);
	print_segments(m);
	print_remarks(m);
	borrowed_text(m);
	return cmd_finish();
}

int fit_run(const struct cmd_args *args)
{
	struct book b;
	struct err err;
	int status = CMD_FAILED;
	err_clear(&err);
	if (!cmd_load_book(&b, args->word[0], &status))
		return status;
	struct model *m = borrowed_options(args, &b, &status) ? model_new(&b, &err) : NULL;
	if (!m && err.cls == ERR_NONE)
		;
	else if (!m)
		status = cmd_fail(&err);
	else
		status = cmd_has(args, "json") ? print_json(m) : print_text(m);
	model_free(m);
	book_free(&b);
	return status;
}
