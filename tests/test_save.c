/*
 * Saving: what is replaced, what is kept, what is refused. The access list's form is that of the
 * kernel's posix_acl_xattr.h (version 2; tag, permissions, id), from memory, and checked by the
 * kernel when it is set.
 */
#include "store/save_parts.h"
#include "support/abilities.h"
#include "support/savetool.h"
#include "support/support.h"

#include <fcntl.h>
#include <grp.h>
#include <sched.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <sys/xattr.h>
#include <unistd.h>

static char *folder, path[4096], other[4096];
static struct err err;

static void setup(void)
{
	folder = test_folder();
	snprintf(path, sizeof path, "%s/kind.yaml", folder);
	snprintf(other, sizeof other, "%s/other.yaml", folder);
	test_write(path, "old\n", 4);
	setenv("XDG_STATE_HOME", folder, 1);
}

static void teardown(void)
{
	chmod(folder, 0700);
	test_remove(folder);
	free(folder);
}

static struct stamp stamp_of(const char *name)
{
	struct stamp s = {0};
	char *bytes;
	size_t size;

	err_clear(&err);
	ck_assert_msg(file_read(name, 1 << 24, &bytes, &size, &s, &err), "%s: %s", name, err.text);
	free(bytes);
	return s;
}

static enum save_outcome put(const char *name, const char *text, struct stamp *s)
{
	return file_save(name, text, strlen(text), s, &err);
}

static void holds(const char *name, const char *text)
{
	size_t len;
	char *bytes = test_slurp(name, &len);

	ck_assert_str_eq(bytes, text);
	ck_assert_uint_eq(len, strlen(text));
	free(bytes);
}

static void said(const char *part)
{
	ck_assert_msg(strstr(err.text, part), "'%s' has no '%s'", err.text, part);
}

START_TEST(replaces_what_was_read)
{
	struct stamp s = stamp_of(path), again;

	ck_assert_msg(put(path, "new text\n", &s) == SAVE_DONE, "%s", err.text);
	holds(path, "new text\n");
	again = stamp_of(path);
	ck_assert(stamp_equal(&s, &again));
	ck_assert_int_eq(put(path, "", &s), SAVE_DONE);
	holds(path, "");
	ck_assert_int_eq(put(path, "third\n", &s), SAVE_DONE);
	holds(path, "third\n");
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

START_TEST(a_bare_name_in_this_folder)
{
	struct stamp s = stamp_of(path), none = {0};

	ck_assert_int_eq(chdir(folder), 0);
	ck_assert_int_eq(put("kind.yaml", "new\n", &s), SAVE_DONE);
	holds(path, "new\n");
	ck_assert_int_eq(put("other.yaml", "new\n", &none), SAVE_DONE);
	ck_assert_int_eq(chdir("/"), 0);
}
END_TEST

START_TEST(a_change_by_others_is_a_conflict)
{
	struct stamp s = stamp_of(path);
	struct stat st;

	/* Same size, same times: only the bytes tell. */
	ck_assert_int_eq(stat(path, &st), 0);
	test_write(path, "OLD\n", 4);
	struct timespec times[2] = {st.st_atim, st.st_mtim};
	ck_assert_int_eq(utimensat(AT_FDCWD, path, times, 0), 0);
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_CONFLICT);
	said("another program changed it");
	holds(path, "OLD\n");
	/* Touched, or rewritten with the same bytes: no conflict. */
	test_write(path, "old\n", 4);
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_DONE);
	/* Gone. */
	ck_assert_int_eq(unlink(path), 0);
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_CONFLICT);
	said("deleted");
	ck_assert_int_ne(access(path, F_OK), 0);
	/* Something else in its place. */
	ck_assert_int_eq(mkdir(path, 0700), 0);
	ck_assert_int_ne(put(path, "newer\n", &s), SAVE_DONE);
	ck_assert_int_eq(rmdir(path), 0);
	/* Grown beyond any bound. */
	test_write(path, "x", 1);
	ck_assert_int_eq(truncate(path, 20 * 1024 * 1024), 0);
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_CONFLICT);
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

