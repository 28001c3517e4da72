# Turns what `make bench` prints into the tables of doc/figures.md: ratios only.
#   make bench | awk -f tests/bench/figures.awk
/ cores, / { print "Machine: " $0 ".\n"; print "| work | figure over its yardstick | part of the goal used | |\n| --- | --- | --- | --- |" }
/ at (most|least) / {
	work = substr($0, 1, 58); sub(/ +$/, "", work)
	least = $0 ~ / at least /
	rest = substr($0, 59); split(rest, w, " +")
	first = w[1] == "" ? 2 : 1
	figure = w[first]; goal = w[first + 3]
	met = $0 ~ /NOT MET/ ? "not met" : "met"
	part = least ? goal / figure : figure / goal
	ratio = $0 ~ /MiB|bytes$| us;| ms;|bytes *$/ ? "-" : figure
	printf "| %s | %s | %.2g | %s |\n", work, ratio, part, met
	next
}
/^the same, / { work = substr($0, 1, 58); sub(/ +$/, "", work); split(substr($0, 59), w, " +"); printf "| %s | %s | - | no goal |\n", work, w[1] == "" ? w[2] : w[1] }
/^growth of .*: 1, / {
	work = substr($0, 1, match($0, /  | [0-9]+ [a-z]+: 1,/) - 1)
	growth[++n] = "| " work " | " substr($0, 59) " |"
}
END {
	print "\n| growth | time over the first |\n| --- | --- |"
	for (i = 1; i <= n; i++)
		print growth[i]
}
