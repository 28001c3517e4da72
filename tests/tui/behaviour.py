"""How the workbench treats its terminal.

Each test is a function; its first line says what must hold. The points are those of the
project's terminal requirements: nothing raw, nothing lost, the terminal given back.
"""
import csv
import glob
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

import terminal
from terminal import PROGRAM, SLOW, Book, Terminal, can_strace, check, copy_demo, run_tests, start

ESC = b"\033"
NAME = 'name: "Größe \u00fc \U0001f600 \\e[31m"'
QUICK = bool(os.environ.get("TREADLIGHT_QUICK"))  # a subset of the repetitions
FEW = QUICK or SLOW


def snapshot(book):
    """Every file of the book with its bytes."""
    return {p: open(p, "rb").read() for p in glob.glob(book + "/**/*", recursive=True) +
            glob.glob(book + "/sheets/.*") if os.path.isfile(p)}


def refused(env, **kw):
    with Book() as book:
        before = snapshot(book)
        e = dict(os.environ, **env)
        for name, value in env.items():
            if value is None:
                e.pop(name, None)
        r = subprocess.run([PROGRAM, book], env=e, capture_output=True, **kw)
        check(r.returncode == 2, "exit status %d" % r.returncode)
        check(r.stderr.count(b"\n") == 1 and r.stderr.startswith(b"treadlight: "), "says %r" % r.stderr)
        check(r.stdout == b"", "writes to stdout")
        check(snapshot(book) == before, "touched the book")


def test_no_terminal():
    """Without a terminal: one sentence, exit status 2, nothing touched."""
    refused({"TERM": "xterm"}, stdin=subprocess.DEVNULL)


def bad_term(term):
    with Book() as book:
        before = snapshot(book)
        t = Terminal([book], env={"TERM": term})
        check(t.wait() == 2, "exit status")
        check(ESC not in t.raw, "escape sequences on a terminal that knows none: %r" % t.raw)
        check(t.raw.count(b"\n") == 1, "says %r" % t.raw)
        check(snapshot(book) == before, "touched the book")
        t.close()


def test_unknown_term():
    """An unknown TERM: one sentence, exit status 2."""
    bad_term("no-such-terminal")


def test_dumb_term():
    """A terminal that cannot place its cursor: one sentence, exit status 2."""
    bad_term("dumb")


def test_unset_term():
    """TERM not set: one sentence, exit status 2."""
    bad_term(None)


def colours(raw):
    return [m for m in re.findall(rb"\033\[([0-9;]*)m", raw)
            if any(30 <= int(v or 0) <= 49 or 90 <= int(v or 0) <= 107 for v in m.split(b";"))]


def test_no_colour():
    """NO_COLOR: no colour is sent; without it some is."""
    with Book() as book:
        for env, wanted in (({"NO_COLOR": "1"}, False), ({}, True), ({"NO_COLOR": ""}, True)):
            t = start(book, term="xterm-256color", env=env)
            t.key("+")
            t.settle()
            check(bool(colours(t.raw)) == wanted, "%r: %r" % (env, colours(t.raw)))
            t.close()


def test_monochrome():
    """A terminal without colours works and gets none."""
    with Book() as book:
        t = start(book, term="vt220")
        t.key("+")
        t.settle()
        check(not colours(t.raw), "colours on a vt220")
        t.close()


def test_hang_up():
    """A dead line ends the program within a second, SIGHUP ignored or not; edits are journalled."""
    for ignore in (False, True):
        with Book() as book:
            if ignore:
                signal.signal(signal.SIGHUP, signal.SIG_IGN)
            t = start(book)
            signal.signal(signal.SIGHUP, signal.SIG_DFL)
            t.send("+")
            t.settle()
            os.close(t.slave)
            began = time.monotonic()
            os.close(t.master)
            while not t.poll():
                check(time.monotonic() - began < (10 if SLOW else 1), "still there after a second")
                time.sleep(0.005)
            check(glob.glob(book + "/sheets/.*journal*"), "no journal")


