# src/stint: one file a line, sorted
libtreadlight_a_SOURCES +=
