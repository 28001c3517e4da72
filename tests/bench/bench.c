/*
 * make bench: every row of the table of figures with its yardstick, measured in this run.
 * Compare ratios of one run only: a busy machine slows both sides.
 *
 *   bench PROGRAM FLOOR DEMO-BOOK
 */
#include "bench/bench.h"

#include <gsl/gsl_errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { LARGE_RUNS = 1000, LARGE_LAPS = 20, LARGE_ADJUSTABLES = 20 };
static int missed;

static double clock_s(clockid_t id)
{
	struct timespec t;
	clock_gettime(id, &t);
	return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

double bench_now(void)
{
	return clock_s(CLOCK_MONOTONIC);
}

double bench_cpu(void)
{
	return clock_s(CLOCK_PROCESS_CPUTIME_ID);
}

static int compare(const void *a, const void *b)
{
	const double x = *(const double *)a, y = *(const double *)b;
	return x < y ? -1 : x > y;
}

double bench_median(double *v, size_t n)
{
	qsort(v, n, sizeof *v, compare);
	return n ? v[n / 2] : 0;
}

static const char *met(bool ok)
{
	missed += !ok;
	return ok ? "met" : "NOT MET";
}

void row_ratio(const char *work, double figure, double yardstick, double goal, const char *words)
{
	const double ratio = yardstick > 0 ? figure / yardstick : 0;
	printf("%-58s %8.2f  at most %-7.4g %-8s %s\n", work, ratio, goal, met(ratio <= goal),
		words);
	fflush(stdout);
}

void row_goal(const char *work, double figure, const char *unit, double goal, bool at_least,
	const char *words)
{
	printf("%-58s %8.4g  %s %-6.4g %-8s %s%s%s\n", work, figure,
		at_least ? "at least" : "at most ", goal,
		met(at_least ? figure >= goal : figure <= goal), unit, words[0] ? "; " : "", words);
	fflush(stdout);
}

void row_growth(const char *work, const char *of, const size_t *size, const double *time, size_t n)
{
	printf("%-58s", work);
	for (size_t i = 0; i < n; i++)
		printf("%s%zu %s: %.3g", i ? ", " : " ", size[i], of,
			time[0] > 0 ? time[i] / time[0] : 0);
	putchar('\n');
	fflush(stdout);
}

void row_skipped(const char *work, const char *why)
{
	printf("%-58s %8s  SKIPPED: %s\n", work, "-", why);
	fflush(stdout);
}

int rows_missed(void)
{
	return missed;
}

static void machine(void)
{
	const long pages = sysconf(_SC_PHYS_PAGES), size = sysconf(_SC_PAGESIZE);
	printf("%ld cores, %.0f GiB of memory\n\n%-58s %8s  %-15s\n", sysconf(_SC_NPROCESSORS_ONLN),
		(double)pages * (double)size / (1 << 30), "work", "figure", "goal");
}

int main(int argc, char **argv)
{
	char dir[] = "/tmp/treadlight-bench-XXXXXX", large[64], command[128];
	if (argc != 4) {
		fputs("usage: bench PROGRAM FLOOR DEMO-BOOK\n", stderr);
		return 2;
	}
	gsl_set_error_handler_off();
	if (!mkdtemp(dir)) {
		perror("bench: a folder in /tmp");
		return 1;
	}
	snprintf(large, sizeof large, "%s/large", dir);
	if (!large_book_write(large, LARGE_RUNS, LARGE_LAPS, LARGE_ADJUSTABLES)) {
		perror("bench: the large book");
		return 1;
	}
	machine();
	bench_terminal(argv[1], argv[2], argv[3], large);
	bench_model(argv[3], large, dir);
	bench_frontier();
	printf("\n%d of the goals not met\n", rows_missed());
	snprintf(command, sizeof command, "rm -rf %s", dir);
	return system(command) == 0 ? 0 : 1;
}
