/* Keys out of bytes (tui/decode.h): whole, cut at each place, with each pause. What terminals send
 * is from ECMA-48, xterm's ctlseqs and the terminal descriptions of ncurses. */
#include "support/support.h"

#include "tui/decode.h"

#include <locale.h>
#include <stdio.h>
#include <string.h>

enum { KEYS_MAX = 256, ESC_MS = 100 };

static struct {
	struct decoder d;
	long long now;
	int keys[KEYS_MAX];
	size_t n;
	char pasted[KEYS_MAX];
} it;

static void begin(void)
{
	memset(&it, 0, sizeof it);
	setlocale(LC_CTYPE, "C.UTF-8");
	ck_assert(decode_init(&it.d, ESC_MS));
	it.now = 1000000;
}

static void collect(void)
{
	while (decode_ready(&it.d)) {
		const int key = decode_next(&it.d);
		ck_assert_uint_lt(it.n, KEYS_MAX);
		it.keys[it.n++] = key;
		if (key == K_PASTE && it.d.pasted.data)
			snprintf(it.pasted, sizeof it.pasted, "%s", it.d.pasted.data);
	}
}

/* Let time pass as the workbench does: awake whenever something is due. */
static void pass(long long ms)
{
	const long long until = it.now + ms;
	for (;;) {
		const int due = decode_due(&it.d, it.now);
		if (due < 0 || it.now + due > until)
			break;
		it.now += due;
		decode_overdue(&it.d, it.now);
		collect();
	}
	it.now = until;
}

static void come(const char *bytes, size_t n)
{
	size_t room;
	while (n > 0) {
		unsigned char *to = decode_room(&it.d, &room);
		ck_assert_uint_gt(room, 0);
		const size_t now = n < room ? n : room;
		memcpy(to, bytes, now);
		decode_took(&it.d, now, it.now);
		collect();
		bytes += now;
		n -= now;
	}
}

static void comes(const char *bytes)
{
	come(bytes, strlen(bytes));
}

/* An Esc that was taken back says nothing. */
static void take_back_late(void)
{
	size_t n = 0;
	for (size_t i = 0; i < it.n; i++)
		if (it.keys[i] == K_LATE && n > 0 && it.keys[n - 1] == K_ESC)
			n--;
		else if (it.keys[i] != K_PASTE_OPEN)
			it.keys[n++] = it.keys[i];
	it.n = n;
}

static void expect(const int *keys, size_t n, const char *what, size_t at, long long gap)
{
	take_back_late();
	ck_assert_msg(it.n == n, "%s cut at %zu by %lld ms: %zu keys, not %zu; the first %d", what,
		at, gap, it.n, n, it.keys[0]);
	for (size_t i = 0; i < n; i++)
		ck_assert_msg(it.keys[i] == keys[i],
			"%s cut at %zu by %lld ms: key %zu is %d, not %d", what, at, gap, i,
			it.keys[i], keys[i]);
}

