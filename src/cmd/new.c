/* new: a book from a car's and a circuit's profile, with a first reference sheet. */
#include "base/watch.h"
#include "cmd/commands.h"
#include "store/store.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

const struct cmd_option new_options[] = {{"car", 0, "CAR", false, "the car's profile"},
	{"circuit", 0, "CIRCUIT", false, "the circuit's profile"},
	{"name", 0, "TEXT", false, "what the book is called"},
	{"reference", 0, "ID", false, "id of the first sheet, else base"},
	{"channels", 0, "car|front,rear|fl,fr,rl,rr", false, "the wear channels; else front,rear"},
	{"wear-limit", 0, "N", false, "% of tread at which a stint ends, else 60"},
	{"value", 0, "ID=X", true,
		"a value of the first sheet; others start in the middle of their limits"},
	{"lock", 0, "PAIR", true,
		"hold this pair's front-minus-rear difference; all: of every pair"},
	{"borrow", 0, "FOLDER", true, "borrow from this earlier book of the car"}, CMD_OPTION_JSON,
	CMD_OPTION_END};

/* One line from the terminal into buf; false at its end. */
static bool ask(const char *question, char *buf, size_t size)
{
	fprintf(stderr, "%s: ", question);
	watch_busy(false);
	const bool answered = fgets(buf, (int)size, stdin) != NULL;
	watch_busy(true);
	if (!answered)
		return false;
	buf[strcspn(buf, "\r\n")] = '\0';
	return true;
}

static void list_profiles(const char *dir, const char *kind, struct buf *out)
{
	char(*ids)[ID_SIZE];
	size_t n;
	if (!store_list_profiles(dir, kind, &ids, &n)) {
		out->failed = true;
		return;
	}
	for (size_t i = 0; i < n; i++)
		buf_addf(out, "%s%s", i ? ", " : "", ids[i]);
	if (n == 0)
		buf_adds(out, "none found");
	free(ids);
}

/* The option, or the answer of whoever sits at the terminal; else what there is to choose from. */
static bool choose(
	const struct cmd_args *args, const char *option, const char *kind, char id[ID_SIZE])
{
	char answer[200] = "", question[800];
	const char *given = cmd_value(args, option);
	struct buf list;
	buf_init(&list);
	if (!given) {
		list_profiles(args->word[0], kind, &list);
		snprintf(question, sizeof question, "%s (%s)", option, list.data ? list.data : "");
		if (isatty(STDIN_FILENO) && ask(question, answer, sizeof answer))
			given = answer;
	}
	bool ok = given && text_is_id(given, strlen(given));
	if (!given)
		cmd_bad("--%s is missing; there are: %.400s", option, list.data ? list.data : "");
	else if (!ok)
		cmd_bad("--%s: '%.80s' is no id; use a-z, 0-9 and -", option, given);
	else
		memcpy(id, given, strlen(given) + 1);
	buf_free(&list);
	return ok;
}

static bool take_channels(const struct cmd_args *args, struct book *b)
{
	static const char *const lists[] = {"car", "front,rear", "fl,fr,rl,rr"};
	const char *given = cmd_value(args, "channels");
	for (int s = CHANNELS_CAR; s <= CHANNELS_WHEELS; s++) {
		if (strcmp(lists[s], given ? given : "front,rear") != 0)
			continue;
		b->n_channels = channel_set_size((enum channel_set)s);
		for (size_t i = 0; i < b->n_channels; i++)
			b->channels[i] = channel_set_name((enum channel_set)s, i);
		return true;
	}
	cmd_bad("--channels: '%.80s' is not known; car, front,rear or fl,fr,rl,rr is allowed",
		given);
	return false;
}

/* Load a profile by id; its path is told to the caller, all faults to the user. */
static char *find_profile(const struct book *b, const char *kind, const char *id, int *status)
{
	struct err e;
	err_clear(&e);
	char *path = store_find_profile(b->dir, kind, id, &e);
	if (!path)
		*status = cmd_fail(&e);
	return path;
}

