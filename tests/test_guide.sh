# The manual page and the shells' completions: formatters and the shells themselves judge them.
# What is not installed is skipped aloud; mandoc, man, zsh and fish need not be there.
# shellcheck disable=SC2012,SC2016,SC2086
set -u
bin=${TREADLIGHT_BIN:?} demo=${TREADLIGHT_SRCDIR:?}/share/demo
tmp=$(mktemp -d) || exit 99
trap 'rm -rf "$tmp"' EXIT
HOME=$tmp XDG_DATA_HOME=$tmp/data TREADLIGHT_DATADIR=$TREADLIGHT_SRCDIR
export HOME XDG_DATA_HOME TREADLIGHT_DATADIR
PATH=${bin%/*}:$PATH
failed=0

# is NAME EXPECTED GOT: words, in any order
is() {
	want=$(printf '%s\n' $2 | sort | tr '\n' ' ') got=$(printf '%s\n' $3 | sort | tr '\n' ' ')
	test "$want" = "$got" && return
	printf '%s: expected %s; got %s\n' "$1" "$want" "$got"
	failed=1
}
has() {
	case "$3" in *"$2"*) return ;; esac
	printf '%s: %s is missing\n' "$1" "$2"
	failed=1
}
empty() {
	test -z "$2" && return
	printf '%s:\n%s\n' "$1" "$2"
	failed=1
}
there() {
	command -v "$1" >"$tmp/null" 2>&1 && return
	echo "skipped: $1 is not installed"
	return 1
}

# --- the manual page ---
"$bin" --manual >"$tmp/treadlight.1" || failed=1
there mandoc && empty 'mandoc -Tlint' "$(mandoc -Tlint "$tmp/treadlight.1")"
there man && empty 'man --warnings' "$(man --warnings -l "$tmp/treadlight.1" 2>&1 >"$tmp/null")"
page=$(cat "$tmp/treadlight.1")
# Every subcommand and option of --help stands in it.
for cmd in $("$bin" --help | sed -n 's/^  \([a-z]*\)  *[a-z].*/\1/p'); do
	has manual ".SS \"$cmd" "$page"
	for option in $("$bin" "$cmd" --help | sed -n 's/^  \(--[a-z-]*\).*/\1/p'); do
		test "$option" = --help || has "manual of $cmd" "$(printf '\\fB%s' "$option" | sed 's/-/\\-/g')" "$page"
	done
done
test "$("$bin" --help | grep -c '^  [a-z]')" -ge 12 || failed=1

# --- completions ---
sheets=$(cd "$demo/sheets" && ls | sed 's/\.yaml$//')
runs=$(cd "$demo/runs" && ls | sed 's/\.yaml$//')
cars=$(cd "$TREADLIGHT_SRCDIR/profiles/cars" && ls | sed 's/\.yaml$//')
subcommands=$("$bin" --help | sed -n 's/^  \([a-z]*\)  *[a-z].*/\1/p')
"$bin" --completions no-such-shell 2>"$tmp/said"
test $? -eq 2 || { echo 'an unknown shell is not refused'; failed=1; }

# A book from elsewhere: names of files that are no ids are neither offered nor run.
odd=$tmp/odd
mkdir -p "$odd/sheets" "$odd/runs" "$odd/profiles/cars"
long=$(printf '%065d' 0)
for folder in sheets runs profiles/cars; do
	for name in ok-1 '$(echo>PWNED)' '`echo>PWNED`' '${x:=PWNED}' 'a b' '*' '?' "'" '"' A-Z -x _x x.y é \
		"$long" "$(printf 'split\nname')" "$(printf 'esc\033[2J')" 'x;echo>PWNED' '~' 'x=a'; do
		: >"$odd/$folder/$name.yaml"
	done
	mkdir "$odd/$folder/folder.yaml"
done

# offer WORD...: what the shell offers for the last one; one definition a shell
judge() {
	shell=$1
	is "$shell: sheets" "$sheets" "$(offer predict "$demo" '')"
	is "$shell: sheets that begin so" 'fast' "$(offer predict "$demo" fa)"
	is "$shell: the second sheet" "$sheets" "$(offer compare "$demo" fast '')"
	is "$shell: runs" "$runs" "$(offer overlay "$demo" r01 '')"
	is "$shell: value of an option" "$sheets" "$(offer predict "$demo" fast --against '')"
	is "$shell: an option before the word" "$sheets" "$(offer stint --laps 20 "$demo" '')"
	is "$shell: choices" 'one-at-a-time screening definitive next' "$(offer plan "$demo" --kind '')"
	is "$shell: choices that begin so" 'screening' "$(offer plan "$demo" --kind s)"
	is "$shell: profiles" "$cars" "$(offer new nowhere --car '')"
	is "$shell: sheets of the workbench" "$sheets" "$(offer "$demo" --sheet '')"
	is "$shell: no more words" '' "$(offer predict "$demo" fast '')"
	(
		cd "$odd" || exit 1
		is "$shell: only ids" ok-1 "$(offer predict "$odd" '')"
		is "$shell: only ids of runs" ok-1 "$(offer overlay . '')"
		is "$shell: only ids of the workbench" ok-1 "$(offer "$odd" --sheet '')"
		is "$shell: only ids of profiles" "ok-1 $cars" "$(offer new . --car '')"
		test $failed -eq 0
	) || failed=1
	test -z "$(find "$tmp" -name PWNED)" || { echo "$shell: the name of a file was run"; failed=1; }
	has "$shell: options" --hold-share "$(offer suggest "$demo" --h)"
	for word in $subcommands; do
		has "$shell: subcommands" "$word" "$(offer '')"
	done
}

if there bash; then
	cat >"$tmp/ask.bash" <<-'END'
		source "$1"; shift
		COMP_WORDS=(treadlight "$@") COMP_CWORD=$#
		_treadlight
		printf '%s\n' "${COMPREPLY[@]}"
	END
	offer() { bash "$tmp/ask.bash" "$tmp/bash" "$@"; }
	"$bin" --completions bash >"$tmp/bash" && judge bash
fi
if there zsh; then
	# compadd and _path_files belong to the line editor: what they are given is what is offered.
	cat >"$tmp/ask.zsh" <<-'END'
		compadd() { [[ $1 == -- ]] && shift; print -rl -- ${(M)@:#$PREFIX*} }
		_path_files() { }
		compdef() { }
		source $1; shift
		words=(treadlight "$@") CURRENT=$(($# + 1)) PREFIX=${@[-1]}
		_treadlight
	END
	offer() { zsh -f "$tmp/ask.zsh" "$tmp/zsh" "$@"; }
	"$bin" --completions zsh >"$tmp/zsh" && judge zsh
fi
if there fish; then
	cat >"$tmp/ask.fish" <<-'END'
		source $argv[1]
		complete -C "treadlight $argv[2..-1]" | string replace -r '\t.*' ''
	END
	offer() { fish --no-config "$tmp/ask.fish" "$tmp/fish" "$@"; }
	"$bin" --completions fish >"$tmp/fish" && judge fish
fi
exit $failed
