#include "store/journal_text.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char magic[] = "treadlight-journal 1 ";
_Static_assert(JOURNAL_HEAD == sizeof magic - 1 + 16 + 1 + 16 + 1, "the first line");

void journal_add_header(struct buf *b, const struct stamp *base)
{
	buf_addf(b, "%s%016" PRIx64 " %016" PRIx64 "\n", magic, base->size, base->hash);
}

/* Controls, and what has a meaning of its own. */
static const char escaped[] = "\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c\x0d\x0e\x0f\x10"
			      "\x11\x12\x13\x14\x15\x16\x17\x18\x19\x1a\x1b\x1c\x1d\x1e\x1f\x7f%=";

static void add_escaped(struct buf *b, const char *text)
{
	while (*text) {
		const size_t plain = strcspn(text, escaped);
		buf_add(b, text, plain);
		text += plain;
		if (*text)
			buf_addf(b, "%%%02X", (unsigned)(unsigned char)*text++);
	}
}

void journal_add_record(struct buf *b, const struct change *changes, size_t n)
{
	struct buf body;

	buf_init(&body);
	for (size_t i = 0; i < n; i++) {
		add_escaped(&body, changes[i].key);
		buf_adds(&body, "=");
		add_escaped(&body, changes[i].value);
		buf_adds(&body, "\n");
	}
	buf_addf(b, "+%zu %016" PRIx64 "\n", body.len,
		hash_bytes(body.data ? body.data : "", body.len));
	buf_add(b, body.data ? body.data : "", body.len);
	buf_adds(b, "\n");
	if (body.failed)
		b->failed = true;
	buf_free(&body);
}

static int hex_digit(char c)
{
	if (c >= '0' && c <= '9')
		return c - '0';
	if (c >= 'a' && c <= 'f')
		return c - 'a' + 10;
	if (c >= 'A' && c <= 'F')
		return c - 'A' + 10;
	return -1;
}

static bool read_hex(const char *at, uint64_t *out)
{
	*out = 0;
	for (int i = 0; i < 16; i++) {
		int d = hex_digit(at[i]);
		if (d < 0 || (at[i] >= 'A' && at[i] <= 'F'))
			return false; /* as written, so that a changed bit is always seen */
		*out = *out << 4 | (uint64_t)d;
	}
	return true;
}

static bool read_header(const char *bytes, size_t size, struct stamp *base)
{
	const char *at = bytes + sizeof magic - 1;

	*base = (struct stamp){0};
	return size >= JOURNAL_HEAD && memcmp(bytes, magic, sizeof magic - 1) == 0 &&
	       read_hex(at, &base->size) && at[16] == ' ' && read_hex(at + 17, &base->hash) &&
	       at[33] == '\n';
}

/* "+LENGTH HASH\n"; the bytes of it, 0 if it is none. */
static size_t read_record_head(const char *at, size_t left, size_t *len, uint64_t *hash)
{
	size_t i = 1;

	if (left < 20 || at[0] != '+')
		return 0;
	*len = 0;
	while (i < left && at[i] >= '0' && at[i] <= '9' && i < 9)
		*len = *len * 10 + (size_t)(at[i++] - '0');
	if (i == 1 || left - i < 18 || at[i] != ' ' || !read_hex(at + i + 1, hash) ||
		at[i + 17] != '\n')
		return 0;
	return i + 18;
}

/* The whole record that begins here; its bytes, 0 if it is not valid. */
static size_t find_record(const char *at, size_t left, const char **body, size_t *len)
{
	uint64_t hash;
	size_t head = read_record_head(at, left, len, &hash);

	if (head == 0 || left - head < *len + 1 || at[head + *len] != '\n' ||
		hash_bytes(at + head, *len) != hash)
		return 0;
	*body = at + head;
	return head + *len + 1;
}