START_TEST(a_new_file_never_overwrites)
{
	struct stamp none = {0};
	char deep[4200];

	ck_assert_int_eq(put(path, "new\n", &none), SAVE_CONFLICT);
	said("is there already");
	holds(path, "old\n");
	if (test_can(folder, CAN_SYMLINK)) {
		ck_assert_int_eq(symlink("nowhere", other), 0);
		ck_assert_int_eq(put(other, "new\n", &none), SAVE_CONFLICT);
		ck_assert_int_eq(unlink(other), 0);
	}
	umask(027);
	ck_assert_int_eq(put(other, "new\n", &none), SAVE_DONE);
	holds(other, "new\n");
	struct stat st;
	ck_assert_int_eq(stat(other, &st), 0);
	if (test_can(folder, CAN_MODE))
		ck_assert_uint_eq(st.st_mode & 0777, 0640);
	snprintf(deep, sizeof deep, "%s/no/such.yaml", folder);
	struct stamp zero = {0};
	ck_assert_int_eq(put(deep, "new\n", &zero), SAVE_FAILED);
	said(strerror(ENOENT));
	ck_assert(file_create(deep, "x", 1, &err) == false);
	snprintf(deep, sizeof deep, "%s/third.yaml", folder);
	ck_assert(file_create(deep, "x", 1, &err));
	ck_assert_int_eq(test_entries(folder), 3);
}
END_TEST

START_TEST(a_symbolic_link_stays)
{
	struct stamp s = stamp_of(path);
	char text[64], chain[4200];
	struct stat st;
	ssize_t n;

	if (!test_can(folder, CAN_SYMLINK))
		return;
	ck_assert_int_eq(symlink("kind.yaml", other), 0);
	snprintf(chain, sizeof chain, "%s/chain", folder);
	ck_assert_int_eq(
		symlink(test_can(folder, CAN_SYMLINK_FULL) ? other : "other.yaml", chain), 0);
	ck_assert_int_eq(put(chain, "new\n", &s), SAVE_DONE);
	holds(path, "new\n");
	n = readlink(other, text, sizeof text);
	ck_assert_int_eq(n, 9);
	ck_assert_int_eq(memcmp(text, "kind.yaml", 9), 0);
	ck_assert_int_eq(lstat(chain, &st), 0);
	ck_assert(S_ISLNK(st.st_mode));
	/* Dangling and looping. */
	ck_assert_int_eq(unlink(path), 0);
	ck_assert_int_eq(put(other, "newer\n", &s), SAVE_FAILED);
	ck_assert_int_ne(access(path, F_OK), 0);
	ck_assert_int_eq(symlink("other.yaml", path), 0);
	ck_assert_int_eq(put(other, "newer\n", &s), SAVE_FAILED);
	said(strerror(ELOOP));
}
END_TEST

START_TEST(a_hard_link_keeps_both_names)
{
	struct stamp s = stamp_of(path);
	struct stat a, b;

	if (!test_can(folder, CAN_LINK))
		return;
	ck_assert_int_eq(link(path, other), 0);
	ck_assert_int_eq(put(path, "a longer text\n", &s), SAVE_DONE);
	holds(other, "a longer text\n");
	ck_assert_int_eq(put(path, "short\n", &s), SAVE_DONE);
	holds(other, "short\n");
	ck_assert_int_eq(stat(path, &a), 0);
	ck_assert_int_eq(stat(other, &b), 0);
	ck_assert_uint_eq(a.st_nlink, 2);
	ck_assert_uint_eq(a.st_ino, b.st_ino);
	ck_assert_int_eq(test_entries(folder), 2);
	/* And a conflict is one there too. */
	test_write(other, "theirs\n", 7);
	ck_assert_int_eq(put(path, "ours\n", &s), SAVE_CONFLICT);
	holds(path, "theirs\n");
}
END_TEST

START_TEST(a_read_only_file_is_refused)
{
	struct stamp s = stamp_of(path);

	if (!test_can(folder, CAN_MODE))
		return;
	ck_assert_int_eq(chmod(path, 0444), 0);
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_FAILED);
	said("read-only");
	holds(path, "old\n");
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