static const struct {
	const char *name, *bytes;
	int keys[4];
	const char *pasted;
} sent[] = {
	{"character", "x", {'x'}, NULL},
	{"two bytes", "\xc3\xa9", {0xe9}, NULL},
	{"three and four bytes", "\xe6\xbc\xa2\xf0\x9f\x91\x8d", {0x6f22, 0x1f44d}, NULL},
	{"no character",
		"\xff"
		"a",
		{0xfffd, 'a'}, NULL},
	{"half of one, then a key", "\xc3q", {0xfffd, 'q'}, NULL},
	{"half of one, then an arrow", "\xc3\033[A", {0xfffd, K_UP}, NULL},
	{"Enter, Backspace, Ctrl-H", "\r\177\b", {K_ENTER, K_BACKSPACE, K_BACKSPACE}, NULL},
	{"cursor key", "\033[A", {K_UP}, NULL},
	{"application cursor key", "\033OB", {K_DOWN}, NULL},
	{"Delete, PgUp", "\033[3~\033[5~", {K_DELETE, K_PAGE_UP}, NULL},
	{"Shift-Tab", "\033[Z", {K_BACKTAB}, NULL},
	{"keypad Enter", "\033OM", {K_ENTER}, NULL},
	{"F5", "\033[15~", {K_UNKNOWN}, NULL},
	{"Ctrl-Right", "\033[1;5C", {K_UNKNOWN}, NULL},
	{"kitty key", "\033[97;5u", {K_UNKNOWN}, NULL},
	{"Linux console F1", "\033[[A", {K_UNKNOWN}, NULL},
	{"Linux console F5", "\033[[E", {K_UNKNOWN}, NULL},
	{"focus in and out", "\033[I\033[O", {0}, NULL},
	{"X10 mouse", "\033[M !!", {0}, NULL},
	{"X10 mouse, q and +", "\033[M q+", {0}, NULL},
	{"X10 mouse beyond column 95", "\033[M \xf0\x85", {0}, NULL},
	{"mouse in UTF-8", "\033[M \xc2\x85\xc2\x90", {0}, NULL},
	{"mouse, then a key", "\033[M !!j", {'j'}, NULL},
	{"urxvt mouse", "\033[32;10;10M", {0}, NULL},
	{"SGR mouse", "\033[<0;10;10M\033[<0;10;10m", {0}, NULL},
	{"attributes", "\033[?62;1;6;22c\033[>41;379;0c", {0}, NULL},
	{"place of the cursor", "\033[12;40R", {0}, NULL},
	{"mode", "\033[?2026;2$y", {0}, NULL},
	{"size", "\033[48;24;80;480;640t", {0}, NULL},
	{"OSC, BEL", "\033]11;rgb:1010/2020/3030\a", {0}, NULL},
	{"OSC, ST", "\033]11;rgb:1010/2020/3030\033\\", {0}, NULL},
	{"clipboard", "\033]52;c;K3Er\a+", {'+'}, NULL},
	{"DCS", "\033P>|XTerm(379)\033\\", {0}, NULL},
	{"APC", "\033_Gi=1;OK\033\\", {0}, NULL},
	{"PM", "\033^q+s\033\\", {0}, NULL},
	{"SOS", "\033Xq+\033\\", {0}, NULL},
	{"string cut off by an arrow", "\033]11;rgb\033[A", {K_UP}, NULL},
	{"paste", "\033[200~12q\r\033[201~", {K_PASTE}, "12q\r"},
	{"paste of many bytes", "\033[200~\xc3\xa9\xe6\xbc\xa2\033[201~", {K_PASTE},
		"\xc3\xa9\xe6\xbc\xa2"},
	{"paste with an end inside", "\033[200~a\033[201~b\033[201~", {K_PASTE}, "ab"},
	{"paste with a start inside", "\033[200~a\033[200~b\033[201~", {K_PASTE}, "ab"},
	{"paste with what looks like a mark", "\033[200~a\033[20b\033[201~", {K_PASTE}, "a [20b"},
	{"end without a start", "\033[201~+", {'+'}, NULL},
};
enum { SENT = sizeof sent / sizeof sent[0] };

static size_t count(const int *keys)
{
	size_t n = 0;
	while (n < 4 && keys[n])
		n++;
	return n;
}

static void whole(size_t i, size_t at, long long gap)
{
	if (!sent[i].pasted) {
		expect(sent[i].keys, count(sent[i].keys), sent[i].name, at, gap);
		return;
	}
	expect(sent[i].keys, 1, sent[i].name, at, gap);
	ck_assert_str_eq(it.pasted, sent[i].pasted);
}

/*
 * Cuts that cannot be healed: a pause behind an end mark ends the paste, and what follows an Esc
 * that was told and is then broken off may have been typed.
 */
static bool cannot_heal(size_t i, size_t at, long long gap)
{
	const char *end = strstr(sent[i].bytes, "\033[201~");
	const char *last = end ? strstr(end + 1, "\033[201~") : NULL;
	if (strstr(sent[i].name, "cut off"))
		return at == 1 && gap >= ESC_MS;
	return sent[i].pasted && last && gap > PASTE_QUIET_MS && sent[i].bytes + at >= end + 6 &&
	       sent[i].bytes + at <= last;
}

START_TEST(cut_anywhere)
{
	static const long long gaps[] = {0, 5, 30, 99, 120, 300, 500, 590};
	for (size_t i = 0; i < SENT; i++)
		for (size_t g = 0; g < sizeof gaps / sizeof gaps[0]; g++)
			for (size_t at = 0; at < strlen(sent[i].bytes); at++) {
				if (cannot_heal(i, at, gaps[g]))
					continue;
				begin();
				come(sent[i].bytes, at);
				pass(gaps[g]);
				comes(sent[i].bytes + at);
				pass(10000);
				whole(i, at, gaps[g]);
				decode_free(&it.d);
			}
}
END_TEST

