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

/* "lap time, wear front": the responses that come as the k-th does. "" where one before it does. */
static const char *say_responses(
	const struct model *m, const struct lesson *l, size_t k, char *buf, size_t size)
{
	size_t len = 0;
	buf[0] = '\0';
	for (size_t i = 0; i < m->n_responses && len < size; i++) {
		char name[64];
		if (!alike(&l[i], &l[k]))
			continue;
		if (i < k)
			return "";
		len += (size_t)snprintf(buf + len, size - len, "%s%s", len ? ", " : "",
			words_response(m, i, name, sizeof name));
	}
	return buf;
}

/* "under braking, in fast corners" */
static const char *say_places(const bool *which, char *buf, size_t size)
{
	size_t len = 0;
	buf[0] = '\0';
	for (int c = 0; c < SEG_CLASSES && len < size; c++)
		if (which[c])
			len += (size_t)snprintf(buf + len, size - len, "%s%s", len ? ", " : "",
				segment_class_places[c]);
	return buf;
}

/* "30 %", "30 to 42 %" of the lap here is not told, over the responses that come alike. */
static const char *say_share(
	const struct model *m, const struct lesson *l, size_t k, char *buf, size_t size)
{
	double lo = 1, hi = 0;
	for (size_t i = 0; i < m->n_responses; i++)
		if (alike(&l[i], &l[k])) {
			lo = fmin(lo, 1 - l[i].seen);
			hi = fmax(hi, 1 - l[i].seen);
		}
	if (round(100 * lo) < round(100 * hi))
		snprintf(buf, size, "%.0f to %.0f %%", 100 * lo, 100 * hi);
	else
		snprintf(buf, size, "%.0f %%", 100 * hi);
	return buf;
}

/* The classes that one side lacks. */
static void say_lacking(const struct model *m, struct borrowing *b, const char *path,
	const struct lesson *l, size_t k)
{
	char share[32], where[160];
	bool untold[SEG_CLASSES], any = false;
	for (int c = 0; c < SEG_CLASSES; c++) {
		untold[c] = l[k].untold[c] > 0;
		any = any || l[k].unused[c];
	}
	if (say_places(untold, where, sizeof where)[0])
		borrow_note(b,
			"%.60s tells nothing of %s of the lap here (%.90s): a wide spread around "
			"nought",
			path, say_share(m, l, k, share, sizeof share), where);
	if (any)
		borrow_note(b, "what %.60s tells %.90s is not used: this circuit has none", path,
			say_places(l[k].unused, where, sizeof where));
}

static void say_lesson(const struct model *m, struct borrowing *b, size_t book, size_t k)
{
	const struct lesson *l = b->lessons[book];
	const char *path = b->from[book]->path;
	char names[160], where[160];
	bool told[SEG_CLASSES];
	if (!say_responses(m, l, k, names, sizeof names)[0])
		return;
	for (int c = 0; c < SEG_CLASSES; c++)
		told[c] = l[k].told[c] > 0;
	if (l[k].how == LESSON_CLASSES)
		borrow_note(b, "%.50s from %.50s per segment class: %.80s", names, path,
			say_places(told, where, sizeof where));
	else if (l[k].how == LESSON_NO_COMMON)
		borrow_note(
			b, "no %.50s borrowed from %.80s: no segment class in common", names, path);
	else if (lesson_whys[l[k].why][0])
		borrow_note(b, "%.50s from %.60s per lap: %s", names, path, lesson_whys[l[k].why]);
	if (l[k].how == LESSON_CLASSES)
		say_lacking(m, b, path, l, k);
}

void lesson_notes(const struct model *m, struct borrowing *b, size_t book)
{
	for (size_t k = 0; k < m->n_responses; k++)
		if (b->lessons[book][k].how != LESSON_NONE)
			say_lesson(m, b, book, k);
}
