#include "book/run.h"

#include <stdlib.h>
#include <string.h>

void run_init(struct run *r)
{
	memset(r, 0, sizeof *r);
}

void run_free(struct run *r)
{
	for (size_t i = 0; r->laps && i < r->n_laps; i++) {
		free(r->laps[i].skip);
		free(r->laps[i].segments);
	}
	free(r->laps);
	free(r->values);
	free(r->notes);
	run_init(r);
}

static bool copy_segments(struct lap *dst, const struct lap *src)
{
	if (!src->segments)
		return true;
	dst->segments = calloc(src->n_segments + 1, sizeof *dst->segments);
	if (!dst->segments)
		return false;
	memcpy(dst->segments, src->segments, src->n_segments * sizeof *dst->segments);
	return true;
}

static bool copy_laps(struct run *dst, const struct run *src)
{
	dst->laps = calloc(src->n_laps + 1, sizeof *dst->laps);
	if (!dst->laps)
		return false;
	dst->n_laps = src->n_laps;
	for (size_t i = 0; i < src->n_laps; i++) {
		dst->laps[i] = src->laps[i];
		dst->laps[i].skip = NULL;
		dst->laps[i].segments = NULL;
	}
	for (size_t i = 0; i < src->n_laps; i++) {
		const char *skip = src->laps[i].skip;
		if (skip && !(dst->laps[i].skip = text_dup(skip, strlen(skip))))
			return false;
		if (!copy_segments(&dst->laps[i], &src->laps[i]))
			return false;
	}
	return true;
}

static bool copy_owned(struct run *dst, const struct run *src)
{
	dst->values = calloc(src->n_values + 1, sizeof *dst->values);
	if (!dst->values)
		return false;
	for (size_t i = 0; i < src->n_values; i++)
		dst->values[i] = src->values[i];
	if (src->notes && !(dst->notes = text_dup(src->notes, strlen(src->notes))))
		return false;
	return copy_laps(dst, src);
}

bool run_copy(struct run *dst, const struct run *src)
{
	struct run r = *src;
	r.values = NULL;
	r.laps = NULL;
	r.n_laps = 0;
	r.notes = NULL;
	bool ok = copy_owned(&r, src);
	run_free(dst);
	if (ok)
		*dst = r;
	else
		run_free(&r);
	return ok;
}

static int two_digits(const char *s)
{
	return (s[0] - '0') * 10 + (s[1] - '0');
}

bool run_date_valid(const char *text, size_t len)
{
	static const char shape[] = "dddd-dd-ddTdd:dd:dd";
	static const int days[] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
	if (len != 16 && len != 19)
		return false;
	for (size_t i = 0; i < len; i++)
		if (shape[i] == 'd' ? text[i] < '0' || text[i] > '9' : text[i] != shape[i])
			return false;
	int year = two_digits(text) * 100 + two_digits(text + 2);
	int month = two_digits(text + 5), day = two_digits(text + 8);
	bool leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
	if (month < 1 || month > 12 || day < 1 || day > days[month - 1] - (month == 2 && !leap))
		return false;
	return two_digits(text + 11) < 24 && two_digits(text + 14) < 60 &&
	       (len == 16 || two_digits(text + 17) < 60);
}

static bool text_equal(const char *a, const char *b)
{
	return !a == !b && (!a || strcmp(a, b) == 0);
}

static bool opt_equal(struct opt_num a, struct opt_num b)
{
	return a.has == b.has && (!a.has || a.v == b.v);
}

static bool channels_equal(const bool *has_a, const double *a, const bool *has_b, const double *b)
{
	for (size_t c = 0; c < CHANNELS_MAX; c++)
		if (has_a[c] != has_b[c] || (has_a[c] && a[c] != b[c]))
			return false;
	return true;
}

static bool segments_equal(const struct lap *a, const struct lap *b)
{
	if (a->n_segments != b->n_segments)
		return false;
	for (size_t i = 0; i < a->n_segments; i++) {
		const struct lap_segment *x = &a->segments[i], *y = &b->segments[i];
		if (x->has_time != y->has_time || (x->has_time && x->time != y->time) ||
			!channels_equal(x->has_wear, x->wear, y->has_wear, y->wear))
			return false;
	}
	return true;
}

bool lap_equal(const struct lap *a, const struct lap *b)
{
	return a->time == b->time && a->has_effort == b->has_effort &&
	       (!a->has_effort || a->effort == b->effort) && text_equal(a->skip, b->skip) &&
	       channels_equal(a->has_wear, a->wear, b->has_wear, b->wear) &&
	       channels_equal(a->has_worn, a->worn, b->has_worn, b->worn) && segments_equal(a, b);
}

/* Empty notes are none: a file does not hold them. */
static bool notes_equal(const struct run *a, const struct run *b)
{
	return strcmp(a->notes ? a->notes : "", b->notes ? b->notes : "") == 0;
}

static bool heads_equal(const struct run *a, const struct run *b)
{
	return strcmp(a->date, b->date) == 0 && strcmp(a->sheet, b->sheet) == 0 &&
	       strcmp(a->driver, b->driver) == 0 && strcmp(a->session, b->session) == 0 &&
	       strcmp(a->compound, b->compound) == 0 && notes_equal(a, b) &&
	       opt_equal(a->fuel, b->fuel) && opt_equal(a->fuel_per_lap, b->fuel_per_lap) &&
	       opt_equal(a->track_temp, b->track_temp) && opt_equal(a->tyre_age, b->tyre_age) &&
	       channels_equal(a->has_worn_at_start, a->worn_at_start, b->has_worn_at_start,
		       b->worn_at_start) &&
	       channels_equal(a->has_wear_total, a->wear_total, b->has_wear_total, b->wear_total);
}

bool run_equal(const struct run *a, const struct run *b)
{
	if (a->n_values != b->n_values || a->n_laps != b->n_laps || !heads_equal(a, b))
		return false;
	for (size_t i = 0; i < a->n_values; i++)
		if (a->values[i] != b->values[i])
			return false;
	for (size_t i = 0; i < a->n_laps; i++)
		if (!lap_equal(&a->laps[i], &b->laps[i]))
			return false;
	return true;
}

size_t run_fitted_laps(const struct run *r)
{
	size_t n = 0;
	for (size_t i = 0; i < r->n_laps; i++)
		n += r->laps[i].skip == NULL;
	return n;
}

int run_compare(const struct run *a, const struct run *b)
{
	int by_date = strcmp(a->date, b->date);
	return by_date != 0 ? by_date : strcmp(a->id, b->id);
}
