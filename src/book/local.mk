# src/book: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/book/book.c \
	src/book/book.h \
	src/book/car.c \
	src/book/car.h \
	src/book/caution.c \
	src/book/caution.h \
	src/book/circuit.c \
	src/book/circuit.h \
	src/book/edit.c \
	src/book/edit.h \
	src/book/entry.c \
	src/book/entry.h \
	src/book/entry_run.c \
	src/book/run.c \
	src/book/run.h \
	src/book/sheet.c \
	src/book/sheet.h
