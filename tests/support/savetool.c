#include "support/savetool.h"

#include "support/support.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *test_savetool(void)
{
	static char path[4096];
	const char *program = test_program();
	const char *slash = strrchr(program, '/');

	ck_assert_ptr_nonnull(slash);
	snprintf(path, sizeof path, "%.*s/tests/tools/savetool", (int)(slash - program), program);
	return path;
}

bool test_long(void)
{
	const char *value = getenv("TREADLIGHT_LONG");

	return value && *value;
}
