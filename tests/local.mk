# One stanza for each test program; a suite file defines only `Suite *suite(void)`.
# Tests find their data under $TREADLIGHT_SRCDIR/tests/data and the program at $TREADLIGHT_BIN.
# Time-outs are wide, for busy machines and sanitizers; CK_DEFAULT_TIMEOUT in the environment sets another.
# What a test writes goes into the folder it runs in (the build folder) or a temporary one.

LDADD = tests/support/libtest.a libtreadlight.a $(CORE_LIBS) $(CHECK_LIBS)

AM_TESTS_ENVIRONMENT = \
	TREADLIGHT_SRCDIR='$(abs_srcdir)'; export TREADLIGHT_SRCDIR; \
	TREADLIGHT_BIN='$(abs_builddir)/treadlight$(EXEEXT)'; export TREADLIGHT_BIN; \
	: $${CK_DEFAULT_TIMEOUT=60} $${CK_TIMEOUT_MULTIPLIER=3}; \
	export CK_DEFAULT_TIMEOUT CK_TIMEOUT_MULTIPLIER;

# The driver is automake's own, and then shows Check's closing line of each suite.
LOG_DRIVER = $(SHELL) $(top_srcdir)/tests/support/driver.sh $(top_srcdir)/build-aux/test-driver
TEST_EXTENSIONS = .sh
SH_LOG_DRIVER = $(LOG_DRIVER)
SH_LOG_COMPILER = $(SHELL)

EXTRA_DIST += \
	tests/all.sh \
	tests/coverage.sh \
	tests/data \
	tests/lint.sh \
	tests/support/driver.sh

lint:
	@$(SHELL) $(srcdir)/tests/lint.sh $(abs_srcdir) -Isrc -Itests $(DEFS) $(CPPFLAGS) -std=gnu11 \
		-DPKGDATADIR='"$(pkgdatadir)"' $(YAML_CFLAGS) $(GSL_CFLAGS) $(JANSSON_CFLAGS)

format:
	cd $(srcdir) && find src tests -name '*.[ch]' | sort | xargs clang-format -i

# Lines and branches of src covered by the suites; needs --enable-coverage.
coverage:
	@$(SHELL) $(srcdir)/tests/coverage.sh '$(SAN_FLAGS)'

.PHONY: coverage format lint

include tests/bench/local.mk
include tests/fuzz/local.mk

if HAVE_CHECK

AM_CFLAGS += $(CHECK_CFLAGS)

check_LIBRARIES += tests/support/libtest.a
tests_support_libtest_a_SOURCES = \
	tests/support/abilities.c \
	tests/support/abilities.h \
	tests/support/family.c \
	tests/support/family.h \
	tests/support/invent.c \
	tests/support/invent.h \
	tests/support/build.c \
	tests/support/build.h \
	tests/support/journals.c \
	tests/support/journals.h \
	tests/support/main.c \
	tests/support/random.c \
	tests/support/random.h \
	tests/support/savetool.c \
	tests/support/savetool.h \
	tests/support/small_book.c \
	tests/support/small_book.h \
	tests/support/support.c \
	tests/support/support.h \
	tests/support/table.c \
	tests/support/table.h

TESTS += $(check_PROGRAMS)

check_PROGRAMS += tests/test_base
tests_test_base_SOURCES = tests/test_base.c

check_PROGRAMS += tests/test_decode
tests_test_decode_SOURCES = tests/test_decode.c src/tui/decode.c src/tui/decode_paste.c
check_PROGRAMS += tests/test_demo
tests_test_demo_SOURCES = tests/test_demo.c

check_PROGRAMS += tests/test_design
tests_test_design_SOURCES = tests/test_design.c

check_PROGRAMS += tests/test_entry
tests_test_entry_SOURCES = tests/test_entry.c

check_PROGRAMS += tests/test_examples
tests_test_examples_SOURCES = tests/test_examples.c

check_PROGRAMS += tests/test_coverage
tests_test_coverage_SOURCES = tests/test_coverage.c

check_PROGRAMS += tests/test_model
tests_test_model_SOURCES = tests/test_model.c
check_PROGRAMS += tests/test_next
tests_test_next_SOURCES = tests/test_next.c

