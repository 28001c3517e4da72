#include "tui/session_own.h"

static const char *pair_words(const struct sheet *s, size_t pair)
{
	return s->locked[pair] ? "held" : s->share_held[pair] ? "share held" : "let go";
}

void session_tell_differences(const struct app *app, const struct sheet *a, const struct sheet *b,
	const char *a_name, const char *b_name, struct buf *out)
{
	const struct car *car = &app->book.car;
	buf_addf(out, "%-24s %12s %12s\n", "", a_name, b_name);
	for (size_t i = 0; i < a->n_values; i++) {
		const struct adjustable *ad = &car->adjustables[i];
		char title[CAR_TITLE_SIZE], x[CAR_VALUE_SIZE], y[CAR_VALUE_SIZE];
		if (a->values[i] != b->values[i])
			buf_addf(out, "%-24s %12s %12s\n", car_title(ad, title, sizeof title),
				car_value_text(ad, a->values[i], x, sizeof x),
				car_value_text(ad, b->values[i], y, sizeof y));
		if (a->frozen[i] != b->frozen[i])
			buf_addf(out, "%-24s %12s %12s\n", car_title(ad, title, sizeof title),
				a->frozen[i] ? "frozen" : "free", b->frozen[i] ? "frozen" : "free");
	}
	for (size_t p = 0; p < a->n_pairs; p++)
		if (a->locked[p] != b->locked[p] || a->share_held[p] != b->share_held[p])
			buf_addf(out, "%-24s %12s %12s\n", car->pairs[p].id, pair_words(a, p),
				pair_words(b, p));
}

/* What each pair holds, as on another sheet; after the values, whose share is then held. */
static bool take_pairs(struct edit *e, const struct sheet *want, struct err *err)
{
	bool ok = true;
	for (size_t p = 0; ok && p < want->n_pairs; p++) {
		const bool held = edit_sheet(e)->share_held[p];
		ok = edit_lock(e, (int)p, want->locked[p], err);
		if (ok && held != want->share_held[p])
			ok = edit_hold_share(e, (int)p, want->share_held[p], err);
	}
	return ok;
}

bool session_take_sheet(struct edit *e, const struct sheet *want, struct err *err)
{
	struct edit_change c;
	bool ok = edit_apply(e, want->values, true, &c, err) && take_pairs(e, want, err);
	for (size_t i = 0; ok && i < want->n_values; i++)
		ok = edit_freeze(e, (int)i, want->frozen[i], err);
	return ok;
}
