#include "book/entry.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TOKENS_MAX = 8 };

struct token {
	const char *text;
	size_t len;
};

static bool is_digits(const char *s, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (!isdigit((unsigned char)s[i]))
			return false;
	return n > 0;
}

/* Figures begin with a digit, or are a lone '-'. */
static bool is_figure(const struct token *t)
{
	return isdigit((unsigned char)t->text[0]) || (t->len == 1 && t->text[0] == '-');
}

static const char *next_token(const char *text, struct token *t)
{
	text += strspn(text, " \t");
	t->text = text;
	t->len = strcspn(text, " \t");
	return text + t->len;
}

/* 131243: 1 min 31 s 243; 57310: 57 s 310. */
static bool parse_time(const struct token *t, double *out, struct err *err)
{
	char full[32];
	if (is_digits(t->text, t->len)) {
		if (t->len < 5 || t->len > 7)
			return err_input(err,
				"time '%.*s': digits alone are minutes, two of seconds, "
				"three of thousandths, such as 131243; or write 1:31.243",
				(int)t->len, t->text);
		int minutes = (int)t->len - 5;
		snprintf(full, sizeof full, minutes ? "%.*s:%.2s.%.3s" : "%.*s%.2s.%.3s", minutes,
			t->text, t->text + minutes, t->text + minutes + 2);
	} else {
		snprintf(full, sizeof full, "%.*s", (int)(t->len < 31 ? t->len : 31), t->text);
	}
	enum num_result r = laptime_parse(full, strlen(full), out);
	if (r == NUM_OK && *out > 0)
		return true;
	return err_input(err, "time '%.*s' %s; write 1:31.243, 91.243 or 131243",
		(int)(t->len < 40 ? t->len : 40), t->text,
		r == NUM_OK ? "is no lap time" : num_explain(r));
}

/* One figure; digits alone have `decimals` of them behind the point. */
static bool parse_figure(
	const struct token *t, int decimals, const char *what, double *out, struct err *err)
{
	int len = (int)(t->len < 40 ? t->len : 40);
	bool bare = is_digits(t->text, t->len);
	if (bare && decimals > 0 && (int)t->len <= decimals)
		return err_input(err,
			"%s '%.*s': digits alone have %d behind the point; write the point, or "
			"all the digits",
			what, len, t->text, decimals);
	enum num_result r = num_parse(t->text, t->len, out);
	if (r != NUM_OK)
		return err_input(err, "%s '%.*s' %s", what, len, t->text, num_explain(r));
	if (bare)
		*out /= pow(10, decimals);
	return true;
}

static bool put_wear(struct lap *l, size_t channel, const struct token *t, enum entry_mode mode,
	int decimals, struct err *err)
{
	double v = 0;
	if (t->len == 1 && t->text[0] == '-')
		return true;
	if (!parse_figure(t, decimals, "wear", &v, err))
		return false;
	if (v > 100)
		return err_input(err, "wear %g; 0 to 100 %% is allowed", v);
	if (mode == ENTRY_WORN) {
		l->has_worn[channel] = true;
		l->worn[channel] = v;
	} else {
		l->has_wear[channel] = true;
		l->wear[channel] = v;
	}
	return true;
}

static bool put_effort(struct lap *l, const struct token *t, struct err *err)
{
	if (t->len == 1 && t->text[0] == '-')
		return true;
	if (!parse_figure(t, 0, "effort", &l->effort, err))
		return false;
	if (!(l->effort > 0 && l->effort <= 150))
		return err_input(err, "effort %g; above 0, up to 150 is allowed, 100 is flat out",
			l->effort);
	l->has_effort = true;
	return true;
}

/* "241266" of two channels: two tokens of the same length. */
static bool split_run_together(struct token *t, size_t *n, size_t n_channels)
{
	size_t len = t[0].len, each = n_channels ? len / n_channels : 0;
	if (*n == 0 || n_channels < 2 || !is_digits(t[0].text, len) || len % n_channels ||
		each < 3 || each > 4 || *n + n_channels - 1 > TOKENS_MAX)
		return false;
	memmove(t + n_channels, t + 1, (*n - 1) * sizeof *t);
	const char *text = t[0].text;
	for (size_t i = 0; i < n_channels; i++)
		t[i] = (struct token){text + i * each, each};
	*n += n_channels - 1;
	return true;
}

static bool put_figures(struct lap *l, struct token *t, size_t n, size_t n_channels,
	enum entry_mode mode, int decimals, struct err *err)
{
	split_run_together(t, &n, n_channels);
	if (n == 1 && n_channels > 1)
		return put_effort(l, &t[0], err);
	if (n != 0 && n != n_channels && n != n_channels + 1)
		return err_input(err,
			"%zu figures behind the time; allowed: none, the effort, %zu of wear, or "
			"%zu of wear and the effort",
			n, n_channels, n_channels);
	for (size_t c = 0; c < n_channels && c < n; c++)
		if (!put_wear(l, c, &t[c], mode, decimals, err))
			return false;
	return n <= n_channels || put_effort(l, &t[n_channels], err);
}