/* Go on as somebody who is not the superuser; `group` is a group of theirs. */
static void become_user(gid_t group)
{
	if (geteuid() != 0)
		return;
	ck_assert_int_eq(setgroups(1, &group), 0);
	ck_assert_int_eq(setgid(65534), 0);
	ck_assert_int_eq(setuid(65534), 0);
}

START_TEST(a_folder_that_cannot_be_written)
{
	struct stamp s;
	struct stat before, after;
	char book[4200], sheet[4300];

	if (!test_can(folder, CAN_MODE) || !test_can(folder, CAN_ADMIT))
		return;
	snprintf(book, sizeof book, "%s/book", folder);
	snprintf(sheet, sizeof sheet, "%s/kind.yaml", book);
	ck_assert_int_eq(mkdir(book, 0755), 0);
	test_write(sheet, "old\n", 4);
	ck_assert_int_eq(chmod(sheet, 0666), 0);
	ck_assert_int_eq(chmod(folder, 0777), 0);
	s = stamp_of(sheet);
	ck_assert_int_eq(stat(sheet, &before), 0);
	if (geteuid() != 0)
		ck_assert_int_eq(chmod(book, 0555), 0);
	become_user(65534);
	ck_assert_msg(put(sheet, "new\n", &s) == SAVE_DONE, "%s", err.text);
	holds(sheet, "new\n");
	ck_assert_int_eq(stat(sheet, &after), 0);
	ck_assert_uint_eq(before.st_ino, after.st_ino);
	char state[4200];
	snprintf(state, sizeof state, "%s/treadlight", folder);
	ck_assert_int_eq(test_entries(state), 0);
	/* Nowhere to set the old text aside: nothing is written. */
	setenv("XDG_STATE_HOME", "/proc/nowhere", 1);
	ck_assert_int_eq(put(sheet, "newer\n", &s), SAVE_FAILED);
	holds(sheet, "new\n");
	unsetenv("XDG_STATE_HOME");
	unsetenv("HOME");
	ck_assert_int_eq(put(sheet, "newer\n", &s), SAVE_FAILED);
	struct stamp none = {0};
	snprintf(sheet, sizeof sheet, "%s/more.yaml", book);
	ck_assert_int_eq(put(sheet, "x\n", &none), SAVE_FAILED);
	said(strerror(EACCES));
	chmod(book, 0755);
}
END_TEST

/* --- metadata --- */

static size_t acl(unsigned char *out, unsigned extra_user)
{
	const unsigned entries[][3] = {{0x01, 6, ~0u}, {0x02, 4, extra_user}, {0x04, 4, ~0u},
		{0x10, 4, ~0u}, {0x20, 0, ~0u}};
	size_t n = 4;

	memcpy(out, "\2\0\0\0", 4);
	for (size_t i = 0; i < sizeof entries / sizeof *entries; i++) {
		for (int k = 0; k < 2; k++) {
			out[n++] = (unsigned char)(entries[i][k] & 0xff);
			out[n++] = 0;
		}
		for (int k = 0; k < 4; k++)
			out[n++] = (unsigned char)(entries[i][2] >> (8 * k) & 0xff);
	}
	return n;
}

struct meta {
	struct stat st;
	char names[4096], values[65536];
	size_t n_names, n_values;
};

static void meta_of(const char *name, struct meta *m)
{
	ssize_t n;

	memset(m, 0, sizeof *m);
	ck_assert_int_eq(stat(name, &m->st), 0);
	n = listxattr(name, m->names, sizeof m->names);
	m->n_names = n > 0 ? (size_t)n : 0;
	for (size_t at = 0; at < m->n_names; at += strlen(m->names + at) + 1) {
		n = getxattr(name, m->names + at, m->values + m->n_values,
			sizeof m->values - m->n_values);
		ck_assert_int_ge(n, 0);
		m->n_values += (size_t)n;
	}
}

static bool has_attribute(const struct meta *m, const char *name)
{
	for (size_t at = 0; at < m->n_names; at += strlen(m->names + at) + 1) {
		if (strcmp(m->names + at, name) == 0)
			return true;
	}
	return false;
}

