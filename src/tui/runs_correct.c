/*
 * Correcting runs: laps, reasons to skip them, conditions, the set-up. Each correction is in the
 * run's file at once and can be undone.
 */
#include "tui/runs.h"

#include "base/fix.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static unsigned lap_corrected(struct app *app, const char *text)
{
	struct runs_page *s = runs_page_of(app);
	struct run *r = &s->draft;
	struct lap l, *old = &r->laps[s->lap];
	struct err err;
	char line[400];
	size_t n = app->book.n_channels;
	enum entry_mode mode = entry_mode_of(r);
	err_clear(&err);
	if (!entry_parse_lap(&l, text, n, mode, entry_decimals_of(r, n), &err)) {
		field_keep(app);
		return app_warn(app, "%s", err.text);
	}
	for (size_t c = 0; c < n; c++) { /* what the line does not show stays */
		if (mode == ENTRY_WORN) {
			l.has_wear[c] = old->has_wear[c];
			l.wear[c] = old->wear[c];
		} else {
			l.has_worn[c] = old->has_worn[c];
			l.worn[c] = old->worn[c];
		}
	}
	l.n_segments = old->n_segments;
	l.segments = old->segments;
	free(old->skip);
	*old = l;
	return runs_save_change(app, runs_lap_words(app, r, (size_t)s->lap, line, sizeof line));
}

/* The run under the cursor as draft, with a lap chosen; false: said why. */
static bool take_lap(struct app *app, unsigned *flags)
{
	struct runs_page *s = runs_page_of(app);
	const struct run *r = runs_current(app);
	if (!r || r->n_laps == 0 || !s->in_laps) {
		*flags = app_say(app, r ? "Enter shows the laps of the run first"
					: "no run yet: n logs "
					  "one");
		return false;
	}
	s->lap = list_move(s->lap, (int)r->n_laps, 1, MOVE_LEFT);
	*flags = UI_NONE;
	if (runs_draft_of(app, r))
		return true;
	*flags = app_warn(app, "out of memory");
	return false;
}

unsigned act_open_run(struct app *app)
{
	struct runs_page *s = runs_page_of(app);
	char text[ENTRY_SIZE];
	unsigned flags;
	if (!s->in_laps) {
		s->in_laps = runs_current(app) != NULL;
		s->lap = 0;
		return s->in_laps ? UI_BODY : app_say(app, "no run yet: n logs one");
	}
	if (!take_lap(app, &flags))
		return flags;
	entry_print_lap(&s->draft.laps[s->lap], app->book.n_channels, entry_mode_of(&s->draft),
		text, sizeof text);
	runs_say_form(app);
	return field_open(app, lap_corrected, text, "%s lap %d", s->draft.id, s->lap + 1);
}

static unsigned reason_typed(struct app *app, const char *text)
{
	struct runs_page *s = runs_page_of(app);
	struct lap *l = &s->draft.laps[s->lap];
	char *reason = runs_is_blank(text) ? NULL : text_dup(text, strlen(text));
	char said[80];
	if (!reason && !runs_is_blank(text))
		return app_warn(app, "out of memory");
	free(l->skip);
	l->skip = reason;
	snprintf(said, sizeof said, reason ? "lap %d is kept and does not count" : "lap %d counts",
		s->lap + 1);
	return runs_save_change(app, said);
}

unsigned act_skip_lap(struct app *app)
{
	struct runs_page *s = runs_page_of(app);
	unsigned flags;
	if (!take_lap(app, &flags))
		return flags;
	const char *reason = s->draft.laps[s->lap].skip;
	return field_open(app, reason_typed, reason ? reason : "",
		"Why lap %d does not count (empty: it counts)", s->lap + 1);
}

static unsigned drop_answered(struct app *app, int choice)
{
	struct runs_page *s = runs_page_of(app);
	struct run *r = &s->draft;
	char said[120];
	if (choice != 1)
		return UI_ALL;
	free(r->laps[s->lap].skip);
	free(r->laps[s->lap].segments);
	memmove(r->laps + s->lap, r->laps + s->lap + 1,
		(r->n_laps - (size_t)s->lap - 1) * sizeof *r->laps);
	r->n_laps--;
	snprintf(said, sizeof said, "lap %d is gone from %s.yaml", s->lap + 1, r->id);
	return runs_save_change(app, said);
}

static unsigned drop_lap(struct app *app)
{
	static const struct choice choices[] = {
		{'n', "keep the lap; x can leave it out of the fit with a reason"},
		{'d', "drop the lap from the file; u brings it back"}};
	struct runs_page *s = runs_page_of(app);
	char line[400];
	unsigned flags;
	if (!take_lap(app, &flags))
		return flags;
	return question_open(app, drop_answered, choices, 2,
		runs_lap_words(app, &s->draft, (size_t)s->lap, line, sizeof line),
		"Drop lap %d of %s?", s->lap + 1, s->draft.id);
}

static unsigned run_drop_answered(struct app *app, int choice)
{
	return choice == 1 ? runs_drop(app) : UI_ALL;
}

