#!/bin/sh
# sh share/try.sh [--fresh]: installs what is missing, builds, and opens the workbench on a copy of
# the demo book. With no terminal: prints the demo's fit, a comparison and the frontier instead.
# The copy is kept from one time to the next; --fresh takes a new one.
set -eu
top=$(cd "$(dirname "$0")/.." && pwd -P)
. "$top/share/setup.sh"

fresh=
case ${1:-} in
--fresh) fresh=yes ;;
'') ;;
*) say "usage: sh share/try.sh [--fresh]"; exit 2 ;;
esac

setup_packages run
# shellcheck disable=SC2119 # no options of its own
setup_build
make -s -C "$build/obj" install >"$build/install.log" 2>&1 9>&- ||
	{ tail -n 20 "$build/install.log" >&2; give_up "the installation into $build/inst failed"; }
setup_done

treadlight=$build/inst/bin/treadlight
demo=$build/demo
new_copy()
{
	rm -rf "$1"
	cp -R "$top/share/demo" "$1"
	chmod -R u+w "$1"
}

# Where to go on from here; on stderr, so that what is printed stays what it is.
tell_place()
{
	say "the program: $treadlight (its folder on the PATH: export PATH=\"$build/inst/bin:\$PATH\")"
	say "a book of your own: treadlight new DIR, or by doc/tutorial.md"
}

if test -t 0 && test -t 1 && test "${TERM:-dumb}" != dumb; then
	if test -n "$fresh" || test ! -d "$demo"; then
		new_copy "$demo"
	else
		say "your copy of the demo book as you left it: $demo (--fresh takes a new one)"
	fi
	"$treadlight" "$demo" || exit
	tell_place
	exit
fi

printed=$build/demo-printed
new_copy "$printed"
heading()
{
	printf '\n== treadlight %s ==\n\n' "$*"
}
heading fit
"$treadlight" fit "$printed"
heading compare quick-base kind
"$treadlight" compare "$printed" quick-base kind
heading suggest
"$treadlight" suggest "$printed"
tell_place