static void same_meta(const char *what, const struct meta *a, const struct meta *b)
{
	ck_assert_msg(a->st.st_mode == b->st.st_mode, "%s: mode %o, was %o", what,
		(unsigned)b->st.st_mode, (unsigned)a->st.st_mode);
	ck_assert_msg(
		a->st.st_uid == b->st.st_uid && a->st.st_gid == b->st.st_gid, "%s: owner", what);
	ck_assert_uint_eq(a->st.st_nlink, b->st.st_nlink);
	ck_assert_uint_eq(a->n_names, b->n_names);
	for (size_t at = 0; at < a->n_names; at += strlen(a->names + at) + 1)
		ck_assert_msg(has_attribute(b, a->names + at), "%s: %s", what, a->names + at);
	ck_assert_uint_eq(a->n_values, b->n_values);
}

START_TEST(owner_mode_list_and_attributes_are_kept)
{
	static const mode_t modes[] = {0644, 0600, 0640, 0664, 0666, 0755, 0604, 04755, 02755};
	static struct meta before, after;
	unsigned char list[256];
	bool have_xattr, have_acl, have_owners;
	int kept = 0;

	if (!test_can(folder, CAN_MODE))
		return;
	have_owners = geteuid() == 0 && test_can(folder, CAN_OWN);
	have_xattr = setxattr(path, "user.origin", "a\0b", 3, 0) == 0;
	have_acl = setxattr(path, "system.posix_acl_access", list, acl(list, 1234), 0) == 0;
	meta_of(path, &before);
	have_acl = have_acl && has_attribute(&before, "system.posix_acl_access");
	if (!have_xattr || !have_acl)
		printf("SKIPPED here: %s%s\n", have_xattr ? "" : "attributes ",
			have_acl ? "" : "access lists");
	for (size_t i = 0; i < sizeof modes / sizeof *modes; i++) {
		struct stamp s = stamp_of(path);
		if (have_owners && i % 2)
			ck_assert_int_eq(chown(path, (uid_t)(1000 + i), (gid_t)(2000 + i)), 0);
		ck_assert_int_eq(chmod(path, modes[i]), 0);
		meta_of(path, &before);
		ck_assert_msg(
			put(path, i % 2 ? "odd\n" : "even\n", &s) == SAVE_DONE, "%s", err.text);
		meta_of(path, &after);
		same_meta("plain", &before, &after);
		ck_assert_int_eq(has_attribute(&after, "system.posix_acl_access"), have_acl);
		kept++;
	}
	printf("metadata: %d saves, mode, owner, access list and attributes equal\n", kept);
}
END_TEST

START_TEST(the_folders_own_rules_do_not_leak_in)
{
	static struct meta before, after;
	unsigned char list[256];
	struct stamp s;

	if (!test_can(folder, CAN_MODE) || !test_can(folder, CAN_OWN))
		return;
	/* setgid: new files would get the folder's group; a default access list: new files get one.
	 */
	if (geteuid() == 0)
		ck_assert_int_eq(chown(folder, 0, 4321), 0);
	ck_assert_int_eq(chmod(folder, 02775), 0);
	if (setxattr(folder, "system.posix_acl_default", list, acl(list, 1234), 0) != 0)
		printf("SKIPPED here: default access lists\n");
	s = stamp_of(path);
	meta_of(path, &before);
	ck_assert_msg(put(path, "new\n", &s) == SAVE_DONE, "%s", err.text);
	meta_of(path, &after);
	same_meta("default list", &before, &after);
	ck_assert(!has_attribute(&after, "system.posix_acl_access"));
}
END_TEST

