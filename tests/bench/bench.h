/*
 * What the files of the benchmark share. Each row of the table names a piece of work, its
 * figure, a yardstick measured in the same run, their ratio, the goal, and whether it is met.
 */
#ifndef TREADLIGHT_BENCH_H
#define TREADLIGHT_BENCH_H

#include <stdbool.h>
#include <stddef.h>

/* Monotonic seconds, and CPU seconds of this process. */
double bench_now(void);
double bench_cpu(void);
/* Sorts; the middle one. */
double bench_median(double *v, size_t n);

/* figure against yardstick; goal is on their ratio. */
void row_ratio(const char *work, double figure, double yardstick, double goal, const char *words);
/* A figure with an absolute goal; at_least: the goal is a lower bound. */
void row_goal(const char *work, double figure, const char *unit, double goal, bool at_least,
	const char *words);
void row_skipped(const char *work, const char *why);
/* Rows that missed their goal so far. */
int rows_missed(void);

/* The benchmarks, one function a file. dir is an empty folder to work in. */
void bench_terminal(
	const char *program, const char *floor_program, const char *demo, const char *large);
void bench_model(const char *demo, const char *large, const char *dir);
void bench_frontier(void);

/* Growth: each size's time over that of the first one. */
void row_growth(const char *work, const char *of, const size_t *size, const double *time, size_t n);

/* A book of `runs` runs of `laps` laps in a new folder: a car of `adjustables` (a multiple of 5,
 * at most 40), four fifths of them in pairs; invented. */
bool large_book_write(const char *folder, int runs, int laps, int adjustables);

/* --- a program in a pseudo-terminal ------------------------------------------------- */
struct pty_run {
	int fd, pid;
	size_t bytes;       /* of the last reply */
	size_t cells, runs; /* of the last reply: characters shown, cursor addressings */
	double latency;     /* s, key to last byte of the last reply */
	double first; /* s, to the last byte before it first paused, 500 bytes at least shown */
};
/* Starts argv at columns x lines, waits for the first paint; *start: s to its last byte. */
bool pty_start(struct pty_run *p, const char *const *argv, int columns, int lines, double *start);
/* CPU seconds of its main thread so far. */
double pty_cpu(const struct pty_run *p);
/* Writes keys and takes the reply: until 60 ms without a byte. */
bool pty_keys(struct pty_run *p, const char *keys);
/* Ends the program; *rss_kib: its peak resident memory. */
void pty_stop(struct pty_run *p, long *rss_kib);

#endif