/* Unescape up to `stop`; the text's start in storage, or NULL if the escape is none. */
static char *unescape(const char **at, const char *end, char stop, char **storage)
{
	char *start = *storage;

	for (; *at < end && **at != stop; (*at)++) {
		char c = **at;
		if (c == '%') {
			int hi = end - *at > 2 ? hex_digit((*at)[1]) : -1;
			int lo = hi >= 0 ? hex_digit((*at)[2]) : -1;
			if (lo < 0 || (hi == 0 && lo == 0))
				return NULL;
			c = (char)(hi << 4 | lo);
			*at += 2;
		}
		if (c == '\0')
			return NULL;
		*(*storage)++ = c;
	}
	if (*at == end)
		return NULL;
	(*at)++;
	*(*storage)++ = '\0';
	return start;
}

/* Add the record's changes; false, adding none, where its lines are not of the form. */
static bool read_body(const char *body, size_t len, struct recovery *r, char **storage)
{
	const char *at = body, *end = body + len;
	char *rest = *storage;
	size_t n = r->n_changes;

	while (at < end) {
		char *key = unescape(&at, end, '=', &rest);
		char *value = key ? unescape(&at, end, '\n', &rest) : NULL;
		if (!value)
			return false;
		r->changes[n++] = (struct change){key, value};
	}
	r->n_changes = n;
	*storage = rest;
	return true;
}

static size_t count_lines(const char *bytes, size_t size)
{
	size_t n = 0;

	for (size_t i = 0; i < size; i++)
		n += bytes[i] == '\n';
	return n;
}

bool journal_read_text(
	const char *bytes, size_t size, struct recovery *r, struct stamp *base, size_t *valid)
{
	char *storage;

	*r = (struct recovery){0};
	*valid = 0;
	if (!read_header(bytes, size, base)) {
		*base = (struct stamp){0};
		return true;
	}
	r->changes = calloc(count_lines(bytes, size) + 1, sizeof *r->changes);
	r->storage = malloc(size + 1);
	if (!r->changes || !r->storage) {
		recovery_free(r);
		return false;
	}
	storage = r->storage;
	r->found = true;
	*valid = JOURNAL_HEAD;
	while (*valid < size) {
		const char *body;
		size_t len, n = find_record(bytes + *valid, size - *valid, &body, &len);
		if (n == 0 || !read_body(body, len, r, &storage))
			break;
		*valid += n;
		r->n_records++;
	}
	r->whole = *valid == size;
	return true;
}

bool journal_is_torn(const char *bytes, size_t size)
{
	const char *at = bytes + JOURNAL_HEAD;
	const size_t ours = sizeof magic - 1;
	const size_t left = size > JOURNAL_HEAD ? size - JOURNAL_HEAD : 0;
	struct stamp base;
	uint64_t hash;
	size_t len, head;

	if (memcmp(bytes, magic, size < ours ? size : ours) != 0)
		return false;
	if (left == 0)
		return true;
	head = read_record_head(at, left, &len, &hash);
	if (!read_header(bytes, size, &base))
		return false;
	return head > 0 ? left - head <= len : at[0] == '+' && !memchr(at, '\n', left);
}

bool journal_parse(const char *bytes, size_t size, struct recovery *r, struct stamp *base)
{
	struct stamp ignored;
	size_t valid;

	return journal_read_text(bytes, size, r, base ? base : &ignored, &valid);
}

void recovery_free(struct recovery *r)
{
	free(r->changes);
	free(r->storage);
	free(r->path);
	*r = (struct recovery){0};
}

size_t changes_squeeze(struct change *changes, size_t n)
{
	size_t from = n;

	/* From the end, so that the last one of each key stays. */
	for (size_t i = n; i-- > 0;) {
		size_t k = from;
		while (k < n && strcmp(changes[k].key, changes[i].key) != 0)
			k++;
		if (k == n)
			changes[--from] = changes[i];
	}
	memmove(changes, changes + from, (n - from) * sizeof *changes);
	return n - from;
}
