/*
 * Files as they should be, and each way they can be wrong: one replacement in a good
 * text, the place and the words that must come out. Places were counted by hand.
 */
#include "store/load.h"
#include "store/store.h"
#include "support/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char car_text[] = "kind: car\n"
			       "version: 1\n"
			       "name: Invented\n"
			       "adjustables:\n"
			       "  - {id: front-wing, label: Wing, axle: front, pair: wing, unit: "
			       "deg, min: 4, max: 16, step: 0.5}\n"
			       "  - {id: rear-wing, label: Wing, axle: rear, pair: wing, unit: "
			       "deg, min: 6, max: 22, step: 0.5}\n"
			       "  - id: bias\n"
			       "    label: Brake bias\n"
			       "    axle: car\n"
			       "    unit: '%'\n"
			       "    min: 50\n"
			       "    max: 60\n"
			       "    step: 0.5\n"
			       "    minutes: 1\n"
			       "    caution: {min: 51, max: 59, note: \"rear locks\"}\n"
			       "chassis:\n"
			       "  mass: 560\n"
			       "  front-weight: 0.44\n"
			       "  front: {track: 1.50, spring: 130, bar: 60}\n"
			       "  aero: {front: {wing: front-wing, base: 0.60, slope: 0.04}}\n"
			       "  brakes: {bias: bias, front-to-rear: 1.2545}\n";

static const char circuit_text[] =
	"kind: circuit\n"
	"version: 1\n"
	"name: Nowhere\n"
	"length: 4.82\n"
	"segments:\n"
	"  - {id: s1, class: straight, length: 640, time-share: 0.4, wear-share: 0.3}\n"
	"  - {id: s2, class: slow, length: 150, time-share: 0.6, wear-share: 0.7}\n";

static const char sheet_text[] = "kind: sheet\n"
				 "version: 1\n"
				 "name: Quick base\n"
				 "values:\n"
				 "  front-wing: 8.0 # as ever\n"
				 "  rear-wing: 12\n"
				 "  bias: 54.5\n"
				 "locks: [wing]\n"
				 "frozen: [bias]\n"
				 "notes: free text\n";

static const char run_text[] =
	"kind: run\n"
	"version: 1\n"
	"date: 2026-03-14T10:20\n"
	"sheet: quick\n"
	"driver: a\n"
	"values: {front-wing: 8.0, rear-wing: 12, bias: 54.5}\n"
	"fuel: 24.0\n"
	"fuel-per-lap: 1.9\n"
	"track-temp: 31\n"
	"tyre-age: 0\n"
	"worn-at-start: {rear: 10}\n"
	"laps:\n"
	"  - {time: \"1:31.243\", wear: {front: 2.41}, worn: {rear: 12.5}, effort: 97}\n"
	"  - {time: 91.102, wear: {front: 2.38}, skip: traffic}\n"
	"  - {time: 91.102, worn: {rear: 17.5}}\n";

static const char book_text[] = "kind: book\n"
				"version: 1\n"
				"name: Spring test\n"
				"car: car1\n"
				"circuit: nowhere\n"
				"reference: quick\n"
				"wear-channels: [front, rear]\n"
				"wear-limit: 60\n"
				"conditions: {effort: 100, tyre-age: 0, fuel: 20, track-temp: 30}\n"
				"covariates:\n"
				"  fuel: {time: 0.032}\n"
				"  track-temp: off\n"
				"curvature: off\n"
				"exchange-rate: {front: 0.5}\n"
				"stint: {laps: 30, pit-loss: 24.0, fuel-per-lap: 1.9, pace-loss: "
				"0.02, cliff-at: 50, cliff: 0.1}\n";

struct broken {
	const char *from, *to; /* first occurrence */
	size_t line, col;
	const char *says;
};

