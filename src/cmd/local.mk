# src/cmd: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/cmd/answers.c \
	src/cmd/answers.h \
	src/cmd/args.c \
	src/cmd/borrowed.c \
	src/cmd/borrowed.h \
	src/cmd/check.c \
	src/cmd/cmd.c \
	src/cmd/cmd.h \
	src/cmd/commands.h \
	src/cmd/compare.c \
	src/cmd/fit.c \
	src/cmd/fitted.c \
	src/cmd/fitted.h \
	src/cmd/json.c \
	src/cmd/load.c \
	src/cmd/log.c \
	src/cmd/new.c \
	src/cmd/overlay.c \
	src/cmd/plan.c \
	src/cmd/plan.h \
	src/cmd/plan_csv.c \
	src/cmd/plan_json.c \
	src/cmd/plan_table.c \
	src/cmd/predict.c \
	src/cmd/report.c \
	src/cmd/sheet_told.c \
	src/cmd/sheet_told.h \
	src/cmd/stint.c \
	src/cmd/suggest.c \
	src/cmd/verify.c
