#include "stint/stint.h"
#include "stint/figures.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const stint_kind_names[STINT_PLANS] = {
	"reference", "sheet", "reference-lifting", "reference-stopping"};

struct making {
	const struct model *m;
	const struct stint_figures *f;
	const char *name[2]; /* of FIG_REFERENCE and FIG_SHEET */
	struct stint *s;
	bool drawn; /* intervals were asked for */
};

/* Is pace lost to wear of which there is no reading? */
static bool loss_untold(const struct making *k)
{
	const struct stint_rules *r = &k->f->rules;
	for (size_t c = 0; c < r->n_channels; c++)
		if (k->f->response[1 + c].fitted)
			return false;
	return r->pace_loss != 0 || (r->has_cliff && r->cliff != 0);
}

/* Can a sheet's own laps be told? Where not, why. */
static bool side_known(const struct making *k, size_t which, char *why, size_t size)
{
	if (loss_untold(k)) {
		snprintf(why, size,
			"the stint loses pace with wear, and the runs have no wear readings");
		return false;
	}
	for (size_t r = 0; r < k->m->n_responses; r++) {
		const struct figures *g = &k->f->response[r];
		char id[32];
		if (!g->fitted || g->known[which])
			continue;
		snprintf(why, size, "%s of %.60s is not tested: the runs cannot tell it",
			r == RESPONSE_TIME ? "lap time"
					   : book_response_id(k->m->book, r, id, sizeof id),
			k->name[which]);
		text_mend(why);
		return false;
	}
	return true;
}

static size_t first_beyond(const struct stint_lap *lap, size_t laps)
{
	for (size_t i = 0; i < laps; i++)
		if (lap[i].beyond)
			return i + 1;
	return 0;
}

static struct stint_pace pace_of(const struct making *k, size_t which)
{
	double v[RESPONSES_MAX][FIGURES];
	for (size_t r = 0; r < RESPONSES_MAX; r++)
		memcpy(v[r], k->f->response[r].value, sizeof v[r]);
	return figures_pace(k->f, v, which);
}

/* Lay out a row's laps; false: out of memory. */
static bool lay_row(struct making *k, enum stint_kind kind, const struct stint_pace *p)
{
	struct stint *s = k->s;
	struct stint_row *row = &s->rows[kind];
	struct stint_lap *lap = calloc(s->laps, sizeof *lap);
	if (!lap)
		return false;
	row->total = stint_project_stops(&s->rules, p, s->stop_after, row->stops, lap);
	row->known = true;
	row->limit_lap = first_beyond(lap, s->laps);
	s->curve[kind] = lap;
	return true;
}

static bool lay_sides(struct making *k)
{
	static const enum stint_kind kind[] = {STINT_REFERENCE, STINT_SHEET};
	for (size_t i = 0; i < 2; i++) {
		struct stint_row *row = &k->s->rows[kind[i]];
		if (!side_known(k, i, row->why, sizeof row->why))
			continue;
		struct stint_pace p = pace_of(k, i);
		if (!lay_row(k, kind[i], &p))
			return false;
	}
	return true;
}

static bool lay_lifting(struct making *k)
{
	struct stint *s = k->s;
	struct stint_row *row = &s->rows[STINT_LIFTING];
	double kappa[CHANNELS_MAX] = {0};
	int c = s->limiting;
	if (!s->rows[STINT_REFERENCE].known || !s->rows[STINT_SHEET].known) {
		snprintf(row->why, sizeof row->why, "%s",
			s->rows[STINT_REFERENCE].known ? s->rows[STINT_SHEET].why
						       : s->rows[STINT_REFERENCE].why);
		return true;
	}
	if (c < 0 || !k->f->kappa[c].known) {
		snprintf(row->why, sizeof row->why,
			"no exchange rate%s%s: what lifting saves is not "
			"known",
			c < 0 ? "" : " for wear ", c < 0 ? "" : k->m->book->channels[c]);
		return true;
	}
	for (size_t i = 0; i < CHANNELS_MAX; i++)
		kappa[i] = k->f->kappa[i].known ? k->f->kappa[i].value : 0;
	struct stint_pace p = pace_of(k, FIG_REFERENCE), sheet = pace_of(k, FIG_SHEET);
	row->lift = fmax(0, (p.wear[c] - sheet.wear[c]) / kappa[c]);
	p = figures_lifted(k->f, p, kappa, row->lift);
	return lay_row(k, STINT_LIFTING, &p);
}

