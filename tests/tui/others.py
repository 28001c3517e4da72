"""What other programs, and programs that were cut short, leave in a book, and what the
workbench makes of it."""
import glob
import os
import re
import shutil
import subprocess
import sys

from terminal import PROGRAM, Book, Terminal, can_strace, check, run_tests, start

NO_STRACE = "skipped: strace is not here, or cannot be used"


def traced(inject, args):
    """The program, with what happens to some of its system calls."""
    return Terminal(["-D", "-f", "-qq", "-o", "/dev/null"] + [w for i in inject for w in ("-e", "inject=" + i)] +
                    [PROGRAM] + args, program=shutil.which("strace"))


def run(*args):
    """A subcommand: exit status, stdout, stderr."""
    r = subprocess.run([PROGRAM] + list(args), capture_output=True, text=True)
    return r.returncode, r.stdout, r.stderr


def torn(book, notes):
    """A sheet of two names that ends so, half rewritten; its old text, and the copy of that."""
    sheet = book + "/sheets/quick-base.yaml"
    text = re.sub(r"notes:.*\n", "", open(sheet).read()) + notes
    with open(sheet, "w") as f:
        f.write(text)
    os.link(sheet, book + "/second-name")
    t = traced(["ftruncate:signal=KILL:when=1"], [book])
    t.expect("[Sheet 1]")
    t.settle()
    t.send("<")
    t.settle()
    t.send("s")
    check(t.wait() == 128 + 9, "was not killed")
    t.close()
    check(open(sheet).read() != text, "nothing is torn")
    copies = glob.glob(book + "/sheets/.quick-base.yaml.tl-copy-*")
    check(len(copies) == 1, "copies: %r" % copies)
    return sheet, text, copies[0]


def test_torn_save():
    """A file that a kill left half rewritten is told by all that read it, and how to get it back."""
    if not can_strace():
        return NO_STRACE
    for notes in ("notes: stint 12", 'notes: "a"'):  # the one parses still, the other does not
        with Book() as book:
            sheet, text, copy = torn(book, notes)
            said = "quick-base.yaml: was being written when the program or its machine stopped"
            for args in (["check", book], ["fit", book], [book]):
                if args == [book]:
                    t = Terminal(args)
                    status = t.wait()
                    told = t.text().replace("\n", "")
                    t.close()
                else:
                    status, _, told = run(*args)
                check(status == 2 and said in told and os.path.basename(copy) in told and
                      "copy that over this file" in told, "%r, %d: %s" % (args, status, told))
            shutil.copyfile(copy, sheet)
            check(run("check", book)[0] == 0, "not as it was")
            t = start(book)  # and the edits of then are offered, on the text they were made on
            t.expect("Recover unsaved changes")
            t.absent("has been changed since")
            t.send("y")
            t.expect("recovered")
            t.send("s")
            t.expect(" saved quick-base.yaml")
            t.close()
            check(not os.path.exists(copy) and not glob.glob(book + "/sheets/*.kept-*"), "left over")


def lock(path, owner):
    folder, name = os.path.split(path)
    at = "%s/.#%s" % (folder, name)
    os.symlink(owner, at)
    return at


def laps_of(book, *args):
    """The laps of its last run."""
    t = start(book, *args, cols=100)
    t.send("4")
    t.key("enter")
    t.settle()
    return t


def test_dead_locks():
    """What a process of this machine left that is no more, before a reboot too, stops nothing."""
    with Book() as book:
        owner = "root@%s.%d:1000" % (os.uname().nodename, 2 ** 22 + 1)  # above any pid
        left = [lock(book + "/" + f, owner) for f in ("sheets/fast.yaml", "runs/r47.yaml", "book.yaml")]
        t = laps_of(book, "--sheet", "fast")
        t.send("xtraffic")
        t.key("enter")
        t.expect("lap 1 is kept and does not count")
        t.send("1+")
        t.settle()
        t.send("s")
        t.expect("saved fast.yaml")
        t.send("R")
        t.expect("fast is the reference now")
        t.close()
        check(not any(os.path.lexists(at) for at in left), "a lock is left")


def test_locked_run():
    """A run that somebody has is changed after the question only, and nothing typed is lost."""
    with Book() as book:
        run47 = book + "/runs/r47.yaml"
        before = open(run47).read()
        lock(run47, "zoe@elsewhere.5:1")
        t = laps_of(book)
        t.send("xtraffic")
        t.key("enter")
        t.expect("r47 is being edited by zoe on elsewhere")
        t.key("esc")
        t.expect("does not count (empty: it counts): traffic")
        check(open(run47).read() == before and os.path.lexists(book + "/runs/.#r47.yaml"), "was changed")
        t.key("enter")
        t.expect("r47 is being edited by zoe")
        t.send("y")
        t.expect("lap 1 is kept and does not count")
        check("traffic" in open(run47).read(), "not in the file")
        # Undone, a lap logged, dropped: each with the question, and the lock is given back.
        for keys, named in ((["u"], "undone"), (["a", "131243 241 266 97", "enter"], "saved: lap"),
                            (["esc", "D", "d"], "is gone from r47.yaml"), (["h", "D", "d"], "is dropped")):
            at = lock(run47, "zoe@elsewhere.5:1")
            for key in keys:
                t.key(key)
                t.settle()
            t.expect("r47 is being edited by zoe")
            t.absent(named)
            t.send("y")
            t.expect(named)
            check(not os.path.lexists(at), "the lock is left")
        t.close()
        check(not os.path.exists(run47), "not dropped")


