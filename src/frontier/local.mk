# src/frontier: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/frontier/frontier.h \
	src/frontier/sum.c \
	src/frontier/sum.h
