/*
 * Every door to files where the system lacks something (folders that take no new file, no
 * exchange of names, no links, no names of users and machines) and then fails once more; and
 * every door with two faults that meet. What must hold is in support/walk.h.
 */
#include "support/abilities.h"
#include "support/random.h"
#include "support/savetool.h"
#include "support/support.h"
#include "support/walk.h"

#include <errno.h>
#include <stdio.h>

static const struct lack old_kernel[] = {{"renameat2", ENOSYS}, {NULL, 0}};
/* As on FAT: one name a file, no links, modes that cannot be kept. */
static const struct lack plain_disk[] = {{"renameat2", EINVAL}, {"linkat", EPERM}, {"link", EPERM},
	{"symlink", EPERM}, {"fchmod", EPERM}, {"flistxattr", ENOTSUP}, {"fallocate", EOPNOTSUPP},
	{NULL, 0}};
static const struct lack no_attributes[] = {{"flistxattr", ENOSYS}, {"renameat2", EINVAL},
	{"linkat", EOPNOTSUPP}, {"link", EOPNOTSUPP}, {"symlink", ENOSYS}, {NULL, 0}};
static const struct lack no_names[] = {{"gethostname", ENAMETOOLONG}, {"fopen", ENOENT}, {NULL, 0}};

/* It says that a name is taken, and then that nothing is there, and locks no files. */
static const struct lack forgetful[] = {{"symlink", EEXIST}, {"flock", ENOLCK}, {NULL, 0}};

/* SMB: renames as told in shim.h, no exchange of names, no links but second names. */
static const struct lack share[] = {{"renameat2", EINVAL}, {"symlink", EOPNOTSUPP}, {NULL, 0}};

static const struct world worlds[] = {
	{.name = "here"},
	{.name = "an old kernel", .lacks = old_kernel},
	{.name = "a plain disk", .lacks = plain_disk, .may_fail = true, .in_place = true},
	{.name = "no attributes", .lacks = no_attributes},
	{.name = "no names", .lacks = no_names, .may_fail = true},
	{.name = "a forgetful server", .lacks = forgetful, .may_fail = true},
	{.name = "a share", .lacks = share, .in_place = true, .smb = true},
	{.name = "closed folders", .closed = true, .may_fail = true, .in_place = true},
};
enum { WORLDS = sizeof worlds / sizeof *worlds };

/* Closed folders need a disk that knows permissions. */
static bool can_be(const struct world *w)
{
	return !w->closed || (test_can(door_folder, CAN_MODE) && test_can(door_folder, CAN_OWN) &&
				     test_can(door_folder, CAN_ADMIT));
}

static long walk(enum kind kind, int code, bool lasting)
{
	struct fault f = {.kind = kind, .code = code, .lasting = lasting, .at = 1};
	const struct fault none = {0};
	long tried = 0;

	for (; !walk_try(f, none); f.at += test_long() ? 1 : test_quick() ? 23 : 7)
		tried++;
	return tried;
}

START_TEST(a_lack_and_a_fault)
{
	static const int codes[] = {EIO, EEXIST, ENOENT, EACCES, ENOSPC, EINTR, EMFILE};
	const struct door *door = &doors[_i];
	long tried = 0;

	if (door->long_one && !test_long())
		return;
	for (int w = 1; w < WORLDS; w++) {
		if (!can_be(&worlds[w]))
			continue;
		walk_begin(door, &worlds[w]);
		/* Memory is the same everywhere. */
		if (test_long())
			tried += walk(MEMORY, ENOMEM, false);
		for (size_t i = 0; i < sizeof codes / sizeof *codes; i++) {
			if (i > 0 && !test_long())
				break;
			tried += walk(CALLS, codes[i], false);
			if (codes[i] != EINTR && test_long())
				tried += walk(CALLS, codes[i], true);
		}
		walk_end();
	}
	printf("%s: %ld faults in %d worlds\n", door->name, tried, WORLDS - 1);
}
END_TEST

static struct fault some_fault(struct random *r, const long *made)
{
	static const int codes[] = {EIO, EACCES, EINTR, ENOENT, ENOSPC, EEXIST, EPERM, EINVAL,
		ENOSYS, ENOTSUP, EROFS, EDQUOT, EMFILE};
	struct fault f = {.kind = random_below(r, 4) == 0 ? MEMORY : CALLS};

	f.code = codes[random_below(r, sizeof codes / sizeof *codes)];
	f.lasting = f.code != EINTR && random_below(r, 4) == 0;
	f.at = made ? 1 + (long)random_below(r, (unsigned)made[f.kind] + 1) : 0;
	return f;
}

/* Most meet within a few calls: what is done about the first is what the second breaks. */
START_TEST(two_faults_that_meet)
{
	const struct door *door = &doors[_i];
	const int most = (test_long() ? 3000 : test_quick() ? 40 : 100) / (door->long_one ? 10 : 1);
	struct random r = random_seeded(1 + (unsigned)_i);
	long both = 0;

	for (int w = 0; w < WORLDS; w++) {
		/* Half of them here, the rest elsewhere. */
		const int n = w == 0 ? most / 2 : most / 2 / (WORLDS - 1);
		if (!can_be(&worlds[w]))
			continue;
		walk_begin(door, &worlds[w]);
		const long made[2] = {shim.made[MEMORY], shim.made[CALLS]};
		for (int i = 0; i < n; i++) {
			struct fault first = some_fault(&r, made), second = some_fault(&r, NULL);
			first.lasting = false;
			second.at = 1 + (long)random_below(&r, i % 4 ? 6 : 40);
			walk_try(first, second);
			both += shim.failed > 0 && shim.failed_2 > 0;
		}
		walk_end();
	}
	printf("%s: %ld times two faults met\n", door->name, both);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("worse worlds");
	TCase *c = tcase_create("worlds");

	tcase_add_checked_fixture(c, doors_setup, doors_teardown);
	tcase_set_timeout(c, 900);
	tcase_add_loop_test(c, a_lack_and_a_fault, 0, n_doors);
	tcase_add_loop_test(c, two_faults_that_meet, 0, n_doors);
	suite_add_tcase(s, c);
	return s;
}
