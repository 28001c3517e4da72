/*
 * Any bytes at all as a journal: records in order or none. What is read comes out the same when
 * written and read again, and half of it gives no record that the whole does not have.
 */
#include "store/journal_text.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_again(const struct recovery *r, const struct stamp *base)
{
	struct recovery again;
	struct stamp was;
	struct buf b;

	buf_init(&b);
	journal_add_header(&b, base);
	journal_add_record(&b, r->changes, r->n_changes);
	if (b.failed || !journal_parse(b.data, b.len, &again, &was) || !again.found ||
		!again.whole || again.n_changes != r->n_changes || was.hash != base->hash ||
		was.size != base->size)
		abort();
	for (size_t i = 0; i < r->n_changes; i++) {
		if (strcmp(r->changes[i].key, again.changes[i].key) != 0 ||
			strcmp(r->changes[i].value, again.changes[i].value) != 0)
			abort();
	}
	if (changes_squeeze(again.changes, again.n_changes) > r->n_changes)
		abort();
	recovery_free(&again);
	buf_free(&b);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct recovery r, half;
	struct stamp base;

	if (!journal_parse((const char *)data, size, &r, &base) ||
		!journal_parse((const char *)data, size / 2, &half, NULL))
		abort();
	if (half.n_records > r.n_records || (!r.found && r.n_records > 0))
		abort();
	if (r.found)
		check_again(&r, &base);
	recovery_free(&r);
	recovery_free(&half);
	return 0;
}
