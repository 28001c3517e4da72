/*
 * What the file system that TMPDIR stands on can do, so that a test asks no more of FAT or of a
 * server than there is, and says aloud what it leaves out.
 */
#ifndef TREADLIGHT_TESTS_ABILITIES_H
#define TREADLIGHT_TESTS_ABILITIES_H

#include <stdbool.h>

enum ability {
	CAN_SYMLINK,      /* symbolic links */
	CAN_SYMLINK_FULL, /* and those that begin with a slash lead somewhere */
	CAN_LINK,         /* second names, and it tells how many */
	CAN_MODE,         /* each file has its own permissions */
	CAN_OWN,          /* a file can be given away */
	CAN_ADMIT,    /* who is not the superuser gets in, where all may, and owns what he makes */
	CAN_REPLACE,  /* a rename over a file that is there */
	CAN_EXCHANGE, /* two names exchanged in one step */
};

/* False, and a line on stdout, where the file system of `folder` cannot. Tries it there. */
bool test_can(const char *folder, enum ability what);

#endif
