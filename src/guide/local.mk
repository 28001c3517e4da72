# src/guide: one file a line, sorted
libtreadlight_tui_a_SOURCES += \
	src/guide/completions.c \
	src/guide/guide.h \
	src/guide/manual.c
