/* Any bytes at all as CSV: cells that stand where they say, and runs of a book or faults. */
#include "store/csv.h"
#include "store/import.h"
#include "store/store.h"
#include "support/small_book.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static struct book book;
static char path[64];
static int fd = -1;

static void start(void)
{
	char folder[] = "/tmp/treadlight-fuzz-XXXXXX", command[64];
	struct faults faults;

	if (!mkdtemp(folder))
		abort();
	small_book_write(folder);
	faults_init(&faults);
	book_init(&book);
	if (!store_load_book(&book, folder, &faults))
		abort();
	snprintf(command, sizeof command, "rm -r %s", folder);
	if (system(command) != 0)
		abort();
	/* A file in memory, for what takes a path. */
	fd = memfd_create("csv", MFD_CLOEXEC);
	snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
}

static void check_cells(const char *bytes, size_t size)
{
	struct faults faults;
	struct cells t;

	faults_init(&faults);
	if (cells_parse(&t, bytes, size, "fuzz", &faults)) {
		for (size_t i = 0; i < t.n_cells; i++) {
			if (t.cells[i].line < 1 || t.cells[i].col < 1 ||
				strlen(t.cells[i].text) > t.cells[i].len)
				abort();
		}
		for (size_t i = 0; i < t.n_rows; i++) {
			if (t.rows[i].first + t.rows[i].n > t.n_cells)
				abort();
		}
		cells_free(&t);
	} else if (faults.total == 0) {
		abort();
	}
	faults_free(&faults);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct faults faults;
	struct import in;

	if (fd < 0)
		start();
	check_cells((const char *)data, size);
	if (ftruncate(fd, 0) != 0 || pwrite(fd, data, size, 0) != (ssize_t)size)
		abort();
	faults_init(&faults);
	if (import_csv(&in, &book, path, &faults)) {
		for (size_t i = 0; i < in.n; i++) {
			struct err err;
			err_clear(&err);
			if (!store_check_run(&book, &in.runs[i], &err))
				abort();
		}
		import_free(&in);
	} else if (faults.total == 0) {
		abort();
	}
	faults_free(&faults);
	return 0;
}
