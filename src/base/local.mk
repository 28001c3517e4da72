# src/base: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/base/buf.c \
	src/base/err.c \
	src/base/err.h \
	src/base/fix.c \
	src/base/fix.h \
	src/base/patience.c \
	src/base/patience.h \
	src/base/share.c \
	src/base/share.h \
	src/base/text.c \
	src/base/text.h \
	src/base/watch.c \
	src/base/watch.h
