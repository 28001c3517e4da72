# What other programs, and programs that were cut short, leave in a book.
script=others.py
. "$TREADLIGHT_SRCDIR/tests/tui/python.sh"