static const struct broken cars[] = {
	{"kind: car", "kind: sheet", 1, 7, "kind is 'sheet'; here it must be 'car'"},
	{"version: 1", "version: 2", 2, 10, "this program reads version 1"},
	{"version: 1\n", "", 1, 1, "the key 'version' is missing; a car needs it"},
	{"name: Inv", "nmae: Inv", 3, 1,
		"unknown key 'nmae' in a car; allowed: kind, version, name"},
	{"unit: deg, min: 4", "unit: deg, colour: red, min: 4", 5, 71,
		"unknown key 'colour' in an adjustable"},
	{"step: 0.5}", "step: 0}", 5, 94, "step is not above 0"},
	{"step: 0.5}", "step: 0.7}", 5, 94, "no whole number of steps"},
	{", step: 0.5}", "}", 5, 5, "the key 'step' is missing; an adjustable needs it"},
	{"max: 16", "max: 4", 5, 84, "max is not above min"},
	{"min: 4,", "min: 4.1234567,", 5, 76, "more than six decimals"},
	{"min: 4,", "min: 1e999,", 5, 76, "too large"},
	{"min: 50", "min: \"50,5\"", 11, 10, "write 1.5, not 1,5"},
	{"id: rear-wing", "id: front-wing", 6, 10,
		"the id 'front-wing' stands twice; first on line 5"},
	{"id: bias", "id: effort", 7, 9, "reserved"},
	{"id: bias", "id: Bias", 7, 9, "'Bias' is no id; use a-z, 0-9 and -"},
	{"id: bias", "id: wing", 5, 54, "'wing' names an adjustable too"},
	{"axle: rear", "axle: back", 6, 40, "axle: 'back' is not known; allowed: front, rear, car"},
	{"axle: rear", "axle: front", 6, 53, "has a front member already, on line 5"},
	{"axle: rear", "axle: car", 6, 51, "has the axle car; front or rear is allowed"},
	{"pair: wing, unit: deg, min: 6", "unit: deg, min: 6", 5, 54,
		"pair 'wing' has no rear member"},
	{"label: Wing, axle: rear", "label: Flap, axle: rear", 6, 28, "share their label"},
	{"unit: deg, min: 6", "unit: mm, min: 6", 6, 64, "share their unit"},
	{"minutes: 1", "minutes: -1", 14, 14, "minutes: -1 is out of range; at least 0"},
	{"min: 51", "min: 40", 15, 20, "the soft limit is outside the limits; 50 to 60 is allowed"},
	{"{min: 51, max: 59, note", "{note", 15, 14, "a caution without min and max"},
	{"{min: 51, max: 59", "{min: 59, max: 51", 15, 29, "the soft max is below the soft min"},
	{"mass: 560", "mass: 0", 17, 9, "mass: 0 is out of range; above 0"},
	{"front-weight: 0.44", "front-weight: 1", 18, 17, "a share below 1"},
	{"spring: 130", "spring: front-spring", 19, 32,
		"'front-spring' is neither a number nor an adjustable"},
	{"wing: front-wing, base", "wing: [1], base", 20, 24,
		"wing is a list; it must be an adjustable's id or a number"},
	{"slope: 0.04", "slope: nan", 20, 55, "slope: 'nan' is not a number"},
	{"brakes: {bias: bias,", "brakes: {bias: 101,", 21, 18,
		"out of range; at least 0 and at most 100"},
	{"mass: 560", "weight: 560", 17, 3, "unknown key 'weight' in the chassis"},
	{"adjustables:\n", "adjustables: none\nx:\n", 4, 14,
		"adjustables is 'none'; it must be a list of adjustables"},
	{car_text, "[1]\n", 1, 1, "this is a list; a car is written as key: value"},
	{"caution: {min: 51, max: 59, note: \"rear locks\"}", "caution: 5", 15, 14,
		"'5' is no mapping; a caution"},
	{"min: 51", "min: low", 15, 20, "'low' is not a number"},
	{"max: 59", "max: 70", 15, 29, "the soft limit is outside the limits; 50 to 60"},
	{"{min: 51, max: 59", "{max: 49", 15, 20, "the soft limit is outside the limits; 50 to 60"},
	{"{min: 51, max: 59", "{min: 61", 15, 20, "the soft limit is outside the limits; 50 to 60"},
	{"    min: 50\n", "", 7, 5, "the key 'min' is missing; an adjustable needs it"},
	{"    max: 60\n", "", 7, 5, "the key 'max' is missing; an adjustable needs it"},
	{"label: Brake bias", "label: ''", 8, 12, "label is empty; write what the driver calls it"},
	{"  - id: bias\n", "  - five\n  - id: bias\n", 7, 5, "'five' is no mapping; an adjustable"},
	{"pair: wing", "pair: effort", 5, 54, "the id 'effort' is reserved"},
	{"axle: rear, pair", "pair", 6, 5, "the key 'axle' is missing; an adjustable needs it"},
	{"label: Wing, axle: front", "label: Wing, axle: car", 5, 52,
		"has the axle car; front or rear"},
	{"axle: front, pair: wing", "axle: front", 6, 52, "pair 'wing' has no front member"},
	{"adjustables:\n", "adjustables: []\nx:\n", 4, 14,
		"here are 0 adjustables; a car has 1 to 200"},
	{"spring: 130", "spring: -5", 19, 32, "out of range; at least 0"},
	{"front: {track: 1.50, spring: 130, bar: 60}", "front: 1", 19, 10,
		"'1' is no mapping; the front of the chassis"},
	{"{wing: front-wing, base: 0.60, slope: 0.04}", "1", 20, 17,
		"'1' is no mapping; the front of aero"},
	{"{front: {wing: front-wing, base: 0.60, slope: 0.04}}", "1", 20, 9,
		"'1' is no mapping; aero"},
	{"{bias: bias, front-to-rear: 1.2545}", "[1]", 21, 11, "this is a list; brakes"},
	{"  mass: 560\n", "  mass: 560\n  pressures: 1\n", 18, 14, "'1' is no mapping; pressures"},
	{"chassis:\n", "chassis: 1\nx:\n", 16, 10, "'1' is no mapping; the chassis"},
	{"front-weight: 0.44", "front-weight: half", 18, 17, "'half' is not a number"},
	{"name: Invented", "name: [x]", 3, 7, "name is a list; it must be a text"},
	{"max: 60", "max: most", 12, 10, "'most' is not a number"},
	{"    step: 0.5\n", "    step: \"0,5\"\n", 13, 11, "write 1.5, not 1,5"},
	{"{bias: bias, front-to-rear: 1.2545}", "{front-to-rear: -1}", 21, 27, "above 0"},
};

static const struct broken circuits[] = {
	{"length: 4.82", "length: 0", 4, 9, "out of range"},
	{"length: 4.82\n", "", 1, 1, "the key 'length' is missing"},
	{"class: slow", "class: hairpin", 7, 21,
		"allowed: straight, braking, slow, medium, fast, traction"},
	{"id: s2", "id: s1", 7, 10, "stands twice"},
	{"time-share: 0.4", "time-share: 0.41", 6, 3, "time-shares add up to 1.01"},
	{"wear-share: 0.3", "wear-share: 0.29", 6, 3, "wear-shares add up to 0.99"},
	{"wear-share: 0.3", "wear-share: 3", 6, 73, "out of range"},
	{"length: 640", "length: long", 6, 39, "'long' is not a number"},
	{"4.82\n", "4.82\ncorners: 12\n", 5, 1, "unknown key 'corners' in a circuit"},
	{circuit_text, "[1]\n", 1, 1, "this is a list; a circuit is written as key: value"},
	{"kind: circuit", "kind: car", 1, 7, "kind is 'car'; here it must be 'circuit'"},
	{"kind: circuit", "kind: {a: 1}", 1, 7, "kind is 'a mapping'; here it must be 'circuit'"},
	{"{id: s2, class: slow, length: 150, time-share: 0.6, wear-share: 0.7}", "s2", 7, 5,
		"'s2' is no mapping; a segment"},
	{"id: s2", "id: S2", 7, 10, "'S2' is no id; use a-z"},
	{"segments:\n", "segments: []\nx:\n", 5, 11, "here are 0 segments; 1 to 1000 can be given"},
	{"segments:\n", "segments: 3\nx:\n", 5, 11,
		"segments is '3'; it must be a list of segments"},
};

#define LETTERS_17 "abcdefghijklmnopq"
#define LETTERS_68 LETTERS_17 LETTERS_17 LETTERS_17 LETTERS_17

static const struct broken sheets[] = {
	{"front-wing: 8.0", "front-wing: 8.2", 5, 15,
		"Wing front: 8.2 deg is off its step of 0.5 deg; nearest are 8.0 and 8.5 deg"},
	{"front-wing: 8.0", "front-wing: 17", 5, 15, "off its limits; 4.0 to 16.0 deg is allowed"},
	{"front-wing: 8.0", "front-wing: 8.0000001", 5, 15, "more than six decimals"},
	{"front-wing: 8.0", "front-wing: 8,0", 5, 15, "write 1.5, not 1,5"},
	{"front-wing: 8.0", "front-wing: ~", 5, 15, "'~' is not a number"},
	{"front-wing: 8.0", "front-wing:", 5, 14, "front-wing is empty; it must be a number"},
	{"front-wing: 8.0", "front-wing: {a: 1}", 5, 15,
		"front-wing is a mapping; it must be a number"},
	{"  bias: 54.5\n", "", 5, 3, "values are missing: bias"},
	{"  bias: 54.5\n", "  bias: 54.5\n  toe: 1\n", 8, 3, "the car has no adjustable 'toe'"},
	{"[wing]", "[wings]", 8, 9, "no 'wings' that fits; this is a list of pairs"},
	{"[wing]", "wing", 8, 8, "locks is 'wing'; it must be a list of pairs"},
	{"[wing]", "[wing, wing]", 8, 15, "'wing' stands twice"},
	{"[bias]", "[wing]", 9, 10, "this is a list of adjustables"},
	{"notes: free", "note: free", 10, 1, "unknown key 'note' in a sheet"},
	{"notes: free text", "notes: \"a\\0b\"", 10, 8, "NUL"},
	{sheet_text, "[1]\n", 1, 1, "this is a list; a sheet is written as key: value"},
	{"kind: sheet", "kind: run", 1, 7, "kind is 'run'; here it must be 'sheet'"},
	{"[wing]", "[Wing]", 8, 9, "'Wing' is no id; use a-z"},
	{"[wing]", "[[wing]]", 8, 9, "this is a list; it must be an id"},
	{"frozen: [bias]", "held-shares: [[wing]]", 9, 15, "this is a list; it must be an id"},
	{"frozen: [bias]", "held-shares: [flap]", 9, 15,
		"no 'flap' that fits; this is a list of pairs of springs"},
	{"frozen: [bias]", "held-shares: [wing]", 9, 15,
		"'wing' is in locks too; a pair holds its difference or"},
	{"name: Quick base", "name:\n  - x", 4, 3, "name is a list; it must be a text"},
	/* What is long is cut, with dots where there was more. */
	{"front-wing: 8.0", "front-wing: " LETTERS_68, 5, 15, "'" LETTERS_68 "' is not a number"},
	{"front-wing: 8.0", "front-wing: " LETTERS_68 "z", 5, 15, "'" LETTERS_68 "...' is not"},
	{"  bias: 54.5\n", "  bias: 54.5\n  " LETTERS_68 "zz: 1\n", 8, 3,
		"no adjustable '" LETTERS_68 "...'; use the ids"},
};

