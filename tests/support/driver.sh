# driver.sh AUTOMAKE-DRIVER ARGUMENTS...: runs the automake driver, then shows what closes the log:
# Check's summary and, of a failed test, its last lines.
log=
driver=$1
shift
prev=
for arg; do
	if test "$prev" = --log-file; then log=$arg; fi
	if test "$arg" = --; then break; fi
	prev=$arg
done
sh "$driver" "$@"
status=$?
if test -n "$log" && test -f "$log"; then
	grep -E '^[0-9]+%: Checks: [0-9]+, Failures: [0-9]+, Errors: [0-9]+$' "$log"
	case $(tail -n 1 "${log%.log}.trs" 2>/dev/null; grep ':test-result:' "${log%.log}.trs") in
	*FAIL*|*ERROR*) tail -n 30 "$log" ;;
	esac
fi
exit $status
