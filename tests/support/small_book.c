#include "support/small_book.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* A file with the folders above it; aborts where the disk does not take it. */
static void put(const char *folder, const char *name, const char *text)
{
	char path[4200], *slash;
	FILE *f;

	snprintf(path, sizeof path, "%s/%s", folder, name);
	for (slash = path + strlen(folder) + 1; (slash = strchr(slash, '/')); slash++) {
		*slash = '\0';
		mkdir(path, 0755);
		*slash = '/';
	}
	f = fopen(path, "wb");
	if (!f || fputs(text, f) < 0 || fclose(f) != 0)
		abort();
}

/* With `segments`, laps have figures of the first of the circuit's two, not of the other. */
static void put_runs(const char *folder, bool segments)
{
	for (int i = 0; i < 8; i++) {
		char name[32], text[900], part[2][80] = {"", ""};
		for (int k = 0; segments && k < 2; k++)
			snprintf(part[k], sizeof part[k],
				", segments: {s1: {time: 40.%d, wear: {front: 1.%d}}}",
				(i * 37 + k * 11) % 90 + 10, (i * 53 + k * 7) % 90 + 10);
		snprintf(name, sizeof name, "runs/r%02d.yaml", i);
		snprintf(text, sizeof text,
			"kind: run\nversion: 1\ndate: 2026-03-14T1%d:20\nsheet: base\ndriver: %s\n"
			"values: {front-wing: %d, rear-wing: %d, bias: %d}\n"
			"fuel: %d\nfuel-per-lap: 1.9\ntyre-age: %d\nlaps:\n"
			"  - {time: 91.%d, wear: {front: 2.4%d, rear: 2.6%d}, effort: %d%s}\n"
			"  - {time: \"1:31.%d43\", wear: {front: 2.5%d, rear: 2.7%d}, effort: "
			"%d%s}\n"
			"  - {time: 92, skip: traffic}\n",
			i, i % 2 ? "a" : "b", 8 + i % 3, 14 - i % 2, 54 + (i / 2) % 3, 20 + i, i,
			i + 1, i, 7 - i, 97 + i % 3, part[0], i + 2, 8 - i, i, 98 + i % 2, part[1]);
		put(folder, name, text);
	}
}

#define BOOK                                                                                       \
	"kind: book\nversion: 1\nname: Test\ncar: car\ncircuit: track\nreference: base\n"          \
	"wear-channels: [front, rear]\nwear-limit: 60\n"                                           \
	"stint: {laps: 20, pit-loss: 24, fuel-per-lap: 1.9, pace-loss: auto}\n"

void small_book_write(const char *folder)
{
	put(folder, "profiles/cars/car.yaml",
		"kind: car\nversion: 1\nname: A car\nadjustables:\n"
		"  - {id: front-wing, label: Wing, axle: front, pair: wing, unit: deg, min: 4, "
		"max: 16, "
		"step: 0.5}\n"
		"  - {id: rear-wing, label: Wing, axle: rear, pair: wing, unit: deg, min: 4, max: "
		"20, "
		"step: 0.5}\n"
		"  - {id: bias, label: Brake bias, axle: car, unit: \"%\", min: 50, max: 60, step: "
		"1}\n");
	put(folder, "profiles/circuits/track.yaml",
		"kind: circuit\nversion: 1\nname: A track\nlength: 4.82\n");
	put(folder, "book.yaml", BOOK);
	put(folder, "sheets/base.yaml",
		"kind: sheet\nversion: 1\nname: Base   # kept\nvalues:\n  front-wing: 8.0 # kept\n"
		"  rear-wing: 14\n  bias: 54\nlocks: []\n");
	put_runs(folder, false);
}

void small_book_borrowing(const char *folder)
{
	char old[4200];
	snprintf(old, sizeof old, "%s/old", folder);
	mkdir(old, 0755);
	for (int i = 0; i < 2; i++) {
		const char *dir = i ? old : folder;
		small_book_write(dir);
		put(dir, "profiles/circuits/track.yaml",
			"kind: circuit\nversion: 1\nname: A track\nlength: 4.82\nsegments:\n"
			"  - {id: s1, class: fast, length: 2000, time-share: 0.4, wear-share: "
			"0.5}\n"
			"  - {id: s2, class: slow, length: 2820, time-share: 0.6, wear-share: "
			"0.5}\n");
	}
	put_runs(old, true);
	put(folder, "book.yaml", BOOK "borrow: [{book: old}]\n");
}
