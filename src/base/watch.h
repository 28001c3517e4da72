/*
 * A disk or server that does not answer holds the program inside one call, which no signal ends. A
 * thread beside it speaks up when the program has been held up for five seconds, so that nobody
 * sits there without a word. While the program works itself, and while it waits for its user, it is
 * not held up. Where there is no thread, nothing is said.
 */
#ifndef BASE_WATCH_H
#define BASE_WATCH_H

#include <stdbool.h>
#include <stddef.h>

/* Who speaks, on the thread beside; watch_busy() and watch_close() wait meanwhile. */
typedef void (*watch_say)(const char *words);

/* Begin, with a busy time; where it has begun, another speaks from now on. */
void watch_open(watch_say say);
void watch_close(void);
/* True begins a busy time, false ends it. */
void watch_busy(bool busy);

#endif
