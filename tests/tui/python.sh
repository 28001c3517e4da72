# Sourced with a script's name: runs it with a Python that has pyte, or skips aloud.
for python in python3 /usr/bin/python3; do
	if "$python" -c 'import pyte' 2>/dev/null; then
		exec "$python" -B "$TREADLIGHT_SRCDIR/tests/tui/$script"
	fi
done
echo "skipped: $script needs Python 3 with pyte (on Debian: apt-get install python3-pyte)"
exit 77
