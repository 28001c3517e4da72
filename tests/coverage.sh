# coverage.sh BUILD-FLAGS: run by `make coverage` in a build folder configured with --enable-coverage.
# Runs the suites, then prints covered lines and branches for each file of src.
set -eu
case $1 in
*--coverage*) ;;
*) echo 'make coverage: configure with --enable-coverage' >&2; exit 1 ;;
esac
find . -name '*.gcda' -exec rm -f {} +
make check >coverage.log 2>&1 || { tail -n 20 coverage.log >&2; exit 1; }
find src -name '*.gcda' | sort | xargs gcov -b -c -n 2>/dev/null | awk '
	/^File/ { file = $2; gsub("\047", "", file); sub(".*/src/", "src/", file) }
	/^Lines executed/ { split($0, a, /[:% ]+/); lines = a[3] " % of " a[5] }
	/^Branches executed/ { next }
	/^Taken at least once/ || /^No branches/ {
		branches = "none"
		if ($0 ~ /^Taken/) { split($0, a, /[:% ]+/); branches = a[5] " % of " a[7] }
	}
	/^No calls|^Calls executed/ {
		if (file ~ /^src\/.*\.c$/) printf "%-32s lines %-18s branches %s\n", file, lines, branches
	}'