check_PROGRAMS += tests/test_plan
tests_test_plan_SOURCES = tests/test_plan.c

check_PROGRAMS += tests/test_plan_file
tests_test_plan_file_SOURCES = tests/test_plan_file.c

check_PROGRAMS += tests/test_plan_cmd
tests_test_plan_cmd_SOURCES = tests/test_plan_cmd.c

check_PROGRAMS += tests/test_plan_gain
tests_test_plan_gain_SOURCES = tests/test_plan_gain.c

check_PROGRAMS += tests/test_power
tests_test_power_SOURCES = tests/test_power.c

check_PROGRAMS += tests/test_borrow
tests_test_borrow_SOURCES = tests/test_borrow.c

check_PROGRAMS += tests/test_borrow_classes
tests_test_borrow_classes_SOURCES = tests/test_borrow_classes.c

check_PROGRAMS += tests/test_book
tests_test_book_SOURCES = tests/test_book.c

check_PROGRAMS += tests/test_edit
tests_test_edit_SOURCES = tests/test_edit.c
check_PROGRAMS += tests/test_balance
tests_test_balance_SOURCES = tests/test_balance.c

check_PROGRAMS += tests/test_files
tests_test_files_SOURCES = tests/test_files.c
check_PROGRAMS += tests/test_balance_cmd
tests_test_balance_cmd_SOURCES = tests/test_balance_cmd.c

check_PROGRAMS += tests/test_balance_text
tests_test_balance_text_SOURCES = tests/test_balance_text.c

check_PROGRAMS += tests/test_segments
tests_test_segments_SOURCES = tests/test_segments.c

check_PROGRAMS += tests/test_hold
tests_test_hold_SOURCES = tests/test_hold.c

check_PROGRAMS += tests/test_import
tests_test_import_SOURCES = tests/test_import.c

check_PROGRAMS += tests/test_load
tests_test_load_SOURCES = tests/test_load.c

check_PROGRAMS += tests/test_program
tests_test_program_SOURCES = tests/test_program.c

check_PROGRAMS += tests/test_reach
tests_test_reach_SOURCES = tests/test_reach.c

check_PROGRAMS += tests/test_safe_output
tests_test_safe_output_SOURCES = tests/test_safe_output.c

check_PROGRAMS += tests/test_compare
tests_test_compare_SOURCES = tests/test_compare.c

check_PROGRAMS += tests/test_tradeoff_cmd
tests_test_tradeoff_cmd_SOURCES = tests/test_tradeoff_cmd.c

check_PROGRAMS += tests/test_stint
tests_test_stint_SOURCES = tests/test_stint.c

check_PROGRAMS += tests/test_frontier
tests_test_frontier_SOURCES = tests/test_frontier.c

check_PROGRAMS += tests/test_fit_cmd
tests_test_fit_cmd_SOURCES = tests/test_fit_cmd.c

check_PROGRAMS += tests/test_front_sum
tests_test_front_sum_SOURCES = tests/test_front_sum.c

check_PROGRAMS += tests/test_stint_project
tests_test_stint_project_SOURCES = tests/test_stint_project.c

check_PROGRAMS += tests/test_reml
tests_test_reml_SOURCES = tests/test_reml.c

check_PROGRAMS += tests/test_doc
tests_test_doc_SOURCES = tests/test_doc.c

check_PROGRAMS += tests/test_patch
tests_test_patch_SOURCES = tests/test_patch.c

# Not a test: prints the table of doc/borrow.md.
EXTRA_PROGRAMS += tests/tools/borrowsim
CLEANFILES += tests/tools/borrowsim
tests_tools_borrowsim_SOURCES = tests/tools/borrowsim.c

# Not a test: the writers for tests that kill, fail or race them.
EXTRA_PROGRAMS += tests/tools/savetool
check_DATA = tests/tools/savetool
CLEANFILES += tests/tools/savetool
tests_tools_savetool_SOURCES = tests/tools/savetool.c
tests_tools_savetool_LDADD = libtreadlight.a $(CORE_LIBS)

check_PROGRAMS += tests/test_journal
tests_test_journal_SOURCES = tests/test_journal.c

check_PROGRAMS += tests/test_journal_own
tests_test_journal_own_SOURCES = tests/test_journal_own.c