static const struct broken runs[] = {
	{"2026-03-14T10:20", "2026-02-29T10:20", 3, 7, "write YYYY-MM-DDTHH:MM"},
	{"2026-03-14T10:20", "2026-03-14", 3, 7, "no date and time"},
	{"2026-03-14T10:20", "2026-03-14T24:00", 3, 7, "no date and time"},
	{"sheet: quick", "sheet: ../quick", 4, 8, "'../quick' is no id"},
	{"driver: a", "driver: A B", 5, 9, "'A B' is no id"},
	{"bias: 54.5", "bias: 54.6", 6, 48, "off its step"},
	{"fuel: 24.0", "fuel: -1", 7, 7, "out of range"},
	{"track-temp: 31", "track-temp: hot", 9, 13, "'hot' is not a number"},
	{"\"1:31.243\"", "1:61.243", 13, 12,
		"is not a lap time; write seconds (91.243) or M:SS.mmm"},
	{"\"1:31.243\"", "0", 13, 12, "time: 0 is out of range; above 0"},
	{"\"1:31.243\"", "10000001", 13, 12, "above 0 and at most 10000000"},
	{"\"1:31.243\"", "91,2", 13, 15, "unknown key '2' in a lap"},
	{"{time: \"1:31.243\", ", "{", 13, 5, "the key 'time' is missing; a lap needs it"},
	{"effort: 97", "effort: 0", 13, 73, "effort: 0 is out of range; above 0 and at most 150"},
	{"front: 2.41", "fl: 2.41", 13, 31,
		"unknown wear channel 'fl'; this book has: front, rear"},
	{"front: 2.41", "front: 101", 13, 38, "out of range"},
	{"skip: traffic", "skip: ' '", 14, 47, "a skipped lap needs a reason"},
	{"skip: traffic", "skip: ''", 14, 47, "a skipped lap needs a reason"},
	{"rear: 17.5", "rear: 12.4", 15, 33, "worn so far falls; rear was at 12.5 before"},
	{"worn-at-start: {rear: 10}", "worn-at-start: {rear: 13}", 13, 58, "rear was at 13 before"},
	{"worn-at-start: {rear: 10}\n", "", 12, 58, "the run needs worn-at-start: {rear: ...}"},
	{"wear: {front: 2.38}", "worn: {front: 2.38}", 14, 34,
		"front has both wear and worn in this run"},
	{"laps:", "wear-total: {front: 7}\nlaps:", 12, 21,
		"front has a wear-total and wear per lap"},
	{"laps:", "wear-total: {rear: 7}\nlaps:", 12, 20, "rear has a wear-total and worn per lap"},
	{"laps:\n", "laps: {}\nx:\n", 12, 7, "laps is a mapping; it must be a list of laps"},
	{"tyre-age: 0", "tire-age: 0", 10, 1, "unknown key 'tire-age' in a run"},
	{run_text, "[1]\n", 1, 1, "this is a list; a run is written as key: value"},
	{"{time: 91.102, worn: {rear: 17.5}}", "fast", 15, 5, "'fast' is no mapping; a lap"},
	{"laps:\n", "wear-total: {front: 1}\nlaps: []\nx:\n", 12, 21,
		"a wear-total without laps; give the laps"},
	{"worn: {rear: 17.5}", "wear: {rear: 1.5}", 15, 33,
		"rear has both wear and worn in this run"},
	{"date: 2026-03-14T10:20", "date: [2026]", 3, 7, "date is a list; it must be a date"},
	{"wear: {front: 2.41}", "wear: 2.41", 13, 30, "wear is '2.41'; it must be"},
	{"time: 91.102", "time: \"91,2\"", 14, 12, "time: '91,2' is"},
	{"time: 91.102", "time: ", 14, 12, "time: '' is not a lap time"},
	{"time: 91.102", "time:", 14, 10, "a space is needed behind this ':'"},
	{"values: {front-wing: 8.0, rear-wing: 12, bias: 54.5}", "values: 1", 6, 9,
		"values is '1'; it must be a mapping"},
};

