#include "plan/plan_line.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static bool take_number(const char *key, const char *v, double high, double *out, struct err *err)
{
	enum num_result r = num_parse(v, strlen(v), out);
	if (r == NUM_OK && *out >= 0 && *out <= high)
		return true;
	return err_input(err, "%s=%.60s; a number from 0 to %g is allowed", key, v, high);
}

static bool take_whole(const char *key, const char *v, double high, double *out, struct err *err)
{
	if (!take_number(key, v, high, out, err))
		return false;
	return *out == floor(*out) || err_input(err, "%s=%.60s is not a whole number", key, v);
}

/* "-0.4:0.4" of a factor. */
static bool take_levels(struct plan_options *o, struct plan_line *line, const char *id,
	const char *v, struct err *err)
{
	struct plan_range *r = &line->ranges[o->n_ranges];
	const char *to = strchr(v, ':');
	if (!to || fix_parse(v, (size_t)(to - v), &r->low) != NUM_OK ||
		fix_parse(to + 1, strlen(to + 1), &r->high) != NUM_OK)
		return err_input(err,
			"%s=%.40s; allowed: LOW:HIGH, values of an adjustable, moves from the base "
			"of a pair, such as camber=-0.4:0.4",
			id, v);
	snprintf(r->id, sizeof r->id, "%s", id);
	o->n_ranges++;
	return true;
}

static bool take_factors(struct plan_options *o, struct plan_line *line, char *v, struct err *err)
{
	for (char *id = strtok_r(v, ",", &v); id; id = strtok_r(NULL, ",", &v)) {
		char *is = strchr(id, '=');
		if (is)
			*is = '\0';
		if (!text_is_id(id, strlen(id)))
			return err_input(err,
				"factors=%.60s; allowed: ids divided by commas, each with its "
				"levels or without: camber=-0.4:0.4,toe",
				id);
		if (o->n_factors == PLAN_FACTORS_MAX)
			return err_input(
				err, "too many factors; at most %d are read", PLAN_FACTORS_MAX);
		if (is && !take_levels(o, line, id, is + 1, err))
			return false;
		line->factors[o->n_factors++] = id;
	}
	o->factors = line->factors;
	o->ranges = line->ranges;
	return true;
}

static int find_response(const struct book *b, const char *text)
{
	char id[32];
	for (size_t y = 0; y < 1 + b->n_channels; y++)
		if (strcmp(book_response_id(b, y, id, sizeof id), text) == 0)
			return (int)y;
	return -1;
}

/* "0.08", or "time=0.08,wear-front=0.03". */
static bool take_scatter(
	const struct book *b, struct plan_options *o, const char *key, char *v, struct err *err)
{
	for (char *one = strtok_r(v, ",", &v); one; one = strtok_r(NULL, ",", &v)) {
		char *is = strchr(one, '=');
		double n;
		if (is)
			*is = '\0';
		const int y = is ? find_response(b, one) : RESPONSE_TIME;
		const char *text = is ? is + 1 : one;
		if (y < 0 || num_parse(text, strlen(text), &n) != NUM_OK || n < 0)
			return err_input(err,
				"%s=%.40s; allowed: seconds of lap time, or RESPONSE=NUMBER with "
				"commas (time, wear-...)",
				key, one);
		o->noise[y].has = true;
		*(strcmp(key, "sigma-lap") == 0 ? &o->noise[y].lap : &o->noise[y].run) = n;
	}
	return true;
}

static bool take_choice(
	const char *key, const char *v, const char *no, const char *yes, bool *out, struct err *err)
{
	*out = strcmp(v, yes) == 0;
	return *out || strcmp(v, no) == 0 ||
	       err_input(err, "%s=%.60s; allowed: %s or %s", key, v, no, yes);
}

static bool take(const struct book *b, struct plan_options *o, struct plan_line *line,
	const char *key, char *v, struct err *err)
{
	double n;
	if (strcmp(key, "laps") == 0) {
		bool ok = take_whole(key, v, 100000, &n, err);
		o->lap_budget = ok ? (size_t)n : 0;
		return ok;
	}
	if (strcmp(key, "rng") == 0) {
		bool ok = take_whole(key, v, 2147483647, &n, err);
		o->rng = ok ? (unsigned long)n : 1;
		return ok;
	}
	if (strcmp(key, "minutes") == 0) {
		o->has_minutes = take_number(key, v, 1e6, &o->minutes, err);
		return o->has_minutes;
	}
	if (strcmp(key, "order") == 0)
		return take_choice(key, v, "random", "quick", &o->quick, err);
	if (strcmp(key, "fold-over") == 0)
		return take_choice(key, v, "no", "yes", &o->fold_over, err);
	if (strcmp(key, "factors") == 0)
		return take_factors(o, line, v, err);
	if (strcmp(key, "sigma-run") == 0 || strcmp(key, "sigma-lap") == 0)
		return take_scatter(b, o, key, v, err);
	return err_input(err,
		"'%.60s' is not known here; allowed: laps, minutes, sigma-run, sigma-lap, order, "
		"rng, fold-over, factors",
		key);
}

const char *plan_factor_ids(const struct car *c, char *buf, size_t size)
{
	size_t len = 0;
	buf[0] = '\0';
	for (size_t a = 0; a < c->n_adjustables && len < size; a++) {
		const int pair = c->adjustables[a].pair;
		if (pair >= 0 && car_partner(c, (int)a) < (int)a)
			continue;
		len += (size_t)snprintf(buf + len, size - len, "%s%s", len ? ", " : "",
			pair >= 0 ? c->pairs[pair].id : c->adjustables[a].id);
	}
	return buf;
}

bool plan_parse_line(const struct book *b, struct plan_options *o, struct plan_line *line,
	const char *text, struct err *err)
{
	char *rest = NULL;
	if (strlen(text) >= sizeof line->text)
		return err_input(err, "the line is too long");
	snprintf(line->text, sizeof line->text, "%s", text);
	o->lap_budget = 0;
	o->rng = 1;
	o->has_minutes = o->quick = o->fold_over = false;
	o->n_factors = o->n_ranges = 0;
	o->factors = NULL;
	o->ranges = NULL;
	for (char *word = strtok_r(line->text, " \t", &rest); word;
		word = strtok_r(NULL, " \t", &rest)) {
		char *is = strchr(word, '=');
		if (!is)
			return err_input(err, "'%.30s' has no value; write such as laps=80", word);
		*is = '\0';
		if (is[1] && !take(b, o, line, word, is + 1, err))
			return false;
	}
	return true;
}
