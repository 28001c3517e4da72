/*
 * Allocations and system calls that fail when a test says so. The linker's --wrap puts what is in
 * shim.c between our code and the system; a suite that links it takes $(SHIM_WRAPS).
 * A call that fails does nothing, but for write (part of the bytes are out) and close (it is
 * closed). Syncing never reaches the disk.
 */
#ifndef TREADLIGHT_TESTS_SHIM_H
#define TREADLIGHT_TESTS_SHIM_H

#include <stdbool.h>

enum kind { MEMORY, CALLS };

struct fault {
	enum kind kind;
	int code;     /* errno; of no matter for MEMORY */
	bool lasting; /* all from then on */
	long at;      /* the k-th of its kind; 0: none */
};

/* What a system does not have at all: such a call always fails so and is not counted. */
struct lack {
	const char *call; /* NULL ends the list */
	int code;
};

struct shim {
	bool armed;
	struct fault first;
	struct fault second; /* counted from behind the first failure */
	const struct lack *lacks;
	/* Names as an SMB server keeps them: a rename over a file that anybody has open (this
	 * process, in a test) fails with EACCES and takes the file away. Making the name of a file
	 * anew that went while it was open fails `pending` times before it is free. */
	bool smb;
	int pending;
	bool colons; /* a ':' in the text of a link is kept as another character */
	void (*on_wait)(void);
	long slept;    /* waits, none of which takes time */
	long made[2];  /* of each kind */
	long failed;   /* by `first` */
	long failed_2; /* by `second` */
	long live;     /* blocks not freed, armed or not */
};
extern struct shim shim;

/* Arm it with these two; the counts begin anew. */
void shim_arm(struct fault first, struct fault second);

#endif
