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

static bool take_factors(struct plan_options *o, struct plan_line *line, char *v, struct err *err)
{
	for (char *id = strtok_r(v, ",", &v); id; id = strtok_r(NULL, ",", &v)) {
		if (!text_is_id(id, strlen(id)))
			return err_input(err, "factors=%.60s; allowed: ids divided by commas", id);
		if (o->n_factors == PLAN_FACTORS_MAX)
			return err_input(
				err, "too many factors; at most %d are read", PLAN_FACTORS_MAX);
		line->factors[o->n_factors++] = id;
	}
	o->factors = line->factors;
	return true;
}

static bool take_choice(
	const char *key, const char *v, const char *no, const char *yes, bool *out, struct err *err)
{
	*out = strcmp(v, yes) == 0;
	return *out || strcmp(v, no) == 0 ||
	       err_input(err, "%s=%.60s; allowed: %s or %s", key, v, no, yes);
}

static bool take(
	struct plan_options *o, struct plan_line *line, const char *key, char *v, struct err *err)
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
	return err_input(err,
		"'%.60s' is not known here; allowed: laps, minutes, order, rng, fold-over, "
		"factors",
		key);
}

bool plan_parse_line(
	struct plan_options *o, struct plan_line *line, const char *text, struct err *err)
{
	char *rest = NULL;
	if (strlen(text) >= sizeof line->text)
		return err_input(err, "the line is too long");
	snprintf(line->text, sizeof line->text, "%s", text);
	o->lap_budget = 0;
	o->rng = 1;
	o->has_minutes = o->quick = o->fold_over = false;
	o->n_factors = 0;
	o->factors = NULL;
	for (char *word = strtok_r(line->text, " \t", &rest); word;
		word = strtok_r(NULL, " \t", &rest)) {
		char *is = strchr(word, '=');
		if (!is)
			return err_input(err, "'%.60s' has no value; write such as laps=80", word);
		*is = '\0';
		if (is[1] && !take(o, line, word, is + 1, err))
			return false;
	}
	return true;
}
