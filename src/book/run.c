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
	return two_digits(text + 11) < 24 && two_digits(text + 14) < 60
		&& (len == 16 || two_digits(text + 17) < 60);
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
