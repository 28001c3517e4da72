# src/cmd: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/cmd/answers.c \
	src/cmd/answers.h \
	src/cmd/args.c \
	src/cmd/check.c \
	src/cmd/cmd.c \
	src/cmd/cmd.h \
	src/cmd/commands.h \
	src/cmd/fit.c \
	src/cmd/json.c \
	src/cmd/load.c \
	src/cmd/predict.c
