# lint.sh SOURCE-FOLDER COMPILER-FLAGS...: run by `make lint`. What is not installed is skipped aloud;
# with no linter at all it fails, since nothing was looked at.
set -u
cd "$1" || exit 1
shift
failed=0
looked=no

sources() { find src tests -name '*.c' | sort; }

if command -v clang-format >/dev/null; then
	find src tests -name '*.[ch]' | sort | xargs clang-format --dry-run -Werror || failed=1
	looked=yes
else
	echo 'lint: skipped the format: clang-format is not installed' >&2
fi

if command -v clang-tidy >/dev/null; then
	sources | xargs -P "$(getconf _NPROCESSORS_ONLN)" -I FILE \
		clang-tidy --quiet --warnings-as-errors='*' FILE -- "$@" 2>/dev/null || failed=1
	looked=yes
elif command -v cppcheck >/dev/null; then
	cppcheck -q --error-exitcode=1 --inline-suppr --enable=warning,performance,portability \
		--suppress=missingIncludeSystem -Isrc -Itests src tests || failed=1
	looked=yes
else
	echo 'lint: skipped the code: neither clang-tidy nor cppcheck is installed' >&2
fi

if command -v shellcheck >/dev/null; then
	shellcheck -s sh -x share/*.sh tests/*.sh || failed=1
else
	echo 'lint: skipped the scripts: shellcheck is not installed' >&2
fi

if test $looked = no; then failed=1; fi
exit $failed
