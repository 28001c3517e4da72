/*
 * The one table of actions: what the workbench can do, by which keys, on which
 * pages, in which words. The dispatcher, the hint line, the help page and the manual page
 * are all made from it. No curses in here.
 *
 * To add an action: one line in ACTIONS, one function `unsigned act_NAME(struct app *)`
 * in the file of its page. The order is that of the help page; `hint` is what the
 * bottom line says (NULL: only the help page tells it).
 */
#ifndef TUI_ACTIONS_H
#define TUI_ACTIONS_H

#include "tui/keys.h"

#include <stdbool.h>
#include <stddef.h>

enum page { PAGE_SHEET, PAGE_COMPARE, PAGE_EFFECTS, PAGE_RUNS, PAGE_PLAN, PAGE_STINT, PAGES };
extern const char *const page_names[PAGES];

#define ON(p) (1u << (p))
#define ON_SHEET ON(PAGE_SHEET)
#define ON_COMPARE ON(PAGE_COMPARE)
#define ON_EFFECTS ON(PAGE_EFFECTS)
#define ON_RUNS ON(PAGE_RUNS)
#define ON_PLAN ON(PAGE_PLAN)
#define ON_STINT ON(PAGE_STINT)
#define ON_ALL ((1u << PAGES) - 1)
#define ON_SHEETS (ON_ALL & ~ON_RUNS) /* where u and r are about the sheet */

#define ACTION_KEYS_MAX 4
#define KEYS(...)                                                                                  \
	{                                                                                          \
		__VA_ARGS__                                                                        \
	}

