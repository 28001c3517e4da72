"""What is painted change by change is what a full painting shows.

Random keys over all pages; every few keys the screen must equal, cell by cell, the one after
Ctrl-L, which paints every line anew onto a cleared screen. The seeds are fixed. And boxes over
names in characters of two columns: open, and after they were closed.
"""
import os
import random
import shutil
import signal
import sys

from terminal import Terminal, copy_demo

SIZES = [(100, 30), (80, 24), (220, 50), (60, 16)]  # the third is too large for the pipe of term_output.c
ROUNDS = 25
# Weighted: mostly what a session at the car does. Nothing that saves, leaves or stops.
NUDGES = ["+", "-", ">", "<"]
MOVES = ["up", "down", "left", "right", "pgup", "pgdn", "home", "end"]
PAGES = ["1", "1", "1", "2", "3", "4", "5", "6", "tab", "backtab"]
OTHERS = ["u", "U", "h", "H", "f", "p", "c", "n", "b", "t", "?", "esc", "enter", "4", ".", "space"]
NOTHING = "\033[15~"  # F5: only takes the last message off


def cells(t):
    """Characters with their colour and weight; a blank has neither."""
    return [[" " if (c := t.screen.buffer[y][x]).data == " " else (c.data, c.fg, c.bg, c.bold, c.reverse)
             for x in range(t.screen.columns)] for y in range(t.screen.lines)]


def keys(r):
    kind = r.random()
    some = NUDGES if kind < 0.45 else MOVES if kind < 0.7 else PAGES if kind < 0.85 else OTHERS
    return [r.choice(some) for _ in range(r.randint(1, 4))]


def difference(before, after):
    return next(((y, x, a, b) for y, (p, q) in enumerate(zip(before, after))
                 for x, (a, b) in enumerate(zip(p, q)) if a != b), None)


WIDE = {"Wing angle": "翼の角度", "Camber": "キャンバー", "Toe": "つま先 toe", "Spring": "ばね定数",
        "Bar": "棒", "Ride height": "車高 height", "Cold pressure": "ｐｒｅｓｓｕｒｅ ｃｏｌｄ", "Brake bias": "制動 bias"}


def copy_wide():
    """The demo book with names in characters of two columns."""
    book = copy_demo()
    path = os.path.join(book, "profiles", "cars", "larkspur-20.yaml")
    with open(path, encoding="utf-8") as f:
        text = f.read()
    for name, wide in WIDE.items():
        text = text.replace("label: %s\n" % name, 'label: "%s"\n' % wide)
    with open(path, "w", encoding="utf-8") as f:
        f.write(text)
    return book


def same_again(t, what):
    """The screen is what a full painting shows; a program that goes on paints all, boxes too."""
    t.settle()
    before, text = cells(t), t.text()
    t.kill(signal.SIGCONT)
    t.settle()
    at = difference(before, cells(t))
    if at:
        raise AssertionError("%s: line %d, column %d: %s, painted anew %s\n%s" % (what, *at, text))


def boxes(size):
    book = copy_wide()
    t = Terminal([book], cols=size[0], rows=size[1])
    try:
        t.settle()
        for page in "123456":
            for key in "?o":
                t.send(page)
                t.settle()
                t.send(key)
                same_again(t, "page %s, %s" % (page, key))
                t.send("q")
                same_again(t, "page %s, %s closed" % (page, key))
    finally:
        t.close()
        shutil.rmtree(os.path.dirname(book), ignore_errors=True)


def walk(size, seed, copy=copy_demo):
    book = copy()
    r, typed = random.Random(seed), []
    t = Terminal([book], cols=size[0], rows=size[1])
    try:
        t.settle()
        for _ in range(ROUNDS):
            for key in keys(r):
                typed.append(key)
                t.key(key)
                t.settle()
            t.send(NOTHING)
            t.settle()
            before = cells(t)
            t.key("ctrl-l")
            t.settle()
            at = difference(before, cells(t))
            if at:
                raise AssertionError("line %d, column %d: %s, painted anew %s; keys %s\n%s" % (
                    *at, " ".join(typed[-12:]), t.text()))
    finally:
        t.close()
        shutil.rmtree(os.path.dirname(book), ignore_errors=True)


def main():
    failed = 0
    tests = [("%dx%d" % size, lambda size=size, i=i: walk(size, 20 + i)) for i, size in enumerate(SIZES)]
    tests.append(("wide names", lambda: walk((80, 24), 30, copy_wide)))
    tests += [("boxes, %dx%d" % size, lambda size=size: boxes(size)) for size in SIZES[:2]]
    for name, test in tests:
        try:
            test()
            print("ok   %s" % name)
        except AssertionError as e:
            failed += 1
            print("FAIL %s: %s" % (name, e))
    return 1 if failed else 0


sys.exit(main())