START_TEST(byte_by_byte)
{
	static const long long gaps[] = {1, 30, 150, 500, 590};
	for (size_t i = 0; i < SENT; i++)
		for (size_t g = 0; g < sizeof gaps / sizeof gaps[0]; g++) {
			if (cannot_heal(i, sent[i].pasted ? strlen(sent[i].bytes) - 6 : 1, gaps[g]))
				continue;
			begin();
			for (size_t at = 0; at < strlen(sent[i].bytes); at++) {
				come(sent[i].bytes + at, 1);
				pass(gaps[g]);
			}
			pass(10000);
			whole(i, 1, gaps[g]);
			decode_free(&it.d);
		}
}
END_TEST

static void after(const char *first, long long ms, const char *second)
{
	begin();
	comes(first);
	pass(ms);
	if (second)
		comes(second);
	pass(10000);
}

#define EXPECT(what, ...)                                                                          \
	do {                                                                                       \
		const int keys_[] = {__VA_ARGS__};                                                 \
		expect(keys_, sizeof keys_ / sizeof keys_[0], what, 0, 0);                         \
		decode_free(&it.d);                                                                \
	} while (0)

START_TEST(escape_alone)
{
	begin();
	comes("\033");
	ck_assert_uint_eq(it.n, 0);
	ck_assert_int_eq(decode_due(&it.d, it.now), ESC_MS);
	pass(ESC_MS);
	EXPECT("Esc", K_ESC);
	after("\033", 30, "\033");
	EXPECT("Esc twice", K_ESC, K_ESC);
	after("\033", 30, "\033[D");
	EXPECT("Esc, then an arrow", K_ESC, K_LEFT);
	after("\033", 30, "q");
	EXPECT("Esc, then a key", K_ESC, 'q');
	after("\033", 300, "q");
	EXPECT("Esc, then a later key", K_ESC, 'q');
	after("\033", 300, "[q");
	take_back_late();
	ck_assert_uint_eq(it.n, 0); /* the rest of an answer, and the Esc is taken back */
	decode_free(&it.d);
	after("\033", 300, "[");
	EXPECT("Esc, then a bracket", K_ESC, '[');
	after("\033", 300, "]+\r");
	EXPECT("Esc, then what is no string", K_ESC, ']', '+', K_ENTER);
	after("\033", 800, "[A");
	EXPECT("too late", K_ESC, '[', 'A');
	after("\033\003", 0, NULL);
	EXPECT("Esc, Ctrl-C", K_ESC, K_CTRL('c'));
}
END_TEST

/* Esc and what was typed behind it may come together: neither is lost. */
START_TEST(escape_and_a_key_together)
{
	after("\033q", 0, NULL);
	EXPECT("Esc, q", K_ESC, 'q');
	after("\033\r+", 0, NULL);
	EXPECT("Esc, Enter, +", K_ESC, K_ENTER, '+');
	after("\033\033q", 0, NULL);
	EXPECT("Esc, Esc, q", K_ESC, K_ESC, 'q');
	after("\033\xc3\xa9", 0, NULL);
	EXPECT("Esc, a character of two bytes", K_ESC, 0xe9);
}
END_TEST

/* An arrow with Alt, or the opening of a sequence without a rest, is no key of ours. */
START_TEST(alt_is_no_plain_key)
{
	static const char *const alt[] = {"\033[", "\033O", "\033\033[A", "\033\033OP", "\033]",
		"\033P", "\033_", "\033X", "\033^"};
	for (size_t i = 0; i < sizeof alt / sizeof alt[0]; i++) {
		after(alt[i], 0, NULL);
		EXPECT(alt[i] + 1, K_UNKNOWN);
	}
	after("\033[", 700, "j");
	EXPECT("Alt-[, then a key", K_UNKNOWN, 'j');
	after("\033\033[200~q\033[201~", 0, NULL);
	EXPECT("Esc with a paste behind it", K_ESC, K_PASTE);
}
END_TEST

