# The demo book, scripts, completions.
EXTRA_DIST += \
	share/setup.sh \
	share/try.sh
