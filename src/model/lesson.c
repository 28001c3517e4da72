/* How old books' effects came to this circuit, in words. */
#include "model/prior_parts.h"
#include "model/segments.h"
#include "model/words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const char *const lesson_whys[] = {"", "this circuit has no segments",
	"its laps have no segment figures",
	"its laps with segment figures tell less than all laps"};

/* Do two responses of a book come the same way, shares aside? */
static bool alike(const struct lesson *a, const struct lesson *b)
{
	bool same = a->how == b->how && a->why == b->why;
	for (int c = 0; c < SEG_CLASSES; c++)
		same = same && (a->told[c] > 0) == (b->told[c] > 0) &&
		       (a->untold[c] > 0) == (b->untold[c] > 0) && a->unused[c] == b->unused[c];
	return same;
}

static bool books_alike(const struct model *m, const struct borrowing *b, size_t i, size_t k)
{
	for (size_t y = 0; y < m->n_responses; y++)
		if (!alike(&b->lessons[i][y], &b->lessons[k][y]))
			return false;
	return true;
}

/* Adds to a list; what has no room is counted. */
struct list {
	char text[120];
	size_t len, more;
};

static void list_add(struct list *l, const char *word)
{
	const size_t need = strlen(word) + (l->len ? 2 : 0);
	if (l->more || l->len + need + sizeof " and 99 more" > sizeof l->text) {
		l->more++;
		return;
	}
	l->len += (size_t)snprintf(
		l->text + l->len, sizeof l->text - l->len, "%s%s", l->len ? ", " : "", word);
}

/* The list, or "" of an empty one. */
static const char *list_end(struct list *l)
{
	if (l->more)
		snprintf(l->text + l->len, sizeof l->text - l->len, "%s%zu more",
			l->len ? " and " : "", l->more);
	return l->text;
}

/* What one note is about: books and responses that came the same way. */
struct same {
	struct list paths, responses;
	const struct lesson *l;
	double lo, hi; /* shares of the lap here of which they tell nothing */
	bool single;   /* one book */
};

/* "30 %", "30 to 42 %" */
static const char *say_share(const struct same *s, char *buf, size_t size)
{
	if (round(100 * s->lo) < round(100 * s->hi))
		snprintf(buf, size, "%.0f to %.0f %%", 100 * s->lo, 100 * s->hi);
	else
		snprintf(buf, size, "%.0f %%", 100 * s->hi);
	return buf;
}

/* The classes that one side lacks. */
static void say_lacking(struct borrowing *b, const struct same *s)
{
	struct list untold = {0}, unused = {0};
	char share[32];
	for (int c = 0; c < SEG_CLASSES; c++) {
		if (s->l->untold[c] > 0)
			list_add(&untold, segment_class_places[c]);
		if (s->l->unused[c])
			list_add(&unused, segment_class_places[c]);
	}
	if (untold.len)
		borrow_note(b,
			"%s %s nothing of %s of the lap here (%s): a wide spread around nought",
			s->paths.text, s->single ? "tells" : "tell",
			say_share(s, share, sizeof share), list_end(&untold));
	if (unused.len)
		borrow_note(b, "what %s %s %s is not used: this circuit has none", s->paths.text,
			s->single ? "tells" : "tell", list_end(&unused));
}

static void say_same(struct borrowing *b, const struct same *s)
{
	struct list told = {0};
	const enum lesson_how how = s->l->how;
	for (int c = 0; c < SEG_CLASSES; c++)
		if (s->l->told[c] > 0)
			list_add(&told, segment_class_places[c]);
	if (how == LESSON_CLASSES)
		borrow_note(b, "%s from %s per segment class: %s", s->responses.text, s->paths.text,
			list_end(&told));
	else if (how == LESSON_NO_COMMON)
		borrow_note(b, "no %s borrowed from %s: no segment class in common",
			s->responses.text, s->paths.text);
	else if (lesson_whys[s->l->why][0])
		borrow_note(b, "%s from %s per lap: %s", s->responses.text, s->paths.text,
			lesson_whys[s->l->why]);
	if (how == LESSON_CLASSES)
		say_lacking(b, s);
}

/* The responses of a book that come as the k-th does, in one note; false where one before it does.
 */
static bool join_responses(
	const struct model *m, const struct lesson *l, size_t k, struct same *out)
{
	for (size_t y = 0; y < m->n_responses; y++) {
		char name[64];
		if (!alike(&l[y], &l[k]))
			continue;
		if (y < k)
			return false;
		list_add(&out->responses, words_response(m, y, name, sizeof name));
		out->lo = fmin(out->lo, 1 - l[y].seen);
		out->hi = fmax(out->hi, 1 - l[y].seen);
	}
	list_end(&out->responses);
	return true;
}

/* Likewise the books; those alike have the same classes here, so the same shares. */
static bool join_books(
	const struct model *m, const struct borrowing *b, size_t book, struct list *paths)
{
	for (size_t i = 0; i < b->n_books; i++) {
		if (!books_alike(m, b, i, book))
			continue;
		if (i < book)
			return false;
		list_add(paths, b->from[i]->path);
	}
	list_end(paths);
	return true;
}

/* What a class takes of a lap here by the laps' own figures; 0 where they do not tell. */
static double measured_share(const struct model *m, enum segment_class cls, size_t response)
{
	const double lap = prior_base(m, response);
	for (size_t i = 0; m->segments && lap > 0 && i < m->segments->n; i++)
		if (m->segments->v[i].cls == cls)
			return response_base(m, &m->segments->v[i].by[response]) / lap;
	return 0;
}

/* Lessons are weighed by the profile's shares: are these what the laps here say? A fifth and a
 * point beside it is told. */
static void say_shares(const struct model *m, struct borrowing *b, size_t response)
{
	struct list off = {0};
	char name[64], word[80];
	for (int c = 0; c < SEG_CLASSES; c++) {
		const double told = segments_share(
			&m->book->circuit, (enum segment_class)c, response != RESPONSE_TIME);
		const double is = measured_share(m, (enum segment_class)c, response);
		if (!(is > 0) || fabs(is - told) < fmax(0.01, 0.2 * told))
			continue;
		snprintf(word, sizeof word, "%s %.0f %% (profile %.0f %%)", segment_class_places[c],
			100 * is, 100 * told);
		list_add(&off, word);
	}
	if (off.len)
		borrow_note(b,
			"shares of %s by the laps here: %s; mend the circuit's profile, by which "
			"lessons per segment class are weighed",
			words_response(m, response, name, sizeof name), list_end(&off));
}

static bool any_classed(const struct borrowing *b, size_t response)
{
	for (size_t i = 0; i < b->n_books; i++)
		if (b->lessons[i][response].how == LESSON_CLASSES)
			return true;
	return false;
}

void lesson_notes(const struct model *m, struct borrowing *b)
{
	for (size_t i = 0; i < b->n_books; i++) {
		struct list paths = {0};
		if (!join_books(m, b, i, &paths))
			continue;
		for (size_t k = 0; k < m->n_responses; k++) {
			struct same s = {.paths = paths, .l = &b->lessons[i][k], .lo = 1};
			s.single = !strcmp(paths.text, b->from[i]->path);
			if (s.l->how != LESSON_NONE && join_responses(m, b->lessons[i], k, &s))
				say_same(b, &s);
		}
	}
	for (size_t y = 0; y < m->n_responses; y++)
		if (any_classed(b, y))
			say_shares(m, b, y);
}
