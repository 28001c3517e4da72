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

enum { COLUMNS_WIDE = 100, LINES_WIDE = 30, KEYS = 40, BURST = 50, STARTS = 5 };

/* Medians over presses; key alternates with `back` so that no limit is met. */
struct keys_seen {
	double latency, bytes, cells, places;
	double cpu; /* s, mean */
};

/* What each press of a key was answered with. */
struct presses {
	int n;
	double latency[STARTS * KEYS], bytes[STARTS * KEYS];
	double cells[STARTS * KEYS], places[STARTS * KEYS];
	double cpu; /* s, in all */
};

static bool press_once(struct pty_run *p, const char *key, struct presses *k)
{
	const double before = pty_cpu(p);
	if (!pty_keys(p, key))
		return false;
	k->cpu += pty_cpu(p) - before;
	k->latency[k->n] = p->latency;
	k->bytes[k->n] = (double)p->bytes;
	k->cells[k->n] = (double)p->cells;
	k->places[k->n++] = (double)p->runs;
	return true;
}

static struct keys_seen medians(struct presses *k)
{
	const size_t n = (size_t)k->n;
	return (struct keys_seen){bench_median(k->latency, n), bench_median(k->bytes, n),
		bench_median(k->cells, n), bench_median(k->places, n), k->cpu / k->n};
}

static bool press(struct pty_run *p, const char *key, const char *back, struct keys_seen *out)
{
	struct presses k = {.n = 0};
	while (k.n < KEYS)
		if (!press_once(p, k.n % 8 < 4 ? key : back, &k))
			return false;
	*out = medians(&k);
	return true;
}

/* Nudges come in fours, up and down, so that nothing is left to save. */
static void quit(struct pty_run *p, long *rss_kib)
{
	if (!pty_keys(p, "q"))
		p->bytes = 0; /* it has ended, as it should */
	pty_stop(p, rss_kib);
}

/* Nudges and the bare program's keys in turn, so that both meet the same machine; several starts of
 * both, since where a process comes to lie moves its times by a third. */
static bool press_in_turn(const char *const *argv, const char *const *bare_argv,
	struct keys_seen *nudge, struct keys_seen *floor)
{
	struct presses k = {.n = 0}, f = {.n = 0};
	bool ok = true;
	for (int round = 0; ok && round < STARTS; round++) {
		struct pty_run own, bare;
		double start;
		ok = pty_start(&own, argv, COLUMNS_WIDE, LINES_WIDE, &start) &&
		     pty_start(&bare, bare_argv, COLUMNS_WIDE, LINES_WIDE, &start);
		for (int i = 0; ok && i < KEYS; i++)
			ok = press_once(&own, i % 8 < 4 ? "+" : "-", &k) &&
			     press_once(&bare, "+", &f);
		quit(&own, NULL);
		quit(&bare, NULL);
	}
	*nudge = medians(&k);
	*floor = medians(&f);
	return ok;
}

/* `seen`: nudges alone, which say how many cells the bare program is to rewrite. */
static void compare_nudge(
	const char *const *argv, const char *floor_program, const struct keys_seen *seen)
{
	char places[16], cells[16], words[160];
	const char *bare_argv[] = {floor_program, places, cells, NULL};
	struct keys_seen nudge, floor;
	snprintf(places, sizeof places, "%.0f", seen->places > 1 ? seen->places : 1);
	snprintf(cells, sizeof cells, "%.0f",
		seen->cells > seen->places ? seen->cells : seen->places);
	if (!press_in_turn(argv, bare_argv, &nudge, &floor)) {
		row_skipped("nudge against a bare ncurses program", "one of them did not run");
		return;
	}
	snprintf(words, sizeof words,
		"both rewrite %s cells in %s places; p50 of %d keys over %d starts", cells, places,
		STARTS * KEYS, STARTS);
	row_ratio("nudge on the Sheet page, key to last byte", nudge.latency, floor.latency, 1.2,
		words);
	snprintf(words, sizeof words,
		"%.0f us of the processor a key, the bare program %.0f us; no goal",
		1e6 * nudge.cpu, 1e6 * floor.cpu);
	if (floor.cpu > 0)
		printf("%-58s %8.2f  %-16s %-8s %s\n", "the same, processor time",
			nudge.cpu / floor.cpu, "", "", words);
	row_ratio("bytes for a nudge", nudge.bytes, floor.bytes, 1.1, "");
}

/* Many keys in one write are answered by one painting. */
static void burst_of(struct pty_run *own, const struct keys_seen *seen)
{
	char burst[BURST + 1];
	memset(burst, '+', BURST / 2);
	memset(burst + BURST / 2, '-', BURST / 2);
	burst[BURST] = '\0';
	if (pty_keys(own, burst))
		row_ratio("50 nudges in one burst, bytes per key", (double)own->bytes / BURST,
			seen->bytes, 1.5, "against one nudge's");
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
	const bool marked = press(&own, "j", "k", &marker);
	quit(&own, NULL);
	compare_nudge(argv, floor_program, &seen);
	row_goal("bytes for a nudge at 100x30", seen.bytes, "bytes", 256, false, "");
	if (marked)
		row_goal("bytes for a move of the marker", marker.bytes, "bytes", 43, false, "");
	if (pty_start(&own, argv, COLUMNS_WIDE, LINES_WIDE, &start))
		burst_of(&own, &seen);
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
