/* overlay: two runs laid over each other along the lap. */
#include "model/overlay.h"
#include "cmd/answers.h"
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
		v[side] = cmd_json_number(r->side[side].source == OVERLAY_NONE ? NAN
			: r->side[side].value[i]);
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
		json_array_append_new(responses, json_pack("{s:s, s:s, s:o, s:o, s:o, s:o}", "id",
			book_response_id(o->book, k, id, sizeof id), "unit", words_unit(k), "a",
			side_json(&r->side[0]), "b", side_json(&r->side[1]), "difference",
			cmd_json_number(r->has ? r->lap : NAN), "segments", rows));
	}
	return cmd_print_json(json_pack("{s:s, s:s, s:o}", "a", o->run[0]->id, "b", o->run[1]->id,
		"responses", responses));
}

enum { BAR_HALF = 15 };

/* '<' less and '>' more than in A on either side of the middle; dots where it is not measured. */
static void print_bar(double v, double scale, bool measured)
{
	char bar[2 * BAR_HALF + 2];
	memset(bar, ' ', sizeof bar - 1);
	bar[sizeof bar - 1] = '\0';
	bar[BAR_HALF] = '|';
	const int n = scale > 0 ? (int)lround(fabs(v) / scale * BAR_HALF) : 0;
	for (int i = 1; i <= n; i++)
		bar[v < 0 ? BAR_HALF - i : BAR_HALF + i] = !measured ? '.' : v < 0 ? '<' : '>';
	fputs(bar, stdout);
}

static void print_row(const struct overlay *o, size_t k, size_t i, double scale)
{
	const struct overlay_response *r = &o->by[k];
	const struct segment *s = &o->book->circuit.segments[i];
	const bool measured = overlay_is_measured(o, k, i);
	char diff[32], se[32] = "";
	answer_signed(diff, sizeof diff, r->difference[i], 3);
	if (isfinite(r->se[i]))
		snprintf(se, sizeof se, "%.3f", r->se[i]);
	printf("  ");
	cmd_pad(stdout, s->id, 10);
	printf(" %-10s%9.3f %9.3f  %8s %7s  ", segment_class_names[s->cls], r->side[0].value[i],
		r->side[1].value[i], diff, se);
	print_bar(r->difference[i], scale, measured);
	puts(measured ? "" : "  not measured");
}

static void print_response(const struct overlay *o, size_t k, bool along)
{
	const struct overlay_response *r = &o->by[k];
	char a[120], b[120], diff[32];
	double scale = 0;
	if (k == RESPONSE_TIME)
		printf("\nlap time, s: ");
	else
		printf("\nwear %s, %% per lap: ", o->book->channels[k - 1]);
	if (!r->has) {
		printf("no reading of %s\n",
			o->run[r->side[0].source == OVERLAY_NONE ? 0 : 1]->id);
		return;
	}
	answer_signed(diff, sizeof diff, r->lap, 3);
	printf("%.3f and %.3f, %s in all\n", r->side[0].lap, r->side[1].lap, diff);
	printf("  %s %s; %s %s\n", o->run[0]->id, overlay_source_words(&r->side[0], a, sizeof a),
		o->run[1]->id, overlay_source_words(&r->side[1], b, sizeof b));
	if (r->side[0].source == OVERLAY_SPREAD && r->side[1].source == OVERLAY_SPREAD) {
		puts("  where on the lap they differ is not told: neither run has segment figures");
		return;
	}
	for (size_t i = 0; i < o->n; i++)
		scale = fmax(scale, fabs(r->difference[i]));
	printf("  %-10s %-10s%9.9s %9.9s  %8s %7s\n", "segment", "class", o->run[0]->id, o->run[1]->id,
		"differs", "se");
	for (size_t i = 0; i < o->n; i++)
		print_row(o, k, along ? i : r->order[i], scale);
}

static int print_table(const struct overlay *o, bool along)
{
	printf("%s against %s along the lap: %s less, %s more\n", o->run[1]->id, o->run[0]->id, "<", ">");
	for (size_t k = 0; k < 1 + o->book->n_channels; k++)
		print_response(o, k, along);
	puts("\nse: by the scatter of laps inside the runs alone; what differs from run to run comes on "
		"top");
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
		status = cmd_has(args, "json") ? print_json(&o) : print_table(&o, cmd_has(args, "along"));
		overlay_free(&o);
	}
	book_free(&b);
	return status;
}
