#include "model/verdict.h"

#include <math.h>
#include <stdio.h>

const char *verdict_word(enum verdict v)
{
	switch (v) {
	case VERDICT_NOT_TESTED:
		return "not tested";
	case VERDICT_CANT_TELL:
		return "can't tell";
	case VERDICT_SAME:
		return "the same";
	case VERDICT_KINDER:
		return "kinder";
	case VERDICT_ONLY_SLOWER:
		return "only slower";
	case VERDICT_HARDER:
		return "harder";
	case VERDICT_FASTER:
		return "faster";
	case VERDICT_SLOWER:
		return "slower";
	case VERDICT_LESS:
		return "less";
	case VERDICT_MORE:
		return "more";
	}
	return "";
}

/* No difference at all, as far as figures carry. */
static bool is_nothing(const struct estimate *e)
{
	return fabs(e->value) < VERDICT_FINEST &&
	       (!e->has_interval ||
		       (fabs(e->low) < VERDICT_FINEST && fabs(e->high) < VERDICT_FINEST));
}

static enum verdict side(const struct estimate *e, enum verdict below, enum verdict above)
{
	if (!e->known)
		return VERDICT_NOT_TESTED;
	if (is_nothing(e))
		return VERDICT_SAME;
	if (!e->has_interval)
		return VERDICT_CANT_TELL;
	return e->high < 0 ? below : e->low > 0 ? above : VERDICT_CANT_TELL;
}

enum verdict verdict_time(const struct estimate *delta)
{
	return side(delta, VERDICT_FASTER, VERDICT_SLOWER);
}

enum verdict verdict_wear(const struct estimate *delta)
{
	return side(delta, VERDICT_LESS, VERDICT_MORE);
}

enum verdict verdict_like(const struct like_delta *like, const struct estimate *raw)
{
	if (!like->delta.known && raw->known)
		return VERDICT_CANT_TELL; /* no exchange rate */
	enum verdict v = side(&like->delta, VERDICT_KINDER, VERDICT_HARDER);
	if (like->leans && (v == VERDICT_KINDER || v == VERDICT_HARDER))
		return VERDICT_CANT_TELL; /* it would take but another exchange rate */
	if (v == VERDICT_HARDER && raw->known && raw->value < 0)
		return VERDICT_ONLY_SLOWER;
	return v;
}

const char *verdict_chance(double chance, char buf[CHANCE_SIZE])
{
	const double n = 100 * chance;
	if (n < 1 || n > 99)
		snprintf(buf, CHANCE_SIZE, "%s in 100", n < 1 ? "under 1" : "over 99");
	else
		snprintf(buf, CHANCE_SIZE, "%.0f in 100", n);
	return buf;
}
