/*
 * Memory that runs out under the workbench: the real one on a pseudo-terminal, driven through all
 * six pages by a script of keys, with the k-th of our allocations failing, once or from then on.
 * It neither crashes nor leaks, the book that it leaves is whole, and either the screens are those
 * of a walk with memory enough, or the shortage was told: on the screen, or with exit status 1 and
 * a text.
 *
 * The linker's --wrap puts the functions below between our code and the C library, and between the
 * workbench's loop and its terminal: a key comes when the loop waits, so each is painted.
 */
#include "store/store.h"
#include "support/savetool.h"
#include "support/small_book.h"
#include "support/support.h"
#include "tui/keys.h"
#include "tui/term.h"
#include "tui/tui.h"

#include <curses.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <gsl/gsl_errno.h>
#include <locale.h>
#include <pty.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

/* Every line a stretch of the work; <name> is a named key. */
static const char script[] =
	/* Sheet: nudge, type, hold, undo, freeze, filter, picture, frontier, help. */
	"+<down>-.,<enter><erase>55<enter> -  fuur"
	"/wing<enter>/<erase><enter>wpnn"
	"bt?<esc>jkl"
	/* Save, under another name too; open another; make it the reference. */
	"sS<erase>two<enter>+so<down><enter>+o<enter>s+R<enter>sR"
	/* Compare and Effects. */
	"2cjj<enter>djt3jjww"
	/* Runs: log one, correct, skip, drop, conditions, wear, predictions. */
	"4n<enter><erase>fuel=24 driver=a<enter>"
	"91.4 2.41 2.66 98<enter>91.2 2.40 2.62 98<enter>92.0 traffic<enter><enter>"
	"<enter><enter><back>9<enter>x<erase>flag<enter>Dd<esc>c<enter>w21<enter><esc>v<esc>O<esc>"
	"<esc>Dduru"
	/* Plan: make, keep, effects, take, tick off; make another; log its next. */
	"5m<enter><enter>Keetuum<down><down><enter><esc>x<erase>r01<enter>n<esc>"
	/* Stint. */
	"56+-<enter><erase>25<enter>"
	/* Leave with something unsaved: stay, then save. */
	"1+q<enter>+qs";

static const struct {
	const char *name;
	int key;
} names[] = {{"<down>", K_DOWN}, {"<enter>", K_ENTER}, {"<esc>", K_ESC}, {"<back>", K_BACKSPACE},
	{"<erase>", K_CTRL('u')}};

enum { UPDATES_MAX = 1000, COLUMNS = 100, LINES_ = 30 };

/* What a walk in a process of its own tells. */
struct told {
	long made, failed, live;
	int ended; /* tui_run() came back */
	bool memory_on_screen;
	size_t n_screens;
	uint64_t screens[UPDATES_MAX];
};
static struct told *told; /* shared with the child */

static struct {
	bool armed, lasting;
	long at;
	const char *next; /* key of the script */
	bool due;
} sys;

/* --- what fails --- */

static bool fails(void)
{
	if (!sys.armed)
		return false;
	long made = __atomic_add_fetch(&told->made, 1, __ATOMIC_RELAXED);
	if (made != sys.at && !(sys.lasting && made > sys.at))
		return false;
	__atomic_add_fetch(&told->failed, 1, __ATOMIC_RELAXED);
	errno = ENOMEM;
	return true;
}

static void *counted(void *p)
{
	if (p && sys.armed)
		__atomic_add_fetch(&told->live, 1, __ATOMIC_RELAXED);
	return p;
}

