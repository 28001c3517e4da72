/*
 * Numbers, lap times and text made safe. Where our grammar takes a number, the C library's strtod()
 * in the C locale must agree on it to the last bit; nothing that steers a terminal comes through.
 */
#include "base/fix.h"
#include "base/text.h"
#include "store/patch.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_number(const char *text, size_t len)
{
	char shown[64], *end;
	double v, again, seconds;
	fix f, g;

	if (num_parse(text, len, &v) == NUM_OK) {
		double want = strtod(text, &end);
		if (*end || !isfinite(v) || want != v)
			abort();
		num_print(v, shown, sizeof shown);
		if (num_parse(shown, strlen(shown), &again) != NUM_OK || again != v)
			abort();
	}
	if (fix_parse(text, len, &f) == NUM_OK) {
		fix_print(f, shown, sizeof shown);
		if (fix_parse(shown, strlen(shown), &g) != NUM_OK || f != g)
			abort();
	}
	if (laptime_parse(text, len, &seconds) == NUM_OK && !isfinite(seconds))
		abort();
}

static void check_safe(const char *text, size_t len)
{
	size_t room = len * 8 + 1, at = 0;
	char *out = malloc(room), tiny[7];
	unsigned cp;

	if (!out)
		return;
	size_t n = text_safe(out, room, text, len);
	while (at < n) {
		size_t step = text_utf8_next(out + at, n - at, &cp);
		if (step == 0 || cp < 0x20 || (cp >= 0x7f && cp < 0xa0) ||
			(cp >= 0x200b && cp <= 0x200f) || (cp >= 0x2028 && cp <= 0x202e) ||
			(cp >= 0x2066 && cp <= 0x2069))
			abort();
		at += step;
	}
	n = text_safe_ascii(out, room, text, len);
	for (at = 0; at < n; at++) {
		if ((unsigned char)out[at] < 0x20 || (unsigned char)out[at] > 0x7e)
			abort();
	}
	if (text_safe(tiny, sizeof tiny, text, len) >= sizeof tiny ||
		!text_utf8_valid(tiny, strlen(tiny)))
		abort();
	free(out);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	char *text = text_dup((const char *)data, size);

	if (!text)
		return 0;
	check_number(text, size);
	check_safe(text, size);
	if (yaml_is_plain(text, size) && !text_utf8_valid(text, size))
		abort();
	free(text);
	return 0;
}
