/* A small invented book, for tests that load or open one many times: one pair and one
 * adjustable by itself, one sheet "base", eight runs of three laps. */
#ifndef TREADLIGHT_TESTS_SMALL_BOOK_H
#define TREADLIGHT_TESTS_SMALL_BOOK_H

/* Into an existing folder; files that are there are overwritten. Aborts where the disk does not
 * take it. */
void small_book_write(const char *folder);
/* The same, borrowing from such a book in its folder `old`, whose laps have figures of the fast
 * class of segments and not of the slow one. */
void small_book_borrowing(const char *folder);

#endif
