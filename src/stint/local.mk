# src/stint: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/stint/draw.c \
	src/stint/figures.c \
	src/stint/figures.h \
	src/stint/project.c \
	src/stint/project.h \
	src/stint/stint.c \
	src/stint/stint.h
