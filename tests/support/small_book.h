/* A small invented book, for tests that load or open one many times: one pair and one
 * adjustable by itself, one sheet "base", eight runs of three laps. */
#ifndef TREADLIGHT_TESTS_SMALL_BOOK_H
#define TREADLIGHT_TESTS_SMALL_BOOK_H

/* Into an existing folder; files that are there are overwritten. Aborts where the disk does not
 * take it. */
void small_book_write(const char *folder);

#endif
