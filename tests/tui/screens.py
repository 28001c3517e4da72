"""Keystroke files against saved screens.

usage: screens.py [--update] [NAME...]

tests/screens/NAME.keys has one step a line:
  # a comment
  size COLSxROWS        before start; later: resize
  term NAME, env NAME=VALUE, args WORD...   before start
  key NAME...           press keys, by name or character
  type TEXT             the rest of the line, key by key
  paste TEXT            as a bracketed paste; \\n is a line end
  screen                compare the screen with the next one of NAME.screen
  expect TEXT, absent TEXT
  file PATH TEXT        a file of the book holds the text
  nofile PATH           the book has no such file
  touch PATH OLD NEW    replace text in a file of the book, as another program would; ~ is a blank
  copy PATH TO          a file of the book under another name
  remove PATTERN        remove files of the book
  lend NAME             a copy of the book as it is stands beside it, and the book borrows from it
  restart               start the program again on the same book
  end N                 the program ends with this status
"""
import glob
import os
import re
import shutil
import sys

from terminal import SRCDIR, Terminal, copy_demo

FOLDER = os.path.join(SRCDIR, "tests", "screens")


class Run:
    def __init__(self, name, update):
        self.name, self.update = name, update
        self.book = copy_demo()
        self.cols, self.rows, self.term = 80, 24, "linux"
        self.env, self.args, self.t = {}, [], None
        self.shots = []
        path = os.path.join(FOLDER, name + ".screen")
        self.saved = open(path).read().split("\f\n") if os.path.exists(path) else []

    def start(self):
        if not self.t:
            self.t = Terminal([self.book] + self.args, self.cols, self.rows, self.term, self.env)
            self.t.settle()
        return self.t

    def do_size(self, rest):
        self.cols, self.rows = (int(v) for v in rest.split("x"))
        if self.t:
            self.t.resize(self.cols, self.rows)
            self.t.settle()

    def do_term(self, rest):
        self.term = rest

    def do_env(self, rest):
        name, value = rest.split("=", 1)
        self.env[name] = value

    def do_args(self, rest):
        self.args = rest.split()

    def do_key(self, rest):
        t = self.start()
        for k in rest.split():
            t.key(k)
        t.settle()

    def do_type(self, rest):
        self.start().send(rest)
        self.t.settle()

    def do_paste(self, rest):
        self.start().send("\033[200~" + rest.replace("\\n", "\r") + "\033[201~")
        self.t.settle()

    def do_expect(self, rest):
        self.start().expect(rest)

    def do_absent(self, rest):
        self.start().absent(rest)

    def do_file(self, rest):
        path, text = rest.split(" ", 1)
        with open(os.path.join(self.book, path)) as f:
            assert text in f.read(), "no '%s' in %s" % (text, path)

    def do_nofile(self, rest):
        assert not os.path.lexists(os.path.join(self.book, rest)), "%s is there" % rest

    def do_touch(self, rest):
        path, old, new = (w.replace("~", " ") for w in rest.split(" "))
        path = os.path.join(self.book, path)
        with open(path) as f:
            text = f.read()
        assert old in text, "no '%s' in %s" % (old, path)
        with open(path, "w") as f:
            f.write(text.replace(old, new))

    def do_copy(self, rest):
        path, to = (os.path.join(self.book, w) for w in rest.split(" "))
        shutil.copyfile(path, to)

    def do_remove(self, rest):
        for path in glob.glob(os.path.join(self.book, rest)):
            os.remove(path)

    def do_lend(self, rest):
        shutil.copytree(self.book, os.path.join(os.path.dirname(self.book), rest))
        with open(os.path.join(self.book, "book.yaml"), "a") as f:
            f.write("borrow: [{book: ../%s}]\n" % rest)

    def do_restart(self, _):
        if self.t:
            self.t.close()
        self.t = None
        self.start()

    def do_end(self, rest):
        got = self.start().wait()
        assert got == int(rest), "ended with %d, not %s" % (got, rest)

    def do_screen(self, _):
        self.start().settle()
        now = re.sub(r"\d{4}-\d\d-\d\d \d\d:\d\d", "YYYY-MM-DD HH:MM", self.t.text())
        n = len(self.shots)
        self.shots.append(now)
        if self.update:
            return
        assert n < len(self.saved), "no saved screen %d" % (n + 1)
        if now != self.saved[n]:
            raise AssertionError("screen %d differs; saved:\n%s\nnow:\n%s\n(if the change is meant: "
                                 "python3 tests/tui/screens.py --update %s)" %
                                 (n + 1, self.saved[n], now, self.name))

    def run(self):
        try:
            with open(os.path.join(FOLDER, self.name + ".keys")) as f:
                for number, line in enumerate(f, 1):
                    line = line.rstrip("\n")
                    if not line or line.startswith("#"):
                        continue
                    word, _, rest = line.partition(" ")
                    try:
                        getattr(self, "do_" + word)(rest)
                    except AssertionError as e:
                        raise AssertionError("%s.keys:%d: %s" % (self.name, number, e))
            if not self.update:
                assert len(self.shots) == len(self.saved), "%s: %d screens saved, %d taken" % (
                    self.name, len(self.saved), len(self.shots))
        finally:
            if self.t:
                self.t.close()
            shutil.rmtree(os.path.dirname(self.book), ignore_errors=True)
        if self.update and self.shots:
            with open(os.path.join(FOLDER, self.name + ".screen"), "w") as f:
                f.write("\f\n".join(self.shots))


def main():
    words = sys.argv[1:]
    update = "--update" in words
    names = [w for w in words if w != "--update"]
    if not names:
        names = sorted(os.path.basename(p)[:-5] for p in glob.glob(os.path.join(FOLDER, "*.keys")))
    failed = 0
    for name in names:
        try:
            Run(name, update).run()
            print("ok   %s" % name, flush=True)
        except AssertionError as e:
            failed += 1
            print("FAIL %s\n%s" % (name, e), flush=True)
    print("%d of %d keystroke files %s" % (len(names) - failed, len(names), "saved" if update else "hold"))
    return 1 if failed or not names else 0


sys.exit(main())