#define WRAP_MEMORY(type, name, params, args)                                                      \
	type __real_##name params;                                                                 \
	type __wrap_##name params;                                                                 \
	type __wrap_##name params                                                                  \
	{                                                                                          \
		return fails() ? NULL : counted(__real_##name args);                               \
	}
WRAP_MEMORY(void *, malloc, (size_t n), (n))
WRAP_MEMORY(void *, calloc, (size_t n, size_t size), (n, size))
WRAP_MEMORY(char *, strdup, (const char *text), (text))
WRAP_MEMORY(char *, realpath, (const char *path, char *out), (path, out))

void *__real_realloc(void *old, size_t n);
void *__wrap_realloc(void *old, size_t n);
void *__wrap_realloc(void *old, size_t n)
{
	if (fails())
		return NULL;
	return old ? __real_realloc(old, n) : counted(__real_realloc(old, n));
}

void __real_free(void *p);
void __wrap_free(void *p);
void __wrap_free(void *p)
{
	if (p && sys.armed)
		__atomic_sub_fetch(&told->live, 1, __ATOMIC_RELAXED);
	__real_free(p);
}

/* Syncing is for disks, and slow there. */
int __wrap_fsync(int fd);
int __wrap_fsync(int fd)
{
	(void)fd;
	return 0;
}

/* --- the keys, and what is seen --- */

time_t __wrap_time(time_t *out);
time_t __wrap_time(time_t *out)
{
	const time_t now = 1773500000;

	if (out)
		*out = now;
	return now;
}

unsigned __wrap_term_wait(int timeout_ms);
unsigned __wrap_term_wait(int timeout_ms)
{
	(void)timeout_ms;
	sys.due = *sys.next != '\0';
	return sys.due ? TERM_KEYS : TERM_END;
}

bool __wrap_term_keys_waiting(void);
bool __wrap_term_keys_waiting(void)
{
	return sys.due;
}

bool __wrap_term_keys_read(void);
bool __wrap_term_keys_read(void)
{
	return sys.due;
}

int __wrap_term_key(void);
int __wrap_term_key(void)
{
	sys.due = false;
	for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
		size_t len = strlen(names[i].name);
		if (strncmp(sys.next, names[i].name, len) == 0) {
			sys.next += len;
			return names[i].key;
		}
	}
	return *sys.next++;
}

static uint64_t screen_hash(void)
{
	uint64_t hash = 1469598103934665603U;
	char line[4 * COLUMNS + 1] = "";
	int y, x;

	getyx(stdscr, y, x);
	for (int i = 0; i < LINES; i++) {
		mvwinnstr(stdscr, i, 0, line, (int)sizeof line - 1);
		if (strstr(line, "memory"))
			told->memory_on_screen = true;
		for (const char *c = line; *c; c++)
			hash = (hash ^ (unsigned char)*c) * 1099511628211U;
		if (sys.at == 1L << 60)
			fprintf(stderr, "%s\n", line);
	}
	if (sys.at == 1L << 60)
		fprintf(stderr, "== before key %.12s\n", sys.next);
	wmove(stdscr, y, x);
	return hash;
}

bool __real_term_update(void);
bool __wrap_term_update(void);
bool __wrap_term_update(void)
{
	bool armed = sys.armed, ok = __real_term_update();

	sys.armed = false;
	if (told->n_screens < UPDATES_MAX)
		told->screens[told->n_screens++] = screen_hash();
	sys.armed = armed;
	return ok;
}

/* --- one walk --- */

static char *folder, book_at[4096], errors_at[4096];
static int master, slave;
static pid_t drain;

static void run_workbench(long k, bool lasting)
{
	const char *show = getenv("TUI_MEMORY_SHOW");
	int fd = open(show && k == 1L << 60 ? show : errors_at,
		O_WRONLY | O_CREAT | O_TRUNC | O_APPEND, 0600);

	if (fd < 0 || dup2(slave, 0) < 0 || dup2(slave, 1) < 0 || dup2(fd, 2) < 0)
		_exit(90);
	sys.next = script;
	sys.at = k;
	sys.lasting = lasting;
	sys.armed = true;
	int status = tui_run(book_at, NULL);
	sys.armed = false;
	told->ended = 1;
	_exit(status);
}

static int drop(const char *path, const struct stat *st, int flag, struct FTW *at)
{
	(void)st;
	(void)flag;
	(void)at;
	return remove(path);
}

static int look(const char *path, const struct stat *st, int flag, struct FTW *at)
{
	(void)st;
	return flag == FTW_F && strstr(path + at->base, ".tl-") != NULL;
}

static int walk_once(long k, bool lasting)
{
	int status;

	nftw(book_at, drop, 16, FTW_DEPTH | FTW_PHYS);
	ck_assert_int_eq(mkdir(book_at, 0755), 0);
	small_book_write(book_at);
	memset(told, 0, sizeof *told);
	pid_t pid = fork();
	ck_assert_int_ge(pid, 0);
	if (pid == 0)
		run_workbench(k, lasting);
	ck_assert_int_eq(waitpid(pid, &status, 0), pid);
	return status;
}

static void book_is_whole(const char *what)
{
	struct faults faults;
	struct book b;

	faults_init(&faults);
	book_init(&b);
	ck_assert_msg(store_load_book(&b, book_at, &faults), "%s: the book is not whole: %s", what,
		faults.n ? faults.list[0].text : "");
	book_free(&b);
	faults_free(&faults);
	ck_assert_msg(nftw(book_at, look, 16, FTW_PHYS) == 0, "%s: a temporary is left", what);
}