static bool load_profiles(struct book *b, int *status)
{
	struct faults f;
	b->car_path = find_profile(b, "cars", b->car_id, status);
	b->circuit_path = b->car_path ? find_profile(b, "circuits", b->circuit_id, status) : NULL;
	if (!b->circuit_path)
		return false;
	faults_init(&f);
	bool car = store_load_car(&b->car, b->car_path, &f);
	bool circuit = store_load_circuit(&b->circuit, b->circuit_path, &f);
	if (!car || !circuit)
		*status = cmd_fail_faults(&f);
	faults_free(&f);
	return car && circuit;
}

/* The books of --borrow, judged as `borrow` of a book.yaml is. */
static bool take_borrowed(const struct cmd_args *args, struct book *b, int *status)
{
	const char *folders[32];
	struct faults f;
	size_t n = 0;
	while (n < sizeof folders / sizeof *folders &&
		(folders[n] = cmd_value_nth(args, "borrow", n)))
		n++;
	if (cmd_value_nth(args, "borrow", n)) {
		*status = cmd_bad("--borrow: at most %zu books are allowed", n);
		return false;
	}
	faults_init(&f);
	const bool ok = store_borrow(b, folders, n, &f);
	if (!ok)
		*status = cmd_fail_faults(&f);
	faults_free(&f);
	return ok;
}

/* "ID=X" into the sheet; *given[i] marks what was. */
static bool take_value(const struct car *car, const char *text, struct sheet *s, bool *given)
{
	const char *equals = strchr(text, '=');
	char id[ID_SIZE] = "";
	struct err e;
	fix v;
	err_clear(&e);
	if (equals && text_is_id(text, (size_t)(equals - text)))
		memcpy(id, text, (size_t)(equals - text));
	int i = car_find_adjustable(car, id);
	if (!equals || i < 0) {
		cmd_bad("--value: '%.80s' names no adjustable of the car; write ID=NUMBER", text);
		return false;
	}
	enum num_result r = fix_parse(equals + 1, strlen(equals + 1), &v);
	if (r != NUM_OK) {
		cmd_bad("--value: '%.80s' %s", text, num_explain(r));
		return false;
	}
	if (!car_check_value(&car->adjustables[i], v, "", &e)) {
		cmd_fail(&e);
		return false;
	}
	s->values[i] = v;
	given[i] = true;
	return true;
}

static bool fill_sheet(
	const struct cmd_args *args, const struct car *car, struct sheet *s, size_t *middle)
{
	bool *given = calloc(car->n_adjustables + 1, sizeof *given);
	bool ok = given != NULL;
	for (size_t i = 0; i < car->n_adjustables; i++) {
		const struct adjustable *a = &car->adjustables[i];
		s->values[i] = a->min + car_levels(a) / 2 * a->step;
	}
	const char *text;
	for (size_t k = 0; ok && (text = cmd_value_nth(args, "value", k)); k++)
		ok = take_value(car, text, s, given);
	*middle = 0;
	for (size_t i = 0; ok && i < car->n_adjustables; i++)
		*middle += !given[i];
	free(given);
	return ok;
}

static bool lock_pairs(const struct cmd_args *args, const struct car *car, struct sheet *s)
{
	const char *text;
	for (size_t k = 0; (text = cmd_value_nth(args, "lock", k)); k++) {
		const bool all = strcmp(text, "all") == 0;
		const int pair = car_find_pair(car, text);
		if (!all && pair < 0) {
			cmd_bad("--lock: the car has no pair '%.80s'; its first is '%s'", text,
				car->n_pairs ? car->pairs[0].id : "none");
			return false;
		}
		for (size_t p = 0; p < car->n_pairs; p++)
			s->locked[p] = s->locked[p] || all || (int)p == pair;
	}
	return true;
}

