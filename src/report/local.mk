# src/report: one file a line, sorted
libtreadlight_a_SOURCES +=
