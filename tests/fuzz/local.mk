# Fuzz targets: fuzz_NAME.c defines LLVMFuzzerTestOneInput(), its corpus is tests/data/corpus/NAME.
# `make check` replays the corpus; configured with CC=clang --enable-fuzzers, `make fuzz` runs libFuzzer
# on each for FUZZ_SECONDS. libFuzzer brings its own main(), replay.c is the other.
FUZZ_SECONDS = 60

fuzz_programs =
if FUZZERS
noinst_PROGRAMS += $(fuzz_programs)
fuzz_ldadd = libtreadlight.a $(CORE_LIBS) $(FUZZ_LDFLAGS)
else
check_PROGRAMS += $(fuzz_programs)
check_LIBRARIES += tests/fuzz/libreplay.a
tests_fuzz_libreplay_a_SOURCES = tests/fuzz/replay.c
fuzz_ldadd = tests/fuzz/libreplay.a libtreadlight.a $(CORE_LIBS)
endif

fuzz_programs += tests/fuzz/fuzz_doc
tests_fuzz_fuzz_doc_SOURCES = tests/fuzz/fuzz_doc.c
tests_fuzz_fuzz_doc_LDADD = $(fuzz_ldadd)

fuzz_programs += tests/fuzz/fuzz_plan
tests_fuzz_fuzz_plan_SOURCES = tests/fuzz/fuzz_plan.c
tests_fuzz_fuzz_plan_LDADD = $(fuzz_ldadd)

fuzz_programs += tests/fuzz/fuzz_csv
tests_fuzz_fuzz_csv_SOURCES = tests/fuzz/fuzz_csv.c tests/support/small_book.c
tests_fuzz_fuzz_csv_LDADD = $(fuzz_ldadd)

fuzz_programs += tests/fuzz/fuzz_journal
tests_fuzz_fuzz_journal_SOURCES = tests/fuzz/fuzz_journal.c
tests_fuzz_fuzz_journal_LDADD = $(fuzz_ldadd)

fuzz_programs += tests/fuzz/fuzz_load
tests_fuzz_fuzz_load_SOURCES = tests/fuzz/fuzz_load.c
tests_fuzz_fuzz_load_LDADD = $(fuzz_ldadd)

fuzz_programs += tests/fuzz/fuzz_patch
tests_fuzz_fuzz_patch_SOURCES = tests/fuzz/fuzz_patch.c
tests_fuzz_fuzz_patch_LDADD = $(fuzz_ldadd)

fuzz_programs += tests/fuzz/fuzz_text
tests_fuzz_fuzz_text_SOURCES = tests/fuzz/fuzz_text.c
tests_fuzz_fuzz_text_LDADD = $(fuzz_ldadd)

fuzz_programs += tests/fuzz/fuzz_keys
tests_fuzz_fuzz_keys_SOURCES = tests/fuzz/fuzz_keys.c tests/support/small_book.c
tests_fuzz_fuzz_keys_LDADD = libtreadlight-tui.a $(fuzz_ldadd) $(CURSES_LIBS)

EXTRA_DIST += tests/fuzz/fuzz.sh tests/fuzz/libyaml.sh

fuzz: all
	@$(SHELL) $(srcdir)/tests/fuzz/fuzz.sh '$(FUZZ_LDFLAGS)' $(srcdir)/tests/data/corpus \
		$(FUZZ_SECONDS) $(fuzz_programs)

.PHONY: fuzz