def journal_after(sig, within):
    with Book() as book:
        t = start(book)
        before = t.before
        t.send("+")
        t.settle()
        began = time.monotonic()
        t.kill(sig)
        t.wait(within * (10 if SLOW else 1))
        check(t.modes() == before, "signal %d leaves the terminal's modes changed" % sig)
        check(b"\033[?25h" in t.raw[-400:] or b"\033[?25h" in t.raw, "the cursor stays hidden")
        if sig not in (signal.SIGKILL,):
            check(glob.glob(book + "/sheets/.*journal*"), "signal %d: no journal" % sig)
        with open(book + "/sheets/quick-base.yaml") as f:
            check("front-wing: 10" in f.read(), "the user's file was written")
        t.close()
        return time.monotonic() - began


def test_end_signals():
    """HUP, INT and TERM: journal, give the terminal back, end within a second, save nothing."""
    for sig in (signal.SIGHUP, signal.SIGINT, signal.SIGTERM):
        journal_after(sig, 1)


def test_crash_signals():
    """A crash, or what else ends programs, gives the terminal back: modes equal, alternate screen left,
    signal passed on."""
    for sig in (signal.SIGSEGV, signal.SIGABRT, signal.SIGBUS, signal.SIGFPE, signal.SIGILL,
                signal.SIGQUIT, signal.SIGSYS, signal.SIGTRAP, signal.SIGALRM, signal.SIGIO,
                signal.SIGPROF, signal.SIGVTALRM, signal.SIGPWR, 16, signal.SIGUSR1, signal.SIGUSR2,
                signal.SIGXCPU, signal.SIGRTMIN, signal.SIGRTMAX):
        with Book() as book:
            t = start(book, term="xterm-256color")
            t.kill(sig)
            status = t.wait()
            check(t.modes() == t.before, "signal %d leaves the modes changed" % sig)
            check(b"\033[?1049l" in t.raw, "signal %d leaves the alternate screen" % sig)
            check(b"\033[?2004l" in t.raw, "signal %d leaves pastes bracketed" % sig)
            if not SLOW:
                check(status == 128 + sig, "signal %d told as %d" % (sig, status))
            t.close()


def stalls(t):
    """Have it paint, and read nothing, until it waits for the terminal and takes no more keys."""
    for _ in range(400):
        before = t.bytes_read()
        os.write(t.master, b"\014")
        until = time.monotonic() + (20 if SLOW else 1)
        while t.bytes_read() == before:
            if time.monotonic() > until:
                return True
            time.sleep(0.002)
    return False


def test_stalled_line():
    """A terminal that takes no bytes cannot hold up the end: a signal ends it within a second."""
    for sig in (signal.SIGTERM, signal.SIGHUP):
        with Book() as book:
            t = start(book, "--sheet", "kind", cols=200, rows=60)
            t.send("+")
            t.settle()
            check(stalls(t), "the pty takes everything")
            began = time.monotonic()
            t.kill(sig)
            while not t.poll():
                check(time.monotonic() - began < (20 if SLOW else 1), "still there after a second")
                time.sleep(0.01)
            check(os.WIFSIGNALED(t.status) and os.WTERMSIG(t.status) == sig, "told as %d" % t.status)
            check(t.modes() == t.before, "signal %d leaves the modes changed" % sig)
            check(glob.glob(book + "/sheets/.*journal*"), "no journal")
            t.close()


def test_stop_and_continue():
    """Stop and continue 20 times: the terminal is the shell's while stopped, the screen whole after."""
    with Book() as book:
        t = start(book, job=True)
        whole = t.text()
        for i in range(20):
            if i % 2:
                t.key("ctrl-z")
            else:
                t.kill(signal.SIGTSTP)
            t.wait_for(lambda t: open("/proc/%d/stat" % t.pid).read().rsplit(")", 1)[1].split()[0] == "T",
                       "not stopped")
            while t.pending():
                t.read()
            check(t.modes() == t.before, "the modes are not the shell's while stopped")
            t.kill(signal.SIGCONT)
            t.wait_for(lambda t: t.modes() != t.before, "does not take the terminal again")
            t.settle()
        check(t.text() == whole, "the screen after:\n" + t.text())
        t.close()


