/* A season's book for the benchmark: invented, with effects, effort and noise. */
#include "bench/bench.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/stat.h>

enum { ADJUSTABLES_MAX = 40 };
static int pairs, singles;

static uint64_t state = 7;
static double uniform(void)
{
	state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return (double)(state >> 11) / 9007199254740992.0;
}

static double normal(void)
{
	return sqrt(-2 * log(uniform() + 1e-300)) * cos(2 * M_PI * uniform());
}

static FILE *create(const char *folder, const char *name)
{
	char path[512];
	snprintf(path, sizeof path, "%s/%s", folder, name);
	return fopen(path, "w");
}

static bool folders(const char *folder)
{
	static const char *const names[] = {
		"", "/sheets", "/runs", "/profiles", "/profiles/cars", "/profiles/circuits"};
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
		char path[512];
		snprintf(path, sizeof path, "%s%s", folder, names[i]);
		if (mkdir(path, 0777) != 0)
			return false;
	}
	return true;
}

static void print_adjustable(
	FILE *f, const char *id, const char *axle, const char *label, const char *pair)
{
	fprintf(f,
		"  - {id: %s, label: %s, axle: %s, %s%s%sunit: mm, min: -10, max: 10, step: 0.5, "
		"minutes: 3}\n",
		id, label, axle, pair ? "pair: " : "", pair ? pair : "", pair ? ", " : "");
}

static void print_car(FILE *f)
{
	char id[32], label[32], pair[32];
	fprintf(f, "kind: car\nversion: 1\nname: Invented car of the benchmark\nadjustables:\n");
	for (int p = 0; p < pairs; p++)
		for (int k = 0; k < 2; k++) {
			snprintf(id, sizeof id, "p%d-%s", p, k ? "rear" : "front");
			snprintf(label, sizeof label, "Pair %d", p);
			snprintf(pair, sizeof pair, "p%d", p);
			print_adjustable(f, id, k ? "rear" : "front", label, pair);
		}
	for (int s = 0; s < singles; s++) {
		snprintf(id, sizeof id, "s%d", s);
		snprintf(label, sizeof label, "Single %d", s);
		print_adjustable(f, id, "car", label, NULL);
	}
}

static void print_values(FILE *f, const double *v)
{
	fprintf(f, "values: {");
	for (int p = 0; p < pairs; p++)
		fprintf(f, "p%d-front: %.1f, p%d-rear: %.1f, ", p, v[2 * p], p, v[2 * p + 1]);
	for (int s = 0; s < singles; s++)
		fprintf(f, "s%d: %.1f%s", s, v[2 * pairs + s], s + 1 < singles ? ", " : "}\n");
}

static void print_run(FILE *f, int run, int laps)
{
	double v[ADJUSTABLES_MAX] = {0}, time = 98 + 0.08 * normal(), wear = 2.4 + 0.03 * normal();
	for (int i = 0; run % 5 && i < 2 * pairs + singles; i++) {
		v[i] = floor(uniform() * 5 - 2) * 2.5;
		time += 0.02 * v[i] / 10 * (i % 3) + 0.05 * v[i] * v[i] / 100;
		wear -= 0.03 * v[i] / 10 * (i % 4);
	}
	fprintf(f, "kind: run\nversion: 1\ndate: 2026-%02d-%02dT%02d:%02d\nsheet: base\n",
		1 + run / 100 % 12, 1 + run / 4 % 25, 9 + run % 4 * 2, run % 60);
	print_values(f, v);
	fprintf(f, "fuel: 40\nfuel-per-lap: 1.9\ntrack-temp: %d\ntyre-age: %d\nlaps:\n",
		20 + run % 17, run % 3 * 5);
	for (int j = 0; j < laps; j++) {
		const double effort = 96 + floor(uniform() * 5), e = effort - 100;
		fprintf(f, "  - {time: %.3f, wear: {front: %.2f, rear: %.2f}, effort: %.0f}\n",
			time - 0.05 * e + 0.03 * j + 0.15 * normal(),
			wear + 0.04 * e + 0.05 * normal(), wear + 0.2 + 0.04 * e + 0.05 * normal(),
			effort);
	}
}

static bool write_small(const char *folder)
{
	static const double zero[ADJUSTABLES_MAX];
	FILE *f = create(folder, "profiles/cars/bench.yaml");
	bool ok = f != NULL;
	if (f) {
		print_car(f);
		ok = fclose(f) == 0 && ok;
	}
	if ((f = create(folder, "profiles/circuits/bench.yaml"))) {
		fprintf(f, "kind: circuit\nversion: 1\nname: Invented\nlength: 4.8\n");
		ok = fclose(f) == 0 && ok;
	}
	if ((f = create(folder, "sheets/base.yaml"))) {
		fprintf(f, "kind: sheet\nversion: 1\nname: Base\n");
		print_values(f, zero);
		for (int p = 0; p < pairs; p++)
			fprintf(f, "%sp%d%s", p ? ", " : "locks: [", p, p + 1 < pairs ? "" : "]\n");
		ok = fclose(f) == 0 && ok;
	}
	if ((f = create(folder, "book.yaml"))) {
		fprintf(f, "kind: book\nversion: 1\nname: Benchmark\ncar: bench\ncircuit: bench\n"
			   "reference: base\nwear-channels: [front, rear]\nwear-limit: 60\n"
			   "stint: {laps: 24, pit-loss: 24, fuel-per-lap: 1.9, pace-loss: 0.02}\n");
		ok = fclose(f) == 0 && ok;
	}
	return ok;
}

bool large_book_write(const char *folder, int runs, int laps, int adjustables)
{
	char name[64];
	pairs = adjustables * 2 / 5;
	singles = adjustables - 2 * pairs;
	if (!folders(folder) || !write_small(folder))
		return false;
	for (int i = 0; i < runs; i++) {
		snprintf(name, sizeof name, "runs/r%04d.yaml", i);
		FILE *f = create(folder, name);
		if (!f)
			return false;
		print_run(f, i, laps);
		if (fclose(f) != 0)
			return false;
	}
	return true;
}
