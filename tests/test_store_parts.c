/*
 * The store's small parts by themselves: this machine's names, stamps and kinds of files, what a
 * lock says, texts in quotes, the second look at a patched file, places of profiles.
 */
#include "store/change.h"
#include "store/host.h"
#include "store/load.h"
#include "store/lock.h"
#include "store/patch_parts.h"
#include "store/path.h"
#include "store/store.h"
#include "store/write.h"
#include "support/support.h"

#include <errno.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

static char *folder;
static struct err err;

static void setup(void)
{
	folder = test_folder();
	err_clear(&err);
}

static void teardown(void)
{
	test_remove(folder);
	free(folder);
}

static char *in_folder(const char *name)
{
	char *p = NULL;
	ck_assert_int_ge(asprintf(&p, "%s/%s", folder, name), 0);
	return p;
}

/* --- host --- */

static void set(const char *name, const char *value)
{
	ck_assert_int_eq(value ? setenv(name, value, 1) : unsetenv(name), 0);
}

START_TEST(a_user_has_a_name_whatever_the_environment_says)
{
	const struct passwd *pw = getpwuid(geteuid());
	char system[64], name[64];
	if (pw && pw->pw_name[0])
		snprintf(system, sizeof system, "%s", pw->pw_name);
	else
		snprintf(system, sizeof system, "user-%ld", (long)geteuid());
	const struct {
		const char *logname, *user, *is;
	} cases[] = {
		{"anna", "ben", "anna"},
		{NULL, "ben", "ben"},
		{"", "ben", "ben"},
		{NULL, NULL, system},
		{"", "", system},
		{NULL, "", system},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		set("LOGNAME", cases[i].logname);
		set("USER", cases[i].user);
		user_name(name, sizeof name);
		ck_assert_str_eq(name, cases[i].is);
	}
	/* A name that does not fit is not a name of nothing. */
	host_name(name, 1);
	ck_assert_str_eq(name, "");
	host_name(name, sizeof name);
	ck_assert_int_gt((int)strlen(name), 0);
}
END_TEST

START_TEST(own_state_has_a_place_or_an_error)
{
	char got[200], want[200], deep[400];
	int fd;
	/* Nowhere to go: relative paths do not count (XDG base directory specification). */
	const struct {
		const char *state, *home;
	} none[] = {{NULL, NULL}, {"", ""}, {"here", "there"}};
	for (int i = 0; i < 3; i++) {
		set("XDG_STATE_HOME", none[i].state);
		set("HOME", none[i].home);
		ck_assert_int_eq(state_folder(got, sizeof got, true), -1);
		ck_assert_int_eq(errno, ENOENT);
		ck_assert_str_eq(got, "");
	}
	set("XDG_STATE_HOME", NULL);
	set("HOME", folder);
	snprintf(want, sizeof want, "%s/.local/state/treadlight", folder);
	ck_assert_int_eq(state_folder(got, sizeof got, false), -1);
	ck_assert_int_eq(errno, ENOENT);
	ck_assert_str_eq(got, want);
	ck_assert_int_ne(access(want, F_OK), 0);
	fd = state_folder(got, sizeof got, true);
	ck_assert_int_ge(fd, 0);
	close(fd);
	struct stat st;
	ck_assert(stat(want, &st) == 0 && S_ISDIR(st.st_mode) && (st.st_mode & 0777) == 0700);
	memset(deep, 'd', sizeof deep);
	deep[0] = '/';
	deep[sizeof deep - 1] = '\0';
	set("XDG_STATE_HOME", deep);
	ck_assert_int_eq(state_folder(got, sizeof got, true), -1);
	ck_assert_int_eq(errno, ENAMETOOLONG);
	ck_assert_str_eq(got, "");
}
END_TEST

/* --- files --- */

START_TEST(a_stamp_is_all_of_it)
{
	const struct stamp a = {1, 2, 3, 4, 5, 6};
	for (int i = 0; i < 6; i++) {
		struct stamp b = a;
		uint64_t *const fields[] = {&b.dev, &b.ino, &b.size, &b.hash};
		if (i < 4)
			++*fields[i];
		else
			++*(i == 4 ? &b.mtime_s : &b.mtime_ns);
		ck_assert(!stamp_equal(&a, &b) && !stamp_equal(&b, &a));
		ck_assert(stamp_same_bytes(&a, &b) == (i != 2 && i != 3));
	}
	struct stamp same = a;
	ck_assert(stamp_equal(&a, &same));
}
END_TEST