def test_stop_with_something_open():
    """Ctrl-Z pauses while a field, a list, the help or a question is open, and comes back to it."""
    for keys in (["enter", "1"], ["o"], ["?"], ["+", "q"], ["4", "enter", "x"]):
        with Book() as book:
            t = start(book, job=True)
            for key in keys:
                t.key(key)
                t.settle()
            whole = t.text()
            for _ in range(3):
                t.key("ctrl-z")
                t.wait_for(lambda t: open("/proc/%d/stat" % t.pid).read().rsplit(")", 1)[1].split()[0] == "T",
                           "not stopped after %s" % keys)
                while t.pending():
                    t.read()
                check(t.modes() == t.before, "the modes are not the shell's while stopped")
                t.kill(signal.SIGCONT)
                t.wait_for(lambda t: t.modes() != t.before, "does not take the terminal again")
                t.settle()
                check(t.text() == whole, "after %s:\n%s" % (keys, t.text()))
            t.close()


def test_no_shell_to_stop_for():
    """Where no shell could continue it, Ctrl-Z stops nothing and says so; a line that goes then ends it."""
    with Book() as book:
        t = start(book)
        t.key("ctrl-z")
        t.expect("no shell to go back to")
        t.kill(signal.SIGTSTP)
        t.settle()
        t.key("+")
        t.settle()
        check("no shell" not in t.text(), "does not go on:\n" + t.text())
        t.send("\x1a")
        os.close(t.slave)
        os.close(t.master)
        began = time.monotonic()
        while not t.poll():
            check(time.monotonic() - began < (20 if SLOW else 3), "still there 3 s after the line went")
            time.sleep(0.01)


def test_resize_storm():
    """A storm of resizes: alive, and the screen equals a fresh one of that size."""
    with Book() as book:
        t = start(book)
        began = time.monotonic()
        n = 200 if FEW else 1000
        for i in range(n):
            t.resize(1 + (i * 37) % 170, 1 + (i * 13) % 60)
            while t.pending():
                t.read()
        t.resize(100, 30)
        t.settle()
        check(time.monotonic() - began < 60, "too slow")
        last = t.text()
        t.close()
        fresh = start(book, cols=100, rows=30)
        check(fresh.text() == last, "fresh:\n%s\nafter the storm:\n%s" % (fresh.text(), last))
        fresh.close()


def test_tiny():
    """From 1x1 up every size is survived, on every page, and 39x10 asks for room."""
    with Book() as book:
        t = start(book)
        for page in "123456":
            t.resize(80, 24)
            t.send(page)
            for cols, rows in ((1, 1), (2, 1), (1, 5), (39, 10), (40, 10), (41, 11), (60, 12), (79, 23), (20, 50)):
                t.resize(cols, rows)
                t.settle()
                check(not t.poll(), "ended at %dx%d on page %s" % (cols, rows, page))
                if (cols, rows) == (39, 10):
                    t.expect("needs")
        t.resize(80, 24)
        t.send("?")
        t.resize(1, 1)
        t.resize(41, 11)
        t.settle()
        check(not t.poll(), "ended with the help open")
        t.close()


def test_split_escapes():
    """An arrow key whose bytes come 50, 150 or 500 ms apart loses no edit and is still the arrow."""
    for gap in (0.15,) if QUICK else (0.05, 0.15, 0.5):
        with Book() as book:
            t = start(book, term="xterm-256color")
            t.send("+")
            t.settle()
            for byte in "\033OB":
                t.send(byte)
                time.sleep(gap)  # the test is about this time
            t.settle()
            t.expect("10.5 <")
            t.expect(">-3.2")
            t.send("\r-2.9")
            t.settle()
            for byte in "\033OD":  # left, inside a field
                t.send(byte)
                time.sleep(gap)
            t.settle()
            t.expect("-2.9")
            t.key("enter")
            t.expect(">-2.9 <")
            t.close()


def test_quick_escape():
    """Esc alone acts within half a second."""
    with Book() as book:
        t = start(book)
        t.key("enter")
        t.expect("Esc leaves")
        began = time.monotonic()
        t.key("esc")
        t.wait_for(lambda t: "Esc leaves" not in t.text(), "the field stays")
        check(time.monotonic() - began < (5 if SLOW else 0.5), "slow")
        t.close()


