#include "tui/fmt.h"

#include "base/fix.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

int fmt_decimals(double half, int most)
{
	if (!(half > 0) || !isfinite(half))
		return most;
	int d = (int)ceil(0.5 - log10(half));
	return d < 0 ? 0 : d > most ? most : d;
}

int fmt_estimate_decimals(const struct estimate *e, int most)
{
	return e->known && e->has_interval ? fmt_decimals((e->high - e->low) / 2, most) : most;
}

/* Rounded text with this sign before it; what rounds to 0 has none. */
static const char *print_with(char sign, double v, int decimals, char *buf)
{
	num_fixed(fabs(v), decimals, buf + 1, FMT_SIZE - 1);
	buf[0] = sign;
	if (!sign || strspn(buf + 1, "0.") == strlen(buf + 1))
		memmove(buf, buf + 1, strlen(buf + 1) + 1);
	return buf;
}

const char *fmt_signed(double v, int decimals, char *buf)
{
	return print_with(v > 0 ? '+' : v < 0 ? '-' : '\0', v, decimals, buf);
}

const char *fmt_plain(double v, int decimals, char *buf)
{
	return print_with(v < 0 ? '-' : '\0', v, decimals, buf);
}

const char *fmt_interval(const struct estimate *e, int decimals, char *buf)
{
	enum { MOST = 15 }; /* characters of one end */
	char high[FMT_SIZE];
	buf[0] = '\0';
	if (!e->known)
		return buf;
	if (!e->has_interval)
		return strcpy(buf, "no interval");
	fmt_signed(e->low, decimals, buf);
	buf[MOST] = '\0';
	strcat(buf, " to ");
	return strncat(buf, fmt_signed(e->high, decimals, high), MOST);
}

const char *fmt_lap(double seconds, int decimals, char *buf)
{
	laptime_tell(seconds, decimals, buf, FMT_SIZE);
	return buf;
}

const char *fmt_chance(double p, bool brief, char *buf)
{
	int n = (int)lround(100 * p);
	const char *sign = n < 1 ? "<" : n > 99 ? ">" : "";
	n = n < 1 ? 1 : n > 99 ? 99 : n;
	snprintf(buf, FMT_SIZE, brief ? "%s%d/100" : "%s%d in 100", sign, n);
	return buf;
}

const char *fmt_id(const char *id, int width, char buf[ID_SIZE])
{
	const int len = snprintf(buf, ID_SIZE, "%s", id);
	if (len > width && width > 0)
		snprintf(buf + width - 1, 2, "~");
	return buf;
}

const char *fmt_value(const struct adjustable *a, fix v, char *buf)
{
	fix_print_min(v, fix_decimals(a->step), buf, FMT_SIZE);
	return buf;
}

const char *fmt_difference(
	const struct car *car, const struct pair *p, const fix *values, char *buf)
{
	const int d = fix_decimals(car->adjustables[p->front].step),
		  e = fix_decimals(car->adjustables[p->rear].step);
	fix_print_min(values[p->front] - values[p->rear], d > e ? d : e, buf, FMT_SIZE);
	return buf;
}