static bool lay_stopping(struct making *k)
{
	struct stint *s = k->s;
	struct stint_row *row = &s->rows[STINT_STOPPING];
	if (!s->rows[STINT_REFERENCE].known) {
		snprintf(row->why, sizeof row->why, "%s", s->rows[STINT_REFERENCE].why);
		return true;
	}
	struct stint_pace p = pace_of(k, FIG_REFERENCE);
	s->stop_after = calloc(s->laps, sizeof *s->stop_after);
	if (!s->stop_after)
		return false;
	long stops = stint_plan_stops(&s->rules, &p, s->stop_after);
	if (stops == -2)
		return false;
	if (stops == -1) {
		snprintf(row->why, sizeof row->why, "one lap is already past the wear limit");
		return true;
	}
	row->stops = (size_t)stops;
	if (stops > 0 && !s->rules.has_pit_loss) {
		snprintf(row->why, sizeof row->why,
			"%ld stop%s needed, and the book's stint has no "
			"pit-loss (seconds that a stop costs)",
			stops, stops > 1 ? "s are" : " is");
		return true;
	}
	return lay_row(k, STINT_STOPPING, &p);
}

static void tell_deltas(struct stint *s)
{
	const struct stint_row *ref = &s->rows[STINT_REFERENCE];
	for (size_t i = 0; i < STINT_PLANS; i++)
		if (s->rows[i].known && ref->known)
			s->rows[i].delta = s->rows[i].total - ref->total;
	struct stint_row *r = &s->rows[STINT_REFERENCE];
	r->has_interval = r->known; /* against itself: nought, for certain */
	if (s->rows[STINT_SHEET].known && ref->known)
		s->crossover_lap =
			stint_crossover(s->curve[STINT_SHEET], s->curve[STINT_REFERENCE], s->laps);
	s->has_verdict = s->rows[STINT_SHEET].known && s->rows[STINT_LIFTING].known;
	if (s->has_verdict)
		s->verdict = s->rows[STINT_SHEET].total - s->rows[STINT_LIFTING].total;
}

/* " (1.2 to 5.6)", or why there is none. `turn` where the figure is told the other way round. */
static const char *range(const struct making *k, bool has, double low, double high, bool turn,
	char *buf, size_t size)
{
	if (!has)
		snprintf(buf, size, "%s",
			k->drawn ? " (no interval: no set-up was driven twice)" : "");
	else if (low < 0 && high > 0) /* signs only where both ways are possible */
		snprintf(buf, size, " (%+.1f to %+.1f)", turn ? -high : low, turn ? -low : high);
	else
		snprintf(buf, size, " (%.1f to %.1f)", turn ? -high : low, turn ? -low : high);
	return buf;
}

static void say_sheet_alone(const struct making *k, const char *after)
{
	struct stint *s = k->s;
	const struct stint_row *r = &s->rows[STINT_SHEET];
	char span[80];
	bool less = r->delta < 0, open = r->has_interval && r->low < 0 && r->high > 0;
	range(k, r->has_interval, r->low, r->high, less && !open, span, sizeof span);
	if (open)
		snprintf(s->sentence, sizeof s->sentence,
			"over %zu laps it can't be told which is quicker, %.60s or %.60s: %+.1f "
			"s%s%s",
			s->laps, k->name[1], k->name[0], r->delta, span, after);
	else
		snprintf(s->sentence, sizeof s->sentence,
			"over %zu laps %.60s costs %.1f s %s than %.60s%s%s", s->laps, k->name[1],
			fabs(r->delta), less ? "less" : "more", k->name[0], span, after);
}

static bool rate_is_bound(const struct making *k)
{
	return k->s->limiting >= 0 && k->m->exchange[k->s->limiting].method == EXCHANGE_WITHIN_RUN;
}