START_TEST(a_group_member_does_not_become_the_owner)
{
	static struct meta before, after;
	struct stamp s;

	if (geteuid() != 0) {
		printf("SKIPPED here: another owner's file (needs the superuser)\n");
		return;
	}
	if (!test_can(folder, CAN_MODE) || !test_can(folder, CAN_OWN) ||
		!test_can(folder, CAN_ADMIT))
		return;
	ck_assert_int_eq(chown(folder, 0, 4321), 0);
	ck_assert_int_eq(chmod(folder, 0775), 0);
	ck_assert_int_eq(chown(path, 1001, 4321), 0);
	ck_assert_int_eq(chmod(path, 0664), 0);
	s = stamp_of(path);
	meta_of(path, &before);
	become_user(4321);
	if (access(path, W_OK) != 0) { /* NFS: a server may know other groups */
		printf("SKIPPED here: a member of the group is none to the server\n");
		return;
	}
	ck_assert_msg(put(path, "by a member\n", &s) == SAVE_DONE, "%s", err.text);
	meta_of(path, &after);
	same_meta("member", &before, &after);
	ck_assert_uint_eq(before.st.st_ino, after.st.st_ino);
	holds(path, "by a member\n");
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

/* --- what a crash leaves --- */

static pid_t dead_pid(void)
{
	pid_t pid = fork();

	if (pid == 0)
		_exit(0);
	ck_assert_int_eq(waitpid(pid, NULL, 0), pid);
	return pid;
}

/* A temporary of ours, of another process, holding a text. */
static void leave(const char *kind, pid_t pid, uint64_t old_hash, const char *new_text,
	const char *text, char *where)
{
	struct stamp stamp = {0};
	struct job j = {.name = "kind.yaml",
		.stamp = &stamp,
		.hash = hash_bytes(new_text, strlen(new_text))};
	char name[TEMP_NAME], mine[32], theirs[32], *at;

	temp_name(&j, j.name, kind, old_hash, name);
	snprintf(mine, sizeof mine, "-%ld-", (long)getpid());
	snprintf(theirs, sizeof theirs, "-%ld-", (long)pid);
	at = strstr(name, mine);
	ck_assert_ptr_nonnull(at);
	snprintf(where, 4400, "%s/%.*s%s%s", folder, (int)(at - name), name, theirs,
		at + strlen(mine));
	test_write(where, text, strlen(text));
}

START_TEST(leftovers_go_but_never_the_only_copy)
{
	struct stamp s = stamp_of(path);
	uint64_t old = s.hash;
	pid_t dead = dead_pid(), alive = getppid();
	char a[4400], b[4400], c[4400], d[4400], e[4400], f[4400], kept[4400];

	leave("new", dead, 0, "x", "half", a);
	leave("swap", dead, old, "ours", "ours", b);
	leave("swap", dead, old, "ours", "old\n", c);
	leave("swap", dead, old, "ours", "somebody else's", d);
	leave("copy", dead, old, "ours", "old\n", e);
	leave("new", alive, 0, "x", "working", f);
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_DONE);
	ck_assert_int_ne(access(a, F_OK), 0);
	ck_assert_int_ne(access(b, F_OK), 0);
	ck_assert_int_ne(access(c, F_OK), 0);
	ck_assert_int_ne(access(d, F_OK), 0);
	ck_assert_int_ne(access(e, F_OK), 0);
	ck_assert_int_eq(access(f, F_OK), 0);
	snprintf(kept, sizeof kept, "%s/kind.yaml.kept-1", folder);
	holds(kept, "somebody else's");
	said("is written; what an earlier save that was cut short left behind is in "
	     "kind.yaml.kept-1 now");
	/* A second one does not take its place. */
	leave("swap", dead, old, "ours", "a third text", d);
	ck_assert_int_eq(put(path, "newer\n", &s), SAVE_DONE);
	holds(kept, "somebody else's");
	snprintf(kept, sizeof kept, "%s/kind.yaml.kept-2", folder);
	holds(kept, "a third text");
}
END_TEST

START_TEST(a_torn_rewrite_is_told)
{
	struct stamp s = stamp_of(path);
	char copy_path[4400], kept[4400], *copy;

	ck_assert(!save_interrupted(path, &copy));
	ck_assert_ptr_null(copy);
	leave("copy", dead_pid(), s.hash, "new text\n", "old\n", copy_path);
	ck_assert(!save_interrupted(path, &copy)); /* the file is whole: the old text */
	test_write(path, "new text\n", 9);
	ck_assert(!save_interrupted(path, &copy)); /* the new one */
	test_write(path, "new t", 5);
	ck_assert(save_interrupted(path, &copy));
	ck_assert_str_eq(strrchr(copy, '/'), strrchr(copy_path, '/'));
	holds(copy, "old\n");
	free(copy);
	ck_assert(!save_interrupted(other, &copy));
	/* Saved over all the same (the user repaired it): the copy stays, visibly. */
	s = stamp_of(path);
	ck_assert_int_eq(put(path, "repaired\n", &s), SAVE_DONE);
	said("is written; what an earlier save that was cut short left behind is in "
	     "kind.yaml.kept-1 now");
	snprintf(kept, sizeof kept, "%s/kind.yaml.kept-1", folder);
	holds(kept, "old\n");
}
END_TEST

