/* Keys on the Sheet page against the bare ncurses program; starts; memory. */
#include "bench/bench.h"

#include "store/doc.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>
#include <yaml.h>

enum { COLUMNS_WIDE = 100, LINES_WIDE = 30, KEYS = 60, BURST = 50, STARTS = 5 };

/* Medians over KEYS presses; key alternates with `back` so that no limit is met. */
struct keys_seen {
	double latency, bytes, cells, places;
	double cpu; /* s, mean */
};

static bool press(struct pty_run *p, const char *key, const char *back, struct keys_seen *out)
{
	double latency[KEYS], bytes[KEYS], cells[KEYS], places[KEYS];
	const double before = pty_cpu(p);
	for (int i = 0; i < KEYS; i++) {
		if (!pty_keys(p, i % 8 < 4 ? key : back))
			return false;
		latency[i] = p->latency;
		bytes[i] = (double)p->bytes;
		cells[i] = (double)p->cells;
		places[i] = (double)p->runs;
	}
	*out = (struct keys_seen){bench_median(latency, KEYS), bench_median(bytes, KEYS),
		bench_median(cells, KEYS), bench_median(places, KEYS),
		(pty_cpu(p) - before) / KEYS};
	return true;
}

static void compare_nudge(
	struct pty_run *own, const char *floor_program, const struct keys_seen *seen)
{
	char places[16], cells[16], words[160], burst[BURST + 1];
	const char *argv[] = {floor_program, places, cells, NULL};
	struct pty_run bare;
	struct keys_seen floor;
	double start;
	snprintf(places, sizeof places, "%.0f", seen->places > 1 ? seen->places : 1);
	snprintf(cells, sizeof cells, "%.0f",
		seen->cells > seen->places ? seen->cells : seen->places);
	if (!pty_start(&bare, argv, COLUMNS_WIDE, LINES_WIDE, &start) ||
		!press(&bare, "+", "+", &floor)) {
		row_skipped("nudge against a bare ncurses program", "the bare program did not run");
		return;
	}
	snprintf(words, sizeof words, "both rewrite %s cells in %s places; p50 of %d keys", cells,
		places, KEYS);
	row_ratio("nudge on the Sheet page, key to last byte", seen->latency, floor.latency, 1.2,
		words);
	snprintf(words, sizeof words,
		"%.0f us of the processor a key, the bare program %.0f us; no goal",
		1e6 * seen->cpu, 1e6 * floor.cpu);
	if (floor.cpu > 0)
		printf("%-58s %8.2f  %-16s %-8s %s\n", "the same, processor time",
			seen->cpu / floor.cpu, "", "", words);
	row_ratio("bytes for a nudge", seen->bytes, floor.bytes, 1.1, "");
	row_goal("bytes for a nudge at 100x30", seen->bytes, "bytes", 256, false, "");
	memset(burst, '+', BURST / 2);
	memset(burst + BURST / 2, '-', BURST / 2);
	burst[BURST] = '\0';
	if (pty_keys(own, burst))
		row_ratio("50 nudges in one burst, bytes per key", (double)own->bytes / BURST,
			seen->bytes, 1.5, "against one nudge's");
	pty_stop(&bare, NULL);
}

static void nudges(const char *program, const char *floor_program, const char *demo)
{
	const char *argv[] = {program, demo, NULL};
	struct pty_run own;
	struct keys_seen seen, marker;
	double start;
	long rss = 0;
	if (!pty_start(&own, argv, COLUMNS_WIDE, LINES_WIDE, &start) ||
		!press(&own, "+", "-", &seen)) {
		row_skipped("the Sheet page", "the workbench did not run");
		return;
	}
	compare_nudge(&own, floor_program, &seen);
	if (press(&own, "j", "k", &marker))
		row_goal("bytes for a move of the marker", marker.bytes, "bytes", 43, false, "");
	pty_stop(&own, &rss);
	row_goal("memory on the demo book", (double)rss / 1024, "MiB", 16, false, "peak resident");
}

/* libyaml's bare event loop over one file; returns the number of events. */
static size_t events_of(const char *path)
{
	yaml_parser_t parser;
	yaml_event_t event;
	FILE *f = fopen(path, "rb");
	size_t n = 0;
	bool end = f == NULL;
	yaml_parser_initialize(&parser);
	if (f)
		yaml_parser_set_input_file(&parser, f);
	while (!end && yaml_parser_parse(&parser, &event)) {
		end = event.type == YAML_STREAM_END_EVENT;
		yaml_event_delete(&event);
		n++;
	}
	yaml_parser_delete(&parser);
	if (f)
		fclose(f);
	return n;
}

static size_t all_events(const char *folder)
{
	static const char *const parts[] = {
		"runs", "sheets", "profiles/cars", "profiles/circuits", "."};
	size_t n = 0;
	for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
		char path[1024];
		snprintf(path, sizeof path, "%s/%s", folder, parts[i]);
		DIR *d = opendir(path);
		for (struct dirent *e; d && (e = readdir(d));) {
			const size_t len = strlen(e->d_name);
			if (len < 5 || strcmp(e->d_name + len - 5, ".yaml") != 0)
				continue;
			snprintf(path, sizeof path, "%s/%s/%s", folder, parts[i], e->d_name);
			n += events_of(path);
		}
		if (d)
			closedir(d);
	}
	return n;
}

/* Time of the event loop in a process of its own, as the workbench has one. */
static double loop_alone(const char *folder)
{
	const double since = bench_now();
	const pid_t pid = fork();
	int status = 0;
	if (pid == 0)
		_exit(all_events(folder) > 0 ? 0 : 1);
	waitpid(pid, &status, 0);
	return bench_now() - since;
}

static void starts(const char *program, const char *large)
{
	const char *argv[] = {program, large, NULL};
	double own[STARTS], first[STARTS], loop[STARTS];
	long rss = 0;
	for (int i = 0; i < STARTS; i++) {
		struct pty_run p;
		loop[i] = loop_alone(large);
		if (!pty_start(&p, argv, COLUMNS_WIDE, LINES_WIDE, &own[i])) {
			row_skipped("start on the large book", "the workbench did not run");
			return;
		}
		first[i] = p.first;
		pty_stop(&p, &rss);
	}
	row_ratio("1,000 runs of 20 laps: start to first paint", bench_median(first, STARTS),
		bench_median(loop, STARTS), 1.5, "against libyaml's bare event loop, medians of 5");
	printf("%-58s %8.2f  %-16s %-8s %s\n", "the same, start to all figures",
		bench_median(own, STARTS) / bench_median(loop, STARTS), "", "",
		"the sheet stands while its figures are fitted; no goal");
	row_goal("memory on that book", (double)rss / 1024, "MiB", 64, false, "peak resident");
}

void bench_terminal(
	const char *program, const char *floor_program, const char *demo, const char *large)
{
	nudges(program, floor_program, demo);
	starts(program, large);
}