def test_paste():
    """64 KiB with line ends and an end mark inside fill one field and run no command."""
    with Book() as book:
        t = start(book)
        before = snapshot(book)
        t.key("enter")
        t.expect("Esc leaves")
        junk = ("q\rd\rs+++" * 9000)[:32000]
        t.send("\033[200~" + junk + "\033[201~" + junk + "\033[201~")
        t.settle()
        check(not t.poll(), "a pasted q was taken as a key")
        t.expect("Esc leaves")
        t.key("esc")
        t.expect("(0 changes)")
        t.send("\033[200~q\rd\033[201~")
        t.expect("pasted")
        check(not t.poll(), "a pasted q was taken as a key")
        check(snapshot(book) == before, "the book was touched")
        t.close()


def test_c_locale():
    """The C locale: ASCII only on the screen, the files' bytes untouched."""
    with Book() as book:
        path = book + "/sheets/kind.yaml"
        with open(path) as f:
            text = f.read()
        text = re.sub(r"(?m)^name:.*$", lambda _: NAME, text)
        with open(path, "w") as f:
            f.write(text)
        t = start(book, "--sheet", "kind", env={"LANG": "C"})
        t.send("o")
        t.settle()
        check(all(b < 0x80 for b in t.raw), "bytes beyond ASCII")
        t.key("esc")
        t.settle()
        t.send("+s")
        t.expect(" saved ")
        with open(path) as f:
            now = f.read()
        check(NAME in now, "the name was changed")
        t.close()


def comma_locale(folder):
    """The environment of a locale with a decimal comma; made in the folder where none is installed."""
    have = subprocess.run(["locale", "-a"], capture_output=True, text=True).stdout.split()
    for name in have:
        if re.match(r"(de|fr|it|es|nl)_", name) and "utf8" in name.lower():
            return {"LC_ALL": name}
    try:
        subprocess.run(["localedef", "-i", "de_DE", "-f", "UTF-8", folder + "/de_DE.UTF-8"],
                       capture_output=True)
    except OSError:
        return None
    # localedef ends with 1 on mere warnings: what it made is what counts
    made = os.path.exists(folder + "/de_DE.UTF-8/LC_NUMERIC")
    return {"LC_ALL": "de_DE.UTF-8", "LOCPATH": folder} if made else None


def saved_under(env):
    """All sheets' bytes after values were typed and saved under this locale."""
    with Book() as book:
        t = start(book, env=env)
        t.send("\r11.5\r")
        t.expect("11.5 <")
        t.key("down")
        t.send("+s")
        t.expect(" saved ")
        text = t.text()
        t.close()
        return {os.path.relpath(p, book): b for p, b in snapshot(book).items() if p.endswith(".yaml")}, text


def test_decimal_comma():
    """C, C.UTF-8 and a locale with a decimal comma: figures and typed values keep the point, files are identical."""
    with tempfile.TemporaryDirectory() as folder:
        comma = comma_locale(folder)
        wanted, _ = saved_under({"LC_ALL": "C.UTF-8"})
        check(b"front-wing: 11.5" in wanted["sheets/quick-base.yaml"], "not written")
        for env in [{"LC_ALL": "C"}, {"LC_ALL": "POSIX"}] + ([comma] if comma else []):
            files, text = saved_under(env)
            check(files == wanted, "%r writes other bytes" % env)
            check(not re.search(r"\d,\d\d", text), "%r shows a decimal comma:\n%s" % (env, text))
    if not comma:
        return "ok, but skipped: no locale with a decimal comma here, nor can one be made"


def test_terminals():
    """The Linux console, screen, tmux, xterm, rxvt and a vt100 show the same page."""
    shown = {}
    names = ("linux", "screen", "screen-256color", "tmux-256color", "xterm", "rxvt", "vt100")
    known = [n for n in names if subprocess.run(["infocmp", n], capture_output=True).returncode == 0]
    for name in known:
        with Book() as book:
            t = start(book, cols=100, rows=30, term=name)
            t.send("+")
            t.settle()
            t.key("down")
            t.settle()
            shown[name] = t.text()
            check("10.5 <" in shown[name], "%s:\n%s" % (name, shown[name]))
            t.send("q")
            t.settle()
            t.close()
    for name in known:
        check(shown[name] == shown[known[0]], "%s:\n%s\n%s:\n%s" %
              (known[0], shown[known[0]], name, shown[name]))


