#include "tui/fmt.h"

#include "base/fix.h"

#include <math.h>
#include <stdio.h>

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

/* What would print as -0.00 is 0. */
static double no_minus_zero(double v, int decimals)
{
	return fabs(v) < 0.5 * pow(10, -decimals) ? 0 : v;
}

const char *fmt_signed(double v, int decimals, char *buf)
{
	v = no_minus_zero(v, decimals);
	snprintf(buf, FMT_SIZE, v > 0 ? "%+.*f" : "%.*f", decimals, v);
	return buf;
}

const char *fmt_plain(double v, int decimals, char *buf)
{
	snprintf(buf, FMT_SIZE, "%.*f", decimals, no_minus_zero(v, decimals));
	return buf;
}

const char *fmt_interval(const struct estimate *e, int decimals, char *buf)
{
	char low[FMT_SIZE], high[FMT_SIZE];
	if (!e->known)
		buf[0] = '\0';
	else if (!e->has_interval)
		snprintf(buf, FMT_SIZE, "no interval");
	else
		snprintf(buf, FMT_SIZE, "%.15s to %.15s", fmt_signed(e->low, decimals, low),
			fmt_signed(e->high, decimals, high));
	return buf;
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