START_TEST(what_is_no_file_is_named)
{
	char *bytes, *loop = in_folder("loop"), *under = in_folder("plain/under"),
		     *plain = in_folder("plain");
	char long_name[400];
	size_t size;
	int fds[2], pipes[2];
	ck_assert_int_eq(socketpair(AF_UNIX, SOCK_STREAM, 0, fds), 0);
	ck_assert_int_eq(pipe(pipes), 0);
	ck_assert(!file_read_fd(fds[0], "s", 9, &bytes, &size, NULL, &err) && !bytes && size == 0);
	ck_assert_ptr_nonnull(strstr(err.text, "is a socket"));
	ck_assert(!file_read_fd(pipes[0], "p", 9, &bytes, &size, NULL, &err));
	ck_assert_ptr_nonnull(strstr(err.text, "is a pipe"));
	for (int i = 0; i < 2; i++) {
		close(fds[i]);
		close(pipes[i]);
	}
	ck_assert_int_eq(symlink("loop", loop), 0);
	test_write(plain, "x", 1);
	memset(long_name, 'n', sizeof long_name);
	long_name[sizeof long_name - 1] = '\0';
	struct sockaddr_un address = {.sun_family = AF_UNIX};
	snprintf(address.sun_path, sizeof address.sun_path, "%.90s/socket", folder);
	int listening = socket(AF_UNIX, SOCK_STREAM, 0);
	ck_assert_int_eq(bind(listening, (struct sockaddr *)&address, sizeof address), 0);
	close(listening);
	/* What was named wrongly is the user's to mend. */
	const char *const paths[] = {
		loop, under, long_name, "/dev/null", folder, "/nowhere/at/all", address.sun_path};
	for (size_t i = 0; i < 7; i++) {
		ck_assert(!file_read(paths[i], 9, &bytes, &size, NULL, &err));
		ck_assert_int_eq(err.cls, ERR_INPUT);
		ck_assert_str_eq(
			err.file, strlen(paths[i]) < sizeof err.file ? paths[i] : err.file);
	}
	ck_assert(file_read(plain, 1, &bytes, &size, NULL, &err) && size == 1);
	free(bytes);
	free(loop);
	free(under);
	free(plain);
}
END_TEST

/* Files of /proc say that they are empty, and are not: what grows while it is read looks like it.
 */
START_TEST(the_bound_holds_for_a_file_that_grows)
{
	char *bytes, all[1 << 16];
	size_t size, n;
	FILE *f = fopen("/proc/self/status", "r");
	if (!f)
		return;
	n = fread(all, 1, sizeof all, f);
	fclose(f);
	ck_assert(!file_read("/proc/self/status", 100, &bytes, &size, NULL, &err) && !bytes);
	ck_assert_ptr_nonnull(strstr(err.text, "larger than 100 bytes"));
	ck_assert(file_read("/proc/self/status", 1 << 16, &bytes, &size, NULL, &err));
	ck_assert(size > 100 && size < 2 * n && memcmp(bytes, all, 5) == 0 && bytes[size] == '\0');
	free(bytes);
	/* The place is where the bound is passed: behind 2 lines and a letter of two bytes. */
	static const char text[] = "abc\n\n\xC3\xA9xyz";
	char *where = test_folder(), *path = NULL;
	ck_assert_int_ge(asprintf(&path, "%s/large", where), 0);
	test_write(path, text, sizeof text - 1);
	ck_assert(!file_read(path, 7, &bytes, &size, NULL, &err));
	ck_assert_uint_eq(err.line, 3);
	ck_assert_uint_eq(err.col, 2);
	free(path);
	test_remove(where);
	free(where);
	/* More than the first bite. */
	ck_assert(file_read("/proc/self/smaps", 1 << 22, &bytes, &size, NULL, &err));
	ck_assert(size > 4096 && strlen(bytes) == size);
	free(bytes);
}
END_TEST