START_TEST(bounded)
{
	begin();
	comes("\033]");
	for (int i = 0; i < STRING_MAX / 8; i++)
		comes("12345678");
	comes("+");
	ck_assert_int_eq(it.keys[it.n - 1], '+');
	decode_free(&it.d);
	begin();
	comes("\033]");
	for (int i = 0; i < 160; i++) { /* one typed after Alt-] */
		pass(100);
		comes("j");
	}
	ck_assert_uint_gt(it.n, 5);
	decode_free(&it.d);
	after("\033]11;rgb", 700, "j");
	EXPECT("a string that never ends", 'j');
	after("\033]11;rgb", 100, "\003");
	EXPECT("Ctrl-C in a string", K_CTRL('c'));
	begin();
	comes("\033[");
	for (int i = 0; i < 90; i++)
		comes("1;");
	comes("m");
	pass(10000);
	ck_assert_uint_eq(it.n, 0);
	decode_free(&it.d);
}
END_TEST

/* A paste that never ends: what came is kept, and a person is able to end it. */
START_TEST(paste_without_end)
{
	after("\033[200~12", 4900, NULL);
	EXPECT("given up", K_PASTE);
	ck_assert_str_eq(it.pasted, "12");

	after("\033[200~12", 2000, "\003");
	EXPECT("Ctrl-C", K_PASTE);
	ck_assert_str_eq(it.pasted, "12");

	begin();
	comes("\033[200~12\033");
	pass(900);
	ck_assert_uint_eq(it.n, 0);
	pass(200);
	ck_assert_int_eq(it.keys[0], K_PASTE_OPEN);
	comes("[201~");
	pass(100);
	EXPECT("said and then whole", K_PASTE);
	ck_assert_str_eq(it.pasted, "12");

	begin();
	comes("\033[200~12");
	pass(400);
	for (int i = 0; i < 160; i++) { /* a key held down */
		comes("x");
		pass(33);
		if (i == 40)
			ck_assert_int_eq(it.keys[0], K_PASTE_OPEN);
	}
	ck_assert_int_eq(it.keys[0], K_PASTE_OPEN);
	ck_assert_int_eq(it.keys[1], K_PASTE);
	ck_assert_int_eq(it.keys[2], 'x');
	decode_free(&it.d);

	begin();
	comes("\033[200~12");
	for (int i = 0; i < 40; i++) { /* a slow line, the same letter at times */
		pass(300);
		comes(i % 3 ? "x" : "y");
	}
	ck_assert(it.n == 0 || it.keys[it.n - 1] == K_PASTE_OPEN);
	decode_free(&it.d);

	after("\033[200~1\003q\003\033[201~", 0, NULL);
	EXPECT("Ctrl-C among the text", K_PASTE);
	after("\033[200~1", 400, "\003q\033[201~");
	EXPECT("Ctrl-C with text behind it", K_PASTE);
}
END_TEST

START_TEST(paste_is_bounded)
{
	begin();
	comes("\033[200~");
	for (int i = 0; i < PASTE_MAX / 8 + 100; i++)
		comes("q23456\r8");
	ck_assert_uint_eq(it.n, 0);
	ck_assert_uint_eq(it.d.pasted.len, PASTE_MAX + 1);
	comes("\033[201~");
	pass(100);
	EXPECT("a long paste", K_PASTE);
}
END_TEST

START_TEST(described_keys)
{
	begin();
	decode_know(&it.d, "\033[M", K_UNKNOWN); /* SCO's F1 */
	decode_know(&it.d, "\001@\r", K_UNKNOWN);
	decode_know(&it.d, "\013", K_UP);
	decode_know(&it.d, "\033[7$", K_HOME);
	decode_know(&it.d, "\033A", K_UP);
	comes("\033[M\001@\r\013\033[7$\033A");
	const int keys[] = {K_UNKNOWN, K_UNKNOWN, K_UP, K_HOME, K_UP};
	expect(keys, 5, "described", 0, 0);
	it.n = 0;
	comes("\001");
	pass(ESC_MS);
	EXPECT("the beginning of one", K_CTRL('a'));
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("decode");
	TCase *t = tcase_create("decode");
	tcase_set_timeout(t, 60);
	tcase_add_test(t, cut_anywhere);
	tcase_add_test(t, byte_by_byte);
	tcase_add_test(t, escape_alone);
	tcase_add_test(t, escape_and_a_key_together);
	tcase_add_test(t, alt_is_no_plain_key);
	tcase_add_test(t, bounded);
	tcase_add_test(t, paste_without_end);
	tcase_add_test(t, paste_is_bounded);
	tcase_add_test(t, described_keys);
	suite_add_tcase(s, t);
	return s;
}
