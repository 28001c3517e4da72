#include "base/fix.h"

#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A number taken apart: where its digits are and what its exponent says. */
struct parts {
	bool negative;
	const char *whole, *fraction;
	size_t n_whole, n_fraction;
	long exponent; /* clamped to +-EXPONENT_MAX */
};
enum { EXPONENT_MAX = 100000, NUM_TEXT_MAX = 1024 };

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

static size_t count_digits(const char *text, size_t len)
{
	size_t n = 0;
	while (n < len && is_digit(text[n]))
		n++;
	return n;
}

/* What follows the e; false if it is no exponent. */
static bool split_exponent(const char *text, size_t len, long *exponent)
{
	bool negative = len > 0 && text[0] == '-';
	if (len > 0 && (text[0] == '-' || text[0] == '+')) {
		text++;
		len--;
	}
	if (len == 0 || count_digits(text, len) != len)
		return false;
	long v = 0;
	for (size_t i = 0; i < len; i++) {
		v = v * 10 + (text[i] - '0');
		if (v > EXPONENT_MAX)
			v = EXPONENT_MAX;
	}
	*exponent = negative ? -v : v;
	return true;
}

/* The grammar -?digits[.digits][(e|E)[+-]?digits], with `point` for the point. */
static bool split(const char *text, size_t len, char point, struct parts *p)
{
	memset(p, 0, sizeof *p);
	size_t i = 0;
	if (i < len && text[i] == '-') {
		p->negative = true;
		i++;
	}
	p->whole = text + i;
	p->n_whole = count_digits(text + i, len - i);
	if (p->n_whole == 0)
		return false;
	i += p->n_whole;
	if (i < len && text[i] == point) {
		i++;
		p->fraction = text + i;
		p->n_fraction = count_digits(text + i, len - i);
		if (p->n_fraction == 0)
			return false;
		i += p->n_fraction;
	}
	if (i < len && (text[i] == 'e' || text[i] == 'E'))
		return split_exponent(text + i + 1, len - i - 1, &p->exponent);
	return i == len;
}

static enum num_result parse_parts(const char *text, size_t len, struct parts *p)
{
	if (len == 0)
		return NUM_SYNTAX;
	if (split(text, len, '.', p))
		return len > NUM_TEXT_MAX ? NUM_RANGE : NUM_OK;
	struct parts other;
	if (memchr(text, ',', len) && split(text, len, ',', &other))
		return NUM_COMMA;
	return NUM_SYNTAX;
}

/* The "C" locale object; in glibc and musl a static one, so nothing is allocated. */
static locale_t c_locale(void)
{
	return newlocale(LC_ALL_MASK, "C", (locale_t)0);
}

/* The k-th digit of whole and fraction strung together. */
static int digit_at(const struct parts *p, size_t k)
{
	return k < p->n_whole ? p->whole[k] - '0' : p->fraction[k - p->n_whole] - '0';
}

/*
 * The common short number: whole digits up to 2^53 and a power of ten up to 10^22 are exact
 * doubles, so one division or product is correctly rounded (Clinger 1990). Only where double
 * arithmetic is done in double.
 */
static bool short_number(const struct parts *p, double *out)
{
	static const double tens[] = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
		1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
	size_t n = p->n_whole + p->n_fraction;
	long power = p->exponent - (long)p->n_fraction;
	if (FLT_EVAL_METHOD != 0 || n > 15 || power < -22 || power > 22)
		return false;
	int64_t digits = 0;
	for (size_t k = 0; k < n; k++)
		digits = digits * 10 + digit_at(p, k);
	double v = (double)digits;
	v = power < 0 ? v / tens[-power] : v * tens[power];
	*out = p->negative ? -v : v;
	return true;
}

enum num_result num_parse(const char *text, size_t len, double *out)
{
	struct parts p;
	enum num_result r = parse_parts(text, len, &p);
	if (r != NUM_OK)
		return r;
	if (short_number(&p, out))
		return NUM_OK;
	char copy[NUM_TEXT_MAX + 1];
	memcpy(copy, text, len);
	copy[len] = '\0';
	locale_t c = c_locale();
	if (!c)
		return NUM_RANGE;
	double v = strtod_l(copy, NULL, c);
	freelocale(c);
	if (!isfinite(v))
		return NUM_RANGE;
	*out = v;
	return NUM_OK;
}

