# src/report: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/report/block.c \
	src/report/block.h \
	src/report/chapters.c \
	src/report/chapters_fit.c \
	src/report/charts.c \
	src/report/html.c \
	src/report/parts.h \
	src/report/plain.c \
	src/report/report.c \
	src/report/report.h \
	src/report/svg.c \
	src/report/svg.h
