/* From the fits of borrowed books to a prior on the relative scale; doc/borrow.md. */
#include "model/prior_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void prior_free(struct prior *p)
{
	free(p->terms);
	free(p->u);
	free(p->mean);
	free(p->cov);
	free(p->tau);
	free(p->size);
	memset(p, 0, sizeof *p);
}

static void add_term(struct prior *p, const struct term *t)
{
	if (prior_term(p, t->kind, t->a, t->b) < 0)
		p->terms[p->n++] = *t;
}

/* All linear terms, squares and products of the fit here, and of the old books' less `leave`. */
static bool lay_terms(const struct model *m, const struct lender *s, size_t books, size_t slot,
	const bool *leave, struct prior *p)
{
	p->n = 0;
	free(p->terms);
	p->terms = calloc(3 * m->n_coords + 1, sizeof *p->terms);
	if (!p->terms)
		return false;
	for (size_t c = 0; c < m->n_coords; c++) {
		struct term *t = &p->terms[p->n++];
		*t = (struct term){.kind = TERM_LINEAR, .a = (int)c};
		model_coord_id(m, c, t->id, sizeof t->id);
	}
	for (enum term_kind kind = TERM_SQUARE; kind <= TERM_PRODUCT; kind++)
		for (size_t c = 0; c < m->n_coords; c++)
			for (size_t i = 0; i <= books; i++) {
				size_t theirs = slot;
				if (i > 0 && !prior_old_slot(m->book, s[i - 1].m, slot, &theirs))
					continue;
				const struct response *r =
					borrow_response(i ? s[i - 1].m : m, theirs);
				for (size_t t = 0; r && t < r->n_terms; t++)
					if (r->terms[t].kind == kind && r->terms[t].a == (int)c &&
						(i == 0 || !leave[(size_t)(kind - TERM_SQUARE) *
									   m->n_coords +
								   c]))
						add_term(p, &r->terms[t]);
			}
	return true;
}

bool prior_contrast(const struct prior *p, const double *c, double *mean, double *variance)
{
	double len = 0, told = 0;
	double a[1024];
	*mean = *variance = 0;
	if (p->rank > 1024)
		return false;
	for (size_t j = 0; j < p->n; j++)
		len += c[j] * c[j];
	for (size_t k = 0; k < p->rank; k++) {
		a[k] = 0;
		for (size_t j = 0; j < p->n; j++)
			a[k] += p->u[k * p->n + j] * c[j];
		told += a[k] * a[k];
		*mean += a[k] * p->mean[k];
	}
	for (size_t k = 0; k < p->rank; k++)
		for (size_t l = 0; l < p->rank; l++)
			*variance += a[k] * p->cov[k * p->rank + l] * a[l];
	return len > 0 && len - told <= 1e-9 * len;
}

struct estimate borrow_term(const struct prior *p, enum term_kind kind, int a, int b)
{
	struct estimate e = {.se = NAN, .low = NAN, .high = NAN, .borrowed = 1};
	const double unit = p->base > 0 ? p->base : 1;
	const int at = p->rank ? prior_term(p, kind, a, b) : -1;
	double c[1024] = {0}, variance;
	if (at < 0 || p->n > 1024)
		return e;
	c[at] = 1;
	e.known = prior_contrast(p, c, &e.value, &variance);
	e.has_interval = e.known && p->df >= 1;
	e.value *= unit;
	e.se = unit * sqrt(variance);
	e.df = p->df;
	return e;
}

bool borrow_delta(const struct model *m, const struct prior *p, const fix *values,
	const fix *against, double *mean, double *se)
{
	double x[1024], x0[1024], c[1024], variance;
	if (m->n_coords > 1024 || p->n > 1024 || !p->rank)
		return false;
	model_coords(m, values, x);
	model_coords(m, against, x0);
	for (size_t t = 0; t < p->n; t++)
		c[t] = model_term_value(&p->terms[t], x) - model_term_value(&p->terms[t], x0);
	const bool told = prior_contrast(p, c, mean, &variance);
	*se = sqrt(variance);
	return told;
}

/* Squares and products that are neither fitted here nor told by themselves would only take
 * answers away: out with them. True where one went. */
static bool drop_untold(const struct model *m, const struct prior *p, size_t slot, bool *leave)
{
	bool any = false;
	const struct response *own = borrow_response(m, slot);
	for (size_t t = m->n_coords; t < p->n; t++) {
		const struct term *k = &p->terms[t];
		if (response_has_term(own, k->kind, k->a) ||
			borrow_term(p, k->kind, k->a, k->b).known)
			continue;
		leave[(size_t)(k->kind - TERM_SQUARE) * m->n_coords + (size_t)k->a] = true;
		any = true;
	}
	return any;
}

