# src/plan: one file a line, sorted
libtreadlight_a_SOURCES += \
	src/plan/design.c \
	src/plan/design.h \
	src/plan/design_definitive.c \
	src/plan/design_efficiency.c \
	src/plan/design_own.h \
	src/plan/design_screening.c \
	src/plan/plan.c \
	src/plan/plan.h \
	src/plan/plan_borrowed.c \
	src/plan/plan_detect.c \
	src/plan/plan_factors.c \
	src/plan/plan_line.c \
	src/plan/plan_line.h \
	src/plan/plan_next.c \
	src/plan/plan_order.c \
	src/plan/plan_own.h \
	src/plan/plan_sheet.c \
	src/plan/power.c \
	src/plan/power.h
