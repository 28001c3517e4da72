/* The conditions of a run on one line, and its id. */
#include "book/entry.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct number_key {
	const char *key;
	size_t at; /* offset of the struct opt_num in struct run */
	double low, high;
};
static const struct number_key numbers[] = {{"fuel", offsetof(struct run, fuel), 0, 10000},
	{"fuel-per-lap", offsetof(struct run, fuel_per_lap), 0, 10000},
	{"track-temp", offsetof(struct run, track_temp), -60, 100},
	{"tyre-age", offsetof(struct run, tyre_age), 0, 10000}};
enum { NUMBERS = sizeof numbers / sizeof numbers[0] };

struct id_key {
	const char *key;
	size_t at; /* offset of a char[ID_SIZE] */
};
static const struct id_key ids[] = {{"driver", offsetof(struct run, driver)},
	{"session", offsetof(struct run, session)}, {"compound", offsetof(struct run, compound)}};
enum { IDS = sizeof ids / sizeof ids[0] };

static struct opt_num *number_at(struct run *r, size_t at)
{
	return (struct opt_num *)(void *)((char *)r + at);
}

static bool put_number(
	struct run *r, const struct number_key *k, const char *v, size_t len, struct err *err)
{
	double got;
	enum num_result n = num_parse(v, len, &got);
	if (n != NUM_OK)
		return err_input(err, "%s=%.*s %s", k->key, (int)len, v, num_explain(n));
	if (got < k->low || got > k->high)
		return err_input(
			err, "%s=%.*s; %g to %g is allowed", k->key, (int)len, v, k->low, k->high);
	*number_at(r, k->at) = (struct opt_num){true, got};
	return true;
}

static bool put_id(
	struct run *r, const struct id_key *k, const char *v, size_t len, struct err *err)
{
	if (!text_is_id(v, len))
		return err_input(
			err, "%s=%.*s; an id is made of a-z, 0-9 and -", k->key, (int)len, v);
	char *to = (char *)r + k->at;
	memcpy(to, v, len);
	to[len] = '\0';
	return true;
}

/* "14.2/15.1": a figure for each channel. */
static bool put_worn(struct run *r, const char *v, size_t len, size_t n_channels, struct err *err)
{
	const char *end = v + len;
	for (size_t c = 0; c < n_channels; c++) {
		const char *slash = memchr(v, '/', (size_t)(end - v));
		size_t n = (size_t)((slash ? slash : end) - v);
		double got;
		if (num_parse(v, n, &got) != NUM_OK || got < 0 || got > 100 ||
			(slash != NULL) != (c + 1 < n_channels))
			break;
		r->has_worn_at_start[c] = true;
		r->worn_at_start[c] = got;
		if (c + 1 == n_channels)
			return true;
		v = slash + 1;
	}
	return err_input(err, "worn=%.*s; allowed: %zu figures divided by /, each 0 to 100",
		(int)len, end - len, n_channels);
}

static bool put_key(struct run *r, const char *key, size_t key_len, const char *v, size_t len,
	size_t n_channels, struct err *err)
{
	for (size_t i = 0; i < NUMBERS; i++)
		if (strlen(numbers[i].key) == key_len && memcmp(numbers[i].key, key, key_len) == 0)
			return len == 0 || put_number(r, &numbers[i], v, len, err);
	for (size_t i = 0; i < IDS; i++)
		if (strlen(ids[i].key) == key_len && memcmp(ids[i].key, key, key_len) == 0)
			return len == 0 || put_id(r, &ids[i], v, len, err);
	if (key_len == 4 && memcmp(key, "worn", 4) == 0)
		return len == 0 || put_worn(r, v, len, n_channels, err);
	return err_input(err,
		"'%.*s' is not known here; allowed: fuel, fuel-per-lap, track-temp, "
		"tyre-age, driver, session, compound, worn",
		(int)(key_len < 60 ? key_len : 60), key);
}

static void forget(struct run *r)
{
	for (size_t i = 0; i < NUMBERS; i++)
		*number_at(r, numbers[i].at) = (struct opt_num){false, 0};
	for (size_t i = 0; i < IDS; i++)
		*((char *)r + ids[i].at) = '\0';
	memset(r->has_worn_at_start, 0, sizeof r->has_worn_at_start);
	memset(r->worn_at_start, 0, sizeof r->worn_at_start);
}

static bool parse_all(struct run *r, const char *text, size_t n_channels, struct err *err)
{
	for (;;) {
		text += strspn(text, " \t");
		size_t len = strcspn(text, " \t");
		if (len == 0)
			return true;
		const char *is = memchr(text, '=', len);
		if (!is)
			return err_input(err, "'%.*s' has no value; write such as fuel=24",
				(int)(len < 60 ? len : 60), text);
		size_t key = (size_t)(is - text);
		if (!put_key(r, text, key, is + 1, len - key - 1, n_channels, err))
			return false;
		text += len;
	}
}

bool entry_parse_conditions(struct run *r, const char *text, size_t n_channels, struct err *err)
{
	struct run got = *r; /* shallow; only plain fields are set */
	forget(&got);
	if (!parse_all(&got, text, n_channels, err))
		return false;
	*r = got;
	return true;
}

static void add(char *buf, size_t size, const char *key, const char *v)
{
	size_t len = strlen(buf);
	snprintf(buf + len, size - len, "%s%s=%s", len ? " " : "", key, v);
}

const char *entry_print_conditions(const struct run *r, size_t n_channels, char *buf, size_t size)
{
	char text[40], worn[CHANNELS_MAX * 42] = "";
	buf[0] = '\0';
	for (size_t i = 0; i < NUMBERS; i++) {
		const struct opt_num *n =
			(const struct opt_num *)(const void *)((const char *)r + numbers[i].at);
		text[0] = '\0';
		if (n->has)
			num_print(n->v, text, sizeof text);
		add(buf, size, numbers[i].key, text);
	}
	for (size_t i = 0; i < IDS; i++)
		if (*((const char *)r + ids[i].at))
			add(buf, size, ids[i].key, (const char *)r + ids[i].at);
	bool all = n_channels > 0;
	for (size_t c = 0; c < n_channels; c++) {
		all = all && r->has_worn_at_start[c];
		num_print(r->worn_at_start[c], text, sizeof text);
		strcat(worn, c ? "/" : "");
		strcat(worn, text);
	}
	if (all)
		add(buf, size, "worn", worn);
	return buf;
}

/* The digits that an id ends in; SIZE_MAX where there are none, or too many. */
static size_t number_of(const char *id, size_t *stem)
{
	*stem = strlen(id);
	while (*stem > 0 && isdigit((unsigned char)id[*stem - 1]))
		--*stem;
	size_t len = strlen(id + *stem);
	return len > 0 && len <= 9 ? (size_t)strtoul(id + *stem, NULL, 10) : SIZE_MAX;
}

void entry_id_after(const struct book *b, const char *last, char id[ID_SIZE])
{
	char stem[ID_SIZE] = "r";
	size_t number = 0, width = 2;
	if (last) {
		size_t at, n = number_of(last, &at);
		if (n != SIZE_MAX && at < ID_MAX - 12) {
			memcpy(stem, last, at);
			stem[at] = '\0';
			number = n;
			width = strlen(last) - at;
		}
	}
	do
		snprintf(id, ID_SIZE, "%.40s%0*zu", stem, (int)width, ++number);
	while (book_find_run(b, id) >= 0);
}

void entry_next_id(const struct book *b, char id[ID_SIZE])
{
	entry_id_after(b, b->n_runs ? b->runs[b->n_runs - 1].id : NULL, id);
}