static int tell(const struct book *b, const struct sheet *s, size_t middle)
{
	char dir[1024];
	cmd_safe(b->dir, dir, sizeof dir);
	printf("%s: new book of %s at %s; its reference is sheets/%s.yaml\n", dir, b->car_id,
		b->circuit_id, s->id);
	if (middle > 0)
		printf("%zu of %zu values are the middle of their limits, a place to start from, "
		       "not\n"
		       "advice: set them to the car as it stands, within the tyre maker's figures "
		       "and\n"
		       "the rules.\n",
			middle, b->car.n_adjustables);
	if (b->n_borrow)
		printf("It borrows from %zu book%s of the car: what they learnt stands in for "
		       "what was not\ndriven here, and says so (doc/borrow.md).\n",
			b->n_borrow, b->n_borrow == 1 ? "" : "s");
	printf("\nNext:\n"
	       "  treadlight %s\n      opens the workbench: set the values, s saves\n"
	       "  treadlight plan %s --kind one-at-a-time --factor ID\n      plans test runs\n"
	       "  treadlight log %s --csv FILE\n"
	       "      logs their laps; or lap by lap, n on the workbench's Runs page\n",
		dir, dir, dir);
	return cmd_finish();
}

static int tell_json(const struct book *b, const struct sheet *s, size_t middle)
{
	json_t *borrow = json_array();
	for (size_t i = 0; i < b->n_borrow; i++)
		json_array_append_new(borrow, cmd_json_text(b->borrow[i].path));
	return cmd_print_json(json_pack("{s:o, s:s, s:s, s:s, s:I, s:o}", "path",
		cmd_json_text(b->dir), "car", b->car_id, "circuit", b->circuit_id, "reference",
		s->id, "values-in-the-middle", (json_int_t)middle, "borrow", borrow));
}

static int make_book(const struct cmd_args *args, struct book *b)
{
	struct sheet s;
	struct err e;
	size_t middle;
	int status = CMD_USAGE;
	err_clear(&e);
	if (!load_profiles(b, &status) || !take_borrowed(args, b, &status))
		return status;
	if (!sheet_alloc(&s, &b->car)) {
		err_memory(&e);
		return cmd_fail(&e);
	}
	memcpy(s.id, b->reference, sizeof s.id);
	if (fill_sheet(args, &b->car, &s, &middle) && lock_pairs(args, &b->car, &s)) {
		if (store_new_book(b, &s, &e)) {
			cmd_unconfirmed(&e);
			status = cmd_has(args, "json") ? tell_json(b, &s, middle)
						       : tell(b, &s, middle);
		} else {
			status = cmd_fail(&e);
		}
	}
	sheet_free(&s);
	return status;
}

static bool take_arguments(const struct cmd_args *args, struct book *b)
{
	const char *reference = cmd_value(args, "reference");
	if (!choose(args, "car", "cars", b->car_id) ||
		!choose(args, "circuit", "circuits", b->circuit_id))
		return false;
	reference = reference ? reference : "base";
	if (!text_is_id(reference, strlen(reference))) {
		cmd_bad("--reference: '%.80s' is no id; use a-z, 0-9 and -", reference);
		return false;
	}
	memcpy(b->reference, reference, strlen(reference) + 1);
	b->wear_limit = 60;
	return take_channels(args, b) && cmd_number(args, "wear-limit", 0.1, 100, &b->wear_limit);
}

int new_run(const struct cmd_args *args)
{
	struct book b;
	struct err e;
	int status = CMD_USAGE;
	const char *name = cmd_value(args, "name");
	book_init(&b);
	err_clear(&e);
	if (take_arguments(args, &b)) {
		b.dir = text_dup(args->word[0], strlen(args->word[0]));
		b.name = name ? text_dup(name, strlen(name)) : NULL;
		if (!b.dir || (name && !b.name)) {
			err_memory(&e);
			status = cmd_fail(&e);
		} else {
			status = make_book(args, &b);
		}
	}
	book_free(&b);
	return status;
}
