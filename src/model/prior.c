/* From the fits of borrowed books to a prior on the relative scale; doc/borrow.md. */
#include "model/prior_parts.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Lower triangle of a symmetric matrix, in place; false where it is not positive. */
static bool cholesky(double *a, size_t n)
{
	if (n == 0)
		return true;
	gsl_matrix_view v = gsl_matrix_view_array(a, n, n);
	return gsl_linalg_cholesky_decomp1(&v.matrix) == GSL_SUCCESS;
}

/* x = L^-1 x for columns of a row-major matrix with `width` columns. */
static void forward(const double *l, size_t n, double *x, size_t width)
{
	for (size_t i = 0; i < n; i++)
		for (size_t c = 0; c < width; c++) {
			double s = x[i * width + c];
			for (size_t k = 0; k < i; k++)
				s -= l[i * n + k] * x[k * width + c];
			x[i * width + c] = s / l[i * n + i];
		}
}

/* One book's rows [row | value], whitened by its own and the circuits' scatter. False where that
 * is nil. */
static bool whiten(const struct prior *p, const struct told *t, double *out)
{
	const size_t n = t->n, w = p->n + 1;
	double *v = malloc((n * n + 1) * sizeof *v);
	if (!v)
		return false;
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < n; k++) {
			double s = t->cov[i * n + k];
			for (size_t j = 0; j < p->n; j++)
				s += t->row[i * p->n + j] * p->tau[j] * p->tau[j] *
				     t->row[k * p->n + j];
			v[i * n + k] = s / t->trust;
		}
	const bool ok = cholesky(v, n);
	for (size_t i = 0; i < n; i++) {
		memcpy(out + i * w, t->row + i * p->n, p->n * sizeof *out);
		out[i * w + p->n] = t->value[i];
	}
	if (ok)
		forward(v, n, out, w);
	free(v);
	return ok;
}

/* A column that nothing tells must be nought, not 1e-17: the rank test scales columns. */
static double without_rounding(double v)
{
	return fabs(v) < 1e-11 ? 0 : v;
}

/* The books' mean effects in the directions told, and what that says of another circuit. */
static bool settle(struct prior *p, const double *rows, size_t n_rows, double trust)
{
	const size_t n = p->n, w = n + 1, tall = n_rows > n ? n_rows : n;
	gsl_matrix *a = gsl_matrix_calloc(tall, n), *v = gsl_matrix_alloc(n, n);
	gsl_vector *s = gsl_vector_alloc(n);
	bool ok = a && v && s;
	for (size_t i = 0; ok && i < n_rows; i++)
		for (size_t j = 0; j < n; j++)
			gsl_matrix_set(a, i, j, rows[i * w + j]);
	ok = ok && gsl_linalg_SV_decomp_jacobi(a, v, s) == GSL_SUCCESS;
	p->rank = 0;
	while (ok && p->rank < n && gsl_vector_get(s, p->rank) > TOLD_TOL * gsl_vector_get(s, 0))
		p->rank++;
	p->u = calloc(p->rank * n + 1, sizeof *p->u);
	p->mean = calloc(p->rank + 1, sizeof *p->mean);
	p->cov = calloc(p->rank * p->rank + 1, sizeof *p->cov);
	ok = ok && p->u && p->mean && p->cov;
	for (size_t k = 0; ok && k < p->rank; k++) {
		const double one = gsl_vector_get(s, k);
		for (size_t j = 0; j < n; j++)
			p->u[k * n + j] = without_rounding(gsl_matrix_get(v, j, k));
		for (size_t i = 0; i < n_rows; i++)
			p->mean[k] += gsl_matrix_get(a, i, k) * rows[i * w + n] / one;
		p->cov[k * p->rank + k] = 1 / (one * one);
	}
	for (size_t k = 0; ok && k < p->rank; k++)
		for (size_t l = 0; l < p->rank; l++)
			for (size_t j = 0; j < n; j++)
				p->cov[k * p->rank + l] += p->u[k * n + j] * p->tau[j] * p->tau[j] *
							   p->u[l * n + j] / trust;
	gsl_matrix_free(a);
	gsl_matrix_free(v);
	gsl_vector_free(s);
	return ok;
}

static bool combine(struct prior *p, const struct told *told, size_t books)
{
	size_t total = 0, n = 0;
	double trust = 0, count = 0;
	for (size_t i = 0; i < books; i++)
		total += told[i].n;
	double *rows = malloc((total * (p->n + 1) + 1) * sizeof *rows);
	if (!rows)
		return false;
	for (size_t i = 0; i < books; i++) {
		if (!told[i].n || !whiten(p, &told[i], rows + n * (p->n + 1)))
			continue;
		n += told[i].n;
		trust += told[i].trust;
		count++;
	}
	const bool ok = n == 0 || settle(p, rows, n, trust / count);
	free(rows);
	return ok;
}

