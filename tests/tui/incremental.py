"""What is painted change by change is what a full painting shows.

Random keys over all pages; every few keys the screen must equal, cell by cell, the one after
Ctrl-L, which paints every line anew onto a cleared screen. The seeds are fixed.
"""
import os
import random
import shutil
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


def walk(size, seed):
    book = copy_demo()
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
    for i, size in enumerate(SIZES):
        try:
            walk(size, 20 + i)
            print("ok   %dx%d" % size)
        except AssertionError as e:
            failed += 1
            print("FAIL %dx%d: %s" % (*size, e))
    return 1 if failed else 0


sys.exit(main())
