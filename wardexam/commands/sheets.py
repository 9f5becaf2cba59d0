"""The sheets that `localise` reads: one after the other, so that a long input takes no memory."""

import argparse
import io
import json
import os
import stat
import sys
from codecs import BOM_UTF8
from collections.abc import Iterator
from contextlib import nullcontext
from typing import TYPE_CHECKING, BinaryIO

from wardexam.commands import edge
from wardexam.commands.edge import STANDARD_INPUT
from wardexam.errors import InputError, WardexamError
from wardexam.exam.sheet import LONGEST_SHEET, read_sheet
from wardexam.exam.typed import read_line, without_doubt

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from wardexam.exam.sheet import Sheet

LONGEST_LINE = 4 * LONGEST_SHEET  # bytes: as many as so many characters can take


def sheets(options: argparse.Namespace) -> Iterator[tuple[str, "Sheet | WardexamError"]]:
    """Every sheet of the input in turn with the place it came from; a refused one as its error.

    The whole is one JSON document where its first line is the beginning of one; else every line is
    a sheet.

    Raises:
        InputError: The input is empty or cannot be read, or is a folder or a device.
    """
    opened, name = _opened(options)
    empty = True
    with opened as source:
        for number, line in _lines(source, name):
            place = f"{name}, line {number}"
            if line is not None and empty and _begins_a_document(line.strip()):
                place, line = name, line + source.read(LONGEST_LINE + 1 - len(line))
                number = 0
            empty = False
            yield from ((place, sheet) for sheet in _read(line))
            if not number:
                return
    if empty:
        raise InputError("nothing was given", name, "type findings such as 'knee 2/0'")


def _opened(options: argparse.Namespace) -> "tuple[AbstractContextManager[BinaryIO], str]":
    """Where the sheets come from, and its name."""
    if options.signs:
        return nullcontext(io.BytesIO(os.fsencode(options.signs))), "--signs"
    return _input(options.file, "Type findings, a line each; end with Ctrl-D.")


def _input(file: str | None, hint: str) -> "tuple[AbstractContextManager[BinaryIO], str]":
    """A file, or standard input, with its name; the hint is said to who types there.

    Raises:
        InputError: It cannot be read, or is a folder or a device.
    """
    if file is None or file in STANDARD_INPUT:
        if sys.stdin is None:
            raise InputError("is closed", where="standard input")
        if sys.stdin.isatty():
            edge.remark(hint)
        return nullcontext(sys.stdin.buffer), "standard input"
    try:
        mode = os.stat(file).st_mode
        if stat.S_ISREG(mode) or stat.S_ISFIFO(mode):
            return open(file, "rb"), file
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", where=file) from None
    kind = "a folder" if stat.S_ISDIR(mode) else "a device"
    raise InputError(f"cannot be read: it is {kind}", where=file)


def whole(file: str | None, hint: str) -> tuple[str, str]:
    """The whole text of a file or of standard input, and its name.

    Args:
        file: Its path; None or ``-`` for standard input.
        hint: What is said to who types there.

    Raises:
        InputError: It cannot be read, is too long, or is no UTF-8 text.
    """
    opened, name = _input(file, hint)
    with opened as source:
        try:
            held = source.read(LONGEST_LINE + 1)
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror}", where=name) from None
    if len(held) > LONGEST_LINE:
        raise InputError(f"longer than {LONGEST_LINE} bytes", where=name)
    try:
        return held.decode("utf-8-sig"), name
    except UnicodeDecodeError:
        raise InputError("not UTF-8 text", where=name) from None


def _lines(source: BinaryIO, name: str) -> Iterator[tuple[int, bytes | None]]:
    """The lines that are not blank, with their numbers; None for one that is too long to be kept."""
    number = 0
    try:
        while line := source.readline(LONGEST_LINE):
            number += 1
            line = line.removeprefix(BOM_UTF8) if number == 1 else line
            if len(line) < LONGEST_LINE:
                if line.strip():
                    yield number, line
                continue
            while line and not line.endswith(b"\n"):
                line = source.readline(LONGEST_LINE)
            yield number, None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", where=name) from None


def _begins_a_document(line: bytes) -> bool:
    """Whether a line is the beginning of a JSON document over several lines: good as far as it goes."""
    if not line.startswith(b"{"):
        return False
    try:
        json.loads(line)
    except json.JSONDecodeError as error:
        return error.pos >= len(error.doc)
    except (ValueError, RecursionError):
        pass
    return False


def _read(line: bytes | None) -> Iterator["Sheet | WardexamError"]:
    """What a line holds: one JSON document, or typed lines with any of Unicode's ends between them."""
    if line is None or len(line) > LONGEST_LINE:
        yield InputError(f"longer than {LONGEST_LINE} bytes")
        return
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError:
        yield InputError("not UTF-8 text")
        return
    document = text.lstrip().startswith("{")
    for piece in [text] if document else text.splitlines():
        if piece.strip():
            try:
                yield read_sheet(piece) if document else _typed(piece)
            except WardexamError as error:
                yield error


def _typed(line: str) -> "Sheet":
    """The sheet of a typed line whose pairs can only mean one thing."""
    sheet = read_line(line)
    without_doubt(line)
    return sheet