/* ACTION(function suffix, pages, keys, hint, help) */
#define ACTIONS                                                                                    \
	ACTION(up, ON_ALL, KEYS(K_UP, 'k'), NULL, "move up")                                       \
	ACTION(down, ON_ALL, KEYS(K_DOWN, 'j'), NULL, "move down")                                 \
	ACTION(left, ON_ALL, KEYS(K_LEFT, 'h'), NULL, "move left: front")                          \
	ACTION(right, ON_ALL, KEYS(K_RIGHT, 'l'), NULL, "move right: rear")                        \
	ACTION(first, ON_ALL, KEYS(K_HOME, 'g'), NULL, "go to the first row")                      \
	ACTION(last, ON_ALL, KEYS(K_END, 'G'), NULL, "go to the last row")                         \
	ACTION(page_up, ON_ALL, KEYS(K_PAGE_UP), NULL, "a screenful up")                           \
	ACTION(page_down, ON_ALL, KEYS(K_PAGE_DOWN), NULL, "a screenful down")                     \
	ACTION(more, ON_SHEET, KEYS('+', '='), "nudge", "nudge the value up one step")             \
	ACTION(less, ON_SHEET, KEYS('-', '_'), NULL, "nudge the value down one step")              \
	ACTION(more5, ON_SHEET, KEYS('>', '.'), "five", "nudge the value up five steps")           \
	ACTION(less5, ON_SHEET, KEYS('<', ','), NULL, "nudge the value down five steps")           \
	ACTION(type, ON_SHEET, KEYS(K_ENTER), "type", "type a value; Esc leaves it as it was")     \
	ACTION(hold, ON_SHEET, KEYS(K_SPACE), "hold",                                              \
		"hold the pair's front-minus-rear difference, or let it go")                       \
	ACTION(hold_share, ON_SHEET, KEYS('H'), NULL,                                              \
		"hold the load-transfer share with springs or bars, or let it go")                 \
	ACTION(undo, ON_SHEETS, KEYS('u'), "undo", "undo the last change")                         \
	ACTION(redo, ON_SHEETS, KEYS('r'), "redo", "redo what was undone")                         \
	ACTION(save, ON_ALL, KEYS('s'), "save", "save the sheet")                                  \
	ACTION(save_as, ON_ALL, KEYS('S'), NULL, "save under a new name")                          \
	ACTION(open, ON_ALL, KEYS('o'), "open", "open another sheet")                              \
	ACTION(reference, ON_SHEET, KEYS('R'), NULL, "make this sheet the reference")              \
	ACTION(freeze, ON_SHEET, KEYS('f'), "freeze",                                              \
		"freeze the adjustable: suggestions may not move it")                              \
	ACTION(filter, ON_SHEET, KEYS('/'), "filter",                                              \
		"show only the rows that hold a text; an empty text shows all")                    \
	ACTION(picture, ON_SHEET, KEYS('p'), "picture", "show or hide the trade-off picture")      \
	ACTION(channel, ON_SHEET | ON_EFFECTS, KEYS('w'), "next wear",                             \
		"next wear channel, or on the Effects page the next figure")                       \
	ACTION(frontier_next, ON_SHEET, KEYS('n'), "frontier",                                     \
		"walk along the frontier: next, kinder point")                                     \
	ACTION(frontier_back, ON_SHEET, KEYS('b'), NULL,                                           \
		"walk along the frontier: back, faster point")                                     \
	ACTION(frontier_bounds, ON_SHEET, KEYS('B'), NULL,                                         \
		"bounds of the frontier: changes, garage minutes, front shares")                   \
	ACTION(take, ON_SHEET | ON_COMPARE, KEYS('t'), "take",                                     \
		"take the point of the frontier, or the other sheet's value, into this sheet")     \
	ACTION(compare_with, ON_COMPARE, KEYS('c'), "compare with",                                \
		"choose the sheet to compare with")                                                \
	ACTION(differing_first, ON_COMPARE, KEYS('d'), "differing first",                          \
		"show the rows that differ first, or in the car's order")                          \
	ACTION(longer, ON_STINT, KEYS('+', '='), "longer", "one lap more")                         \
	ACTION(shorter, ON_STINT, KEYS('-', '_'), "shorter", "one lap less")                       \
	ACTION(laps, ON_STINT, KEYS(K_ENTER), "laps", "type the number of laps")                   \
	ACTION(plan_make, ON_PLAN, KEYS('m'), "make",                                              \
		"make a test plan, or ask for the run that teaches most")                          \
	ACTION(plan_keep, ON_PLAN, KEYS('K'), "keep", "keep the plan in the book, as plan.yaml")   \
	ACTION(plan_effects, ON_PLAN, KEYS('e'), "effects",                                        \
		"show what the plan finds and what more would buy, or its runs")                   \
	ACTION(plan_take, ON_PLAN, KEYS('t'), "take", "take the run's values into the sheet")      \
	ACTION(plan_done, ON_PLAN, KEYS('x'), "tick off", "say which run was driven for it")       \
	ACTION(plan_strike, ON_PLAN, KEYS('D'), "strike out",                                      \
		"strike a run that will not be driven out of the plan")                            \
	ACTION(new_run, ON_RUNS | ON_PLAN, KEYS('n'), "log a run",                                 \
		"log a run: this sheet, the plan's next, or the set-up before")                    \
	ACTION(open_run, ON_RUNS, KEYS(K_ENTER), "laps",                                           \
		"show the laps of the run; correct a lap")                                         \
	ACTION(back, ON_RUNS, KEYS(K_ESC, K_BACKSPACE), "back", "back from the laps to the runs")  \
	ACTION(add_laps, ON_RUNS, KEYS('a'), "add laps", "add laps to the run")                    \
	ACTION(skip_lap, ON_RUNS, KEYS('x'), "skip",                                               \
		"leave the lap out with a reason; or let it count")                                \
	ACTION(drop, ON_RUNS, KEYS('D'), NULL,                                                     \
		"drop the whole run, or among its laps the lap; asks first")                       \
	ACTION(conditions, ON_RUNS, KEYS('c'), "conditions",                                       \
		"fuel, track, tyres, driver of the run")                                           \
	ACTION(run_setup, ON_RUNS, KEYS('V'), NULL,                                                \
		"say on which set-up the run was driven, if it was another")                       \
	ACTION(run_undo, ON_RUNS, KEYS('u'), "undo", "undo the last correction of a run")          \
	ACTION(run_redo, ON_RUNS, KEYS('r'), "redo", "redo what was undone of a run")              \
	ACTION(run_wear, ON_RUNS, KEYS('w'), NULL, "wear of the whole run, read once at its end")  \
	ACTION(predictions, ON_RUNS, KEYS('v'), "predictions",                                     \
		"how often predictions missed, what the missed share, drift")                      \
	ACTION(overlay, ON_RUNS, KEYS('O'), "along the lap",                                       \
		"lay the run over another along the lap: where they differ")                       \
	ACTION(next_page, ON_ALL, KEYS(K_TAB), NULL, "next page")                                  \
	ACTION(previous_page, ON_ALL, KEYS(K_BACKTAB), NULL, "previous page")                      \
	ACTION(page1, ON_ALL, KEYS('1'), NULL, "the Sheet page")                                   \
	ACTION(page2, ON_ALL, KEYS('2'), NULL, "the Compare page")                                 \
	ACTION(page3, ON_ALL, KEYS('3'), NULL, "the Effects page")                                 \
	ACTION(page4, ON_ALL, KEYS('4'), NULL, "the Runs page")                                    \
	ACTION(page5, ON_ALL, KEYS('5'), NULL, "the Plan page")                                    \
	ACTION(page6, ON_ALL, KEYS('6'), NULL, "the Stint page")                                   \
	ACTION(help, ON_ALL, KEYS('?'), NULL, "help: every key of the workbench")                  \
	ACTION(repaint, ON_ALL, KEYS(K_CTRL('l')), NULL, "draw the screen afresh")                 \
	ACTION(suspend, ON_ALL, KEYS(K_CTRL('z')), NULL, "pause the workbench; fg brings it back") \
	ACTION(quit, ON_ALL, KEYS('q', K_CTRL('c')), "quit",                                       \
		"leave; asks when something is unsaved")

enum action {
#define ACTION(name, pages, keys, hint, help) ACT_##name,
	ACTIONS
#undef ACTION
		ACTION_COUNT
};

struct action_info {
	const char *name;          /* "save_as" */
	unsigned pages;            /* mask of ON(page) */
	int keys[ACTION_KEYS_MAX]; /* K_NONE after the last */
	const char *hint;          /* NULL: not on the bottom line */
	const char *help;
};

/* The rows in order, ACTION_COUNT of them. */
const struct action_info *action_info(enum action a);
/* The action of a key on a page; ACTION_COUNT if there is none. */
enum action action_find(enum page page, int key);
/* Does it work on most pages, whichever is shown? */
bool action_is_general(enum action a);
/* "Up, k": the keys of an action; returns buf. */
const char *action_keys(enum action a, char *buf, size_t size);
/* "all pages", or the names of the pages; returns buf. */
const char *action_pages(enum action a, char *buf, size_t size);

#endif
