#include "book/caution.h"

#include "base/text.h"

#include <stdio.h>

const char *const caution_reminder = "The tyre maker's limits and the series' rules stand above "
				     "any figure here; a qualified person decides.";

const char *caution_words(const struct car *c, size_t adjustable, fix v, char *buf, size_t size)
{
	const struct adjustable *a = &c->adjustables[adjustable];
	const int side = car_caution(a, v);
	char title[CAR_TITLE_SIZE], at[CAR_VALUE_SIZE], limit[CAR_VALUE_SIZE];
	buf[0] = '\0';
	if (side == 0)
		return buf;
	car_value_text(a, side > 0 ? a->caution.max : a->caution.min, limit, sizeof limit);
	snprintf(buf, size, "%s at %s is %s %s, the soft limit of %s%s%.200s",
		car_title(a, title, sizeof title), car_value_text(a, v, at, sizeof at),
		side > 0 ? "above" : "below", limit, c->id, a->caution.note ? ": " : "",
		a->caution.note ? a->caution.note : "");
	return text_mend(buf);
}

size_t caution_list(const struct car *c, const fix *values, size_t *out)
{
	size_t n = 0;
	for (size_t i = 0; i < c->n_adjustables; i++) {
		if (car_caution(&c->adjustables[i], values[i]) == 0)
			continue;
		if (out)
			out[n] = i;
		n++;
	}
	return n;
}
