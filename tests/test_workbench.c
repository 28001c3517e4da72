/* The parts of the workbench that need no screen: the table of actions, figures as text,
 * verdicts in words. */
#include "support/support.h"

#include "model/verdict.h"
#include "store/store.h"
#include "tui/actions.h"
#include "tui/answer.h"
#include "tui/fmt.h"

#include <stdlib.h>
#include <string.h>

START_TEST(a_key_means_one_thing_on_a_page)
{
	for (int p = 0; p < PAGES; p++)
		for (int a = 0; a < ACTION_COUNT; a++) {
			const struct action_info *i = action_info((enum action)a);
			if (!(i->pages & ON(p)))
				continue;
			for (int k = 0; k < ACTION_KEYS_MAX && i->keys[k]; k++)
				ck_assert_msg(
					action_find((enum page)p, i->keys[k]) == (enum action)a,
					"%s on page %s: another action has its key", i->name,
					page_names[p]);
		}
}
END_TEST

/* The keys that were promised: the project's own contract. */
START_TEST(promised_keys_are_there)
{
	static const int sheet[] = {K_UP, K_DOWN, K_LEFT, K_RIGHT, 'h', 'j', 'k', 'l', '+', '-',
		'>', '<', K_ENTER, K_SPACE, 'f', 'u', 'r', 's', 'S', 'o', 'R', '/', K_TAB,
		K_BACKTAB, '1', '2', '3', '4', '5', '6', '?', 'q', K_CTRL('l')};
	for (size_t i = 0; i < sizeof sheet / sizeof sheet[0]; i++)
		ck_assert_msg(
			action_find(PAGE_SHEET, sheet[i]) != ACTION_COUNT, "key %d", sheet[i]);
	for (int p = 0; p < PAGES; p++) {
		ck_assert_int_eq((int)action_find((enum page)p, 'q'), ACT_quit);
		ck_assert_int_eq((int)action_find((enum page)p, '?'), ACT_help);
		ck_assert_int_eq((int)action_find((enum page)p, K_TAB), ACT_next_page);
	}
}
END_TEST

START_TEST(every_action_is_explained)
{
	char keys[64], pages[96];
	for (int a = 0; a < ACTION_COUNT; a++) {
		ck_assert_uint_gt(strlen(action_info((enum action)a)->help), 3);
		ck_assert_str_ne(action_keys((enum action)a, keys, sizeof keys), "");
		ck_assert_str_ne(action_pages((enum action)a, pages, sizeof pages), "");
	}
	ck_assert_str_eq(action_keys(ACT_repaint, keys, sizeof keys), "Ctrl-L");
	ck_assert_str_eq(action_keys(ACT_up, keys, sizeof keys), "Up  k");
	ck_assert_str_eq(action_pages(ACT_up, pages, sizeof pages), "all pages");
	ck_assert_str_eq(action_pages(ACT_more, pages, sizeof pages), "Sheet");
}
END_TEST

/* Worked by hand: two figures of the half width at most, and never more than asked for. */
START_TEST(digits_follow_the_interval)
{
	ck_assert_int_eq(fmt_decimals(0.07, 3), 2);
	ck_assert_int_eq(fmt_decimals(0.02, 3), 3);
	ck_assert_int_eq(fmt_decimals(0.02, 2), 2);
	ck_assert_int_eq(fmt_decimals(0.5, 3), 1);
	ck_assert_int_eq(fmt_decimals(40, 3), 0);
	ck_assert_int_eq(fmt_decimals(0, 3), 3);
}
END_TEST

START_TEST(figures_as_text)
{
	char buf[FMT_SIZE];
	struct estimate e = {.known = true, .has_interval = true, .low = -0.171, .high = -0.069};
	ck_assert_str_eq(fmt_signed(0.184, 2, buf), "+0.18");
	ck_assert_str_eq(fmt_signed(-0.004, 2, buf), "0.00");
	ck_assert_str_eq(fmt_signed(-0.006, 2, buf), "-0.01");
	ck_assert_str_eq(fmt_interval(&e, 2, buf), "-0.17 to -0.07");
	e.has_interval = false;
	ck_assert_str_eq(fmt_interval(&e, 2, buf), "no interval");
	ck_assert_str_eq(fmt_lap(98.42, 3, buf), "1:38.420");
	ck_assert_str_eq(fmt_chance(0.714, false, buf), "71 in 100");
	ck_assert_str_eq(fmt_chance(0.9999, false, buf), ">99 in 100");
	ck_assert_str_eq(fmt_chance(0.0001, true, buf), "<1/100");
	char id[ID_SIZE];
	ck_assert_str_eq(fmt_id("morning-05", 10, id), "morning-05");
	ck_assert_str_eq(fmt_id("morning-05", 9, id), "morning-~");
	char words[CHANCE_SIZE];
	ck_assert_str_eq(verdict_chance(0.714, words), "71 in 100");
	ck_assert_str_eq(verdict_chance(0.9999, words), "over 99 in 100");
	ck_assert_str_eq(verdict_chance(0.0001, words), "under 1 in 100");
}
END_TEST

static struct estimate told(double low, double high)
{
	return (struct estimate){.known = true,
		.has_interval = true,
		.value = (low + high) / 2,
		.low = low,
		.high = high};
}

