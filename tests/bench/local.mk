# Programs that `make bench` runs, built only for it; one stanza each.
EXTRA_PROGRAMS += tests/bench/bench_frontier
CLEANFILES += tests/bench/bench_frontier$(EXEEXT)
tests_bench_bench_frontier_SOURCES = tests/bench/bench_frontier.c
tests_bench_bench_frontier_LDADD = libtreadlight.a $(CORE_LIBS)

bench-frontier: tests/bench/bench_frontier$(EXEEXT)
	./tests/bench/bench_frontier$(EXEEXT)

.PHONY: bench-frontier
