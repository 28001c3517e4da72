/* The workbench. */
#ifndef TUI_TUI_H
#define TUI_TUI_H

/* Open the workbench on a book's folder, and on a sheet of it (NULL: the reference).
 * Tells errors on stderr. Returns the program's exit status. */
int tui_run(const char *dir, const char *sheet_id);

#endif