static const struct broken books[] = {
	{"car: car1", "car: ../car1", 4, 6, "'../car1' is no id"},
	{"reference: quick\n", "", 1, 1, "the key 'reference' is missing; a book needs it"},
	{"[front, rear]", "[front]", 7, 16,
		"no known set; [car], [front, rear] or [fl, fr, rl, rr]"},
	{"[front, rear]", "front", 7, 16, "wear-channels is 'front'; it must be a list"},
	{"wear-limit: 60", "wear-limit: 0", 8, 13, "out of range; above 0 and at most 100"},
	{"fuel: 20, track", "fuel: 20, rain: 1, track", 9, 50, "unknown key 'rain' in conditions"},
	{"fuel: {time", "fuel: {tyme", 11, 10, "allowed: time, wear-front, wear-rear"},
	{"track-temp: off", "track-temp: auto", 12, 15, "write off, or known slopes"},
	{"curvature: off", "curvature: on", 13, 12, "'on' is not known; allowed: auto, off"},
	{"{front: 0.5}", "{fl: 0.5}", 14, 17,
		"unknown key 'fl' in exchange-rate; allowed: front, rear"},
	{"{front: 0.5}", "often", 14, 16, "'often' is not a number"},
	{"laps: 30", "laps: 30.5", 15, 15, "a whole number is allowed"},
	{", cliff: 0.1", "", 15, 81, "cliff-at and cliff belong together"},
	{book_text, "[1]\n", 1, 1, "this is a list; a book is written as key: value"},
	{"kind: book", "kind: run", 1, 7, "kind is 'run'; here it must be 'book'"},
	{"circuit: nowhere", "circuit: No", 5, 10, "'No' is no id; use a-z"},
	{"{effort: 100, tyre-age: 0, fuel: 20, track-temp: 30}", "1", 9, 13,
		"'1' is no mapping; conditions"},
	{"covariates:\n", "covariates: 1\nx:\n", 10, 13, "'1' is no mapping; covariates"},
	{"fuel: {time: 0.032}", "fuel: [1]", 11, 9, "write off, or known slopes"},
	{"{front: 0.5}", "[1]", 14, 16,
		"exchange-rate is a list; it must be auto, a number, or a number per channel"},
	{"stint: {laps: 30, pit-loss: 24.0, fuel-per-lap: 1.9, pace-loss: 0.02, cliff-at: 50, "
	 "cliff: 0.1}",
		"stint: 30", 15, 8, "'30' is no mapping; a stint"},
	{"laps: 30", "laps: 2001", 15, 15, "at least 1 and at most 2000"},
	{"laps: 30", "laps: many", 15, 15, "'many' is not a number"},
	{"cliff-at: 50, ", "", 15, 78, "cliff-at and cliff belong together"},
	{"curvature: off", "balance: 1", 13, 10, "'1' is no mapping; balance"},
	{"curvature: off", "balance: {temperatures: 1}", 13, 25, "'1' is no mapping; temperatures"},
	{"curvature: off", "balance: {temperatures: {cold: 20}}", 13, 25,
		"the key 'hot' is missing; temperatures needs it"},
	{"curvature: off", "balance: {hot-pressure: 1, temperatures: {cold: 20, hot: 80}}", 13, 25,
		"'1' is no mapping; hot-pressure"},
	{"curvature: off", "balance: {hot-pressure: {front: 0}}", 13, 33,
		"front: 0 is out of range; above 0"},
	{"curvature: off", "balance: {hot-pressure: {front: 150}}", 13, 25,
		"hot-pressure alone; it needs temperatures"},
	{"curvature: off", "balance: {band: 1}", 13, 17, "'1' is no mapping; band"},
	{"curvature: off", "balance: {lateral: 11}", 13, 20, "lateral: 11 is out of range"},
};

static struct car car;
static struct book book;

static bool load(int kind, const char *text, struct faults *f)
{
	struct doc d;
	struct book_refs refs;
	struct car c;
	struct circuit ci;
	struct sheet s;
	struct run r;
	struct book b;
	bool ok = false;
	if (!doc_parse(&d, text, strlen(text), "x.yaml", f))
		return false;
	switch (kind) {
	case 0:
		if ((ok = load_car(&c, &d, "x", f)))
			car_free(&c);
		break;
	case 1:
		if ((ok = load_circuit(&ci, &d, "x", f)))
			circuit_free(&ci);
		break;
	case 2:
		if ((ok = load_sheet(&s, &d, "x", &car, f)))
			sheet_free(&s);
		break;
	case 3:
		if ((ok = load_run(&r, &d, "x", &car, &book, f)))
			run_free(&r);
		break;
	default:
		book_init(&b);
		ok = load_book_file(&b, &d, &refs, f);
		book_free(&b);
	}
	doc_free(&d);
	return ok;
}

static char *replace(const char *text, const char *from, const char *to)
{
	const char *at = strstr(text, from);
	char *out = NULL;
	ck_assert_msg(at != NULL, "no '%s' to replace", from);
	ck_assert_int_ge(
		asprintf(&out, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from)), 0);
	return out;
}

static const struct kind {
	const char *text;
	const struct broken *cases;
	size_t n;
} kinds[] = {
	{car_text, cars, sizeof cars / sizeof cars[0]},
	{circuit_text, circuits, sizeof circuits / sizeof circuits[0]},
	{sheet_text, sheets, sizeof sheets / sizeof sheets[0]},
	{run_text, runs, sizeof runs / sizeof runs[0]},
	{book_text, books, sizeof books / sizeof books[0]},
};

static void setup(void)
{
	struct faults f;
	struct doc d;
	struct book_refs refs;
	faults_init(&f);
	book_init(&book);
	ck_assert(doc_parse(&d, car_text, strlen(car_text), "car.yaml", &f));
	ck_assert_msg(load_car(&car, &d, "car1", &f), "%s", f.n ? f.list[0].text : "");
	doc_free(&d);
	ck_assert(doc_parse(&d, book_text, strlen(book_text), "book.yaml", &f));
	ck_assert(load_book_file(&book, &d, &refs, &f));
	doc_free(&d);
}

static void teardown(void)
{
	car_free(&car);
	book_free(&book);
}

START_TEST(good_files_are_read)
{
	struct faults f;
	faults_init(&f);
	bool ok = load(_i, kinds[_i].text, &f);
	ck_assert_msg(ok, "%zu:%zu %s", f.list ? f.list[0].line : 0, f.list ? f.list[0].col : 0,
		f.list ? f.list[0].text : "");
}
END_TEST

static bool has_fault(const struct faults *f, const struct broken *b)
{
	for (size_t i = 0; i < f->n; i++)
		if (f->list[i].line == b->line && f->list[i].col == b->col &&
			strstr(f->list[i].text, b->says))
			return true;
	return false;
}

START_TEST(each_fault_has_its_place_and_words)
{
	const struct kind *k = &kinds[_i];
	int wrong = 0;
	for (size_t i = 0; i < k->n; i++) {
		const struct broken *b = &k->cases[i];
		struct faults f;
		faults_init(&f);
		char *text = replace(k->text, b->from, b->to);
		bool ok = load(_i, text, &f);
		if (ok || !has_fault(&f, b)) {
			fprintf(stderr, "'%s' for '%s': wanted %zu:%zu %s\n", b->to, b->from,
				b->line, b->col, b->says);
			for (size_t n = 0; n < f.n; n++)
				fprintf(stderr, "   got %zu:%zu %s\n", f.list[n].line,
					f.list[n].col, f.list[n].text);
			wrong++;
		}
		for (size_t n = 0; n < f.n; n++)
			ck_assert_msg(strchr(f.list[n].text, ';') != NULL,
				"says not what is allowed: %s", f.list[n].text);
		free(text);
		faults_free(&f);
	}
	ck_assert_int_eq(wrong, 0);
}
END_TEST

/* No fault hides the next: all replacements that can stand side by side, each found. */
START_TEST(faults_do_not_hide_each_other)
{
	struct faults f;
	faults_init(&f);
	char *a = replace(car_text, "name: Inv", "nmae: Inv");
	char *b = replace(a, "step: 0.5}", "step: 0}");
	char *c = replace(b, "label: Wing, axle: rear", "label: Flap, axle: rear");
	char *d = replace(c, "minutes: 1", "minutes: -1");
	char *e = replace(d, "spring: 130", "spring: x");
	ck_assert(!load(0, e, &f));
	ck_assert_uint_eq(f.total, 5);
	static const size_t lines[] = {3, 5, 6, 14, 19};
	for (size_t i = 0; i < 5; i++)
		ck_assert_uint_eq(f.list[i].line, lines[i]);
	faults_free(&f);
	free(a);
	free(b);
	free(c);
	free(d);
	free(e);
}
END_TEST