def many_runs(book, n):
    """The demo's runs again and again under other names."""
    runs = sorted(glob.glob(book + "/runs/*.yaml"))
    for i in range(n):
        shutil.copy(runs[i % len(runs)], "%s/runs/again-%04d.yaml" % (book, i))


def test_long_work():
    """While hundreds of runs are verified keys act at once, and q ends the program."""
    within = 20 if SLOW else 2
    with Book() as book:
        many_runs(book, 400)
        t = start(book)
        t.send("4")
        t.expect("again-0")
        for page, word in (("1", "Wing angle"), ("4", "again-0")):
            began = time.monotonic()
            t.send(page)
            t.expect(word)
            check(time.monotonic() - began < within, "a key waits for the verification")
        began = time.monotonic()
        t.send("q")
        t.wait(within)
        t.close()


def test_long_subcommand():
    """verify of hundreds of runs tells a terminal how far it is, and Ctrl-C stops it."""
    with Book() as book:
        many_runs(book, 400)
        t = Terminal(["verify", book])
        t.expect("Ctrl-C stops")
        began = time.monotonic()
        t.send("\003")
        check(t.wait() == 128 + signal.SIGINT, "not ended by the interrupt")
        check(time.monotonic() - began < (10 if SLOW else 1), "the interrupt took long")
        t.close()


def test_inside_tmux():
    """Inside tmux: the page as on a bare terminal, keys, a resize, and the end."""
    if not shutil.which("tmux"):
        return "skipped: no tmux here"
    with Book() as book, tempfile.TemporaryDirectory() as folder:
        env = dict(os.environ, LC_ALL="C.UTF-8", TERM="xterm-256color")
        env.pop("TMUX", None)
        base = ["tmux", "-S", folder + "/socket", "-f", "/dev/null"]

        def tmux(*words):
            return subprocess.run(base + list(words), env=env, capture_output=True, text=True)

        def shows(test, what):
            until = time.monotonic() + terminal.LIMIT
            while True:
                text = "\n".join(l.rstrip() for l in tmux("capture-pane", "-p").stdout.splitlines())
                if test(text):
                    return
                check(time.monotonic() < until, "%s:\n%s" % (what, text))
                time.sleep(0.05)

        r = tmux("new-session", "-d", "-x", "100", "-y", "30", PROGRAM, book)
        if r.returncode:
            return "skipped: tmux does not start here: " + r.stderr.strip()
        try:
            tmux("set", "status", "off")
            tmux("resize-window", "-x", "100", "-y", "30")
            fresh = start(book, cols=100, rows=30, term="screen")
            page = fresh.text().rstrip()
            fresh.close()
            shows(lambda text: text.rstrip() == page, "not the page of a bare terminal")
            tmux("send-keys", "+", "Down")
            shows(lambda text: "10.5 <" in text or "10.5" in text and "1 change" in text, "no nudge")
            tmux("resize-window", "-x", "80", "-y", "24")
            shows(lambda text: "10.5 <" in text and len(text.splitlines()) <= 24, "not after a resize")
            tmux("send-keys", "q")
            shows(lambda text: "has unsaved changes" in text, "no question at the end")
        finally:
            tmux("kill-server")


