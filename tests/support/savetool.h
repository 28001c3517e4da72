/* Where the writers' tool (tests/tools/savetool.c) was built. */
#ifndef TREADLIGHT_TESTS_SAVETOOL_H
#define TREADLIGHT_TESTS_SAVETOOL_H

#include <stdbool.h>

/* The path; static storage of the suite. */
const char *test_savetool(void);

/* True under TREADLIGHT_LONG: the long tests run in full. */
bool test_long(void);

#endif
