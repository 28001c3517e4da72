"""What is typed and pasted arrives whole, however its bytes do; what a terminal says unasked is no key.

The pieces of a key are in tests/test_decode.c, cut at each place with each pause. Here the whole
workbench is asked.
"""
import os
import re
import subprocess
import sys
import tempfile

from terminal import Book, check, run_tests, start

START, END = b"\033[200~", b"\033[201~"
ANSWERS = {
    "version": b"\033P>|XTerm(379)\033\\", "graphics": b"\033_Gi=1;OK\033\\",
    "colour": b"\033]11;rgb:1010/2020/3030\a", "colour, ST": b"\033]11;rgb:1010/2020/3030\033\\",
    "clipboard": b"\033]52;c;K3Er\a", "private message": b"\033^q+s\033\\", "string": b"\033Xq+\033\\",
    "X10 mouse": b"\033[M q+", "urxvt mouse": b"\033[32;10;10M",
    "SGR mouse": b"\033[<0;10;10M\033[<0;10;10m", "focus": b"\033[I\033[O", "attributes": b"\033[?62;1;22c",
    "cursor": b"\033[12;40R", "size": b"\033[48;24;80;480;640t",
}


def reason(book):
    """Why the lap of the last run does not count."""
    with open(book + "/runs/r47.yaml", encoding="utf8") as f:
        found = re.search(r'skip: "?(.*?)"?}', f.read())
    return found and found[1]


def pasted_reason(book, text, size, **kw):
    t = start(book, **kw)
    for key in ("4", "enter", "x"):
        t.key(key)
        t.settle()
    data = START + text + END
    for i in range(0, len(data), size):
        t.send(data[i:i + size])
        t.settle()  # read before the next piece comes
    t.key("enter")
    t.wait_for(lambda t: reason(book), "the lap still counts")
    t.close()


def test_pasted_in_pieces():
    """Characters whose bytes come in two reads are all there in the file."""
    for text, size in (("äöüßÄÖÜé" * 60, 97), ("漢" * 200, 64), ("aé漢\U0001f44d" * 60, 101)):
        with Book() as book:
            pasted_reason(book, text.encode(), size)
            got = reason(book)
            check(got == text, "%d characters came as %s" % (len(text), got and len(got)))


def test_typed_in_pieces():
    """A character that is typed in pieces arrives, in a filter as in any field."""
    with Book() as book:
        t = start(book)
        t.key("/")
        for byte in "é漢\U0001f44dx".encode():
            t.send(bytes([byte]))
            t.settle()
        last = t.text().splitlines()[-1].replace(" ", "")  # pyte has a blank behind what is wide
        check(last.endswith(":é漢\U0001f44dx"), last)
        t.close()


def test_other_encodings():
    """A locale of another encoding of many bytes: characters in pieces arrive as in UTF-8."""
    with tempfile.TemporaryDirectory() as folder, Book() as book:
        try:
            subprocess.run(["localedef", "-i", "ja_JP", "-f", "EUC-JP", folder + "/ja_JP.EUC-JP"],
                           capture_output=True)
        except OSError:
            pass
        if not os.path.exists(folder + "/ja_JP.EUC-JP/LC_CTYPE"):
            return "ok, but skipped: no such locale can be made here"
        text = "日本" * 30
        pasted_reason(book, text.encode("euc-jp"), 7, env={"LC_ALL": "ja_JP.EUC-JP", "LOCPATH": folder})
        check(reason(book) == text, "the file has %r" % reason(book))


def test_answers():
    """Answers, mouse reports and focus events do nothing: on a page, in a field, over a list."""
    for keys in ([], ["enter", "1", "2"], ["?"], ["o"], ["4"]):
        with Book() as book:
            t = start(book, term="xterm-256color")
            for key in keys:
                t.key(key)
                t.settle()
            before = t.text()
            for name, data in ANSWERS.items():
                t.send(data)
                t.settle()
                check(not t.poll(), "%s ended it" % name)
                check(t.text() == before, "%s, after %s:\n%s" % (name, keys, t.text()))
            t.close()


def test_escape_typed_ahead():
    """Esc and a key that a thin line delivers together are both taken."""
    with Book() as book:
        t = start(book)
        t.send("\r12\0333")
        t.expect("[Effects 3]")
        t.send("\0331")
        t.expect("(0 changes)")
        t.close()


def test_console_keys():
    """The function keys of the Linux console type nothing, whatever TERM says."""
    with Book() as book:
        for term in ("linux", "xterm-256color", "vt100"):
            t = start(book, term=term)
            t.key("enter")
            t.send("12")
            for key in b"ABCDE":
                t.send(b"\033[[" + bytes([key]))
                t.settle()
            check(t.text().splitlines()[-1].endswith(": 12"), t.text())
            t.close()


def test_paste_end_in_pieces():
    """The mark that ends a paste may come in pieces, with what pause ever."""
    for at in range(1, 6):
        with Book() as book:
            t = start(book, env={"ESCDELAY": "1"})
            t.key("enter")
            t.settle()
            t.send(START + b"11.5" + END[:at])
            t.settle()
            t.send(END[at:])
            t.expect(": 11.5\n")
            t.key("enter")
            t.expect("11.5 <")
            t.close()


def test_paste_start_in_pieces():
    """A paste whose first byte was taken for Esc goes into the field that was left by it."""
    with Book() as book:
        t = start(book, env={"ESCDELAY": "1"})
        t.key("enter")
        t.send("1")
        t.expect(": 1\n")
        t.send(START[:1])
        t.wait_for(lambda t: "Esc leaves" not in t.text(), "Esc is not told")
        t.send(START[1:] + b"1.5" + END)
        t.expect(": 11.5\n")
        t.close()


def test_paste_without_end():
    """A paste that never ends is said; Ctrl-C ends it, and neither it nor what was typed is lost."""
    with Book() as book:
        t = start(book)
        t.key("enter")
        t.send("1")
        t.expect(": 1\n")
        t.send(START + b"1.5")
        t.expect("Ctrl-C ends it")
        t.key("ctrl-c")
        t.expect(": 11.5\n")
        t.key("enter")
        t.expect("11.5 <")
        t.close()


sys.exit(run_tests(globals()))
