# src/frontier: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/frontier/frontier.c \
	src/frontier/frontier.h \
	src/frontier/joint.c \
	src/frontier/joint.h \
	src/frontier/moves.c \
	src/frontier/moves.h \
	src/frontier/save.c \
	src/frontier/sum.c \
	src/frontier/sum.h \
	src/frontier/sum_build.c \
	src/frontier/sum_own.h
