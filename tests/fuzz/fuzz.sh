# fuzz.sh LIBFUZZER-FLAGS CORPUS SECONDS PROGRAM...: run by `make fuzz` in the build folder. What is
# found new goes to fuzz/NAME there, what breaks to fuzz/NAME-*; a finding worth keeping is copied to
# tests/data/corpus/NAME by hand.
set -eu
flags=$1 corpus=$2 seconds=$3
shift 3
if test -z "$flags"; then
	echo 'make fuzz: configure with CC=clang --enable-fuzzers --enable-sanitizers' >&2
	exit 1
fi
failed=0
for program; do
	name=${program##*/fuzz_}
	mkdir -p "fuzz/$name"
	echo "fuzzing $name for $seconds s"
	"./$program" -max_total_time="$seconds" -timeout=5 -max_len=65536 -print_final_stats=1 \
		-artifact_prefix="fuzz/$name-" "fuzz/$name" "$corpus/$name" >"fuzz/$name.log" 2>&1 || failed=1
	grep -E '^stat::number_of_executed_units|^SUMMARY|cov: ' "fuzz/$name.log" | tail -n 3
done
exit $failed
