/*
 * What a user reads outside the program: the manual page and the shells' completions, made
 * from the tables of subcommands (cmd/cmd.h) and of actions and keys (tui/actions.h), so that
 * nothing is listed twice. No curses in here.
 */
#ifndef TREADLIGHT_GUIDE_GUIDE_H
#define TREADLIGHT_GUIDE_GUIDE_H

#include <stdbool.h>
#include <stdio.h>

/* The manual page, in man(7). */
void manual_print(FILE *out);

/* The completions of a shell: bash, zsh or fish; false: no such shell. */
bool completions_print(FILE *out, const char *shell);

#endif
