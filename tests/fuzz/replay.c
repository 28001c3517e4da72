/*
 * main() of a fuzz target where libFuzzer is not linked in: feeds it each file of its corpus,
 * tests/data/corpus/NAME for fuzz_NAME, or the files named on the command line.
 */
#include <dirent.h>
#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static int feed(const char *path)
{
	FILE *f = fopen(path, "rb");
	if (!f) {
		fprintf(stderr, "%s: %s\n", path, strerror(errno));
		return 1;
	}
	size_t cap = 2 * 1024 * 1024;
	uint8_t *all = malloc(cap);
	size_t n = all ? fread(all, 1, cap, f) : 0;
	/* A block of exactly that size, so that a sanitizer sees a read past its end. */
	uint8_t *data = malloc(n ? n : 1);
	if (!all || !data) {
		fprintf(stderr, "%s: out of memory\n", path);
		exit(EXIT_FAILURE);
	}
	memcpy(data, all, n);
	free(all);
	fclose(f);
	LLVMFuzzerTestOneInput(data, n);
	free(data);
	return 0;
}

static int is_file(const struct dirent *e)
{
	return e->d_name[0] != '.';
}

static int feed_folder(const char *name)
{
	const char *top = getenv("TREADLIGHT_SRCDIR");
	char folder[4096], path[8192];
	snprintf(folder, sizeof folder, "%s/tests/data/corpus/%s", top ? top : ".", name);
	struct dirent **list;
	int n = scandir(folder, &list, is_file, alphasort);
	if (n <= 0) {
		fprintf(stderr, "%s: no corpus: %s\n", folder, n < 0 ? strerror(errno) : "empty");
		return 1;
	}
	int failed = 0;
	for (int i = 0; i < n; i++) {
		snprintf(path, sizeof path, "%s/%s", folder, list[i]->d_name);
		failed |= feed(path);
		free(list[i]);
	}
	free(list);
	printf("%s: %d files\n", name, n);
	return failed;
}

int main(int argc, char **argv)
{
	if (argc < 2) {
		const char *base = strrchr(argv[0], '/');
		base = base ? base + 1 : argv[0];
		return feed_folder(strncmp(base, "fuzz_", 5) == 0 ? base + 5 : base);
	}
	int failed = 0;
	for (int i = 1; i < argc; i++)
		failed |= feed(argv[i]);
	return failed;
}