START_TEST(what_a_car_says_arrives)
{
	ck_assert_uint_eq(car.n_adjustables, 3);
	ck_assert_uint_eq(car.n_pairs, 1);
	ck_assert_int_eq(car.pairs[0].rear, 1);
	ck_assert(car.adjustables[0].step == 500000 && car.adjustables[2].minutes == 1);
	ck_assert(car.adjustables[2].caution.min == 51 * FIX_ONE);
	ck_assert_str_eq(car.adjustables[2].caution.note, "rear locks");
	ck_assert(car.chassis.mass.v == 560 && !car.chassis.wheelbase.has);
	ck_assert_int_eq(car.chassis.front.spring.kind, PART_NUMBER);
	ck_assert_int_eq(car.chassis.front.wing.kind, PART_ADJUSTABLE);
	ck_assert_int_eq(car.chassis.front.wing.adjustable, 0);
	ck_assert_int_eq(car.chassis.bias.adjustable, 2);
	ck_assert_int_eq(car.chassis.rear.spring.kind, PART_NONE);
}
END_TEST

START_TEST(what_a_run_says_arrives)
{
	struct faults f;
	struct doc d;
	struct run r;
	faults_init(&f);
	ck_assert(doc_parse(&d, run_text, strlen(run_text), "r.yaml", &f));
	ck_assert(load_run(&r, &d, "r1", &car, &book, &f));
	doc_free(&d);
	ck_assert_str_eq(r.date, "2026-03-14T10:20");
	ck_assert(r.values[0] == 8 * FIX_ONE && r.fuel.v == 24 && r.track_temp.v == 31);
	ck_assert_uint_eq(r.n_laps, 3);
	ck_assert(
		r.laps[0].time == 91.243 && r.laps[0].wear[0] == 2.41 && r.laps[0].worn[1] == 12.5);
	ck_assert(r.laps[0].effort == 97 && !r.laps[1].has_effort && !r.laps[0].has_wear[1]);
	ck_assert_str_eq(r.laps[1].skip, "traffic");
	ck_assert(r.has_worn_at_start[1] && r.worn_at_start[1] == 10 && !r.has_worn_at_start[0]);
	run_free(&r);
}
END_TEST

/* Bounds on how many there may be hold on either side. */
START_TEST(there_may_be_so_many_and_no_more)
{
	static const struct {
		int kind;
		size_t most;
	} cases[] = {{0, 200}, {1, 1000}};
	for (int i = 0; i < 4; i++) {
		const int kind = cases[i / 2].kind;
		const size_t n = cases[i / 2].most + (size_t)(i % 2);
		struct faults f;
		struct buf text;
		faults_init(&f);
		buf_init(&text);
		buf_adds(&text, kind ? "kind: circuit\nversion: 1\nlength: 4\nsegments:\n"
				     : "kind: car\nversion: 1\nadjustables:\n");
		for (size_t k = 0; k < n; k++)
			buf_addf(&text,
				kind ? "  - {id: s%zu, class: slow, length: 10, time-share: %g, "
				       "wear-share: %g}\n"
				     : "  - {id: a%zu, label: A, axle: car, unit: mm, min: 0, max: "
				       "1, step: 0.5}\n",
				k, 1 / (double)n, 1 / (double)n);
		ck_assert(!text.failed);
		bool ok = load(kind, text.data, &f);
		ck_assert_msg(ok == (i % 2 == 0), "%s", f.n ? f.list[0].text : "");
		if (!ok)
			ck_assert_ptr_nonnull(
				strstr(f.list[0].text, kind ? "1 to 1000" : "1 to 200"));
		buf_free(&text);
		faults_free(&f);
	}
}
END_TEST

/* Segments of a lap: a good one, and what is told of others. */
START_TEST(segments_of_a_lap_are_judged)
{
	static const char lap[] =
		"{time: 91.10, wear: {front: 2.4}, segments: {s1: {time: 36.4, wear: {front: 1}}, "
		"s2: {time: 54.7, wear: {front: 1.4}}}}";
	static const struct {
		const char *from, *to, *says;
	} cases[] = {
		{"time: 36.4", "time: 36.4", NULL},
		{"time: 36.4", "time: 3.64e1", NULL},
		{"time: 36.4", "time: 3.64E1", NULL},
		{"time: 36.4", "time: 36.39999", NULL},
		{"time: 36.4", "time: 36.2", "adds up to 90.9 s, the lap's is 91.1 s"},
		{"{front: 1}", "{front: 1.2}", "front adds up to 2.6 %, the lap's is 2.4 %"},
		{"time: 36.4, ", "", NULL},
		{", wear: {front: 1}", "", NULL},
		{"wear: {front: 2.4}, ", "", NULL},
		{"wear: {front: 2.4}", "worn: {front: 2.4}", NULL},
		{"s1: {time: 36.4, wear: {front: 1}}", "s1: 36.4",
			"no mapping; a segment of a lap"},
		{"s1:", "s9:", "no segment 's9'; it has s1 to s2"},
		{"{front: 1}", "{rear: 1}", NULL},
		{"{front: 1}", "{fl: 1}", "no wear channel 'fl'"},
		{"{front: 1}", "1", "it must be a mapping of wear channels"},
		{"{front: 1.4}", "{front: 3}", "adds up to 4 %"},
		{", wear: {front: 1}}, s2: {time: 54.7, wear: {front: 1.4}}", ", wear: {front: 3}}",
			"use 3 % of front; the whole lap has only 2.4 %"},
		{"time: 91.10", "time: x", "'x' is not a lap time"},
		{"{s1: {time: 36.4, wear: {front: 1}}, s2: {time: 54.7, wear: {front: 1.4}}}",
			"[1]", "it must be a mapping of the"},
	};
	struct doc d;
	struct faults f;
	faults_init(&f);
	ck_assert(doc_parse(&d, circuit_text, strlen(circuit_text), "c", &f));
	ck_assert(load_circuit(&book.circuit, &d, "nowhere", &f));
	doc_free(&d);
	const size_t segments = book.circuit.n_segments;
	for (size_t i = 0; i <= sizeof cases / sizeof cases[0]; i++) {
		const bool none = i == sizeof cases / sizeof cases[0];
		char *one = none ? strdup(lap) : replace(lap, cases[i].from, cases[i].to),
		     *text = NULL;
		const char *says =
			none ? "has no segments, so a lap has none either" : cases[i].says;
		const bool needs_start = strstr(one, "worn") != NULL;
		book.circuit.n_segments = none ? 0 : segments;
		ck_assert_int_ge(asprintf(&text,
					 "kind: run\nversion: 1\nvalues: {front-wing: 8.0, "
					 "rear-wing: 12, bias: 54.5}\n"
					 "%slaps:\n  - %s\n",
					 needs_start ? "worn-at-start: {front: 0}\n" : "", one),
			0);
		ck_assert_msg(load(3, text, &f) == !says, "%s: %s", one, f.n ? f.list[0].text : "");
		if (says) {
			ck_assert_msg(strstr(f.list[0].text, says) != NULL, "%s", f.list[0].text);
			ck_assert_uint_eq(f.list[0].line, 5);
		}
		faults_free(&f);
		free(one);
		free(text);
	}
	book.circuit.n_segments = segments;
}
END_TEST