static void say_verdict(const struct making *k)
{
	struct stint *s = k->s;
	double lift = s->rows[STINT_LIFTING].lift;
	char span[80];
	bool lifting_wins = s->verdict > 0;
	bool open = s->has_verdict_interval && s->verdict_low < 0 && s->verdict_high > 0;
	range(k, s->has_verdict_interval, s->verdict_low, s->verdict_high, !lifting_wins && !open,
		span, sizeof span);
	if (!lifting_wins && !open && rate_is_bound(k)) /* a larger rate makes lifting cheaper */
		snprintf(s->sentence, sizeof s->sentence,
			"over %zu laps it can't be told which costs less, %.60s or lifting on "
			"%.60s: the exchange rate is only known to be at least so large; log "
			"effort",
			s->laps, k->name[1], k->name[0]);
	else if (open)
		snprintf(s->sentence, sizeof s->sentence,
			"over %zu laps it can't be told which costs less, %.60s or lifting %.2f s "
			"a lap on "
			"%.60s: %+.1f s%s",
			s->laps, k->name[1], lift, k->name[0], s->verdict, span);
	else if (lifting_wins)
		snprintf(s->sentence, sizeof s->sentence,
			"over %zu laps, lifting %.2f s a lap on %.60s costs %.1f s less than "
			"%.60s%s",
			s->laps, lift, k->name[0], s->verdict, k->name[1], span);
	else
		snprintf(s->sentence, sizeof s->sentence,
			"over %zu laps, %.60s costs %.1f s less than lifting %.2f s a lap on "
			"%.60s%s",
			s->laps, k->name[1], -s->verdict, lift, k->name[0], span);
}

static void say(const struct making *k, bool same)
{
	struct stint *s = k->s;
	const struct stint_row *sheet = &s->rows[STINT_SHEET];
	if (same)
		snprintf(s->sentence, sizeof s->sentence, "%.60s is the reference itself",
			k->name[1]);
	else if (!s->rows[STINT_REFERENCE].known || !sheet->known)
		snprintf(s->sentence, sizeof s->sentence, "can't tell: %s",
			sheet->known ? s->rows[STINT_REFERENCE].why : sheet->why);
	else if (!s->has_verdict)
		say_sheet_alone(k, "; what lifting saves is not known");
	else if (s->rows[STINT_LIFTING].lift <= 0)
		say_sheet_alone(k, "; its tyres wear no less, there is nothing to lift for");
	else
		say_verdict(k);
	text_mend(s->sentence);
}

static void add_note(struct stint *s, const char *text)
{
	if (s->n_notes == sizeof s->notes / sizeof s->notes[0])
		return;
	snprintf(s->notes[s->n_notes], sizeof s->notes[0], "%s", text);
	text_mend(s->notes[s->n_notes++]);
}

/* The lap that ends past the limit at a wear of w on the first lap and `age` more on each; 0: none
 * up to `most`. */
static size_t limit_lap(const struct making *k, double w, double age, size_t most)
{
	const struct stint_rules *r = &k->f->rules;
	double worn = 0;
	for (size_t n = 1; n <= most; n++) {
		worn += fmax(0, w + age * ((double)n - 1 - r->age_condition));
		if (worn > r->wear_limit)
			return n;
	}
	return 0;
}

/* Where the interval of a sheet's wear has the limit both inside and behind the stint. */
static void note_limit(const struct making *k, size_t which, const fix *values)
{
	struct stint *s = k->s;
	const int c = model_limiting_channel(k->m, values);
	char text[200], from[32] = "not at all";
	if (c < 0 || !k->f->response[1 + c].fitted || s->rows[which].known == false)
		return;
	const struct estimate e = model_value(k->m, 1 + (size_t)c, values);
	const double age = k->f->response[1 + c].value[FIG_AGE];
	if (!e.known || !e.has_interval)
		return;
	const size_t soon = limit_lap(k, e.high, age, STINT_LAPS_MAX);
	const size_t late = limit_lap(k, fmax(e.low, 0), age, STINT_LAPS_MAX);
	if (!soon || soon > s->laps || (late && late <= s->laps))
		return;
	if (late)
		snprintf(from, sizeof from, "lap %zu", late);
	snprintf(text, sizeof text,
		"whether %.50s passes the limit can't be told: the interval of its wear %s has it "
		"on "
		"lap %zu or %s",
		k->name[which], k->m->book->channels[c], soon, from);
	add_note(s, text);
}