START_TEST(paths_of_a_book_take_a_slash_more)
{
	const struct {
		const char *dir, *folder, *is;
	} cases[] = {
		{"/b", "runs", "/b/runs/x.yaml"},
		{"/b//", "runs", "/b/runs/x.yaml"},
		{"/b/", "", "/b/x.yaml"},
		{"/", "", "/x.yaml"},
		{".", "sheets", "./sheets/x.yaml"},
		{"", "", "/x.yaml"},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		char *p = path_join(cases[i].dir, cases[i].folder, "x", ".yaml");
		ck_assert_str_eq(p, cases[i].is);
		free(p);
	}
}
END_TEST

/* --- locks --- */

START_TEST(a_lock_of_any_text_is_somebody_s)
{
	const struct {
		const char *text, *user;
		bool readable;
	} cases[] = {
		{"anna@far.example.12:99", "anna", true},
		{"a.b@c@far.12", "a.b@c", true},
		{"anna", "", false},
		{"anna@far", "", false},
		{"anna@far.0:9", "", false},
		{"anna@far.12:", "", false},
		{"anna@far.12:x", "", false},
		{"anna@far.12:-5", "", false},
		{"anna@far.99999999999:9", "", false},
		{"anna@far.1x:9", "", false},
		{"anna@far.:9", "", false},
		{"anna@far.12:99999999999999999999", "", false},
	};
	char *file = in_folder("f.yaml"), *at = in_folder(".#f.yaml");
	struct lock_owner who;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		struct lock l;
		lock_init(&l);
		ck_assert_int_eq(symlink(cases[i].text, at), 0);
		ck_assert_int_eq(lock_take(&l, file, NULL, &err), LOCK_HELD);
		ck_assert(lock_owner(file, &who));
		ck_assert_msg(who.readable == cases[i].readable, "%s", cases[i].text);
		if (who.readable)
			ck_assert_str_eq(who.user, cases[i].user);
		/* Who was shown another owner's name does not break this one's. */
		struct lock_owner seen = who;
		switch (i % 6) {
		case 0:
			seen.pid++;
			break;
		case 1:
			seen.boot++;
			break;
		case 2:
			seen.since += 60; /* more than a server's clock wavers */
			break;
		case 3:
			seen.readable = !seen.readable;
			break;
		case 4:
			strcpy(seen.user, "zoe");
			break;
		default:
			strcpy(seen.host, "near");
		}
		ck_assert_int_eq(lock_take_over(&l, file, &seen, &err), LOCK_HELD);
		ck_assert(seen.pid == who.pid && seen.boot == who.boot && seen.since == who.since &&
			  seen.readable == who.readable);
		ck_assert_str_eq(seen.user, who.user);
		ck_assert_str_eq(seen.host, who.host);
		ck_assert_int_eq(lock_take_over(&l, file, &who, &err), LOCK_TAKEN);
		lock_release(&l);
		ck_assert(!lock_owner(file, &who));
	}
	/* Something that is neither link nor file. */
	struct lock l;
	lock_init(&l);
	ck_assert_int_eq(mkdir(at, 0700), 0);
	ck_assert_int_eq(lock_take(&l, file, &who, &err), LOCK_HELD);
	ck_assert(!who.readable);
	ck_assert_int_eq(rmdir(at), 0);
	ck_assert_int_eq(mkfifo(at, 0600), 0);
	ck_assert_int_eq(lock_take(&l, file, &who, &err), LOCK_HELD);
	ck_assert(!who.readable);
	free(file);
	free(at);
}
END_TEST

START_TEST(since_when_is_told_as_far_as_it_is_known)
{
	struct lock_owner who = {.user = "anna", .host = "pit", .pid = 7, .readable = true};
	char said[300], want[100], date[40];
	const int64_t now = (int64_t)time(NULL);
	const int64_t since[] = {now - 60, now - 13 * 3600, now + 1000};
	set("TZ", "UTC");
	for (int i = 0; i < 3; i++) {
		time_t t = (time_t)since[i];
		strftime(date, sizeof date, i == 0 ? "%H:%M" : "%Y-%m-%d %H:%M", gmtime(&t));
		snprintf(want, sizeof want, "anna on pit since %s (process 7)", date);
		who.since = since[i];
		lock_describe(&who, said, sizeof said);
		ck_assert_str_eq(said, want);
	}
	who.since = INT64_MAX;
	lock_describe(&who, said, sizeof said);
	ck_assert_str_eq(said, "anna on pit since an unknown time (process 7)");
}
END_TEST

