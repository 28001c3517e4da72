# What is painted change by change against a full painting, cell by cell, after random keys.
script=incremental.py
. "$TREADLIGHT_SRCDIR/tests/tui/python.sh"
