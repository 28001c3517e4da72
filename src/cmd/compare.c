/* compare: two sheets side by side, and what each difference contributes. */
#include "compare/compare.h"
#include "cmd/answers.h"
#include "cmd/commands.h"
#include "cmd/fitted.h"
#include "cmd/sheet_told.h"
#include "model/verdict.h"
#include "model/words.h"
#include "stint/stint.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const struct cmd_option compare_options[] = {
	{"changed-first", 0, NULL, false, "rows that differ come first"}, CMD_OPTION_JSON,
	CMD_OPTION_END};

struct comparison {
	const struct fitted_book *a;
	const struct sheet *side[2]; /* A, B */
	struct compare c;
	size_t *order; /* owned [n_groups] */
};

static json_t *contribution_json(const struct model *m, const struct compare_group *g)
{
	json_t *by = json_object();
	char id[32];
	for (size_t r = 0; r < m->n_responses; r++)
		json_object_set_new(by, book_response_id(m->book, r, id, sizeof id),
			cmd_json_number(g->by[r].known ? g->by[r].value : NAN));
	return json_pack("{s:s, s:b, s:o}", "group",
		car_group_id(&m->book->car, &m->groups[g->group]), "changed", g->changed, "by", by);
}

static int print_json(const struct comparison *k)
{
	const struct model *m = k->a->model;
	const struct car *car = &m->book->car;
	json_t *values = json_array(), *parts = json_array();
	for (size_t i = 0; i < car->n_adjustables; i++)
		json_array_append_new(
			values, json_pack("{s:s, s:f, s:f}", "id", car->adjustables[i].id, "a",
					fix_to_double(k->side[0]->values[i]), "b",
					fix_to_double(k->side[1]->values[i])));
	for (size_t g = 0; g < k->c.n_groups; g++)
		json_array_append_new(parts, contribution_json(m, &k->c.groups[k->order[g]]));
	const struct book *b = &k->a->book;
	return cmd_print_json(json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:{s:o, s:o}}", "a",
		k->side[0]->id, "b", k->side[1]->id, "values", values, "contributions", parts,
		"predictions", answer_predictions(m, k->side[1]->values, k->side[0]->values),
		"like-for-like", answer_like(m, k->side[1]->values, k->side[0]->values), "balance",
		told_balance_json(b, k->side[1]->values, k->side[0]->values), "cautions", "a",
		told_cautions_json(b, k->side[0]->values), "b",
		told_cautions_json(b, k->side[1]->values)));
}

static void print_value_row(const struct comparison *k, size_t i)
{
	const struct adjustable *a = &k->a->book.car.adjustables[i];
	const fix va = k->side[0]->values[i], vb = k->side[1]->values[i];
	const char *mark[2] = {car_caution(a, va) ? "!" : " ", car_caution(a, vb) ? "!" : " "};
	char label[200], va_text[32], vb_text[32], d[33] = "";
	int decimals = fix_decimals(a->step);
	fix_print_min(va, decimals, va_text, sizeof va_text);
	fix_print_min(vb, decimals, vb_text, sizeof vb_text);
	if (va != vb) {
		d[0] = vb > va ? '+' : '-';
		fix_print_min(vb > va ? vb - va : va - vb, decimals, d + 1, sizeof d - 1);
	}
	cmd_pad(stdout, fitted_label(&k->a->book.car, i, label, sizeof label), 26);
	putchar(' ');
	cmd_pad(stdout, a->unit, 6);
	printf("%16s%s%16s%s", va_text, mark[0], vb_text,
		va != vb || mark[1][0] != ' ' ? mark[1] : "");
	printf(va != vb ? "%12s\n" : "\n", d);
}

static void print_values(const struct comparison *k)
{
	const struct model *m = k->a->model;
	printf("%-26s %-6s%16.16s %16.16s %12s\n", "", "", k->side[0]->id, k->side[1]->id,
		"difference");
	for (size_t i = 0; i < k->c.n_groups; i++) {
		const struct group *g = &m->groups[k->order[i]];
		if (g->pair < 0) {
			print_value_row(k, (size_t)g->adjustable);
			continue;
		}
		print_value_row(k, (size_t)m->book->car.pairs[g->pair].front);
		print_value_row(k, (size_t)m->book->car.pairs[g->pair].rear);
	}
}

/* Front minus rear of the pairs: what a lock would hold. */
static void print_held(const struct comparison *k)
{
	const struct car *car = &k->a->book.car;
	char text[2][32];
	size_t moved = 0;
	for (size_t i = 0; i < car->n_pairs; i++) {
		const struct pair *p = &car->pairs[i];
		const struct adjustable *f = &car->adjustables[p->front];
		fix d[2];
		for (size_t s = 0; s < 2; s++) {
			d[s] = k->side[s]->values[p->front] - k->side[s]->values[p->rear];
			fix_print_min(d[s], fix_decimals(f->step), text[s], sizeof text[s]);
		}
		if (d[0] == d[1])
			continue;
		if (moved++ == 0)
			puts("\nfront - rear differs");
		cmd_pad(stdout, f->label, 33);
		printf("%16s %16s\n", text[0], text[1]);
	}
	if (moved == 0 && car->n_pairs > 0)
		puts("\nfront - rear is the same in all pairs");
}

static void print_cell(const struct estimate *e)
{
	char text[FIGURE_SIZE];
	printf("  ");
	cmd_pad(stdout, fitted_figure(e, 3, text), -28);
}