/* --- texts --- */

static bool parse(struct doc *d, const char *text)
{
	struct faults f;
	faults_init(&f);
	bool ok = doc_parse(d, text, strlen(text), "f", &f);
	faults_free(&f);
	return ok;
}

static void put_utf8(unsigned cp, char *at)
{
	if (cp < 0x80) {
		*at++ = (char)cp;
	} else if (cp < 0x800) {
		*at++ = (char)(0xc0 | cp >> 6);
		*at++ = (char)(0x80 | (cp & 0x3f));
	} else {
		*at++ = (char)(0xe0 | cp >> 12);
		*at++ = (char)(0x80 | (cp >> 6 & 0x3f));
		*at++ = (char)(0x80 | (cp & 0x3f));
	}
	*at = '\0';
}

/* Each end of each range of characters that are not seen, and its neighbours outside. */
START_TEST(what_cannot_be_seen_is_escaped)
{
	static const struct {
		unsigned cp;
		bool hidden;
	} cases[] = {
		{0x1, 1},
		{0x1f, 1},
		{0x7f, 1},
		{0x85, 1},
		{0x9f, 1},
		{0xa0, 0},
		{0xac, 0},
		{0xad, 1},
		{0xae, 0},
		{0x61b, 0},
		{0x61c, 1},
		{0x61d, 0},
		{0x200a, 0},
		{0x200b, 1},
		{0x200f, 1},
		{0x2010, 0},
		{0x2027, 0},
		{0x2028, 1},
		{0x202e, 1},
		{0x202f, 0},
		{0x205f, 0},
		{0x2060, 1},
		{0x206f, 1},
		{0x2070, 0},
		{0xfefe, 0},
		{0xfeff, 1},
		{0xff00, 0},
		{0xfffd, 0},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		char text[16] = "a", escape[16];
		struct buf b;
		struct doc d;
		put_utf8(cases[i].cp, text + 1);
		strcat(text, "b");
		snprintf(escape, sizeof escape, cases[i].cp < 0x100 ? "\\x%02X" : "\\u%04X",
			cases[i].cp);
		for (int single = 0; single < 2; single++) {
			buf_init(&b);
			buf_adds(&b, "k: ");
			if (single)
				yaml_add_quoted(&b, SCALAR_SINGLE, text, strlen(text));
			else
				yaml_add_text(&b, text);
			ck_assert_msg(
				(strstr(b.data, escape) != NULL) == cases[i].hidden, "%s", b.data);
			ck_assert((strstr(b.data, text) == NULL) == cases[i].hidden);
			ck_assert_msg(parse(&d, b.data), "%s", b.data);
			ck_assert_str_eq(node_get(d.root, "k")->text, text);
			doc_free(&d);
			buf_free(&b);
		}
	}
}
END_TEST

START_TEST(a_lap_is_written_with_what_it_has)
{
	static const struct {
		double time;
		const char *is;
	} cases[] = {
		{91.243, "\"1:31.243\""},
		{91.2431, "91.2431"},
		{59.5, "59.5"},
		{3600.25, "\"60:00.250\""},
		{86400, "\"1440:00.000\""},
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		struct buf b;
		double back;
		buf_init(&b);
		write_laptime(&b, cases[i].time);
		size_t skip = b.data[0] == '"';
		ck_assert(laptime_parse(b.data + skip, b.len - 2 * skip, &back) == NUM_OK);
		ck_assert_msg(back == cases[i].time, "%s", b.data);
		if (i < 2)
			ck_assert_str_eq(b.data, cases[i].is);
		buf_free(&b);
	}
}
END_TEST

/* --- the second look at a patched file --- */

static const char before_text[] = "a: 1\nb: [x, y]\nm: {k: v}\nt: 'q'\ns: [1, 2]\nw: [o]\n";
static const char right[] =
	"a: 2\nb: [x, z]\nm: {k: v}\nt: 'q'\ns: [1, 2]\nw: [o]\nn: 5\nl: [p, q]\n";

