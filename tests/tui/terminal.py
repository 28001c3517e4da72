"""A terminal for tests: runs the workbench in a pty and keeps its screen with pyte.

Waiting never means sleeping for a guessed time: `settle()` returns when the program
has read all that was typed, sleeps in poll(), and has nothing more to say.
"""
import fcntl
import os
import pty
import select
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import termios
import time

import pyte

SRCDIR = os.environ.get("TREADLIGHT_SRCDIR", os.path.abspath(os.path.join(os.path.dirname(__file__), "..", "..")))
PROGRAM = os.environ.get("TREADLIGHT_BIN", "./treadlight")
LIMIT = 30.0  # seconds for one wait; the sanitizers are slow
SLOW = "libasan" in subprocess.run(["ldd", PROGRAM], capture_output=True, text=True).stdout
READ_LIMIT = 1.0  # seconds that sent keys may stay unread: a program that has stopped reads none

KEYS = {
    "up": "\033OA", "down": "\033OB", "right": "\033OC", "left": "\033OD", "home": "\033[1~",
    "end": "\033[4~", "pgup": "\033[5~", "pgdn": "\033[6~", "delete": "\033[3~", "enter": "\r",
    "esc": "\033", "tab": "\t", "backtab": "\033[Z", "space": " ", "backspace": "\177",
    "ctrl-l": "\014", "ctrl-c": "\003", "ctrl-z": "\032", "ctrl-u": "\025",
}
# TERM=linux has normal cursor keys; xterm-like ones are told apart by the caller.
LINUX = {"up": "\033[A", "down": "\033[B", "right": "\033[C", "left": "\033[D"}


def copy_demo():
    """A copy of the demo book in a temporary folder."""
    folder = tempfile.mkdtemp(prefix="treadlight-test-")
    book = os.path.join(folder, "demo")
    shutil.copytree(os.path.join(SRCDIR, "share", "demo"), book)
    for path, dirs, files in os.walk(book):  # a packed source tree may be read-only
        os.chmod(path, 0o755)
        for f in files:
            os.chmod(os.path.join(path, f), 0o644)
    return book