/* By whoever reads: the first fault, whatever the parser says of the rest. */
START_TEST(torn_files_are_told_with_what_to_do)
{
	char copy[4400], more[4400], link[4400], want[600];
	struct faults f;
	struct stamp s = stamp_of(path);

	faults_init(&f);
	save_check_folder(folder, &f);
	ck_assert(save_is_whole(path, &f) && f.n == 0);
	leave("copy", dead_pid(), s.hash, "new text\n", "old\n", copy);
	leave("new", dead_pid(), 0, "x", "half", more);
	save_check_folder(folder, &f);
	ck_assert(save_is_whole(path, &f) && f.n == 0);
	test_write(path, "new t", 5);
	ck_assert(!save_is_whole(path, &f));
	ck_assert_uint_eq(f.n, 1);
	ck_assert_int_eq(f.list[0].cls, ERR_INPUT);
	ck_assert_str_eq(f.list[0].file, path);
	snprintf(want, sizeof want, "the old text is in %s beside it: copy that over this file",
		strrchr(copy, '/') + 1);
	ck_assert_msg(strstr(f.list[0].text, want) != NULL, "%s", f.list[0].text);
	ck_assert_ptr_nonnull(strstr(f.list[0].text, "or remove it if the file is right as it is"));
	/* Two copies are of one file, which is told once. */
	leave("copy", dead_pid(), s.hash, "newer text\n", "old\n", more);
	save_check_folder(folder, &f);
	ck_assert_uint_eq(f.n, 2);
	ck_assert_str_eq(f.list[1].file, path);
	/* By another name too, where the copy is not beside it. */
	if (test_can(folder, CAN_SYMLINK)) {
		char sub[4300];
		snprintf(sub, sizeof sub, "%s/sub", folder);
		snprintf(link, sizeof link, "%s/kind.yaml", sub);
		ck_assert_int_eq(mkdir(sub, 0700), 0);
		ck_assert_int_eq(symlink("../kind.yaml", link), 0);
		save_check_folder(sub, &f);
		ck_assert_uint_eq(f.n, 3);
		ck_assert_str_eq(f.list[2].file, link);
		snprintf(want, sizeof want, "is in %s/.kind.yaml.tl-copy-", folder);
		ck_assert_msg(strstr(f.list[2].text, want) != NULL, "%s", f.list[2].text);
	}
	/* Put back. */
	test_write(path, "old\n", 4);
	ck_assert(save_is_whole(path, &f));
	faults_free(&f);
}
END_TEST

/* Of another machine it is not known who lives there: torn is torn, and who saves holds the lock.
 */
START_TEST(a_file_that_another_machine_left_torn)
{
	struct stamp s = stamp_of(path);
	char name[300], *copy;

	snprintf(name, sizeof name, "%s/.kind.yaml.tl-copy-00000001-%ld-1-%016llx-%016llx", folder,
		(long)getppid(), (unsigned long long)s.hash, 7ULL);
	test_write(name, "old\n", 4);
	ck_assert(!save_interrupted(path, &copy));
	test_write(path, "ne", 2);
	ck_assert(save_interrupted(path, &copy));
	free(copy);
	test_write(path, "old\n", 4);
	s = stamp_of(path);
	ck_assert_int_eq(put(path, "new\n", &s), SAVE_DONE);
	ck_assert_int_eq(err.cls, ERR_NONE);
	ck_assert_int_eq(test_entries(folder), 1);
}
END_TEST