enum num_result fix_parse(const char *text, size_t len, fix *out)
{
	struct parts p;
	enum num_result r = parse_parts(text, len, &p);
	if (r != NUM_OK)
		return r;
	/* Digit k stands for 10^place, place counting down from the first one, in millionths. */
	long place = (long)p.n_whole - 1 + p.exponent + 6;
	fix v = 0;
	size_t n = p.n_whole + p.n_fraction;
	for (size_t k = 0; k < n; k++, place--) {
		int d = digit_at(&p, k);
		if (place < 0) {
			if (d != 0)
				return NUM_DECIMALS;
			continue;
		}
		v = v * 10 + d;
		if (v > FIX_LIMIT)
			return NUM_RANGE;
	}
	for (; place >= 0 && v != 0; place--) {
		v *= 10;
		if (v > FIX_LIMIT)
			return NUM_RANGE;
	}
	*out = p.negative ? -v : v;
	return NUM_OK;
}

const char *num_explain(enum num_result r)
{
	switch (r) {
	case NUM_OK:
		return "is a number";
	case NUM_SYNTAX:
		return "is not a number; write digits with a point, such as 1.5";
	case NUM_COMMA:
		return "is not a number; write 1.5, not 1,5";
	case NUM_RANGE:
		return "is too large a number; write one that fits";
	case NUM_DECIMALS:
		return "has more than six decimals; at most six are kept";
	}
	return "is not a number";
}

double fix_to_double(fix v)
{
	return (double)v / (double)FIX_ONE;
}

fix fix_from_double(double v)
{
	double scaled = round(v * (double)FIX_ONE);
	if (!(scaled < (double)FIX_LIMIT))
		return isnan(scaled) ? 0 : FIX_LIMIT;
	return scaled <= -(double)FIX_LIMIT ? -FIX_LIMIT : (fix)scaled;
}

int fix_decimals(fix v)
{
	int n = 6;
	while (n > 0 && v % 10 == 0) {
		v /= 10;
		n--;
	}
	return n;
}

/* Digits of v from `end` backwards, the last `decimals` of them after a point. */
static char *digits_before(char *end, uint64_t v, int decimals)
{
	for (int i = 0; i < decimals; i++, v /= 10)
		*--end = (char)('0' + v % 10);
	if (decimals > 0)
		*--end = '.';
	do {
		*--end = (char)('0' + v % 10);
		v /= 10;
	} while (v > 0);
	return end;
}

/* As snprintf("%s") does. */
static int hand_over(const char *text, size_t len, char *buf, size_t size)
{
	const size_t n = len < size ? len : size - 1;
	if (size > 0) {
		memcpy(buf, text, n);
		buf[n] = '\0';
	}
	return (int)len;
}

/* By hand: the pages print tens of these at every key. */
int fix_print_min(fix v, int decimals, char *buf, size_t size)
{
	char text[40], *end = text + sizeof text;
	int need = fix_decimals(v);
	int n = decimals > need ? decimals : need;
	if (n > 6)
		n = 6;
	uint64_t a = v < 0 ? (uint64_t)0 - (uint64_t)v : (uint64_t)v;
	for (int i = n; i < 6; i++)
		a /= 10;
	char *start = digits_before(end, a, n);
	if (v < 0)
		*--start = '-';
	return hand_over(start, (size_t)(end - start), buf, size);
}

int num_fixed(double v, int decimals, char *buf, size_t size)
{
	static const double tens[] = {1, 1e1, 1e2, 1e3};
	char text[40], *end = text + sizeof text;
	const double scaled = decimals >= 0 && decimals <= 3 ? fabs(v) * tens[decimals] : INFINITY;
	if (!(scaled < 1e9) || fabs(scaled - floor(scaled) - 0.5) < 1e-4)
		return snprintf(buf, size, "%.*f", decimals, v);
	char *start = digits_before(end, (uint64_t)(scaled + 0.5), decimals);
	if (signbit(v))
		*--start = '-';
	return hand_over(start, (size_t)(end - start), buf, size);
}