def test_inside_screen():
    """Inside screen: the page as on a bare terminal, keys, a resize, and the end."""
    screen = shutil.which("screen")
    if not screen:
        return "skipped: no screen here"
    with Book() as book, tempfile.TemporaryDirectory() as folder:
        fresh = start(book, cols=100, rows=30)
        page = fresh.text().rstrip()
        fresh.close()
        os.chmod(folder, 0o700)
        t = Terminal(["-U", "-c", "/dev/null", os.path.abspath(PROGRAM), book], cols=100, rows=30,
                     env={"SCREENDIR": folder, "SHELL": "/bin/sh"}, program=screen)
        try:
            t.wait_for(lambda t: t.text().rstrip() == page, "not the page of a bare terminal")
        except AssertionError:
            if t.poll():
                return "skipped: screen does not start here: " + t.text().strip()
            raise
        t.send("+")
        t.wait_for(lambda t: "10.5 <" in t.text() and "1 change" in t.text(), "no nudge")
        t.key("down")
        t.wait_for(lambda t: ">-3.2" in t.text(), "no move")
        t.resize(80, 24)
        t.wait_for(lambda t: "10.5 <" in t.text() and "? keys" in t.text(), "not after a resize")
        t.send("q")
        t.expect("has unsaved changes")
        t.send("d")
        t.wait()
        t.close()


