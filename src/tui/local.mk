# src/tui: one file a line, sorted
libtreadlight_tui_a_SOURCES +=