void prior_free(struct prior *p)
{
	free(p->terms);
	free(p->u);
	free(p->mean);
	free(p->cov);
	free(p->tau);
	memset(p, 0, sizeof *p);
}

static void add_term(struct prior *p, const struct term *t)
{
	if (prior_term(p, t->kind, t->a, t->b) < 0)
		p->terms[p->n++] = *t;
}

/* All linear terms, squares and products of the fit here, and of the old books' less `not`. */
static bool lay_terms(const struct model *m, const struct source *s, size_t books, size_t slot,
	const bool * not, struct prior *p)
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
				if (i > 0 && !prior_old_slot(m, s[i - 1].m, slot, &theirs))
					continue;
				const struct response *r =
					borrow_response(i ? s[i - 1].m : m, theirs);
				for (size_t t = 0; r && t < r->n_terms; t++)
					if (r->terms[t].kind == kind && r->terms[t].a == (int)c &&
						(i == 0 || !not [(size_t)(kind - TERM_SQUARE) *
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
static bool drop_untold(const struct model *m, const struct prior *p, size_t slot, bool * not )
{
	bool any = false;
	const struct response *own = borrow_response(m, slot);
	for (size_t t = m->n_coords; t < p->n; t++) {
		const struct term *k = &p->terms[t];
		if (response_has_term(own, k->kind, k->a) ||
			borrow_term(p, k->kind, k->a, k->b).known)
			continue;
		not [(size_t)(k->kind - TERM_SQUARE) * m->n_coords + (size_t)k->a] = true;
		any = true;
	}
	return any;
}

static bool prior_try(struct model *m, const struct source *s, size_t books, size_t slot,
	const bool * not, struct prior *p)
{
	struct told *told = calloc(books + 1, sizeof *told);
	prior_free(p);
	bool ok = told && lay_terms(m, s, books, slot, not, p);
	for (size_t i = 0; ok && i < books; i++) {
		ok = told_make(m, p, &s[i], slot, &told[i]);
		p->n_books += told[i].n > 0;
	}
	p->tau = ok ? calloc(p->n + 1, sizeof *p->tau) : NULL;
	ok = p->tau != NULL;
	if (ok) {
		prior_pool_noise(p, told, books);
		p->base = prior_base(m, slot);
		for (enum term_kind k = TERM_LINEAR; ok && k <= TERM_PRODUCT; k++)
			ok = prior_find_spread(m, p, told, books, k);
		ok = ok && combine(p, told, books);
	}
	for (size_t i = 0; told && i < books; i++)
		told_free(&told[i]);
	free(told);
	return ok;
}

static bool prior_make(
	struct model *m, const struct source *s, size_t books, size_t slot, struct prior *p)
{
	bool *not = calloc(2 * m->n_coords + 1, sizeof *not );
	bool ok = not &&prior_try(m, s, books, slot, not, p);
	while (ok && p->rank && drop_untold(m, p, slot, not ))
		ok = prior_try(m, s, books, slot, not, p);
	free(not );
	return ok;
}

static void say_book(const struct model *m, const struct source *s, struct borrowing *b)
{
	const struct response *time = &s->m->responses[RESPONSE_TIME];
	size_t ignored;
	if (!time->fitted)
		borrow_note(b, "nothing borrowed from %.80s: %.80s", s->from->path, time->why);
	else if (!(time->df_run >= 1))
		borrow_note(b, "nothing borrowed from %.80s: its effects have no interval",
			s->from->path);
	if (m->n_responses > 1 && !prior_old_slot(m, s->m, 1, &ignored))
		borrow_note(b, "no wear borrowed from %.80s: it has other wear channels",
			s->from->path);
	for (size_t i = 0; i < s->m->book->n_borrow; i++)
		borrow_note(b, "what %.70s borrows itself is not followed", s->from->path);
}

static bool find_range(const struct model *m, const struct source *s, size_t n, struct borrowing *b)
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

static void sources_free(struct source *s, size_t n)
{
	for (size_t i = 0; s && i < n; i++)
		model_free((struct model *)s[i].m);
	free(s);
}

bool priors_make(struct model *m, struct borrowing *b, struct err *err)
{
	const struct book *book = m->book;
	struct source *s = calloc(book->n_borrow + 1, sizeof *s);
	size_t n = 0;
	bool ok = s || err_memory(err);
	for (size_t i = 0; ok && i < book->n_borrow; i++) {
		if (!book->borrow[i].book)
			continue;
		s[n] = (struct source){model_new(book->borrow[i].book, err), &book->borrow[i]};
		ok = s[n].m != NULL;
		if (ok)
			say_book(m, &s[n++], b);
	}
	for (size_t slot = 0; ok && slot < PRIOR_SLOTS; slot++)
		if (borrow_response(m, slot))
			ok = prior_make(m, s, n, slot, &b->prior[slot]) || err_memory(err);
	b->n_books = n;
	ok = ok && (find_range(m, s, n, b) || err_memory(err));
	sources_free(s, n);
	return ok;
}
