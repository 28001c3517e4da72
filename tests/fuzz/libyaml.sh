# libyaml.sh FOLDER: libyaml with libFuzzer's instrumentation, built into FOLDER from Debian's source
# package, so that the fuzzer sees into the parser. Nothing of it is kept in the repository; the
# system's own settings stay as they are. Then:
#   configure CC=clang --enable-fuzzers --enable-sanitizers \
#       YAML_CFLAGS=-IFOLDER/include YAML_LIBS=FOLDER/libyaml.a
# With LIBYAML_SOURCE=FOLDER of an unpacked libyaml nothing is fetched.
set -eu
test $# -eq 1 || { echo 'usage: libyaml.sh FOLDER' >&2; exit 2; }
mkdir -p "$1/lists/partial" "$1/include"
to=$(cd "$1" && pwd -P)
cd "$to"
if test -z "${LIBYAML_SOURCE:-}"; then
	command -v apt-get >/dev/null || { echo 'libyaml.sh: no apt-get; set LIBYAML_SOURCE' >&2; exit 1; }
	codename=$(. /etc/os-release && echo "$VERSION_CODENAME")
	echo "deb-src http://deb.debian.org/debian $codename main" >sources.list
	options="-o Dir::Etc::sourcelist=$to/sources.list -o Dir::Etc::sourceparts=- -o Dir::State::lists=$to/lists"
	# shellcheck disable=SC2086 # one word an option
	apt-get -q $options update >fetch.log 2>&1 && apt-get -q $options source --download-only libyaml >>fetch.log 2>&1 ||
		{ tail -n 5 fetch.log >&2; exit 1; }
	rm -rf source
	mkdir source
	tar -xzf libyaml_*.orig.tar.gz -C source --strip-components=1
	LIBYAML_SOURCE=$to/source
fi
flags='-O1 -g -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=undefined'
version=$(sed -n 's/^AC_INIT(\[yaml\], \[\([0-9.]*\)\].*/\1/p' "$LIBYAML_SOURCE/configure.ac")
test -n "$version" || version=$(sed -n 's/^m4_define(\[YAML_\(MAJOR\|MINOR\|PATCH\)\], \([0-9]*\)).*/\2/p' "$LIBYAML_SOURCE/configure.ac" | paste -sd.)
rm -f -- *.o libyaml.a
for f in "$LIBYAML_SOURCE"/src/*.c; do
	# shellcheck disable=SC2086
	clang $flags -w -I"$LIBYAML_SOURCE/include" -I"$LIBYAML_SOURCE/src" \
		-DYAML_VERSION_MAJOR=0 -DYAML_VERSION_MINOR=2 -DYAML_VERSION_PATCH=5 \
		"-DYAML_VERSION_STRING=\"$version\"" -c "$f"
done
ar cr libyaml.a -- *.o
cp "$LIBYAML_SOURCE/include/yaml.h" include/
echo "libyaml $version, instrumented: $to/libyaml.a"
