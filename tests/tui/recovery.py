"""What becomes of unsaved changes whose session ended, or lives beside another one.

None is ever lost but by an answer of the user: not by later edits, not by a save, not by another
session.
"""
import glob
import os
import re
import shutil
import signal
import sys

from terminal import PROGRAM, Book, Terminal, can_strace, check, run_tests, start

JOURNAL = "/sheets/.quick-base.yaml.journal"
LOCK = "/sheets/.#quick-base.yaml"
SHEET = "/sheets/quick-base.yaml"
CAR = "/profiles/cars/larkspur-20.yaml"


def text(path):
    with open(path) as f:
        return f.read()


def put(path, words):
    with open(path, "w") as f:
        f.write(words)


def journals(book):
    return sorted(glob.glob(book + "/sheets/.*.journal*"))


def die(t):
    t.settle()
    t.kill(signal.SIGKILL)
    t.wait()
    t.close()


def edit(t, *keys):
    for k in keys:
        t.key(k)
    t.settle()


def edited_and_killed(book, *keys):
    t = start(book)
    edit(t, *keys)
    die(t)
    check(journals(book) == [book + JOURNAL], "journals: %s" % journals(book))


def relabel_lock(book, change):
    """The lock that was left, as another owner's."""
    owner = os.readlink(book + LOCK)
    os.unlink(book + LOCK)
    os.symlink(change(owner), book + LOCK)


def save(t):
    t.send("s")
    t.expect(" saved quick-base.yaml")


def test_refused_is_kept():
    """Changes that cannot come back stay in their journal through later edits and a save."""
    with Book() as book:
        edited_and_killed(book, "+", "+", *(["down"] * 8 + [">", "+", "+", "+"]))
        was = text(book + JOURNAL)
        at = text(book + CAR).index("id: preload")
        check("values.preload=" in was, "not on the preload:\n" + was)
        value = re.findall(r"values.preload=([\d.]+)", was)[-1]
        car = text(book + CAR)
        most = re.compile(r"max: [\d.]+").search(car, at)
        put(book + CAR, car[:most.start()] + "max: %g" % (float(value) - 5) + car[most.end():])
        t = start(book)
        t.expect("Recover")
        t.send("y")
        t.expect("not recovered")
        t.absent("unsaved)")
        edit(t, "down", "+")  # asks again
        t.expect("Recover")
        t.absent("unsaved)")
        t.send("k")
        t.expect("kept in sheets/.quick-base.yaml.journal")
        edit(t, "+")
        t.expect("unsaved)")
        check(len(journals(book)) == 2, "journals: %s" % journals(book))
        save(t)
        check(journals(book) == [book + JOURNAL], "journals: %s" % journals(book))
        check(text(book + JOURNAL) == was, "the journal was changed")
        die(t)
        t = start(book)
        t.expect("Recover")
        t.expect("11.0")
        t.close()


def test_unknown_is_kept():
    """Changes of what the car has no more are told, and stay until they are dropped."""
    with Book() as book:
        edited_and_killed(book, *(["down"] * 8 + ["+"]))
        words = text(book + JOURNAL)
        check("values.preload=" in words, "not on the preload:\n" + words)
        for path in glob.glob(book + "/sheets/*.yaml") + glob.glob(book + "/runs/*.yaml"):
            put(path, re.sub(r"(?m)( preload: [\d.]+,$|^ *preload: .*\n)", "", text(path)))
        car = text(book + CAR)
        put(book + CAR, re.sub(r"(?ms)^  - id: preload\n.*?(?=^  - id: |^\S)", "", car))
        t = start(book)
        t.expect("Recover")
        t.expect("values.preload: ")
        t.absent("bring these")
        t.send("k")
        edit(t, "+")
        save(t)
        check(text(book + JOURNAL) == words, "the journal was changed")
        die(t)
        t = start(book)
        t.expect("Recover")
        t.send("d")
        t.expect("dropped")
        check(not journals(book), "journals: %s" % journals(book))
        t.close()


def seemingly_locked(change):
    with Book() as book:
        edited_and_killed(book, "+", "+")
        relabel_lock(book, change)
        t = start(book)
        t.expect("Recover")
        t.expect("The sheet is locked by ")
        t.send("k")
        t.settle()
        edit(t, "down", "-")
        t.expect("is being edited by")
        t.send("y")
        t.expect("unsaved)")
        save(t)
        check(journals(book) == [book + JOURNAL], "journals: %s" % journals(book))
        die(t)
        os.path.lexists(book + LOCK) and os.unlink(book + LOCK)
        t = start(book)
        t.expect("Recover")
        t.expect("The file has been changed")
        t.send("y")
        t.expect("11.0 <")
        save(t)
        check(not journals(book), "journals: %s" % journals(book))
        t.close()
    with Book() as book:
        edited_and_killed(book, "+", "+")
        relabel_lock(book, change)
        t = start(book)
        t.expect("The sheet is locked by ")
        t.send("y")
        t.expect("11.0 <")
        t.expect("recovered, not saved yet")
        save(t)
        check(not journals(book) and not os.path.lexists(book + LOCK), "left: %s" % os.listdir(book + "/sheets"))
        t.close()


def test_lock_of_another_host():
    """A lock under a host's old name hides no changes: they may be taken, dropped or left."""
    seemingly_locked(lambda owner: re.sub(r"@.*\.(\d+)", r"@old-name.\1", owner))


def test_lock_of_another_process():
    """Nor does one whose process number another program has by now."""
    seemingly_locked(lambda owner: re.sub(r"\.\d+(:|$)", r".%d\1" % os.getpid(), owner))


