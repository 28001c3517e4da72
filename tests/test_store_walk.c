/*
 * Every door to files, with the k-th allocation or the k-th system call failing, for k rising until
 * everything goes through: once and from then on, in several ways; what must hold is in
 * support/walk.h. Syncing is left out: what it is for, test_save_faults.c and test_save_shim.c
 * look at.
 */
#include "support/savetool.h"
#include "support/support.h"
#include "support/walk.h"

#include <errno.h>
#include <stdio.h>

static void walk(enum kind kind, int code, bool lasting, long *tried)
{
	struct fault f = {.kind = kind, .code = code, .lasting = lasting, .at = 1};
	const struct fault none = {0};

	/* The long run takes every one, make check every third, the checks before a landing every
	 * eleventh. */
	for (; !walk_try(f, none); f.at += test_long() ? 1 : test_quick() ? 11 : 3)
		++*tried;
}

START_TEST(every_door_fails_at_every_step)
{
	/* The first seven always. */
	static const int codes[] = {EIO, EACCES, EINTR, ENOENT, ENOSPC, ENOTSUP, EEXIST, EPERM,
		EMFILE, EROFS, EINVAL, ENOSYS, ENOTDIR, EDQUOT, EFBIG, ELOOP};
	static const struct world here = {.name = "here"};
	const struct door *door = &doors[_i];
	long memory = 0, calls = 0;

	walk_begin(door, &here);
	walk(MEMORY, ENOMEM, false, &memory);
	walk(MEMORY, ENOMEM, true, &memory);
	for (size_t i = 0; i < sizeof codes / sizeof *codes; i++) {
		if (i > 6 && !test_long())
			break;
		/* A book of a dozen files is read over and over: two ways to fail will do. */
		if (i > 1 && door->long_one && !test_long())
			break;
		walk(CALLS, codes[i], false, &calls);
		/* A signal does not interrupt for ever. */
		if (codes[i] != EINTR && (test_long() || i == 0))
			walk(CALLS, codes[i], true, &calls);
	}
	printf("%s: %ld allocations and %ld calls failed\n", door->name, memory, calls);
	walk_end();
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("every door");
	TCase *c = tcase_create("walk");

	tcase_add_checked_fixture(c, doors_setup, doors_teardown);
	tcase_set_timeout(c, 600);
	tcase_add_loop_test(c, every_door_fails_at_every_step, 0, n_doors);
	suite_add_tcase(s, c);
	return s;
}