START_TEST(names_up_to_the_longest)
{
	char name[300], long_path[4400];
	struct stamp none = {0};

	memset(name, 'n', 250);
	memcpy(name + 250, ".yaml", 6);
	snprintf(long_path, sizeof long_path, "%s/%s", folder, name);
	ck_assert_msg(put(long_path, "a\n", &none) == SAVE_DONE, "%s", err.text);
	ck_assert_msg(put(long_path, "b\n", &none) == SAVE_DONE, "%s", err.text);
	holds(long_path, "b\n");
	snprintf(long_path, sizeof long_path, "%s/%sx", folder, name);
	struct stamp zero = {0};
	ck_assert_int_eq(put(long_path, "a\n", &zero), SAVE_FAILED);
	/* Servers have other words for it. */
	errno = 0;
	ck_assert_int_ne(mkdir(long_path, 0700), 0);
	said(strerror(errno));
	ck_assert_int_eq(test_entries(folder), 2);
}
END_TEST

/* --- a full disk --- */

START_TEST(a_limit_on_the_size_of_files)
{
	/* Above what Check itself writes to its own file meanwhile. */
	struct rlimit limit = {65536, RLIM_INFINITY};
	struct stamp s = stamp_of(path), none = {0};
	char *big = calloc(1, 100001);

	memset(big, 'x', 100000);
	signal(SIGXFSZ, SIG_IGN);
	const bool links = test_can(folder, CAN_LINK);
	ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
	if (links) {
		ck_assert_int_eq(link(path, other), 0);
		ck_assert_int_eq(put(path, big, &s), SAVE_FAILED); /* in place */
		said(strerror(EFBIG));
		holds(path, "old\n");
		ck_assert_int_eq(test_entries(folder), 2);
		ck_assert_int_eq(unlink(other), 0);
	}
	ck_assert_int_eq(put(path, big, &s), SAVE_FAILED); /* by exchange */
	said(strerror(EFBIG));
	holds(path, "old\n");
	ck_assert_int_eq(put(other, big, &none), SAVE_FAILED);
	ck_assert_int_ne(access(other, F_OK), 0);
	ck_assert_int_eq(test_entries(folder), 1);
	free(big);
}
END_TEST

START_TEST(a_full_disk)
{
	struct stamp s, none = {0};
	char *big = calloc(1, 300001), sheet[4200], fill[4200], name[4200];
	int fd;

	memset(big, 'x', 300000);
	if (unshare(CLONE_NEWNS) != 0 || mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) != 0 ||
		mount("tmpfs", folder, "tmpfs", 0, "size=256k") != 0) {
		printf("SKIPPED here: a full disk (no right to mount a small one)\n");
		free(big);
		return;
	}
	snprintf(sheet, sizeof sheet, "%s/kind.yaml", folder);
	snprintf(name, sizeof name, "%s/second", folder);
	snprintf(fill, sizeof fill, "%s/fill", folder);
	test_write(sheet, "old\n", 4);
	s = stamp_of(sheet);
	ck_assert_int_eq(put(sheet, big, &s), SAVE_FAILED);
	said(strerror(ENOSPC));
	holds(sheet, "old\n");
	ck_assert_int_eq(put(name, big, &none), SAVE_FAILED);
	ck_assert_int_eq(test_entries(folder), 1);
	/* In place. */
	ck_assert_int_eq(link(sheet, name), 0);
	ck_assert_int_eq(put(sheet, big, &s), SAVE_FAILED);
	holds(sheet, "old\n");
	ck_assert_int_eq(test_entries(folder), 2);
	/* To the last byte, both ways. */
	fd = open(fill, O_WRONLY | O_CREAT, 0600);
	while (write(fd, big, 4096) > 0)
		;
	close(fd);
	big[6000] = '\0';
	ck_assert_int_eq(put(sheet, big, &s), SAVE_FAILED);
	holds(sheet, "old\n");
	ck_assert_int_eq(unlink(name), 0);
	ck_assert_int_eq(put(sheet, big, &s), SAVE_FAILED);
	holds(sheet, "old\n");
	ck_assert_int_eq(test_entries(folder), 2);
	ck_assert_int_eq(unlink(fill), 0);
	ck_assert_int_eq(put(sheet, big, &s), SAVE_DONE);
	ck_assert_int_eq(umount(folder), 0);
	free(big);
}
END_TEST

/* --- two writers --- */

static pid_t start_writer(const char *how, int n, const char *tag)
{
	const char *tool = test_savetool();
	char count[16];
	pid_t pid;

	snprintf(count, sizeof count, "%d", n);
	fflush(stdout);
	pid = fork();
	if (pid == 0) {
		execl(tool, tool, how, path, count, tag, (char *)NULL);
		_exit(127);
	}
	return pid;
}

