# How the workbench treats terminals: bad ones, dying ones, slow ones, small ones.
script=behaviour.py
. "$TREADLIGHT_SRCDIR/tests/tui/python.sh"
