# src/stint: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/stint/project.c \
	src/stint/project.h \
	src/stint/stint.h
