/*
 * Errors are values: what is wrong, where, what is allowed. Nothing here
 * allocates, so an error can always be told, out of memory included.
 *
 * Every function that can fail takes a `struct err *` (one fault stops it) or a
 * `struct faults *` (readers and `check`, which go on and list all). The callee
 * fills it, the caller prints it. Texts are for the user: they name the thing
 * and what is allowed, without a final full stop.
 */
#ifndef BASE_ERR_H
#define BASE_ERR_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

enum err_class {
	ERR_NONE = 0,
	ERR_INPUT,  /* bad use or bad input: exit status 2 */
	ERR_FAILED, /* an operation failed (disk, memory, numerics): exit status 1 */
};

struct err {
	enum err_class cls;
	char file[256];   /* shortened in the middle when longer; "" if none */
	size_t line, col; /* 1-based; 0: not known */
	bool held;        /* nothing is wrong with it, but somebody else has the file's lock */
	bool taken;       /* a file of that name is there already */
	char text[512];
};

#define ERR_PRINTF(a, b) __attribute__((format(printf, a, b)))

void err_clear(struct err *e);
/* Both return false, so that a caller can write `return err_input(e, ...)`. */
bool err_input(struct err *e, const char *fmt, ...) ERR_PRINTF(2, 3);
bool err_failed(struct err *e, const char *fmt, ...) ERR_PRINTF(2, 3);
/* "out of memory", ERR_FAILED. */
void err_set_memory(struct err *e);
/* The same, and false; here so that checkers of the code see that it is. */
static inline bool err_memory(struct err *e)
{
	err_set_memory(e);
	return false;
}
/* Was it that? */
bool err_is_memory(const struct err *e);
void err_at(struct err *e, const char *file, size_t line, size_t col);
/* Exit status of a class: 0, 2 or 1. */
int err_status(enum err_class cls);
/* "treadlight: FILE:LINE:COL: TEXT" into buf, sanitised for a terminal. */
void err_format(const struct err *e, char *buf, size_t size);

/* A list of faults in the order found; keeps the first FAULTS_MAX and counts the rest. */
enum { FAULTS_MAX = 200 };
struct faults {
	struct err *list; /* owned; NULL while empty */
	size_t n;         /* kept */
	size_t total;     /* found */
	struct err oom;   /* stands in where the list could not grow */
};

void faults_init(struct faults *f);
void faults_free(struct faults *f);
void faults_add(struct faults *f, const struct err *e);
/* Bad input at a place of a file; line and col 0 where they are not known. */
void faults_vadd(struct faults *f, const char *file, size_t line, size_t col, const char *fmt,
	va_list ap) ERR_PRINTF(5, 0);
/* Adds all of `from`, which is emptied, behind those of f. */
void faults_join(struct faults *f, struct faults *from);
/* Worst class found: ERR_FAILED before ERR_INPUT before ERR_NONE. */
enum err_class faults_class(const struct faults *f);

#endif
