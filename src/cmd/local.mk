# src/cmd: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/cmd/args.c \
	src/cmd/check.c \
	src/cmd/cmd.c \
	src/cmd/cmd.h \
	src/cmd/commands.h \
	src/cmd/json.c \
	src/cmd/load.c
