# What is typed and pasted, however its bytes arrive, and what a terminal says unasked.
script=typed.py
. "$TREADLIGHT_SRCDIR/tests/tui/python.sh"
