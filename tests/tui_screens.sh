# The Sheet page and its companions, key by key, against saved screens.
script=screens.py
. "$TREADLIGHT_SRCDIR/tests/tui/python.sh"
