#!/bin/sh
# sh tests/all.sh [CONFIGURE OPTION...]: installs what is missing, builds, runs all that `make check`
# runs, and closes with the sum of Check's closing lines. Exit status 0: all passed.
set -eu
top=$(cd "$(dirname "$0")/.." && pwd -P)
. "$top/share/setup.sh"

setup_packages test
setup_build "$@"
status=0
make -j"$jobs" -C "$build/obj" --no-print-directory check 9>&- || status=$?

logs=$(find "$build/obj/tests" -name '*.log')
test -n "$logs" || { say "no test ran"; exit 1; }
echo
# No path here holds a space: setup_folder sees to it.
# shellcheck disable=SC2086
cat $logs | awk '
	/^[0-9]+%: Checks: [0-9]+, Failures: [0-9]+, Errors: [0-9]+$/ {
		gsub(",", ""); checks += $3; failures += $5; errors += $7
	}
	END {
		good = checks - failures - errors
		printf "all suites together:\n%d%%: Checks: %d, Failures: %d, Errors: %d\n",
			checks ? int(100 * good / checks) : 0, checks, failures, errors
	}'
if test "$status" != 0; then say "make check failed; logs below $build/obj/tests"; fi
exit "$status"