def two_sessions(book):
    one = start(book)
    edit(one, "+")
    two = start(book)
    two.expect("is being edited by")
    two.absent("Recover")
    edit(two, "down", "-")
    two.send("y")
    two.expect("unsaved)")
    edit(two, "-")
    check(len(journals(book)) == 2, "journals: %s" % journals(book))
    return one, two


def test_sessions_apart():
    """Of two sessions on one sheet, a save of one takes nothing from the other."""
    with Book() as book:
        one, two = two_sessions(book)
        save(one)
        check(len(journals(book)) == 1, "journals: %s" % journals(book))
        die(two)
        one.close()
        t = start(book)
        t.expect("Recover")
        t.expect("Camber front")
        t.absent("Wing angle front ")
        t.send("y")
        t.expect("recovered")
        save(t)
        check(not journals(book), "journals: %s" % journals(book))
        t.close()
        words = text(book + SHEET)
        check("front-wing: 10.5" in words and "front-camber: -3.4" in words, words)


def test_sessions_dropped_apart():
    """Nor does it when one gives its changes up."""
    with Book() as book:
        one, two = two_sessions(book)
        edit(one, "u")
        one.absent("unsaved)")
        one.close()
        die(two)
        t = start(book)
        t.expect("Camber front")
        t.close()


def test_sets_by_themselves():
    """After both have died, each one's changes are offered by themselves."""
    with Book() as book:
        one, two = two_sessions(book)
        die(one)
        die(two)
        t = start(book)
        t.expect("Wing angle front ")
        t.absent("Camber front")
        t.send("k")
        t.expect("Camber front")
        t.absent("Wing angle front ")
        t.send("y")
        t.expect("recovered, not saved yet: s saves, u goes back; other changes are kept")
        save(t)
        check(journals(book) == [book + JOURNAL], "journals: %s" % journals(book))
        die(t)
        t = start(book)
        t.expect("Wing angle front ")
        t.absent("Camber front")
        t.send("d")
        t.expect("dropped")
        t.close()
        check(not journals(book), "journals: %s" % journals(book))


def test_unreadable():
    """A journal that cannot be read is told, and edits beside it are journalled all the same."""
    with Book() as book:
        os.mkdir(book + JOURNAL)
        t = start(book)
        t.expect("cannot be read: sheets/.quick-base.yaml.journal")
        edit(t, "down", "+")
        t.absent("could be lost")
        die(t)
        check(os.path.isfile(book + JOURNAL + "-2"), "journals: %s" % journals(book))
        relabel_lock(book, lambda owner: re.sub(r"@.*\.(\d+)", r"@old-name.\1", owner))
        t = start(book)
        t.expect("Camber front")
        t.send("d")
        t.expect("is being edited by")
        t.close()
        check(journals(book) == [book + JOURNAL], "journals: %s" % journals(book))


NO_STRACE = "skipped: strace is not here, or cannot be used"
# What lock, journal and save are made of, and which of these calls is not to come back.
CALLS = [("symlink", 1), ("symlink", 2), ("rename", 1), ("renameat2", 1), ("unlink", 1), ("unlink", 2),
         ("unlink", 3)]


def killed_at(call, when, book):
    calls = "?%s,?%s" % (call, call.replace("2", "") + "at")  # whichever this machine has
    return Terminal(["-D", "-f", "-qq", "-o", "/dev/null", "-e", "trace=" + calls, "-e",
                     "inject=%s:signal=KILL:when=%d" % (calls, when), PROGRAM, book],
                    program=shutil.which("strace"))


def change_file(book):
    put(book + SHEET, text(book + SHEET).replace("brake-bias: 54", "brake-bias: 55"))


def send_until(t, keys, words):
    """Press keys, each once its words stand there; False if the program was killed meanwhile."""
    for key, said in zip(keys, words):
        if not t.poll():
            t.key(key)
        try:
            t.expect(said)
        except AssertionError:
            if not t.poll():
                raise
            return False
    return True


def offered_or_saved(book, what):
    t = start(book)
    check("Camber front" in t.text() or "front-camber: -3.1" in text(book + SHEET),
          "%s: the changes are gone:\n%s" % (what, t.text()))
    t.close()


def test_kill_while_recovered():
    """A kill while changes are brought back to a file that was changed since loses none of them."""
    if not can_strace():
        return NO_STRACE
    killed = 0
    for call, when in CALLS:
        with Book() as book:
            edited_and_killed(book, "down", "+")
            change_file(book)
            t = killed_at(call, when, book)
            t.settle()
            if not t.poll():
                killed += not send_until(t, ["y"], ["recovered, not saved"])
            t.close()
            offered_or_saved(book, "%s %d" % (call, when))
    check(killed > 0, "no kill met it")
    return None


def test_kill_while_replacing():
    """Nor does one while they replace the version that someone else wrote, which is kept."""
    if not can_strace():
        return NO_STRACE
    killed = 0
    for call, when in CALLS:
        with Book() as book:
            t = killed_at(call, when, book)
            t.settle()
            if send_until(t, ["down", "+"], ["Camber", "unsaved)"]):
                change_file(book)
                if send_until(t, ["s"], ["changed by someone else"]):
                    killed += not send_until(t, ["m"], [" saved "])
                    check(t.status is None or "brake-bias: 55" in text(book + SHEET) +
                          "".join(text(p) for p in glob.glob(book + SHEET + ".kept-1")), "theirs is gone")
                t.close()
                offered_or_saved(book, "%s %d" % (call, when))
            else:
                t.close()
    check(killed > 0, "no kill met it")
    return None


sys.exit(run_tests(globals()))
