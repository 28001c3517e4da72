/* The Runs page in words: laps as they were taken, runs against their predictions, drift. */
#include "tui/runs.h"

#include "model/words.h"
#include "tui/fmt.h"

#include <stdio.h>
#include <string.h>

const char *runs_lap_words(
	const struct app *app, const struct run *r, size_t lap, char *buf, size_t size)
{
	const struct lap *l = &r->laps[lap];
	char text[FMT_SIZE], id[32];
	snprintf(buf, size, "lap %zu: %s", lap + 1, fmt_lap(l->time, 3, text));
	for (size_t c = 0; c < app->book.n_channels; c++) {
		size_t len = strlen(buf);
		bool worn = l->has_worn[c];
		if (worn || l->has_wear[c])
			snprintf(buf + len, size - len, ", %s %.2f%s",
				book_response_id(&app->book, 1 + c, id, sizeof id),
				worn ? l->worn[c] : l->wear[c], worn ? " so far" : "");
	}
	size_t len = strlen(buf);
	if (l->has_effort)
		len += (size_t)snprintf(buf + len, size - len, ", effort %g", l->effort);
	if (l->skip && len < size)
		snprintf(buf + len, size - len, ", skipped: %s", l->skip);
	return buf;
}

const char *runs_outcome(
	const struct app *app, const struct verified_run *v, char *buf, size_t size)
{
	const struct verified *by = &v->by[RESPONSE_TIME];
	const struct forecast *f = &by->ahead;
	char m[FMT_SIZE], lo[FMT_SIZE], hi[FMT_SIZE];
	const char *id = app->book.runs[v->run].id;
	const struct estimate e = {.known = true, .borrowed = f->borrowed};
	char source[32];
	words_source(&e, source, sizeof source);
	if (!by->measured)
		snprintf(buf, size, "%s: no lap that counts", id);
	else if (!f->known)
		snprintf(buf, size, "%s: %zu laps, mean %s; not predicted: %s", id, by->laps,
			fmt_lap(by->mean, 2, m), f->done ? f->why : "not yet");
	else
		snprintf(buf, size, "%s: %zu laps, mean %s, predicted %s to %s%s%s: %s", id,
			by->laps, fmt_lap(by->mean, 2, m), fmt_lap(f->low, 2, lo),
			fmt_lap(f->high, 2, hi), source[0] ? ", " : "", source,
			verify_word(RESPONSE_TIME, f, by->mean));
	return buf;
}

static void tell_tally(struct buf *out, const char *how, const struct tally *t)
{
	if (!t->predicted) {
		buf_addf(out, "  %s: no run could be predicted\n", how);
		return;
	}
	buf_addf(out, "  %s: %zu of %zu missed; 5 in 100 is what should be%s\n", how, t->missed,
		t->predicted, t->too_often ? ": TOO OFTEN" : "");
	if (t->too_often && t->names[0])
		buf_addf(out, "    the missed runs have in common: %s\n", t->names);
	else if (t->too_often)
		buf_adds(out,
			"    no single change stands out: something that no run logged may be at "
			"work\n");
}

/* Each visit of the base on one line, its place between the lowest and the highest drawn. */
static void tell_visits(const struct app *app, struct buf *out, const struct drift *d, size_t y)
{
	enum { SCALE = 31, BESIDE = 2 + 16 + 2 + 1 + 9 + 2 + SCALE + 2 };
	double low = d->points[0].value, high = low;
	int longest = 10;
	for (size_t i = 0; i < d->n; i++) {
		const int len = (int)strlen(app->book.runs[d->points[i].run].id);
		longest = len > longest ? len : longest;
		low = d->points[i].value < low ? d->points[i].value : low;
		high = d->points[i].value > high ? d->points[i].value : high;
	}
	const int room = scr_cols() - 6 - BESIDE, id_w = longest < room ? longest
							 : room > 10    ? room
									: 10;
	for (size_t i = 0; i < d->n; i++) {
		const struct drift_point *p = &d->points[i];
		const struct run *r = &app->book.runs[p->run];
		char scale[SCALE + 1], text[FMT_SIZE], id[ID_SIZE];
		memset(scale, ' ', SCALE);
		scale[SCALE] = '\0';
		int at = high > low ? (int)((p->value - low) / (high - low) * (SCALE - 1) + 0.5)
				    : SCALE / 2;
		scale[at] = '*';
		buf_addf(out, "  %-16.16s  %-*s %9s  |%s|\n", r->date, id_w,
			fmt_id(r->id, id_w, id),
			y ? fmt_plain(p->value, 3, text) : fmt_lap(p->value, 2, text), scale);
	}
}

static void tell_drift(const struct app *app, struct buf *out, const struct verify *v, size_t y)
{
	const struct drift *d = &v->drift[y];
	char words[WORDS_SIZE];
	if (v->base_run < 0 || d->n < 2) {
		buf_adds(out, "  drift: no set-up was driven twice\n");
		return;
	}
	buf_addf(out, "  the set-up driven most often (as in %s), at the book's conditions:\n",
		app->book.runs[v->base_run].id);
	tell_visits(app, out, d, y);
	if (!d->has_slope)
		return;
	verify_drift_words(y, d, words, sizeof words);
	const char *verdict = strstr(words, ": ");
	if (verdict && scr_width(words) + 2 > scr_cols() - 4) /* two lines, none of them cut */
		buf_addf(out, "  %.*s\n    %s\n", (int)(verdict - words) + 1, words, verdict + 2);
	else
		buf_addf(out, "  %s\n", words);
}

void runs_tell(struct app *app, struct buf *out)
{
	const struct runs_page *s = runs_page_of(app);
	const struct verify *v = s->verify;
	char id[32];
	if (!v || v->steps_left) {
		buf_adds(out, s->why[0]
				      ? s->why
				      : "The runs are still being held against their predictions; "
					"come back in a moment.");
		return;
	}
	for (size_t y = 0; y < v->n_responses; y++) {
		buf_addf(out, "%s%s (%s)\n", y ? "\n" : "",
			book_response_id(&app->book, y, id, sizeof id), words_unit(y));
		tell_tally(out, "from the runs before", &v->ahead[y]);
		tell_tally(out, "from all other runs", &v->left_out[y]);
		tell_drift(app, out, v, y);
	}
}
