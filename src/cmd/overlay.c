/* overlay: two runs laid over each other along the lap. */
#include "model/overlay.h"
#include "cmd/commands.h"
#include "model/words.h"

#include <math.h>
#include <string.h>

const struct cmd_option overlay_options[] = {
	{"along", 0, NULL, false, "rows along the lap, not the biggest difference first"},
	CMD_OPTION_JSON, CMD_OPTION_END};

static const char *const source_names[] = {NULL, "spread", "partly", "measured"};

static json_t *side_json(const struct overlay_side *s)
{
	const char *name = source_names[s->source];
	return json_pack("{s:o, s:o, s:I}", "source", name ? json_string(name) : json_null(), "lap",
		cmd_json_number(s->source == OVERLAY_NONE ? NAN : s->lap), "laps",
		(json_int_t)s->laps);
}

static json_t *row_json(const struct overlay *o, size_t k, size_t i)
{
	const struct overlay_response *r = &o->by[k];
	const struct segment *s = &o->book->circuit.segments[i];
	json_t *v[2];
	for (int side = 0; side < 2; side++)
		v[side] = cmd_json_number(
			r->side[side].source == OVERLAY_NONE ? NAN : r->side[side].value[i]);
	return json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:b}", "segment", s->id, "class",
		segment_class_names[s->cls], "a", v[0], "b", v[1], "difference",
		cmd_json_number(r->has ? r->difference[i] : NAN), "se",
		cmd_json_number(r->has ? r->se[i] : NAN), "measured", overlay_is_measured(o, k, i));
}

static int print_json(const struct overlay *o)
{
	json_t *responses = json_array();
	char id[32];
	for (size_t k = 0; k < 1 + o->book->n_channels; k++) {
		const struct overlay_response *r = &o->by[k];
		json_t *rows = json_array();
		for (size_t i = 0; i < o->n; i++)
			json_array_append_new(rows, row_json(o, k, i));
		json_array_append_new(responses,
			json_pack("{s:s, s:s, s:o, s:o, s:o, s:o}", "id",
				book_response_id(o->book, k, id, sizeof id), "unit", words_unit(k),
				"a", side_json(&r->side[0]), "b", side_json(&r->side[1]),
				"difference", cmd_json_number(r->has ? r->lap : NAN), "segments",
				rows));
	}
	return cmd_print_json(json_pack(
		"{s:s, s:s, s:o}", "a", o->run[0]->id, "b", o->run[1]->id, "responses", responses));
}

static int print_table(const struct overlay *o, bool along)
{
	struct buf text;
	struct err err;
	err_clear(&err);
	buf_init(&text);
	overlay_text(o, along, 100, &text);
	if (text.failed) {
		buf_free(&text);
		err_memory(&err);
		return cmd_fail(&err);
	}
	fputs(text.data, stdout);
	buf_free(&text);
	return cmd_finish();
}

static const struct run *find_run(const struct book *b, const char *id)
{
	const int i = book_find_run(b, id);
	if (i >= 0)
		return &b->runs[i];
	cmd_bad("the book has no run '%.80s'; it has %zu, the first is %s", id, b->n_runs,
		b->n_runs ? b->runs[0].id : "none");
	return NULL;
}

int overlay_run(const struct cmd_args *args)
{
	struct book b;
	struct overlay o;
	struct err err;
	int status = CMD_FAILED;
	err_clear(&err);
	if (!cmd_load_book(&b, args->word[0], &status))
		return status;
	const struct run *one = find_run(&b, args->word[1]);
	const struct run *two = one ? find_run(&b, args->word[2]) : NULL;
	if (!one || !two)
		status = CMD_USAGE;
	else if (!overlay_make(&o, &b, one, two, &err))
		status = cmd_fail(&err);
	else {
		status = cmd_has(args, "json") ? print_json(&o)
					       : print_table(&o, cmd_has(args, "along"));
		overlay_free(&o);
	}
	book_free(&b);
	return status;
}
