/*
 * What every suite shares. A suite file defines suite(); main() is in main.c.
 */
#ifndef TREADLIGHT_TESTS_SUPPORT_H
#define TREADLIGHT_TESTS_SUPPORT_H

#include <check.h>
#include <stdbool.h>
#include <stddef.h>

Suite *suite(void);

/* True under TREADLIGHT_QUICK: long loops may then be shorter. */
bool test_quick(void);

/* The path of `name` below tests/data, or below the source tree; the caller frees it. */
char *test_data(const char *name);
char *test_source(const char *name);

/* The program under test ($TREADLIGHT_BIN). */
const char *test_program(void);

/* A new empty folder, its path for the caller to free; test_remove() deletes it with all it holds.
 */
char *test_folder(void);
void test_remove(const char *path);
/* Entries of a folder, hidden ones too. */
int test_entries(const char *folder);

/* All of a file, with a closing NUL that *len leaves out; the caller frees it. Fails the test on
 * error. */
char *test_slurp(const char *path, size_t *len);

/* Writes a file anew. Fails the test on error. */
void test_write(const char *path, const char *bytes, size_t len);

/* What a program said; test_said_free() frees both texts. */
struct test_said {
	char *out, *err; /* with a closing NUL */
	size_t out_len, err_len;
	int status; /* exit status, or 128 + the signal */
};

/* Runs argv (NULL at the end; argv[0] is a path), no input. */
struct test_said test_run(const char *const *argv);
void test_said_free(struct test_said *said);

#endif
