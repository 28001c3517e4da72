#include "cmd/borrowed.h"

#include "cmd/answers.h"
#include "model/borrow.h"
#include "model/words.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

static const char *const kinds[3] = {"linear", "square", "product"};
static const char *const found[3] = {"default", "stated", "estimated"};

bool borrowed_options(const struct cmd_args *args, struct book *b, int *status)
{
	const char *id;
	if (cmd_has(args, "widen-borrowed") && cmd_has(args, "keep-borrowed")) {
		*status = cmd_bad("--widen-borrowed and --keep-borrowed exclude each other");
		return false;
	}
	b->borrow_keep = cmd_has(args, "keep-borrowed") ||
			 (b->borrow_keep && !cmd_has(args, "widen-borrowed"));
	if (cmd_has(args, "no-borrowed"))
		book_forget_borrowed(b);
	for (size_t i = 0; (id = cmd_value_nth(args, "drop-borrowed", i)); i++) {
		if (car_find_pair(&b->car, id) < 0 && car_find_adjustable(&b->car, id) < 0) {
			*status = cmd_bad(
				"--drop-borrowed: the car has no pair or adjustable '%.80s'", id);
			return false;
		}
		if (!book_drop_borrowed(b, id)) {
			struct err e;
			err_clear(&e);
			err_memory(&e);
			*status = cmd_fail(&e);
			return false;
		}
	}
	return true;
}

static const char *slot_id(const struct model *m, size_t slot, char *buf, size_t size)
{
	if (slot < RESPONSES_MAX)
		return book_response_id(m->book, slot, buf, size);
	snprintf(buf, size, "like-for-like-%s",
		m->book->channels[(slot - RESPONSES_MAX) % CHANNELS_MAX]);
	return buf;
}

static json_t *conflicts_json(const struct model *m)
{
	json_t *a = json_array();
	char id[48];
	for (size_t i = 0; i < m->borrowing->n_conflicts; i++) {
		const struct conflict *c = &m->borrowing->conflicts[i];
		if (c->slot >= RESPONSES_MAX + CHANNELS_MAX)
			continue;
		const struct response *r = model_driven(borrow_response(m, c->slot));
		json_t *o = json_object();
		json_object_set_new(o, "response", json_string(slot_id(m, c->slot, id, sizeof id)));
		json_object_set_new(o, "term", json_string(r->terms[c->term].id));
		json_object_set_new(o, "here", cmd_json_number(c->here));
		json_object_set_new(o, "here-se", cmd_json_number(c->here_se));
		json_object_set_new(o, "borrowed", cmd_json_number(c->borrowed));
		json_object_set_new(o, "borrowed-se", cmd_json_number(c->borrowed_se));
		json_object_set_new(o, "z", cmd_json_number(c->z));
		json_object_set_new(o, "df", cmd_json_number(c->df));
		json_object_set_new(o, "p", cmd_json_number(c->p));
		json_object_set_new(o, "beyond-chance", json_boolean(c->beyond));
		json_object_set_new(o, "widened", json_boolean(c->beyond && !m->book->borrow_keep));
		json_array_append_new(a, o);
	}
	return a;
}

static json_t *terms_json(const struct prior *p)
{
	json_t *a = json_array();
	for (size_t t = 0; t < p->n; t++) {
		const struct term *k = &p->terms[t];
		const struct estimate e = borrow_term(p, k->kind, k->a, k->b);
		if (!e.known)
			continue;
		json_t *o = json_object();
		json_object_set_new(o, "id", json_string(k->id));
		json_object_set_new(
			o, "estimate", p->base > 0 ? cmd_json_number(e.value) : json_null());
		json_object_set_new(o, "se", p->base > 0 ? cmd_json_number(e.se) : json_null());
		const double unit = p->base > 0 ? p->base : 1;
		json_object_set_new(o, "share", cmd_json_number(e.value / unit));
		json_object_set_new(o, "share-se", cmd_json_number(e.se / unit));
		json_object_set_new(o, "between-circuits", cmd_json_number(p->tau[t]));
		json_array_append_new(a, o);
	}
	return a;
}

