# The demo book, scripts, completions.
EXTRA_DIST += \
	share/make-demo.py \
	share/setup.sh \
	share/try.sh

# Installed as a book of its own; one file a line, sorted.
demodir = $(pkgdatadir)/demo
dist_demo_DATA = \
	share/demo/book.yaml
demo_carsdir = $(demodir)/profiles/cars
dist_demo_cars_DATA = \
	share/demo/profiles/cars/larkspur-20.yaml
demo_circuitsdir = $(demodir)/profiles/circuits
dist_demo_circuits_DATA = \
	share/demo/profiles/circuits/harrow-fen.yaml
demo_sheetsdir = $(demodir)/sheets
dist_demo_sheets_DATA = \
	share/demo/sheets/fast.yaml \
	share/demo/sheets/kind.yaml \
	share/demo/sheets/quick-base.yaml \
	share/demo/sheets/soft-rear-camber.yaml
demo_runsdir = $(demodir)/runs
dist_demo_runs_DATA = \
	share/demo/runs/r01.yaml \
	share/demo/runs/r02.yaml \
	share/demo/runs/r03.yaml \
	share/demo/runs/r04.yaml \
	share/demo/runs/r05.yaml \
	share/demo/runs/r06.yaml \
	share/demo/runs/r07.yaml \
	share/demo/runs/r08.yaml \
	share/demo/runs/r09.yaml \
	share/demo/runs/r10.yaml \
	share/demo/runs/r11.yaml \
	share/demo/runs/r12.yaml \
	share/demo/runs/r13.yaml \
	share/demo/runs/r14.yaml \
	share/demo/runs/r15.yaml \
	share/demo/runs/r16.yaml \
	share/demo/runs/r17.yaml \
	share/demo/runs/r18.yaml \
	share/demo/runs/r19.yaml \
	share/demo/runs/r20.yaml \
	share/demo/runs/r21.yaml \
	share/demo/runs/r22.yaml \
	share/demo/runs/r23.yaml \
	share/demo/runs/r24.yaml \
	share/demo/runs/r25.yaml \
	share/demo/runs/r26.yaml \
	share/demo/runs/r27.yaml \
	share/demo/runs/r28.yaml \
	share/demo/runs/r29.yaml \
	share/demo/runs/r30.yaml \
	share/demo/runs/r31.yaml \
	share/demo/runs/r32.yaml \
	share/demo/runs/r33.yaml \
	share/demo/runs/r34.yaml \
	share/demo/runs/r35.yaml \
	share/demo/runs/r36.yaml \
	share/demo/runs/r37.yaml \
	share/demo/runs/r38.yaml \
	share/demo/runs/r39.yaml \
	share/demo/runs/r40.yaml \
	share/demo/runs/r41.yaml \
	share/demo/runs/r42.yaml \
	share/demo/runs/r43.yaml \
	share/demo/runs/r44.yaml \
	share/demo/runs/r45.yaml \
	share/demo/runs/r46.yaml \
	share/demo/runs/r47.yaml

# Printed by the program from its own table; a cross build goes without.
if !CROSS
bash_completiondir = $(datadir)/bash-completion/completions
nodist_bash_completion_DATA = share/completions/bash/treadlight
zsh_completiondir = $(datadir)/zsh/site-functions
nodist_zsh_completion_DATA = share/completions/zsh/_treadlight
fish_completiondir = $(datadir)/fish/vendor_completions.d
nodist_fish_completion_DATA = share/completions/fish/treadlight.fish
CLEANFILES += \
	share/completions/bash/treadlight \
	share/completions/fish/treadlight.fish \
	share/completions/zsh/_treadlight
# The shell's name is that of the folder.
share/completions/bash/treadlight share/completions/zsh/_treadlight share/completions/fish/treadlight.fish: treadlight$(EXEEXT)
	$(AM_V_GEN)$(MKDIR_P) $(@D) && ./treadlight$(EXEEXT) --completions $$(basename $(@D)) >$@.new && mv $@.new $@
endif