class Terminal:
    """With `job`, a shell of sorts leads the session and the workbench is its foreground job; else it leads itself."""

    def __init__(self, args, cols=80, rows=24, term="linux", env=None, job=False,
                 program=PROGRAM):
        self.screen = pyte.Screen(cols, rows)
        self.stream = pyte.ByteStream(self.screen)
        self.raw = b""
        self.gone = False
        self.status = None
        self.due = (0, 0)  # bytes that it will have read, and until when to wait for that
        self.term = term
        self.master, self.slave = pty.openpty()
        self.resize(cols, rows, tell=False)
        self.before = termios.tcgetattr(self.slave)
        e = {"TERM": term, "LANG": "C.UTF-8", "PATH": os.environ.get("PATH", "/usr/bin:/bin"),
             "HOME": tempfile.gettempdir(), "TZ": "UTC", "USER": "tester"}
        for name in ("ASAN_OPTIONS", "UBSAN_OPTIONS", "LSAN_OPTIONS", "XDG_STATE_HOME"):
            if name in os.environ:
                e[name] = os.environ[name]
        for name, value in (env or {}).items():
            if value is None:
                e.pop(name, None)
            else:
                e[name] = value
        told, tell = os.pipe()
        self.leader = self.pid = os.fork()
        if self.pid == 0:
            os.setsid()
            fcntl.ioctl(self.slave, termios.TIOCSCTTY, 0)
            for fd in (0, 1, 2):
                os.dup2(self.slave, fd)
            if job:
                self.lead(tell)
            for s in (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT):
                signal.signal(s, signal.SIG_DFL)  # a background job has some of them ignored
            os.closerange(3, 256)
            os.execve(program, [program] + list(args), e)
        os.close(tell)
        if job:
            self.pid = int(os.read(told, 20))
        os.close(told)

    @staticmethod
    def lead(tell):
        """Start a job in the foreground and wait for its end, as a shell does; returns in the job."""
        signal.signal(signal.SIGTTOU, signal.SIG_IGN)
        pid = os.fork()
        if pid == 0:
            os.setpgid(0, 0)
            os.tcsetpgrp(0, os.getpid())
            signal.signal(signal.SIGTTOU, signal.SIG_DFL)
            os.write(tell, b"%d" % os.getpid())
            return
        os.close(tell)
        _, status = os.waitpid(pid, 0)
        os._exit(os.WEXITSTATUS(status) if os.WIFEXITED(status) else 128 + os.WTERMSIG(status))

    def resize(self, cols, rows, tell=True):
        fcntl.ioctl(self.slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, cols, 0, 0))
        if tell:
            self.screen.resize(rows, cols)
            self.kill(signal.SIGWINCH)

    def kill(self, sig):
        os.kill(self.pid, sig)

    def send(self, text):
        data = text.encode() if isinstance(text, str) else text
        self.await_read(len(data))
        while data:
            r, w, _ = select.select([self.master], [self.master], [], LIMIT)
            if r:
                self.read()
            if w:
                n = os.write(self.master, data[:512])
                data = data[n:]
            if not r and not w:
                raise AssertionError("the program reads no keys")

    def key(self, name):
        if self.term == "linux" and name in LINUX:
            self.send(LINUX[name])
        else:
            self.send(KEYS.get(name, name))

    def read(self):
        try:
            data = os.read(self.master, 65536)
        except OSError:
            self.gone = True
            return b""
        self.raw += data
        self.stream.feed(data)
        return data

    def poll(self):
        """True once the program has ended."""
        if self.status is None:
            pid, status = os.waitpid(self.leader, os.WNOHANG)
            if pid:
                self.status = status
        return self.status is not None

    def bytes_read(self):
        """By the program, from wherever; 0 where that cannot be known."""
        try:
            with open("/proc/%d/io" % self.pid) as f:
                return int(f.readline().split()[1])
        except (OSError, ValueError):
            return 0

    def await_read(self, n):
        """What is sent reaches the terminal's queue a while later on a busy machine, and until
        then the program is asleep with nothing to read: not at rest before it has read n more."""
        before = self.bytes_read()
        self.due = (before + n, time.monotonic() + READ_LIMIT) if before else (0, 0)

    def idle(self):
        """Asleep in poll() with nothing left to read."""
        if self.bytes_read() < self.due[0] and time.monotonic() < self.due[1]:
            return False
        left = struct.unpack("i", fcntl.ioctl(self.slave, termios.FIONREAD, b"\0\0\0\0"))[0]
        if left:
            return False
        try:
            with open("/proc/%d/stat" % self.pid) as f:
                state = f.read().rsplit(")", 1)[1].split()[0]
            with open("/proc/%d/wchan" % self.pid) as f:
                where = f.read()
        except OSError:
            return False
        return state in "ST" and ("poll" in where or "sys_poll" in where or where in ("0", "") or state == "T")

    def settle(self):
        until = time.monotonic() + LIMIT
        calm = 0
        while calm < 3:
            if time.monotonic() > until:
                raise AssertionError("the program does not come to rest")
            r, _, _ = select.select([self.master], [], [], 0.004)
            if r:
                self.read()
                calm = 0
                if self.gone:
                    return
            elif self.poll():
                return
            else:
                calm = calm + 1 if self.idle() else 0

    def wait_for(self, test, what):
        """Read until test(self) holds; fails after LIMIT."""
        until = time.monotonic() + LIMIT
        while not test(self):
            if time.monotonic() > until or (self.poll() and not self.pending()):
                raise AssertionError("%s; the screen:\n%s" % (what, self.text()))
            if select.select([self.master], [], [], 0.02)[0]:
                self.read()

    def pending(self):
        return bool(select.select([self.master], [], [], 0)[0]) and not self.gone

    def expect(self, text):
        self.wait_for(lambda t: text in t.text(), "no '%s' on the screen" % text)

    def absent(self, text):
        self.settle()
        if text in self.text():
            raise AssertionError("'%s' on the screen:\n%s" % (text, self.text()))

    def text(self):
        return "\n".join(line.rstrip() for line in self.screen.display) + "\n"

    def modes(self):
        return termios.tcgetattr(self.slave)

    def wait(self, within=LIMIT):
        """Wait for the end; the exit status as a shell tells it."""
        until = time.monotonic() + within
        while not self.poll():
            if time.monotonic() > until:
                raise AssertionError("the program has not ended within %g s" % within)
            if select.select([self.master], [], [], 0.01)[0] and not self.gone:
                self.read()
        while self.pending():
            self.read()
        return os.WEXITSTATUS(self.status) if os.WIFEXITED(self.status) else 128 + os.WTERMSIG(self.status)

    def close(self):
        if not self.poll():
            self.kill(signal.SIGKILL)
            os.waitpid(self.leader, 0)
            self.status = 0
        for fd in (self.master, self.slave):
            try:
                os.close(fd)
            except OSError:
                pass


class Book:
    """A fresh copy of the demo; removed afterwards."""

    def __enter__(self):
        self.path = copy_demo()
        return self.path

    def __exit__(self, *_):
        shutil.rmtree(os.path.dirname(self.path), ignore_errors=True)


def start(book, *args, **kw):
    t = Terminal([book] + list(args), **kw)
    t.settle()
    return t


def check(holds, what):
    if not holds:
        raise AssertionError(what)


def can_strace():
    strace = shutil.which("strace")
    return strace and not SLOW and not subprocess.run([strace, "-o", "/dev/null", "true"],
                                                      capture_output=True).returncode


def run_tests(names):
    """Every test_NAME() of a script's, or those that the command line names; the exit status."""
    wanted = sys.argv[1:]
    tests = [(k, f) for k, f in sorted(names.items()) if k.startswith("test_")]
    failed = 0
    for name, f in tests:
        if wanted and name[5:] not in wanted:
            continue
        began = time.monotonic()
        try:
            said = f()
            print("%s %s (%.1f s)" % (said or "ok  ", name[5:], time.monotonic() - began), flush=True)
        except AssertionError as e:
            failed += 1
            print("FAIL %s: %s\n  %s" % (name[5:], f.__doc__.split("\n")[0], e), flush=True)
    return 1 if failed else 0
