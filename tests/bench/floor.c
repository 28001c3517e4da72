/*
 * The yardstick for the screen: a bare ncurses program that does nothing but rewrite as many
 * cells as the workbench did, in as many places, stacked in a column.
 *
 *   floor PLACES CELLS     '+' rewrites; '-' moves a marker of two cells; 'q' ends
 */
#include <curses.h>
#include <locale.h>
#include <stdlib.h>

enum { FIRST_COLUMN = 40 };

static void rewrite(int places, int cells, int round)
{
	for (int i = 0, left = cells; i < places; i++) {
		const int n = left / (places - i);
		move(2 + i % (LINES - 4), FIRST_COLUMN + (i / (LINES - 4)) * 8);
		for (int k = 0; k < n; k++)
			addch((chtype)('0' + (round + i + k) % 10));
		left -= n;
	}
}

int main(int argc, char **argv)
{
	const int places = argc > 1 ? atoi(argv[1]) : 5, cells = argc > 2 ? atoi(argv[2]) : places;
	int round = 0, marker = 2;
	setlocale(LC_ALL, "");
	if (!newterm(NULL, stdout, stdin))
		return 2;
	cbreak();
	noecho();
	curs_set(0);
	start_color();
	use_default_colors();
	for (int y = 0; y < LINES; y++)
		mvprintw(y, 0, "row %d of a screen that is about as full as a page", y);
	rewrite(places, cells, 0);
	mvaddch(marker, 0, '>');
	refresh();
	for (int c; (c = getch()) != 'q' && c != ERR;) {
		if (c == '+')
			rewrite(places, cells, ++round);
		if (c == '-') {
			mvaddch(marker, 0, ' ');
			marker = 2 + (marker - 1) % (LINES - 4);
			mvaddch(marker, 0, '>');
		}
		refresh();
	}
	endwin();
	return 0;
}
