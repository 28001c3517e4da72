# src/store: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/store/arena.c \
	src/store/arena.h \
	src/store/doc.c \
	src/store/doc.h \
	src/store/explain.c \
	src/store/explain.h \
	src/store/file.c \
	src/store/file.h \
	src/store/journal.h \
	src/store/lock.h \
	src/store/patch.h \
	src/store/save.h \
	src/store/scan.c \
	src/store/scan.h \
	src/store/store.h
