# Programs that `make bench` runs, built only for it.
EXTRA_PROGRAMS += \
	tests/bench/bench \
	tests/bench/floor
CLEANFILES += \
	tests/bench/bench$(EXEEXT) \
	tests/bench/floor$(EXEEXT)
EXTRA_DIST += tests/bench/figures.awk
tests_bench_bench_SOURCES = \
	tests/bench/bench.c \
	tests/bench/bench.h \
	tests/bench/bench_frontier.c \
	tests/bench/bench_model.c \
	tests/bench/bench_terminal.c \
	tests/bench/large_book.c \
	tests/bench/pty.c
tests_bench_bench_LDADD = libtreadlight.a $(CORE_LIBS) -lutil
tests_bench_floor_SOURCES = tests/bench/floor.c
tests_bench_floor_CFLAGS = $(AM_CFLAGS) $(CURSES_CFLAGS)
tests_bench_floor_LDADD = $(CURSES_LIBS)

bench: treadlight$(EXEEXT) tests/bench/bench$(EXEEXT) tests/bench/floor$(EXEEXT)
	rm -rf tests/bench/demo && cp -R $(srcdir)/share/demo tests/bench/demo && chmod -R u+w tests/bench/demo
	./tests/bench/bench$(EXEEXT) ./treadlight$(EXEEXT) ./tests/bench/floor$(EXEEXT) tests/bench/demo
	rm -rf tests/bench/demo

.PHONY: bench
