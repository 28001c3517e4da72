/* The part of fmt.h that asks the screen how wide a text is. */
#include "tui/fmt.h"

#include "tui/scr.h"

#include <string.h>

char *fmt_shorter(char *words, int width)
{
	char *against = strstr(words, "front against rear");
	if (against && scr_width(words) > width) {
		char *rest = against + strlen("front against rear");
		memcpy(against, "fr - rear", strlen("fr - rear"));
		memmove(against + strlen("fr - rear"), rest, strlen(rest) + 1);
	}
	return words;
}

/* Decimals of all values that steps from the lower limit reach. */
static int decimals_of(const struct adjustable *a)
{
	const int d = fix_decimals(a->step), e = fix_decimals(a->min);
	return d > e ? d : e;
}

static void widen(int *most, fix v, int decimals)
{
	char text[FMT_SIZE];
	const int w = fix_print_min(v, decimals, text, sizeof text);
	*most = w > *most ? w : *most;
}

struct fmt_widths fmt_widths(const struct car *car)
{
	struct fmt_widths w = {.label = 0};
	for (size_t i = 0; i < car->n_adjustables; i++) {
		const struct adjustable *a = &car->adjustables[i];
		int *most = a->axle == AXLE_CAR ? &w.single : &w.value;
		const int label = scr_width(a->label);
		w.label = label > w.label ? label : w.label;
		widen(most, a->min, decimals_of(a));
		widen(most, a->max, decimals_of(a));
	}
	for (size_t p = 0; p < car->n_pairs; p++) {
		const struct adjustable *f = &car->adjustables[car->pairs[p].front],
					*r = &car->adjustables[car->pairs[p].rear];
		const int d = decimals_of(f), e = decimals_of(r);
		widen(&w.difference, f->min - r->max, d > e ? d : e);
		widen(&w.difference, f->max - r->min, d > e ? d : e);
	}
	return w;
}
