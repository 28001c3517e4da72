# The tutorial's commands do what the tutorial says: every ```sh block of doc/tutorial.md is run in
# its order, and every line of the ```text block behind it must be among what it printed.
set -u
bin=${TREADLIGHT_BIN:?} tutorial=${TREADLIGHT_SRCDIR:?}/doc/tutorial.md
tmp=$(mktemp -d) || exit 99
trap 'rm -rf "$tmp"' EXIT
HOME=$tmp XDG_DATA_HOME=$tmp/data TREADLIGHT_DATADIR=$TREADLIGHT_SRCDIR
PATH=${bin%/*}:$PATH
export HOME XDG_DATA_HOME TREADLIGHT_DATADIR PATH
mkdir "$tmp/day" && cd "$tmp/day" || exit 99

# NN.sh and NN.text: blocks by their place; a text belongs to the commands before it.
awk -v to="$tmp" '
	/^```sh$/ { n++; file = sprintf("%s/%02d.sh", to, n); next }
	/^```text$/ { file = sprintf("%s/%02d.text", to, n); next }
	/^```/ { file = ""; next }
	file { print > file }
' "$tutorial"

failed=0 blocks=0 lines=0
for block in "$tmp"/[0-9]*.sh; do
	blocks=$((blocks + 1))
	if ! sh -eu "$block" >"$tmp/out" 2>&1; then
		echo "failed: $(cat "$block")"
		cat "$tmp/out"
		failed=1
	fi
	test -f "${block%.sh}.text" || continue
	sed 's/  */ /g; s/^ //; s/ $//' "$tmp/out" >"$tmp/said"
	while IFS= read -r line; do
		lines=$((lines + 1))
		grep -qF -- "$(printf '%s\n' "$line" | sed 's/  */ /g; s/^ //; s/ $//')" "$tmp/said" && continue
		echo "not said: $line"
		cat "$tmp/out"
		failed=1
	done <"${block%.sh}.text"
done
if test "$blocks" -lt 12 || test "$lines" -lt 15; then 
	echo "only $blocks blocks, $lines lines found"
	failed=1
fi
test -s debrief.html && test -s mail.txt && test -s run-sheet.txt || failed=1

# The table that a plan prints comes back as runs once times are filled in, and ticks the plan off.
(
	set -eu
	cp -r test-day blank
	chmod -R u+w blank
	rm -f blank/runs/*.yaml blank/plan.yaml
	"$bin" plan blank --kind screening --factor track --factor pressure --store >"$tmp/out"
	"$bin" plan blank --csv | awk -F, 'BEGIN { OFS = "," } NR > 1 { $8 = 46 + NR % 7 / 10 } { print }' >blank.csv
	"$bin" log blank --csv blank.csv >"$tmp/out"
	grep -q 'the plan: [1-9][0-9]* runs ticked off, 0 left' "$tmp/out"
	test "$(grep -c 'done: r' blank/plan.yaml)" -eq "$(find blank/runs -name 'r*.yaml' | wc -l)"
) || { echo 'the table of a plan does not come back'; cat "$tmp/out"; failed=1; }
exit $failed