static void take_notes(const struct making *k, const fix *sheet, const fix *reference)
{
	struct stint *s = k->s;
	char text[200];
	for (size_t i = 0; i < k->f->n_notes; i++)
		add_note(s, k->f->notes[i]);
	note_limit(k, FIG_REFERENCE, reference);
	if (!k->f->same)
		note_limit(k, FIG_SHEET, sheet);
	if (model_extrapolated(k->m, sheet, NULL) || model_extrapolated(k->m, reference, NULL))
		add_note(s, "extrapolated: outside what was driven");
	if (s->limiting < 0 || !s->rows[STINT_LIFTING].known)
		return;
	if (k->m->exchange[s->limiting].method == EXCHANGE_WITHIN_RUN)
		add_note(s, "the exchange rate is told from within runs and is at least so large: "
			    "lifting "
			    "may cost less than shown");
	if (s->rows[STINT_LIFTING].lift > k->m->time_spread)
		add_note(s, "the lift goes past the lap times driven on one set-up: the exchange "
			    "rate is "
			    "stretched");
	for (size_t c = 0; c < s->rules.n_channels; c++)
		if (k->f->response[1 + c].fitted && !k->f->kappa[c].known) {
			snprintf(text, sizeof text,
				"wear %s: no exchange rate, lifting is taken to save "
				"nothing there",
				k->m->book->channels[c]);
			add_note(s, text);
		}
}

struct stint *stint_new(const struct model *m, const fix *sheet, const fix *reference,
	const char *sheet_name, const char *reference_name, const struct stint_options *o,
	struct err *err)
{
	struct stint_figures f;
	if (!m->responses[RESPONSE_TIME].fitted) {
		err_failed(err, "no lap time figures: %s", m->responses[RESPONSE_TIME].why);
		return NULL;
	}
	if (!figures_find(&f, m, sheet, reference, o->laps, err))
		return NULL;
	struct stint *s = calloc(1, sizeof *s);
	if (!s) {
		err_memory(err);
		return NULL;
	}
	s->laps = f.rules.laps;
	s->rules = f.rules;
	s->limiting = model_limiting_channel(m, reference);
	struct making k = {m, &f, {reference_name, sheet_name}, s, o->draws > 0};
	bool ok = lay_sides(&k) && lay_lifting(&k) && lay_stopping(&k);
	if (ok) {
		tell_deltas(s);
		ok = figures_draw(&f, s, o->draws);
	}
	if (!ok) {
		stint_free(s);
		err_memory(err);
		return NULL;
	}
	take_notes(&k, sheet, reference);
	say(&k, memcmp(sheet, reference, m->book->car.n_adjustables * sizeof *sheet) == 0);
	return s;
}

const char *stint_doubt(const struct stint *s)
{
	const struct stint_row *r = &s->rows[STINT_SHEET];
	return r->has_interval && r->low < 0 && r->high > 0
		       ? ", if these figures hold: it can't be told"
		       : "";
}

void stint_free(struct stint *s)
{
	if (!s)
		return;
	for (size_t i = 0; i < STINT_PLANS; i++)
		free(s->curve[i]);
	free(s->stop_after);
	free(s);
}

bool stint_quick_prepare(
	struct stint_quick *q, const struct model *m, const fix *reference, struct err *err)
{
	struct stint_figures f;
	struct err why;
	memset(q, 0, sizeof *q);
	err_clear(&why);
	if (!m->book->stint.given || !m->responses[RESPONSE_TIME].fitted)
		return true;
	if (!figures_find(&f, m, reference, reference, 0, &why)) {
		/* A stint without a length has no figures; that is no fault here. */
		if (why.cls != ERR_INPUT)
			*err = why;
		return why.cls == ERR_INPUT;
	}
	double v[RESPONSES_MAX][FIGURES];
	for (size_t r = 0; r < RESPONSES_MAX; r++)
		memcpy(v[r], f.response[r].value, sizeof v[r]);
	q->usable = true;
	for (size_t r = 0; r < m->n_responses; r++)
		q->usable = q->usable && f.response[r].fitted && f.response[r].known[FIG_REFERENCE];
	q->rules = f.rules;
	q->reference = figures_pace(&f, v, FIG_REFERENCE);
	q->reference_total = stint_project(&q->rules, &q->reference, NULL);
	return true;
}

double stint_quick_delta(const struct stint_quick *q, double time_delta, const double *wear_delta)
{
	struct stint_pace p = q->reference;
	p.time += time_delta;
	for (size_t c = 0; c < q->rules.n_channels; c++)
		p.wear[c] += wear_delta[c];
	return stint_project(&q->rules, &p, NULL) - q->reference_total;
}
