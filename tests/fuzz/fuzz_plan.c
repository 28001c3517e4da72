/* Any bytes at all: the plan reader answers with a plan or with faults, and what it takes for a
 * plan comes out the same when written and read again. */
#include "store/plan_file.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static char label[] = "Wing", unit[] = "deg";
static struct adjustable adjustables[] = {
	{.id = "front-wing",
		.label = label,
		.unit = unit,
		.pair = 0,
		.min = 0,
		.max = 10 * FIX_ONE,
		.step = FIX_ONE / 2},
	{.id = "rear-wing",
		.label = label,
		.unit = unit,
		.pair = 0,
		.min = 0,
		.max = 10 * FIX_ONE,
		.step = FIX_ONE},
	{.id = "bias",
		.label = label,
		.unit = unit,
		.pair = -1,
		.min = 0,
		.max = 10 * FIX_ONE,
		.step = FIX_ONE},
};
static struct pair pairs[] = {{.id = "wing", .front = 0, .rear = 1}};
static const struct car car = {
	.id = "fuzz", .n_adjustables = 3, .n_pairs = 1, .adjustables = adjustables, .pairs = pairs};

static struct plan *read_text(const char *text, size_t size)
{
	struct doc d;
	struct faults faults;
	struct plan *p = NULL;
	faults_init(&faults);
	if (doc_parse(&d, text, size, "fuzz", &faults)) {
		p = load_plan(&d, &car, &faults);
		if (!p && !faults.total)
			abort();
		doc_free(&d);
	}
	faults_free(&faults);
	return p;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct buf once, twice;
	struct plan *p = read_text((const char *)data, size);
	if (!p)
		return 0;
	buf_init(&once);
	buf_init(&twice);
	print_plan(&once, &car, p);
	struct plan *q = once.data ? read_text(once.data, once.len) : NULL;
	if (!q)
		abort();
	print_plan(&twice, &car, q);
	if (once.len != twice.len || memcmp(once.data, twice.data, once.len) != 0)
		abort();
	plan_free(p);
	plan_free(q);
	buf_free(&once);
	buf_free(&twice);
	return 0;
}