static bool patch_as_wanted(struct patch *p, const struct doc *d)
{
	const char *const b[] = {"x", "z"}, *const l[] = {"p", "q"};
	patch_init(p, d);
	return patch_member(p, d->root, "a", PATCH_NUMBER, "2", NULL, &err) &&
	       patch_ids(p, d->root, "b", b, 2, NULL, &err) &&
	       patch_member(p, d->root, "n", PATCH_NUMBER, "5", NULL, &err) &&
	       patch_ids(p, d->root, "l", l, 2, NULL, &err);
}

static const struct {
	const char *from, *to;
} wrongs[] = {
	{"a: 2", "a: 3"},
	{"a: 2", "a: 22"},
	{"a: 2", "a: [2]"},
	{"a: 2", "a: 1"},
	{"b: [x, z]", "b: [x, y]"},
	{"b: [x, z]", "b: [x]"},
	{"b: [x, z]", "b: z"},
	{"b: [x, z]", "b: [x, [z]]"},
	{"b: [x, z]", "b: {x: z}"},
	{"m: {k: v}", "m: [k]"},
	{"m: {k: v}", "m: {k: w}"},
	{"m: {k: v}", "m: {j: v}"},
	{"m: {k: v}", "m: {k: v, e: 1}"},
	{"m: {k: v}", "m: {}"},
	{"m: {k: v}", "m:\n  k: v"},
	{"m: {k: v}", "m: {\"k\": v}"},
	{"m: {k: v}", "m: {k: \"v\"}"},
	{"t: 'q'", "t: q"},
	{"t: 'q'", "t: 'r'"},
	{"s: [1, 2]", "s: [1, 3]"},
	{"s: [1, 2]", "s: [2, 1]"},
	{"s: [1, 2]", "s: 1"},
	{"w: [o]", "w: [[o]]"},
	{"n: 5", "n: 6"},
	{"n: 5\n", ""},
	{"n: 5", "u: 5"},
	{"l: [p, q]", "l: [q, p]"},
	{"l: [p, q]", "l: [p]"},
	{"l: [p, q]", "l: p"},
	{"l: [p, q]", "L: [p, q]"},
	{"a: 2\n", ""},
	{"n: 5", "n: [5]"},
	{"t: 'q'\n", ""},
	{"n: 5\nl: [p, q]", "l: [p, q]\nzz: 1"},
};

START_TEST(a_patched_file_that_is_otherwise_is_seen)
{
	struct doc d, now;
	struct patch p;
	ck_assert(parse(&d, before_text) && patch_as_wanted(&p, &d));
	ck_assert(parse(&now, right));
	ck_assert(patch_verify(&p, &now));
	doc_free(&now);
	for (size_t i = 0; i < sizeof wrongs / sizeof wrongs[0]; i++) {
		char *text = NULL;
		const char *at = strstr(right, wrongs[i].from);
		ck_assert_ptr_nonnull(at);
		ck_assert_int_ge(asprintf(&text, "%.*s%s%s", (int)(at - right), right, wrongs[i].to,
					 at + strlen(wrongs[i].from)),
			0);
		ck_assert_msg(parse(&now, text), "%s", text);
		ck_assert_msg(!patch_verify(&p, &now), "not seen:\n%s", text);
		doc_free(&now);
		free(text);
	}
	patch_free(&p);
	doc_free(&d);
}
END_TEST

/* --- profiles --- */

static void put_profile(const char *below, const char *name)
{
	char *p = NULL;
	ck_assert_int_ge(asprintf(&p, "%s/%s/cars/%s", folder, below, name), 0);
	for (char *at = p + strlen(folder) + 1; (at = strchr(at, '/')); at++) {
		*at = '\0';
		mkdir(p, 0700);
		*at = '/';
	}
	test_write(p, "kind: car\n", 10);
	free(p);
}

