"""What a key writes, or that it writes nothing, and the status line below: the same for every sheet that is entered."""

from typing import Generic, NamedTuple, TypeVar

from wardexam.exam.text import columns, whole_words
from wardexam.terminal.canvas import Line, wrapped

C = TypeVar("C")


class Edit(NamedTuple, Generic[C]):
    """A change and what is said of it."""

    change: C
    said: str


class RefusedError(Exception):
    """Nothing is written; the text says why."""


def status_lines(
    here: str, said: str, kept: str, width: int, *, wrote: bool, about: str = ""
) -> list[Line]:
    """The status in as many lines as what was said takes, of more than `MOST_LINES` as many, the last ended with ``..``; see `status_line` and `wrapped`."""
    room = width - len(kept) - 2
    if columns(said) <= room:
        return [status_line(here, said, kept, width, wrote=wrote, about=about)]
    *above, last = wrapped(said, room)
    return [*([(line, "")] for line in above), status_line(here, last, kept, width, wrote=False)]


def status_line(
    here: str, said: str, kept: str, width: int, *, wrote: bool, about: str = ""
) -> Line:
    """What is under the cursor, what was said, how much is on disk.

    What a key wrote stands behind what is under the cursor where both fit; all else that is said has the line
    to itself, so that it is read.

    Args:
        here: What is under the cursor.
        said: What was said last.
        kept: How much is on disk.
        width: Columns.
        wrote: Whether what was said is what a key wrote.
        about: What is told of the cursor where nothing was said; `here` where it is not given.
    """
    room = width - len(kept) - 2
    left = room - columns(here) - 3
    if wrote and columns(said) <= left:
        pad = " " * (left - columns(said))
        return [(here, "strong"), (f"   {said}{pad}", ""), (f"  {kept}", "quiet")]
    line = said or about or here
    line = line if columns(line) <= room else whole_words(line, room)
    pad = " " * max(0, room - columns(line))
    return [(f"{line}{pad}", "" if said else "strong"), (f"  {kept}", "quiet")]