static json_t *prior_json(const struct model *m, size_t slot)
{
	const struct prior *p = &m->borrowing->prior[slot];
	const struct response *r = borrow_response(m, slot);
	const struct agreement *g = &m->borrowing->agreement[slot];
	char id[48];
	json_t *o = json_object(), *spread = json_object(), *agreement = json_null();
	json_object_set_new(o, "response", json_string(slot_id(m, slot, id, sizeof id)));
	json_object_set_new(o, "books", json_integer((json_int_t)p->n_books));
	json_object_set_new(o, "per-segment-class", json_integer((json_int_t)p->n_classed));
	json_object_set_new(o, "base", p->base > 0 ? cmd_json_number(p->base) : json_null());
	json_object_set_new(o, "df", cmd_json_number(p->df));
	json_object_set_new(o, "sigma-run-used", cmd_json_number(r->own ? r->sigma_run : NAN));
	json_object_set_new(o, "sigma-lap-used", cmd_json_number(r->own ? r->sigma_lap : NAN));
	json_object_set_new(o, "df-run-used", cmd_json_number(r->own ? r->df_run : NAN));
	for (int k = 0; k < 3; k++)
		json_object_set_new(spread, kinds[k],
			json_pack("{s:o, s:s}", "value", cmd_json_number(p->spread[k]), "from",
				found[p->from[k]]));
	json_object_set_new(o, "spread", spread);
	json_object_set_new(o, "terms", terms_json(p));
	if (g->has)
		agreement = json_pack("{s:o, s:o, s:o, s:o}", "f", cmd_json_number(g->f), "df1",
			cmd_json_number(g->df1), "df2", cmd_json_number(g->df2), "p",
			cmd_json_number(g->p));
	json_object_set_new(o, "agreement", agreement);
	return o;
}

/* Names of classes; with shares of the lap here, an object. */
static json_t *shares_json(const double *share)
{
	json_t *o = json_object();
	for (int c = 0; c < SEG_CLASSES; c++)
		if (share[c] > 0)
			json_object_set_new(o, segment_class_names[c], cmd_json_number(share[c]));
	return o;
}

static json_t *lesson_json(const struct model *m, size_t book, size_t slot)
{
	static const char *const how[] = {"", "per-lap", "per-segment-class", "none"};
	const struct lesson *l = &m->borrowing->lessons[book][slot];
	const char *why =
		l->how == LESSON_NO_COMMON ? "no segment class in common" : lesson_whys[l->why];
	json_t *o = json_object(), *unused = json_array();
	char id[48];
	for (int c = 0; c < SEG_CLASSES; c++)
		if (l->unused[c])
			json_array_append_new(unused, json_string(segment_class_names[c]));
	json_object_set_new(o, "path", cmd_json_text(m->borrowing->from[book]->path));
	json_object_set_new(o, "response", json_string(slot_id(m, slot, id, sizeof id)));
	json_object_set_new(o, "how", json_string(how[l->how]));
	json_object_set_new(o, "why", why[0] ? cmd_json_text(why) : json_null());
	json_object_set_new(o, "told", shares_json(l->told));
	json_object_set_new(o, "not-told", shares_json(l->untold));
	json_object_set_new(o, "not-here", unused);
	return o;
}

/* How each book's effects on each response came. */
static json_t *lessons_json(const struct model *m)
{
	json_t *a = json_array();
	for (size_t i = 0; i < m->borrowing->n_books; i++)
		for (size_t k = 0; k < RESPONSES_MAX + CHANNELS_MAX; k++)
			if (m->borrowing->lessons[i][k].how != LESSON_NONE)
				json_array_append_new(a, lesson_json(m, i, k));
	return a;
}

json_t *borrowed_json(const struct model *m)
{
	const struct borrowing *b = m->borrowing;
	json_t *o = json_object(), *books = json_array(), *priors = json_array(),
	       *notes = json_array();
	for (size_t i = 0; i < m->book->n_borrow; i++) {
		const struct borrow *w = &m->book->borrow[i];
		json_t *without = json_array();
		for (size_t k = 0; k < w->n_without; k++)
			json_array_append_new(without, json_string(w->without[k]));
		json_array_append_new(
			books, json_pack("{s:o, s:o, s:o, s:o}", "path", cmd_json_text(w->path),
				       "book", cmd_json_text(w->book ? w->book->id : ""), "trust",
				       cmd_json_number(w->trust), "without", without));
	}
	for (size_t k = 0; k < RESPONSES_MAX + CHANNELS_MAX; k++)
		if (borrow_response(m, k) && b->prior[k].rank)
			json_array_append_new(priors, prior_json(m, k));
	for (size_t i = 0; i < b->n_notes; i++)
		json_array_append_new(notes, cmd_json_text(b->notes[i]));
	json_object_set_new(o, "books", books);
	json_object_set_new(o, "responses", priors);
	json_object_set_new(o, "lessons", lessons_json(m));
	json_object_set_new(o, "conflicts", conflicts_json(m));
	json_object_set_new(o, "notes", notes);
	return o;
}