/* Where the car or the book cannot be read, a sheet and a run are judged by themselves. */
START_TEST(a_file_is_judged_without_those_it_depends_on)
{
	static const struct a_case {
		const char *from, *to;
		bool ok;
	} cases[] = {
		{"bias: 54.5", "bias: 54.6", true},
		{"bias: 54.5", "bias: x", false},
		{"bias: 54.5", "toe: 1", true},
		/* A sheet's list of flags, with nobody who could say whether these are pairs. */
		{"notes: free text\n", "held-shares: [flap]\n", true},
		/* A lap's segments, with nobody who could say whether there are such. */
		{"effort: 97", "segments: {s9: {time: 999}}", true},
		{"effort: 97", "segments: 9", false},
		{"front: 2.41", "fl: 2.41", true},
		{"front: 2.41", "left: 2.41", false},
	};
	for (int i = 0; i < 11; i++) {
		struct doc d;
		struct faults f;
		struct sheet sheet;
		struct run run;
		const struct a_case *one = &cases[i < 4 ? i : i < 7 ? i - 4 : i - 3];
		const bool is_run = i >= 4;
		char *text = replace(is_run ? run_text : sheet_text, one->from, one->to);
		faults_init(&f);
		ck_assert(doc_parse(&d, text, strlen(text), "x", &f));
		bool ok = is_run ? load_run(&run, &d, "x", NULL, NULL, &f)
				 : load_sheet(&sheet, &d, "x", NULL, &f);
		ck_assert_msg(ok == one->ok, "%s: %s", one->to, f.n ? f.list[0].text : "");
		if (ok && is_run)
			run_free(&run);
		else if (ok)
			sheet_free(&sheet);
		faults_free(&f);
		doc_free(&d);
		free(text);
	}
}
END_TEST

/* A car of many adjustables, of which a sheet has none: as many are named as a message holds. */
START_TEST(many_missing_values_are_named_as_far_as_there_is_room)
{
	static const char none[] = "kind: sheet\nversion: 1\nvalues: {}\n";
	struct faults f;
	struct sheet s;
	struct buf text;
	struct car many;
	struct doc d;
	faults_init(&f);
	buf_init(&text);
	buf_adds(&text, "kind: car\nversion: 1\nadjustables:\n");
	for (int k = 0; k < 50; k++)
		buf_addf(&text,
			"  - {id: adjustable-%02d, label: A, axle: car, unit: mm, min: 0, "
			"max: 1, step: 0.5}\n",
			k);
	ck_assert(doc_parse(&d, text.data, text.len, "car.yaml", &f));
	ck_assert_msg(load_car(&many, &d, "car1", &f), "%s", f.n ? f.list[0].text : "");
	doc_free(&d);
	buf_free(&text);
	ck_assert(doc_parse(&d, none, sizeof none - 1, "s.yaml", &f));
	ck_assert(!load_sheet(&s, &d, "s", &many, &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert_uint_eq(f.list[0].line, 3);
	ck_assert_ptr_nonnull(
		strstr(f.list[0].text, "missing: adjustable-00, adjustable-01, adjustable-02, "));
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "; every adjustable of the car needs one"));
	doc_free(&d);
	faults_free(&f);
	car_free(&many);
}
END_TEST

/* What may be left out, and is: nothing is known of it, and nothing is a fault. */
START_TEST(a_stint_may_leave_out_what_is_not_known)
{
	struct book_refs refs;
	struct faults f;
	struct book b;
	struct doc d;
	char *text = replace(book_text,
		"stint: {laps: 30, pit-loss: 24.0, fuel-per-lap: 1.9, pace-loss: 0.02, "
		"cliff-at: 50, cliff: 0.1}",
		"stint: {laps: 30}\nborrow-conflicts: show");
	faults_init(&f);
	book_init(&b);
	ck_assert(doc_parse(&d, text, strlen(text), "book.yaml", &f));
	ck_assert_msg(load_book_file(&b, &d, &refs, &f), "%s", f.n ? f.list[0].text : "");
	ck_assert(b.stint.given && b.stint.laps.v == 30 && !b.stint.pit_loss.has);
	ck_assert(!b.stint.pace_loss_auto && !b.stint.pace_loss.has && !b.stint.cliff.has);
	ck_assert(b.borrow_keep && b.n_borrow == 0);
	book_free(&b);
	doc_free(&d);
	free(text);
}
END_TEST

START_TEST(what_a_book_says_arrives)
{
	ck_assert_str_eq(book.car_id, "car1");
	ck_assert_uint_eq(book.n_channels, 2);
	ck_assert(book.covariates[COV_FUEL].known[RESPONSE_TIME].v == 0.032);
	ck_assert(!book.covariates[COV_FUEL].known[1].has && book.covariates[COV_TRACK_TEMP].off);
	ck_assert(book.curvature_off && book.exchange[0].v == 0.5 && !book.exchange[1].has);
	ck_assert(
		book.stint.laps.v == 30 && book.stint.cliff.v == 0.1 && !book.stint.pace_loss_auto);
	ck_assert(book.conditions[COV_TRACK_TEMP].v == 30 && book.wear_limit == 60);
}
END_TEST

/* A folder with a book in it. */
static char *folder;

static void put(const char *name, const char *text)
{
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/%s", folder, name), 0);
	test_write(path, text, strlen(text));
	free(path);
}

static void make_folder(const char *name)
{
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/%s", folder, name), 0);
	ck_assert_int_eq(mkdir(path, 0777), 0);
	free(path);
}

static void setup_folder(void)
{
	folder = test_folder();
	setenv("XDG_DATA_HOME", folder, 1);
	setenv("TREADLIGHT_DATADIR", folder, 1);
	static const char *const folders[] = {"b", "b/sheets", "b/runs", "b/profiles",
		"b/profiles/cars", "treadlight", "treadlight/circuits", "profiles",
		"profiles/cars"};
	for (size_t i = 0; i < sizeof folders / sizeof folders[0]; i++)
		make_folder(folders[i]);
	put("b/book.yaml", book_text);
	put("b/profiles/cars/car1.yaml", car_text);
	put("treadlight/circuits/nowhere.yaml", circuit_text);
	put("b/sheets/quick.yaml", sheet_text);
	put("b/runs/r2.yaml", run_text);
	char *r1 = replace(run_text, "T10:20", "T11:20");
	put("b/runs/r1.yaml", r1);
	free(r1);
}

static void teardown_folder(void)
{
	test_remove(folder);
	free(folder);
}

static bool load_folder(struct book *b, struct faults *f)
{
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/b/", folder), 0);
	faults_init(f);
	book_init(b);
	bool ok = store_load_book(b, path, f);
	free(path);
	return ok;
}

static const char *find_text(const struct faults *f, const char *text)
{
	for (size_t i = 0; i < f->n; i++)
		if (strstr(f->list[i].text, text))
			return f->list[i].file;
	return NULL;
}