static void setup(void)
{
	struct winsize size = {.ws_row = LINES_, .ws_col = COLUMNS};
	char byte[4096];

	folder = test_folder();
	snprintf(book_at, sizeof book_at, "%s/book", folder);
	snprintf(errors_at, sizeof errors_at, "%s/errors", folder);
	setenv("XDG_STATE_HOME", folder, 1);
	setenv("LOGNAME", "anna", 1);
	setenv("TERM", "xterm-256color", 1);
	setenv("TZ", "UTC", 1);
	setlocale(LC_ALL, "C.UTF-8");
	setlocale(LC_NUMERIC, "C");
	gsl_set_error_handler_off();
	told = mmap(NULL, sizeof *told, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
	ck_assert(told != MAP_FAILED);
	ck_assert_int_eq(openpty(&master, &slave, NULL, NULL, &size), 0);
	drain = fork();
	if (drain == 0) { /* the terminal: takes everything */
		close(slave);
		while (read(master, byte, sizeof byte) > 0)
			;
		_exit(0);
	}
}

static void teardown(void)
{
	kill(drain, SIGKILL);
	waitpid(drain, NULL, 0);
	close(slave);
	close(master);
	munmap(told, sizeof *told);
	test_remove(folder);
	free(folder);
}

static struct told clean;

static bool as_clean(int status)
{
	return WIFEXITED(status) && WEXITSTATUS(status) == 0 &&
	       told->n_screens == clean.n_screens &&
	       memcmp(told->screens, clean.screens, clean.n_screens * sizeof *clean.screens) == 0;
}

/* True when nothing failed any more. */
static bool fail_at(long k, bool lasting, long *refused, long *said)
{
	int status = walk_once(k, lasting);
	char what[80], *errors = test_slurp(errors_at, NULL);

	snprintf(what, sizeof what, "allocation %ld%s", k, lasting ? "+" : "");
	ck_assert_msg(WIFEXITED(status) && told->ended, "%s: wait status %#x: %s", what,
		(unsigned)status, errors);
	ck_assert_msg(WEXITSTATUS(status) <= 1, "%s: exit status %d: %s", what, WEXITSTATUS(status),
		errors);
	bool loud = told->memory_on_screen || strstr(errors, "memory");
	size_t differs = 0;
	while (differs < clean.n_screens && told->screens[differs] == clean.screens[differs])
		differs++;
	ck_assert_msg(as_clean(status) || loud, "%s: another screen (%zu) without a word: %s", what,
		differs, errors);
	ck_assert_msg(told->live == clean.live, "%s: %ld not freed", what, told->live - clean.live);
	book_is_whole(what);
	*refused += WEXITSTATUS(status) == 1;
	*said += told->memory_on_screen;
	free(errors);
	return told->failed == 0;
}

static void walk(bool lasting)
{
	long tried = 0, refused = 0, said = 0, stride;

	ck_assert_int_eq(walk_once(1L << 60, false), 0);
	book_is_whole("with memory enough");
	clean = *told;
	ck_assert_int_eq(clean.live, 0);
	ck_assert_uint_lt(clean.n_screens, UPDATES_MAX);
	ck_assert_int_eq(walk_once(1L << 60, false), 0);
	ck_assert_msg(as_clean(0), "two walks with memory enough differ");
	stride = clean.made / (test_long() ? 400 : test_quick() ? 3 : 6);
	for (long k = 1; !fail_at(k, lasting, &refused, &said); tried++)
		k += stride > 1 ? 1 + (k * 7919) % (2 * stride - 1) : 1;
	printf("allocations failing %s: %ld of %ld tried over %zu screens; %ld times it did not "
	       "start, "
	       "%ld times a screen told it, %ld times nobody could see a difference\n",
		lasting ? "from the k-th on" : "once", tried, clean.made, clean.n_screens, refused,
		said, tried - refused - said);
	ck_assert_int_gt(refused, 0);
	ck_assert_int_gt(said, 0);
}

START_TEST(one_allocation_fails)
{
	walk(false);
}
END_TEST

START_TEST(all_allocations_fail_from_one_on)
{
	walk(true);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("workbench without memory");
	TCase *c = tcase_create("walk");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 1800);
	tcase_add_test(c, one_allocation_fails);
	tcase_add_test(c, all_allocations_fail_from_one_on);
	suite_add_tcase(s, c);
	return s;
}
