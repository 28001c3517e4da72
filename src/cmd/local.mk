# src/cmd: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/cmd/cmd.c \
	src/cmd/cmd.h