START_TEST(a_book_is_a_folder)
{
	struct book b;
	struct faults f;
	/* Editors' leavings are none of ours. */
	put("b/runs/.#r1.yaml", "x");
	put("b/runs/r1.yaml~", "x");
	put("b/runs/#r1.yaml#", "x");
	put("b/runs/.r1.yaml.swp", "x");
	put("b/runs/README", "x");
	ck_assert_msg(load_folder(&b, &f), "%s", f.n ? f.list[0].text : "");
	ck_assert_str_eq(b.id, "b");
	ck_assert_uint_eq(b.n_runs, 2);
	ck_assert_str_eq(b.runs[0].id, "r2");
	ck_assert_str_eq(b.runs[1].id, "r1");
	ck_assert_ptr_nonnull(book_reference(&b));
	ck_assert_ptr_nonnull(strstr(b.circuit_path, "treadlight/circuits/nowhere.yaml"));
	book_free(&b);
}
END_TEST

/* Names shorter than what a profile's ends with are none of ours either. */
START_TEST(short_names_are_passed_over)
{
	struct book b;
	struct faults f;
	put("b/runs/a", "x");
	put("b/runs/yaml", "x");
	put("b/sheets/x.y", "x");
	ck_assert_msg(load_folder(&b, &f), "%s", f.n ? f.list[0].text : "");
	ck_assert_uint_eq(b.n_runs, 2);
	ck_assert_uint_eq(b.n_sheets, 1);
	book_free(&b);
}
END_TEST

