#include "store/import_parts.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void import_fault(struct work *w, const struct cell *c, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	cells_vfault(&w->t, c, w->faults, fmt, ap);
	va_end(ap);
}

const char *import_show(const struct cell *c, char buf[SHOW_SIZE])
{
	text_safe(buf, SHOW_SIZE, c->text, c->len < 60 ? c->len : 60);
	return buf;
}

bool import_number(struct work *w, const struct cell *c, struct range range, double *out)
{
	char shown[SHOW_SIZE], low[40], high[40];
	double v;
	enum num_result r = num_parse(c->text, c->len, &v);
	if (r != NUM_OK) {
		import_fault(w, c, "'%s' %s", import_show(c, shown), num_explain(r));
		return false;
	}
	if (!number_in_range(v, range)) {
		num_print(range.low, low, sizeof low);
		num_print(range.high, high, sizeof high);
		import_fault(w, c, "%s is out of range; %s %s and at most %s is allowed",
			import_show(c, shown), range.above ? "above" : "at least", low, high);
		return false;
	}
	*out = v;
	return true;
}

void import_optional(struct work *w, const struct cell *c, struct range range, struct opt_num *out)
{
	out->has = import_number(w, c, range, &out->v);
}

void import_time(struct work *w, const struct cell *c, double *out)
{
	char shown[SHOW_SIZE];
	double v = 0;
	const enum num_result r = laptime_parse(c->text, c->len, &v);
	if (c->len == 0)
		import_fault(w, c, "the time is missing; every lap needs one");
	else if (r == NUM_COMMA)
		import_fault(w, c,
			"'%s' is not a lap time; write a point, not a comma, before the decimals",
			import_show(c, shown));
	else if (r != NUM_OK || !number_in_range(v, range_laptime))
		import_fault(w, c, "'%s' is not a lap time; write seconds (91.243) or M:SS.mmm",
			import_show(c, shown));
	else
		*out = v;
}

bool import_id(struct work *w, const struct cell *c, char out[ID_SIZE])
{
	char shown[SHOW_SIZE];
	if (!text_is_id(c->text, c->len)) {
		import_fault(w, c,
			"'%s' is no id; use a-z, 0-9 and -, beginning with a letter or digit, at "
			"most %d",
			import_show(c, shown), ID_MAX);
		return false;
	}
	memcpy(out, c->text, c->len + 1);
	return true;
}

void import_date(struct work *w, const struct cell *c, struct run *r)
{
	char shown[SHOW_SIZE];
	if (run_date_valid(c->text, c->len))
		memcpy(r->date, c->text, c->len + 1);
	else
		import_fault(w, c, "'%s' is no date and time; write YYYY-MM-DDTHH:MM",
			import_show(c, shown));
}

void import_value(struct work *w, const struct cell *c, size_t a, struct run *r)
{
	char shown[SHOW_SIZE];
	struct err e;
	fix v;
	err_clear(&e);
	enum num_result res = fix_parse(c->text, c->len, &v);
	if (res != NUM_OK)
		import_fault(w, c, "'%s' %s", import_show(c, shown), num_explain(res));
	else if (!car_check_value(&w->b->car.adjustables[a], v, "", &e))
		import_fault(w, c, "%s", e.text);
	else
		r->values[a] = v;
}

void import_skip(struct work *w, const struct cell *c, struct lap *lap)
{
	if (strlen(c->text) != c->len) {
		import_fault(w, c, "the reason holds a zero byte; take it out");
		return;
	}
	if (!text_utf8_valid(c->text, c->len)) {
		import_fault(w, c, "the reason is not UTF-8 text; save the file as UTF-8");
		return;
	}
	if (c->text[strspn(c->text, " \t\r\n")] == '\0')
		return;
	lap->skip = text_dup(c->text, c->len);
	if (!lap->skip)
		w->memory = true;
}
