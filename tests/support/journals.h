/* What journals are left of a file. */
#ifndef TREADLIGHT_TESTS_JOURNALS_H
#define TREADLIGHT_TESTS_JOURNALS_H

#include <stddef.h>

/* Drops each of them; how many there were. Fails the test where one cannot be read or dropped. */
size_t test_drop_journals(const char *file);

#endif