def test_every_character():
    """All of Unicode in names: no control byte and no bidirectional control reaches the terminal."""
    bad = re.compile("[\u0080-\u009f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
    with Book() as book:
        path = book + "/sheets/kind.yaml"
        with open(path) as f:
            text = f.read()
        step = 40
        points = [c for c in list(range(0x80, 0x3100)) + list(range(0xd7f0, 0xe010)) +
                  list(range(0xfe00, 0x10000)) + list(range(0xe0000, 0xe0200)) + list(range(0x1f600, 0x1f650))
                  if not 0xd800 <= c <= 0xdfff]
        if FEW:
            points = points[::7]
        items = [points[i:i + step] for i in range(0, len(points), step)]
        for i, part in enumerate(items[:1000]):
            name = "".join("\\U%08X" % c for c in part)
            with open("%s/sheets/u%04d.yaml" % (book, i), "w") as f:
                f.write(re.sub(r"(?m)^name:.*$", lambda _: 'name: "%s"' % name, text))
        t = start(book, cols=160, rows=50, term="xterm-256color")
        mark = len(t.raw)
        t.send("o")
        t.settle()
        for _ in range(len(items) // 40 + 2):
            t.key("pgdn")
            t.settle()
        shown = t.raw[mark:].decode("utf-8")  # strict: invalid bytes fail here
        check(len(shown) > len(points) / 2, "nothing was shown")
        found = bad.search(shown)
        check(not found, "U+%04X reached the terminal" % (ord(found.group()) if found else 0))
        plain = re.sub("\033\\[[0-9;?]*[A-Za-z]|\033[()][AB0]|\033[=>]", "", shown)
        check("\033" not in plain, "a stray escape")
        check(not re.search("[\x00-\x07\x0b\x0c\x0e-\x1a\x1c-\x1f]", plain), "a control byte")
        t.close()


def test_bytes():
    """A nudge at 100x30 sends at most 256 bytes, a move of the marker 60, nothing when idle."""
    with Book() as book:
        t = start(book, cols=100, rows=30, term="xterm-256color")
        for key, most in (("+", 450), ("+", 256), ("+", 256), ("\033OB", 60), ("\033OB", 60)):
            t.settle()
            mark = len(t.raw)
            t.send(key)
            t.settle()
            sent = len(t.raw) - mark
            check(0 < sent <= most, "%r sends %d bytes, at most %d wanted" % (key, sent, most))
        mark = len(t.raw)
        t.settle()
        check(len(t.raw) == mark, "bytes while idle")
        t.close()


def delayed(call, seconds, args):
    """The program, its first such call held up."""
    return Terminal(["-D", "-f", "-qq", "-o", "/dev/null", "-e", "trace=" + call, "-e",
                     "inject=%s:delay_enter=%d:when=1" % (call, seconds * 1000000), PROGRAM] + args,
                    program=shutil.which("strace"))


def test_silent_disk_at_start():
    """The same while a book is read, before there is a screen, and in a subcommand."""
    if not can_strace():
        return "skipped: strace is not here, or cannot be used"
    with Book() as book:
        t = delayed("getdents64", 7, [book])
        t.expect("treadlight: busy since ")
        t.expect("[Sheet 1]")
        t.settle()
        t.absent("busy since")
        t.close()
        t = delayed("getdents64", 7, ["fit", book])
        t.expect("treadlight: busy since ")
        t.expect("lap time")
        t.close()


def test_silent_disk():
    """A disk that does not answer is told of on the screen, which is whole again afterwards."""
    if not can_strace():
        return "skipped: strace is not here, or cannot be used"
    with Book() as book:
        t = delayed("fsync", 8, [book])
        t.expect("[Sheet 1]")
        t.send("+")
        t.expect("1 change")
        t.settle()
        t.absent("busy since")
        t.send("s")
        t.expect(" busy since ")
        t.expect(" saved quick-base.yaml")
        t.settle()
        after = t.text().splitlines()
        t.key("ctrl-l")  # takes the word of the save away
        t.settle()
        check(t.text().splitlines()[:-3] == after[:-3] and t.text().splitlines()[-1] == after[-1],
              "not as painted afresh:\n" + "\n".join(after))
        t.close()


def test_kill():
    """kill -9 loses no confirmed edit: each is in the journal before it is on the screen."""
    n = 3 if FEW else 30
    for i in range(n):
        with Book() as book:
            t = start(book)
            keys = 3 + i % 5
            for _ in range(keys):
                t.send("+")
            t.wait_for(lambda t: "%.1f <" % (10 + 0.5 * keys) in t.text(), "not drawn")
            t.kill(signal.SIGKILL)
            t.wait()
            t.close()
            t = start(book)
            t.expect("Recover")
            t.send("y")
            t.expect("%.1f <" % (10 + 0.5 * keys))
            t.close()


def test_two_programs():
    """A sheet that someone else edits: who it is is said before anything is changed."""
    with Book() as book:
        one = start(book)
        one.send("+")
        one.settle()
        two = start(book)
        two.send("+")
        two.expect("is being edited by")
        two.key("enter")
        two.expect("taken back")
        two.expect("(0 changes)")
        one.send("s")
        one.expect(" saved ")
        two.send("-")
        two.settle()
        two.absent("being edited")
        two.send("s")
        two.expect("changed by someone else")
        one.close()
        two.close()


def log_planned(book, run):
    """A run with the values of the plan's next one into the book, by a program beside."""
    table = subprocess.run([PROGRAM, "plan", book, "--csv"], capture_output=True, text=True, check=True).stdout
    rows = list(csv.DictReader(table.splitlines()))
    rows = [dict(r, run=run, time="91.2") for r in rows if r["run"] == rows[0]["run"]]
    with open(book + "/laps.csv", "w") as f:
        out = csv.DictWriter(f, rows[0])
        out.writeheader()
        out.writerows(rows)
    subprocess.run([PROGRAM, "log", book, "--csv", book + "/laps.csv"], check=True,
                   stdout=subprocess.DEVNULL)


def test_plan_ticked_off():
    """A run driven for the plan ticks off what is open by then; how that went is said."""
    with Book() as book:
        subprocess.run([PROGRAM, "plan", book, "--kind", "screening", "--store"], check=True,
                       stdout=subprocess.DEVNULL)
        for way in "beside", "next lap", "end":
            t = start(book)
            t.send("4n")
            t.expect(" of the plan: ")
            t.key("enter")
            t.expect("fill in what is known")
            t.key("enter")
            t.expect("lap 1 (")
            if way == "beside":
                log_planned(book, "r90")
                t.send("131243 241 266 97\r")
                t.expect("was driven meanwhile; run")
                t.expect("6, alike, is ticked off")
            else:
                lock = book + "/.#plan.yaml"
                os.symlink("joe@elsewhere.5:1", lock)
                t.send("131243 241 266 97\r")
                t.expect("saved: lap 1; plan not ticked off, the next lap tries again: ")
                t.expect("joe")
                if way == "next lap":
                    os.unlink(lock)
                    t.send("131243 241 266 97\r")
                    t.expect("the plan ticked off")
                else:
                    t.key("enter")
                    t.expect(": plan not ticked off, x on the Plan page does it: ")
                    os.unlink(lock)
            t.key("esc")
            t.close()
        plan = open(book + "/plan.yaml").read()
        done = re.findall("done: *(.*)", plan)
        check(len(done) == 3 and done[0] == "r90" and done[2] == "r48", plan)


sys.exit(run_tests(globals()))