def test_locked_book():
    """The reference too; where the lock changed hands meanwhile that is said."""
    with Book() as book:
        at = lock(book + "/book.yaml", "zoe@elsewhere.5:1")
        t = start(book, "--sheet", "fast")
        t.send("R")
        t.expect("book is being edited by zoe on elsewhere")
        os.unlink(at)
        lock(book + "/book.yaml", "max@elsewhere.6:1")
        t.send("y")
        t.expect("by now max on elsewhere")
        t.send("R")
        t.expect("book is being edited by max")
        t.send("y")
        t.expect("fast is the reference now")
        t.close()
        check("reference: fast" in open(book + "/book.yaml").read(), "not in the file")


def test_locked_plan():
    """What is done on the Plan page: a tick, a run struck out, another plan."""
    with Book() as book:
        plan = book + "/plan.yaml"
        check(run("plan", book, "--kind", "screening", "--store")[0] == 0, "no plan")
        lock(plan, "zoe@elsewhere.5:1")
        t = start(book)
        t.send("5")
        t.settle()
        t.send("x")
        t.key("enter")
        t.expect("plan is being edited by zoe on elsewhere")
        check("done:" not in open(plan).read(), "ticked off already")
        t.key("esc")
        t.expect("was driven as: r47")
        t.key("enter")
        t.expect("plan is being edited by zoe")
        t.send("y")
        t.expect("run 1 of the plan was driven as r47")
        check("done: r47" in open(plan).read(), "not in the file")
        lock(plan, "zoe@elsewhere.5:1")
        t.key("down")
        t.send("Dd")
        t.expect("plan is being edited by zoe")
        t.send("y")
        t.expect("run 3 is struck out")
        t.send("m")
        t.key("enter")
        t.key("enter")
        t.settle()
        t.send("K")
        t.expect("Replace plan.yaml?")
        lock(plan, "zoe@elsewhere.5:1")
        t.send("r")
        t.expect("plan is being edited by zoe")
        t.send("y")
        t.expect("kept as plan.yaml")
        t.close()
        check("done:" not in open(plan).read(), "the old one is there")


def test_one_id_two_runs():
    """Two workbenches that log at once: the second takes the next id, and says so."""
    with Book() as book:
        two = [start(book, cols=120), start(book, cols=120)]
        for t in two:
            t.send("4n")
            for _ in range(2):
                t.key("enter")
                t.settle()
            t.expect("r48 lap 1")
        for t in two:
            t.send("131243 241 266 97")
            t.key("enter")
            t.settle()
        two[0].expect(" saved: lap 1")
        two[0].expect("r48 lap 2")
        two[1].expect("r48 was logged meanwhile; saved as r49: lap 1")
        two[1].expect("r49 lap 2")
        for t in two:
            t.key("esc")
            t.settle()
        two[0].send("n")  # knows of no r49
        for _ in range(2):
            two[0].key("enter")
            two[0].settle()
        two[0].expect("r50 lap 1")
        for t in two:
            t.close()
        check(run("check", book)[0] == 0 and len(glob.glob(book + "/runs/r4[89].yaml")) == 2, "not both")


def test_not_confirmed():
    """Written, and the folder's entry not confirmed by the disk: no "saved" without a but."""
    if not can_strace():
        return NO_STRACE
    but = "saved, but not confirmed on disk: Input/output error"
    with Book() as book:
        def begin(*args):
            t = traced(["fsync:error=EIO:when=2+2"], [book] + list(args))
            t.expect("[Sheet 1]")
            t.settle()
            return t

        t = begin("--sheet", "fast")
        t.send("R")
        t.expect(but)
        t.close()
        t = begin()
        t.send("4n")
        for key in ("enter", "enter", "131243 241 266 97", "enter"):
            t.key(key)
            t.settle()
        t.expect(but)
        t.expect("r48 lap 2")
        t.close()
        # A sheet, then one under a new name: the journal stays, and nothing else is begun. Of the
        # first its file has what the journal says: nothing is offered.
        for save, keys in (("s", []), ("a", ["newone", "enter"])):
            t = begin("--sheet", "fast")
            t.absent("Recover")
            t.send("+")
            t.settle()
            check(glob.glob(book + "/sheets/.fast.yaml.journal"), "no journal")
            t.send("q")
            t.expect("has unsaved changes")
            for key in [save] + keys:
                t.key(key)
                t.settle()
            t.expect(but)
            check(not t.poll() and glob.glob(book + "/sheets/.fast.yaml.journal"), "journal gone")
            check(not glob.glob(book + "/sheets/.#*"), "a lock is left")
            t.send("q")
            check(t.wait() == 0, "does not leave")
            t.close()


sys.exit(run_tests(globals()))
