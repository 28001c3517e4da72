# shellcheck shell=sh disable=SC2154 # $top comes from the caller
#
# Read by share/try.sh and tests/all.sh, not run by itself. Needs $top, the source folder.
#
# setup_packages run|test     installs what is missing (apt), or names it
# setup_build [CONFIGURE OPTION...]   configures and builds; $build is then the build folder
#
# Everything is written below one build folder: $TREADLIGHT_BUILD, or else one for each source
# folder in the user's cache. The source folder stays as it is: autoreconf works in a folder of
# links to it.

say()
{
	printf '%s\n' "$*" >&2
}

give_up()
{
	say "$0: $*"
	exit 1
}

# One line a need: what tells that it is here | Debian's package | what it is.
needs_of()
{
	cat <<-'END'
		command -v autoreconf|autoconf|autoconf
		command -v automake|automake|automake
		command -v make|make|make
		command -v "${CC:-cc}"|gcc|a C compiler
		have_header stdio.h|libc6-dev|the C library's headers
		command -v pkg-config|pkg-config|pkg-config
		pkg-config --exists ncursesw panelw|libncurses-dev|ncursesw
		pkg-config --exists yaml-0.1|libyaml-dev|libyaml
		pkg-config --exists gsl|libgsl-dev|GSL
		pkg-config --exists jansson|libjansson-dev|jansson
		have_header csv.h|libcsv-dev|libcsv
	END
	if test "$1" = test; then
		cat <<-'END'
			pkg-config --exists check|check|Check
			command -v strace|strace|strace
			have_pyte|python3-pyte|Python 3 with pyte
		END
	fi
}

have_header()
{
	printf '#include <%s>\n' "$1" | "${CC:-cc}" -E - >/dev/null 2>&1
}

# The screen tests look at the same two places.
have_pyte()
{
	python3 -c 'import pyte' || /usr/bin/python3 -c 'import pyte'
}

# The missing ones, one a line, as "package|name".
missing_of()
{
	needs_of "$1" | while IFS='|' read -r probe package name; do
		eval "$probe" >/dev/null 2>&1 </dev/null || printf '%s|%s\n' "$package" "$name"
	done
}

names_of()
{
	printf '%s\n' "$1" | cut -d'|' -f2 | paste -sd, - | sed 's/,/, /g'
}

as_root()
{
	if test "$(id -u)" = 0; then
		"$@"
	else
		sudo "$@"
	fi
}

setup_packages()
{
	missing=$(missing_of "$1")
	test -n "$missing" || return 0
	packages=$(printf '%s\n' "$missing" | cut -d'|' -f1 | paste -sd' ' -)
	names=$(names_of "$missing")
	if ! command -v apt-get >/dev/null; then
		give_up "missing: $names (Debian calls them $packages); install them, then run this again"
	fi
	if test "$(id -u)" != 0 && ! command -v sudo >/dev/null; then
		give_up "missing: $names; as root: apt-get install $packages"
	fi
	say "installing $packages"
	log=$(mktemp) || exit 1
	# shellcheck disable=SC2086 # one word a package
	if ! as_root apt-get -q update >"$log" 2>&1 ||
	   ! as_root env DEBIAN_FRONTEND=noninteractive apt-get -q -y \
			-o Dpkg::Use-Pty=0 install --no-install-recommends $packages >>"$log" 2>&1 </dev/null; then
		tail -n 20 "$log" >&2
		rm -f "$log"
		give_up "apt-get could not install $packages"
	fi
	rm -f "$log"
	missing=$(missing_of "$1")
	test -z "$missing" || give_up "still missing after the installation: $(names_of "$missing")"
}

# The build folder, made if need be; one for each source folder and set of options.
setup_folder()
{
	if test -n "${TREADLIGHT_BUILD:-}"; then
		build=$TREADLIGHT_BUILD
	else
		cache=${XDG_CACHE_HOME:-${HOME:+$HOME/.cache}}
		if test -z "$cache" || ! mkdir -p "$cache" 2>/dev/null || test ! -w "$cache"; then
			cache=${TMPDIR:-/tmp}/cache-$(id -u)
		fi
		key=$(printf '%s\n' "$top" "$@" | cksum | cut -d' ' -f1)
		build=$cache/treadlight-build/$key
	fi
	mkdir -p "$build" || give_up "cannot make the build folder $build; set TREADLIGHT_BUILD to another"
	build=$(cd "$build" && pwd -P)
	test -O "$build" || give_up "the build folder $build belongs to someone else; set TREADLIGHT_BUILD"
	case $build in
	*[[:space:]]*) give_up "make cannot work in a path with spaces, $build; set TREADLIGHT_BUILD" ;;
	"$top") give_up "the build folder must not be the source folder" ;;
	esac
	exec 9>"$build/lock"
	if command -v flock >/dev/null; then flock 9; fi
}

# Links to all that the source folder holds, but for what autoreconf makes.
link_sources()
{
	mkdir -p "$build/tree"
	find "$build/tree" -maxdepth 1 -type l -exec rm -f {} +
	for name in README.md DEVELOPERS.md configure.ac Makefile.am .clang-format .clang-tidy \
			src tests profiles share doc; do
		test ! -e "$top/$name" || ln -s "$top/$name" "$build/tree/$name"
	done
}

configure_here()
{
	say "configuring in $build"
	rm -rf "$build/obj"
	mkdir "$build/obj"
	(cd "$build/tree" && autoreconf -fi) >"$build/autoreconf.log" 2>&1 9>&- ||
		{ tail -n 20 "$build/autoreconf.log" >&2; give_up "autoreconf failed"; }
	(cd "$build/obj" && ../tree/configure -q --prefix="$build/inst" "$@") \
			>"$build/configure.log" 2>&1 9>&- ||
		{ tail -n 20 "$build/configure.log" >&2; give_up "configure failed"; }
}

setup_build()
{
	setup_folder "$@"
	link_sources
	state=$(printf '%s\n' "$@" "${CC:-} ${CFLAGS:-} ${LDFLAGS:-}" "$top" \
		"check $(pkg-config --modversion check 2>/dev/null)")
	jobs=$(getconf _NPROCESSORS_ONLN 2>/dev/null || echo 1)
	if test ! -f "$build/obj/Makefile" || test "$state" != "$(cat "$build/state" 2>/dev/null)" ||
	   ! make -s -C "$build/obj" Makefile >"$build/make.log" 2>&1 9>&-; then
		configure_here "$@"
		printf '%s\n' "$state" >"$build/state"
	fi
	say "building in $build"
	make -s -j"$jobs" -C "$build/obj" >"$build/make.log" 2>&1 9>&- ||
		{ grep -E 'error|\*\*\*' "$build/make.log" | head -n 30 >&2; give_up "the build failed: $build/make.log"; }
}

# Lets the next one at the build folder.
setup_done()
{
	exec 9>&-
}
