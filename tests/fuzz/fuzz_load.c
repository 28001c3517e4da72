/*
 * Any bytes at all, read as one of the kinds of file: the first byte says which. A struct or
 * faults, never both; what is taken for a sheet or a run comes out the same when written and read
 * again.
 */
#include "store/load.h"
#include "store/write.h"

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

static void set_channels(struct book *b)
{
	book_init(b);
	b->n_channels = channel_set_size(CHANNELS_AXLES);
	for (size_t i = 0; i < b->n_channels; i++)
		b->channels[i] = channel_set_name(CHANNELS_AXLES, i);
}

static bool parse(struct doc *d, const char *text, size_t size, struct faults *faults)
{
	faults_init(faults);
	return doc_parse(d, text, size, "fuzz", faults);
}

static bool read_sheet(struct sheet *s, const char *text, size_t size)
{
	struct faults faults;
	struct doc d;
	bool ok = parse(&d, text, size, &faults) && load_sheet(s, &d, "fuzz", &car, &faults);

	if (ok == (faults.total > 0))
		abort();
	doc_free(&d);
	faults_free(&faults);
	return ok;
}

static void try_sheet(const char *text, size_t size)
{
	struct sheet s, again;
	struct buf out;

	sheet_init(&s);
	sheet_init(&again);
	if (!read_sheet(&s, text, size))
		return;
	buf_init(&out);
	write_sheet(&out, &car, &s);
	if (!out.data || !read_sheet(&again, out.data, out.len) || !sheet_equal(&s, &again))
		abort();
	buf_free(&out);
	sheet_free(&s);
	sheet_free(&again);
}

static bool read_run(struct run *r, const struct book *b, const char *text, size_t size)
{
	struct faults faults;
	struct doc d;
	bool ok = parse(&d, text, size, &faults) && load_run(r, &d, "fuzz", &car, b, &faults);

	if (ok == (faults.total > 0))
		abort();
	doc_free(&d);
	faults_free(&faults);
	return ok;
}

static void try_run(const char *text, size_t size)
{
	struct run r, again;
	struct book b;
	struct buf once, twice;

	set_channels(&b);
	b.car = car; /* borrowed: not freed with the book */
	memset(&r, 0, sizeof r);
	memset(&again, 0, sizeof again);
	buf_init(&once);
	buf_init(&twice);
	if (read_run(&r, &b, text, size)) {
		write_run(&once, &b, &r);
		if (!once.data || !read_run(&again, &b, once.data, once.len))
			abort();
		write_run(&twice, &b, &again);
		if (once.len != twice.len || memcmp(once.data, twice.data, once.len) != 0)
			abort();
		run_free(&r);
		run_free(&again);
	}
	buf_free(&once);
	buf_free(&twice);
}

static void try_other(int kind, const char *text, size_t size)
{
	struct book_refs refs;
	struct circuit circuit;
	struct faults faults;
	struct book book;
	struct car read;
	struct doc d;
	bool ok = false;

	if (parse(&d, text, size, &faults)) {
		if (kind == 0 && (ok = load_car(&read, &d, "fuzz", &faults)))
			car_free(&read);
		if (kind == 1 && (ok = load_circuit(&circuit, &d, "fuzz", &faults)))
			circuit_free(&circuit);
		book_init(&book);
		if (kind == 2)
			ok = load_book_file(&book, &d, &refs, &faults);
		book_free(&book);
	}
	if (ok == (faults.total > 0))
		abort();
	doc_free(&d);
	faults_free(&faults);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	if (size == 0)
		return 0;
	switch (data[0] % 5) {
	case 3:
		try_sheet((const char *)data + 1, size - 1);
		break;
	case 4:
		try_run((const char *)data + 1, size - 1);
		break;
	default:
		try_other(data[0] % 5, (const char *)data + 1, size - 1);
	}
	return 0;
}
