# src/model: one file a line, sorted
libtreadlight_a_SOURCES +=
