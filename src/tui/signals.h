/*
 * Signals of the workbench. Handlers only set marks and wake the waiting loop
 * through a pipe; a signal that ends the program also sets an alarm of less than a second that
 * ends it for good, should a disk or a dead terminal hold it up. Crashes, and every other signal
 * that would end a program, give the terminal back first and then take their usual course.
 *
 * ncurses installs handlers of its own, so signals_open() comes after newterm().
 */
#ifndef TUI_SIGNALS_H
#define TUI_SIGNALS_H

#include "base/err.h"
#include <termios.h>

bool signals_open(struct err *err);
void signals_close(void);
/* What a crash writes to the terminal and the modes it sets; copied. */
void signals_crash_text(const char *text, size_t len, const struct termios *shell, int tty);
/* Do that now, without a crash. */
void signals_restore_now(void);

/* Readable when a signal came. */
int signals_fd(void);
/* HUP, INT or TERM came: its number, 0 if none. */
int signals_end(void);

enum { SIGNALS_SIZE = 1, SIGNALS_STOP = 2, SIGNALS_CONTINUED = 4 };
/* What came since the last call; empties the pipe. */
unsigned signals_take(void);
bool signals_pending(void);
/* Empty the pipe and keep the marks. */
void signals_rest(void);
/*
 * Stop the program as the shell expects; returns when it is continued. False if it was not
 * stopped: told to end, or nobody is there who could continue it (the kernel drops SIGTSTP in an
 * orphaned process group; SIGSTOP would leave it there for ever, hung-up line or not).
 */
bool signals_stop(void);

#endif