void borrowed_conflicts(const struct model *m)
{
	char words[2 * WORDS_SIZE], line[2 * WORDS_SIZE + 16];
	bool any = false;
	for (size_t i = 0; m->borrowing && i < m->borrowing->n_conflicts; i++) {
		const struct conflict *c = &m->borrowing->conflicts[i];
		if (!c->beyond || c->slot >= RESPONSES_MAX + CHANNELS_MAX)
			continue;
		any = true;
		snprintf(line, sizeof line, "conflict: %s",
			words_conflict(m, c, words, sizeof words));
		cmd_wrap(0, line);
	}
	if (!any)
		return;
	snprintf(line, sizeof line,
		"what is borrowed of them was %s; it goes with "
		"--drop-borrowed ID or `without: [ID]` in book.yaml",
		m->book->borrow_keep
			? "kept, so that their figures are disputed; --widen-borrowed widens it"
			: "widened by as much as they differ");
	cmd_wrap(0, line);
}

static void print_spread(const struct model *m, size_t slot)
{
	const struct prior *p = &m->borrowing->prior[slot];
	static const char *const how[3] = {
		"the default, none stated", "as stated", "estimated from the books"};
	char id[64], classed[64] = "", line[WORDS_SIZE];
	if (p->n_classed && p->n_classed < p->n_books)
		snprintf(classed, sizeof classed, ", %zu of them per segment class", p->n_classed);
	else if (p->n_classed)
		snprintf(classed, sizeof classed, ", per segment class");
	snprintf(line, sizeof line,
		"%s: from %zu book%s%s; an effect differs by %.0f %% of its size from circuit to "
		"circuit (%s)",
		slot < RESPONSES_MAX ? words_response(m, slot, id, sizeof id)
				     : slot_id(m, slot, id, sizeof id),
		p->n_books, p->n_books == 1 ? "" : "s", classed, 100 * p->spread[0],
		how[p->from[0]]);
	cmd_wrap(2, line);
}

/* Before a lap was driven here there is no base: what the books tell, as shares of it. */
static void print_shares(const struct model *m, size_t slot)
{
	const struct prior *p = &m->borrowing->prior[slot];
	char words[WORDS_SIZE], value[3][32];
	printf("\n  %s, in %% of the base's own; middle of the allowed range to its end\n",
		words_response(m, slot, words, sizeof words));
	for (size_t t = 0; t < p->n; t++) {
		const struct term *k = &p->terms[t];
		const struct estimate e = borrow_term(p, k->kind, k->a, k->b);
		if (!e.known)
			continue;
		const double half = e.has_interval ? gsl_cdf_tdist_Pinv(0.975, e.df) * e.se : 0;
		const int d = words_decimals(100 * half);
		fputs("    ", stdout);
		cmd_pad(stdout, words_term(m, k, words, sizeof words), 36);
		answer_signed(value[0], sizeof value[0], 100 * e.value, d);
		answer_signed(value[1], sizeof value[1], 100 * (e.value - half), d);
		answer_signed(value[2], sizeof value[2], 100 * (e.value + half), d);
		printf("%10s  %s to %s\n", value[0], e.has_interval ? value[1] : "?",
			e.has_interval ? value[2] : "?");
	}
}

static void print_disagreement(const struct model *m, size_t slot)
{
	const struct agreement *g = &m->borrowing->agreement[slot];
	char id[64], line[WORDS_SIZE];
	if (!g->has || !(g->p < 0.05))
		return;
	snprintf(line, sizeof line,
		"%s: taken together, the runs here and the borrowed effects disagree (F = %.2f, "
		"p = %.2g)",
		words_response(m, slot, id, sizeof id), g->f, g->p);
	cmd_wrap(2, line);
}

void borrowed_text(const struct model *m)
{
	const struct borrowing *b = m->borrowing;
	if (!b)
		return;
	printf("\nborrowed from %zu book%s of this car; never counted as tested\n", b->n_books,
		b->n_books == 1 ? "" : "s");
	for (size_t k = 0; k < RESPONSES_MAX + CHANNELS_MAX; k++)
		if (borrow_response(m, k) && b->prior[k].rank)
			print_spread(m, k);
	for (size_t i = 0; i < b->n_notes; i++)
		cmd_wrap(2, b->notes[i]);
	for (size_t k = 0; k < m->n_responses; k++)
		if (b->prior[k].rank && !(b->prior[k].base > 0))
			print_shares(m, k);
	for (size_t k = 0; k < RESPONSES_MAX; k++)
		print_disagreement(m, k);
	borrowed_conflicts(m);
}
