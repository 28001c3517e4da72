# What becomes of unsaved changes whose session ended, or lives beside another one.
script=recovery.py
. "$TREADLIGHT_SRCDIR/tests/tui/python.sh"
