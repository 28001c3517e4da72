/*
 * Walking along the frontier, and the bounds it keeps: the command line's --max-changes, --minutes,
 * --hold-share and --hold-aero.
 */
#include "tui/sheet.h"

#include "model/words.h"
#include "tui/fmt.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* "-0.4 (-1.3 to +0.5)": a figure without its interval would look surer than it is. */
static const char *with_interval(const struct estimate *e, char *buf, size_t size)
{
	char value[FMT_SIZE], range[FMT_SIZE];
	const int d = fmt_estimate_decimals(e, 2);
	if (!e->known)
		snprintf(buf, size, "not known");
	else if (e->has_interval)
		snprintf(buf, size, "%s (%s)", fmt_signed(e->value, d, value),
			fmt_interval(e, d, range));
	else
		snprintf(buf, size, "%s (no interval)", fmt_signed(e->value, d, value));
	return buf;
}

/* In figures, for screens that have no room for the picture. */
static unsigned say_point(struct app *app, const struct sheet_page *s)
{
	const struct frontier_point *p = &s->frontier->points[s->point];
	const fix *against = app->against.values;
	char time[80], wear[80], like[120] = "", text[80], source[32];
	struct estimate t = model_delta(app->model, RESPONSE_TIME, p->values, against);
	struct estimate w = model_delta(app->model, 1 + s->channel, p->values, against);
	struct like_delta l = model_like(app->model, s->channel, p->values, against);
	if (l.bound)
		snprintf(
			like, sizeof like, ", at equal pace can't tell: the rate is a lower bound");
	else if (l.delta.known)
		snprintf(like, sizeof like, ", at equal pace %s",
			with_interval(&l.delta, text, sizeof text));
	words_source(&t, source, sizeof source);
	char from[2 * ID_SIZE + 40] =
		","; /* changes count from the sheet, figures from the reference */
	if (strcmp(app->saved.id, app->book.reference) != 0)
		snprintf(from, sizeof from, " from %s; against %s", app->saved.id,
			app->book.reference);
	return app_say(app, "%d of %zu: %zu change%s%s lap %s%s%s, %s %s%s; t takes it",
		s->point + 1, s->frontier->n, p->changes, p->changes == 1 ? "" : "s", from,
		with_interval(&t, time, sizeof time), source[0] ? " " : "", source,
		app->book.channels[s->channel], with_interval(&w, wear, sizeof wear), like);
}

static unsigned walk(struct app *app, int by)
{
	struct sheet_page *s = sheet_page_of(app);
	sheet_update_frontier(app, s);
	if (!s->frontier || s->frontier->n == 0 || !app->against.values)
		return app_say(app, "no frontier: %s",
			s->frontier_why[0] ? s->frontier_why : "no move can be told by itself");
	int n = (int)s->frontier->n;
	int to = s->point < 0 ? (by > 0 ? 0 : n - 1) : s->point + by;
	s->point = to < 0 ? 0 : to >= n ? n - 1 : to;
	return UI_BODY | say_point(app, s);
}

unsigned act_frontier_next(struct app *app)
{
	return walk(app, 1);
}

unsigned act_frontier_back(struct app *app)
{
	return walk(app, -1);
}

/* --- bounds ------------------------------------------------------------------ */

static bool take_bound(
	struct frontier_options *o, const char *key, const char *value, struct err *err)
{
	const struct {
		const char *key;
		bool *has;
		double *v;
		double most;
	} kinds[] = {
		{"max-changes", &o->has_max_changes, NULL, 200},
		{"minutes", &o->has_max_minutes, &o->max_minutes, 1e6},
		{"hold-share", &o->has_hold_share, &o->hold_share, 100},
		{"hold-aero", &o->has_hold_aero, &o->hold_aero, 100},
	};
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
		double v;
		if (strcmp(kinds[i].key, key) != 0)
			continue;
		if (num_parse(value, strlen(value), &v) != NUM_OK || v < 0 || v > kinds[i].most)
			return err_input(err, "%s=%.40s; a number from 0 to %g is allowed", key,
				value, kinds[i].most);
		if (!kinds[i].v && v != (double)(size_t)v)
			return err_input(err, "%s=%.40s is not a whole number", key, value);
		*kinds[i].has = true;
		if (kinds[i].v)
			*kinds[i].v = v;
		else
			o->max_changes = (size_t)v;
		return true;
	}
	return err_input(err,
		"'%.40s' is not known here; allowed: max-changes, minutes, hold-share, hold-aero",
		key);
}

/* Moves of what only borrowed books tell, which must be asked for. */
static bool take_borrowed(struct frontier_options *o, const char *value, struct err *err)
{
	o->borrowed = strcmp(value, "yes") == 0;
	return o->borrowed || strcmp(value, "no") == 0 ||
	       err_input(err, "borrowed=%.40s; yes or no is allowed", value);
}

static bool take_bounds(struct frontier_options *o, const char *text, struct err *err)
{
	char line[400], *rest = NULL;
	snprintf(line, sizeof line, "%s", text);
	for (char *word = strtok_r(line, " \t", &rest); word; word = strtok_r(NULL, " \t", &rest)) {
		char *is = strchr(word, '=');
		if (!is)
			return err_input(
				err, "'%.40s' has no value; write such as max-changes=2", word);
		*is = '\0';
		const bool borrowed = strcmp(word, "borrowed") == 0;
		if (is[1] && !(borrowed ? take_borrowed(o, is + 1, err)
					: take_bound(o, word, is + 1, err)))
			return false;
	}
	return true;
}

static unsigned bounds_typed(struct app *app, const char *text)
{
	struct sheet_page *s = sheet_page_of(app);
	struct frontier_options o = {.lenient = false};
	struct err err;
	err_clear(&err);
	if (!take_bounds(&o, text, &err)) {
		field_keep(app);
		return app_warn(app, "%s", err.text);
	}
	s->bounds = o;
	s->frontier_stale = true;
	sheet_update_frontier(app, s);
	if (!s->frontier)
		return UI_BODY | app_warn(app, "no frontier: %s", s->frontier_why);
	return UI_BODY | app_say(app, "%zu point%s on the frontier; n and b walk along it",
				 s->frontier->n, s->frontier->n == 1 ? "" : "s");
}

unsigned act_frontier_bounds(struct app *app)
{
	const struct frontier_options *o = &sheet_page_of(app)->bounds;
	char text[240], n[4][40] = {"", "", "", ""};
	const bool borrows = app->model && app->model->borrowing;
	if (o->has_max_changes)
		snprintf(n[0], sizeof n[0], "%zu", o->max_changes);
	if (o->has_max_minutes)
		num_print(o->max_minutes, n[1], sizeof n[1]);
	if (o->has_hold_share)
		num_print(o->hold_share, n[2], sizeof n[2]);
	if (o->has_hold_aero)
		num_print(o->hold_aero, n[3], sizeof n[3]);
	snprintf(text, sizeof text, "max-changes=%s minutes=%s hold-share=%s hold-aero=%s%s", n[0],
		n[1], n[2], n[3],
		!borrows      ? ""
		: o->borrowed ? " borrowed=yes"
			      : " borrowed=no");
	app_say(app,
		"at most so many changes and minutes; load-transfer and aero share within so "
		"many points of the reference's; empty: no bound; Tab: next%s",
		borrows ? "; borrowed=yes: move what only other books tell, too" : "");
	return field_open(app, bounds_typed, text, "Frontier");
}