/* Marks the lines that a file holds; how many were not marked yet. */
static int mark_lines(const char *name, int n, bool *found)
{
	char *bytes, *rest, *line;
	int seen = 0;

	bytes = rest = test_slurp(name, NULL);
	while ((line = strsep(&rest, "\n"))) {
		int i;
		char tag;
		if (sscanf(line, "%c %d", &tag, &i) != 2 || i < 0 || i >= n)
			continue;
		bool *f = &found[tag == 'a' ? i : n + i];
		seen += !*f;
		*f = true;
	}
	free(bytes);
	return seen;
}

/* Two at once, n saves each; the lines that both believe to have saved must all be there. Those
 * that are not in the file, but in one that was set aside, are counted in *kept. */
static int lost_updates(const char *how, int n, int *kept)
{
	pid_t a = start_writer(how, n, "a"), b = start_writer(how, n, "b");
	int status, seen;
	bool *found = calloc(2 * (size_t)n, sizeof *found);
	char name[4200];

	ck_assert_int_eq(waitpid(a, &status, 0), a);
	ck_assert_int_eq(status, 0);
	ck_assert_int_eq(waitpid(b, &status, 0), b);
	ck_assert_int_eq(status, 0);
	seen = mark_lines(path, n, found);
	*kept = 0;
	for (int i = 1; i < 1000; i++) {
		snprintf(name, sizeof name, "%s.kept-%d", path, i);
		if (access(name, F_OK) == 0)
			*kept += mark_lines(name, n, found);
	}
	free(found);
	return 2 * n - seen - *kept;
}

START_TEST(two_writers_with_the_lock)
{
	int n = test_long() ? 1000 : 500, kept;

	ck_assert_int_eq(lost_updates("count", n, &kept), 0);
	ck_assert_int_eq(kept, 0);
	ck_assert_int_eq(test_entries(folder), 1);
	printf("two writers, locked: %d saves, 0 lost\n", 2 * n);
}
END_TEST

START_TEST(two_writers_without_it)
{
	int n = test_long() ? 1000 : 500, kept;

	if (!test_can(folder, CAN_EXCHANGE))
		return; /* then only the lock keeps updates, save.h */
	/* Who reads our text in the moment before it is swapped out again, and saves on it, has
	 * saved into a file that is set aside: that moment is what the lock is for. */
	ck_assert_int_eq(lost_updates("race", n, &kept), 0);
	printf("two writers, content check alone: %d saves, 0 lost, %d set aside\n", 2 * n, kept);
}
END_TEST

Suite *suite(void)
{
	Suite *s = suite_create("save");
	TCase *c = tcase_create("save");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_set_timeout(c, 180);
	tcase_add_test(c, replaces_what_was_read);
	tcase_add_test(c, a_bare_name_in_this_folder);
	tcase_add_test(c, a_change_by_others_is_a_conflict);
	tcase_add_test(c, a_new_file_never_overwrites);
	tcase_add_test(c, a_symbolic_link_stays);
	tcase_add_test(c, a_hard_link_keeps_both_names);
	tcase_add_test(c, a_read_only_file_is_refused);
	tcase_add_test(c, a_folder_that_cannot_be_written);
	tcase_add_test(c, owner_mode_list_and_attributes_are_kept);
	tcase_add_test(c, the_folders_own_rules_do_not_leak_in);
	tcase_add_test(c, a_group_member_does_not_become_the_owner);
	tcase_add_test(c, leftovers_go_but_never_the_only_copy);
	tcase_add_test(c, a_torn_rewrite_is_told);
	tcase_add_test(c, torn_files_are_told_with_what_to_do);
	tcase_add_test(c, a_file_that_another_machine_left_torn);
	tcase_add_test(c, names_up_to_the_longest);
	tcase_add_test(c, a_limit_on_the_size_of_files);
	tcase_add_test(c, a_full_disk);
	tcase_add_test(c, two_writers_with_the_lock);
	tcase_add_test(c, two_writers_without_it);
	suite_add_tcase(s, c);
	return s;
}