static void clear_lap(struct lap *l)
{
	free(l->skip);
	*l = (struct lap){0};
}

bool entry_parse_lap(struct lap *l, const char *text, size_t n_channels, enum entry_mode mode,
	int decimals, struct err *err)
{
	struct token time, t[TOKENS_MAX + CHANNELS_MAX];
	size_t n = 0;
	*l = (struct lap){0};
	text = next_token(text, &time);
	if (time.len == 0)
		return err_input(err, "no lap time; write it first, such as 1:31.243 or 131243");
	for (;;) {
		const char *after = next_token(text, &t[n]);
		if (t[n].len == 0 || !is_figure(&t[n]))
			break;
		text = after;
		if (++n > CHANNELS_MAX + 1)
			break;
	}
	text += strspn(text, " \t");
	size_t reason = strlen(text);
	while (reason && (text[reason - 1] == ' ' || text[reason - 1] == '\t'))
		reason--;
	bool ok = parse_time(&time, &l->time, err) &&
		  put_figures(l, t, n, n_channels, mode, decimals, err);
	if (ok && reason) {
		l->skip = text_dup(text, reason);
		ok = l->skip != NULL || err_memory(err);
	}
	if (!ok)
		clear_lap(l);
	return ok;
}

/* Thousandths where they hold the time, else as many digits as it has. */
static void add_time(struct buf *b, double time)
{
	char text[40];
	double read = 0;
	laptime_tell(time, 3, text, sizeof text);
	if (laptime_parse(text, strlen(text), &read) != NUM_OK || read != time)
		num_print(time, text, sizeof text);
	buf_adds(b, text);
}

/* A point is always shown, so that it reads back as it is. */
static void add_figure(struct buf *b, bool has, double v)
{
	char text[40];
	if (!has) {
		buf_adds(b, " -");
		return;
	}
	num_print(v, text, sizeof text);
	buf_addf(b, " %s%s", text, strpbrk(text, ".e") ? "" : ".0");
}

const char *entry_print_lap(
	const struct lap *l, size_t n_channels, enum entry_mode mode, char *buf, size_t size)
{
	struct buf b;
	bool any = false;
	const bool *has = mode == ENTRY_WORN ? l->has_worn : l->has_wear;
	const double *v = mode == ENTRY_WORN ? l->worn : l->wear;
	buf_init(&b);
	add_time(&b, l->time);
	for (size_t c = 0; c < n_channels; c++)
		any = any || has[c];
	if (any || (l->has_effort && n_channels < 2))
		for (size_t c = 0; c < n_channels; c++)
			add_figure(&b, has[c], v[c]);
	if (l->has_effort) {
		char text[40];
		num_print(l->effort, text, sizeof text);
		buf_addf(&b, " %s", text);
	}
	if (l->skip)
		buf_addf(&b, " %s", l->skip);
	snprintf(buf, size, "%s", b.data ? b.data : "");
	buf_free(&b);
	return buf;
}

enum entry_mode entry_mode_of(const struct run *r)
{
	for (size_t c = 0; c < CHANNELS_MAX; c++) {
		if (r->has_worn_at_start[c])
			return ENTRY_WORN;
		for (size_t i = 0; i < r->n_laps; i++)
			if (r->laps[i].has_worn[c])
				return ENTRY_WORN;
	}
	return ENTRY_WEAR;
}

static int decimals_of(double v)
{
	char text[40];
	num_print(v, text, sizeof text);
	const char *point = strchr(text, '.');
	return point && !strchr(text, 'e') ? (int)strlen(point + 1) : 0;
}

int entry_decimals_of(const struct run *r, size_t n_channels)
{
	int most = 0;
	bool any = false, worn = entry_mode_of(r) == ENTRY_WORN;
	for (size_t c = 0; c < n_channels; c++) {
		if (worn && r->has_worn_at_start[c]) {
			int d = decimals_of(r->worn_at_start[c]);
			most = d > most ? d : most;
			any = any || d > 0;
		}
		for (size_t i = 0; i < r->n_laps; i++) {
			const struct lap *l = &r->laps[i];
			if (!(worn ? l->has_worn[c] : l->has_wear[c]))
				continue;
			int d = decimals_of(worn ? l->worn[c] : l->wear[c]);
			most = d > most ? d : most;
			any = true;
		}
	}
	return any && most > 0 && most <= 3 ? most : ENTRY_DECIMALS;
}