static bool prior_try(struct model *m, const struct lender *s, size_t books, size_t slot,
	const bool *leave, struct prior *p)
{
	struct told *told = calloc(books + 1, sizeof *told);
	prior_free(p);
	bool ok = told && lay_terms(m, s, books, slot, leave, p);
	for (size_t i = 0; ok && i < books; i++) {
		ok = told_make(m, p, &s[i], slot, &told[i]);
		p->n_books += told[i].n > 0;
		p->n_classed += told[i].n > 0 && told[i].lesson->how == LESSON_CLASSES;
	}
	p->tau = ok ? calloc(p->n + 1, sizeof *p->tau) : NULL;
	p->size = ok ? calloc(p->n + 1, sizeof *p->size) : NULL;
	ok = p->tau && p->size;
	if (ok) {
		prior_pool_noise(p, told, books);
		p->base = prior_base(m, slot);
		for (enum term_kind k = TERM_LINEAR; ok && k <= TERM_PRODUCT; k++)
			ok = prior_find_spread(m, p, told, books, k);
		ok = ok && prior_join(p, told, books);
	}
	for (size_t i = 0; told && i < books; i++)
		told_free(&told[i]);
	free(told);
	return ok;
}

static bool prior_make(
	struct model *m, const struct lender *s, size_t books, size_t slot, struct prior *p)
{
	bool *leave = calloc(2 * m->n_coords + 1, sizeof *leave);
	bool ok = leave && prior_try(m, s, books, slot, leave, p);
	while (ok && p->rank && drop_untold(m, p, slot, leave))
		ok = prior_try(m, s, books, slot, leave, p);
	free(leave);
	return ok;
}

static void say_book(const struct model *m, const struct lender *s, struct borrowing *b)
{
	const struct response *time = &s->m->responses[RESPONSE_TIME];
	size_t ignored;
	if (!time->fitted)
		borrow_note(b, "nothing borrowed from %.80s: %.80s", s->from->path, time->why);
	else if (!(time->df_run >= 1))
		borrow_note(b, "nothing borrowed from %.80s: its effects have no interval",
			s->from->path);
	if (m->n_responses > 1 && !prior_old_slot(m->book, s->m, 1, &ignored))
		borrow_note(b, "no wear borrowed from %.80s: it has other wear channels",
			s->from->path);
	for (size_t i = 0; i < s->m->book->n_borrow; i++)
		borrow_note(b, "what %.70s borrows itself is not followed", s->from->path);
}

static bool find_range(const struct model *m, const struct lender *s, size_t n, struct borrowing *b)
{
	b->lo = malloc((m->n_coords + 1) * sizeof *b->lo);
	b->hi = malloc((m->n_coords + 1) * sizeof *b->hi);
	if (!b->lo || !b->hi)
		return false;
	for (size_t c = 0; c < m->n_coords; c++) {
		b->lo[c] = 1;
		b->hi[c] = -1;
		for (size_t i = 0; i < n; i++) {
			const struct coord *k = &s[i].m->coords[c];
			if (k->lo > k->hi)
				continue;
			const bool none = b->lo[c] > b->hi[c];
			b->lo[c] = none ? k->lo : fmin(b->lo[c], k->lo);
			b->hi[c] = none ? k->hi : fmax(b->hi[c], k->hi);
		}
	}
	return true;
}

bool priors_make(struct model *m, struct borrowing *b, const struct lenders *l, struct err *err)
{
	b->n_books = l->n;
	b->from = calloc(l->n + 1, sizeof *b->from);
	b->lessons = calloc(l->n + 1, sizeof *b->lessons);
	bool ok = (b->from && b->lessons) || err_memory(err);
	for (size_t i = 0; ok && i < l->n; i++) {
		b->from[i] = l->v[i].from;
		memcpy(b->lessons[i], l->v[i].lesson, sizeof b->lessons[i]);
		say_book(m, &l->v[i], b);
	}
	if (ok)
		lesson_notes(m, b);
	for (size_t slot = 0; ok && slot < PRIOR_SLOTS; slot++)
		if (borrow_response(m, slot))
			ok = prior_make(m, l->v, l->n, slot, &b->prior[slot]) || err_memory(err);
	return ok && (find_range(m, l->v, l->n, b) || err_memory(err));
}