int fix_print(fix v, char *buf, size_t size)
{
	return fix_print_min(v, 0, buf, size);
}

int num_print(double v, char *buf, size_t size)
{
	locale_t c = c_locale();
	locale_t old = uselocale(c);
	int n = 0;
	/* Every decimal of 15 digits survives (DBL_DIG) but among the subnormals. */
	for (int digits = fabs(v) < DBL_MIN ? 1 : DBL_DIG; digits <= 17; digits++) {
		char trial[40];
		snprintf(trial, sizeof trial, "%.*g", digits, v);
		if (digits < 17 && strtod(trial, NULL) != v)
			continue;
		n = snprintf(buf, size, "%s", trial);
		break;
	}
	uselocale(old);
	if (c)
		freelocale(c);
	return n;
}

enum num_result laptime_parse(const char *text, size_t len, double *seconds)
{
	const char *colon = memchr(text, ':', len);
	if (!colon)
		return num_parse(text, len, seconds);
	size_t n_min = (size_t)(colon - text);
	const char *rest = colon + 1;
	size_t n_rest = len - n_min - 1;
	if (n_min == 0 || n_min > 4 || count_digits(text, n_min) != n_min || n_rest > 40)
		return NUM_SYNTAX;
	if (n_rest < 2 || count_digits(rest, n_rest > 3 ? 3 : n_rest) != 2 || rest[0] > '5')
		return NUM_SYNTAX;
	if (n_rest > 2) {
		if (count_digits(rest + 3, n_rest - 3) != n_rest - 3 || n_rest == 3)
			return NUM_SYNTAX;
		if (rest[2] == ',')
			return NUM_COMMA;
		if (rest[2] != '.')
			return NUM_SYNTAX;
	}
	/* As one decimal number, so that 1:31.243 and 91.243 are the same double. */
	long minutes = 0;
	for (size_t i = 0; i < n_min; i++)
		minutes = minutes * 10 + (text[i] - '0');
	long whole = minutes * 60 + (rest[0] - '0') * 10 + (rest[1] - '0');
	char all[80];
	int n = snprintf(all, sizeof all, "%ld%.*s", whole, (int)(n_rest - 2), rest + 2);
	return num_parse(all, (size_t)n, seconds);
}

int laptime_print(double seconds, int decimals, char *buf, size_t size)
{
	if (!isfinite(seconds) || fabs(seconds) > 1e9)
		return snprintf(buf, size, "-");
	static const int scales[] = {1, 10, 100, 1000};
	int d = decimals < 0 ? 0 : decimals > 3 ? 3 : decimals;
	long long scale = scales[d];
	long long units = llround(fabs(seconds) * (double)scale);
	const char *sign = seconds < 0 && units > 0 ? "-" : "";
	long long whole = units / scale;
	if (d == 0)
		return snprintf(buf, size, "%s%lld:%02lld", sign, whole / 60, whole % 60);
	return snprintf(
		buf, size, "%s%lld:%02lld.%0*lld", sign, whole / 60, whole % 60, d, units % scale);
}

int laptime_tell(double seconds, int decimals, char *buf, size_t size)
{
	const int d = decimals < 0 ? 0 : decimals > 3 ? 3 : decimals;
	const double most = 60 - 0.5 * pow(10, -d); /* what rounds to a minute is one */
	if (d == 0 || !isfinite(seconds) || fabs(seconds) >= most)
		return laptime_print(seconds, decimals, buf, size);
	/* the same digits, without the "0:" and a leading nought */
	char text[40];
	laptime_print(fabs(seconds), d, text, sizeof text);
	const char *digits = text + (text[2] == '0' ? 3 : 2);
	const bool nought = strspn(digits, "0.") == strlen(digits);
	return snprintf(buf, size, "%s%s", seconds < 0 && !nought ? "-" : "", digits);
}

fix fix_lcm(fix a, fix b)
{
	if (a <= 0 || b <= 0)
		return 0;
	fix x = a, y = b;
	while (y != 0) {
		fix rest = x % y;
		x = y;
		y = rest;
	}
	fix part = a / x;
	return part > FIX_LIMIT / b ? 0 : part * b;
}
