#include "tui/actions.h"

#include <stdio.h>
#include <string.h>

const char *const page_names[PAGES] = {"Sheet", "Compare", "Effects", "Runs", "Plan", "Stint"};

static const struct action_info table[ACTION_COUNT] = {
#define ACTION(name, pages, keys, hint, help) {#name, pages, keys, hint, help},
	ACTIONS
#undef ACTION
};

const struct action_info *action_info(enum action a)
{
	return &table[a];
}

bool action_is_general(enum action a)
{
	int n = 0;
	for (int p = 0; p < PAGES; p++)
		n += (table[a].pages & ON(p)) != 0;
	return n > PAGES / 2;
}

enum action action_find(enum page page, int key)
{
	for (int a = 0; a < ACTION_COUNT; a++) {
		if (!(table[a].pages & ON(page)))
			continue;
		for (int i = 0; i < ACTION_KEYS_MAX && table[a].keys[i]; i++)
			if (table[a].keys[i] == key)
				return (enum action)a;
	}
	return ACTION_COUNT;
}

static const struct {
	int key;
	const char *name;
} names[] = {
	{K_TAB, "Tab"},
	{K_ENTER, "Enter"},
	{K_ESC, "Esc"},
	{K_SPACE, "Space"},
	{K_BACKSPACE, "Backspace"},
	{K_UP, "Up"},
	{K_DOWN, "Down"},
	{K_LEFT, "Left"},
	{K_RIGHT, "Right"},
	{K_HOME, "Home"},
	{K_END, "End"},
	{K_PAGE_UP, "PgUp"},
	{K_PAGE_DOWN, "PgDn"},
	{K_DELETE, "Del"},
	{K_BACKTAB, "Shift-Tab"},
};

const char *key_label(int key, char *buf, size_t size)
{
	for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
		if (names[i].key == key) {
			snprintf(buf, size, "%s", names[i].name);
			return buf;
		}
	if (key > 0 && key < 32)
		snprintf(buf, size, "Ctrl-%c", key + 64);
	else
		snprintf(buf, size, "%c", key < 127 ? key : '?');
	return buf;
}

/* Append to buf with a separator, cutting at its size. */
static void join(char *buf, size_t size, const char *separator, const char *text)
{
	size_t len = strlen(buf);
	snprintf(buf + len, size - len, "%s%s", len ? separator : "", text);
}

const char *action_keys(enum action a, char *buf, size_t size)
{
	char name[16];
	buf[0] = '\0';
	for (int i = 0; i < ACTION_KEYS_MAX && table[a].keys[i]; i++)
		join(buf, size, "  ", key_label(table[a].keys[i], name, sizeof name));
	return buf;
}

const char *action_pages(enum action a, char *buf, size_t size)
{
	buf[0] = '\0';
	if (table[a].pages == ON_ALL) {
		join(buf, size, "", "all pages");
		return buf;
	}
	for (int p = 0; p < PAGES; p++)
		if (table[a].pages & ON(p))
			join(buf, size, ", ", page_names[p]);
	return buf;
}