START_TEST(a_word_needs_an_interval_clear_of_zero)
{
	struct estimate less = told(-0.2, -0.1), more = told(0.1, 0.2), doubt = told(-0.1, 0.2);
	struct estimate nothing = {.known = false}, unsure = {.known = true, .value = -0.3};
	ck_assert_int_eq(verdict_time(&less), VERDICT_FASTER);
	ck_assert_int_eq(verdict_time(&more), VERDICT_SLOWER);
	ck_assert_int_eq(verdict_time(&doubt), VERDICT_CANT_TELL);
	ck_assert_int_eq(verdict_time(&nothing), VERDICT_NOT_TESTED);
	ck_assert_int_eq(verdict_wear(&unsure), VERDICT_CANT_TELL);
	struct like_delta like = {.delta = less};
	ck_assert_int_eq(verdict_like(&like, &more), VERDICT_KINDER);
	like.delta = doubt;
	ck_assert_int_eq(verdict_like(&like, &less), VERDICT_CANT_TELL);
	like.delta = nothing;
	ck_assert_int_eq(verdict_like(&like, &nothing), VERDICT_NOT_TESTED);
	ck_assert_int_eq(verdict_like(&like, &less), VERDICT_CANT_TELL);
}
END_TEST

/*
 * The trade's own example, common practice, no source: a saving of 0.1 % a lap that costs 0.2 s,
 * where a second of lifting saves 2 %, is no saving: at equal pace it wears 0.3 % more.
 */
START_TEST(a_saving_that_lifting_beats_is_only_slower)
{
	struct estimate raw = told(-0.14, -0.06);
	struct like_delta like = {.delta = told(0.2, 0.4)};
	ck_assert_int_eq(verdict_like(&like, &raw), VERDICT_ONLY_SLOWER);
	ck_assert_str_eq(verdict_word(VERDICT_ONLY_SLOWER), "only slower");
	raw = told(0.1, 0.2);
	ck_assert_int_eq(verdict_like(&like, &raw), VERDICT_HARDER);
}
END_TEST

/* Equal, not near. */
static void same_estimate(const struct estimate *a, const struct estimate *b)
{
	ck_assert_int_eq(a->known, b->known);
	if (!a->known)
		return;
	ck_assert(a->value == b->value);
	ck_assert_int_eq(a->has_interval, b->has_interval);
	if (a->has_interval)
		ck_assert(a->low == b->low && a->high == b->high);
}

/* Against the same question asked of the model there and then. */
static void same_answer(
	const struct answer *a, const struct model *m, const fix *values, const fix *against)
{
	struct prediction p;
	model_predict(m, values, against, a->footing, &p);
	ck_assert_int_eq(p.extrapolated, a->p.extrapolated);
	for (size_t r = 0; r < m->n_responses; r++) {
		same_estimate(&p.value[r], &a->p.value[r]);
		same_estimate(&p.delta[r], &a->p.delta[r]);
	}
}

START_TEST(what_was_worked_out_ahead_is_what_is_told)
{
	char *dir = test_source("share/demo");
	struct faults faults;
	struct err err;
	struct book b;
	struct answer a = {.known = false};
	err_clear(&err);
	faults_init(&faults);
	book_init(&b);
	ck_assert(store_load_book(&b, dir, &faults));
	struct model *m = model_new(&b, &err);
	ck_assert_ptr_nonnull(m);
	ck_assert(answer_take_model(&a, m));
	const size_t n = b.car.n_adjustables;
	const fix *base = book_reference(&b)->values;
	fix *now = calloc(n, sizeof *now), *next = calloc(n, sizeof *next);
	memcpy(now, base, n * sizeof *now);
	for (size_t i = 0; i < 3 * n; i++) { /* foretold, and every third time something else */
		answer_update(&a, m, now, base);
		same_answer(&a, m, now, base);
		memcpy(next, now, n * sizeof *next);
		next[i % n] += b.car.adjustables[i % n].step;
		answer_foretell(&a, m, next, base);
		memcpy(now, i % 3 ? next : base, n * sizeof *now);
		a.stale = true;
	}
	answer_drop(&a); /* as for another reference: what was foretold against this one is gone */
	answer_update(&a, m, now, now);
	same_answer(&a, m, now, now);
	free(now);
	free(next);
	answer_free(&a);
	model_free(m);
	book_free(&b);
	faults_free(&faults);
	free(dir);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("workbench");
	TCase *t = tcase_create("actions");
	tcase_add_test(t, a_key_means_one_thing_on_a_page);
	tcase_add_test(t, promised_keys_are_there);
	tcase_add_test(t, every_action_is_explained);
	suite_add_tcase(s, t);
	t = tcase_create("figures");
	tcase_add_test(t, digits_follow_the_interval);
	tcase_add_test(t, figures_as_text);
	suite_add_tcase(s, t);
	t = tcase_create("answers");
	tcase_add_test(t, what_was_worked_out_ahead_is_what_is_told);
	suite_add_tcase(s, t);
	t = tcase_create("verdicts");
	tcase_add_test(t, a_word_needs_an_interval_clear_of_zero);
	tcase_add_test(t, a_saving_that_lifting_beats_is_only_slower);
	suite_add_tcase(s, t);
	return s;
}