static void is_found(const char *dir, const char *id, const char *below)
{
	char *found = store_find_profile(dir, "cars", id, &err), *want = NULL;
	if (!below) {
		ck_assert_msg(!found && err.cls == ERR_INPUT, "%s", found);
		return;
	}
	ck_assert_msg(found != NULL, "%s", err.text);
	ck_assert_int_ge(asprintf(&want, "%s/%s/cars/%s.yaml", folder, below, id), 0);
	ck_assert_str_eq(found, want);
	free(found);
	free(want);
}

START_TEST(profiles_are_looked_for_in_order)
{
	char *book = in_folder("b"), *slashes = in_folder("b//"), *share = in_folder("share"),
	     *home = in_folder("home");
	char *data = in_folder("data"), (*ids)[ID_SIZE];
	size_t n;
	put_profile("b/profiles", "one.yaml");
	put_profile("share/profiles", "one.yaml");
	put_profile("share/profiles", "two.yaml");
	put_profile("home/.local/share/treadlight/profiles", "two.yaml");
	put_profile("data/treadlight", "three.yaml");
	put_profile("data/treadlight", "one.yaml");
	/* What is no profile's name. */
	put_profile("data/treadlight", "Bad.yaml");
	put_profile("data/treadlight", ".yaml");
	put_profile("data/treadlight", "four.yml");
	put_profile("data/treadlight", "x");
	set("TREADLIGHT_DATADIR", share);
	set("XDG_DATA_HOME", NULL);
	set("HOME", home);
	is_found(book, "one", "b/profiles");
	is_found(slashes, "one", "b/profiles");
	is_found(NULL, "one", "share/profiles");
	is_found(book, "two", "home/.local/share/treadlight/profiles");
	is_found(book, "three", NULL);
	ck_assert_ptr_nonnull(strstr(err.text, "/b/profiles/cars/three.yaml, "));
	is_found(book, "../one", NULL);
	/* Relative paths in the environment are ignored. */
	set("XDG_DATA_HOME", "data");
	is_found(book, "three", NULL);
	set("XDG_DATA_HOME", data);
	is_found(book, "three", "data/treadlight");
	is_found(book, "two", "share/profiles");
	ck_assert(store_list_profiles(book, "cars", &ids, &n));
	ck_assert_uint_eq(n, 3);
	ck_assert_str_eq(ids[0], "one");
	ck_assert_str_eq(ids[1], "three");
	ck_assert_str_eq(ids[2], "two");
	free(ids);
	/* No home at all. */
	set("XDG_DATA_HOME", "");
	for (int i = 0; i < 2; i++) {
		set("HOME", i ? "" : NULL);
		is_found(book, "two", "share/profiles");
		ck_assert(store_list_profiles(NULL, "cars", &ids, &n));
		ck_assert_uint_eq(n, 2);
		free(ids);
	}
	/* The root of all is a place, if an odd one. */
	set("TREADLIGHT_DATADIR", "/");
	is_found(book, "two", NULL);
	ck_assert_ptr_nonnull(strstr(err.text, " //profiles/cars/two.yaml"));
	/* An empty name is no place either: the installed ones are asked. */
	set("TREADLIGHT_DATADIR", "");
	is_found(book, "two", NULL);
	ck_assert(store_list_profiles(NULL, "none", &ids, &n) && n == 0 && !ids);
	free(book);
	free(slashes);
	free(share);
	free(home);
	free(data);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("store_parts");
	TCase *t = tcase_create("store_parts");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, a_user_has_a_name_whatever_the_environment_says);
	tcase_add_test(t, own_state_has_a_place_or_an_error);
	tcase_add_test(t, a_stamp_is_all_of_it);
	tcase_add_test(t, what_is_no_file_is_named);
	tcase_add_test(t, the_bound_holds_for_a_file_that_grows);
	tcase_add_test(t, paths_of_a_book_take_a_slash_more);
	tcase_add_test(t, a_lock_of_any_text_is_somebody_s);
	tcase_add_test(t, since_when_is_told_as_far_as_it_is_known);
	tcase_add_test(t, what_cannot_be_seen_is_escaped);
	tcase_add_test(t, a_lap_is_written_with_what_it_has);
	tcase_add_test(t, a_patched_file_that_is_otherwise_is_seen);
	tcase_add_test(t, profiles_are_looked_for_in_order);
	suite_add_tcase(s, t);
	return s;
}
