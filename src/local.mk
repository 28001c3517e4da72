# Everything but main.c and tui goes into one library, shared by program and tests.
noinst_LIBRARIES += libtreadlight.a
libtreadlight_a_SOURCES =

include src/base/local.mk
include src/store/local.mk
include src/book/local.mk
include src/model/local.mk
include src/balance/local.mk
include src/plan/local.mk
include src/compare/local.mk
include src/frontier/local.mk
include src/stint/local.mk
include src/report/local.mk
include src/cmd/local.mk

# The only part that sees curses, and what is made from its table of keys.
noinst_LIBRARIES += libtreadlight-tui.a
libtreadlight_tui_a_SOURCES =
libtreadlight_tui_a_CFLAGS = $(AM_CFLAGS) $(CURSES_CFLAGS)

include src/guide/local.mk
include src/tui/local.mk

bin_PROGRAMS += treadlight
treadlight_SOURCES = src/main.c
treadlight_LDADD = libtreadlight-tui.a libtreadlight.a $(CURSES_LIBS) $(CORE_LIBS)
