/* This machine and this user: names for locks and temporaries, the folder for own state. */
#ifndef STORE_HOST_H
#define STORE_HOST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* The host's name; "localhost" if it has none. */
void host_name(char *buf, size_t size);
/* The user's login name, from the environment or else the system; "user-UID" if there is none. */
void user_name(char *buf, size_t size);
/* When the machine was started, seconds since 1970; 0 if the system does not say. */
int64_t boot_time(void);
/* Monotonic seconds. */
int64_t monotonic_seconds(void);
/* Seconds since the machine was started, sleep included, whatever its clock was set to. */
int64_t uptime_seconds(void);
/* A tenth of a second, for a server that needs a moment. */
void wait_a_tenth(void);

struct process {
	char name[64];
	char state;    /* of proc(5); 'Z': it has ended, and nobody has asked how */
	int64_t start; /* uptime_seconds() then */
};
/* False where the system does not tell: no such process, or hidden from this user. */
bool process_look(long pid, struct process *p);
/* Nobody has that pid; or who has it has ended, or is another program than this, which a pid is
 * given to in time. False where that is not sure. */
bool process_is_gone(long pid);

/* $XDG_STATE_HOME/treadlight, or ~/.local/state/treadlight, opened; its path into buf. Where it is
 * missing it is made only if `make`. -1 with errno. */
int state_folder(char *buf, size_t size, bool make);

#endif
