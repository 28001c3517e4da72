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


sys.exit(run_tests(globals()))
