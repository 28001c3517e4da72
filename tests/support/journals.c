#include "support/journals.h"

#include "store/journal.h"

#include <check.h>

size_t test_drop_journals(const char *file)
{
	struct stamp none = {0};
	struct recovery r = {0};
	struct err err;
	size_t n = 0;

	err_clear(&err);
	for (;; n++) {
		ck_assert_msg(journal_recover_next(file, &none, &r, &err), "%s", err.text);
		if (!r.found)
			return n;
		ck_assert_msg(journal_drop(&r, &err), "%s", err.text);
	}
}
