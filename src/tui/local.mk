# src/tui: one file a line, sorted
libtreadlight_tui_a_SOURCES += \
	src/tui/actions.c \
	src/tui/actions.h \
	src/tui/app.c \
	src/tui/app.h \
	src/tui/fmt.c \
	src/tui/fmt.h \
	src/tui/help.c \
	src/tui/keys.h \
	src/tui/modal.c \
	src/tui/modal.h \
	src/tui/page.h \
	src/tui/page_compare.c \
	src/tui/page_effects.c \
	src/tui/page_plan.c \
	src/tui/page_runs.c \
	src/tui/page_sheet.c \
	src/tui/page_stint.c \
	src/tui/plot.c \
	src/tui/plot.h \
	src/tui/scr.c \
	src/tui/scr.h \
	src/tui/session.c \
	src/tui/session.h \
	src/tui/sheet.h \
	src/tui/sheet_changes.c \
	src/tui/sheet_picture.c \
	src/tui/sheet_rows.c \
	src/tui/sheet_told.c \
	src/tui/signals.c \
	src/tui/signals.h \
	src/tui/term.c \
	src/tui/term.h \
	src/tui/tui.c \
	src/tui/tui.h
