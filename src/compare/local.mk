# src/compare: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/compare/compare.c \
	src/compare/compare.h