check_PROGRAMS += tests/test_lock
tests_test_lock_SOURCES = tests/test_lock.c

check_PROGRAMS += tests/test_report
tests_test_report_SOURCES = tests/test_report.c

check_PROGRAMS += tests/test_save
tests_test_save_SOURCES = tests/test_save.c

check_PROGRAMS += tests/test_groups
tests_test_groups_SOURCES = tests/test_groups.c
tests_test_groups_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=renameat2 -Wl,--wrap=unlink -Wl,--wrap=fsync -Wl,--wrap=fdopendir
check_PROGRAMS += tests/test_ticks
tests_test_ticks_SOURCES = tests/test_ticks.c
tests_test_ticks_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=stat -Wl,--wrap=faccessat
check_PROGRAMS += tests/test_verify
tests_test_verify_SOURCES = tests/test_verify.c

# All that asks for memory or gives it back.
MEMORY_WRAPS = \
	-Wl,--wrap=malloc \
	-Wl,--wrap=calloc \
	-Wl,--wrap=realloc \
	-Wl,--wrap=free \
	-Wl,--wrap=strdup

check_PROGRAMS += tests/test_memory
tests_test_memory_SOURCES = tests/test_memory.c
if SANITIZERS
tests_test_memory_LDFLAGS = $(AM_LDFLAGS) \
	$(MEMORY_WRAPS)
endif

check_PROGRAMS += tests/test_tui_memory
tests_test_tui_memory_SOURCES = tests/test_tui_memory.c
tests_test_tui_memory_CFLAGS = $(AM_CFLAGS) $(CURSES_CFLAGS)
tests_test_tui_memory_LDADD = libtreadlight-tui.a $(LDADD) $(CURSES_LIBS)
tests_test_tui_memory_LDFLAGS = $(AM_LDFLAGS) \
	$(MEMORY_WRAPS) \
	-Wl,--wrap=realpath \
	-Wl,--wrap=time \
	-Wl,--wrap=fsync \
	-Wl,--wrap=term_wait \
	-Wl,--wrap=term_keys_read \
	-Wl,--wrap=term_keys_waiting \
	-Wl,--wrap=term_key \
	-Wl,--wrap=term_update

# What support/shim.c puts between our code and the system.
SHIM_WRAPS = \
	$(MEMORY_WRAPS) \
	-Wl,--wrap=realpath \
	-Wl,--wrap=fstat \
	-Wl,--wrap=stat \
	-Wl,--wrap=lstat \
	-Wl,--wrap=fstatat \
	-Wl,--wrap=pread \
	-Wl,--wrap=read \
	-Wl,--wrap=write \
	-Wl,--wrap=renameat \
	-Wl,--wrap=renameat2 \
	-Wl,--wrap=rename \
	-Wl,--wrap=unlinkat \
	-Wl,--wrap=unlink \
	-Wl,--wrap=rmdir \
	-Wl,--wrap=mkdir \
	-Wl,--wrap=link \
	-Wl,--wrap=linkat \
	-Wl,--wrap=symlink \
	-Wl,--wrap=readlink \
	-Wl,--wrap=ftruncate \
	-Wl,--wrap=fallocate \
	-Wl,--wrap=fchmod \
	-Wl,--wrap=fchown \
	-Wl,--wrap=flistxattr \
	-Wl,--wrap=fgetxattr \
	-Wl,--wrap=fsetxattr \
	-Wl,--wrap=fremovexattr \
	-Wl,--wrap=flock \
	-Wl,--wrap=faccessat \
	-Wl,--wrap=access \
	-Wl,--wrap=fstatfs \
	-Wl,--wrap=fcntl \
	-Wl,--wrap=nanosleep \
	-Wl,--wrap=gethostname \
	-Wl,--wrap=lseek \
	-Wl,--wrap=fopen \
	-Wl,--wrap=opendir \
	-Wl,--wrap=fdopendir \
	-Wl,--wrap=close \
	-Wl,--wrap=fsync \
	-Wl,--wrap=open \
	-Wl,--wrap=openat
WALK_SOURCES = \
	tests/support/doors.c \
	tests/support/doors.h \
	tests/support/shim.c \
	tests/support/shim.h \
	tests/support/tree.c \
	tests/support/tree.h \
	tests/support/walk.c \
	tests/support/walk.h

