# Manual page, references, licence; one file a line, sorted.
dist_doc_DATA = \
	README.md \
	doc/COPYING \
	doc/balance.md \
	doc/borrow.md \
	doc/demo-book.md \
	doc/figures.md \
	doc/formats.md \
	doc/frontier.md \
	doc/model.md \
	doc/plans.md \
	doc/reliability.md \
	doc/statistics.md \
	doc/stint.md \
	doc/tutorial.md

# Printed by the program from its own tables; a cross build goes without.
if !CROSS
nodist_man_MANS = doc/treadlight.1
CLEANFILES += doc/treadlight.1
doc/treadlight.1: treadlight$(EXEEXT)
	$(AM_V_GEN)$(MKDIR_P) doc && ./treadlight$(EXEEXT) --manual >$@.new && mv $@.new $@
endif