static unsigned drop_run(struct app *app)
{
	static const struct choice choices[] = {
		{'n', "keep the run"}, {'d', "drop the run; u brings it back"}};
	const struct run *r = runs_current(app);
	char body[ID_SIZE * 2 + 400];
	if (!r)
		return app_say(app, "no run yet: n logs one");
	snprintf(body, sizeof body,
		"Its laps (%zu, %zu of them counting) go out of every figure of the book.\n"
		"The file is kept aside as runs/%s.dropped-N, which no program reads.\n"
		"A run of the plan that %s ticked off stays so:\n"
		"x on the Plan page names the run that was driven for it.",
		r->n_laps, run_fitted_laps(r), r->id, r->id);
	return question_open(app, run_drop_answered, choices, 2, body, "Drop the whole run %s%s%s?",
		r->id, r->date[0] ? " of " : "", r->date);
}

/* The lap under the cursor, or in the log of runs the run. */
unsigned act_drop(struct app *app)
{
	return runs_page_of(app)->in_laps ? drop_lap(app) : drop_run(app);
}

static unsigned conditions_corrected(struct app *app, const char *text)
{
	unsigned flags;
	return runs_take_conditions(app, text, &flags) ? runs_save_change(app, "conditions saved")
						       : flags;
}

unsigned act_conditions(struct app *app)
{
	const struct run *r = runs_current(app);
	char text[ENTRY_SIZE];
	if (!r)
		return app_say(app, "no run yet: n logs one");
	if (!runs_draft_of(app, r))
		return app_warn(app, "out of memory");
	entry_print_conditions(r, app->book.n_channels, text, sizeof text);
	return field_open(app, conditions_corrected, text, "%s", r->id);
}

/* The sheet under work as it stands here, then all sheets as their files have them. */
static unsigned setup_picked(struct app *app, int item)
{
	struct run *r = &runs_page_of(app)->draft;
	const struct book *b = &app->book;
	char said[ID_SIZE * 2 + 80];
	if (item < 0 || (size_t)item > b->n_sheets)
		return UI_ALL;
	const struct sheet *from = item ? &b->sheets[item - 1] : app_sheet(app);
	size_t n = b->car.n_adjustables;
	if (strcmp(r->sheet, from->id) == 0 &&
		memcmp(r->values, from->values, n * sizeof *r->values) == 0)
		return app_say(app, "that is what %s says already", r->id);
	memcpy(r->values, from->values, n * sizeof *r->values);
	snprintf(r->sheet, sizeof r->sheet, "%s", from->id);
	snprintf(said, sizeof said, "%s was driven on %s", r->id, from->id);
	return runs_save_change(app, said);
}

unsigned act_run_setup(struct app *app)
{
	const struct book *b = &app->book;
	const struct run *r = runs_current(app);
	char title[ID_SIZE + 40];
	struct buf items;
	if (!r)
		return app_say(app, "no run yet: n logs one");
	if (!runs_draft_of(app, r))
		return app_warn(app, "out of memory");
	buf_init(&items);
	buf_addf(&items, "the sheet as it stands here: %s, %zu %s against %s", app_sheet(app)->id,
		app->n_changes, app->n_changes == 1 ? "change" : "changes", b->reference);
	for (size_t i = 0; i < b->n_sheets; i++)
		buf_addf(&items, "\n%s as its file has it", b->sheets[i].id);
	snprintf(title, sizeof title, "%s was driven on", r->id);
	unsigned flags = items.failed ? app_warn(app, "out of memory")
				      : list_open(app, setup_picked, items.data, 0, title);
	buf_free(&items);
	return flags;
}

/* "21.3 23.9", a figure for each channel; empty: none. */
static unsigned total_typed(struct app *app, const char *text)
{
	struct run *r = &runs_page_of(app)->draft;
	size_t n = app->book.n_channels, got = 0;
	double v[CHANNELS_MAX];
	while (!runs_is_blank(text)) {
		text += strspn(text, " \t/");
		size_t len = strcspn(text, " \t/");
		if (got == n || num_parse(text, len, &v[got]) != NUM_OK || v[got] < 0 ||
			v[got] > 100) {
			field_keep(app);
			return app_warn(app,
				"%zu figures of %% with points are wanted, 0 to 100 each; or "
				"none",
				n);
		}
		got++;
		text += len;
	}
	if (got != 0 && got != n) {
		field_keep(app);
		return app_warn(app, "%zu figures are wanted, one for each channel; or none", n);
	}
	for (size_t c = 0; c < n; c++) {
		r->has_wear_total[c] = got > 0;
		r->wear_total[c] = got ? v[c] : 0;
	}
	return runs_save_change(
		app, got ? "wear of the whole run saved" : "wear of the whole run taken away");
}

unsigned act_run_wear(struct app *app)
{
	const struct run *r = runs_current(app);
	char text[CHANNELS_MAX * 42] = "", one[40];
	if (!r)
		return app_say(app, "no run yet: n logs one");
	if (!runs_draft_of(app, r))
		return app_warn(app, "out of memory");
	for (size_t c = 0; c < app->book.n_channels && r->has_wear_total[c]; c++) {
		num_print(r->wear_total[c], one, sizeof one);
		strcat(text, c ? " " : "");
		strcat(text, one);
	}
	return field_open(app, total_typed, text, "%s, %% of tread the whole run took", r->id);
}