/* Without a folder of runs there are none; a file in its place is told. */
START_TEST(a_folder_may_lack_and_must_not_be_a_file)
{
	struct book b;
	struct faults f;
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/b/runs", folder), 0);
	test_remove(path);
	free(path);
	ck_assert_msg(load_folder(&b, &f), "%s", f.n ? f.list[0].text : "");
	ck_assert_uint_eq(b.n_runs, 0);
	book_free(&b);
	put("b/runs", "kind: run\n");
	ck_assert(!load_folder(&b, &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert_ptr_nonnull(strstr(find_text(&f, "cannot be read: Not a directory"), "/runs"));
	faults_free(&f);
}
END_TEST

/* One fault in book.yaml is told once, and what hangs on it is judged as far as can be. */
START_TEST(a_fault_in_book_yaml_makes_no_second_one)
{
	static const struct {
		const char *from, *to;
		size_t line, col;
		const char *says;
	} cases[] = {
		{"car: car1", "car: Car 1", 4, 6, "'Car 1' is no id"},
		{"circuit: nowhere", "circuit: No Where", 5, 10, "'No Where' is no id"},
		{"reference: quick", "reference: Quick", 6, 12, "'Quick' is no id"},
		/* The channels are not known then, and a run's pass if any book has them. */
		{"exchange-rate: {front: 0.5}\n", "", 7, 16, "wear-channels is no known set"},
		{"circuit: nowhere", "circuit: elsewhere", 5, 10, "no profile 'elsewhere'"},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		struct book b;
		struct faults f;
		char *one = replace(book_text, cases[i].from, cases[i].to), *text = one;
		if (i == 3)
			text = replace(one, "[front, rear]", "[front, back]");
		put("b/book.yaml", text);
		ck_assert(!load_folder(&b, &f));
		ck_assert_msg(f.total == 1, "%zu faults, the second: %s", f.total, f.list[1].text);
		ck_assert_msg(f.list[0].line == cases[i].line && f.list[0].col == cases[i].col &&
				      strstr(f.list[0].text, cases[i].says),
			"%zu:%zu %s", f.list[0].line, f.list[0].col, f.list[0].text);
		ck_assert_ptr_null(b.dir);
		faults_free(&f);
		if (text != one)
			free(text);
		free(one);
	}
}
END_TEST

START_TEST(a_reference_needs_a_sheet)
{
	struct book b;
	struct faults f;
	char *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/b/sheets/quick.yaml", folder), 0);
	ck_assert_int_eq(unlink(path), 0);
	free(path);
	ck_assert(!load_folder(&b, &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert_ptr_nonnull(find_text(&f, "no sheet 'quick' in sheets/; its sheets: none is"));
	faults_free(&f);
}
END_TEST

/* Laps have segments by the circuit; where that cannot be read, the circuit alone is told. */
START_TEST(segments_wait_for_a_circuit_that_can_be_read)
{
	struct book b;
	struct faults f;
	char *bad = replace(circuit_text, "length: 4.82", "length: far");
	char *run = replace(run_text, "effort: 97", "segments: {s1: {time: 1:00.0}}");
	put("b/runs/r1.yaml", run);
	ck_assert_msg(load_folder(&b, &f), "%s", f.n ? f.list[0].text : "");
	ck_assert(b.runs[0].laps[0].n_segments + b.runs[1].laps[0].n_segments == 2);
	book_free(&b);
	put("treadlight/circuits/nowhere.yaml", bad);
	ck_assert(!load_folder(&b, &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert_ptr_nonnull(find_text(&f, "'far' is not a number"));
	faults_free(&f);
	free(bad);
	free(run);
}
END_TEST

/* Files that are to be profiles, and what is said of those that are none. */
START_TEST(a_file_is_checked_for_being_a_profile)
{
	static const struct {
		const char *name, *text; /* NULL: there is no such file */
		const char *kind, *says;
	} cases[] = {
		{"one.yaml", car_text, "car", NULL},
		{"one.yaml", circuit_text, "circuit", NULL},
		{"one.yaml", "kind: car\nversion: 1\n", "car", "the key 'adjustables' is missing"},
		{"one.yaml", book_text, NULL, "is no profile (kind: car or circuit)"},
		{"one.yaml", "name: x\n", NULL, "is no profile (kind: car or circuit)"},
		{"one.yaml", "- kind\n", NULL, "is no profile (kind: car or circuit)"},
		{"One.yaml", car_text, NULL, "the file name gives no id"},
		{"one.yml", car_text, NULL, "the file name gives no id"},
		{"one", car_text, NULL, "the file name gives no id"},
		{"none.yaml", NULL, NULL, "No such file"},
		{"one.yaml", "a: [\n", NULL, "a value was expected here"},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		char *path = NULL;
		const char *kind = "unset";
		struct circuit circuit;
		struct faults f;
		struct car c;
		faults_init(&f);
		ck_assert_int_ge(asprintf(&path, "%s/%s", folder, cases[i].name), 0);
		if (cases[i].text)
			put(cases[i].name, cases[i].text);
		const bool ok = store_check_profile(path, &kind, &f);
		ck_assert_msg(ok == !cases[i].says, "%s", f.n ? f.list[0].text : "");
		ck_assert_msg(ok || strstr(f.list[0].text, cases[i].says), "%s", f.list[0].text);
		ck_assert_pstr_eq(kind, cases[i].kind);
		faults_free(&f);
		/* The readers of one kind take no other. */
		const bool is_car = ok && i == 0, is_circuit = ok && i == 1;
		ck_assert_int_eq(store_load_car(&c, path, &f), is_car);
		ck_assert_int_eq(store_load_circuit(&circuit, path, &f), is_circuit);
		ck_assert_uint_ge(f.total, ok ? 1 : 2);
		if (is_car)
			car_free(&c);
		if (is_circuit)
			circuit_free(&circuit);
		faults_free(&f);
		free(path);
	}
}
END_TEST

START_TEST(names_of_files_are_ids)
{
	struct book b;
	struct faults f;
	put("b/runs/Run 3.yaml", run_text);
	put("b/sheets/kind.yml", sheet_text);
	ck_assert(!load_folder(&b, &f));
	ck_assert_uint_eq(f.total, 2);
	ck_assert_ptr_nonnull(find_text(&f, "'kind.yml' is not read; its name must end in .yaml"));
	ck_assert_ptr_nonnull(find_text(&f, "'Run 3.yaml' gives no id"));
	ck_assert_ptr_null(b.dir);
	faults_free(&f);
}
END_TEST

START_TEST(faults_of_all_files_are_listed)
{
	struct book b;
	struct faults f;
	char *bad_book = replace(book_text, "reference: quick", "reference: fast");
	char *bad_run = replace(run_text, "fuel: 24.0", "fuel: x");
	char *bad_sheet = replace(sheet_text, "bias: 54.5", "bias: 99");
	char *bad_car = replace(car_text, "minutes: 1", "minutes: x");
	put("b/book.yaml", bad_book);
	put("b/runs/r1.yaml", bad_run);
	put("b/runs/r2.yaml", "kind: run\n - broken");
	put("b/sheets/quick.yaml", bad_sheet);
	ck_assert(!load_folder(&b, &f));
	ck_assert_uint_eq(f.total, 4);
	ck_assert_ptr_nonnull(strstr(
		find_text(&f, "no sheet 'fast' in sheets/; its sheets: quick"), "book.yaml"));
	ck_assert_ptr_nonnull(strstr(find_text(&f, "fuel: 'x' is not a number"), "runs/r1.yaml"));
	ck_assert_ptr_nonnull(find_text(&f, "99.0 % is off its limits"));
	faults_free(&f);
	/* With a faulty car the values cannot be judged, the rest still is. */
	put("b/profiles/cars/car1.yaml", bad_car);
	ck_assert(!load_folder(&b, &f));
	ck_assert_uint_eq(f.total, 4);
	ck_assert_ptr_nonnull(find_text(&f, "minutes: 'x' is not a number"));
	ck_assert_ptr_null(find_text(&f, "off its limits"));
	faults_free(&f);
	free(bad_book);
	free(bad_run);
	free(bad_sheet);
	free(bad_car);
}
END_TEST

START_TEST(a_missing_profile_says_where_it_was_looked_for)
{
	struct book b;
	struct faults f;
	char *other = replace(book_text, "car: car1", "car: car9");
	put("b/book.yaml", other);
	free(other);
	ck_assert(!load_folder(&b, &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert_uint_eq(f.list[0].line, 4);
	ck_assert_uint_eq(f.list[0].col, 6);
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "there is no profile 'car9'; looked for "));
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "/b/profiles/cars/car9.yaml"));
	faults_free(&f);
	/* Installed profiles come last. */
	put("profiles/cars/car9.yaml", car_text);
	ck_assert(load_folder(&b, &f));
	book_free(&b);
	struct err e;
	err_clear(&e);
	ck_assert_ptr_null(store_find_profile(folder, "cars", "../b/profiles/cars/car1", &e));
	ck_assert_ptr_nonnull(strstr(e.text, "is no id"));
}
END_TEST

START_TEST(no_book_no_crash)
{
	struct book b;
	struct faults f;
	faults_init(&f);
	book_init(&b);
	ck_assert(!store_load_book(&b, "/nowhere/at/all", &f));
	ck_assert_uint_eq(f.total, 1);
	ck_assert_int_eq(faults_class(&f), ERR_INPUT);
	faults_free(&f);
	char *path = test_data("README");
	ck_assert(!store_load_book(&b, path, &f));
	free(path);
	faults_free(&f);
}
END_TEST

START_TEST(shipped_profiles_and_demo_have_no_fault)
{
	static const char *const profiles[] = {"profiles/cars/larkspur-20.yaml",
		"profiles/cars/thessaby-13.yaml", "profiles/cars/smewlet-5.yaml",
		"profiles/circuits/harrow-fen.yaml", "profiles/circuits/ousel-quarry.yaml"};
	struct faults f;
	faults_init(&f);
	for (size_t i = 0; i < 5; i++) {
		const char *kind;
		char *path = test_source(profiles[i]);
		ck_assert_msg(store_check_profile(path, &kind, &f), "%s: %s", path,
			f.n ? f.list[0].text : "");
		free(path);
	}
	struct book b;
	book_init(&b);
	char *demo = test_source("share/demo"), *top = test_source("");
	setenv("TREADLIGHT_DATADIR", top, 1);
	ck_assert(store_load_book(&b, demo, &f));
	ck_assert_uint_ge(b.n_runs, 26);
	book_free(&b);
	free(demo);
	free(top);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("load");
	TCase *t = tcase_create("files");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_loop_test(t, good_files_are_read, 0, 5);
	tcase_add_loop_test(t, each_fault_has_its_place_and_words, 0, 5);
	tcase_add_test(t, faults_do_not_hide_each_other);
	tcase_add_test(t, what_a_car_says_arrives);
	tcase_add_test(t, what_a_run_says_arrives);
	tcase_add_test(t, what_a_book_says_arrives);
	tcase_add_test(t, many_missing_values_are_named_as_far_as_there_is_room);
	tcase_add_test(t, a_stint_may_leave_out_what_is_not_known);
	tcase_add_test(t, there_may_be_so_many_and_no_more);
	tcase_add_test(t, segments_of_a_lap_are_judged);
	tcase_add_test(t, a_file_is_judged_without_those_it_depends_on);
	suite_add_tcase(s, t);
	t = tcase_create("folders");
	tcase_add_checked_fixture(t, setup_folder, teardown_folder);
	tcase_add_test(t, a_book_is_a_folder);
	tcase_add_test(t, names_of_files_are_ids);
	tcase_add_test(t, short_names_are_passed_over);
	tcase_add_test(t, a_folder_may_lack_and_must_not_be_a_file);
	tcase_add_test(t, a_fault_in_book_yaml_makes_no_second_one);
	tcase_add_test(t, a_reference_needs_a_sheet);
	tcase_add_test(t, segments_wait_for_a_circuit_that_can_be_read);
	tcase_add_test(t, a_file_is_checked_for_being_a_profile);
	tcase_add_test(t, faults_of_all_files_are_listed);
	tcase_add_test(t, a_missing_profile_says_where_it_was_looked_for);
	tcase_add_test(t, no_book_no_crash);
	tcase_add_test(t, shipped_profiles_and_demo_have_no_fault);
	suite_add_tcase(s, t);
	return s;
}