check_PROGRAMS += tests/test_store_walk
tests_test_store_walk_SOURCES = tests/test_store_walk.c $(WALK_SOURCES)
tests_test_store_walk_LDFLAGS = $(AM_LDFLAGS) $(SHIM_WRAPS)

check_PROGRAMS += tests/test_store_worlds
tests_test_store_worlds_SOURCES = tests/test_store_worlds.c $(WALK_SOURCES)
tests_test_store_worlds_LDFLAGS = $(AM_LDFLAGS) $(SHIM_WRAPS)

check_PROGRAMS += tests/test_smb
tests_test_smb_SOURCES = tests/test_smb.c tests/support/shim.c tests/support/shim.h
tests_test_smb_LDFLAGS = $(AM_LDFLAGS) $(SHIM_WRAPS)

check_PROGRAMS += tests/test_save_odd
tests_test_save_odd_SOURCES = tests/test_save_odd.c
tests_test_save_odd_LDFLAGS = $(AM_LDFLAGS) \
	-Wl,--wrap=openat \
	-Wl,--wrap=renameat2 \
	-Wl,--wrap=renameat \
	-Wl,--wrap=fsync \
	-Wl,--wrap=fchmod \
	-Wl,--wrap=fchown \
	-Wl,--wrap=fremovexattr \
	-Wl,--wrap=read \
	-Wl,--wrap=write \
	-Wl,--wrap=symlink \
	-Wl,--wrap=getpwuid \
	-Wl,--wrap=gethostname \
	-Wl,--wrap=fopen

check_PROGRAMS += tests/test_read_walk
tests_test_read_walk_SOURCES = tests/test_read_walk.c
tests_test_read_walk_LDFLAGS = $(AM_LDFLAGS) -Wl,--wrap=readdir
if SANITIZERS
tests_test_read_walk_LDFLAGS += \
	$(MEMORY_WRAPS)
endif

check_PROGRAMS += tests/test_save_run
tests_test_save_run_SOURCES = tests/test_save_run.c

check_PROGRAMS += tests/test_store_odd
tests_test_store_odd_SOURCES = tests/test_store_odd.c

check_PROGRAMS += tests/test_store_parts
tests_test_store_parts_SOURCES = tests/test_store_parts.c

check_PROGRAMS += tests/test_save_faults
tests_test_save_faults_SOURCES = tests/test_save_faults.c

check_PROGRAMS += tests/test_save_shim
tests_test_save_shim_SOURCES = tests/test_save_shim.c
tests_test_save_shim_LDFLAGS = $(AM_LDFLAGS) \
	-Wl,--wrap=write \
	-Wl,--wrap=fsync \
	-Wl,--wrap=close \
	-Wl,--wrap=renameat2 \
	-Wl,--wrap=renameat \
	-Wl,--wrap=symlink \
	-Wl,--wrap=ftruncate \
	-Wl,--wrap=fchmod \
	-Wl,--wrap=flistxattr \
	-Wl,--wrap=fgetxattr \
	-Wl,--wrap=fsetxattr \
	-Wl,--wrap=fremovexattr \
	-Wl,--wrap=linkat \
	-Wl,--wrap=read
check_PROGRAMS += tests/test_workbench
tests_test_workbench_SOURCES = tests/test_workbench.c src/tui/actions.c src/tui/answer.c src/tui/fmt.c

# The workbench in a terminal; skipped aloud without python3-pyte.
# Shells and formatters judge what is made from the tables.
TESTS += tests/test_guide.sh tests/test_tutorial.sh
EXTRA_DIST += tests/test_guide.sh tests/test_tutorial.sh

TESTS += tests/tui_incremental.sh tests/tui_others.sh tests/tui_recovery.sh tests/tui_screens.sh
TESTS += tests/tui_terminal.sh tests/tui_typed.sh
EXTRA_DIST += tests/tui_incremental.sh tests/tui_others.sh tests/tui_recovery.sh tests/tui_screens.sh
EXTRA_DIST += tests/tui_terminal.sh tests/tui_typed.sh tests/tui tests/screens

else

check-local:
	@echo 'make check needs Check (on Debian: apt-get install check); configure again then' >&2
	@false

endif
