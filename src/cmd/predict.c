/* predict BOOK SHEET [--against SHEET]: what the runs so far let one expect of a sheet. */
#include "cmd/answers.h"
#include "cmd/borrowed.h"
#include "cmd/cmd.h"
#include "cmd/commands.h"
#include "cmd/sheet_told.h"
#include "model/words.h"

#include <stdlib.h>

const struct cmd_option predict_options[] = {
	{"against", 0, "SHEET", false, "tell differences against this sheet, not the reference"},
	BORROWED_OPTIONS,
	CMD_OPTION_JSON,
	CMD_OPTION_END,
};

/* Ids of the terms of the change that the runs cannot tell, of all responses together. */
static json_t *untested(const struct model *m, const fix *values, const fix *against)
{
	json_t *a = json_array(), *seen = json_object();
	int *terms = malloc((4 * m->n_coords + 64) * sizeof *terms);
	for (size_t k = 0; terms && k < m->n_responses; k++) {
		const size_t n = model_untested(m, k, values, against, terms);
		for (size_t i = 0; i < n; i++) {
			const char *id = m->responses[k].terms[terms[i]].id;
			if (!json_object_get(seen, id))
				json_array_append_new(a, json_string(id));
			json_object_set_new(seen, id, json_true());
		}
	}
	free(terms);
	json_decref(seen);
	return a;
}

static json_t *extrapolated(const struct model *m, const fix *values, const fix *against)
{
	json_t *a = json_array();
	bool *off = calloc(2 * m->n_coords + 1, sizeof *off);
	char id[2 * ID_SIZE];
	if (off) {
		model_extrapolated(m, values, off);
		model_extrapolated(m, against, off + m->n_coords);
	}
	for (size_t c = 0; off && c < m->n_coords; c++)
		if (off[c] || off[m->n_coords + c])
			json_array_append_new(a, json_string(model_coord_id(m, c, id, sizeof id)));
	free(off);
	return a;
}

static int print_json(const struct model *m, const struct sheet *s, const struct sheet *against)
{
	json_t *o = json_object();
	json_object_set_new(o, "sheet", json_string(s->id));
	json_object_set_new(o, "reference", json_string(against->id));
	json_object_set_new(o, "predictions", answer_predictions(m, s->values, against->values));
	json_object_set_new(o, "like-for-like", answer_like(m, s->values, against->values));
	json_object_set_new(o, "untested", untested(m, s->values, against->values));
	json_object_set_new(o, "extrapolated", extrapolated(m, s->values, against->values));
	if (m->borrowing)
		json_object_set_new(o, "borrowed", borrowed_json(m));
	json_object_set_new(o, "balance", told_balance_json(m->book, s->values, against->values));
	json_object_set_new(o, "cautions", told_cautions_json(m->book, s->values));
	return cmd_print_json(o);
}

static int print_text(const struct model *m, const struct sheet *s, const struct sheet *against)
{
	char where[256], beyond[256];
	words_conditions(m, where, sizeof where);
	words_beyond(m, beyond, sizeof beyond);
	cmd_line("%s against %s%s%s", s->id, against->id, where[0] ? ", at " : "", where);
	if (beyond[0])
		cmd_line("%s: the values lean on that, the changes do not", beyond);
	putchar('\n');
	if (!cmd_say_empty(m->book, stdout))
		answer_table(m, s->values, against->values);
	borrowed_conflicts(m);
	told_balance(m->book, s->values, against->values);
	told_cautions_of(m->book, s, against);
	return cmd_finish();
}

int predict_run(const struct cmd_args *args)
{
	struct book b;
	struct err err;
	int status = CMD_FAILED;
	err_clear(&err);
	if (!cmd_load_book(&b, args->word[0], &status))
		return status;
	const char *other = cmd_value(args, "against");
	const struct sheet *s = cmd_sheet(&b, args->word[1]);
	const struct sheet *against = s ? cmd_sheet(&b, other ? other : b.reference) : NULL;
	struct model *m = NULL;
	if (!s || !against || !borrowed_options(args, &b, &status))
		status = CMD_USAGE;
	else if (!(m = model_new(&b, &err)))
		status = cmd_fail(&err);
	else
		status = cmd_has(args, "json") ? print_json(m, s, against)
					       : print_text(m, s, against);
	model_free(m);
	book_free(&b);
	return status;
}
