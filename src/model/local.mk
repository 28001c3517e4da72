# src/model: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/model/model.h \
	src/model/qr.c \
	src/model/qr.h \
	src/model/reml.c \
	src/model/reml.h