/* Why something has no answer, each reason once. */
static void print_untested(const struct comparison *k)
{
	enum { REASONS = 8 };
	const struct model *m = k->a->model;
	char said[REASONS][WORDS_SIZE];
	int *terms = calloc(4 * m->n_coords + 64, sizeof *terms);
	size_t n = 0;
	for (size_t r = 0; terms && r < m->n_responses; r++) {
		size_t found = model_untested(m, r, k->side[1]->values, k->side[0]->values, terms);
		for (size_t i = 0; i < found && n < REASONS; i++) {
			size_t same = 0;
			words_untested(m, &m->responses[r], (size_t)terms[i], said[n], WORDS_SIZE);
			while (same < n && strcmp(said[same], said[n]) != 0)
				same++;
			if (same == n)
				cmd_line("not tested: %s", said[n++]);
		}
	}
	free(terms);
}

static void print_parts(const struct comparison *k)
{
	const struct model *m = k->a->model;
	char text[200];
	printf("\n%-20s", "contributes");
	for (size_t r = 0; r < m->n_responses; r++) {
		printf("  ");
		cmd_pad(stdout, words_response(m, r, text, sizeof text), -28);
	}
	putchar('\n');
	for (size_t i = 0; i < k->c.n_groups; i++) {
		const struct compare_group *g = &k->c.groups[k->order[i]];
		if (!g->changed)
			continue;
		cmd_pad(stdout, m->book->car.adjustables[m->groups[g->group].adjustable].label, 20);
		for (size_t r = 0; r < m->n_responses; r++)
			print_cell(&g->by[r]);
		putchar('\n');
	}
	printf("%-20s", "together");
	for (size_t r = 0; r < m->n_responses; r++)
		print_cell(&k->c.delta[r]);
	puts("\n(s per lap, % per lap; estimate, 95% interval)");
	print_untested(k);
}

static void print_like(const struct comparison *k)
{
	const struct model *m = k->a->model;
	puts("\nat the same pace (like for like)");
	for (size_t c = 0; c < m->book->n_channels; c++) {
		const struct like_delta *l = &k->c.like[c];
		printf("wear %-15s", m->book->channels[c]);
		if (!m->like[c].fitted) {
			cmd_line("  %s", m->like[c].why);
			continue;
		}
		if (!l->delta.known) {
			puts("  not tested");
			continue;
		}
		print_cell(&l->delta);
		printf("  %s", verdict_word(verdict_like(l, &k->c.delta[1 + c])));
		char chance[CHANCE_SIZE];
		if (l->bound)
			printf("; the exchange rate is only known to be at least so large");
		else if (l->has_chance)
			printf("; chance of being kinder %s",
				verdict_chance(l->chance_better, chance));
		puts(l->stretched ? "; exchange rate stretched past the times driven" : "");
	}
}

/* The stint's answer of B against A, where the book has a stint. */
static int print_stint(const struct comparison *k)
{
	char a[200], b[200];
	const struct stint_options o = {.draws = STINT_DRAWS};
	struct err e;
	err_clear(&e);
	if (!k->a->book.stint.laps.has)
		return CMD_OK;
	struct stint *s = stint_new(k->a->model, k->side[1]->values, k->side[0]->values,
		fitted_sheet_name(k->side[1], b, sizeof b),
		fitted_sheet_name(k->side[0], a, sizeof a), &o, &e);
	if (!s)
		return cmd_fail(&e);
	putchar('\n');
	cmd_line("stint: %s", s->sentence);
	stint_free(s);
	return CMD_OK;
}

static int print_table(const struct comparison *k)
{
	char a[200], b[200];
	printf("%s against %s\n\n", fitted_sheet_name(k->side[1], b, sizeof b),
		fitted_sheet_name(k->side[0], a, sizeof a));
	print_values(k);
	print_held(k);
	print_parts(k);
	print_like(k);
	if (k->c.extrapolated[0] || k->c.extrapolated[1])
		puts("\nextrapolated: outside what was driven");
	char borrowed[WORDS_SIZE];
	if (words_borrowed_delta(k->a->model, k->side[1]->values, k->side[0]->values, borrowed,
		    sizeof borrowed)[0]) {
		putchar('\n');
		cmd_line("%s", borrowed);
	}
	told_balance(&k->a->book, k->side[1]->values, k->side[0]->values);
	told_cautions_of(&k->a->book, k->side[0], k->side[1]);
	int status = print_stint(k);
	int finished = cmd_finish();
	return status != CMD_OK ? status : finished;
}

static int compare_sides(struct comparison *k, const struct cmd_args *args)
{
	struct err e;
	err_clear(&e);
	k->order = calloc(k->a->model->n_groups + 1, sizeof *k->order);
	if (!k->order) {
		err_memory(&e);
		return cmd_fail(&e);
	}
	if (!compare_make(&k->c, k->a->model, k->side[0]->values, k->side[1]->values, &e)) {
		free(k->order);
		return cmd_fail(&e);
	}
	compare_order(&k->c, cmd_has(args, "changed-first"), k->order);
	int status = cmd_has(args, "json") ? print_json(k) : print_table(k);
	compare_free(&k->c);
	free(k->order);
	return status;
}

int compare_run(const struct cmd_args *args)
{
	struct fitted_book a;
	int status;
	if (!fitted_open(&a, args->word[0], &status))
		return status;
	struct comparison k = {.a = &a};
	status = CMD_USAGE;
	k.side[0] = cmd_sheet(&a.book, args->word[1]);
	if (k.side[0])
		k.side[1] = cmd_sheet(&a.book, args->word[2]);
	if (k.side[0] && k.side[1])
		status = compare_sides(&k, args);
	fitted_close(&a);
	return status;
}
